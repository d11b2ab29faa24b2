//! Words on a picture: their width, and places for them.

use super::canvas::{Canvas, Pixel, count, offset, px_i};
use super::error::PlotError;
use super::style::{Sizes, letters};
use plotters::prelude::{Color, RGBColor, Rectangle, Text, TextStyle, WHITE};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

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
    Ok(offset(width))
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
    let (width, height) =
        panel.estimate_text_size(text, &style).map_err(PlotError::from_display)?;
    let half = |size: u32| offset(size / 2) + px_i(3);
    let (columns, rows) = panel.get_pixel_range();
    let (x, y) = (at.0 - columns.start, at.1 - rows.start);
    let back = Rectangle::new(
        [(x - half(width), y - half(height)), (x + half(width), y + half(height))],
        WHITE.mix(0.85).filled(),
    );
    panel.draw(&back).map_err(PlotError::from_display)?;
    panel.draw(&Text::new(text.to_owned(), (x, y), style)).map_err(PlotError::from_display)
}

/// A place for a word beside one of several marked points: clear of the points of a line, inside
/// the chart, and nearer to its own point than to the others. `None` if there is none.
pub(super) fn place_beside(
    at: Pixel,
    (line, others): (&[Pixel], &[Pixel]),
    (columns, rows): &(Range<i32>, Range<i32>),
    text: &str,
    sizes: Sizes,
) -> Option<Pixel> {
    let letters = offset(count(text.chars().count()));
    let half_width = (px_i(sizes.label) * letters / 4).max(1);
    let half_height = px_i(sizes.label) * 3 / 5;
    let (dx, dy) = (half_width + px_i(12), half_height + px_i(8));
    // The nearest point of the word's box.
    let distance = |place: (i32, i32), point: (i32, i32)| {
        let x = f64::from(((point.0 - place.0).abs() - half_width).max(0));
        let y = f64::from(((point.1 - place.1).abs() - half_height).max(0));
        x.hypot(y)
    };
    [(1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (1, 1), (-1, -1), (-1, 1)]
        .map(|(x, y)| (at.0 + x * dx, at.1 + y * dy))
        .into_iter()
        .filter(|&(x, y)| {
            columns.contains(&(x - half_width))
                && columns.contains(&(x + half_width))
                && rows.contains(&(y - half_height))
                && rows.contains(&(y + half_height))
        })
        .find(|&place| {
            let is_clear = line.iter().all(|&point| distance(place, point) > f64::from(px_i(3)));
            is_clear
                && others.iter().all(|&other| distance(place, other) > 1.5 * distance(place, at))
        })
}
