//! What trims on Q can do for a plan: one for all, one per LO step, in steps of a real trimmer, and
//! how many are needed.

use super::correction::{CorrectionPoint, minimax_weight, worst_rejection_db};
use super::receiver::{ReceiverPlan, TrimSteps};
use crate::units::{amplitude_from_db, db_from_amplitude, wrap_deg};
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

    /// An amplitude imbalance (dB) and a quadrature error (deg) of Q over I after the trim; the error
    /// is wrapped to (-180, 180].
    #[must_use]
    pub fn applied_to(&self, (imbalance_db, error_deg): (f64, f64)) -> (f64, f64) {
        (imbalance_db + self.amplitude_db, wrap_deg(error_deg + self.phase_deg))
    }

    /// Whether it leaves a rejection worth having, of at least 1 dB.
    #[must_use]
    pub fn is_useful(&self) -> bool {
        self.worst_db >= SMALLEST_USE_DB
    }
}

/// A correction that leaves less rejects nothing, dB.
const SMALLEST_USE_DB: f64 = 1.0;

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
    /// Whether a required rejection holds at every point without any trim.
    #[must_use]
    pub fn holds_uncorrected(&self, required_db: f64) -> bool {
        self.uncorrected_db >= required_db
    }

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
    let ifs = plan.if_hz.len();
    let single = best_trim(points);
    let per_lo: Vec<Trim> = points.chunks(ifs).map(best_trim).collect();
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

/// The best free trim; none at all where none does better.
fn best_trim(points: &[CorrectionPoint]) -> Trim {
    let none = Trim::of_weight(Complex64::ONE, points);
    match minimax_weight(points).map(|weight| Trim::of_weight(weight, points)) {
        Some(trim) if trim.worst_db > none.worst_db => trim,
        _ => none,
    }
}

/// More candidates than this are not tried; so many are there only where no trim is of use.
const MOST_CANDIDATES: f64 = 200_000.0;

/// The best trim in steps. What beats a candidate lies in every point's disk of the level that the
/// candidate holds, so only steps within the common range of all disks need be tried.
fn in_steps(free: &Trim, points: &[CorrectionPoint], steps: TrimSteps) -> Trim {
    let at = |gain: f64, phase: f64| {
        let (amplitude_db, phase_deg) = (gain * steps.amplitude_db, phase * steps.phase_deg);
        let mut trim = Trim { amplitude_db, phase_deg, worst_db: 0.0 };
        trim.worst_db = worst_rejection_db(points, trim.weight());
        trim
    };
    let (gain, phase) = (
        (free.amplitude_db / steps.amplitude_db).round(),
        (free.phase_deg / steps.phase_deg).round(),
    );
    let mut best = at(0.0, 0.0);
    for beside in 0..9 {
        let (along, across) = (f64::from(beside / 3 - 1), f64::from(beside % 3 - 1));
        let trim = at(gain + along, phase + across);
        if trim.worst_db > best.worst_db {
            best = trim;
        }
    }
    let Some((gains_db, phases_deg)) = common_range(points, best.worst_db, free.phase_deg) else {
        return best;
    };
    let whole = |range: (f64, f64), step: f64| ((range.0 / step).ceil(), (range.1 / step).floor());
    let (gains, phases) = (whole(gains_db, steps.amplitude_db), whole(phases_deg, steps.phase_deg));
    let count = |range: (f64, f64)| (range.1 - range.0 + 1.0).max(0.0);
    if count(gains) * count(phases) > MOST_CANDIDATES {
        return best;
    }
    let mut gain = gains.0;
    while gain <= gains.1 {
        let mut phase = phases.0;
        while phase <= phases.1 {
            let trim = at(gain, phase);
            if trim.worst_db > best.worst_db {
                best = trim;
            }
            phase += 1.0;
        }
        gain += 1.0;
    }
    best
}

/// Gains (dB) and phases (deg, near `around_deg`) between which every weight lies that holds a level
/// at all points; `None` where that bounds nothing.
fn common_range(
    points: &[CorrectionPoint],
    level_db: f64,
    around_deg: f64,
) -> Option<((f64, f64), (f64, f64))> {
    let (mut gains_db, mut phases_deg) =
        ((f64::NEG_INFINITY, f64::INFINITY), (f64::NEG_INFINITY, f64::INFINITY));
    for point in points {
        let (centre, radius) = point.disk(level_db)?;
        let distance = centre.norm();
        if radius >= distance {
            continue;
        }
        gains_db.0 = gains_db.0.max(db_from_amplitude(distance - radius));
        gains_db.1 = gains_db.1.min(db_from_amplitude(distance + radius));
        let middle_deg = around_deg + wrap_deg(centre.arg().to_degrees() - around_deg);
        let half_deg = (radius / distance).asin().to_degrees();
        phases_deg.0 = phases_deg.0.max(middle_deg - half_deg);
        phases_deg.1 = phases_deg.1.min(middle_deg + half_deg);
    }
    let is_bounded = gains_db.0.is_finite() && phases_deg.0.is_finite();
    is_bounded.then_some((gains_db, phases_deg))
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
            let trim = best_trim(run);
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A sweep whose image error wanders, with unequal gains of the sidebands.
    fn points() -> Vec<CorrectionPoint> {
        (0..41)
            .map(|at| {
                let x = f64::from(at) / 40.0;
                let error = Complex64::new(0.03 + 0.07 * x, 0.05 - 0.06 * x * x).exp();
                CorrectionPoint {
                    wanted_i: Complex64::from(1.0 + 0.1 * x),
                    wanted_q: error.conj(),
                    image_i: Complex64::ONE,
                    image_q: -error,
                }
            })
            .collect()
    }

    #[test]
    fn no_step_anywhere_beats_the_one_found() {
        let points = points();
        let free = best_trim(&points);
        assert!(free.worst_db > 25.0, "{free:?}");
        for (amplitude_db, phase_deg) in
            [(0.5, 0.1), (0.4, 0.1), (0.1, 0.1), (1.0, 0.01), (0.1, 2.0), (3.0, 7.0)]
        {
            let steps = TrimSteps { amplitude_db, phase_deg };
            let found = in_steps(&free, &points, steps);
            let mut best = f64::NEG_INFINITY;
            for gain in -30..=30 {
                for phase in -1000..=1000 {
                    let trim = Trim {
                        amplitude_db: f64::from(gain) * amplitude_db,
                        phase_deg: f64::from(phase) * phase_deg,
                        worst_db: 0.0,
                    };
                    if trim.phase_deg.abs() <= 20.0 {
                        best = best.max(worst_rejection_db(&points, trim.weight()));
                    }
                }
            }
            assert!(found.worst_db >= best - 1e-12, "{steps:?}: {found:?}, {best}");
            assert!(found.worst_db <= free.worst_db + 1e-9);
        }
    }

    #[test]
    fn a_trim_that_kills_the_signal_is_none() {
        // I and Q alike in both sidebands: what cancels the image cancels all.
        let alike = [CorrectionPoint {
            wanted_i: Complex64::ONE,
            wanted_q: Complex64::I,
            image_i: Complex64::ONE,
            image_q: Complex64::I,
        }];
        let trim = best_trim(&alike);
        assert!(trim.worst_db.abs() < 1e-9 && trim.weight() == Complex64::ONE, "{trim:?}");
    }
}
