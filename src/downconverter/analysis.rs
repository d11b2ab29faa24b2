//! The whole answer for a receiver.

use super::allocation::{Allocation, allocation};
use super::budget::{Budget, BudgetCase, BudgetRow, budget};
use super::drive::{LoPoint, element_conductances, lo_points};
use super::error::ReceiverError;
use super::frequency_plan::{FrequencyPlan, receiver_frequency_plan};
use super::iq_balance::{
    Combination, IqOutputs, PlanPoint, ReceiverBalance, favourable_combination, receiver_balance,
};
use super::load_ring::{LoadRing, load_rings};
use super::path_noise::{NoisePathResult, noise_paths};
use super::receiver::{Receiver, Way};
use super::receiver_compliance::compliance;
use super::side::Side;
use super::solution::{
    Evaluation, Voltages, check_channels, combination, correction_points, iq_outputs,
};
use super::trim::{CorrectionPlan, correction_plan};
use crate::network::{Network, NetworkError};
use crate::requirement::{Compliance, Quantity};
use crate::units::ShownFrequency;

/// What the plan comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReceiverSummary {
    /// The point of worst rejection.
    pub worst: PlanPoint,
    /// Half of the points have less, dB.
    pub median_image_rejection_db: f64,
    /// The point of largest amplitude imbalance in the wanted sideband.
    pub worst_amplitude_imbalance: PlanPoint,
    /// The point of largest quadrature error in the wanted sideband.
    pub worst_quadrature_error: PlanPoint,
    /// By how much Q leads I at the outputs, in the wanted sideband at the centre of the LO grid
    /// and the first IF, degrees.
    pub q_leads_i_deg: f64,
    /// Points at which the wanted sideband is not the stronger one.
    pub reversed_points: usize,
}

/// The whole answer.
#[derive(Clone, Debug, PartialEq)]
pub struct DownconverterResult {
    /// How I and Q are put together.
    pub combination: String,
    /// Whether that was chosen here.
    pub is_chosen: bool,
    /// The LO side at each LO.
    pub lo: Vec<LoPoint>,
    /// For each LO, each IF.
    pub points: Vec<PlanPoint>,
    /// What it comes to.
    pub summary: ReceiverSummary,
    /// Which part spoils it.
    pub budget: Option<Budget>,
    /// What loads of any angle do.
    pub load_rings: Vec<LoadRing>,
    /// What trims can do.
    pub correction: CorrectionPlan,
    /// What each may spoil, if a rejection is required.
    pub allocation: Option<Allocation>,
    /// Loss and noise of the ways to the elements.
    pub noise: Vec<NoisePathResult>,
    /// Bands and harmonics.
    pub frequency_plan: FrequencyPlan,
    /// How far the limits are kept.
    pub compliance: Compliance,
    /// What the user should know.
    pub warnings: Vec<String>,
}

/// Less than this is rounding of nothing at all.
const SMALLEST_REJECTION_DB: f64 = 1e-6;
/// Less than this is no reason to mend anything.
const SMALLEST_GAIN_DB: f64 = 0.01;

impl DownconverterResult {
    /// The contributor whose mending gains most at the point of worst rejection; `None` where none
    /// gains anything.
    #[must_use]
    pub fn fix_first(&self) -> Option<&BudgetRow> {
        let first = self.budget.as_ref()?.rows.first()?;
        let gained = first.if_ideal_db? - self.summary.worst.balance.image_rejection_db;
        (gained > SMALLEST_GAIN_DB).then_some(first)
    }
}

