//! The plane of amplitude imbalance and phase error with curves of constant rejection.

use super::axis::Chart;
use super::canvas::{Canvas, Pixel, px_i};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::legend::Entry;
use super::lettering::note;
use super::series::line;
use super::style::{BLACK, Dash, GREY, Sizes, VERMILION};
use crate::splitter::ContourFamily;

pub(super) fn is_inside(family: &ContourFamily, (imbalance_db, phase_deg): (f64, f64)) -> bool {
    imbalance_db.abs() <= family.reach_db && phase_deg.abs() <= family.reach_deg
}

/// The corner of the plane with the fewest errors, where labels of the curves go: the sign of the
/// imbalance and that of the phase error.
pub(super) fn corner_away_from(errors: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    let (x, y) = errors.fold((0.0, 0.0), |(x, y), (dx, dy)| (x + dx, y + dy));
    (if x > 0.0 { -1.0 } else { 1.0 }, if y > 0.0 { -1.0 } else { 1.0 })
}

/// Axes and curves of constant rejection, labelled along the diagonal towards `corner`.
pub(super) fn contour_axes<'a, 'b>(
    panel: &'a Canvas<'b>,
    family: &ContourFamily,
    title: &str,
    corner: (f64, f64),
    legend: &[Entry<'_>],
    sizes: Sizes,
) -> Result<(Canvas<'b>, Chart<'a, 'b>), PlotError> {
    let axes = Axes {
        title,
        x_label: "Amplitude imbalance (dB)",
        y_label: "Phase error (deg)",
        x: -family.reach_db..family.reach_db,
        y: -family.reach_deg..family.reach_deg,
        ..Axes::default()
    };
    let (canvas, mut chart) = chart(panel, &axes, legend, sizes)?;
    let required =
        family.required.iter().map(|(level, curve)| (level, curve, VERMILION, Dash::Dashed));
    let others = family.curves.iter().map(|(level, curve)| (level, curve, GREY, Dash::Solid));
    let thin = Sizes { line: sizes.line.div_ceil(2), ..sizes };
    // Perfect balance.
    for (from, to) in [
        ((-family.reach_db, 0.0), (family.reach_db, 0.0)),
        ((0.0, -family.reach_deg), (0.0, family.reach_deg)),
    ] {
        line(&mut chart, [from, to], GREY, Dash::Solid, Sizes { line: 1, ..sizes })?;
    }
    let mut labels: Vec<(_, String, _)> = Vec::new();
    for (level, curve, colour, dash) in required.chain(others) {
        let inside = |at: &(f64, f64)| is_inside(family, *at);
        let width = if dash == Dash::Dashed { sizes } else { thin };
        line(&mut chart, curve.iter().copied(), colour, dash, width)?;
        let towards = |&(x, y): &(f64, f64)| {
            (x * corner.0 / family.reach_db - y * corner.1 / family.reach_deg).abs()
                + if x * corner.0 < 0.0 { 10.0 } else { 0.0 }
        };
        let place = curve
            .iter()
            .filter(|point| inside(point))
            .min_by(|a, b| towards(a).total_cmp(&towards(b)));
        if let Some(place) = place.filter(|place| towards(place) < 0.1) {
            labels.push((chart.backend_coord(place), format!("{level}"), colour));
        }
    }
    let mut noted: Vec<Pixel> = Vec::new();
    for (place, text, colour) in labels {
        // Curves of high rejection are close together: the required one and the outer ones keep their
        // labels.
        let is_near = |other: &Pixel| {
            (other.0 - place.0).abs() < px_i(sizes.label * 2)
                && (other.1 - place.1).abs() < px_i(sizes.label * 4 / 5)
        };
        if noted.iter().any(is_near) {
            continue;
        }
        noted.push(place);
        note(&canvas, place, &text, if colour == GREY { BLACK } else { colour }, sizes)?;
    }
    Ok((canvas, chart))
}
