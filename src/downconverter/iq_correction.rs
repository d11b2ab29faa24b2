//! The best correction of Q for a set of points, continuous or quantised.

use super::correction_weight::{CorrectionPoint, Disk, minimax_weight, worst_rejection_db};
use super::error::{ReceiverError, Result};
use crate::units::{amplitude_from_db, db_from_amplitude, power_from_db, wrap_deg};
use num_complex::Complex64;

/// The steps of a quantised correction of Q, both above 0; 0.1 dB and 0.5 degrees by default.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CorrectionSteps {
    amplitude_db: f64,
    phase_deg: f64,
}

impl CorrectionSteps {
    /// Steps in decibels and degrees.
    ///
    /// # Errors
    /// [`ReceiverError::OutOfRange`] for a step that is not above 0.
    pub fn new(amplitude_db: f64, phase_deg: f64) -> Result<Self> {
        let steps = [("amplitude_step_db", amplitude_db), ("phase_step_deg", phase_deg)];
        for (what, found) in steps {
            if !(found > 0.0 && found.is_finite()) {
                return Err(ReceiverError::OutOfRange { what, expected: "above 0", found });
            }
        }
        Ok(Self { amplitude_db, phase_deg })
    }

    /// The step of the gain, dB.
    pub fn amplitude_db(&self) -> f64 {
        self.amplitude_db
    }

    /// The step of the phase, degrees.
    pub fn phase_deg(&self) -> f64 {
        self.phase_deg
    }
}

impl Default for CorrectionSteps {
    fn default() -> Self {
        Self { amplitude_db: 0.1, phase_deg: 0.5 }
    }
}

/// A complex weight on Q in the image sideband.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IqCorrection {
    /// Gain, dB.
    pub amplitude_db: f64,
    /// Phase, degrees.
    pub phase_deg: f64,
    /// The worst rejection with it, dB.
    pub worst_db: f64,
}

impl IqCorrection {
    /// The best continuous correction for all points; no correction if none improves the rejection.
    pub fn best(points: &[CorrectionPoint]) -> Self {
        let none = Self::of_weight(Complex64::ONE, points);
        match minimax_weight(points).map(|weight| Self::of_weight(weight, points)) {
            Some(found) if found.worst_db > none.worst_db => found,
            _ => none,
        }
    }

    /// The best quantised correction for all points.
    ///
    /// # Method
    /// A correction better than a candidate is in every point's disk of the candidate's level, so
    /// only steps within the common range of all disks are tried: up to 20,000 of them, and
    /// otherwise the nearest ones to the continuous correction.
    pub fn best_quantised(points: &[CorrectionPoint], steps: CorrectionSteps) -> Self {
        Self::best(points).quantised(points, steps)
    }

    /// The best quantised correction, given the best continuous one.
    pub(super) fn quantised(&self, points: &[CorrectionPoint], steps: CorrectionSteps) -> Self {
        let (step_db, step_deg) = (steps.amplitude_db(), steps.phase_deg());
        let made = |gain: f64, phase: f64| {
            let (amplitude_db, phase_deg) = (gain * step_db, phase * step_deg);
            Self { amplitude_db, phase_deg, worst_db: 0.0 }
        };
        let gain = (self.amplitude_db / step_db).round();
        let phase = (self.phase_deg / step_deg).round();
        let mut search = WorstPoints { points, critical: 0 };
        let mut best = made(0.0, 0.0);
        best.worst_db = worst_rejection_db(points, best.weight());
        let mut best = search.better(best, made(gain, phase));
        for along in [-1.0, 0.0, 1.0] {
            for across in [-1.0, 0.0, 1.0] {
                best = search.better(best, made(gain + along, phase + across));
            }
        }
        let Some(range) = common_range(points, best.worst_db, self.phase_deg) else {
            return best;
        };
        let (gains, phases) = (range.gains_db.whole(step_db), range.phases_deg.whole(step_deg));
        if gains.count() * phases.count() > MAX_CANDIDATES {
            return best;
        }
        for gain in gains.numbers() {
            for phase in phases.numbers() {
                best = search.better(best, made(gain, phase));
            }
        }
        best
    }

