//! What an I/Q correction can do for a plan: one for all points or one per LO, continuous or
//! quantised, and how many are needed.

use super::correction_weight::{CorrectionPoint, Disk, minimax_weight, worst_rejection_db};
use super::error::{ReceiverError, Result};
use super::iq_balance::Imbalance;
use super::lo_if_plan::ReceiverPlan;
use crate::units::{amplitude_from_db, db_from_amplitude, wrap_deg};
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

/// A correction: what Q is multiplied by beyond the correction that the receiver has.
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
    /// The best continuous correction for all points; none where none does better.
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
    /// A correction that beats a candidate lies in every point's disk of the level that the candidate
    /// holds, so only steps within the common range of all disks are tried.
    pub fn best_quantised(points: &[CorrectionPoint], steps: CorrectionSteps) -> Self {
        Self::best(points).quantised(points, steps)
    }

    /// The best quantised correction, given the best continuous one.
    fn quantised(&self, points: &[CorrectionPoint], steps: CorrectionSteps) -> Self {
        let (step_db, step_deg) = (steps.amplitude_db(), steps.phase_deg());
        let at = |gain: f64, phase: f64| {
            let (amplitude_db, phase_deg) = (gain * step_db, phase * step_deg);
            let made = Self { amplitude_db, phase_deg, worst_db: 0.0 };
            Self { worst_db: worst_rejection_db(points, made.weight()), ..made }
        };
        let better =
            |best: Self, other: Self| if other.worst_db > best.worst_db { other } else { best };
        let gain = (self.amplitude_db / step_db).round();
        let phase = (self.phase_deg / step_deg).round();
        let mut best = at(0.0, 0.0);
        for along in [-1.0, 0.0, 1.0] {
            for across in [-1.0, 0.0, 1.0] {
                best = better(best, at(gain + along, phase + across));
            }
        }
        let Some(range) = common_range(points, best.worst_db, self.phase_deg) else {
            return best;
        };
        let (gains, phases) = (range.gains_db.whole(step_db), range.phases_deg.whole(step_deg));
        if gains.count() * phases.count() > MAX_CANDIDATES {
            return best;
        }
        let mut gain = gains.low;
        while gain <= gains.high {
            let mut phase = phases.low;
            while phase <= phases.high {
                best = better(best, at(gain, phase));
                phase += 1.0;
            }
            gain += 1.0;
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

    /// The imbalance of Q over I with this correction; its phase is in (-180, 180] degrees.
    pub fn applied_to(&self, imbalance: Imbalance) -> Imbalance {
        Imbalance {
            amplitude_db: imbalance.amplitude_db + self.amplitude_db,
            phase_deg: wrap_deg(imbalance.phase_deg + self.phase_deg),
        }
    }

    /// Whether at least 1 dB of rejection remains with it.
    pub fn is_useful(&self) -> bool {
        self.worst_db >= MIN_USE_DB
    }

    /// The complex weight on Q.
    pub fn weight(&self) -> Complex64 {
        Complex64::from_polar(amplitude_from_db(self.amplitude_db), self.phase_deg.to_radians())
    }
}

/// A correction with less rejection than this rejects nothing, dB.
const MIN_USE_DB: f64 = 1.0;

/// LOs that share a correction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CorrectionSegment {
    /// The lowest and the highest LO, Hz.
    pub lo_hz: (f64, f64),
    /// Their correction.
    pub correction: IqCorrection,
}

/// How many corrections meet a requirement on the rejection.
#[derive(Clone, Debug, PartialEq)]
pub enum CorrectionCover {
    /// The fewest that do, each for a run of neighbouring LOs.
    Holds(Vec<CorrectionSegment>),
    /// Not even one per LO does, because the error differs between IFs: the first LO where it fails.
    Impossible {
        /// LO at the mixers, Hz.
        lo_hz: f64,
        /// The best rejection with one correction there, dB.
        best_db: f64,
    },
}

