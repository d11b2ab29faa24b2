//! Rejection over frequency of many dies.

use super::axis::range_of;
use super::canvas::picture;
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::legend::{Entry, limit_entry};
use super::lot_caption::lot_head;
use super::picture::Picture;
use super::rejection_axis::{cut, required_name};
use super::series::{horizontal, line};
use super::style::{BLACK, BLUE, Dash, GREY, ORANGE, SHADE, Sizes, VERMILION};
use crate::units::counted;
use crate::wafer::{LotHeading, LotResult};
use plotters::prelude::{Color, Polygon};

/// Rejection over frequency: some dies, the median, and the band that holds 90 % of them.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_curves(heading: &LotHeading<'_>, result: &LotResult) -> Result<Picture, PlotError> {
    let curves = &result.curves;
    let ghz: Vec<f64> = curves.frequencies_hz.iter().map(|hz| hz / 1e9).collect();
    let required = result.limits.on_rejection_db();
    let worst = worst_curve(result);
    let worst_values = worst.iter().flat_map(|(_, points)| points.iter().map(|point| point.1));
    let values = curves.some.iter().flatten().copied().chain(worst_values).map(cut);
    let values = values.chain(required);
    let (x, y) = (range_of(ghz.iter().copied(), 0.01), range_of(values, 5.0));
    // The band from the first frequency to the last is what is of interest.
    let x = match (ghz.first(), ghz.last()) {
        (Some(first), Some(last)) if last > first => *first..*last,
        _ => x,
    };
    let axes = Axes {
        x_label: if heading.if_hz.is_empty() {
            "Frequency (GHz)"
        } else {
            "LO at the mixers (GHz)"
        },
        y_label: &format!("{} (dB)", heading.rejection().title()),
        x: x.clone(),
        y: y.clone(),
        ..Axes::default()
    };
    let single = format!("{} of {}", curves.some.len(), counted(curves.dies, "die"));
    let required_name = required_name(required);
    let mut legend = vec![
        Entry { name: "median", colour: BLUE, dash: Dash::Solid },
        Entry { name: "5 to 95 % of dies", colour: ORANGE, dash: Dash::Area },
        Entry { name: &single, colour: GREY, dash: Dash::Solid },
    ];
    legend.extend(worst.as_ref().map(|(name, _)| Entry {
        name,
        colour: BLACK,
        dash: Dash::Dotted,
    }));
    legend.extend(limit_entry(required_name.as_ref()));
    let name = format!(
        "{} of {} over frequency",
        heading.rejection().title(),
        counted(curves.dies, "die")
    );
    // Several IFs have one curve a die.
    let note = if heading.if_hz.len() > 1 { "at the worst IF" } else { "" };
    picture(&name, |canvas| {
        let body = lot_head(canvas, &name, heading, result, note)?;
        let (_, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        let thin = Sizes { line: 1, ..Sizes::LARGE };
        for curve in &curves.some {
            let points = ghz.iter().copied().zip(curve.iter().copied().map(cut));
            line(&mut chart, points, GREY, Dash::Solid, thin)?;
        }
        let low = ghz.iter().copied().zip(curves.bands.iter().map(|band| cut(band.p05_db)));
        let high = ghz.iter().copied().zip(curves.bands.iter().map(|band| cut(band.p95_db)));
        let corners: Vec<(f64, f64)> = low.chain(high.rev()).collect();
        if corners.len() > 2 {
            let band = Polygon::new(corners, ORANGE.mix(SHADE).filled());
            chart.draw_series(std::iter::once(band)).map_err(PlotError::from_display)?;
        }
        let median = ghz.iter().copied().zip(curves.bands.iter().map(|band| cut(band.median_db)));
        line(&mut chart, median, BLUE, Dash::Solid, Sizes { line: 4, ..Sizes::LARGE })?;
        if let Some((_, points)) = &worst {
            let points = points.iter().map(|&(ghz, db)| (ghz, cut(db)));
            line(&mut chart, points, BLACK, Dash::Dotted, Sizes { line: 4, ..Sizes::LARGE })?;
        }
        if let Some(required) = required {
            horizontal(&mut chart, &x, required, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// The name of the counted die with the minimum rejection, and its curve: GHz and dB. `None` where the
/// curves of single dies are not kept.
fn worst_curve(result: &LotResult) -> Option<(String, Vec<(f64, f64)>)> {
    let counted = result.rows.iter().enumerate();
    let counted = counted.filter_map(|(at, row)| Some((at, row, row.counted_figures()?)));
    let (at, row, _) = counted
        .min_by(|one, other| one.2.worst_rejection_db.total_cmp(&other.2.worst_rejection_db))?;
    let frequencies_hz = result.die_curves.frequencies_hz();
    let points = result.die_curves.of_row(at);
    let points: Vec<(f64, f64)> = points
        .filter_map(|point| Some((frequencies_hz.get(point.place)? / 1e9, point.rejection_db)))
        .collect();
    let key = &row.key;
    let name = format!("worst die: {} {} ({}, {})", key.lot, key.wafer, key.die_x, key.die_y);
    (points.len() > 1).then_some((name, points))
}
