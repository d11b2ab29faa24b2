//! Compliance of a splitter with its limits: the worst value of each, and the bands that pass.

use super::error::SplitterError;
use super::image_rejection::image_rejection_of_error_db;
use super::imbalance::SplitterPoint;
use super::splitter_kind::SplitterKind;
use crate::requirement::{
    Compliance, Figure, Limits, Location, NoFigure, Quantity, RequirementResult, UndefinedFigure,
    bands_that_pass_hz,
};
use crate::units::db_from_neper;
use num_complex::Complex64;

/// The value of a limited quantity for a channel error, in the quantity's unit and with its sign;
/// without a number for a quantity that a splitter does not have.
fn figure(quantity: Quantity, channel_error: Complex64) -> Figure {
    Figure::new(match quantity {
        Quantity::ImageRejection | Quantity::CommonModeRejection => {
            image_rejection_of_error_db(channel_error)
        }
        Quantity::PhaseError => channel_error.im.to_degrees(),
        Quantity::AmplitudeImbalance => db_from_neper(channel_error.re),
        Quantity::QuadratureError
        | Quantity::LoPower
        | Quantity::ConversionLoss
        | Quantity::NoiseFigure
        | Quantity::LoAtRfPort
        | Quantity::LoPowerMax
        | Quantity::LoTone
        | Quantity::SpuriousResponse => {
            return Figure::none(NoFigure::NoSuchQuantity);
        }
    })
}

/// Checks that a splitter of this kind has the limited quantities.
pub(super) fn check_limits(limits: &Limits, kind: SplitterKind) -> Result<(), SplitterError> {
    match limits.iter().find(|limit| !kind.has(limit.quantity())) {
        Some(limit) => Err(SplitterError::WrongRequirement { quantity: limit.quantity(), kind }),
        None => Ok(()),
    }
}

/// Compares all points with the limits. The ends of the bands that pass are interpolated between
/// two points, with the channel error linear between them. Every band contains a point.
///
/// # Errors
/// [`UndefinedFigure`] where a limited figure has no number.
pub(super) fn compliance(
    limits: &Limits,
    points: &[SplitterPoint],
) -> Result<Compliance, UndefinedFigure> {
    let requirements = limits.iter().map(|limit| {
        let findings = points
            .iter()
            .map(|point| (figure(limit.quantity(), point.channel_error), point.frequency_hz));
        RequirementResult::worst_of(limit, findings, Location::at_frequency)
    });
    let passes = |error: Complex64| {
        limits.iter().all(|limit| {
            figure(limit.quantity(), error).value().is_some_and(|value| limit.is_kept_by(value))
        })
    };
    let frequencies_hz: Vec<f64> = points.iter().map(|point| point.frequency_hz).collect();
    Ok(Compliance {
        requirements: requirements.collect::<Result<_, _>>()?,
        bands_that_pass_hz: bands_that_pass_hz(
            &frequencies_hz,
            |at| passes(points[at].channel_error),
            |inside, outside| crossing_hz(&points[inside], &points[outside], &passes),
        ),
    })
}

/// The frequency between a passing point and a failing neighbour at which the limit is reached.
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
