//! The rejection over LO and IF as a map.

use super::axis::{Chart, Ticks, extent};
use super::canvas::{Canvas, Pixel, picture, px, whole};
use super::caption::Caption;
use super::chart::{Axes, chart};
use super::colour_scale::{ColourScale, Palette, SCALE_WIDTH};
use super::error::PlotError;
use super::frequency_axis::{LO_LABEL, ghz};
use super::legend::Entry;
use super::picture::Picture;
use super::picture_size::WIDTH;
use super::rejection_axis::{CUT_NOTE, HIGHEST_REJECTION_DB, cut, is_beyond};
use super::series::{CLOSE, WIDE, hatch};
use super::style::{BLACK, Dash, Sizes};
use crate::downconverter::{DownconverterResult, Receiver};
use crate::measurement::Assessment;
use crate::requirement::{Quantity, Verdict};
use plotters::prelude::{Color, PathElement, Rectangle, ShapeStyle, WHITE};
use std::ops::Range;

/// Image rejection over LO and IF in colours, with the cells hatched that miss the requirement; with
/// an uncertainty, that fail or are undecided within it.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_rejection_map(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
    assessment: Option<&Assessment>,
) -> Result<Picture, PlotError> {
    let map = Map::of(receiver, result, assessment);
    let names = map.names();
    let legend: Vec<Entry<'_>> =
        names.iter().map(|(name, dash)| Entry { name, colour: BLACK, dash: *dash }).collect();
    let name = "Image rejection over LO and IF";
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let (left, right) = body.split_horizontally(px(WIDTH - SCALE_WIDTH));
        let axes = Axes {
            x_label: LO_LABEL,
            y_label: &format!("IF ({})", map.if_unit),
            x: ends(&map.x),
            y: ends(&map.y),
            x_ticks: Ticks::At(&map.lo_ghz),
            y_ticks: Ticks::At(&map.if_shown),
            ..Axes::default()
        };
        let (_, mut chart) = chart(&left, &axes, &legend, Sizes::LARGE)?;
        map.draw(canvas, &mut chart)?;
        let (_, rows) = chart.plotting_area().get_pixel_range();
        map.scale().draw(&right, &rows, Sizes::LARGE)
    })
}

/// The cells of the map and what is in them.
struct Map {
    lo_ghz: Vec<f64>,
    if_shown: Vec<f64>,
    /// The edges of the columns, GHz.
    x: Vec<f64>,
    /// The edges of the rows, in the unit.
    y: Vec<f64>,
    if_unit: &'static str,
    /// Column after column, dB; `None` where a point is not in the plan.
    values: Vec<Option<f64>>,
    /// What the colours stand for, dB.
    colours: Range<f64>,
    is_cut: bool,
    required: Option<f64>,
    /// The verdict of each cell; PASS where nothing is required, and where a point is not in the plan.
    verdicts: Vec<Verdict>,
    has_uncertainty: bool,
}

impl Map {
    fn of(
        receiver: &Receiver,
        result: &DownconverterResult,
        assessment: Option<&Assessment>,
    ) -> Self {
        let plan = receiver.plan();
        let highest_if_hz = plan.if_hz().iter().copied().fold(0.0, f64::max);
        let (if_unit, unit_hz) = if highest_if_hz < 0.5e9 { ("MHz", 1e6) } else { ("GHz", 1e9) };
        let rejections = || result.points.iter().map(|point| point.balance.image_rejection_db);
        // No rejection is finite where the receiver gives nothing at any point.
        let (low, high) =
            extent(rejections().map(cut)).unwrap_or((HIGHEST_REJECTION_DB, HIGHEST_REJECTION_DB));
        // A map of one value still needs a scale.
        let missing = (1.0 - (high - low)).max(0.0) / 2.0;
        let top = (high + missing).min(HIGHEST_REJECTION_DB);
        let required = receiver.limits().on(Quantity::ImageRejection);
        // Columns and rows of points that are not in the plan are there, and stay empty.
        let lo_hz = between_ends(&plan.settings().lo_hz, plan.lo_hz());
        let if_hz = between_ends(&plan.settings().if_hz, plan.if_hz());
        let lo_ghz: Vec<f64> = lo_hz.iter().map(|hz| ghz(*hz)).collect();
        let if_shown: Vec<f64> = if_hz.iter().map(|hz| hz / unit_hz).collect();
        let cells = lo_hz.len() * if_hz.len();
        let (mut values, mut verdicts) = (vec![None; cells], vec![Verdict::Pass; cells]);
        for (at, point) in result.points.iter().enumerate() {
            let column = lo_hz.partition_point(|hz| *hz < point.lo_hz);
            let cell = column * if_hz.len() + if_hz.partition_point(|hz| *hz < point.if_hz);
            let value_db = cut(point.balance.image_rejection_db);
            let decided = assessment.and_then(|own| own.rejection_verdicts.get(at));
            values[cell] = Some(value_db).filter(|db| !db.is_nan());
            verdicts[cell] = match (required, decided) {
                (None, _) => Verdict::Pass,
                (Some(_), Some(decided)) => *decided,
                (Some(required), None) if value_db < required => Verdict::Fail,
                (Some(_), None) => Verdict::Pass,
            };
        }
        Self {
            x: edges(&lo_ghz),
            y: edges(&if_shown),
            if_unit,
            colours: (top - 1.0).min(low - missing)..top,
            is_cut: rejections().any(is_beyond),
            required,
            values,
            verdicts,
            has_uncertainty: assessment.is_some(),
            lo_ghz,
            if_shown,
        }
    }

