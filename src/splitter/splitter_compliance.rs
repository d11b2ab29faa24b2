//! How far a splitter keeps its limits: the worst value of each, and the bands that pass.

use super::error::SplitterError;
use super::image_rejection::image_rejection_of_error_db;
use super::imbalance::SplitterPoint;
use super::splitter_kind::SplitterKind;
use crate::requirement::{
    Compliance, Limits, Location, Quantity, RequirementResult, bands_that_pass_hz,
};
use crate::units::db_from_neper;
use num_complex::Complex64;

/// The value of a limited quantity at a channel error, in the quantity's unit and with its sign;
/// `NAN` for a quantity that a splitter does not have, which never passes.
fn value(quantity: Quantity, channel_error: Complex64) -> f64 {
    match quantity {
        Quantity::ImageRejection | Quantity::CommonModeRejection => {
            image_rejection_of_error_db(channel_error)
        }
        Quantity::PhaseError => channel_error.im.to_degrees(),
        Quantity::AmplitudeImbalance => db_from_neper(channel_error.re),
        Quantity::QuadratureError | Quantity::LoPower => f64::NAN,
    }
}

/// Refuses limits on quantities that a splitter of this kind does not have.
pub(super) fn check_limits(limits: &Limits, kind: SplitterKind) -> Result<(), SplitterError> {
    match limits.iter().find(|limit| !kind.has(limit.quantity())) {
        Some(limit) => Err(SplitterError::WrongRequirement { quantity: limit.quantity(), kind }),
        None => Ok(()),
    }
}

/// Holds all points against the limits. The ends of the bands that pass are interpolated between
/// two points: there the channel error, taken to run straight from one point to the next, meets a
/// limit. Every band contains a point.
pub(super) fn compliance(limits: &Limits, points: &[SplitterPoint]) -> Compliance {
    let requirements = limits.iter().map(|limit| {
        let findings = points
            .iter()
            .map(|point| (value(limit.quantity(), point.channel_error), point.frequency_hz));
        RequirementResult::worst_of(limit, findings, Location::at_frequency)
    });
    let passes = |error: Complex64| {
        limits.iter().all(|limit| limit.is_kept_by(value(limit.quantity(), error)))
    };
    let frequencies_hz: Vec<f64> = points.iter().map(|point| point.frequency_hz).collect();
    Compliance {
        requirements: requirements.collect(),
        bands_that_pass_hz: bands_that_pass_hz(
            &frequencies_hz,
            |at| passes(points[at].channel_error),
            |inside, outside| crossing_hz(&points[inside], &points[outside], &passes),
        ),
    }
}

/// Where, between a point that passes and a neighbour that does not, passing ends.
fn crossing_hz(
    passing: &SplitterPoint,
    failing: &SplitterPoint,
    passes: &impl Fn(Complex64) -> bool,
) -> f64 {
    // The phase error changes by less than half a turn between neighbours.
    let mut change = failing.channel_error - passing.channel_error;
    if change.im.abs() > std::f64::consts::PI {
        change.im -= std::f64::consts::TAU.copysign(change.im);
    }
    // Limits bound a convex region of the channel error, so there is one crossing.
    let (mut inside, mut outside) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (inside + outside);
        if passes(passing.channel_error + change * middle) {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    passing.frequency_hz + (failing.frequency_hz - passing.frequency_hz) * inside
}
