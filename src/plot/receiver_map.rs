//! Quantities over LO and IF as maps: the rejection, and what switched mixers lose and add.

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
use crate::downconverter::{
    DownconverterResult, PlanPoint, Receiver, SwitchedPoint, SwitchingResult,
};
use crate::measurement::Assessment;
use crate::requirement::{Direction, Limit, Quantity, Verdict};
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
    let map = Map::of_rejection(receiver, result, assessment);
    let name = "Image rejection over LO and IF";
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        map.draw(canvas, &body, "")
    })
}

/// Conversion loss of both channels above noise figure, over LO and IF in colours, with the cells
/// hatched that miss the requirement.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn switching_map(
    caption: &Caption<'_>,
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Picture, PlotError> {
    let map = |label: &str, quantity: Quantity, level: fn(&SwitchedPoint) -> Option<f64>| {
        let places = receiver.plan().points().iter().zip(&switching.points);
        let cells: Vec<Cell> =
            places.map(|(place, own)| Cell::new(place.lo_hz, place.if_hz, level(own))).collect();
        Map::new(receiver, label, quantity, &cells, f64::INFINITY)
    };
    let loss = map("Conversion loss (dB)", Quantity::ConversionLoss, |point| {
        point.conversion_loss.both_db
    });
    let figure = map("Noise figure (dB)", Quantity::NoiseFigure, |point| point.noise_figure_db);
    let name = "Conversion loss and noise figure over LO and IF";
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let panels = body.split_evenly((2, 1));
        let titled = [
            (&loss, "Conversion loss, I and Q together"),
            (&figure, "Noise figure, single sideband"),
        ];
        titled
            .into_iter()
            .zip(&panels)
            .try_for_each(|((map, title), panel)| map.draw(canvas, panel, title))
    })
}

/// A point of the plan, with what is shown of it.
struct Cell {
    lo_hz: f64,
    if_hz: f64,
    value: Option<f64>,
    /// The decision within the uncertainty, where there is one.
    decided: Option<Verdict>,
}

impl Cell {
    fn new(lo_hz: f64, if_hz: f64, value: Option<f64>) -> Self {
        Self { lo_hz, if_hz, value: value.filter(|db| db.is_finite()), decided: None }
    }
}

/// The cells of the map and what is in them.
struct Map {
    label: String,
    lo_ghz: Vec<f64>,
    if_shown: Vec<f64>,
    /// The edges of the columns, GHz.
    x: Vec<f64>,
    /// The edges of the rows, in the unit.
    y: Vec<f64>,
    if_unit: &'static str,
    /// Column after column, dB; `None` where a point is not in the plan.
    values: Vec<Option<f64>>,
    /// The values of the colours, dB.
    colours: Range<f64>,
    limit: Option<Limit>,
    /// The verdict of each cell; PASS where nothing is required, and where a point is not in the plan.
    verdicts: Vec<Verdict>,
    has_uncertainty: bool,
}

impl Map {
    fn of_rejection(
        receiver: &Receiver,
        result: &DownconverterResult,
        assessment: Option<&Assessment>,
    ) -> Self {
        let rejections = || result.points.iter().map(|point| point.balance.image_rejection_db);
        let note = if rejections().any(is_beyond) { CUT_NOTE } else { "" };
        let cell = |(at, point): (usize, &PlanPoint)| Cell {
            decided: assessment.and_then(|own| own.rejection_verdicts.get(at).copied()),
            ..Cell::new(point.lo_hz, point.if_hz, Some(cut(point.balance.image_rejection_db)))
        };
        let cells: Vec<Cell> = result.points.iter().enumerate().map(cell).collect();
        let label = format!("Image rejection (dB{note})");
        let map =
            Self::new(receiver, &label, Quantity::ImageRejection, &cells, HIGHEST_REJECTION_DB);
        Self { has_uncertainty: assessment.is_some(), ..map }
    }

