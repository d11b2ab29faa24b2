//! Uncertainty of a receiver whose parts have uncertain S-parameters.
//!
//! Two routes: the linear law of propagation for channel error, imbalance and quadrature error at each
//! point, for the budget, and for the contribution of each source; and trials (JCGM 101:2008) for the
//! rejection, for the worst of everything over the plan, and for the decision.

use super::advice::{Advice, UndecidedRejection};
use super::assessment::Assessment;
use super::channel_error::ChannelErrorDistribution;
use super::conformity::{DecidedRequirement, DecisionSettings};
use super::contribution::Contribution;
use super::error::MeasurementError;
use super::error_covariance::PlanCovariance;
use super::monte_carlo::{Spread, Trial, TrialSettings, Trials, run_trials};
use super::receiver_linear::{BudgetUncertainty, covariances};
use super::receiver_propagation::{UncertainPart, UncertainReceiver};
use crate::downconverter::{DownconverterResult, PlanPoint, Receiver, ReceiverError};
use crate::requirement::{Limit, Quantity, RequirementResult, Verdict};
use crate::units::db_from_neper;
use rayon::prelude::*;

/// Uncertainty of one point of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointUncertainty {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// Of the rejection, by trials, dB. Its upper end is that of the highest true rejection, see
    /// [`ChannelErrorDistribution::highest_truth_db`], where that is higher: infinite where the point
    /// may be perfect.
    pub rejection: Spread,
    /// Of the channel error, linear.
    pub channel_error: ChannelErrorDistribution,
    /// Of the imbalance in the wanted sideband, linear, dB.
    pub u_imbalance_db: f64,
    /// Of the quadrature error in the wanted sideband, linear, degrees.
    pub u_quadrature_deg: f64,
}

/// Uncertainty of a receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceiverUncertainty {
    /// Trials and decisions.
    pub assessment: Assessment,
    /// Each point of the plan.
    pub points: Vec<PointUncertainty>,
    /// The worst rejection over the plan, dB.
    pub worst_rejection: Spread,
    /// The largest imbalance over the plan, either way, dB.
    pub largest_imbalance: Spread,
    /// The largest quadrature error over the plan, either way, degrees.
    pub largest_quadrature: Spread,
    /// The minimum LO power over the plan, dBm, where the receiver limits it.
    pub least_power: Option<Spread>,
    /// Largest first.
    pub contributions: Vec<Contribution>,
    /// In the order of the budget; empty without one.
    pub budget: Vec<BudgetUncertainty>,
    /// Where the rejection is undecided.
    pub advice: Option<Advice>,
}

/// Propagates the uncertainty of a receiver's parts; `result` is its analysis.
///
/// # Errors
/// [`MeasurementError::OtherResult`] for the analysis of another receiver, and
/// [`MeasurementError::Receiver`] where the receiver cannot be solved with parts that deviate.
pub fn receiver_uncertainty(
    receiver: &Receiver,
    result: &DownconverterResult,
    parts: &[UncertainPart],
    trial_settings: &TrialSettings,
    decisions: &DecisionSettings,
) -> Result<ReceiverUncertainty, MeasurementError> {
    let uncertain = UncertainReceiver::new(receiver, parts)?;
    let worst = worst_place(receiver, result)?;
    let effects = uncertain.effects()?;
    let linear = covariances(&effects, result.points.len());
    let contributions = uncertain.contributions(&effects, &result.points, worst, &linear[worst]);
    let requirements = &result.compliance.requirements;
    let outputs = Outputs { has_power: receiver.limits().on(Quantity::LoPower).is_some() };
    let trials = outputs.run(&uncertain, trial_settings, requirements, result.points.len())?;
    let points = outputs.points(&trials, result, &linear, trial_settings.coverage());
    let decided: Vec<DecidedRequirement> = requirements
        .iter()
        .zip(&trials.shares)
        .map(|(requirement, share)| decisions.decide(requirement.limit, requirement.worst, *share))
        .collect();
    // The requirement on the rejection, its decision, and the share of the trials that met it.
    let rejection = requirements
        .iter()
        .zip(decided.iter().zip(&trials.shares))
        .find(|(requirement, _)| requirement.limit.quantity() == Quantity::ImageRejection);
    let advice = rejection
        .filter(|(_, (decided, _))| decided.decision == Verdict::Undecided)
        .and_then(|(requirement, (_, share))| {
            let undecided = UndecidedRejection {
                error: points[worst].channel_error,
                limit_db: requirement.limit.value() - result.summary.worst.balance.sideband_gain_db,
                probability: *share,
                conformity: decisions.conformity(),
            };
            undecided.advice(&contributions)
        });
    let required_db =
        rejection.map(|(requirement, (decided, _))| (requirement.limit.value(), decided.rule));
    let lowest_high = points.iter().map(|point| point.rejection.high).fold(f64::INFINITY, f64::min);
    let error = points[worst].channel_error;
    let budget = match &result.budget {
        Some(budget) => uncertain.budget(budget, worst)?,
        None => Vec::new(),
    };
    Ok(ReceiverUncertainty {
        assessment: Assessment::new(&trials, trial_settings, &error, decided, required_db),
        // The worst over the plan is no better in truth than any point.
        worst_rejection: trials.outputs[REJECTION].raised_to(lowest_high),
        largest_imbalance: trials.outputs[IMBALANCE],
        largest_quadrature: trials.outputs[QUADRATURE],
        least_power: outputs.has_power.then(|| trials.outputs[POWER]),
        points,
        contributions,
        budget,
        advice,
    })
}

