//! The complete analysis of a receiver.

use super::allocation::{Allocation, allocation};
use super::budget::{Budget, BudgetReceiver, BudgetRow, budget};
use super::correction_plan::{CorrectionPlan, correction_plan};
use super::drive::{LoPoint, lo_points, mixer_conductances, set_rf_voltages};
use super::error::Result;
use super::frequency_plan::FrequencyPlan;
use super::iq_balance::{Element, IqOutputs, PlanPoint, ReceiverBalance};
use super::joined_path::JoinedPath;
use super::lo_chain_analysis::lo_chain_result;
use super::lo_chain_result::LoChainResult;
use super::mixer_agreement::agreement_warnings;
use super::path_noise::{NoisePathResult, noise_paths};
use super::placed_splitters::check_port_orders;
use super::receiver::Receiver;
use super::receiver_compliance::compliance;
use super::reflection_sweep::{LoadReflectionSweep, load_reflection_sweeps};
use super::signal_path::{LoRf, ReceiverPath};
use super::solution::{Evaluation, Solved, Voltages, elements_at};
use super::switched_result::{SwitchingResult, switching_result};
use super::switched_warnings::switching_warnings;
use crate::quantile::median;
use crate::requirement::{Compliance, Quantity};
use crate::units::ShownFrequency;
use rayon::prelude::*;

/// Worst values, median and sense of rotation over a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReceiverSummary {
    /// The point of worst rejection.
    pub worst: PlanPoint,
    /// The median over the points of the plan, dB.
    pub median_image_rejection_db: f64,
    /// The point of maximum amplitude imbalance in the wanted sideband.
    pub worst_amplitude_imbalance: PlanPoint,
    /// The point of maximum quadrature error in the wanted sideband.
    pub worst_quadrature_error: PlanPoint,
    /// The phase by which Q leads I at the outputs, in the wanted sideband at the centre of the LO grid
    /// and its first IF, degrees.
    pub q_leads_i_deg: f64,
    /// Points at which the wanted sideband is not the stronger one.
    pub reversed_points: usize,
}

/// The complete result of a receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct DownconverterResult {
    /// The combination of I and Q.
    pub combination: String,
    /// Whether the combination was chosen from several.
    pub is_chosen: bool,
    /// The LO path at each LO.
    pub lo: Vec<LoPoint>,
    /// The LO chain; `None` for a receiver without stages.
    pub lo_chain: Option<LoChainResult>,
    /// In the order of the plan: for each LO, each of its IFs.
    pub points: Vec<PlanPoint>,
    /// Worst values and median over the points.
    pub summary: ReceiverSummary,
    /// The contribution of each part; `None` where the receiver with ideal parts has no balance.
    pub budget: Option<Budget>,
    /// The rejection with load reflections of all phases.
    pub load_reflection_sweeps: Vec<LoadReflectionSweep>,
    /// The effect of corrections of Q.
    pub correction: CorrectionPlan,
    /// The allowance of each contributor, if a rejection is required.
    pub allocation: Option<Allocation>,
    /// Loss and noise figure of the RF path to each mixer.
    pub noise: Vec<NoisePathResult>,
    /// Bands and harmonics of the frequency plan.
    pub frequency_plan: FrequencyPlan,
    /// Compliance with the limits.
    pub compliance: Compliance,
    /// Conversion loss, noise figure and leakage of switched mixers; `None` for multipliers.
    pub switching: Option<SwitchingResult>,
    /// Findings that the user should check.
    pub warnings: Vec<String>,
}

/// Rejections below this are 0 within rounding.
const MIN_REJECTION_DB: f64 = 1e-6;
/// Rejections above this are rounding.
const ROUNDING_DB: f64 = 200.0;
/// Rejections are reported to a tenth of a decibel; a smaller improvement is no reason to improve a
/// part.
const MIN_GAIN_DB: f64 = 0.1;

