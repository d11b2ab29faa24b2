//! The rejections of the wafers of a run, side by side.

use super::axis::{Chart, range_of};
use super::canvas::{count, picture, px, px_i};
use super::chart::{Axes, row_chart};
use super::error::PlotError;
use super::legend::{Entry, limit_entry};
use super::lettering::{shortened, words};
use super::lot_caption::captioned;
use super::rejection_axis::{cut, required_name};
use super::series::{line, vertical};
use super::style::{BLACK, BLUE, Dash, GREY, SHADE, Sizes, VERMILION, letters};
use crate::wafer::{GroupResult, LotHeading, LotResult, WaferResult};
use plotters::prelude::{Circle, Color, EmptyElement, PathElement, Rectangle, ShapeStyle, WHITE};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

/// Wafers side by side are no more than this.
const MOST_WAFERS: usize = 40;

/// A single wafer is not drawn as high as the picture.
const FEWEST_ROWS: usize = 5;

/// Rows of the finished picture between which the boxes lie.
const BOXES: Range<u32> = 150..910;

/// The worst rejections of each wafer's dies: half of them in the box, 90 % within the whiskers.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_wafers(heading: &LotHeading<'_>, result: &LotResult) -> Result<Vec<u8>, PlotError> {
    let shown: Vec<&WaferResult> = result.wafers.iter().take(MOST_WAFERS).collect();
    let required = result.limits.on_rejection_db();
    let ends =
        shown.iter().filter_map(|wafer| wafer.group.rejection).flat_map(|q| [q.least, q.largest]);
    let x = range_of(ends.map(cut).chain(required), 2.0);
    let label = format!("Worst {} of a die (dB)", heading.rejection().label());
    let required_name = required_name(required);
    let mut legend = vec![
        Entry { name: "25 to 75 % of dies, median", colour: BLUE, dash: Dash::Area },
        Entry { name: "5 to 95 %", colour: BLUE, dash: Dash::Solid },
        Entry { name: "least and largest", colour: GREY, dash: Dash::Dots },
    ];
    legend.extend(limit_entry(required_name.as_ref()));
    #[expect(clippy::cast_precision_loss, reason = "at most forty")]
    let rows = shown.len().max(FEWEST_ROWS) as f64;
    let axes = Axes { title: "", x_label: &label, y_label: "", x: x.clone(), y: 0.0..rows };
    picture(|canvas| {
        let more = if result.wafers.len() > shown.len() {
            format!("the first {MOST_WAFERS} of {} wafers", result.wafers.len())
        } else {
            String::new()
        };
        let name = format!("{} by wafer", heading.rejection().title());
        let body = captioned(canvas, &name, heading, result, &more)?;
        let (names, panel) = body.split_horizontally(px(230));
        let (_, mut chart) = row_chart(&panel, &axes, &legend, Sizes::LARGE)?;
        let size = (BOXES.end - BOXES.start) / count(shown.len().max(FEWEST_ROWS));
        let size = (size * 3 / 5).clamp(8, Sizes::LARGE.label * 4 / 5);
        let style = letters(size, BLACK).pos(Pos::new(HPos::Right, VPos::Center));
        let (_, top) = names.get_pixel_range();
        for (at, wafer) in (0_u32..).zip(&shown) {
            let middle = rows - 0.5 - f64::from(at);
            let (_, y) = chart.backend_coord(&(x.start, middle));
            let text = format!("{} {} ({})", wafer.lot, wafer.wafer, wafer.group.counts.tested());
            let text = shortened(&names, &text, &style, px_i(215))?;
            words(&names, (px_i(226), y - top.start), &text, &style)?;
            boxed(&mut chart, &wafer.group, middle)?;
        }
        if let Some(required) = required {
            vertical(&mut chart, required, &(0.0..rows), VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        Ok(())
    })
}

fn boxed(chart: &mut Chart<'_, '_>, group: &GroupResult, y: f64) -> Result<(), PlotError> {
    let Some(q) = &group.rejection else { return Ok(()) };
    let level = |x: f64| (cut(x), y);
    for end in [q.least, q.largest] {
        let dot = EmptyElement::at(level(end)) + Circle::new((0, 0), px(4), GREY.filled());
        chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
    }
    line(chart, [level(q.p05), level(q.p95)], BLUE, Dash::Solid, Sizes::LARGE)?;
    let (low, high) = (y - 0.3, y + 0.3);
    let corners = [(cut(q.p25), low), (cut(q.p75), high)];
    for style in
        [WHITE.filled(), BLUE.mix(SHADE).filled(), ShapeStyle::from(&BLUE).stroke_width(px(2))]
    {
        chart
            .draw_series(std::iter::once(Rectangle::new(corners, style)))
            .map_err(PlotError::from_display)?;
    }
    let median = cut(q.median);
    let stroke = ShapeStyle::from(&BLACK).stroke_width(px(4));
    let middle = PathElement::new(vec![(median, low), (median, high)], stroke);
    chart.draw_series(std::iter::once(middle)).map_err(PlotError::from_display)?;
    Ok(())
}