/// Uncertainty of each point of a receiver's plan, by the linear law alone: what many dies of one
/// receiver have in common.
///
/// # Errors
/// [`MeasurementError::Receiver`] where the receiver cannot be solved with parts that deviate.
pub fn plan_covariances(
    receiver: &Receiver,
    parts: &[UncertainPart],
) -> Result<Vec<PlanCovariance>, MeasurementError> {
    let uncertain = UncertainReceiver::new(receiver, parts)?;
    Ok(covariances(&uncertain.effects()?, uncertain.nominal_points()?.len()))
}

/// Where in the plan the rejection is worst.
fn worst_place(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<usize, MeasurementError> {
    let points = receiver.plan().lo_hz().len() * receiver.plan().if_hz().len();
    let worst = result.points.iter().position(|point| *point == result.summary.worst);
    worst
        .filter(|_| result.points.len() == points)
        .ok_or(MeasurementError::OtherResult { points, found: result.points.len() })
}

/// The worst of everything over a plan, without signs.
struct Extremes {
    rejection_db: f64,
    imbalance_db: f64,
    quadrature_deg: f64,
}

impl Extremes {
    fn of(points: &[PlanPoint]) -> Self {
        let mut worst =
            Self { rejection_db: f64::INFINITY, imbalance_db: 0.0, quadrature_deg: 0.0 };
        for point in points {
            let wanted = point.balance.wanted();
            worst.rejection_db = worst.rejection_db.min(point.balance.image_rejection_db);
            worst.imbalance_db = worst.imbalance_db.max(wanted.amplitude_db.abs());
            worst.quadrature_deg = worst.quadrature_deg.max(wanted.phase_deg.abs());
        }
        worst
    }

    /// Whether a limit is kept; `power_dbm` is the minimum LO power where it is limited.
    fn keep(&self, limit: Limit, power_dbm: Option<f64>) -> bool {
        let worst = match limit.quantity() {
            Quantity::ImageRejection => Some(self.rejection_db),
            Quantity::AmplitudeImbalance => Some(self.imbalance_db),
            Quantity::QuadratureError => Some(self.quadrature_deg),
            Quantity::LoPower => power_dbm,
            Quantity::CommonModeRejection | Quantity::PhaseError => None,
        };
        worst.is_some_and(|worst| limit.is_kept_by(worst))
    }
}

// The outputs of a trial, in this order; the rejections of all points come last.
const REJECTION: usize = 0;
const IMBALANCE: usize = 1;
const QUADRATURE: usize = 2;
const POWER: usize = 3;

/// What a trial gives out.
struct Outputs {
    /// Whether the minimum LO power is among them.
    has_power: bool,
}

impl Outputs {
    /// Where the rejections of the points begin.
    fn first_point(&self) -> usize {
        if self.has_power { POWER + 1 } else { POWER }
    }

    fn run(
        &self,
        uncertain: &UncertainReceiver<'_>,
        settings: &TrialSettings,
        requirements: &[RequirementResult],
        points: usize,
    ) -> Result<Trials, ReceiverError> {
        run_trials(settings, self.first_point() + points, |random| {
            let varied = uncertain.solve(&uncertain.drawn(random)?)?;
            let points = uncertain.variation.points(&varied)?;
            let extremes = Extremes::of(&points);
            // Without any LO power its level is minus infinity.
            let power = if self.has_power {
                let least = uncertain.variation.min_lo_power(&varied)?;
                Some(least.map_or(f64::NEG_INFINITY, |drive| drive.power_dbm))
            } else {
                None
            };
            #[expect(clippy::cast_possible_truncation, reason = "kept in single precision")]
            let outputs = [extremes.rejection_db, extremes.imbalance_db, extremes.quadrature_deg]
                .into_iter()
                .chain(power)
                .chain(points.iter().map(|point| point.balance.image_rejection_db))
                .map(|value| value as f32)
                .collect();
            let held = requirements.iter().map(|one| extremes.keep(one.limit, power)).collect();
            Ok(Trial { outputs, held })
        })
    }

    fn points(
        &self,
        trials: &Trials,
        result: &DownconverterResult,
        linear: &[PlanCovariance],
        coverage: f64,
    ) -> Vec<PointUncertainty> {
        let rejections = &trials.outputs[self.first_point()..];
        let points = result.points.par_iter().zip(linear).zip(rejections);
        points
            .map(|((point, linear), rejection)| {
                let channel_error =
                    ChannelErrorDistribution::of_solved(point.balance.channel_error, linear.image);
                let highest_db =
                    channel_error.highest_truth_db(coverage) + point.balance.sideband_gain_db;
                PointUncertainty {
                    lo_hz: point.lo_hz,
                    if_hz: point.if_hz,
                    rejection: rejection.raised_to(highest_db),
                    channel_error,
                    u_imbalance_db: db_from_neper(linear.wanted.amplitude_variance().sqrt()),
                    u_quadrature_deg: linear.wanted.phase_variance().sqrt().to_degrees(),
                }
            })
            .collect()
    }
}
