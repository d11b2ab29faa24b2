//! A wafer as it lies: rejection and verdict of every die, where each is worst, and what a smooth
//! trend leaves.

use super::axis::{Chart, extent};
use super::canvas::{Canvas, Pixel, WIDTH, picture, px, px_i};
use super::chart::{Axes, map_chart};
use super::colour_scale::ColourScale;
use super::error::PlotError;
use super::legend::Entry;
use super::lettering::words;
use super::lot_caption::captioned;
use super::rejection_axis::cut;
use super::series::hatch;
use super::style::{BLACK, BLUE, Dash, GREY, Sizes, VERMILION, letters};
use crate::requirement::Verdict;
use crate::wafer::{
    DieRow, DieStatus, ErrorPart, LotHeading, LotResult, Position, Spatial, WaferGeometry,
    WaferResult, larger_residuals,
};
use plotters::prelude::{Circle, Color, PathElement, RGBColor, Rectangle, ShapeStyle};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::f64::consts::TAU;
use std::ops::Range;

/// The large map's share of the picture.
const LARGE_WIDTH: u32 = 1010;
/// Room for the large map's scale.
const LARGE_SCALE: u32 = 140;
/// Room for the scales of the small maps.
const SMALL_SCALE: u32 = 110;

/// One wafer. What its values, verdicts and axes are stands above.
///
/// # Errors
/// [`PlotError`] if drawing fails, or if there is no such wafer or no map.
pub fn wafer_map(
    heading: &LotHeading<'_>,
    result: &LotResult,
    wafer: usize,
) -> Result<Vec<u8>, PlotError> {
    let (Some(one), Some(map)) = (result.wafers.get(wafer), &result.map) else {
        return Err(PlotError::from_display("there is no such wafer or no map"));
    };
    let sheet = Sheet { heading, result, wafer: one, map };
    let name = format!(
        "Lot {}, wafer {}: {} of {} dies pass",
        one.lot,
        one.wafer,
        one.group.counts.pass,
        one.group.counts.tested(),
    );
    let axes = heading.axes();
    picture(|canvas| {
        let body = captioned(canvas, &name, heading, result, &axes)?;
        let (left, right) = body.split_horizontally(px(LARGE_WIDTH));
        sheet.rejections(canvas, &left)?;
        let (_, height) = right.dim_in_pixel();
        let (upper, lower) = right.split_vertically(height / 2);
        sheet.worst_places(canvas, &upper)?;
        sheet.residuals(canvas, &lower)
    })
}

struct Sheet<'a> {
    heading: &'a LotHeading<'a>,
    result: &'a LotResult,
    wafer: &'a WaferResult,
    map: &'a WaferGeometry,
}

