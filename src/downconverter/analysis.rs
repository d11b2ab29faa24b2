//! The whole analysis of a receiver.

use super::allocation::{Allocation, allocation};
use super::budget::{Budget, BudgetCase, BudgetRow, budget};
use super::drive::{LoPoint, lo_points, mixer_conductances};
use super::error::ReceiverError;
use super::frequency_plan::FrequencyPlan;
use super::iq_balance::{
    Combination, IqOutputs, PlanPoint, ReceiverBalance, favourable_combination,
};
use super::iq_correction::{CorrectionPlan, correction_plan};
use super::joined_path::JoinedPath;
use super::path_noise::{NoisePathResult, noise_paths};
use super::receiver::Receiver;
use super::receiver_compliance::compliance;
use super::reflection_sweep::{LoadReflectionSweep, load_reflection_sweeps};
use super::signal_path::LoRf;
use super::solution::{Evaluation, Voltages, check_channels, correction_points, iq_outputs};
use crate::network::Network;
use crate::requirement::{Compliance, Quantity};
use crate::units::ShownFrequency;
use num_complex::Complex64;

/// The worst, the median and the sense of rotation over a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReceiverSummary {
    /// The point of worst rejection.
    pub worst: PlanPoint,
    /// The median over the points of the plan, dB.
    pub median_image_rejection_db: f64,
    /// The point of largest amplitude imbalance in the wanted sideband.
    pub worst_amplitude_imbalance: PlanPoint,
    /// The point of largest quadrature error in the wanted sideband.
    pub worst_quadrature_error: PlanPoint,
    /// The phase by which Q leads I at the outputs, in the wanted sideband at the centre of the LO grid
    /// and the first IF, degrees.
    pub q_leads_i_deg: f64,
    /// Points at which the wanted sideband is not the stronger one.
    pub reversed_points: usize,
}

/// Everything that is known of a receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct DownconverterResult {
    /// The combination of I and Q.
    pub combination: String,
    /// Whether the combination was chosen from several.
    pub is_chosen: bool,
    /// The LO path at each LO.
    pub lo: Vec<LoPoint>,
    /// For each LO, each IF.
    pub points: Vec<PlanPoint>,
    /// Worst and median over the points.
    pub summary: ReceiverSummary,
    /// The contribution of each part; `None` where the receiver with ideal parts has no balance.
    pub budget: Option<Budget>,
    /// The rejection with load reflections of all phases.
    pub load_reflection_sweeps: Vec<LoadReflectionSweep>,
    /// What corrections of Q can do.
    pub correction: CorrectionPlan,
    /// The error that each contributor may have, if a rejection is required.
    pub allocation: Option<Allocation>,
    /// Loss and noise figure of the RF path to each mixer.
    pub noise: Vec<NoisePathResult>,
    /// Bands and harmonics.
    pub frequency_plan: FrequencyPlan,
    /// How far the limits are kept.
    pub compliance: Compliance,
    /// Findings that the user should check.
    pub warnings: Vec<String>,
}

/// Rejections below this are 0 within rounding.
const MIN_REJECTION_DB: f64 = 1e-6;
/// Gains in rejection below this are no reason to improve a part.
const MIN_GAIN_DB: f64 = 0.01;

impl DownconverterResult {
    /// The contributor with most to gain at the point of worst rejection if it were ideal; `None`
    /// where none gains anything.
    #[must_use]
    pub fn fix_first(&self) -> Option<&BudgetRow> {
        let first = self.budget.as_ref()?.rows.first()?;
        let gained = first.if_ideal_db? - self.summary.worst.balance.image_rejection_db;
        (gained > MIN_GAIN_DB).then_some(first)
    }
}

