//! Rejections measured with tones compared with those from S-parameters: the normalised error, and
//! the channel error that the mixers must have added.

use super::error::MeasurementError;
use super::error_covariance::ErrorCovariance;
use super::monte_carlo::{Spread, TrialSettings};
use super::normal::normal_deviate;
use super::receiver_uncertainty::ReceiverUncertainty;
use crate::downconverter::{DownconverterResult, PlanPoint, Sideband};
use crate::units::{ShownFrequency, db_from_neper};
use nalgebra::{Matrix2, Vector2};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A rejection measured with a tone in each sideband.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneMeasurement {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// Wanted over image power, dB.
    pub rejection_db: f64,
    /// Standard uncertainty of the rejection, dB.
    pub u_db: f64,
}

/// A measured rejection with the one computed for its point of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PredictedTone {
    /// The measurement.
    pub measured: ToneMeasurement,
    /// The computed point of the plan.
    pub point: PlanPoint,
    /// The distribution of the computed rejection; `None` where its uncertainty is not known.
    pub spread: Option<Spread>,
    /// The covariance of the computed channel error; `None` where it is not known.
    pub covariance: Option<ErrorCovariance>,
}

/// A measured rejection with the one from S-parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToneComparison {
    /// The measurement.
    pub measured: ToneMeasurement,
    /// The rejection from S-parameters, dB.
    pub predicted_db: f64,
    /// Its coverage interval, dB; both ends are the rejection itself where its uncertainty is not
    /// known.
    pub interval_db: (f64, f64),
    /// E_n: the difference divided by the root sum square of both expanded uncertainties (k = 2 for
    /// the measurement); from -1 to 1 where they agree (ISO/IEC 17043:2010, B.3.1.3, from memory).
    /// `None` where the computed interval has no upper end, and so no expanded uncertainty.
    pub normalised_error: Option<f64>,
    /// Whether both agree: |E_n| is at most 1 or, with an open interval, the measurement plus its
    /// expanded uncertainty is not below the interval.
    pub agrees: bool,
    /// The minimum and the maximum channel error, in nepers or radians, that the mixers may have
    /// added: a rejection determines the size of the whole error, not its direction.
    pub added_error: (f64, f64),
}

/// One channel error that the mixers add at all points: the best fit to the measurements.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixerError {
    /// The error in the image sideband, nepers and radians.
    pub error: Complex64,
    /// Its standard uncertainties. The uncertainty of the S-parameters is included where known:
    /// what all points have in common adds to the uncertainty of the mixers' error.
    pub u: (f64, f64),
    /// Root mean square of the fit residuals, in standard uncertainties.
    pub rms: f64,
    /// Root mean square of the residuals without an error of the mixers.
    pub rms_without: f64,
}

/// All measured rejections.
#[derive(Clone, Debug, PartialEq)]
pub struct ToneComparisons {
    /// The comparisons, in the order of the measurements.
    pub points: Vec<ToneComparison>,
    /// Every error of the mixers that the measurements do not exclude, the best fit first; empty
    /// with fewer than three points, or where the points do not determine it.
    pub mixers: Vec<MixerError>,
    /// The point of the plan whose measurement would best distinguish between the first two of
    /// several errors.
    pub deciding: Option<DecidingTone>,
}

/// A point of the plan where two errors of the mixers predict different rejections.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DecidingTone {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// The difference of the two rejections, dB.
    pub difference_db: f64,
    /// Whether that is more than three standard uncertainties of the present measurements.
    pub is_enough: bool,
}