impl Sheet<'_> {
    /// The wafer's rows that stand, with where they lie; a place beyond the wafer's edge cannot be
    /// drawn, and a warning tells of it.
    fn standing(&self) -> impl Iterator<Item = (usize, &DieRow, Position)> {
        self.wafer.rows.iter().filter_map(|&at| {
            let row = &self.result.rows[at];
            Some((at, row, self.drawn(row).filter(|_| row.stands)?))
        })
    }

    /// Where a row lies on the wafer.
    fn drawn(&self, row: &DieRow) -> Option<Position> {
        let is_off = self.map.is_off_wafer(f64::from(row.key.die_x), f64::from(row.key.die_y));
        row.position.filter(|_| !is_off)
    }

    fn rejections(&self, canvas: &Canvas<'_>, panel: &Canvas<'_>) -> Result<(), PlotError> {
        let values = || {
            self.standing()
                .filter_map(|(_, row, _)| Some(cut(row.figures.as_ref()?.worst_rejection_db)))
        };
        let required = self.result.limits.on_rejection_db();
        let word = self.heading.rejection().label();
        let scale = ColourScale {
            range: tight(values(), 1.0),
            mark: required,
            label: format!("Worst {word} (dB)"),
        };
        let present =
            |holds: &dyn Fn(&DieRow) -> bool| self.standing().any(|(_, row, _)| holds(row));
        let mut legend: Vec<Entry<'_>> = Vec::new();
        let is_unread =
            |row: &DieRow| matches!(row.status, DieStatus::Incomplete | DieStatus::Error);
        for (is_there, name, colour, dash) in [
            (present(&|row| row.status == DieStatus::Fail), "fails", BLACK, Dash::Hatched),
            (present(&is_unread), "not measured", GREY, Dash::Crossed),
            (present(&|row| row.is_outlier), "outlier", VERMILION, Dash::Solid),
            (present(&|row| row.is_excluded), "edge exclusion", GREY, Dash::Dots),
        ] {
            if is_there {
                legend.push(Entry { name, colour, dash });
            }
        }
        let note = if present(&is_undecided) { "; ? undecided" } else { "" };
        let title = format!("Worst {word} of each die{note}");
        let (inner, side) = panel.split_horizontally(px(LARGE_WIDTH - LARGE_SCALE));
        let mut chart = self.axes(&inner, &title, &legend, Sizes::LARGE)?;
        let style = ShapeStyle::from(&GREY).stroke_width(px(1));
        for (_, row, at) in self.standing() {
            let cell = self.cell(&chart, at);
            let Some(figures) = &row.figures else {
                fill(canvas, cell, WHITE)?;
                for (from, to) in [(cell.0, cell.1), ((cell.0.0, cell.1.1), (cell.1.0, cell.0.1))] {
                    let stroke = PathElement::new(vec![from, to], style);
                    canvas.draw(&stroke).map_err(PlotError::from_display)?;
                }
                frame(canvas, cell, GREY, 1)?;
                continue;
            };
            let value = cut(figures.worst_rejection_db);
            fill(canvas, cell, scale.colour(value))?;
            if row.status == DieStatus::Fail {
                hatch(canvas, cell, scale.ink(value))?;
            }
            frame(canvas, cell, WHITE, 1)?;
            self.number(canvas, cell, value, row, &scale)?;
        }
        // What stands out is drawn above all neighbours.
        for (_, row, at) in self.standing() {
            let cell = self.cell(&chart, at);
            if row.is_excluded {
                dotted(canvas, cell)?;
            }
            if row.is_outlier {
                frame(canvas, cell, VERMILION, 4)?;
            }
        }
        self.rim(&mut chart, Sizes::LARGE)?;
        let (_, rows) = chart.plotting_area().get_pixel_range();
        scale.draw(&side, &rows, Sizes::LARGE)
    }

    /// The value in the die, where there is room.
    fn number(
        &self,
        canvas: &Canvas<'_>,
        (low, high): (Pixel, Pixel),
        value: f64,
        row: &DieRow,
        scale: &ColourScale,
    ) -> Result<(), PlotError> {
        let (width, height) = (high.0 - low.0, high.1 - low.1);
        let size = (width / 4).min(height / 2) / px_i(1);
        let Some(size) = u32::try_from(size).ok().filter(|size| *size >= 9) else {
            return Ok(());
        };
        let size = size.min(Sizes::LARGE.label * 4 / 5);
        let middle = (i32::midpoint(low.0, high.0), i32::midpoint(low.1, high.1));
        let text = format!("{value:.1}{}", if is_undecided(row) { "?" } else { "" });
        if row.status == DieStatus::Fail {
            let half = (px_i(size) * 13 / 10, px_i(size) * 7 / 10);
            let back =
                ((middle.0 - half.0, middle.1 - half.1), (middle.0 + half.0, middle.1 + half.1));
            fill(canvas, back, scale.colour(value))?;
        }
        let style = letters(size, scale.ink(value)).pos(Pos::new(HPos::Center, VPos::Center));
        words(canvas, middle, &text, &style)
    }

    /// At which frequency each die is worst.
    fn worst_places(&self, canvas: &Canvas<'_>, panel: &Canvas<'_>) -> Result<(), PlotError> {
        let ghz: Vec<(Position, f64)> = self
            .standing()
            .filter_map(|(_, row, at)| Some((at, row.figures.as_ref()?.worst_at_hz / 1e9)))
            .collect();
        let word = self.heading.frequency_word();
        let scale = ColourScale {
            range: tight(ghz.iter().map(|(_, ghz)| *ghz), 0.1),
            mark: None,
            label: format!("Worst {word} (GHz)"),
        };
        self.small(canvas, panel, &format!("Where each is worst: {word}"), &ghz, &scale)
    }

    /// What plane and bowl leave, in the part of the channel error that counts more.
    fn residuals(&self, canvas: &Canvas<'_>, panel: &Canvas<'_>) -> Result<(), PlotError> {
        // Without a trend there are no residuals to show.
        let of = |part: &Spatial| -> Vec<f64> {
            part.trend.iter().flat_map(|trend| trend.residuals.iter().copied()).collect()
        };
        let (amplitude_db, phase_deg) = (of(&self.wafer.amplitude_db), of(&self.wafer.phase_deg));
        let (values, title, label) = match larger_residuals(&amplitude_db, &phase_deg) {
            ErrorPart::Amplitude => (amplitude_db, "Imbalance less its trend", "Residual (dB)"),
            ErrorPart::Phase => (phase_deg, "Phase error less its trend", "Residual (deg)"),
        };
        let places: Vec<(Position, f64)> = self
            .wafer
            .fitted
            .iter()
            .zip(&values)
            .filter_map(|(&row, &value)| Some((self.drawn(&self.result.rows[row])?, value)))
            .collect();
        let largest = places.iter().fold(0.01_f64, |largest, (_, value)| largest.max(value.abs()));
        let scale =
            ColourScale { range: -largest..largest, mark: Some(0.0), label: label.to_owned() };
        let title = match places.is_empty() {
            true => "No trend: too few dies".to_owned(),
            false => format!("{title}{}", self.heading.of_image_sideband()),
        };
        self.small(canvas, panel, &title, &places, &scale)
    }

    fn small(
        &self,
        canvas: &Canvas<'_>,
        panel: &Canvas<'_>,
        title: &str,
        values: &[(Position, f64)],
        scale: &ColourScale,
    ) -> Result<(), PlotError> {
        let (inner, side) = panel.split_horizontally(px(WIDTH - LARGE_WIDTH - SMALL_SCALE));
        let mut chart = self.axes(&inner, title, &[], Sizes::SMALL)?;
        for &(at, value) in values {
            let cell = self.cell(&chart, at);
            fill(canvas, cell, scale.colour(value))?;
            frame(canvas, cell, WHITE, 1)?;
        }
        self.rim(&mut chart, Sizes::SMALL)?;
        let (_, rows) = chart.plotting_area().get_pixel_range();
        scale.draw(&side, &rows, Sizes::SMALL)
    }

    fn axes<'p, 'b>(
        &self,
        panel: &'p Canvas<'b>,
        title: &str,
        legend: &[Entry<'_>],
        sizes: Sizes,
    ) -> Result<Chart<'p, 'b>, PlotError> {
        let half = 0.53 * self.map.diameter_mm();
        let axes =
            Axes { title, x_label: "x (mm)", y_label: "y (mm)", x: -half..half, y: -half..half };
        Ok(map_chart(panel, &axes, legend, sizes)?.1)
    }

    /// A die's corners on the picture: upper left and lower right.
    fn cell(&self, chart: &Chart<'_, '_>, at: Position) -> (Pixel, Pixel) {
        let (width, height) = self.map.die_size_mm();
        let low = chart.backend_coord(&(at.x_mm - 0.5 * width, at.y_mm + 0.5 * height));
        let high = chart.backend_coord(&(at.x_mm + 0.5 * width, at.y_mm - 0.5 * height));
        (low, high)
    }

    /// The wafer's rim with its notch, and where dies begin not to count.
    fn rim(&self, chart: &mut Chart<'_, '_>, sizes: Sizes) -> Result<(), PlotError> {
        let radius = self.map.radius_mm();
        let notch = self.map.notch_position();
        let towards = notch.y_mm.atan2(notch.x_mm);
        // Drawn much larger than it is, so that it is seen.
        let half_angle = 0.035;
        let on = |radius: f64, angle: f64| (radius * angle.cos(), radius * angle.sin());
        let steps = 360;
        let mut rim: Vec<(f64, f64)> = (0..=steps)
            .map(|at| {
                let share = f64::from(at) / f64::from(steps);
                on(radius, towards + half_angle + share * (TAU - 2.0 * half_angle))
            })
            .collect();
        rim.push(on(0.95 * radius, towards));
        rim.push(rim[0]);
        let counted = self.map.counted_radius_mm();
        let inner = (0..=steps).map(|at| on(counted, TAU * f64::from(at) / f64::from(steps)));
        let style = ShapeStyle::from(&BLUE).stroke_width(px(1));
        if self.map.edge_exclusion_mm() > 0.0 {
            let ring = PathElement::new(inner.collect::<Vec<_>>(), style);
            chart.draw_series(std::iter::once(ring)).map_err(PlotError::from_display)?;
        }
        let style = ShapeStyle::from(&BLACK).stroke_width(px(sizes.line));
        let rim = PathElement::new(rim, style);
        chart.draw_series(std::iter::once(rim)).map_err(PlotError::from_display)?;
        Ok(())
    }
}