/// What corrections of Q can do over a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionPlan {
    /// The worst rejection without, dB.
    pub uncorrected_db: f64,
    /// The best single one, continuous.
    pub single: IqCorrection,
    /// The steps of a quantised one.
    pub steps: CorrectionSteps,
    /// The best single one, quantised.
    pub single_quantised: IqCorrection,
    /// The best one at each LO, continuous.
    pub per_lo: Vec<IqCorrection>,
    /// The best one at each LO, quantised.
    pub per_lo_quantised: Vec<IqCorrection>,
    /// How many meet the requirement on the rejection, if there is one.
    pub cover: Option<CorrectionCover>,
}

impl CorrectionPlan {
    /// Whether a required rejection, dB, is met at every point without any correction.
    pub fn holds_uncorrected(&self, required_db: f64) -> bool {
        self.uncorrected_db >= required_db
    }

    /// The worst rejection with a continuous correction per LO, dB.
    pub fn per_lo_db(&self) -> f64 {
        worst_of(&self.per_lo)
    }

    /// The worst rejection with a quantised correction per LO, dB.
    pub fn per_lo_quantised_db(&self) -> f64 {
        worst_of(&self.per_lo_quantised)
    }
}

fn worst_of(corrections: &[IqCorrection]) -> f64 {
    corrections.iter().map(|correction| correction.worst_db).fold(f64::INFINITY, f64::min)
}

/// The corrections of a plan. `points` are in the order of the plan: for each LO, for each IF.
pub(super) fn correction_plan(
    points: &[CorrectionPoint],
    plan: &ReceiverPlan,
    steps: CorrectionSteps,
    required_db: Option<f64>,
) -> CorrectionPlan {
    let ifs = plan.if_hz().len();
    let single = IqCorrection::best(points);
    let per_lo: Vec<IqCorrection> = points.chunks(ifs).map(IqCorrection::best).collect();
    let runs = points.chunks(ifs).zip(&per_lo);
    CorrectionPlan {
        uncorrected_db: worst_rejection_db(points, Complex64::ONE),
        steps,
        single_quantised: single.quantised(points, steps),
        single,
        per_lo_quantised: runs.map(|(run, best)| best.quantised(run, steps)).collect(),
        cover: required_db.map(|required_db| cover(points, plan, &per_lo, required_db)),
        per_lo,
    }
}

/// More candidates than this are not tried; there are so many only where no correction is of use.
const MAX_CANDIDATES: f64 = 200_000.0;

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

    /// The whole multiples of a step within.
    fn whole(self, step: f64) -> Self {
        Self { low: (self.low / step).ceil(), high: (self.high / step).floor() }
    }

    /// How many whole numbers there are from `low` to `high`, both whole.
    fn count(self) -> f64 {
        (self.high - self.low + 1.0).max(0.0)
    }
}

/// Gains and phases of weights.
struct WeightRange {
    gains_db: Range,
    phases_deg: Range,
}

/// A range that includes every weight that holds a level at all points, with phases near
/// `around_deg`; `None` where the level bounds nothing.
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

/// The fewest runs of LOs that one correction each can serve. The longest run each time is best,
/// since a part of a run is served by the correction of the whole too.
fn cover(
    points: &[CorrectionPoint],
    plan: &ReceiverPlan,
    per_lo: &[IqCorrection],
    required_db: f64,
) -> CorrectionCover {
    let (lo_hz, ifs) = (plan.lo_hz(), plan.if_hz().len());
    let mut segments = Vec::new();
    let mut start = 0;
    while start < per_lo.len() {
        if per_lo[start].worst_db < required_db {
            let best_db = per_lo[start].worst_db;
            return CorrectionCover::Impossible { lo_hz: lo_hz[start], best_db };
        }
        let of_run = |end: usize| {
            let found = IqCorrection::best(&points[start * ifs..end * ifs]);
            (found.worst_db >= required_db).then_some(found)
        };
        // The end is between one that holds and one that does not: bisect.
        let (mut end, mut correction) = (start + 1, per_lo[start]);
        let mut beyond = per_lo.len() + 1;
        while beyond - end > 1 {
            let middle = usize::midpoint(end, beyond);
            match of_run(middle) {
                Some(found) => (end, correction) = (middle, found),
                None => beyond = middle,
            }
        }
        segments.push(CorrectionSegment { lo_hz: (lo_hz[start], lo_hz[end - 1]), correction });
        start = end;
    }
    CorrectionCover::Holds(segments)
}
