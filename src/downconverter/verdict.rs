//! What a receiver is required to do, and whether it does.

use super::analysis::PlanPoint;
use super::drive::LoPoint;
use super::receiver::{Receiver, ReceiverLimits};

/// What is limited.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReceiverQuantity {
    /// At least.
    ImageRejection,
    /// At most either way, in the wanted sideband.
    AmplitudeImbalance,
    /// At most either way, in the wanted sideband.
    QuadratureError,
    /// At least, at every element.
    LoPower,
}

impl ReceiverQuantity {
    /// The name by which scripts and descriptions know it; it says its unit.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::ImageRejection => "image_rejection_db",
            Self::AmplitudeImbalance => "amplitude_imbalance_db",
            Self::QuadratureError => "quadrature_error_deg",
            Self::LoPower => "lo_power_dbm_min",
        }
    }

    /// The same in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ImageRejection => "image rejection",
            Self::AmplitudeImbalance => "amplitude imbalance",
            Self::QuadratureError => "quadrature error",
            Self::LoPower => "LO power",
        }
    }

    /// Its unit.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::ImageRejection | Self::AmplitudeImbalance => "dB",
            Self::QuadratureError => "deg",
            Self::LoPower => "dBm",
        }
    }

    /// Whether larger is better.
    #[must_use]
    pub fn is_lower_limit(self) -> bool {
        matches!(self, Self::ImageRejection | Self::LoPower)
    }

    fn margin(self, limit: f64, value: f64) -> f64 {
        if self.is_lower_limit() { value - limit } else { limit - value.abs() }
    }
}

/// How one requirement fares over the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceiverRequirement {
    /// What is limited.
    pub quantity: ReceiverQuantity,
    /// The limit.
    pub limit: f64,
    /// The worst value, with its sign.
    pub worst: f64,
    /// Where, Hz.
    pub at_lo_hz: f64,
    /// Where, Hz; `None` for LO power, which knows no IF.
    pub at_if_hz: Option<f64>,
    /// The element, for LO power.
    pub at_mixer: Option<String>,
    /// How far the worst value is on the right side; negative if it is not.
    pub margin: f64,
}

impl ReceiverRequirement {
    /// Whether it holds over the whole plan.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.margin >= 0.0
    }
}

/// All requirements.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReceiverVerdict {
    /// Each.
    pub requirements: Vec<ReceiverRequirement>,
    /// LO ranges over which all hold at every IF, Hz; their ends interpolated along the smallest
    /// margin.
    pub bands_that_pass_hz: Vec<(f64, f64)>,
}

impl ReceiverVerdict {
    /// Whether all hold.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.requirements.iter().all(ReceiverRequirement::passes)
    }
}

/// A quantity at one place.
struct Reading<'a> {
    value: f64,
    lo: usize,
    if_hz: Option<f64>,
    mixer: Option<&'a str>,
}

/// Holds the limits against the plan.
pub(super) fn verdict(
    receiver: &Receiver,
    lo: &[LoPoint],
    points: &[PlanPoint],
) -> ReceiverVerdict {
    let limits: &ReceiverLimits = &receiver.limits;
    let mut verdict = ReceiverVerdict::default();
    let mut smallest_margin = vec![f64::INFINITY; lo.len()];
    let given = [
        (ReceiverQuantity::ImageRejection, limits.image_rejection_db),
        (ReceiverQuantity::AmplitudeImbalance, limits.amplitude_imbalance_db),
        (ReceiverQuantity::QuadratureError, limits.quadrature_error_deg),
        (ReceiverQuantity::LoPower, limits.lo_power_dbm_min),
    ];
    for (quantity, limit) in given {
        let Some(limit) = limit else { continue };
        let mut worst: Option<Reading<'_>> = None;
        for reading in readings(receiver, lo, points, quantity) {
            let margin = quantity.margin(limit, reading.value);
            smallest_margin[reading.lo] = smallest_margin[reading.lo].min(margin);
            if worst.as_ref().is_none_or(|worst| margin < quantity.margin(limit, worst.value)) {
                worst = Some(reading);
            }
        }
        if let Some(worst) = worst {
            verdict.requirements.push(ReceiverRequirement {
                quantity,
                limit,
                worst: worst.value,
                at_lo_hz: lo[worst.lo].lo_hz,
                at_if_hz: worst.if_hz,
                at_mixer: worst.mixer.map(str::to_owned),
                margin: quantity.margin(limit, worst.value),
            });
        }
    }
    if !verdict.requirements.is_empty() {
        let lo_hz: Vec<f64> = lo.iter().map(|point| point.lo_hz).collect();
        verdict.bands_that_pass_hz = passing_bands(&lo_hz, &smallest_margin);
    }
    verdict
}

fn readings<'a>(
    receiver: &'a Receiver,
    lo: &'a [LoPoint],
    points: &'a [PlanPoint],
    quantity: ReceiverQuantity,
) -> Vec<Reading<'a>> {
    let ifs = receiver.plan.if_hz.len();
    if quantity == ReceiverQuantity::LoPower {
        return lo
            .iter()
            .enumerate()
            .flat_map(|(at, point)| {
                receiver.mixers.iter().zip(&point.mixers).map(move |(mixer, drive)| {
                    // An element without a load takes nothing.
                    let value = drive.lo_power_dbm.unwrap_or(f64::NEG_INFINITY);
                    Reading { value, lo: at, if_hz: None, mixer: Some(mixer.name.as_str()) }
                })
            })
            .collect();
    }
    points
        .iter()
        .enumerate()
        .map(|(at, point)| Reading {
            value: match quantity {
                ReceiverQuantity::AmplitudeImbalance => point.balance.wanted().0,
                ReceiverQuantity::QuadratureError => point.balance.wanted().1,
                _ => point.balance.image_rejection_db,
            },
            lo: at / ifs,
            if_hz: Some(point.if_hz),
            mixer: None,
        })
        .collect()
}

/// Runs of points whose margin is not negative; between two points the margin is taken to run
/// straight.
fn passing_bands(at_hz: &[f64], margin: &[f64]) -> Vec<(f64, f64)> {
    let crossing = |inside: usize, outside: usize| {
        let (good, bad) = (margin[inside], margin[outside]);
        if !good.is_finite() || !bad.is_finite() {
            return at_hz[inside];
        }
        at_hz[inside] + (at_hz[outside] - at_hz[inside]) * good / (good - bad)
    };
    let mut bands = Vec::new();
    let mut start: Option<f64> = None;
    for (at, margin) in margin.iter().enumerate() {
        match (start, *margin >= 0.0) {
            (None, true) => start = Some(if at == 0 { at_hz[0] } else { crossing(at, at - 1) }),
            (Some(from), false) => {
                bands.push((from, crossing(at - 1, at)));
                start = None;
            }
            _ => {}
        }
    }
    if let (Some(from), Some(&last)) = (start, at_hz.last()) {
        bands.push((from, last));
    }
    bands
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_end_where_the_margin_is_nothing() {
        let hz = [1.0, 2.0, 3.0, 4.0, 5.0];
        assert_eq!(passing_bands(&hz, &[-1.0, 1.0, 3.0, -3.0, 1.0]), [(1.5, 3.5), (4.75, 5.0)]);
        assert_eq!(passing_bands(&hz, &[0.0; 5]), [(1.0, 5.0)]);
        assert!(passing_bands(&hz, &[-1.0; 5]).is_empty());
        assert_eq!(passing_bands(&hz[..1], &[2.0]), [(1.0, 1.0)]);
    }
}