    fn rows(&self) -> usize {
        self.y.len() - 1
    }

    /// The entries of the legend.
    fn names(&self) -> Vec<(String, Dash)> {
        let Some(required) = self.required else { return Vec::new() };
        let has = |verdict| self.verdicts.contains(&verdict);
        let within = if self.has_uncertainty { " within the uncertainty" } else { "" };
        let mut names = Vec::new();
        for (verdict, word, dash) in [
            (Verdict::Fail, "FAIL", Dash::Hatched),
            (Verdict::Undecided, "UNDECIDED", Dash::WideHatched),
        ] {
            if has(verdict) {
                names.push((format!("{word}{within}: required {required} dB"), dash));
            }
        }
        if names.is_empty() {
            names.push((format!("PASS{within} everywhere: required {required} dB"), Dash::Word));
        }
        names
    }

    /// Whether two cells of the plan have different verdicts.
    fn differ(&self, one: usize, other: usize) -> bool {
        let are_known = self.values[one].is_some() && self.values[other].is_some();
        are_known && self.verdicts[one] != self.verdicts[other]
    }

    fn scale(&self) -> ColourScale {
        let note = if self.is_cut { CUT_NOTE } else { "" };
        ColourScale {
            range: self.colours.clone(),
            mark: self.required,
            label: format!("Image rejection (dB{note})"),
            palette: Palette::Sequential,
        }
    }

    fn draw(&self, canvas: &Canvas<'_>, chart: &mut Chart<'_, '_>) -> Result<(), PlotError> {
        let (rows, scale) = (self.rows(), self.scale());
        // Upper left and lower right, on the picture.
        let corners = |cell: usize| -> (Pixel, Pixel) {
            let (column, row) = (cell / rows, cell % rows);
            let low = chart.backend_coord(&(self.x[column], self.y[row]));
            let high = chart.backend_coord(&(self.x[column + 1], self.y[row + 1]));
            (whole((low.0, high.1)), whole((high.0, low.1)))
        };
        for (cell, value) in self.values.iter().enumerate() {
            let (Some(value), (low, high)) = (*value, corners(cell)) else { continue };
            let filled = Rectangle::new([low, high], scale.colour(value).filled());
            canvas.draw(&filled).map_err(PlotError::from_display)?;
        }
        for (cell, value) in self.values.iter().enumerate() {
            let spacing = match self.verdicts[cell] {
                Verdict::Pass => continue,
                Verdict::Undecided => WIDE,
                Verdict::Fail => CLOSE,
            };
            if let Some(value) = *value {
                hatch(canvas, corners(cell), scale.ink(value), spacing)?;
            }
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

    /// The edges between cells of different verdicts.
    fn boundary(&self, corners: &impl Fn(usize) -> (Pixel, Pixel)) -> Vec<(Pixel, Pixel)> {
        let rows = self.rows();
        let mut found = Vec::new();
        for cell in 0..self.values.len() {
            let (low, high) = corners(cell);
            let right = cell + rows;
            if right < self.values.len() && self.differ(cell, right) {
                found.push(((high.0, low.1), high));
            }
            let is_top = cell % rows == rows - 1;
            if !is_top && self.differ(cell, cell + 1) {
                found.push((low, (high.0, low.1)));
            }
        }
        found
    }
}

/// Those of a list from the first to the last of others, which are among them.
fn between_ends(all: &[f64], others: &[f64]) -> Vec<f64> {
    let (Some(first), Some(last)) = (others.first(), others.last()) else { return Vec::new() };
    all.iter().copied().filter(|value| (*first..=*last).contains(value)).collect()
}

/// Halfway between neighbours; the outermost cells end at their values, where the data end.
fn edges(values: &[f64]) -> Vec<f64> {
    match values {
        [] => vec![0.0, 1.0],
        // A single value still needs a cell.
        [only] => {
            let half = 0.02 * only.abs().max(f64::MIN_POSITIVE);
            vec![only - half, only + half]
        }
        [first, .., last] => {
            let between = values.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
            std::iter::once(*first).chain(between).chain([*last]).collect()
        }
    }
}

fn ends(edges: &[f64]) -> Range<f64> {
    edges[0]..edges[edges.len() - 1]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_meet_halfway() {
        assert_eq!(edges(&[1.0, 2.0, 4.0]), [1.0, 1.5, 3.0, 4.0]);
        assert_eq!(edges(&[100.0]), [98.0, 102.0]);
    }
}