    fn of_weight(weight: Complex64, points: &[CorrectionPoint]) -> Self {
        Self {
            amplitude_db: db_from_amplitude(weight.norm()),
            phase_deg: weight.arg().to_degrees(),
            worst_db: worst_rejection_db(points, weight),
        }
    }

    /// The complex weight on Q.
    pub fn weight(&self) -> Complex64 {
        Complex64::from_polar(amplitude_from_db(self.amplitude_db), self.phase_deg.to_radians())
    }
}

/// The points of a search; the one at which the last candidate failed is tried first.
struct WorstPoints<'p> {
    points: &'p [CorrectionPoint],
    critical: usize,
}

impl WorstPoints<'_> {
    /// The better of two corrections, of which the worst rejection of the first is known.
    fn better(&mut self, best: IqCorrection, other: IqCorrection) -> IqCorrection {
        let weight = other.weight();
        // Equal ones are compared below, exactly.
        let floor = power_from_db(best.worst_db) * (1.0 - 1e-12);
        let is_worse = |point: &CorrectionPoint| point.power_ratio(weight) < floor;
        if self.points.get(self.critical).is_some_and(is_worse) {
            return best;
        }
        if let Some(at) = self.points.iter().position(is_worse) {
            self.critical = at;
            return best;
        }
        let other = IqCorrection { worst_db: worst_rejection_db(self.points, weight), ..other };
        if other.worst_db > best.worst_db { other } else { best }
    }
}

/// Maximum number of candidates. There are more only where no correction is useful, or with steps so
/// fine that the nearest ones to the continuous correction are as good.
const MAX_CANDIDATES: f64 = 20_000.0;

/// A range of numbers.
#[derive(Clone, Copy)]
struct Range {
    low: f64,
    high: f64,
}

impl Range {
    const ALL: Self = Self { low: f64::NEG_INFINITY, high: f64::INFINITY };

    fn narrowed(self, low: f64, high: f64) -> Self {
        Self { low: self.low.max(low), high: self.high.min(high) }
    }

    /// The multiples of a step within the range.
    fn whole(self, step: f64) -> Self {
        Self { low: (self.low / step).ceil(), high: (self.high / step).floor() }
    }

    /// The whole numbers from `low` to `high`, counted: beyond 2^53 adding 1 gives the same number again.
    fn numbers(self) -> impl Iterator<Item = f64> {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "at most as many as there are candidates"
        )]
        let count = self.count().min(MAX_CANDIDATES) as u32;
        (0..count).map(move |at| self.low + f64::from(at))
    }

    /// The number of whole numbers from `low` to `high`, both whole.
    fn count(self) -> f64 {
        (self.high - self.low + 1.0).max(0.0)
    }
}

/// Gains and phases of weights.
struct WeightRange {
    gains_db: Range,
    phases_deg: Range,
}

/// A range that includes every weight that reaches a level at all points, with phases near
/// `around_deg`; `None` if the level is no bound.
fn common_range(points: &[CorrectionPoint], level_db: f64, around_deg: f64) -> Option<WeightRange> {
    let (mut gains_db, mut phases_deg) = (Range::ALL, Range::ALL);
    for point in points {
        let Disk { centre, radius } = point.disk(level_db)?;
        let distance = centre.norm();
        if radius >= distance {
            continue;
        }
        gains_db = gains_db
            .narrowed(db_from_amplitude(distance - radius), db_from_amplitude(distance + radius));
        let middle_deg = around_deg + wrap_deg(centre.arg().to_degrees() - around_deg);
        let half_deg = (radius / distance).asin().to_degrees();
        phases_deg = phases_deg.narrowed(middle_deg - half_deg, middle_deg + half_deg);
    }
    let is_bounded = gains_db.low.is_finite() && phases_deg.low.is_finite();
    is_bounded.then_some(WeightRange { gains_db, phases_deg })
}
