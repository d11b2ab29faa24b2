//! The share of dies that pass as the limit moves.

use super::axis::{Chart, range_of};
use super::canvas::{Canvas, picture, px};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::labels::{Labels, Place, along};
use super::legend::{Entry, limit_entry};
use super::lot_caption::lot_head;
use super::picture::Picture;
use super::rejection_axis::{cut, required_name};
use super::series::{line, vertical};
use super::style::{BLACK, BLUE, Dash, SHADE, Sizes, VERMILION};
use crate::units::counted;
use crate::wafer::{LotHeading, LotResult, Yield, YieldStep, yield_steps};
use plotters::prelude::{Circle, Color, EmptyElement, Polygon};

/// The share of dies that would pass, as the limit moves, with its interval.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_yield(heading: &LotHeading<'_>, result: &LotResult) -> Result<Picture, PlotError> {
    let sorted = &result.all.rejections_db;
    let required = result.limits.on_rejection_db();
    let shown = sorted.iter().copied().map(cut).chain(required);
    let x = range_of(shown, 2.0);
    let steps = yield_steps(sorted);
    // Steps are vertical, and the curve runs to the ends of the axis.
    let mut shares: Vec<(f64, Yield)> = Vec::new();
    shares.extend(steps.first().map(|first| (x.start, first.up_to)));
    for step in &steps {
        let at = cut(step.limit_db);
        shares.extend([(at, step.up_to), (at, step.above)]);
    }
    shares.extend(steps.last().map(|last| (x.end, last.above)));
    let label = format!("Limit on {} (dB)", heading.rejection().label());
    let axes = Axes {
        x_label: &label,
        y_label: "Share (%)",
        x: x.clone(),
        y: 0.0..104.0,
        ..Axes::default()
    };
    let required_name = required_name(required);
    let mut legend = vec![
        Entry { name: "share of dies", colour: BLUE, dash: Dash::Solid },
        Entry { name: "95 % interval (exact binomial)", colour: BLUE, dash: Dash::Area },
    ];
    legend.extend(limit_entry(required_name.as_ref()));
    let name = format!(
        "Yield of {} against a limit on {} alone",
        counted(sorted.len(), "die"),
        heading.rejection().label()
    );
    picture(&name, |canvas| {
        let body = lot_head(canvas, &name, heading, result, "")?;
        let (panel, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        let low = shares.iter().map(|(x, share)| (*x, 100.0 * share.interval.0));
        let high = shares.iter().rev().map(|(x, share)| (*x, 100.0 * share.interval.1));
        let corners: Vec<(f64, f64)> = low.chain(high).collect();
        if !corners.is_empty() {
            let band = Polygon::new(corners, BLUE.mix(SHADE).filled());
            chart.draw_series(std::iter::once(band)).map_err(PlotError::from_display)?;
        }
        let middle = shares.iter().filter_map(|(x, share)| Some((*x, 100.0 * share.share?)));
        line(&mut chart, middle, BLUE, Dash::Solid, Sizes::LARGE)?;
        let Some(required) = required else { return Ok(()) };
        vertical(&mut chart, required, &(0.0..104.0), VERMILION, Dash::Dashed, Sizes::LARGE)?;
        match at_limit(&steps, required) {
            Some(share) => label_yield(&panel, &mut chart, &shares, (required, share)),
            None => Ok(()),
        }
    })
}

/// The yield at a limit.
fn at_limit(steps: &[YieldStep], limit_db: f64) -> Option<Yield> {
    match steps.iter().find(|step| step.limit_db >= limit_db) {
        Some(step) => Some(step.up_to),
        None => steps.last().map(|last| last.above),
    }
}

/// Marks the yield at the limit, and writes it beside.
fn label_yield(
    panel: &Canvas<'_>,
    chart: &mut Chart<'_, '_>,
    shares: &[(f64, Yield)],
    (limit_db, at_limit): (f64, Yield),
) -> Result<(), PlotError> {
    let Some(share) = at_limit.share else { return Ok(()) };
    let place = (cut(limit_db), 100.0 * share);
    let dot = EmptyElement::at(place) + Circle::new((0, 0), px(8), VERMILION.filled());
    chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
    let (left, top) = panel.get_base_pixel();
    let (columns, rows) = chart.plotting_area().get_pixel_range();
    let on_panel = |x: i32, y: i32| (f64::from(x - left), f64::from(y - top));
    let frame = (on_panel(columns.start, rows.start), on_panel(columns.end, rows.end));
    let at = chart.backend_coord(&place);
    let lines = [
        format!("{:.1} % at {limit_db} dB", 100.0 * share),
        format!("({:.1} to {:.1} %)", 100.0 * at_limit.interval.0, 100.0 * at_limit.interval.1),
    ];
    let outward = if 2 * at.0 > columns.start + columns.end { 3.6 } else { 0.5 };
    let curve: Vec<Place> = shares
        .iter()
        .filter_map(|(x, share)| Some((*x, 100.0 * share.share?)))
        .map(|at| chart.backend_coord(&at))
        .map(|(x, y)| on_panel(x, y))
        .collect();
    let limit = (on_panel(at.0, rows.start), on_panel(at.0, rows.end));
    let obstacles = curve.windows(2).flat_map(|pair| along(pair[0], pair[1]));
    let obstacles = obstacles.chain(along(limit.0, limit.1)).collect();
    let mut labels = Labels::on(frame, obstacles);
    labels.put(panel, (on_panel(at.0, at.1), outward), &lines, (Sizes::LARGE.label, BLACK))
}
