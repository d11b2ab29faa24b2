//! Words on a picture: their width, and places for them.

use super::canvas::{Canvas, Pixel, px_i};
use super::error::PlotError;
use super::style::{ESTIMATED_WIDTH, Sizes, letters};
use plotters::prelude::{Color, RGBColor, Rectangle, Text, TextStyle, WHITE};
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Writes at a place of a panel.
pub(super) fn words(
    panel: &Canvas<'_>,
    at: Pixel,
    text: &str,
    style: &TextStyle<'_>,
) -> Result<(), PlotError> {
    panel.draw(&Text::new(text, at, style.clone())).map_err(PlotError::from_display)
}

/// How wide a text will be.
pub(super) fn width_of(
    panel: &Canvas<'_>,
    text: &str,
    style: &TextStyle<'_>,
) -> Result<i32, PlotError> {
    let (width, _) = panel.estimate_text_size(text, style).map_err(PlotError::from_display)?;
    #[expect(clippy::cast_possible_truncation, reason = "within a few pictures' widths")]
    Ok((f64::from(width) * ESTIMATED_WIDTH).ceil() as i32)
}

/// A text, with its middle left out where it would be wider than it may; names often differ at the
/// end only.
pub(super) fn shortened(
    panel: &Canvas<'_>,
    text: &str,
    style: &TextStyle<'_>,
    widest: i32,
) -> Result<String, PlotError> {
    let letters: Vec<char> = text.chars().collect();
    // Far longer ones need not be measured letter by letter.
    let mut kept = letters.len().min(200);
    loop {
        let shown: String = if kept == letters.len() {
            text.to_owned()
        } else {
            let (first, last) = (kept - kept / 2, letters.len() - kept / 2);
            letters[..first].iter().chain(&['…']).chain(&letters[last..]).collect()
        };
        if kept == 0 || width_of(panel, &shown, style)? <= widest {
            return Ok(shown);
        }
        kept -= 1;
    }
}

/// Writes a word at a place of the whole picture, as a chart gives it, on white so that lines
/// beneath do not cross it.
pub(super) fn note(
    panel: &Canvas<'_>,
    at: (i32, i32),
    text: &str,
    colour: RGBColor,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let style = letters(sizes.label * 4 / 5, colour).pos(Pos::new(HPos::Center, VPos::Center));
    let (width, height) = (width_of(panel, text, &style)?, px_i(sizes.label * 4 / 5));
    let half = |size: i32| size / 2 + px_i(3);
    let (columns, rows) = panel.get_pixel_range();
    let (x, y) = (at.0 - columns.start, at.1 - rows.start);
    let back = Rectangle::new(
        [(x - half(width), y - half(height)), (x + half(width), y + half(height))],
        WHITE.mix(0.85).filled(),
    );
    panel.draw(&back).map_err(PlotError::from_display)?;
    panel.draw(&Text::new(text.to_owned(), (x, y), style)).map_err(PlotError::from_display)
}
