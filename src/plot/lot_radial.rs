//! Channel errors of dies over their distance from the wafer's centre.

use super::axis::range_of;
use super::canvas::{picture, px};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::legend::Entry;
use super::lot_caption::captioned;
use super::series::line;
use super::style::{BLUE, Dash, SKY_BLUE, Sizes, VERMILION};
use crate::units::db_from_neper;
use crate::wafer::{LotHeading, LotResult, Position, Spatial};
use plotters::prelude::{Circle, Color, EmptyElement};

/// A die's radius and its mean error.
type RadialPoint = (f64, f64);

/// One part of the error over the radius.
struct RadialPanel<'r> {
    title: &'static str,
    y_label: &'static str,
    points: Vec<RadialPoint>,
    spatial: Option<&'r Spatial>,
    least_width: f64,
}

/// Both parts of the dies' channel errors over their distance from the wafer's centre.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_radial(heading: &LotHeading<'_>, result: &LotResult) -> Result<Vec<u8>, PlotError> {
    let Some(map) = &result.map else {
        return Err(PlotError::from_display("there is no map"));
    };
    let fitted: Vec<usize> =
        result.wafers.iter().flat_map(|wafer| wafer.fitted.iter().copied()).collect();
    let radius = 0.5 * map.diameter_mm;
    let parts = |part: &dyn Fn(num_complex::Complex64) -> f64| -> Vec<RadialPoint> {
        fitted
            .iter()
            .filter_map(|&row| {
                let row = &result.rows[row];
                Some((
                    row.position.as_ref().map(Position::radius_mm)?,
                    part(row.figures?.mean_error),
                ))
            })
            .collect()
    };
    let only = match result.wafers.as_slice() {
        [only] => Some(only),
        _ => None,
    };
    let panels = [
        RadialPanel {
            title: "Mean amplitude imbalance of each die",
            y_label: "Imbalance (dB)",
            points: parts(&|error| db_from_neper(error.re)),
            spatial: only.map(|wafer| &wafer.amplitude_db),
            least_width: 0.05,
        },
        RadialPanel {
            title: "Mean phase error of each die",
            y_label: "Phase error (deg)",
            points: parts(&|error| error.im.to_degrees()),
            spatial: only.map(|wafer| &wafer.phase_deg),
            least_width: 0.5,
        },
    ];
    picture(|canvas| {
        let name = format!("From the centre to the rim: {} dies", fitted.len());
        let body = captioned(canvas, &name, heading, result, "")?;
        for (panel, RadialPanel { title, y_label, points, spatial, least_width }) in
            body.split_evenly((2, 1)).iter().zip(panels)
        {
            let axes = Axes {
                title,
                x_label: "Distance from the wafer's centre (mm)",
                y_label,
                x: 0.0..radius,
                y: range_of(points.iter().map(|point| point.1), least_width),
            };
            let trend = spatial.and_then(|spatial| spatial.trend.as_ref());
            let mut legend = vec![
                Entry { name: "a die", colour: SKY_BLUE, dash: Dash::Dots },
                Entry { name: "median of a ring", colour: BLUE, dash: Dash::Solid },
            ];
            if trend.is_some() {
                legend.push(Entry {
                    name: "bowl of the fit",
                    colour: VERMILION,
                    dash: Dash::Dashed,
                });
            }
            let (_, mut chart) = chart(panel, &axes, &legend, Sizes::LARGE)?;
            let size = if points.len() > 500 { 2 } else { 5 };
            let dots = points.iter().map(|&point| {
                EmptyElement::at(point) + Circle::new((0, 0), px(size), SKY_BLUE.filled())
            });
            chart.draw_series(dots).map_err(PlotError::from_display)?;
            if let Some(trend) = trend {
                let bowl = (0..=60).map(|at| {
                    let share = f64::from(at) / 60.0;
                    (share * radius, trend.level + trend.bowl * share * share)
                });
                line(&mut chart, bowl, VERMILION, Dash::Dashed, Sizes::LARGE)?;
            }
            line(&mut chart, ring_medians(&points, radius), BLUE, Dash::Solid, Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// The median of each of eight rings of equal width, at the mean radius of its dies.
fn ring_medians(points: &[RadialPoint], radius: f64) -> Vec<RadialPoint> {
    (0..8)
        .filter_map(|ring| {
            let (from, to) = (radius * f64::from(ring) / 8.0, radius * f64::from(ring + 1) / 8.0);
            let within: Vec<RadialPoint> =
                points.iter().copied().filter(|point| (from..to).contains(&point.0)).collect();
            let mut values: Vec<f64> = within.iter().map(|point| point.1).collect();
            values.sort_by(f64::total_cmp);
            #[expect(clippy::cast_precision_loss, reason = "counts of dies")]
            let mean = within.iter().map(|point| point.0).sum::<f64>() / within.len() as f64;
            Some((mean, crate::wafer::quantile(&values, 0.5)?))
        })
        .collect()
}
