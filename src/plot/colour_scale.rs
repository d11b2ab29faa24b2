//! A scale of colours beside a map.

use super::axis::ticks;
use super::canvas::{Canvas, px, px_i};
use super::error::PlotError;
use super::lettering::{width_of, words};
use super::style::{BLACK, Sizes, letters};
use plotters::prelude::{Color, PathElement, RGBColor, Rectangle, ShapeStyle, WHITE};
use plotters::style::FontTransform;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

type Stops = &'static [[f64; 3]];

/// YlGnBu, from dark to light without its palest colour: lightness grows all the way.
///
/// C. A. Brewer, G. W. Hatchard, M. A. Harrower, "ColorBrewer in print" (2003), which lists it and
/// the next as safe for colour-blind readers.
const SEQUENTIAL: Stops = &[
    [8.0, 29.0, 88.0],
    [37.0, 52.0, 148.0],
    [34.0, 94.0, 168.0],
    [29.0, 145.0, 192.0],
    [65.0, 182.0, 196.0],
    [127.0, 205.0, 187.0],
    [199.0, 233.0, 180.0],
    [237.0, 248.0, 177.0],
];

/// PuOr, from purple over a neutral middle to orange.
const DIVERGING: Stops = &[
    [84.0, 39.0, 136.0],
    [128.0, 115.0, 172.0],
    [178.0, 171.0, 210.0],
    [216.0, 218.0, 235.0],
    [247.0, 247.0, 247.0],
    [254.0, 224.0, 182.0],
    [253.0, 184.0, 99.0],
    [224.0, 130.0, 20.0],
    [179.0, 88.0, 6.0],
];

/// Room for a scale, in pixels.
pub(super) const SCALE_WIDTH: u32 = 150;

/// Which colours a scale has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Palette {
    /// For values from low to high.
    Sequential,
    /// For values on both sides of zero.
    Diverging,
}

/// The quantity of a scale of colours.
pub(super) struct ColourScale {
    /// From the first colour to the last.
    pub(super) range: Range<f64>,
    /// A value to be marked.
    pub(super) mark: Option<f64>,
    pub(super) label: String,
    pub(super) palette: Palette,
}

impl ColourScale {
    fn stops(&self) -> Stops {
        match self.palette {
            Palette::Sequential => SEQUENTIAL,
            Palette::Diverging => DIVERGING,
        }
    }

    /// The colour of a value; of one beyond the scale that of its end.
    pub(super) fn colour(&self, value: f64) -> RGBColor {
        let share = (value - self.range.start) / (self.range.end - self.range.start);
        colour(self.stops(), share)
    }

    /// Black or white, whichever shows on a value's colour.
    pub(super) fn ink(&self, value: f64) -> RGBColor {
        let RGBColor(red, green, blue) = self.colour(value);
        let lightness = 0.30 * f64::from(red) + 0.59 * f64::from(green) + 0.11 * f64::from(blue);
        if lightness > 130.0 { BLACK } else { RGBColor(255, 255, 255) }
    }

    /// Draws it on a panel beside a map, over the same rows of the picture.
    pub(super) fn draw(
        &self,
        panel: &Canvas<'_>,
        rows: &Range<i32>,
        sizes: Sizes,
    ) -> Result<(), PlotError> {
        const STRIPS: i32 = 128;
        let (columns, top) = panel.get_pixel_range();
        let rows = rows.start - top.start..rows.end - top.start;
        let (left, right) = (px_i(6), px_i(6 + sizes.label * 5 / 4));
        let height = (rows.end - rows.start).max(1);
        for strip in 0..STRIPS {
            // Each goes down to the bottom, so that no seam shows between it and the next.
            let y = rows.start + height * strip / STRIPS;
            let share = 1.0 - (f64::from(strip) + 0.5) / f64::from(STRIPS);
            let fill = colour(self.stops(), share).filled();
            panel
                .draw(&Rectangle::new([(left, y), (right, rows.end)], fill))
                .map_err(PlotError::from_display)?;
        }
        let corners =
            [(left, rows.start), (right, rows.start), (right, rows.end), (left, rows.end)];
        let frame: Vec<_> = corners.into_iter().chain([corners[0]]).collect();
        let thin = ShapeStyle::from(&BLACK).stroke_width(px(1));
        panel.draw(&PathElement::new(frame, thin)).map_err(PlotError::from_display)?;
        let width = self.range.end - self.range.start;
        #[expect(clippy::cast_possible_truncation, reason = "within the picture")]
        let place = |value: f64| {
            rows.end - ((value - self.range.start) / width * f64::from(height)).round() as i32
        };
        let label = sizes.label;
        let style = letters(label * 9 / 10, BLACK).pos(Pos::new(HPos::Left, VPos::Center));
        let mut widest = 0;
        for (value, text) in ticks(&self.range, if height > px_i(500) { 8 } else { 5 }) {
            let y = place(value);
            let tick = PathElement::new(vec![(right, y), (right + px_i(7), y)], thin);
            panel.draw(&tick).map_err(PlotError::from_display)?;
            words(panel, (right + px_i(12), y), &text, &style)?;
            widest = widest.max(width_of(panel, &text, &style)?);
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
        let beside = right + px_i(12) + widest + px_i(label);
        let beside = beside.min(columns.end - columns.start - px_i(label / 2));
        words(panel, (beside, rows.start + height / 2), &self.label, &style)
    }
}

/// A colour between stops, from 0 to 1.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "between 0 and 255"
)]
fn colour(stops: Stops, share: f64) -> RGBColor {
    let steps = stops.len() - 1;
    let place = share.clamp(0.0, 1.0) * steps as f64;
    let below = (place as usize).min(steps - 1);
    let part = place - below as f64;
    let mixed = |channel: usize| {
        let (low, high) = (stops[below][channel], stops[below + 1][channel]);
        (low + part * (high - low)).round() as u8
    };
    RGBColor(mixed(0), mixed(1), mixed(2))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lightness(stops: Stops, at: u32) -> f64 {
        let RGBColor(red, green, blue) = colour(stops, f64::from(at) / 100.0);
        let linear = |channel: u8| (f64::from(channel) / 255.0).powf(2.2);
        0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
    }

    #[test]
    fn colours_grow_lighter() {
        assert!((0..100).all(|at| lightness(SEQUENTIAL, at) < lightness(SEQUENTIAL, at + 1)));
    }

    #[test]
    fn zero_is_neutral_and_lightest() {
        let RGBColor(red, green, blue) = colour(DIVERGING, 0.5);
        assert!(red == green && green == blue);
        assert!((0..50).all(|at| lightness(DIVERGING, at) < lightness(DIVERGING, at + 1)));
        assert!((50..100).all(|at| lightness(DIVERGING, at) > lightness(DIVERGING, at + 1)));
    }
}
