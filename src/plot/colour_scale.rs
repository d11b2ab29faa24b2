//! A scale of colours beside a map.

use super::axis::ticks;
use super::canvas::{Canvas, px, px_i};
use super::error::PlotError;
use super::lettering::words;
use super::style::{BLACK, Sizes, letters};
use plotters::prelude::{Color, PathElement, RGBColor, Rectangle, ShapeStyle, WHITE};
use plotters::style::FontTransform;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

/// The colours of the scale from the lowest value to the highest. Lightness grows all the way, in
/// about equal steps, and hue goes from blue to yellow, which every eye tells apart.
const STOPS: [[f64; 3]; 5] = [
    [18.0, 24.0, 72.0],
    [20.0, 75.0, 120.0],
    [0.0, 125.0, 128.0],
    [110.0, 178.0, 105.0],
    [250.0, 230.0, 90.0],
];

/// Room for a scale, in pixels of the finished picture.
pub(super) const SCALE_WIDTH: u32 = 190;

/// What colours stand for.
pub(super) struct ColourScale {
    /// From the darkest to the lightest.
    pub(super) range: Range<f64>,
    /// A value to be marked.
    pub(super) mark: Option<f64>,
    pub(super) label: String,
}

impl ColourScale {
    pub(super) fn colour(&self, value: f64) -> RGBColor {
        colour((value - self.range.start) / (self.range.end - self.range.start))
    }

    /// Black or white, whichever shows on a value's colour.
    pub(super) fn ink(&self, value: f64) -> RGBColor {
        let is_light = value > 0.5 * (self.range.start + self.range.end);
        if is_light { BLACK } else { RGBColor(255, 255, 255) }
    }

    /// Draws it on a panel beside a map, over the same rows of the picture.
    pub(super) fn draw(
        &self,
        panel: &Canvas<'_>,
        rows: &Range<i32>,
        sizes: Sizes,
    ) -> Result<(), PlotError> {
        let (columns, top) = panel.get_pixel_range();
        let rows = rows.start - top.start..rows.end - top.start;
        let (left, right) = (px_i(10), px_i(10 + sizes.label * 3 / 2));
        let height = (rows.end - rows.start).max(1);
        for y in rows.clone() {
            let share = f64::from(rows.end - 1 - y) / f64::from(height);
            let strip = Rectangle::new([(left, y), (right, y + 1)], colour(share).filled());
            panel.draw(&strip).map_err(PlotError::from_display)?;
        }
        let frame = Rectangle::new(
            [(left, rows.start), (right, rows.end)],
            ShapeStyle::from(&BLACK).stroke_width(px(1)),
        );
        panel.draw(&frame).map_err(PlotError::from_display)?;
        let width = self.range.end - self.range.start;
        #[expect(clippy::cast_possible_truncation, reason = "within the picture")]
        let place = |value: f64| {
            rows.end - ((value - self.range.start) / width * f64::from(height)).round() as i32
        };
        let label = sizes.label;
        let style = letters(label * 9 / 10, BLACK).pos(Pos::new(HPos::Left, VPos::Center));
        for (value, text) in ticks(&self.range, if height > px_i(500) { 8 } else { 5 }) {
            let y = place(value);
            let tick = PathElement::new(
                vec![(right, y), (right + px_i(7), y)],
                ShapeStyle::from(&BLACK).stroke_width(px(2)),
            );
            panel.draw(&tick).map_err(PlotError::from_display)?;
            words(panel, (right + px_i(12), y), &text, &style)?;
        }
        if let Some(mark) = self.mark.filter(|mark| self.range.contains(mark)) {
            let y = place(mark);
            for (colour, stroke) in [(WHITE, 7), (BLACK, 3)] {
                let mark = PathElement::new(
                    vec![(left, y), (right, y)],
                    ShapeStyle::from(&colour).stroke_width(px(stroke)),
                );
                panel.draw(&mark).map_err(PlotError::from_display)?;
            }
        }
        let style = letters(label, BLACK)
            .transform(FontTransform::Rotate270)
            .pos(Pos::new(HPos::Center, VPos::Center));
        let at = (columns.end - columns.start - px_i(label), rows.start + height / 2);
        words(panel, at, &self.label, &style)
    }
}

/// A colour of the scale, from 0 to 1.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "between 0 and 255"
)]
fn colour(share: f64) -> RGBColor {
    let steps = STOPS.len() - 1;
    let place = share.clamp(0.0, 1.0) * steps as f64;
    let below = (place as usize).min(steps - 1);
    let part = place - below as f64;
    let mixed = |channel: usize| {
        let (low, high) = (STOPS[below][channel], STOPS[below + 1][channel]);
        (low + part * (high - low)).round() as u8
    };
    RGBColor(mixed(0), mixed(1), mixed(2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_grow_lighter() {
        let lightness = |at: u32| {
            let RGBColor(red, green, blue) = colour(f64::from(at) / 100.0);
            let linear = |channel: u8| (f64::from(channel) / 255.0).powf(2.2);
            0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
        };
        assert!((0..100).all(|at| lightness(at) < lightness(at + 1)));
    }
}
