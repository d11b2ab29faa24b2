//! A wafer in its orientation: rejection and verdict of every die, where each is worst, and what a smooth
//! trend leaves.

use super::axis::{Chart, Ticks};
use super::canvas::{Canvas, Pixel, count, offset, picture, px, px_i, whole};
use super::chart::{Axes, chart, square_panels};
use super::colour_scale::{ColourScale, Palette};
use super::error::PlotError;
use super::legend::Entry;
use super::lettering::words;
use super::lot_caption::lot_head;
use super::picture::Picture;
use super::rejection_axis::cut;
use super::series::{CLOSE, WIDE, hatch, outline};
use super::style::{BLACK, BLUE, Dash, GREY, Sizes, VERMILION, letters};
use super::wafer_scales::WaferScales;
use crate::requirement::{Quantity, Verdict};
use crate::wafer::{
    DieRow, DieStatus, Direction, ErrorPart, LotHeading, LotResult, Position, WaferGeometry,
    WaferResult,
};
use plotters::prelude::{Color, PathElement, RGBColor, Rectangle, ShapeStyle};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::collections::BTreeSet;
use std::f64::consts::TAU;

/// The large map's share of the picture.
const LARGE_WIDTH: u32 = 1010;
/// Letters of the large map: its legend may have many entries.
const LARGE_MAP: Sizes = Sizes { title: 26, label: 19, line: 3 };
/// Room for the large map's scale, and for those of the small maps.
const LARGE_SCALE: u32 = 130;
const SMALL_SCALE: u32 = 115;

/// One wafer. Its title says what its values, verdicts and axes are.
///
/// # Errors
/// [`PlotError`] if drawing fails, or if there is no such wafer or no map.
pub fn wafer_map(
    heading: &LotHeading<'_>,
    result: &LotResult,
    scales: &WaferScales,
    wafer: usize,
) -> Result<Picture, PlotError> {
    let (Some(one), Some(map)) = (result.wafers.get(wafer), &result.map) else {
        return Err(PlotError::from_display("there is no such wafer or no map"));
    };
    let sheet = Sheet { heading, result, wafer: one, map, scales };
    let counts = &one.group.counts;
    let tested = match counts.yield_of_tested().share {
        Some(share) => {
            let (pass, tested) = (counts.pass, counts.tested());
            let dies = if tested == 1 { "die passes" } else { "dies pass" };
            format!("yield {:.1} %, {pass} of {tested} {dies}", 100.0 * share)
        }
        None => "no die tested".to_owned(),
    };
    let name = format!("Lot {}, wafer {}: {tested}", one.lot, one.wafer);
    let residuals = sheet.residuals();
    let mut more = heading.axes();
    if residuals.is_empty() {
        more.push_str("; no trend: too few dies");
    }
    picture(&name, |canvas| {
        let body = lot_head(canvas, &name, heading, result, &more)?;
        let (left, right) = body.split_horizontally(px(LARGE_WIDTH));
        sheet.rejections(canvas, &left)?;
        if residuals.is_empty() {
            return sheet.worst_places(canvas, &right);
        }
        let (_, height) = right.dim_in_pixel();
        let (upper, lower) = right.split_vertically(height / 2);
        sheet.worst_places(canvas, &upper)?;
        sheet.residual_map(canvas, &lower, &residuals)
    })
}

struct Sheet<'a> {
    heading: &'a LotHeading<'a>,
    result: &'a LotResult,
    wafer: &'a WaferResult,
    map: &'a WaferGeometry,
    scales: &'a WaferScales,
}

