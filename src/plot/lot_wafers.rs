//! The rejections of the wafers of a run, lots side by side.

use super::axis::{Chart, range_of};
use super::canvas::{Canvas, count, picture, px, px_i};
use super::chart::{Axes, legend_strip, row_chart};
use super::error::PlotError;
use super::legend::{Entry, limit_entry};
use super::lettering::{shortened, words};
use super::lot_caption::lot_head;
use super::picture::Picture;
use super::rejection_axis::{cut, required_name};
use super::series::{line, vertical};
use super::style::{BLACK, BLUE, Dash, GREY, SHADE, SKY_BLUE, Sizes, VERMILION, letters};
use crate::wafer::{GroupResult, LotHeading, LotResult};
use plotters::prelude::{Circle, Color, EmptyElement, PathElement, Rectangle, ShapeStyle, WHITE};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

/// Rows in a column are no more than this.
const MOST_ROWS: usize = 30;

/// No picture has more columns.
const MOST_COLUMNS: usize = 4;

/// Boxes of fewer rows than this have room for the dies themselves.
const FEW_ROWS: usize = 6;

/// Rows of the finished picture between which a column's boxes are.
const HEIGHT_OF_BOXES: u32 = 760;

/// A row of the picture: a wafer, or a lot as a whole.
struct Row<'r> {
    name: String,
    group: &'r GroupResult,
}

/// The worst rejections of each wafer's dies: half of them in the box, 90 % within the whiskers.
/// Lots are side by side, each headed by all of its wafers together.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_wafers(heading: &LotHeading<'_>, result: &LotResult) -> Result<Picture, PlotError> {
    let columns = columns(result);
    let drawn: usize = columns.iter().map(|(_, wafers)| *wafers).sum();
    let required = result.limits.on_rejection_db();
    let groups = || columns.iter().flat_map(|(rows, _)| rows.iter().map(|row| row.group));
    let ends = groups().filter_map(|group| group.rejection).flat_map(|q| [q.least, q.largest]);
    let x = range_of(ends.map(cut).chain(required), 2.0);
    let required_name = required_name(required);
    let has_dies = columns.iter().all(|(rows, _)| rows.len() < FEW_ROWS);
    let mut legend = vec![
        Entry { name: "25 to 75 % of dies, median", colour: BLUE, dash: Dash::Area },
        Entry { name: "5 to 95 %", colour: BLUE, dash: Dash::Solid },
    ];
    legend.push(match has_dies {
        true => Entry { name: "a die", colour: SKY_BLUE, dash: Dash::Dots },
        false => Entry { name: "minimum and maximum", colour: GREY, dash: Dash::Dots },
    });
    legend.extend(limit_entry(required_name.as_ref()));
    let name = format!("Worst {} of the dies of each wafer", heading.rejection().label());
    let more = match result.wafers.len() - drawn {
        0 => String::new(),
        left_out => format!("{left_out} more wafers in summary.json"),
    };
    let label = format!("Worst {} of a die (dB)", heading.rejection().label());
    picture(&name, |canvas| {
        let body = lot_head(canvas, &name, heading, result, &more)?;
        let rest = legend_strip(&body, &legend, Sizes::LARGE)?;
        let panels = rest.split_evenly((1, columns.len().max(1)));
        let sizes = if columns.len() > 1 { Sizes::SMALL } else { Sizes::LARGE };
        for ((rows, _), panel) in columns.iter().zip(&panels) {
            let sheet = Column { rows, x: &x, required, has_dies, label: &label };
            sheet.draw(panel, sizes)?;
        }
        Ok(())
    })
}

/// The rows of each column, with how many wafers are among them: a lot for each column, or wafers of
/// one lot in as many columns as they need.
fn columns(result: &LotResult) -> Vec<(Vec<Row<'_>>, usize)> {
    let mut columns = Vec::new();
    for lot in &result.lots {
        let all: Vec<Row<'_>> = result
            .wafers
            .iter()
            .filter(|wafer| wafer.lot == lot.lot)
            .map(|wafer| Row {
                name: format!("{} {}", wafer.lot, wafer.wafer),
                group: &wafer.group,
            })
            .collect();
        let wafers = all.len();
        let mut left = all.into_iter();
        for first in (0..wafers).step_by(MOST_ROWS) {
            let own = left.by_ref().take(MOST_ROWS);
            let whole = (first == 0 && result.lots.len() > 1)
                .then(|| Row { name: format!("lot {}", lot.lot), group: &lot.group });
            let rows: Vec<Row<'_>> = whole.into_iter().chain(own).collect();
            columns.push((rows, MOST_ROWS.min(wafers - first)));
        }
    }
    columns.truncate(MOST_COLUMNS);
    columns
}