/// Solves a receiver over its plan.
///
/// # Errors
/// [`ReceiverError`] for a loop that rings, for a channel that gives nothing, and for parts whose
/// networks cannot be brought together.
///
/// # Examples
/// ```no_run
/// use fourphase::downconverter::{analyse_receiver, load_receiver};
/// use fourphase::touchstone::ReadOptions;
///
/// let loaded = load_receiver("data-demo/receiver.toml".as_ref(), &ReadOptions::default())?;
/// let result = analyse_receiver(&loaded.receiver)?;
/// println!("{:.1} dB", result.summary.worst.balance.image_rejection_db);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn analyse_receiver(receiver: &Receiver) -> Result<DownconverterResult, ReceiverError> {
    let mut warnings = Vec::new();
    let solved = Solved::new(receiver)?;
    let plan = &receiver.plan;
    let ifs = plan.if_hz.len();
    let evaluation = solved.evaluation(receiver);
    let points = solved.points(receiver);
    let worst = index_of_worst(&points, |balance| -balance.image_rejection_db);
    let case = BudgetCase {
        sides: [&solved.lo, &solved.rf],
        reduced: [&solved.reduced_lo, &solved.reduced_rf],
        voltages: &solved.voltages,
        choice: evaluation.choice,
        ideal_choice: &receiver.output.ideal_choices[solved.chosen],
        total: points[worst].balance.channel_error,
        worst,
    };
    let budget = budget(receiver, &case, &mut warnings)?;
    let required_db = receiver.limits.on(Quantity::ImageRejection);
    let (lo, reduced_lo) = (&solved.lo, &solved.reduced_lo);
    let allocation = match (&budget, required_db) {
        (Some(budget), Some(required_db)) => {
            Some(allocation(receiver, budget, required_db, lo, reduced_lo, worst / ifs)?)
        }
        _ => None,
    };
    let conductances = element_conductances(receiver, lo, reduced_lo, &lo.endings(receiver))?;
    let lo_side = lo_points(receiver, &solved.voltages, &conductances);
    let summary = summary(receiver, &points, worst, &solved.outputs[plan.centre() * ifs]);
    if summary.reversed_points > 0 {
        warnings.push(format!(
            "at {} of {} points the {} sideband, which is wanted, is not the stronger one; the \
             worst is LO {}, IF {}",
            summary.reversed_points,
            points.len(),
            plan.wanted,
            ShownFrequency(summary.worst.lo_hz),
            ShownFrequency(summary.worst.if_hz),
        ));
    }
    let correction = correction_plan(
        &correction_points(receiver, &solved.outputs, &evaluation),
        plan,
        receiver.trim_steps,
        required_db,
    );
    let ends = |list: &[f64]| (list[0], list[list.len() - 1]);
    Ok(DownconverterResult {
        combination: evaluation.choice.name.clone(),
        is_chosen: receiver.output.choices.len() > 1,
        load_rings: load_rings(receiver, lo, reduced_lo, &solved.voltages, &evaluation)?,
        noise: noise_paths(receiver, &solved.rf, &solved.reduced_rf, &solved.voltages)?,
        frequency_plan: receiver_frequency_plan(
            ends(&plan.lo_hz),
            ends(&plan.if_hz),
            plan.lo_multiplication,
            plan.lo_harmonic,
            plan.wanted,
        )
        // The description has checked every number that goes in.
        .map_err(|_| ReceiverError::Network(NetworkError::NoFrequencies))?,
        compliance: compliance(receiver, &lo_side, &points),
        lo: lo_side,
        points,
        summary,
        budget,
        correction,
        allocation,
        warnings,
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

/// Both ways solved, and the combination chosen.
pub(super) struct Solved {
    lo: Side,
    rf: Side,
    reduced_lo: Network,
    reduced_rf: Network,
    pub(super) voltages: Voltages,
    outputs: Vec<IqOutputs>,
    pub(super) chosen: usize,
}

impl Solved {
    pub(super) fn new(receiver: &Receiver) -> Result<Self, ReceiverError> {
        let lo = Side::new(receiver, Way::Lo)?;
        let rf = Side::new(receiver, Way::Rf)?;
        let reduced_lo = lo.reduce(receiver, &lo.blocks)?;
        let reduced_rf = rf.reduce(receiver, &rf.blocks)?;
        let voltages = Voltages {
            lo: lo.voltages(receiver, &reduced_lo, &lo.endings(receiver))?,
            rf: rf.voltages(receiver, &reduced_rf, &rf.endings(receiver))?,
        };
        let outputs = iq_outputs(receiver, &voltages, true);
        check_channels(receiver, &outputs)?;
        let centre = receiver.plan.centre() * receiver.plan.if_hz.len();
        let chosen = choose(receiver, &outputs[centre]);
        Ok(Self { lo, rf, reduced_lo, reduced_rf, voltages, outputs, chosen })
    }

    fn evaluation<'r>(&self, receiver: &'r Receiver) -> Evaluation<'r> {
        Evaluation {
            choice: &receiver.output.choices[self.chosen],
            correction: receiver.output.correction,
            has_real_gains: true,
        }
    }

    fn points(&self, receiver: &Receiver) -> Vec<PlanPoint> {
        points_of(receiver, &self.outputs, &self.evaluation(receiver))
    }
}

/// The balance at every point, with its frequencies.
pub(super) fn points_of(
    receiver: &Receiver,
    outputs: &[IqOutputs],
    evaluation: &Evaluation<'_>,
) -> Vec<PlanPoint> {
    let plan = &receiver.plan;
    let ifs = plan.if_hz.len();
    let point = |(at, outputs): (usize, &IqOutputs)| PlanPoint {
        lo_hz: plan.lo_hz[at / ifs],
        if_hz: plan.if_hz[at % ifs],
        balance: receiver_balance(outputs, &combination(evaluation, at % ifs), plan.wanted),
    };
    outputs.iter().enumerate().map(point).collect()
}

/// One way to put I and Q together for the whole plan: at its centre.
fn choose(receiver: &Receiver, centre: &IqOutputs) -> usize {
    let choices: Vec<Combination> = receiver
        .output
        .choices
        .iter()
        .map(|choice| Combination {
            i: choice.transfers[0].i,
            q: choice.transfers[0].q * receiver.output.correction,
        })
        .collect();
    favourable_combination(centre, receiver.plan.wanted, &choices)
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
    let pair = centre.of_sideband(receiver.plan.wanted);
    let q_over_i = pair.q / pair.i * receiver.output.path_ratio;
    ReceiverSummary {
        worst: points[worst],
        median_image_rejection_db: median,
        worst_amplitude_imbalance: points
            [index_of_worst(points, |balance| balance.wanted().0.abs())],
        worst_quadrature_error: points[index_of_worst(points, |balance| balance.wanted().1.abs())],
        q_leads_i_deg: q_over_i.arg().to_degrees(),
        reversed_points: rejections.iter().filter(|db| **db < SMALLEST_REJECTION_DB).count(),
    }
}
