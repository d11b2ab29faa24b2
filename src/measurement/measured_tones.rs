//! Measured rejections against predicted ones: the normalised error, and what the mixers must have added.

use super::conformity::normal_deviate;
use super::monte_carlo::Spread;
use crate::downconverter::PlanPoint;
use crate::units::db_from_neper;
use nalgebra::{Matrix2, Vector2};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A rejection measured with a tone in either sideband.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneMeasurement {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// Wanted over image power, dB.
    pub rejection_db: f64,
    /// Its standard uncertainty, dB.
    pub u_db: f64,
}

/// A measured rejection beside what was predicted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneComparison {
    /// What was measured.
    pub measured: ToneMeasurement,
    /// What was predicted, dB.
    pub predicted_db: f64,
    /// The interval for that; the prediction itself twice where nothing is known of its uncertainty.
    pub interval_db: (f64, f64),
    /// E_n: the difference over the expanded uncertainties of both (k = 2 for the measurement), added in
    /// squares; at most 1 either way where they agree (ISO/IEC 17043:2010, B.3.1.3, from memory).
    pub normalised_error: f64,
    /// The least and the largest channel error, in nepers or radians, that the mixers may have added:
    /// a rejection tells the size of the whole error, not its direction.
    pub added_error: (f64, f64),
}

/// One channel error added by the mixers at all points, that explains what was measured best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixerError {
    /// Nepers and radians, in the image sideband.
    pub error: Complex64,
    /// Their standard uncertainties.
    pub u: (f64, f64),
    /// Root of the mean square of what is left, in standard uncertainties.
    pub rms: f64,
    /// The same without such an error.
    pub rms_without: f64,
}

/// All measured rejections.
#[derive(Clone, Debug, PartialEq)]
pub struct ToneComparisons {
    /// In the order of the measurements.
    pub points: Vec<ToneComparison>,
    /// `None` with fewer than three points, or where they do not tell it.
    pub mixers: Option<MixerError>,
}

impl ToneComparisons {
    /// How many agree.
    #[must_use]
    pub fn agreeing(&self) -> usize {
        self.points.iter().filter(|point| point.normalised_error.abs() <= 1.0).count()
    }

    /// The point that agrees least.
    #[must_use]
    pub fn worst(&self) -> Option<&ToneComparison> {
        self.points.iter().max_by(|one, other| {
            one.normalised_error.abs().total_cmp(&other.normalised_error.abs())
        })
    }
}

/// Holds measurements against predictions; `predicted` gives for each its point of the plan and, where
/// it is known, the spread of the prediction, whose interval has this coverage.
#[must_use]
pub fn compare_tones(
    measurements: &[ToneMeasurement],
    predicted: &[(PlanPoint, Option<Spread>)],
    coverage: f64,
) -> ToneComparisons {
    // Expanded uncertainties with a factor of 2, whatever the coverage of the intervals.
    let scale = 2.0 / normal_deviate(0.5 + 0.5 * coverage);
    let compare =
        |(measured, (point, spread)): (&ToneMeasurement, &(PlanPoint, Option<Spread>))| {
            let predicted_db = point.balance.image_rejection_db;
            let interval_db =
                spread.map_or((predicted_db, predicted_db), |spread| (spread.low, spread.high));
            let difference = measured.rejection_db - predicted_db;
            // The side of the interval on which the measurement lies.
            let half = if difference < 0.0 {
                predicted_db - interval_db.0
            } else {
                interval_db.1 - predicted_db
            };
            let expanded = (2.0 * measured.u_db).hypot(scale * half.max(0.0));
            // The size of the error that makes this rejection, apart from what the paths favour.
            let balance_db = measured.rejection_db - point.balance.sideband_gain_db;
            let ratio = 10_f64.powf(-balance_db / 20.0);
            let size = if ratio < 1.0 { 2.0 * ratio.atanh() } else { f64::INFINITY };
            let own = point.balance.channel_error.norm();
            ToneComparison {
                measured: *measured,
                predicted_db,
                interval_db,
                normalised_error: difference / expanded,
                added_error: ((size - own).abs(), size + own),
            }
        };
    ToneComparisons {
        points: measurements.iter().zip(predicted).map(compare).collect(),
        mixers: mixer_error(measurements, predicted),
    }
}

/// The rejection with an error added by the mixers: conjugate in the other sideband, as their gains are.
fn with_error(point: &PlanPoint, added: Complex64) -> f64 {
    let balance = &point.balance;
    let wanted = 1.0 + (balance.wanted_error + added.conj()).exp();
    let image = 1.0 - (balance.channel_error + added).exp();
    balance.sideband_gain_db + 20.0 * (wanted.norm() / image.norm()).log10()
}

fn mixer_error(
    measurements: &[ToneMeasurement],
    predicted: &[(PlanPoint, Option<Spread>)],
) -> Option<MixerError> {
    const STEP: f64 = 1e-6;
    if measurements.len() < 3 {
        return None;
    }
    let misses = |added: Complex64| -> Vec<f64> {
        let pairs = measurements.iter().zip(predicted);
        pairs
            .map(|(measured, (point, _))| {
                (measured.rejection_db - with_error(point, added)) / measured.u_db
            })
            .collect()
    };
    let squares = |added: Complex64| -> f64 { misses(added).iter().map(|miss| miss * miss).sum() };
    // The sum has several valleys: begun on circles of any size, then refined by Levenberg and Marquardt.
    let mut best = (Complex64::ZERO, squares(Complex64::ZERO));
    let without = best.1;
    for ring in 0..12 {
        for turn in 0..24 {
            let size = 0.002 * 1.6_f64.powi(ring);
            let added = Complex64::from_polar(size, TAU * f64::from(turn) / 24.0);
            let sum = squares(added);
            if sum < best.1 {
                best = (added, sum);
            }
        }
    }
    let linearised = |added: Complex64| {
        let at = misses(added);
        let along = [Complex64::new(STEP, 0.0), Complex64::new(0.0, STEP)]
            .map(|step| (misses(added + step), misses(added - step)));
        let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
        for (row, miss) in at.iter().enumerate() {
            let slope = Vector2::from_iterator(
                along.iter().map(|(plus, minus)| (plus[row] - minus[row]) / (2.0 * STEP)),
            );
            normal += slope * slope.transpose();
            right -= slope * *miss;
        }
        (normal, right)
    };
    let mut damping = 1e-3;
    for _ in 0..200 {
        let (normal, right) = linearised(best.0);
        let damped = normal + Matrix2::from_diagonal(&(normal.diagonal() * damping));
        let step = damped.lu().solve(&right)?;
        let next = best.0 + Complex64::new(step[0], step[1]);
        let sum = squares(next);
        if sum < best.1 {
            let is_settled = best.1 - sum <= 1e-12 * best.1;
            best = (next, sum);
            damping = (damping * 0.3).max(1e-12);
            if is_settled {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e12 {
                break;
            }
        }
    }
    let covariance = linearised(best.0).0.try_inverse()?;
    #[expect(clippy::cast_precision_loss, reason = "few points")]
    let mean = |sum: f64| (sum / measurements.len() as f64).sqrt();
    let u = (covariance[(0, 0)].sqrt(), covariance[(1, 1)].sqrt());
    (best.0.is_finite() && u.0.is_finite() && u.1.is_finite()).then(|| MixerError {
        error: best.0,
        u,
        rms: mean(best.1),
        rms_without: mean(without),
    })
}

impl MixerError {
    /// In dB and degrees.
    #[must_use]
    pub fn amplitude_and_phase(&self) -> (f64, f64) {
        (db_from_neper(self.error.re), self.error.im.to_degrees())
    }
}
