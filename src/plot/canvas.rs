//! The canvas on which a picture is drawn: plotters' SVG back end.

use super::chart_notes::{Noting, grouped};
use super::error::PlotError;
use super::picture::Picture;
use super::picture_size::{HEIGHT, WIDTH};
use plotters::coord::Shift;
use plotters::prelude::{DrawingArea, FontStyle, IntoDrawingArea, SVGBackend, WHITE};
use plotters::style::register_font;
use std::fmt::Write as _;
use std::sync::OnceLock;

/// Units of the canvas in a pixel: the back end rounds every coordinate to a unit, and a tenth of a
/// pixel is not seen.
const ENLARGEMENT: u32 = 10;

/// The name under which the embedded font is known while a picture is drawn.
pub(super) const FONT: &str = "sans-serif";

/// The embedded font first; the next has nearly the same widths, for viewers without the first.
const FONT_FAMILY: &str = "'DejaVu Sans', Verdana, sans-serif";

pub(super) type Canvas<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// A place on the whole picture, or on a panel.
pub(super) type Pixel = (i32, i32);

/// Units of the canvas.
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

/// The nearest whole pixel: edges that cells share have no seam there.
pub(super) fn whole((x, y): Pixel) -> Pixel {
    let nearest = |units: i32| (units + px_i(1) / 2).div_euclid(px_i(1)) * px_i(1);
    (nearest(x), nearest(y))
}

/// How many rows, letters or lines there are.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a picture holds far fewer than 2^32 of anything"
)]
pub(super) fn count(of: usize) -> u32 {
    of as u32
}

/// A finished picture; `name` is what it shows.
pub(super) fn picture(
    name: &str,
    draw: impl FnOnce(&Canvas<'_>) -> Result<(), PlotError>,
) -> Result<Picture, PlotError> {
    static REGISTERED: OnceLock<Result<(), PlotError>> = OnceLock::new();
    let registered = REGISTERED.get_or_init(|| {
        register_font(FONT, FontStyle::Normal, dejavu::sans::regular())
            .map_err(|_| PlotError::from_display("the embedded font is damaged"))
    });
    registered.clone()?;
    let notes = Noting::begin();
    let mut svg = String::new();
    {
        let backend = SVGBackend::with_string(&mut svg, (px(WIDTH), px(HEIGHT)));
        let canvas = backend.into_drawing_area();
        canvas.fill(&WHITE).map_err(PlotError::from_display)?;
        draw(&canvas)?;
        canvas.present().map_err(PlotError::from_display)?;
    }
    let (charts, is_open) = notes.charts();
    Ok(Picture::new(name, document(name, &grouped(&svg, is_open)), charts))
}

/// The back end's document with a head of our own: its size in pixels, its name, the font, and joins
/// that do not run out into spikes.
fn document(name: &str, drawn: &str) -> String {
    let body = drawn.find(">\n").map_or(drawn, |end| &drawn[end + 2..]);
    let mut svg = String::with_capacity(drawn.len() + 400);
    let _ = write!(
        svg,
        "<svg width=\"{WIDTH}\" height=\"{HEIGHT}\" viewBox=\"0 0 {} {}\" \
         xmlns=\"http://www.w3.org/2000/svg\" font-family=\"{FONT_FAMILY}\" \
         stroke-linejoin=\"round\">\n<title>",
        px(WIDTH),
        px(HEIGHT)
    );
    for letter in name.chars() {
        match letter {
            '<' => svg.push_str("&lt;"),
            '&' => svg.push_str("&amp;"),
            other => svg.push(other),
        }
    }
    svg.push_str("</title>\n");
    // Attributes that say nothing of their element.
    let body = body.replace(&format!(" font-family=\"{FONT}\""), "").replace(" opacity=\"1\"", "");
    // XML has no control characters, which the titles of files may hold.
    svg.extend(body.chars().map(|letter| match letter {
        '\n' => letter,
        '\u{FFFE}' | '\u{FFFF}' => '\u{FFFD}',
        _ if letter.is_control() => '\u{FFFD}',
        _ => letter,
    }));
    svg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_break_the_document() {
        let drawn = picture("a<b & \"c\" d", |_| Ok(())).unwrap();
        assert!(drawn.svg().contains("<title>a&lt;b &amp; \"c\" d</title>"));
        assert!(drawn.png().unwrap().starts_with(b"\x89PNG"));
    }
}
