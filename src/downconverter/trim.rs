//! What trims on Q can do for a plan: one for all, one per LO step, in steps of a real trimmer, and
//! how many are needed.

use super::correction::{CorrectionPoint, minimax_weight, worst_rejection_db};
use super::receiver::{ReceiverPlan, TrimSteps};
use crate::units::{amplitude_from_db, db_from_amplitude};
use num_complex::Complex64;

/// A trim: what Q is multiplied by beyond the correction that is there already.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trim {
    /// Gain, dB.
    pub amplitude_db: f64,
    /// Phase, degrees.
    pub phase_deg: f64,
    /// The worst rejection that it leaves, dB.
    pub worst_db: f64,
}

impl Trim {
    fn of_weight(weight: Complex64, points: &[CorrectionPoint]) -> Self {
        Self {
            amplitude_db: db_from_amplitude(weight.norm()),
            phase_deg: weight.arg().to_degrees(),
            worst_db: worst_rejection_db(points, weight),
        }
    }

    /// As a weight.
    #[must_use]
    pub fn weight(&self) -> Complex64 {
        Complex64::from_polar(amplitude_from_db(self.amplitude_db), self.phase_deg.to_radians())
    }
}

/// LOs that share a trim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrimSegment {
    /// The lowest and the highest LO, Hz.
    pub lo_hz: (f64, f64),
    /// Their trim.
    pub trim: Trim,
}

/// How many trims hold a requirement.
#[derive(Clone, Debug, PartialEq)]
pub enum TrimCover {
    /// So few: each holds for a run of LO steps.
    Holds(Vec<TrimSegment>),
    /// Not even one per LO step does, here first: the error differs between IFs.
    Impossible {
        /// Where, Hz.
        lo_hz: f64,
        /// The best that one trim can do there, dB.
        best_db: f64,
    },
}

/// What trims can do.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionPlan {
    /// Without.
    pub uncorrected_db: f64,
    /// The best single one.
    pub single: Trim,
    /// The steps in which trims come.
    pub steps: TrimSteps,
    /// The best single one in steps.
    pub single_in_steps: Trim,
    /// The best one at each LO.
    pub per_lo: Vec<Trim>,
    /// The best one at each LO, in steps.
    pub per_lo_in_steps: Vec<Trim>,
    /// How many hold the requirement, if there is one.
    pub cover: Option<TrimCover>,
}

impl CorrectionPlan {
    /// The worst rejection with a trim per LO, dB.
    #[must_use]
    pub fn per_lo_db(&self) -> f64 {
        self.per_lo.iter().map(|trim| trim.worst_db).fold(f64::INFINITY, f64::min)
    }

    /// The worst rejection with a trim per LO in steps, dB.
    #[must_use]
    pub fn per_lo_in_steps_db(&self) -> f64 {
        self.per_lo_in_steps.iter().map(|trim| trim.worst_db).fold(f64::INFINITY, f64::min)
    }
}

/// The plan's trims. `points` are in the order of the plan: for each LO, for each IF.
pub(super) fn correction_plan(
    points: &[CorrectionPoint],
    plan: &ReceiverPlan,
    steps: TrimSteps,
    required_db: Option<f64>,
) -> CorrectionPlan {
    let best = |points: &[CorrectionPoint]| {
        Trim::of_weight(minimax_weight(points).unwrap_or(Complex64::ONE), points)
    };
    let ifs = plan.if_hz.len();
    let single = best(points);
    let per_lo: Vec<Trim> = points.chunks(ifs).map(best).collect();
    let per_lo_in_steps = points
        .chunks(ifs)
        .zip(&per_lo)
        .map(|(points, trim)| in_steps(trim, points, steps))
        .collect();
    CorrectionPlan {
        uncorrected_db: worst_rejection_db(points, Complex64::ONE),
        steps,
        single_in_steps: in_steps(&single, points, steps),
        cover: required_db.map(|required_db| cover(points, plan, &per_lo, required_db)),
        single,
        per_lo,
        per_lo_in_steps,
    }
}

/// How far around the free trim its best neighbour in steps is sought.
const STEPS_AROUND: i32 = 4;

/// The best trim in steps near a free one.
fn in_steps(free: &Trim, points: &[CorrectionPoint], steps: TrimSteps) -> Trim {
    let nearest = |value: f64, step: f64| (value / step).round();
    let (gain, phase) =
        (nearest(free.amplitude_db, steps.amplitude_db), nearest(free.phase_deg, steps.phase_deg));
    let mut best: Option<Trim> = None;
    for along_gain in -STEPS_AROUND..=STEPS_AROUND {
        for along_phase in -STEPS_AROUND..=STEPS_AROUND {
            let mut trim = Trim {
                amplitude_db: (gain + f64::from(along_gain)) * steps.amplitude_db,
                phase_deg: (phase + f64::from(along_phase)) * steps.phase_deg,
                worst_db: 0.0,
            };
            trim.worst_db = worst_rejection_db(points, trim.weight());
            if best.is_none_or(|best| trim.worst_db > best.worst_db) {
                best = Some(trim);
            }
        }
    }
    best.unwrap_or(*free)
}

/// The fewest runs of LO steps that one trim each can serve. Taking each run as long as it goes is
/// best, since a part of a run is served by its trim too.
fn cover(
    points: &[CorrectionPoint],
    plan: &ReceiverPlan,
    per_lo: &[Trim],
    required_db: f64,
) -> TrimCover {
    let ifs = plan.if_hz.len();
    let mut segments = Vec::new();
    let mut start = 0;
    while start < per_lo.len() {
        if per_lo[start].worst_db < required_db {
            return TrimCover::Impossible {
                lo_hz: plan.lo_hz[start],
                best_db: per_lo[start].worst_db,
            };
        }
        let trim_of = |end: usize| {
            let run = &points[start * ifs..end * ifs];
            let trim = Trim::of_weight(minimax_weight(run).unwrap_or(Complex64::ONE), run);
            (trim.worst_db >= required_db).then_some(trim)
        };
        // The end is between one that holds and one that does not: bisect.
        let (mut end, mut trim) = (start + 1, per_lo[start]);
        let mut beyond = per_lo.len() + 1;
        while beyond - end > 1 {
            let middle = usize::midpoint(end, beyond.min(per_lo.len() + 1));
            match trim_of(middle) {
                Some(found) => (end, trim) = (middle, found),
                None => beyond = middle,
            }
        }
        segments.push(TrimSegment { lo_hz: (plan.lo_hz[start], plan.lo_hz[end - 1]), trim });
        start = end;
    }
    TrimCover::Holds(segments)
}
