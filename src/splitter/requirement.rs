//! Limits on a splitter, the bands that keep them, and the verdict.

use super::image_rejection::image_rejection_of_error_db;
use super::{SplitterError, SplitterKind, SplitterPoint};
use crate::units::db_from_neper;
use num_complex::Complex64;

/// What is limited.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RequirementKind {
    /// Image rejection at least so many dB.
    ImageRejection,
    /// Common-mode rejection at least so many dB.
    CommonModeRejection,
    /// Phase error at most so many degrees either way.
    PhaseError,
    /// Amplitude imbalance at most so many dB either way.
    AmplitudeImbalance,
}

impl RequirementKind {
    /// The name by which scripts know it; it ends in its unit.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::ImageRejection => "image_rejection_db",
            Self::CommonModeRejection => "common_mode_rejection_db",
            Self::PhaseError => "phase_error_deg",
            Self::AmplitudeImbalance => "amplitude_imbalance_db",
        }
    }

    /// Whether it limits a rejection.
    #[must_use]
    pub fn is_rejection(self) -> bool {
        matches!(self, Self::ImageRejection | Self::CommonModeRejection)
    }

    /// The same in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ImageRejection => "image rejection",
            Self::CommonModeRejection => "common-mode rejection",
            Self::PhaseError => "phase error",
            Self::AmplitudeImbalance => "amplitude imbalance",
        }
    }
}

/// A limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Requirement {
    /// What is limited.
    pub kind: RequirementKind,
    /// The limit, in dB or degrees.
    pub limit: f64,
}

impl Requirement {
    /// Refuses image rejection of a balun and common-mode rejection of anything else.
    pub(super) fn check_kind(&self, kind: SplitterKind) -> Result<(), SplitterError> {
        let is_antiphase = kind == SplitterKind::Antiphase;
        let applies = match self.kind {
            RequirementKind::ImageRejection => !is_antiphase,
            RequirementKind::CommonModeRejection => is_antiphase,
            RequirementKind::PhaseError | RequirementKind::AmplitudeImbalance => true,
        };
        if applies {
            Ok(())
        } else {
            Err(SplitterError::WrongRequirement { requirement: self.kind.name(), kind })
        }
    }

    /// The limited quantity at a channel error.
    fn value(&self, channel_error: Complex64) -> f64 {
        match self.kind {
            RequirementKind::ImageRejection | RequirementKind::CommonModeRejection => {
                image_rejection_of_error_db(channel_error)
            }
            RequirementKind::PhaseError => channel_error.im.to_degrees(),
            RequirementKind::AmplitudeImbalance => db_from_neper(channel_error.re),
        }
    }

    /// How far a value is on the right side of the limit.
    fn margin(&self, value: f64) -> f64 {
        match self.kind {
            RequirementKind::ImageRejection | RequirementKind::CommonModeRejection => {
                value - self.limit
            }
            RequirementKind::PhaseError | RequirementKind::AmplitudeImbalance => {
                self.limit - value.abs()
            }
        }
    }
}

/// How one requirement fares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RequirementResult {
    /// The requirement.
    pub requirement: Requirement,
    /// The worst value over the band, with its sign.
    pub worst: f64,
    /// Where it stands, in hertz.
    pub at_hz: f64,
    /// How far the worst value is on the right side of the limit; negative if it is not.
    pub margin: f64,
}

impl RequirementResult {
    /// Whether the requirement holds over the band.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.margin >= 0.0
    }
}

/// How all requirements fare together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Verdict {
    /// One by one, in the order given.
    pub requirements: Vec<RequirementResult>,
    /// Where all of them hold, in hertz. Ends between two points lie where the channel error,
    /// taken to run straight from one point to the next, meets the limit; every band contains a
    /// point.
    pub bands_that_pass_hz: Vec<(f64, f64)>,
}

impl Verdict {
    /// Whether every requirement holds; true if there are none.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.requirements.iter().all(RequirementResult::passes)
    }
}

/// Judges all points. There is at least one.
pub(super) fn judge(requirements: &[Requirement], points: &[SplitterPoint]) -> Verdict {
    let results = requirements
        .iter()
        .map(|requirement| {
            let values = points
                .iter()
                .map(|point| (requirement.value(point.channel_error), point.frequency_hz));
            let (worst, at_hz) = values
                .min_by(|one, other| {
                    requirement.margin(one.0).total_cmp(&requirement.margin(other.0))
                })
                .unwrap_or((f64::NAN, f64::NAN));
            RequirementResult {
                requirement: *requirement,
                worst,
                at_hz,
                margin: requirement.margin(worst),
            }
        })
        .collect();
    Verdict { requirements: results, bands_that_pass_hz: passing_bands(requirements, points) }
}

fn passing_bands(requirements: &[Requirement], points: &[SplitterPoint]) -> Vec<(f64, f64)> {
    let holds = |error: Complex64| {
        requirements.iter().all(|requirement| requirement.margin(requirement.value(error)) >= 0.0)
    };
    let mut bands: Vec<(f64, f64)> = Vec::new();
    let mut open: Option<f64> = None;
    for (at, point) in points.iter().enumerate() {
        let passes = holds(point.channel_error);
        let previous = at.checked_sub(1).map(|before| &points[before]);
        match (passes, open) {
            (true, None) => {
                open =
                    Some(previous.map_or(point.frequency_hz, |previous| {
                        crossing_hz(point, previous, &holds)
                    }));
            }
            (false, Some(from_hz)) => {
                let to_hz = previous
                    .map_or(point.frequency_hz, |previous| crossing_hz(previous, point, &holds));
                bands.push((from_hz, to_hz));
                open = None;
            }
            _ => {}
        }
    }
    if let (Some(from_hz), Some(last)) = (open, points.last()) {
        bands.push((from_hz, last.frequency_hz));
    }
    bands
}

/// Where, between a point that passes and a neighbour that does not, passing ends.
fn crossing_hz(
    passing: &SplitterPoint,
    failing: &SplitterPoint,
    holds: &impl Fn(Complex64) -> bool,
) -> f64 {
    // The way round that the phase error took is the short one.
    let mut change = failing.channel_error - passing.channel_error;
    if change.im.abs() > std::f64::consts::PI {
        change.im -= std::f64::consts::TAU.copysign(change.im);
    }
    // Requirements bound a convex region of the channel error, so one crossing lies between.
    let (mut inside, mut outside) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (inside + outside);
        if holds(passing.channel_error + change * middle) {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    passing.frequency_hz + (failing.frequency_hz - passing.frequency_hz) * inside
}