impl DownconverterResult {
    /// The contributor whose ideal state improves the point of worst rejection most, among those
    /// that also improve the worst over the plan; `None` if no improvement is above the resolution
    /// of the report.
    pub fn fix_first(&self) -> Option<&BudgetRow> {
        // A sideband that is not the stronger one is a contradiction, not an error of a part.
        if self.summary.reversed_points > 0 {
            return None;
        }
        let rows = &self.budget.as_ref()?.rows;
        rows.iter().find(|row| self.is_worth_fixing(row))
    }

    /// The load or source of the budget's list whose ideal state improves the rejection most, by
    /// the same rule.
    pub fn fix_first_load(&self) -> Option<&BudgetRow> {
        let loads = &self.budget.as_ref()?.loads;
        loads.iter().find(|row| self.is_worth_fixing(row))
    }

    fn is_worth_fixing(&self, row: &BudgetRow) -> bool {
        let present_db = self.summary.worst.balance.image_rejection_db;
        let gains = |if_ideal_db: Option<f64>| {
            if_ideal_db.is_some_and(|db| db.min(ROUNDING_DB) - present_db >= MIN_GAIN_DB)
        };
        gains(row.if_ideal_db) && gains(row.plan_if_ideal_db)
    }
}

/// Solves a receiver over its plan.
///
/// # Errors
/// [`ReceiverError`](super::ReceiverError) for a singular loop, for a channel without output, and
/// for parts whose networks cannot be joined.
///
/// # Examples
/// ```
/// use fourphase::description::read_receiver;
/// use fourphase::downconverter::analyse_receiver;
/// use fourphase::touchstone::ReadOptions;
///
/// let read = read_receiver("data-demo/receiver.toml".as_ref(), &ReadOptions::default())?;
/// let result = analyse_receiver(&read.receiver)?;
/// assert!((result.summary.worst.balance.image_rejection_db - 25.32).abs() < 0.01);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn analyse_receiver(receiver: &Receiver) -> Result<DownconverterResult> {
    let mut warnings = Vec::new();
    let solved = Solved::with_switches(receiver)?;
    let (plan, output) = (receiver.plan(), receiver.output());
    let points = solved.points(receiver)?;
    let worst = index_of_worst(&points, |balance| -balance.image_rejection_db);
    let compared = switched_points(receiver, &solved, &points, worst)?;
    let own = BudgetReceiver { receiver, solved: &solved };
    let budget = compared_budget(&own, &points, worst, &compared, &mut warnings)?;
    warnings.extend(check_port_orders(receiver, &solved.paths.lo.path)?);
    if receiver.switching().is_some() {
        // Their RF path has all sidebands.
        let rf = JoinedPath::new(receiver, ReceiverPath::Rf)?;
        warnings.extend(check_port_orders(receiver, &rf)?);
    } else {
        warnings.extend(check_port_orders(receiver, &solved.paths.rf.path)?);
    }
    let required_db = receiver.limits().on(Quantity::ImageRejection);
    let allocation = match (&budget, required_db) {
        (Some(budget), Some(required_db)) => Some(allocation(
            receiver,
            budget,
            required_db,
            &solved.paths.lo,
            plan.points()[worst].lo,
        )?),
        _ => None,
    };
    let voltages = Voltages::of(&solved.paths);
    let switching = switching_result(receiver, voltages, &solved.switched, solved.chosen)?;
    let conductances = mixer_conductances(receiver, &solved.paths.lo)?;
    let mut lo = lo_points(receiver, Voltages::of(&solved.paths), &conductances);
    if let Some(switching) = &switching {
        set_rf_voltages(&mut lo, switching, plan);
        warnings.extend(switching_warnings(receiver, switching));
    }
    let lo_chain = lo_chain_result(receiver, &solved, &conductances, &mut warnings)?;
    let centre = plan.centre_point();
    let summary = summary(receiver, &points, worst, &solved.outputs[centre]);
    // Switched mixers have no RF voltages of their own.
    if switching.is_none() {
        warnings.extend(disagreement(receiver, &solved, summary.q_leads_i_deg));
    }
    warnings.extend(reversed_warning(receiver, &summary, points.len()));
    warnings.extend(lo_power_warning(receiver, &lo));
    let evaluation = Evaluation::real(receiver, solved.chosen);
    let correction = correction_plan(
        receiver,
        &solved.outputs,
        &evaluation,
        output.choices[solved.chosen].numeric_turn(),
        required_db,
    )?;
    warnings.extend(correction_warning(&correction));
    Ok(DownconverterResult {
        combination: output.choices[solved.chosen].name.clone(),
        is_chosen: output.choices.len() > 1,
        load_reflection_sweeps: match compared.first() {
            Some((one, solved)) => load_reflection_sweeps(one, solved, &Evaluation::real(one, 0))?,
            None => load_reflection_sweeps(receiver, &solved, &evaluation)?,
        },
        noise: match switching {
            // The noise of switched mixers is that of the whole, not of the path before them.
            Some(_) => Vec::new(),
            None => noise_paths(receiver, &solved.paths.rf)?,
        },
        frequency_plan: plan.frequency_plan(),
        compliance: compliance(receiver, &lo, &points, switching.as_ref(), lo_chain.as_ref())?,
        correction,
        lo,
        lo_chain,
        points,
        summary,
        budget,
        allocation,
        switching,
        warnings,
    })
}