/// A column of boxes.
struct Column<'r> {
    rows: &'r [Row<'r>],
    x: &'r Range<f64>,
    required: Option<f64>,
    has_dies: bool,
    label: &'r str,
}

impl Column<'_> {
    fn draw(&self, panel: &Canvas<'_>, sizes: Sizes) -> Result<(), PlotError> {
        let names_width = if sizes.label < Sizes::LARGE.label { 130 } else { 230 };
        let (names, boxes) = panel.split_horizontally(px(names_width));
        #[expect(clippy::cast_precision_loss, reason = "at most some thirty")]
        let rows = self.rows.len().max(1) as f64;
        let axes = Axes { x_label: self.label, x: self.x.clone(), y: 0.0..rows, ..Axes::default() };
        let (_, mut chart) = row_chart(&boxes, &axes, &[], sizes)?;
        let size = HEIGHT_OF_BOXES / count(self.rows.len().max(1));
        let size = (size * 3 / 5).clamp(8, sizes.label * 4 / 5);
        let style = letters(size, BLACK).pos(Pos::new(HPos::Right, VPos::Center));
        let (_, top) = names.get_pixel_range();
        for (at, row) in (0_u32..).zip(self.rows) {
            let middle = rows - 0.5 - f64::from(at);
            let (_, y) = chart.backend_coord(&(self.x.start, middle));
            let text = format!("{} ({})", row.name, row.group.counts.tested());
            let text = shortened(&names, &text, &style, px_i(names_width - 15))?;
            words(&names, (px_i(names_width - 4), y - top.start), &text, &style)?;
            boxed(&mut chart, row.group, middle, !self.has_dies)?;
            if self.has_dies {
                dies(&mut chart, row.group, middle)?;
            }
        }
        if let Some(required) = self.required {
            vertical(&mut chart, required, &(0.0..rows), VERMILION, Dash::Dashed, sizes)?;
        }
        Ok(())
    }
}

/// Every die as a dot, spread across the row so that equal ones do not hide each other.
fn dies(chart: &mut Chart<'_, '_>, group: &GroupResult, y: f64) -> Result<(), PlotError> {
    let size = if group.rejections_db.len() > 500 { 2 } else { 4 };
    let dots = (0_u32..).zip(&group.rejections_db).map(|(at, &db)| {
        // Steps of the golden section leave no pattern.
        let spread = (f64::from(at) * 0.618_033_988_749_895).fract() - 0.5;
        EmptyElement::at((cut(db), y + 0.8 * spread))
            + Circle::new((0, 0), px(size), SKY_BLUE.filled())
    });
    chart.draw_series(dots).map_err(PlotError::from_display)?;
    Ok(())
}

fn boxed(
    chart: &mut Chart<'_, '_>,
    group: &GroupResult,
    y: f64,
    has_ends: bool,
) -> Result<(), PlotError> {
    let Some(q) = &group.rejection else { return Ok(()) };
    let level = |x: f64| (cut(x), y);
    for end in [q.least, q.largest].into_iter().filter(|_| has_ends) {
        let dot = EmptyElement::at(level(end)) + Circle::new((0, 0), px(4), GREY.filled());
        chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
    }
    line(chart, [level(q.p05), level(q.p95)], BLUE, Dash::Solid, Sizes::LARGE)?;
    let (low, high) = (y - 0.3, y + 0.3);
    let corners = [(cut(q.p25), low), (cut(q.p75), high)];
    let fills = [WHITE.filled(), BLUE.mix(SHADE).filled()];
    for style in fills {
        chart
            .draw_series(std::iter::once(Rectangle::new(corners, style)))
            .map_err(PlotError::from_display)?;
    }
    let [(left, _), (right, _)] = corners;
    let frame = vec![(left, low), (right, low), (right, high), (left, high), (left, low)];
    let median = cut(q.median);
    for (points, colour, width) in
        [(frame, BLUE, 2), (vec![(median, low), (median, high)], BLACK, 4)]
    {
        let stroke = ShapeStyle::from(&colour).stroke_width(px(width));
        chart
            .draw_series(std::iter::once(PathElement::new(points, stroke)))
            .map_err(PlotError::from_display)?;
    }
    Ok(())
}
