//! The effect of corrections of Q for a plan: one for all points, one per LO, one per LO and IF,
//! continuous or quantised, and the number of corrections needed.
//!
//! Settings are absolute: they replace the correction in the description.

use super::correction_weight::{CorrectionPoint, least_squares_weight, worst_rejection_db};
use super::error::Result;
use super::frequency_plan::Sideband;
use super::iq_balance::{Imbalance, IqOutputs};
use super::iq_correction::{CorrectionSteps, IqCorrection};
use super::lo_if_plan::ReceiverPlan;
use super::q_correction::{CorrectionDomain, QCorrection};
use super::receiver::Receiver;
use super::solution::{Evaluation, correction_points};
use num_complex::Complex64;
use std::ops::Range;

/// A correction of Q as it is set, with its results at the points to which it applies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CorrectionSetting {
    /// Gain of Q, dB.
    pub amplitude_db: f64,
    /// Phase where the correction acts, degrees.
    pub phase_deg: f64,
    /// The worst rejection with this correction, dB.
    pub worst_db: f64,
    /// The maximum amplitude imbalance of the wanted sideband with this correction, dB.
    pub worst_amplitude_imbalance_db: f64,
    /// The maximum quadrature error of the wanted sideband with this correction, degrees.
    pub worst_quadrature_error_deg: f64,
}

impl CorrectionSetting {
    /// Whether at least 1 dB of rejection remains with it.
    pub fn is_useful(&self) -> bool {
        self.worst_db >= MIN_USE_DB
    }
}

/// A correction with less rejection than this is not useful, dB.
const MIN_USE_DB: f64 = 1.0;

/// LOs that share a correction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CorrectionSegment {
    /// The lowest and the highest LO, Hz.
    pub lo_hz: (f64, f64),
    /// Their correction.
    pub correction: CorrectionSetting,
}

/// The number of corrections that meet a requirement on the rejection.
#[derive(Clone, Debug, PartialEq)]
pub enum CorrectionCover {
    /// The minimum number of corrections, each for a range of neighbouring LOs.
    Holds(Vec<CorrectionSegment>),
    /// Not even one per LO meets it, because the error differs between IFs: the first LO where it
    /// is missed.
    Impossible {
        /// LO at the mixers, Hz.
        lo_hz: f64,
        /// The best rejection with one correction there, dB.
        best_db: f64,
    },
}

/// Neighbouring IFs that share a correction at each LO.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IfChannel {
    /// The lowest and the highest IF, Hz.
    pub if_hz: (f64, f64),
    /// The worst rejection with one correction per LO, dB.
    pub worst_db: f64,
}

/// The number of IF channels, each with its own correction at each LO, that meet a requirement.
#[derive(Clone, Debug, PartialEq)]
pub enum CorrectionChannels {
    /// The minimum number of channels, the same at every LO.
    Holds(Vec<IfChannel>),
    /// Not even one correction per LO and IF meets it: the first point where it is missed.
    Impossible {
        /// LO at the mixers, Hz.
        lo_hz: f64,
        /// The IF, Hz.
        if_hz: f64,
        /// The best rejection there, dB.
        best_db: f64,
    },
}

/// The effect of corrections of Q over a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionPlan {
    /// The point where corrections act.
    pub acts_on: CorrectionDomain,
    /// The correction in the description.
    pub present: QCorrection,
    /// The +j or -j with which Q is combined; `None` for an IF hybrid.
    pub turn: Option<Complex64>,
    /// The worst rejection with the present correction, dB.
    pub present_db: f64,
    /// The worst rejection without a correction, dB.
    pub uncorrected_db: f64,
    /// The best single correction, continuous.
    pub single: CorrectionSetting,
    /// The image sideband's imbalance with the best single correction at every point of the plan.
    pub single_image: Vec<Imbalance>,
    /// The steps of a quantised correction.
    pub steps: CorrectionSteps,
    /// The best single correction, quantised.
    pub single_quantised: CorrectionSetting,
    /// The best correction at each LO, continuous.
    pub per_lo: Vec<CorrectionSetting>,
    /// The best correction at each LO, quantised.
    pub per_lo_quantised: Vec<CorrectionSetting>,
    /// The best one at each point of the plan, continuous: as a digital back end applies it
    /// channel by channel.
    pub per_lo_and_if: Vec<CorrectionSetting>,
    /// The best correction at each point, quantised.
    pub per_lo_and_if_quantised: Vec<CorrectionSetting>,
    /// The number of corrections over LO that meet the requirement on the rejection, if there is
    /// one.
    pub cover: Option<CorrectionCover>,
    /// The number of IF channels that meet it with one correction per LO and channel, if there is a
    /// requirement.
    pub channels: Option<CorrectionChannels>,
}