/// The budget over the plan of multipliers, or over the points at which switched mixers are compared.
fn compared_budget(
    own: &BudgetReceiver<'_>,
    points: &[PlanPoint],
    worst: usize,
    compared: &[(Receiver, Solved)],
    warnings: &mut Vec<String>,
) -> Result<Option<Budget>> {
    let compared = compared.iter().map(|(receiver, solved)| BudgetReceiver { receiver, solved });
    match compared.collect::<Vec<_>>().split_first() {
        Some((one, others)) => budget(one, &one.solved.points(one.receiver)?, 0, others, warnings),
        None => budget(own, points, worst, &[], warnings),
    }
}

/// A plan of switched mixers with so many points is compared as a whole.
const MOST_COMPARED: usize = 4;

/// The receiver at some points of its plan alone, each solved, for switched mixers: each case of them is a
/// solution over all sidebands, so that parts are compared there only. The first is that of the worst
/// rejection; then come the worst of the first, the centre and the last LO, or all others of a small plan.
/// None for multipliers.
fn switched_points(
    receiver: &Receiver,
    solved: &Solved,
    points: &[PlanPoint],
    worst: usize,
) -> Result<Vec<(Receiver, Solved)>> {
    if receiver.switching().is_none() {
        return Ok(Vec::new());
    }
    let plan = receiver.plan();
    let worst_of = |lo: usize| {
        let own = plan.points_of_lo(lo);
        own.start + index_of_worst(&points[own], |balance| -balance.image_rejection_db)
    };
    let others: Vec<usize> = match points.len() <= MOST_COMPARED {
        true => (0..points.len()).collect(),
        false => [0, plan.centre(), plan.lo_hz().len() - 1].map(worst_of).to_vec(),
    };
    let mut compared = vec![worst];
    for at in others {
        if !compared.contains(&at) {
            compared.push(at);
        }
    }
    let receiver = receiver.clone().for_comparisons();
    let one = |at: &usize| {
        let one = receiver.at(*at, solved.chosen)?;
        let solved = Solved::new(&one)?;
        Ok((one, solved))
    };
    compared.par_iter().map(one).collect()
}

/// Warnings of mixers that work against each other at the centre of the plan.
fn disagreement(receiver: &Receiver, solved: &Solved, q_leads_i_deg: f64) -> Vec<String> {
    let plan = receiver.plan();
    let centre = &plan.points()[plan.centre_point()];
    let elements: Vec<Element> =
        elements_at(receiver, Voltages::of(&solved.paths), true, centre).collect();
    let both = LoRf { lo: &solved.paths.lo.path, rf: &solved.paths.rf.path };
    agreement_warnings(receiver, both, &elements, q_leads_i_deg)
}