/// Solves a receiver over its plan.
///
/// # Errors
/// [`ReceiverError`] for a loop without a finite answer, for a channel that gives nothing, and for
/// parts whose networks cannot be joined.
///
/// # Examples
/// ```
/// use fourphase::description::read_receiver;
/// use fourphase::downconverter::analyse_receiver;
/// use fourphase::touchstone::ReadOptions;
///
/// let read = read_receiver("data-demo/receiver.toml".as_ref(), &ReadOptions::default())?;
/// let result = analyse_receiver(&read.receiver)?;
/// assert!(result.summary.worst.balance.image_rejection_db > 20.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn analyse_receiver(receiver: &Receiver) -> Result<DownconverterResult, ReceiverError> {
    let mut warnings = Vec::new();
    let solved = Solved::new(receiver)?;
    let plan = receiver.plan();
    let ifs = plan.if_hz().len();
    let evaluation = Evaluation::real(receiver, solved.chosen);
    let points = solved.points(receiver);
    let worst = index_of_worst(&points, |balance| -balance.image_rejection_db);
    let case = BudgetCase {
        paths: LoRf { lo: &solved.paths.lo, rf: &solved.paths.rf },
        reduced: LoRf { lo: &solved.reduced.lo, rf: &solved.reduced.rf },
        voltages: solved.voltages(),
        choice: solved.chosen,
        total: points[worst].balance.channel_error,
        worst,
    };
    let budget = budget(receiver, &case, &mut warnings)?;
    let required_db = receiver.limits().on(Quantity::ImageRejection);
    let (lo, reduced_lo) = (&solved.paths.lo, &solved.reduced.lo);
    let allocation = match (&budget, required_db) {
        (Some(budget), Some(required_db)) => {
            Some(allocation(receiver, budget, required_db, lo, reduced_lo, worst / ifs)?)
        }
        _ => None,
    };
    let terminations = lo.terminations(receiver);
    let conductances = mixer_conductances(receiver, lo, &lo.blocks, reduced_lo, &terminations)?;
    let lo_points = lo_points(receiver, solved.voltages(), &conductances);
    let summary = summary(receiver, &points, worst, &solved.outputs[plan.centre() * ifs]);
    warnings.extend(reversed_warning(receiver, &summary, points.len()));
    let correction = correction_plan(
        &correction_points(receiver, &solved.outputs, &evaluation),
        plan,
        receiver.correction_steps(),
        required_db,
    );
    let sweeps = load_reflection_sweeps(receiver, lo, reduced_lo, solved.voltages(), &evaluation)?;
    Ok(DownconverterResult {
        combination: receiver.output().choices[solved.chosen].name.clone(),
        is_chosen: receiver.output().choices.len() > 1,
        load_reflection_sweeps: sweeps,
        noise: noise_paths(receiver, &solved.paths.rf, &solved.reduced.rf, &solved.mixers.rf)?,
        frequency_plan: plan.frequency_plan(),
        compliance: compliance(receiver, &lo_points, &points),
        lo: lo_points,
        points,
        summary,
        budget,
        correction,
        allocation,
        warnings,
    })
}

/// Where the wanted sideband is not the stronger one.
fn reversed_warning(
    receiver: &Receiver,
    summary: &ReceiverSummary,
    points: usize,
) -> Option<String> {
    (summary.reversed_points > 0).then(|| {
        format!(
            "at {} of {points} points the {} sideband, which is wanted, is not the stronger one; \
             the worst is LO {}, IF {}",
            summary.reversed_points,
            receiver.plan().wanted(),
            ShownFrequency(summary.worst.lo_hz),
            ShownFrequency(summary.worst.if_hz),
        )
    })
}

/// Rejection and errors over the plan and nothing else: for each LO, each IF. A small part of the
/// work of [`analyse_receiver`], for those who solve many receivers.
///
/// # Errors
/// As [`analyse_receiver`].
pub fn plan_points(receiver: &Receiver) -> Result<Vec<PlanPoint>, ReceiverError> {
    Ok(Solved::new(receiver)?.points(receiver))
}

/// Both paths solved, and the combination chosen.
pub(super) struct Solved {
    paths: LoRf<JoinedPath>,
    reduced: LoRf<Network>,
    /// Volts at the mixers per square root of a watt.
    pub(super) mixers: LoRf<Vec<Complex64>>,
    outputs: Vec<IqOutputs>,
    pub(super) chosen: usize,
}