impl ToneComparisons {
    /// What is likely a mistake in the table of measurements: sentences for the user.
    #[must_use]
    pub fn remarks(&self) -> Vec<String> {
        /// Mixers do not degrade every point by as much (ours).
        const LOST_DB: f64 = 10.0;
        let is_lost = |own: &ToneComparison| own.predicted_db - own.measured.rejection_db > LOST_DB;
        let low = (self.points.len() > 1 && self.points.iter().all(is_lost)).then(|| {
            format!(
                "every measured rejection is more than {LOST_DB} dB below that from S-parameters: are \
                 wanted_dbm and image_dbm both levels in dBm?"
            )
        });
        let repeated = self.points.iter().enumerate().filter(|(at, own)| {
            self.points[..*at].iter().any(|other| other.measured == own.measured)
        });
        let repeated = repeated.count();
        let repeated = (repeated > 0).then(|| {
            format!(
                "{repeated} of the measured tones are duplicates, which makes the fit look better than it is"
            )
        });
        // With all below 0 the table is refused.
        let reversed = self.points.iter().filter(|own| own.measured.rejection_db < 0.0);
        let reversed = reversed.map(|own| {
            format!(
                "at LO {}, IF {} the image is above the wanted tone: is a sign missing? The fit includes it",
                ShownFrequency(own.measured.lo_hz),
                ShownFrequency(own.measured.if_hz)
            )
        });
        low.into_iter().chain(repeated).chain(reversed.take(3)).collect()
    }

    /// The number of measurements that agree.
    #[must_use]
    pub fn agreeing(&self) -> usize {
        self.points.iter().filter(|point| point.agrees).count()
    }

    /// Whether every computed rejection has no uncertainty: its interval has no width.
    #[must_use]
    pub fn has_exact_predictions(&self) -> bool {
        self.points.iter().all(|point| point.interval_db.0.total_cmp(&point.interval_db.1).is_eq())
    }

    /// The point that agrees least, of those with a normalised error.
    #[must_use]
    pub fn worst(&self) -> Option<&ToneComparison> {
        let size = |point: &ToneComparison| point.normalised_error.map_or(-1.0, f64::abs);
        let known = self.points.iter().filter(|point| point.normalised_error.is_some());
        known.max_by(|one, other| size(one).total_cmp(&size(other)))
    }
}

/// Compares measured rejections with those from S-parameters, whose distributions have the coverage
/// probability `coverage`.
///
/// # Errors
/// [`MeasurementError::Uncertainty`] for a measurement whose standard uncertainty is not above 0, and
/// [`MeasurementError::NotACoverage`].
///
/// # Examples
/// ```
/// use fourphase::downconverter::{PlanPoint, ReceiverBalance};
/// use fourphase::measurement::{PredictedTone, ToneMeasurement, compare_tones};
/// use fourphase::splitter::{channel_error, image_rejection_db};
///
/// // 30.8 dB from S-parameters, 30.0 dB measured with a standard uncertainty of 0.5 dB: they agree.
/// let error = channel_error(0.4, 2.0);
/// let balance = ReceiverBalance {
///     image_rejection_db: image_rejection_db(0.4, 2.0),
///     sideband_gain_db: 0.0,
///     wanted_error: error,
///     channel_error: error,
/// };
/// let point = PlanPoint { lo_hz: 29e9, if_hz: 1e9, balance };
/// let measured = ToneMeasurement { lo_hz: 29e9, if_hz: 1e9, rejection_db: 30.0, u_db: 0.5 };
/// let tone = PredictedTone { measured, point, spread: None, covariance: None };
/// let compared = compare_tones(&[tone], 0.95)?;
/// assert!((compared.points[0].normalised_error.unwrap() + 0.785).abs() < 0.01);
/// # Ok::<(), fourphase::measurement::MeasurementError>(())
/// ```
pub fn compare_tones(
    tones: &[PredictedTone],
    coverage: f64,
) -> Result<ToneComparisons, MeasurementError> {
    if !(coverage > 0.0 && coverage < 1.0) {
        return Err(MeasurementError::NotACoverage { found: coverage });
    }
    for (at, tone) in tones.iter().enumerate() {
        let found = tone.measured.u_db;
        if !(found > 0.0 && found.is_finite()) {
            return Err(MeasurementError::Uncertainty { measurement: at + 1, found });
        }
    }
    // Expanded uncertainties have a factor of 2, independent of the coverage of the intervals.
    let scale = 2.0 / normal_deviate(0.5 + 0.5 * coverage);
    Ok(ToneComparisons {
        points: tones.iter().map(|tone| compared(tone, scale)).collect(),
        mixers: mixer_errors(tones),
        deciding: None,
    })
}

/// Frequencies within this relative distance are equal, because those of a file have few digits.
const SAME_FREQUENCY: f64 = 1e-9;

