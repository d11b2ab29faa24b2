//! The share of dies that pass as the limit moves.

use super::axis::range_of;
use super::canvas::picture;
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::legend::{Entry, limit_entry};
use super::lot_caption::captioned;
use super::rejection_axis::{cut, required_name};
use super::series::{line, vertical};
use super::style::{BLUE, Dash, SHADE, Sizes, VERMILION};
use crate::wafer::{LotHeading, LotResult, Yield, yield_steps};
use plotters::prelude::{Color, Polygon};

/// The share of dies that would pass, as the limit moves, with its interval.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_yield(heading: &LotHeading<'_>, result: &LotResult) -> Result<Vec<u8>, PlotError> {
    let sorted = &result.all.rejections_db;
    let required = result.limits.on_rejection_db();
    let shown = sorted.iter().copied().map(cut).chain(required);
    let x = range_of(shown, 2.0);
    let steps = yield_steps(sorted);
    // Steps stand upright, and run to the ends of the axis.
    let mut shares: Vec<(f64, Yield)> = Vec::new();
    shares.extend(steps.first().map(|first| (x.start, first.up_to)));
    for step in &steps {
        let at = cut(step.limit_db);
        shares.extend([(at, step.up_to), (at, step.above)]);
    }
    shares.extend(steps.last().map(|last| (x.end, last.above)));
    let label = format!("Limit on {} (dB)", heading.rejection().label());
    let axes = Axes {
        title: &format!("Share of dies that hold a limit on {} alone", heading.rejection().label()),
        x_label: &label,
        y_label: "Share (%)",
        x: x.clone(),
        y: 0.0..104.0,
    };
    let required_name = required_name(required);
    let mut legend = vec![
        Entry { name: "share of dies", colour: BLUE, dash: Dash::Solid },
        Entry { name: "95 % interval (exact binomial)", colour: BLUE, dash: Dash::Area },
    ];
    legend.extend(limit_entry(required_name.as_ref()));
    picture(|canvas| {
        let name = format!("Yield of {} dies against the limit", sorted.len());
        let body = captioned(canvas, &name, heading, result, "")?;
        let (_, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        let low = shares.iter().map(|(x, share)| (*x, 100.0 * share.interval.0));
        let high = shares.iter().rev().map(|(x, share)| (*x, 100.0 * share.interval.1));
        let corners: Vec<(f64, f64)> = low.chain(high).collect();
        if !corners.is_empty() {
            let band = Polygon::new(corners, BLUE.mix(SHADE).filled());
            chart.draw_series(std::iter::once(band)).map_err(PlotError::from_display)?;
        }
        let middle = shares.iter().filter_map(|(x, share)| Some((*x, 100.0 * share.share?)));
        line(&mut chart, middle, BLUE, Dash::Solid, Sizes::LARGE)?;
        if let Some(required) = required {
            vertical(&mut chart, required, &(0.0..104.0), VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        Ok(())
    })
}