impl Solved {
    pub(super) fn new(receiver: &Receiver) -> Result<Self, ReceiverError> {
        let paths = LoRf::try_of_each(|path| JoinedPath::new(receiver, path))?;
        let reduced = LoRf::try_of_each(|path| {
            let own = paths.get(path);
            own.reduce(receiver, &own.blocks)
        })?;
        let mixers = LoRf::try_of_each(|path| {
            let own = paths.get(path);
            own.voltages(receiver, reduced.get(path), &own.terminations(receiver))
        })?;
        let outputs = iq_outputs(receiver, Voltages { lo: &mixers.lo, rf: &mixers.rf }, true);
        check_channels(receiver, &outputs)?;
        let centre = receiver.plan().centre() * receiver.plan().if_hz().len();
        let chosen = choose(receiver, &outputs[centre])?;
        Ok(Self { paths, reduced, mixers, outputs, chosen })
    }

    fn voltages(&self) -> Voltages<'_> {
        Voltages { lo: &self.mixers.lo, rf: &self.mixers.rf }
    }

    fn points(&self, receiver: &Receiver) -> Vec<PlanPoint> {
        points_of(receiver, &self.outputs, self.chosen)
    }
}

/// The balance at every point, with its frequencies.
pub(super) fn points_of(
    receiver: &Receiver,
    outputs: &[IqOutputs],
    chosen: usize,
) -> Vec<PlanPoint> {
    let plan = receiver.plan();
    let ifs = plan.if_hz().len();
    let evaluation = Evaluation::real(receiver, chosen);
    let point = |(at, outputs): (usize, &IqOutputs)| PlanPoint {
        lo_hz: plan.lo_hz()[at / ifs],
        if_hz: plan.if_hz()[at % ifs],
        balance: evaluation.balance(receiver, at, outputs),
    };
    outputs.iter().enumerate().map(point).collect()
}

/// The way to combine I and Q over the whole plan: the better one at its centre.
fn choose(receiver: &Receiver, centre: &IqOutputs) -> Result<usize, ReceiverError> {
    let output = receiver.output();
    let combination =
        |transfer: Combination| Combination { i: transfer.i, q: transfer.q * output.correction };
    let choices: Vec<Combination> =
        output.choices.iter().map(|choice| combination(choice.transfers[0])).collect();
    let expected = receiver.plan().if_hz().len();
    favourable_combination(centre, receiver.plan().wanted(), &choices)
        .ok_or(ReceiverError::Transfers { expected, found: 0 })
}

fn index_of_worst(points: &[PlanPoint], badness: impl Fn(&ReceiverBalance) -> f64) -> usize {
    let mut found = 0;
    for (at, point) in points.iter().enumerate() {
        if badness(&point.balance) > badness(&points[found].balance) {
            found = at;
        }
    }
    found
}

fn summary(
    receiver: &Receiver,
    points: &[PlanPoint],
    worst: usize,
    centre: &IqOutputs,
) -> ReceiverSummary {
    let mut rejections: Vec<f64> =
        points.iter().map(|point| point.balance.image_rejection_db).collect();
    rejections.sort_by(f64::total_cmp);
    let half = rejections.len() / 2;
    let median = if rejections.len().is_multiple_of(2) {
        0.5 * (rejections[half - 1] + rejections[half])
    } else {
        rejections[half]
    };
    let pair = centre.of_sideband(receiver.plan().wanted());
    let q_over_i = pair.q / pair.i * receiver.output().path_ratio;
    let worst_by = |badness: fn(&ReceiverBalance) -> f64| points[index_of_worst(points, badness)];
    ReceiverSummary {
        worst: points[worst],
        median_image_rejection_db: median,
        worst_amplitude_imbalance: worst_by(|balance| balance.wanted().amplitude_db.abs()),
        worst_quadrature_error: worst_by(|balance| balance.wanted().phase_deg.abs()),
        q_leads_i_deg: q_over_i.arg().to_degrees(),
        reversed_points: rejections.iter().filter(|db| **db < MIN_REJECTION_DB).count(),
    }
}