/// Compares measured rejections with those of a receiver's analysis, and with their distributions
/// where the uncertainty of the receiver is known.
///
/// # Errors
/// [`MeasurementError::NotInPlan`] for a measurement at another LO or IF than those of the plan, and
/// those of [`compare_tones`].
pub fn compare_tones_with_analysis(
    measured: &[ToneMeasurement],
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
) -> Result<ToneComparisons, MeasurementError> {
    let is_same = |one: f64, other: f64| (one - other).abs() <= SAME_FREQUENCY * other.abs();
    let predicted = measured.iter().enumerate().map(|(at, tone)| {
        let ToneMeasurement { lo_hz, if_hz, .. } = *tone;
        let place = result
            .points
            .iter()
            .position(|point| is_same(point.lo_hz, lo_hz) && is_same(point.if_hz, if_hz))
            .ok_or(MeasurementError::NotInPlan { measurement: at + 1, lo_hz, if_hz })?;
        let point = result.points[place];
        let known = match uncertainty {
            Some(uncertainty) => {
                let (points, found) = (result.points.len(), uncertainty.points.len());
                let known = uncertainty.points.get(place);
                Some(known.ok_or(MeasurementError::OtherResult { points, found })?)
            }
            None => None,
        };
        let spread = known.map(|known| known.rejection);
        let covariance = known.map(|known| known.channel_error.covariance());
        // The plan's own frequencies are used, because those of a file may be rounded.
        let measured = ToneMeasurement { lo_hz: point.lo_hz, if_hz: point.if_hz, ..*tone };
        Ok(PredictedTone { measured, point, spread, covariance })
    });
    let predicted = predicted.collect::<Result<Vec<_>, MeasurementError>>()?;
    // Without uncertainty there is no distribution, and its coverage has no effect.
    let coverage = uncertainty
        .map_or(TrialSettings::default().coverage(), |uncertainty| uncertainty.assessment.coverage);
    let mut compared = compare_tones(&predicted, coverage)?;
    compared.deciding = deciding_tone(&compared.mixers, &predicted, &result.points);
    Ok(compared)
}

/// The point at which the first two errors of the mixers differ most.
fn deciding_tone(
    mixers: &[MixerError],
    tones: &[PredictedTone],
    plan: &[PlanPoint],
) -> Option<DecidingTone> {
    let [one, other, ..] = mixers else { return None };
    let u_db = tones.iter().map(|tone| tone.measured.u_db).fold(0.0, f64::max);
    let differing = plan.iter().map(|point| {
        let difference_db = (with_error(point, one.error) - with_error(point, other.error)).abs();
        (point, difference_db)
    });
    let finite = differing.filter(|(_, difference_db)| difference_db.is_finite());
    let (point, difference_db) = finite.max_by(|one, other| one.1.total_cmp(&other.1))?;
    let is_enough = difference_db > 3.0 * u_db;
    Some(DecidingTone { lo_hz: point.lo_hz, if_hz: point.if_hz, difference_db, is_enough })
}

/// One comparison; `scale` converts half an interval to an expanded uncertainty.
fn compared(tone: &PredictedTone, scale: f64) -> ToneComparison {
    let PredictedTone { measured, point, spread, .. } = tone;
    let predicted_db = point.balance.image_rejection_db;
    let interval_db =
        spread.map_or((predicted_db, predicted_db), |spread| (spread.low, spread.high));
    let difference = measured.rejection_db - predicted_db;
    // The half of the interval on the side of the measurement.
    let half =
        if difference < 0.0 { predicted_db - interval_db.0 } else { interval_db.1 - predicted_db };
    let expanded = (2.0 * measured.u_db).hypot(scale * half.max(0.0));
    let is_open = interval_db.1.is_infinite();
    let normalised_error = (difference / expanded).is_finite().then_some(difference / expanded);
    let normalised_error = normalised_error.filter(|_| !is_open);
    let agrees = match normalised_error {
        Some(error) => error.abs() <= 1.0,
        None => is_open && measured.rejection_db + 2.0 * measured.u_db >= interval_db.0,
    };
    // The size of the error that causes this rejection, without the sideband gain of the paths.
    let balance_db = measured.rejection_db - point.balance.sideband_gain_db;
    let ratio = 10_f64.powf(-balance_db / 20.0);
    let size = if ratio < 1.0 { 2.0 * ratio.atanh() } else { f64::INFINITY };
    let own = point.balance.channel_error.norm();
    ToneComparison {
        measured: *measured,
        predicted_db,
        interval_db,
        normalised_error,
        agrees,
        added_error: ((size - own).abs(), size + own),
    }
}

