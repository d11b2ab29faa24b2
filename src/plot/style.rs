//! The common look: colours, sizes of letters and lines, dashes.

use super::canvas::{FONT, px};
use plotters::prelude::{IntoFont, RGBColor, TextStyle};

pub(super) const BLACK: RGBColor = RGBColor(0, 0, 0);
pub(super) const ORANGE: RGBColor = RGBColor(230, 159, 0);
pub(super) const SKY_BLUE: RGBColor = RGBColor(86, 180, 233);
pub(super) const GREEN: RGBColor = RGBColor(0, 158, 115);
pub(super) const BLUE: RGBColor = RGBColor(0, 114, 178);
pub(super) const VERMILION: RGBColor = RGBColor(213, 94, 0);
/// Vermilion, mixed with white by half.
pub(super) const PALE_VERMILION: RGBColor = RGBColor(234, 175, 128);
pub(super) const PURPLE: RGBColor = RGBColor(204, 121, 167);
pub(super) const GREY: RGBColor = RGBColor(110, 110, 110);
pub(super) const GRID: RGBColor = RGBColor(222, 222, 222);

/// How strongly an area is shaded.
pub(super) const SHADE: f64 = 0.18;

/// Sizes of letters and lines on a panel, in pixels of the finished picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sizes {
    pub(super) title: u32,
    pub(super) label: u32,
    pub(super) line: u32,
}

impl Sizes {
    /// For a panel that fills the picture or half of it.
    pub(super) const LARGE: Self = Self { title: 30, label: 24, line: 3 };
    /// For a quarter of the picture.
    pub(super) const SMALL: Self = Self { title: 23, label: 19, line: 2 };
}

/// How a line is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Dash {
    Solid,
    Dashed,
    Dotted,
    /// Not a line but a shaded area.
    Area,
    /// An area crossed by strokes.
    Hatched,
    /// The same, with the strokes farther apart.
    WideHatched,
    /// A shaded area crossed by strokes.
    HatchedArea,
    /// A cell in a frame.
    Framed,
    /// A pale cell.
    Faded,
    /// Nothing: the name begins with the mark itself.
    Word,
    /// An empty area crossed out.
    Crossed,
    /// Not a line but points.
    Dots,
}

/// Between a size as the back end has it and the size in which it sets letters.
const BACK_END_SIZE: f64 = 1.24;
/// The embedded font's height, ascent and descent, as a multiple of its size.
const FONT_HEIGHT: f64 = 2384.0 / 2048.0;

/// A text's width over what the back end estimates: it takes the size of the font as its height.
pub(super) const ESTIMATED_WIDTH: f64 = FONT_HEIGHT / BACK_END_SIZE;

/// Letters of a height and colour.
pub(super) fn letters(height: u32, colour: RGBColor) -> TextStyle<'static> {
    let size = f64::from(px(height)) * BACK_END_SIZE / FONT_HEIGHT;
    (FONT, size).into_font().color(&colour)
}