impl CorrectionPlan {
    /// Whether a required rejection, dB, is met at every point with the present correction.
    pub fn holds_as_it_is(&self, required_db: f64) -> bool {
        self.present_db >= required_db
    }

    /// The worst rejection with a continuous correction per LO, dB.
    pub fn per_lo_db(&self) -> f64 {
        worst_of(&self.per_lo)
    }

    /// The worst rejection with a quantised correction per LO, dB.
    pub fn per_lo_quantised_db(&self) -> f64 {
        worst_of(&self.per_lo_quantised)
    }

    /// The worst rejection with a continuous correction per LO and IF, dB.
    pub fn per_lo_and_if_db(&self) -> f64 {
        worst_of(&self.per_lo_and_if)
    }

    /// The worst rejection with a quantised correction per LO and IF, dB.
    pub fn per_lo_and_if_quantised_db(&self) -> f64 {
        worst_of(&self.per_lo_and_if_quantised)
    }
}

fn worst_of(corrections: &[CorrectionSetting]) -> f64 {
    corrections.iter().map(|correction| correction.worst_db).fold(f64::INFINITY, f64::min)
}

/// The correction as it is set for a complex weight on Q in the image sideband. `image` is that
/// sideband; the LO phase counts `lo_turns` times.
pub(super) fn setting_of(
    weight: &IqCorrection,
    acts_on: CorrectionDomain,
    image: Sideband,
    lo_turns: i32,
) -> Result<QCorrection> {
    let phase_deg = weight.phase_deg / turns_of_weight(acts_on, image, lo_turns);
    QCorrection::new(acts_on, weight.amplitude_db, phase_deg + 0.0)
}

/// The ratio of the weight's phase in the image sideband to the phase of the setting.
pub(super) fn turns_of_weight(acts_on: CorrectionDomain, image: Sideband, lo_turns: i32) -> f64 {
    match (acts_on, image) {
        (CorrectionDomain::IfPhase | CorrectionDomain::Digital, _) => 1.0,
        (CorrectionDomain::LoPhase, Sideband::Lower) => f64::from(lo_turns),
        (CorrectionDomain::LoPhase, Sideband::Upper) => -f64::from(lo_turns),
    }
}

/// The steps of the complex weight, from those of the setting.
fn weight_steps(
    steps: CorrectionSteps,
    acts_on: CorrectionDomain,
    lo_turns: i32,
) -> Result<CorrectionSteps> {
    match acts_on {
        CorrectionDomain::IfPhase | CorrectionDomain::Digital => Ok(steps),
        CorrectionDomain::LoPhase => {
            CorrectionSteps::new(steps.amplitude_db(), steps.phase_deg() * f64::from(lo_turns))
        }
    }
}

/// The search for settings, at points in the order of the plan.
struct Search<'a> {
    receiver: &'a Receiver,
    outputs: &'a [IqOutputs],
    evaluation: &'a Evaluation<'a>,
    points: Vec<CorrectionPoint>,
    steps: CorrectionSteps,
}