/// The rejection with an error added by the mixers; in the other sideband the error is conjugate,
/// as the gains are.
fn with_error(point: &PlanPoint, added: Complex64) -> f64 {
    let balance = &point.balance;
    let wanted = 1.0 + (balance.wanted_error + added.conj()).exp();
    let image = 1.0 - (balance.channel_error + added).exp();
    balance.sideband_gain_db + 20.0 * (wanted.norm() / image.norm()).log10()
}

/// The residuals of all tones with an error added by the mixers, in standard uncertainties.
fn residuals(tones: &[PredictedTone], added: Complex64) -> Vec<f64> {
    let residual = |tone: &PredictedTone| {
        (tone.measured.rejection_db - with_error(&tone.point, added)) / tone.measured.u_db
    };
    tones.iter().map(residual).collect()
}

fn sum_of_squares(tones: &[PredictedTone], added: Complex64) -> f64 {
    residuals(tones, added).iter().map(|residual| residual * residual).sum()
}

/// JᵀJ and -Jᵀr of the residuals r with their derivatives J by central differences.
fn normal_equations(tones: &[PredictedTone], added: Complex64) -> (Matrix2<f64>, Vector2<f64>) {
    const STEP: f64 = 1e-6;
    let at = residuals(tones, added);
    let along = [Complex64::new(STEP, 0.0), Complex64::new(0.0, STEP)]
        .map(|step| (residuals(tones, added + step), residuals(tones, added - step)));
    let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
    for (row, residual) in at.iter().enumerate() {
        let slope = Vector2::from_iterator(
            along.iter().map(|(plus, minus)| (plus[row] - minus[row]) / (2.0 * STEP)),
        );
        normal += slope * slope.transpose();
        right -= slope * *residual;
    }
    (normal, right)
}