/// Paper.
const WHITE: RGBColor = RGBColor(255, 255, 255);

/// A range that holds all values with nothing to spare, and is never empty.
fn tight(values: impl Iterator<Item = f64>, least_width: f64) -> Range<f64> {
    let Some((low, high)) = extent(values) else { return 0.0..least_width.max(1.0) };
    let missing = 0.5 * (least_width - (high - low)).max(0.0);
    low - missing..high + missing
}

fn fill(
    canvas: &Canvas<'_>,
    (low, high): (Pixel, Pixel),
    colour: RGBColor,
) -> Result<(), PlotError> {
    canvas.draw(&Rectangle::new([low, high], colour.filled())).map_err(PlotError::from_display)
}

fn frame(
    canvas: &Canvas<'_>,
    (low, high): (Pixel, Pixel),
    colour: RGBColor,
    width: u32,
) -> Result<(), PlotError> {
    let style = ShapeStyle::from(&colour).stroke_width(px(width));
    canvas.draw(&Rectangle::new([low, high], style)).map_err(PlotError::from_display)
}

/// A dot in each corner of a die that does not count.
fn dotted(canvas: &Canvas<'_>, (low, high): (Pixel, Pixel)) -> Result<(), PlotError> {
    let inset = ((high.0 - low.0) / 5).min(px_i(8));
    let radius = (inset / 3).max(1);
    for at in [
        (low.0 + inset, low.1 + inset),
        (high.0 - inset, low.1 + inset),
        (low.0 + inset, high.1 - inset),
        (high.0 - inset, high.1 - inset),
    ] {
        for (colour, radius) in [(WHITE, radius * 2), (GREY, radius)] {
            canvas
                .draw(&Circle::new(at, radius, colour.filled()))
                .map_err(PlotError::from_display)?;
        }
    }
    Ok(())
}

/// Whether the uncertainty of a die's files leaves its verdict open.
fn is_undecided(row: &DieRow) -> bool {
    let known = row.figures.as_ref().and_then(|figures| figures.conformity);
    known.is_some_and(|known| known.decision == Verdict::Undecided)
}