impl Search<'_> {
    fn acts_on(&self) -> CorrectionDomain {
        self.evaluation.correction.acts_on()
    }

    /// A weight as a setting; no correction where it is beyond the range of settings.
    fn correction(&self, weight: &IqCorrection) -> QCorrection {
        let image = self.receiver.plan().wanted().opposite();
        let lo_turns = self.receiver.mixing().lo_harmonic();
        let none = QCorrection::new(self.acts_on(), 0.0, 0.0).unwrap_or_default();
        setting_of(weight, self.acts_on(), image, lo_turns).unwrap_or(none)
    }

    /// The effect of a weight at points `start..end`.
    fn setting(&self, weight: &IqCorrection, start: usize, end: usize) -> CorrectionSetting {
        let correction = self.correction(weight);
        let evaluation = Evaluation { correction, ..*self.evaluation };
        let mut made = CorrectionSetting {
            amplitude_db: correction.amplitude_db(),
            phase_deg: correction.phase_deg(),
            worst_db: f64::INFINITY,
            worst_amplitude_imbalance_db: 0.0,
            worst_quadrature_error_deg: 0.0,
        };
        let larger = |worst: &mut f64, found: f64| {
            if found.abs() > worst.abs() {
                *worst = found;
            }
        };
        for at in start..end {
            let balance = evaluation.balance(self.receiver, at, &self.outputs[at]);
            let wanted = balance.wanted();
            made.worst_db = made.worst_db.min(balance.image_rejection_db);
            larger(&mut made.worst_amplitude_imbalance_db, wanted.amplitude_db);
            larger(&mut made.worst_quadrature_error_deg, wanted.phase_deg);
        }
        made
    }

    /// The best continuous and the best quantised setting for points `start..end`.
    fn best(&self, start: usize, end: usize) -> [CorrectionSetting; 2] {
        let points = &self.points[start..end];
        let best = IqCorrection::best(points);
        let quantised = best.quantised(points, self.steps);
        [self.setting(&best, start, end), self.setting(&quantised, start, end)]
    }

    /// The best continuous and quantised settings of every run of points.
    fn best_of_runs(
        &self,
        runs: impl Iterator<Item = Range<usize>>,
    ) -> (Vec<CorrectionSetting>, Vec<CorrectionSetting>) {
        runs.map(|run| self.best(run.start, run.end)).map(|[one, other]| (one, other)).unzip()
    }
}

/// The corrections of a plan, with `outputs` in its order; `turn` is the +j
/// or -j of Q, if there is one.
pub(super) fn correction_plan(
    receiver: &Receiver,
    outputs: &[IqOutputs],
    evaluation: &Evaluation<'_>,
    turn: Option<Complex64>,
    required_db: Option<f64>,
) -> Result<CorrectionPlan> {
    let points = correction_points(receiver, outputs, evaluation);
    let acts_on = evaluation.correction.acts_on();
    let lo_turns = receiver.mixing().lo_harmonic();
    let steps = weight_steps(receiver.correction_steps(), acts_on, lo_turns)?;
    let search = Search { receiver, outputs, evaluation, points, steps };
    let (plan, count) = (receiver.plan(), outputs.len());
    let [single, single_quantised] = search.best(0, count);
    let los = (0..plan.lo_hz().len()).map(|lo| plan.points_of_lo(lo));
    let (per_lo, per_lo_quantised) = search.best_of_runs(los);
    let (per_lo_and_if, per_lo_and_if_quantised) =
        search.best_of_runs((0..count).map(|at| at..at + 1));
    let correction = QCorrection::new(acts_on, single.amplitude_db, single.phase_deg)?;
    let corrected = Evaluation { correction, ..*evaluation };
    let image = |at: usize| corrected.balance(receiver, at, &outputs[at]).image();
    let present = |at: usize| evaluation.balance(receiver, at, &outputs[at]).image_rejection_db;
    Ok(CorrectionPlan {
        acts_on,
        present: evaluation.correction,
        turn,
        present_db: (0..count).map(present).fold(f64::INFINITY, f64::min),
        uncorrected_db: worst_rejection_db(&search.points, Complex64::ONE),
        steps: receiver.correction_steps(),
        single_image: (0..count).map(image).collect(),
        single,
        single_quantised,
        cover: required_db.map(|required_db| cover(&search, plan, &per_lo, required_db)),
        channels: required_db.map(|required_db| channels(&search.points, plan, required_db)),
        per_lo,
        per_lo_quantised,
        per_lo_and_if,
        per_lo_and_if_quantised,
    })
}