impl Sheet<'_> {
    /// The wafer's rows that are not superseded, with their places; a place beyond the wafer's edge cannot be
    /// drawn, and a warning says so.
    fn standing(&self) -> impl Iterator<Item = (usize, &DieRow, Position)> {
        self.wafer.rows.iter().filter_map(|&at| {
            let row = &self.result.rows[at];
            Some((at, row, self.drawn(row).filter(|_| row.stands)?))
        })
    }

    /// The place of a row on the wafer.
    fn drawn(&self, row: &DieRow) -> Option<Position> {
        let is_off = self.map.is_off_wafer(f64::from(row.key.die_x), f64::from(row.key.die_y));
        row.position.filter(|_| !is_off)
    }

    fn rejections(&self, canvas: &Canvas<'_>, panel: &Canvas<'_>) -> Result<(), PlotError> {
        let word = self.heading.rejection().label();
        let scale = ColourScale {
            range: self.scales.rejection.clone(),
            mark: self.result.limits.on_rejection_db(),
            label: format!("Worst {word} (dB)"),
            palette: Palette::Sequential,
        };
        let entries = self.legend();
        let legend: Vec<Entry<'_>> = entries
            .iter()
            .map(|(name, colour, dash)| Entry { name, colour: *colour, dash: *dash })
            .collect();
        let title = format!("Worst {word} of each die");
        let ticks = self.ticks();
        let axes = self.axes(&ticks);
        let head = (title.as_str(), legend.as_slice());
        let (inner, side) = square_panels(panel, &axes, head, LARGE_MAP, LARGE_SCALE)?;
        let (_, mut chart) = chart(&inner, &axes, &[], LARGE_MAP)?;
        for (_, row, at) in self.standing() {
            self.die(canvas, self.cell(&chart, at), row, &scale)?;
        }
        // Marked dies are drawn above all neighbours.
        for (_, row, at) in self.standing().filter(|(_, row, _)| row.is_outlier) {
            frame(canvas, self.cell(&chart, at), VERMILION, if row.counts() { 4 } else { 3 })?;
        }
        self.rim(&mut chart, LARGE_MAP)?;
        if !self.standing().any(|(_, row, _)| row.figures.is_some()) {
            return Ok(());
        }
        let (_, rows) = chart.plotting_area().get_pixel_range();
        scale.draw(&side, &rows, LARGE_MAP)
    }

    /// Every mark that is on the large map.
    fn legend(&self) -> Vec<(String, RGBColor, Dash)> {
        let present =
            |holds: &dyn Fn(&DieRow) -> bool| self.standing().any(|(_, row, _)| holds(row));
        let is_unread =
            |row: &DieRow| matches!(row.status, DieStatus::Incomplete | DieStatus::Error);
        let fails = |row: &DieRow| row.status == DieStatus::Fail;
        let mut legend = Vec::new();
        let mut add = |is_there: bool, name: String, colour: RGBColor, dash: Dash| {
            if is_there {
                legend.push((name, colour, dash));
            }
        };
        let counted = |row: &DieRow| fails(row) && !row.is_excluded;
        add(present(&counted), "fails".to_owned(), BLACK, Dash::Hatched);
        for limit in self.result.limits.iter() {
            let misses = |row: &DieRow| row.missed(&self.result.limits).contains(&limit);
            let quantity = limit.quantity();
            let name = format!("{}: {}", limit_code(quantity), quantity.label());
            add(present(&misses), name, BLACK, Dash::Word);
        }
        let excluded = |row: &DieRow| row.is_excluded;
        let has_ring = self.map.edge_exclusion_mm() > 0.0;
        add(has_ring, "limit of the edge exclusion".to_owned(), BLUE, Dash::Solid);
        add(present(&excluded), "die in it, not counted".to_owned(), GREY, Dash::Faded);
        let fails_there = |row: &DieRow| fails(row) && row.is_excluded;
        add(
            present(&fails_there),
            "fails, in the edge exclusion".to_owned(),
            GREY,
            Dash::WideHatched,
        );
        add(present(&is_unread), "not measured".to_owned(), GREY, Dash::Crossed);
        add(present(&|row| row.is_outlier), "outlier".to_owned(), VERMILION, Dash::Framed);
        let beyond = |row: &DieRow| !self.beyond(row).is_empty();
        add(present(&beyond), "▼ ▲ beyond the scale".to_owned(), BLACK, Dash::Word);
        add(present(&is_undecided), "? undecided".to_owned(), BLACK, Dash::Word);
        legend
    }

    /// One die of the large map.
    fn die(
        &self,
        canvas: &Canvas<'_>,
        cell: (Pixel, Pixel),
        row: &DieRow,
        scale: &ColourScale,
    ) -> Result<(), PlotError> {
        let Some(figures) = &row.figures else {
            fill(canvas, cell, WHITE)?;
            let style = ShapeStyle::from(&GREY).stroke_width(px(1));
            for (from, to) in [(cell.0, cell.1), ((cell.0.0, cell.1.1), (cell.1.0, cell.0.1))] {
                let stroke = PathElement::new(vec![from, to], style);
                canvas.draw(&stroke).map_err(PlotError::from_display)?;
            }
            return frame(canvas, cell, GREY, 1);
        };
        let value = cut(figures.worst_rejection_db);
        fill(canvas, cell, scale.colour(value))?;
        if row.is_excluded {
            let veil = Rectangle::new([cell.0, cell.1], WHITE.mix(VEIL).filled());
            canvas.draw(&veil).map_err(PlotError::from_display)?;
        }
        match (row.status == DieStatus::Fail, row.is_excluded) {
            (true, false) => hatch(canvas, cell, scale.ink(value), CLOSE)?,
            (true, true) => hatch(canvas, cell, GREY, WIDE)?,
            (false, _) => {}
        }
        frame(canvas, cell, WHITE, 1)?;
        self.number(canvas, cell, value, row, scale)
    }

    /// A mark for a value beyond the scale; empty for the others.
    fn beyond(&self, row: &DieRow) -> &'static str {
        let Some(figures) = &row.figures else { return "" };
        let value = cut(figures.worst_rejection_db);
        match &self.scales.rejection {
            range if value < range.start => "▼",
            range if value > range.end => "▲",
            _ => "",
        }
    }

    /// The value in the die and the limits that it misses, where there is room.
    fn number(
        &self,
        canvas: &Canvas<'_>,
        (low, high): (Pixel, Pixel),
        value: f64,
        row: &DieRow,
        scale: &ColourScale,
    ) -> Result<(), PlotError> {
        let (width, height) = (high.0 - low.0, high.1 - low.1);
        let missed = row.missed(&self.result.limits);
        let codes: String = missed.iter().map(|limit| limit_code(limit.quantity())).collect();
        let undecided = if is_undecided(row) { "?" } else { "" };
        let mut lines = vec![format!("{value:.1}{}{undecided}", self.beyond(row))];
        if !codes.is_empty() {
            lines.push(codes);
        }
        let letters_across = lines.iter().map(|line| line.chars().count()).max().unwrap_or(1);
        let across = offset(count(letters_across.max(4)));
        let down = offset(count(lines.len())) + 1;
        let size = (width * 3 / (2 * across)).min(height / down) / px_i(1);
        let Some(size) = u32::try_from(size).ok().filter(|size| *size >= 9) else {
            return Ok(());
        };
        let size = size.min(Sizes::LARGE.label * 4 / 5);
        let ink = if row.is_excluded { BLACK } else { scale.ink(value) };
        let middle = (i32::midpoint(low.0, high.0), i32::midpoint(low.1, high.1));
        let pitch = px_i(size) * 23 / 20;
        let top = middle.1 - pitch * (offset(count(lines.len())) - 1) / 2;
        if row.status == DieStatus::Fail {
            let half = px_i(size) * across * 3 / 10;
            let rows = (top - pitch / 2, top + pitch * (offset(count(lines.len())) * 2 - 1) / 2);
            let back = ((middle.0 - half, rows.0), (middle.0 + half, rows.1));
            let paper = if row.is_excluded { WHITE } else { scale.colour(value) };
            fill(canvas, back, paper)?;
        }
        let style = letters(size, ink).pos(Pos::new(HPos::Center, VPos::Center));
        for (at, line) in (0..).zip(&lines) {
            words(canvas, (middle.0, top + at * pitch), line, &style)?;
        }
        Ok(())
    }

    /// At which frequency each die is worst.
    fn worst_places(&self, canvas: &Canvas<'_>, panel: &Canvas<'_>) -> Result<(), PlotError> {
        let ghz: Vec<(Position, f64)> = self
            .standing()
            .filter_map(|(_, row, at)| Some((at, row.figures.as_ref()?.worst_at_hz / 1e9)))
            .collect();
        if ghz.is_empty() {
            return Ok(());
        }
        let word = self.heading.frequency_word();
        let scale = ColourScale {
            range: self.scales.frequency.clone(),
            mark: None,
            label: format!("Worst {word} (GHz)"),
            palette: Palette::Sequential,
        };
        self.small(canvas, panel, &format!("Where each is worst: {word}"), &ghz, &scale)
    }

    /// What tilt and radial trend leave, in the part of the channel error that counts more; empty
    /// without a trend.
    fn residuals(&self) -> Vec<(Position, f64)> {
        let part = match self.scales.part {
            ErrorPart::Amplitude => &self.wafer.amplitude_db,
            ErrorPart::Phase => &self.wafer.phase_deg,
        };
        let values = part.trend.iter().flat_map(|trend| &trend.residuals);
        let places = self.wafer.fitted.iter().zip(values);
        places
            .filter_map(|(&row, &value)| Some((self.drawn(&self.result.rows[row])?, value)))
            .collect()
    }

    fn residual_map(
        &self,
        canvas: &Canvas<'_>,
        panel: &Canvas<'_>,
        places: &[(Position, f64)],
    ) -> Result<(), PlotError> {
        let (title, label) = match self.scales.part {
            ErrorPart::Amplitude => ("Imbalance minus its trend", "Residual (dB)"),
            ErrorPart::Phase => ("Phase error minus its trend", "Residual (deg)"),
        };
        let largest = self.scales.largest_residual.unwrap_or(1.0);
        let scale = ColourScale {
            range: -largest..largest,
            mark: Some(0.0),
            label: label.to_owned(),
            palette: Palette::Diverging,
        };
        let title = format!("{title}{}", self.heading.of_image_sideband());
        self.small(canvas, panel, &title, places, &scale)
    }

    fn small(
        &self,
        canvas: &Canvas<'_>,
        panel: &Canvas<'_>,
        title: &str,
        values: &[(Position, f64)],
        scale: &ColourScale,
    ) -> Result<(), PlotError> {
        let ticks = self.ticks();
        let axes = self.axes(&ticks);
        let head = (title, [].as_slice());
        let (inner, side) = square_panels(panel, &axes, head, Sizes::SMALL, SMALL_SCALE)?;
        let (_, mut chart) = chart(&inner, &axes, &[], Sizes::SMALL)?;
        for &(at, value) in values {
            let cell = self.cell(&chart, at);
            fill(canvas, cell, scale.colour(value))?;
            frame(canvas, cell, PALE, 1)?;
            if scale.palette == Palette::Diverging && value < 0.0 {
                // In grey both signs look alike.
                let size = (cell.1.1 - cell.0.1).min(cell.1.0 - cell.0.0) / px_i(1);
                let size = u32::try_from(size).unwrap_or(0).min(Sizes::SMALL.label);
                let style = letters(size, scale.ink(value));
                let middle = (i32::midpoint(cell.0.0, cell.1.0), i32::midpoint(cell.0.1, cell.1.1));
                let centred = Pos::new(HPos::Center, VPos::Center);
                words(canvas, middle, "−", &style.pos(centred))?;
            }
        }
        self.rim(&mut chart, Sizes::SMALL)?;
        let (_, rows) = chart.plotting_area().get_pixel_range();
        scale.draw(&side, &rows, Sizes::SMALL)
    }

    /// The wafer's square with the numbers of the dies' columns and rows along it.
    fn axes<'t>(&self, ticks: &'t DieTicks) -> Axes<'t> {
        // A die on the edge reaches beyond the wafer, and has to stay within the frame.
        let (width, height) = self.map.die_size_mm();
        let ends = self
            .standing()
            .flat_map(|(_, _, at)| [at.x_mm.abs() + 0.5 * width, at.y_mm.abs() + 0.5 * height]);
        let half = ends.fold(0.53 * self.map.diameter_mm(), f64::max);
        Axes {
            x_label: ticks.across_name,
            y_label: ticks.upright_name,
            x: -half..half,
            y: -half..half,
            x_ticks: Ticks::Named(&ticks.across),
            y_ticks: Ticks::Named(&ticks.upright),
            has_scale: true,
            ..Axes::default()
        }
    }

    /// Where the columns and rows of dies are on the axes.
    fn ticks(&self) -> DieTicks {
        let centre = self.map.centre_die();
        let (mut columns, mut rows) = (BTreeSet::new(), BTreeSet::new());
        for (_, row, _) in self.standing() {
            columns.insert(row.key.die_x);
            rows.insert(row.key.die_y);
        }
        let is_x_across = matches!(self.map.x_axis(), Direction::Left | Direction::Right);
        let place = |at: Position, is_across: bool| if is_across { at.x_mm } else { at.y_mm };
        let named = |numbers: BTreeSet<i32>, position: &dyn Fn(f64) -> Position, is_across| {
            let mut ticks: Vec<(f64, String)> = numbers
                .into_iter()
                .map(|die| (place(position(f64::from(die)), is_across), die.to_string()))
                .collect();
            ticks.sort_by(|one, other| one.0.total_cmp(&other.0));
            ticks
        };
        let columns = named(columns, &|x| self.map.position(x, centre.1), is_x_across);
        let rows = named(rows, &|y| self.map.position(centre.0, y), !is_x_across);
        let (column, row) = ("Die column x", "Die row y");
        if is_x_across {
            DieTicks { across: columns, upright: rows, across_name: column, upright_name: row }
        } else {
            DieTicks { across: rows, upright: columns, across_name: row, upright_name: column }
        }
    }

    /// A die's corners on the picture: upper left and lower right.
    fn cell(&self, chart: &Chart<'_, '_>, at: Position) -> (Pixel, Pixel) {
        let (width, height) = self.map.die_size_mm();
        let low = chart.backend_coord(&(at.x_mm - 0.5 * width, at.y_mm + 0.5 * height));
        let high = chart.backend_coord(&(at.x_mm + 0.5 * width, at.y_mm - 0.5 * height));
        (whole(low), whole(high))
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

/// The colour of the sheet.
const WHITE: RGBColor = RGBColor(255, 255, 255);

/// Lines between the cells of a map that has white cells.
const PALE: RGBColor = RGBColor(205, 205, 205);

/// How much of its colour a die in the edge exclusion loses.
const VEIL: f64 = 0.6;

/// The numbers of the dies' columns and rows, and where they are, mm.
struct DieTicks {
    across: Vec<(f64, String)>,
    upright: Vec<(f64, String)>,
    across_name: &'static str,
    upright_name: &'static str,
}

/// A letter for a limit that a die misses, on the maps of pictures and pages.
pub(crate) fn limit_code(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::ImageRejection | Quantity::CommonModeRejection => "R",
        Quantity::AmplitudeImbalance => "A",
        Quantity::PhaseError | Quantity::QuadratureError => "P",
        Quantity::LoPower | Quantity::LoPowerMax => "L",
        Quantity::LoTone => "T",
        Quantity::SpuriousResponse => "S",
        Quantity::ConversionLoss => "C",
        Quantity::NoiseFigure => "N",
        Quantity::LoAtRfPort => "K",
    }
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
    cell: (Pixel, Pixel),
    colour: RGBColor,
    width: u32,
) -> Result<(), PlotError> {
    outline(canvas, cell, colour, width)
}

/// Whether the uncertainty of a die's files leaves its verdict open.
fn is_undecided(row: &DieRow) -> bool {
    let known = row.figures.as_ref().and_then(|figures| figures.conformity);
    known.is_some_and(|known| known.decision == Verdict::Undecided)
}