    /// The map of a quantity; `highest` is the maximum of the scale of colours.
    fn new(
        receiver: &Receiver,
        label: &str,
        quantity: Quantity,
        points: &[Cell],
        highest: f64,
    ) -> Self {
        let plan = receiver.plan();
        let highest_if_hz = plan.if_hz().iter().copied().fold(0.0, f64::max);
        let (if_unit, unit_hz) = if highest_if_hz < 0.5e9 { ("MHz", 1e6) } else { ("GHz", 1e9) };
        // No value is finite where the receiver gives nothing at any point.
        let end = highest.min(HIGHEST_REJECTION_DB);
        let (low, high) = extent(points.iter().filter_map(|own| own.value)).unwrap_or((end, end));
        // A map of one value still needs a scale.
        let missing = (1.0 - (high - low)).max(0.0) / 2.0;
        let top = (high + missing).min(highest);
        let limit = receiver.limits().iter().find(|limit| limit.quantity() == quantity);
        // Columns and rows of points that are not in the plan are there, and stay empty.
        let lo_hz = between_ends(&plan.settings().lo_hz, plan.lo_hz());
        let if_hz = between_ends(&plan.settings().if_hz, plan.if_hz());
        let lo_ghz: Vec<f64> = lo_hz.iter().map(|hz| ghz(*hz)).collect();
        let if_shown: Vec<f64> = if_hz.iter().map(|hz| hz / unit_hz).collect();
        let cells = lo_hz.len() * if_hz.len();
        let (mut values, mut verdicts) = (vec![None; cells], vec![Verdict::Pass; cells]);
        for point in points {
            let column = lo_hz.partition_point(|hz| *hz < point.lo_hz);
            let cell = column * if_hz.len() + if_hz.partition_point(|hz| *hz < point.if_hz);
            values[cell] = point.value;
            let is_kept = |limit: Limit| point.value.is_some_and(|value| limit.is_kept_by(value));
            verdicts[cell] = match (limit, point.decided) {
                (None, _) => Verdict::Pass,
                (Some(_), Some(decided)) => decided,
                (Some(limit), None) if is_kept(limit) => Verdict::Pass,
                (Some(_), None) => Verdict::Fail,
            };
        }
        Self {
            label: label.to_owned(),
            x: edges(&lo_ghz),
            y: edges(&if_shown),
            if_unit,
            colours: (top - 1.0).min(low - missing)..top,
            limit,
            values,
            verdicts,
            has_uncertainty: false,
            lo_ghz,
            if_shown,
        }
    }

    fn rows(&self) -> usize {
        self.y.len() - 1
    }

    /// The entries of the legend.
    fn names(&self) -> Vec<(String, Dash)> {
        let Some(limit) = self.limit else { return Vec::new() };
        let (value, unit) = (limit.value(), limit.quantity().unit());
        let required = match limit.quantity().direction() {
            Direction::AtLeast => format!("required {value} {unit}"),
            Direction::AtMost | Direction::MagnitudeAtMost => format!("at most {value} {unit}"),
        };
        let has = |verdict| self.verdicts.contains(&verdict);
        let within = if self.has_uncertainty { " within the uncertainty" } else { "" };
        let mut names = Vec::new();
        for (verdict, word, dash) in [
            (Verdict::Fail, "FAIL", Dash::Hatched),
            (Verdict::Undecided, "UNDECIDED", Dash::WideHatched),
        ] {
            if has(verdict) {
                names.push((format!("{word}{within}: {required}"), dash));
            }
        }
        if names.is_empty() {
            names.push((format!("PASS{within} everywhere: {required}"), Dash::Word));
        }
        names
    }

    /// Whether two cells of the plan have different verdicts.
    fn differ(&self, one: usize, other: usize) -> bool {
        let are_known = self.values[one].is_some() && self.values[other].is_some();
        are_known && self.verdicts[one] != self.verdicts[other]
    }

    fn scale(&self) -> ColourScale {
        ColourScale {
            range: self.colours.clone(),
            mark: self.limit.map(Limit::value),
            label: self.label.clone(),
            palette: Palette::Sequential,
        }
    }

    /// Draws the map with its scale on a panel of a picture.
    fn draw(&self, canvas: &Canvas<'_>, panel: &Canvas<'_>, title: &str) -> Result<(), PlotError> {
        let names = self.names();
        let legend: Vec<Entry<'_>> =
            names.iter().map(|(name, dash)| Entry { name, colour: BLACK, dash: *dash }).collect();
        let (left, right) = panel.split_horizontally(px(WIDTH - SCALE_WIDTH));
        let axes = Axes {
            title,
            x_label: LO_LABEL,
            y_label: &format!("IF ({})", self.if_unit),
            x: ends(&self.x),
            y: ends(&self.y),
            x_ticks: Ticks::At(&self.lo_ghz),
            y_ticks: Ticks::At(&self.if_shown),
            ..Axes::default()
        };
        let (_, mut chart) = chart(&left, &axes, &legend, Sizes::LARGE)?;
        self.draw_cells(canvas, &mut chart)?;
        let (_, rows) = chart.plotting_area().get_pixel_range();
        self.scale().draw(&right, &rows, Sizes::LARGE)
    }

    fn draw_cells(&self, canvas: &Canvas<'_>, chart: &mut Chart<'_, '_>) -> Result<(), PlotError> {
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
