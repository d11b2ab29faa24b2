//! The canvas that a picture is drawn on, and its pixels.

use super::error::PlotError;
use super::raster::png_of;
use plotters::coord::Shift;
use plotters::prelude::{BitMapBackend, DrawingArea, FontStyle, IntoDrawingArea};
use plotters::style::register_font;
use std::cell::RefCell;
use std::sync::OnceLock;

/// Drawn so many times as large as shown.
const ENLARGEMENT: u32 = 3;

/// The size of every picture.
pub(super) const WIDTH: u32 = 1600;

/// The size of every picture.
pub(super) const HEIGHT: u32 = 1000;

pub(super) type Canvas<'a> = DrawingArea<BitMapBackend<'a>, Shift>;

/// A place on the whole picture, or on a panel.
pub(super) type Pixel = (i32, i32);

/// Pixels of the enlarged canvas.
pub(super) fn px(pixels: u32) -> u32 {
    pixels * ENLARGEMENT
}

/// The same for offsets.
#[expect(clippy::cast_possible_wrap, reason = "a picture is far smaller than 2^31")]
pub(super) fn px_i(pixels: u32) -> i32 {
    px(pixels) as i32
}

/// A width or height of the canvas as an offset on it.
#[expect(clippy::cast_possible_wrap, reason = "a picture is far smaller than 2^31")]
pub(super) fn offset(pixels: u32) -> i32 {
    pixels as i32
}

/// How many rows, letters or lines there are.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a picture holds far fewer than 2^32 of anything"
)]
pub(super) fn count(of: usize) -> u32 {
    of as u32
}

/// A finished picture as PNG.
pub(super) fn picture(
    draw: impl FnOnce(&Canvas<'_>) -> Result<(), PlotError>,
) -> Result<Vec<u8>, PlotError> {
    static FONT: OnceLock<Result<(), PlotError>> = OnceLock::new();
    let registered = FONT.get_or_init(|| {
        register_font("sans-serif", FontStyle::Normal, dejavu::sans::regular())
            .map_err(|_| PlotError::from_display("the embedded font is damaged"))
    });
    registered.clone()?;
    thread_local! {
        /// The enlarged canvas takes 43 MB; memory that is used again need not be made ready again.
        static PIXELS: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    }
    let (width, height) = (px(WIDTH), px(HEIGHT));
    PIXELS.with_borrow_mut(|pixels| {
        pixels.clear();
        pixels.resize((width * height * 3) as usize, 255);
        {
            let canvas = BitMapBackend::with_buffer(pixels, (width, height)).into_drawing_area();
            draw(&canvas)?;
            canvas.present().map_err(PlotError::from_display)?;
        }
        png_of(pixels, (WIDTH, HEIGHT), ENLARGEMENT)
    })
}