/// A warning where the given correction does harm.
fn correction_warning(correction: &CorrectionPlan) -> Option<String> {
    /// Less may be the price for points that are not in this plan (ours).
    const HARM_DB: f64 = 0.5;
    (correction.present_db < correction.uncorrected_db - HARM_DB).then(|| {
        format!(
            "the given correction ({:+.2} dB, {:+.2} deg) lowers the worst rejection from {:.1} to \
             {:.1} dB: check its signs and units; the best single one is {:+.2} dB, {:+.2} deg",
            correction.present.amplitude_db(),
            correction.present.phase_deg(),
            correction.uncorrected_db,
            correction.present_db,
            correction.single.amplitude_db,
            correction.single.phase_deg
        )
    })
}

/// A warning where the wanted sideband is not the stronger one.
fn reversed_warning(
    receiver: &Receiver,
    summary: &ReceiverSummary,
    points: usize,
) -> Option<String> {
    // A choice of combinations would have taken the better one.
    let is_reversed = summary.reversed_points == points && receiver.output().choices.len() == 1;
    let exchanged = if is_reversed {
        "; are I and Q exchanged, or the sign in combine or the wanted sideband? combine = \"auto\" \
         takes the better sign"
    } else {
        ""
    };
    (summary.reversed_points > 0).then(|| {
        format!(
            "at {} of {points} points the {} sideband, which is wanted, is not the stronger one; \
             the worst is LO {}, IF {}{exchanged}",
            summary.reversed_points,
            receiver.plan().wanted(),
            ShownFrequency(summary.worst.lo_hz),
            ShownFrequency(summary.worst.if_hz),
        )
    })
}

/// A warning where an LO power without a limit has no level.
fn lo_power_warning(receiver: &Receiver, lo: &[LoPoint]) -> Option<String> {
    let mut undefined = lo.iter().flat_map(|point| {
        let mixers = receiver.mixers().iter().zip(&point.mixers);
        mixers.filter_map(|(mixer, drive)| {
            Some((point.lo_hz, &mixer.name, drive.lo_power_dbm?.known().err()?))
        })
    });
    let (lo_hz, mixer, reason) = undefined.next()?;
    let others = match undefined.count() {
        0 => String::new(),
        others => format!("; likewise in {others} other places"),
    };
    let lo = ShownFrequency(lo_hz);
    Some(format!("no LO power at mixer '{mixer}' at LO {lo}: {reason}{others}"))
}

/// Rejection and errors over the plan and nothing else, in its order. A small part of the
/// work of [`analyse_receiver`], for those who solve many receivers.
///
/// # Errors
/// As [`analyse_receiver`].
pub fn plan_points(receiver: &Receiver) -> Result<Vec<PlanPoint>> {
    Solved::new(receiver)?.points(receiver)
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
    let rejections: Vec<f64> =
        points.iter().map(|point| point.balance.image_rejection_db).collect();
    let pair = centre.of_sideband(receiver.plan().wanted());
    let plan = receiver.plan();
    let intermediate = plan.points()[plan.centre_point()].intermediate;
    let q_over_i = pair.q / pair.i * receiver.output().path_ratio(intermediate);
    let worst_by = |badness: fn(&ReceiverBalance) -> f64| points[index_of_worst(points, badness)];
    ReceiverSummary {
        worst: points[worst],
        worst_amplitude_imbalance: worst_by(|balance| balance.wanted().amplitude_db.abs()),
        worst_quadrature_error: worst_by(|balance| balance.wanted().phase_deg.abs()),
        q_leads_i_deg: q_over_i.arg().to_degrees(),
        reversed_points: rejections.iter().filter(|db| **db < MIN_REJECTION_DB).count(),
        // A plan has at least one point.
        median_image_rejection_db: median(rejections).unwrap_or(f64::NAN),
    }
}