/// The minimum number of ranges of LOs with one correction each. The longest possible range each
/// time is optimal, since the correction of a range also works for a part of it.
fn cover(
    search: &Search<'_>,
    plan: &ReceiverPlan,
    per_lo: &[CorrectionSetting],
    required_db: f64,
) -> CorrectionCover {
    let lo_hz = plan.lo_hz();
    // The points of the LOs from one up to another.
    let points =
        |start: usize, end: usize| plan.points_of_lo(start).start..plan.points_of_lo(end).start;
    let mut segments = Vec::new();
    let mut start = 0;
    while start < per_lo.len() {
        if per_lo[start].worst_db < required_db {
            let best_db = per_lo[start].worst_db;
            return CorrectionCover::Impossible { lo_hz: lo_hz[start], best_db };
        }
        let of_run = |end: usize| {
            let found = IqCorrection::best(&search.points[points(start, end)]);
            (found.worst_db >= required_db).then_some(found)
        };
        // The end is between one that meets the requirement and one that does not: bisection.
        let (mut end, mut correction) = (start + 1, None);
        let mut beyond = per_lo.len() + 1;
        while beyond - end > 1 {
            let middle = usize::midpoint(end, beyond);
            match of_run(middle) {
                Some(found) => (end, correction) = (middle, Some(found)),
                None => beyond = middle,
            }
        }
        let correction = match correction {
            Some(found) => {
                let own = points(start, end);
                search.setting(&found, own.start, own.end)
            }
            None => per_lo[start],
        };
        segments.push(CorrectionSegment { lo_hz: (lo_hz[start], lo_hz[end - 1]), correction });
        start = end;
    }
    CorrectionCover::Holds(segments)
}

/// The minimum number of ranges of IFs with one correction per LO and range, the longest possible
/// each time.
fn channels(
    points: &[CorrectionPoint],
    plan: &ReceiverPlan,
    required_db: f64,
) -> CorrectionChannels {
    let (lo_hz, if_hz) = (plan.lo_hz(), plan.if_hz());
    let ifs = if_hz.len();
    // The points of an LO with the IFs from one up to another: none where the plan has none.
    let run = |lo: usize, start: usize, end: usize| {
        let own = plan.points_of_lo(lo);
        let of_lo = &plan.points()[own.clone()];
        let [from, to] =
            [start, end].map(|limit| of_lo.partition_point(|point| point.intermediate < limit));
        &points[own.start + from..own.start + to]
    };
    let best_db = |lo: usize, start: usize, end: usize| match run(lo, start, end) {
        [] => f64::INFINITY,
        own => IqCorrection::best(own).worst_db,
    };
    let fails = |lo: usize, start: usize, end: usize| {
        // Least squares is fast and often sufficient.
        let quick = least_squares_weight(run(lo, start, end));
        let holds = |weight| worst_rejection_db(run(lo, start, end), weight) >= required_db;
        !quick.is_some_and(holds) && best_db(lo, start, end) < required_db
    };
    let failing = |start: usize, end: usize| (0..lo_hz.len()).find(|&lo| fails(lo, start, end));
    let mut found = Vec::new();
    let mut start = 0;
    while start < ifs {
        if let Some(lo) = failing(start, start + 1) {
            return CorrectionChannels::Impossible {
                lo_hz: lo_hz[lo],
                if_hz: if_hz[start],
                best_db: best_db(lo, start, start + 1),
            };
        }
        // All IFs are tried first; then the end is bisected between one that meets the requirement
        // and one that does not.
        let (mut end, mut beyond) = (start + 1, ifs + 1);
        let mut tried = ifs;
        while beyond - end > 1 {
            match failing(start, tried) {
                None => end = tried,
                Some(_) => beyond = tried,
            }
            tried = usize::midpoint(end, beyond);
        }
        let all = (0..lo_hz.len()).map(|lo| best_db(lo, start, end));
        let worst_db = all.fold(f64::INFINITY, f64::min);
        found.push(IfChannel { if_hz: (if_hz[start], if_hz[end - 1]), worst_db });
        start = end;
    }
    CorrectionChannels::Holds(found)
}
