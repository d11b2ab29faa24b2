//! The rejection over LO and IF as a map.

use super::receiver::{CUT_NOTE, LO_LABEL, cut, is_beyond};
use super::splitter::{HIGHEST_REJECTION_DB, ghz};
use super::style::{
    Axes, BLACK, Canvas, Chart, Dash, Entry, HEIGHT, Pixel, PlotError, Sizes, WIDTH, chart, hatch,
    letters, picture, px, px_i, ticks, words,
};
use crate::downconverter::{DownconverterResult, Receiver};
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

/// Room for the scale at the right, in pixels of the finished picture.
const SCALE_WIDTH: u32 = 190;

/// Image rejection over LO and IF in colours, with the cells hatched that miss the requirement.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_rejection_map(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Vec<u8>, PlotError> {
    let map = Map::of(receiver, result);
    picture(|canvas| {
        let (left, right) = canvas.split_horizontally(px(WIDTH - SCALE_WIDTH));
        let name = match (map.required, map.failing().next()) {
            (None, _) => None,
            (Some(required), Some(_)) => Some(format!("less than the required {required} dB")),
            (Some(required), None) => {
                Some(format!("less than the required {required} dB: nowhere"))
            }
        };
        let legend: Vec<Entry<'_>> =
            name.iter().map(|name| Entry { name, colour: BLACK, dash: Dash::Hatched }).collect();
        let axes = Axes {
            title: "Image rejection over LO and IF",
            x_label: LO_LABEL,
            y_label: &format!("IF ({})", map.if_unit),
            x: ends(&map.x),
            y: ends(&map.y),
        };
        let (_, mut chart) = chart(&left, &axes, &legend, Sizes::LARGE)?;
        map.draw(canvas, &mut chart)?;
        let (_, rows) = chart.plotting_area().get_pixel_range();
        map.scale(&right, &rows)
    })
}

/// The cells of the map and what is in them.
struct Map {
    /// The edges of the columns, GHz.
    x: Vec<f64>,
    /// The edges of the rows, in the unit.
    y: Vec<f64>,
    if_unit: &'static str,
    /// Column after column, dB.
    values: Vec<f64>,
    /// What the colours stand for, dB.
    colours: Range<f64>,
    is_cut: bool,
    required: Option<f64>,
}

impl Map {
    fn of(receiver: &Receiver, result: &DownconverterResult) -> Self {
        let plan = &receiver.plan;
        let highest_if_hz = plan.if_hz.iter().copied().fold(0.0, f64::max);
        let (if_unit, unit_hz) = if highest_if_hz < 0.5e9 { ("MHz", 1e6) } else { ("GHz", 1e9) };
        let rejections = || result.points.iter().map(|point| point.balance.image_rejection_db);
        let values: Vec<f64> = rejections().map(cut).collect();
        let finite = || values.iter().copied().filter(|value| value.is_finite());
        let low = finite().fold(HIGHEST_REJECTION_DB, f64::min);
        let high = finite().fold(low, f64::max);
        // A map of one value still needs a scale.
        let missing = (1.0 - (high - low)).max(0.0) / 2.0;
        let top = (high + missing).min(HIGHEST_REJECTION_DB);
        let lo_ghz: Vec<f64> = plan.lo_hz.iter().map(|hz| ghz(*hz)).collect();
        let if_shown: Vec<f64> = plan.if_hz.iter().map(|hz| hz / unit_hz).collect();
        Self {
            x: edges(&lo_ghz),
            y: edges(&if_shown),
            if_unit,
            colours: (top - 1.0).min(low - missing)..top,
            is_cut: rejections().any(is_beyond),
            required: receiver.limits.image_rejection_db,
            values,
        }
    }

    fn rows(&self) -> usize {
        self.y.len() - 1
    }

    fn fails(&self, cell: usize) -> bool {
        self.required.is_some_and(|required| self.values[cell] < required)
    }

    fn failing(&self) -> impl Iterator<Item = usize> {
        (0..self.values.len()).filter(|&cell| self.fails(cell))
    }

    fn colour(&self, value: f64) -> RGBColor {
        colour((value - self.colours.start) / (self.colours.end - self.colours.start))
    }