/// The minimum of the sum of squares from a start by the method of Levenberg and Marquardt; `None`
/// where the equations have no solution.
fn refined(tones: &[PredictedTone], start: Complex64) -> Option<Complex64> {
    let mut best = (start, sum_of_squares(tones, start));
    let mut damping = 1e-3;
    for _ in 0..200 {
        let (normal, right) = normal_equations(tones, best.0);
        let damped = normal + Matrix2::from_diagonal(&(normal.diagonal() * damping));
        let step = damped.lu().solve(&right)?;
        let next = best.0 + Complex64::new(step[0], step[1]);
        let sum = sum_of_squares(tones, next);
        if sum < best.1 {
            let has_converged = best.1 - sum <= 1e-12 * best.1;
            best = (next, sum);
            damping = (damping * 0.3).max(1e-12);
            if has_converged {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e12 {
                break;
            }
        }
    }
    Some(best.0)
}

/// Above this ratio of the eigenvalues of the normal equations one direction is not determined.
const MAX_CONDITION: f64 = 1e13;

/// Sizes and directions at which the search for minima starts: circles from 0.017 dB to 3 dB.
const RINGS: usize = 14;
const TURNS: usize = 24;
/// Sums of squares above the minimum by less than this are not excluded: 99 % for two unknowns.
const NOT_RULED_OUT: f64 = 9.21;

/// The local minima of the sum of squares over a grid of circles.
fn starts(tones: &[PredictedTone]) -> Vec<Complex64> {
    let added = |ring: usize, turn: usize| {
        let size = 0.002 * 1.6_f64.powi(i32::try_from(ring).unwrap_or(0));
        #[expect(clippy::cast_precision_loss, reason = "a small count")]
        let angle = TAU * turn as f64 / TURNS as f64;
        Complex64::from_polar(size, angle)
    };
    let sums: Vec<Vec<f64>> = (0..RINGS)
        .map(|ring| (0..TURNS).map(|turn| sum_of_squares(tones, added(ring, turn))).collect())
        .collect();
    let mut starts = vec![Complex64::ZERO];
    for ring in 0..RINGS {
        for turn in 0..TURNS {
            let rings = ring.saturating_sub(1)..(ring + 2).min(RINGS);
            let turns = [turn, (turn + 1) % TURNS, (turn + TURNS - 1) % TURNS];
            let mut near = rings.flat_map(|ring| turns.map(|turn| sums[ring][turn]));
            if near.all(|sum| sums[ring][turn] <= sum) {
                starts.push(added(ring, turn));
            }
        }
    }
    starts
}

/// Every minimum that the data do not exclude, the best first.
fn mixer_errors(tones: &[PredictedTone]) -> Vec<MixerError> {
    if tones.len() < 3 {
        return Vec::new();
    }
    let mut minima: Vec<(Complex64, f64)> = Vec::new();
    for error in starts(tones).into_iter().filter_map(|start| refined(tones, start)) {
        // Errors within this distance are one minimum.
        let is_new = minima.iter().all(|(known, _)| (known - error).norm() > 1e-5);
        if error.is_finite() && is_new {
            minima.push((error, sum_of_squares(tones, error)));
        }
    }
    minima.sort_by(|one, other| one.1.total_cmp(&other.1));
    let Some(&(_, smallest)) = minima.first() else { return Vec::new() };
    // If even the best fit is bad, the residuals exceed their stated uncertainties.
    #[expect(clippy::cast_precision_loss, reason = "few points")]
    let scale = (smallest / (tones.len() as f64 - 2.0)).max(1.0);
    let left = minima.into_iter().filter(|(_, sum)| sum - smallest <= NOT_RULED_OUT * scale);
    left.filter_map(|(error, _)| described(tones, error)).collect()
}

/// A minimum with its uncertainty; `None` where a direction is not determined.
fn described(tones: &[PredictedTone], error: Complex64) -> Option<MixerError> {
    // The covariance is the inverse of JᵀJ, computed from its eigenvalues, which show whether it
    // exists.
    let split = normal_equations(tones, error).0.symmetric_eigen();
    let (smallest, largest) = (split.eigenvalues.min(), split.eigenvalues.max());
    if !(smallest > 0.0 && largest <= MAX_CONDITION * smallest) {
        return None;
    }
    let variance = |row: usize| -> f64 {
        let terms = split.eigenvectors.row(row).into_owned();
        terms.iter().zip(&split.eigenvalues).map(|(entry, value)| entry * entry / value).sum()
    };
    #[expect(clippy::cast_precision_loss, reason = "few points")]
    let count = tones.len() as f64;
    // An error of the S-parameters that all points share cannot be distinguished from the mixers'.
    let predicted = |of: fn(&ErrorCovariance) -> f64| {
        tones.iter().filter_map(|tone| tone.covariance.as_ref()).map(of).sum::<f64>() / count
    };
    let u = (
        (variance(0) + predicted(ErrorCovariance::amplitude_variance)).sqrt(),
        (variance(1) + predicted(ErrorCovariance::phase_variance)).sqrt(),
    );
    let mean = |sum: f64| (sum / count).sqrt();
    let rms = mean(sum_of_squares(tones, error));
    let rms_without = mean(sum_of_squares(tones, Complex64::ZERO));
    (u.0.is_finite() && u.1.is_finite()).then_some(MixerError { error, u, rms, rms_without })
}

impl MixerError {
    /// The complex gain of Q's mixers that is equivalent to this error: the factor for the gain of
    /// each in the description. A mixer's gain is used unchanged for the upper sideband and
    /// conjugate for the lower, so the phase of the gain is that of the image's channel error or
    /// its negative.
    #[must_use]
    pub fn gain(&self, wanted: Sideband) -> Complex64 {
        match wanted.opposite() {
            Sideband::Upper => self.error.exp(),
            Sideband::Lower => self.error.conj().exp(),
        }
    }

    /// The error in dB and degrees.
    #[must_use]
    pub fn amplitude_and_phase(&self) -> (f64, f64) {
        (db_from_neper(self.error.re), self.error.im.to_degrees())
    }
}