    fn draw(&self, canvas: &Canvas<'_>, chart: &mut Chart<'_, '_>) -> Result<(), PlotError> {
        let rows = self.rows();
        // Upper left and lower right, on the picture.
        let corners = |cell: usize| -> (Pixel, Pixel) {
            let (column, row) = (cell / rows, cell % rows);
            let low = chart.backend_coord(&(self.x[column], self.y[row]));
            let high = chart.backend_coord(&(self.x[column + 1], self.y[row + 1]));
            ((low.0, high.1), (high.0, low.1))
        };
        for (cell, value) in self.values.iter().enumerate().filter(|(_, value)| !value.is_nan()) {
            let (low, high) = corners(cell);
            let filled = Rectangle::new([low, high], self.colour(*value).filled());
            canvas.draw(&filled).map_err(PlotError::from_display)?;
        }
        for cell in self.failing() {
            let is_light = self.values[cell] > 0.5 * (self.colours.start + self.colours.end);
            hatch(canvas, corners(cell), if is_light { BLACK } else { RGBColor(255, 255, 255) })?;
        }
        for (colour, width) in [(WHITE, 6), (BLACK, 3)] {
            for (from, to) in self.boundary(&corners) {
                let stroke = ShapeStyle::from(&colour).stroke_width(px(width));
                canvas
                    .draw(&PathElement::new(vec![from, to], stroke))
                    .map_err(PlotError::from_display)?;
            }
        }
        Ok(())
    }

    /// The edges between cells that reach the requirement and cells that do not.
    fn boundary(&self, corners: &impl Fn(usize) -> (Pixel, Pixel)) -> Vec<(Pixel, Pixel)> {
        let rows = self.rows();
        let mut found = Vec::new();
        for cell in 0..self.values.len() {
            let (low, high) = corners(cell);
            let right = cell + rows;
            if right < self.values.len() && self.fails(cell) != self.fails(right) {
                found.push(((high.0, low.1), high));
            }
            let is_top = cell % rows == rows - 1;
            if !is_top && self.fails(cell) != self.fails(cell + 1) {
                found.push((low, (high.0, low.1)));
            }
        }
        found
    }

    /// The scale of colours beside the map, over the same rows of the picture.
    fn scale(&self, panel: &Canvas<'_>, rows: &Range<i32>) -> Result<(), PlotError> {
        let (left, right) = (px_i(10), px_i(46));
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
        let width = self.colours.end - self.colours.start;
        #[expect(clippy::cast_possible_truncation, reason = "within the picture")]
        let place = |value: f64| {
            rows.end - ((value - self.colours.start) / width * f64::from(height)).round() as i32
        };
        let label = Sizes::LARGE.label;
        let style = letters(label * 9 / 10, BLACK).pos(Pos::new(HPos::Left, VPos::Center));
        for (value, text) in ticks(&self.colours, 8) {
            let y = place(value);
            let tick = PathElement::new(
                vec![(right, y), (right + px_i(7), y)],
                ShapeStyle::from(&BLACK).stroke_width(px(2)),
            );
            panel.draw(&tick).map_err(PlotError::from_display)?;
            words(panel, (right + px_i(12), y), &text, &style)?;
        }
        if let Some(required) = self.required.filter(|required| self.colours.contains(required)) {
            let y = place(required);
            for (colour, stroke) in [(WHITE, 7), (BLACK, 3)] {
                let mark = PathElement::new(
                    vec![(left, y), (right, y)],
                    ShapeStyle::from(&colour).stroke_width(px(stroke)),
                );
                panel.draw(&mark).map_err(PlotError::from_display)?;
            }
        }
        let note = if self.is_cut { CUT_NOTE } else { "" };
        let style = letters(label, BLACK)
            .transform(FontTransform::Rotate270)
            .pos(Pos::new(HPos::Center, VPos::Center));
        let middle = rows.start + height / 2;
        let at = (px_i(SCALE_WIDTH - label), middle.min(px_i(HEIGHT)));
        words(panel, at, &format!("Image rejection (dB{note})"), &style)
    }
}

/// Halfway between neighbours; the outermost as far beyond as the inner ones are within.
fn edges(values: &[f64]) -> Vec<f64> {
    let (Some(first), Some(last)) = (values.first(), values.last()) else { return vec![0.0, 1.0] };
    let mut edges: Vec<f64> = values.windows(2).map(|pair| 0.5 * (pair[0] + pair[1])).collect();
    // A single value still needs a cell.
    let alone = 0.02 * first.abs().max(f64::MIN_POSITIVE);
    let below = edges.first().map_or(alone, |edge| edge - first);
    let above = edges.last().map_or(alone, |edge| last - edge);
    edges.insert(0, first - below);
    edges.push(last + above);
    edges
}

fn ends(edges: &[f64]) -> Range<f64> {
    edges[0]..edges[edges.len() - 1]
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
    fn cells_meet_halfway() {
        assert_eq!(edges(&[1.0, 2.0, 4.0]), [0.5, 1.5, 3.0, 5.0]);
        assert_eq!(edges(&[100.0]), [98.0, 102.0]);
    }

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
