//! Uncertainty of a receiver whose parts have uncertain S-parameters.
//!
//! There are two methods: the linear law of propagation for channel error, imbalance and quadrature
//! error at each point, for the budget, and for the contribution of each source; Monte Carlo trials
//! (JCGM 101:2008) for the rejection, for the worst values over the plan, and for the decision.

use super::advice::{Advice, advice};
use super::assessment::{Assessment, PointVerdicts};
use super::channel_error::ChannelErrorDistribution;
use super::conformity::{DecidedRequirement, DecisionSettings};
use super::contribution::Contribution;
use super::error::MeasurementError;
use super::error_covariance::PlanCovariance;
use super::monte_carlo::{Spread, Trial, TrialSettings, Trials, run_trials};
use super::plan_conformity::KnownBalances;
use super::plan_noise::{NoiseDraws, PlanNoise};
use super::plan_reading::{NoDraws, PlanReading, ceiling_reading, level_reading};
use super::receiver_linear::{BudgetUncertainty, covariances, plan_noise_of};
use super::receiver_propagation::{UncertainPart, UncertainReceiver};
use super::switched_trials::{SwitchedTrials, rejection_by_trials};
use super::uncertainty_progress::OnUncertainty;
use crate::downconverter::{
    DownconverterResult, MixerTone, Receiver, ReceiverBalance, ReceiverError, SWITCHING_QUANTITIES,
    SwitchedPoint,
};
use crate::requirement::{Direction, Figure, Limit, Quantity, RequirementResult, Verdict};
use crate::units::db_from_neper;
use rayon::prelude::*;

/// Uncertainty of one point of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointUncertainty {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// Distribution of the rejection, dB. The interval is that of
    /// [`ChannelErrorDistribution::interval_db`], whose upper end is infinite where the point may
    /// be perfect; the rest is from trials.
    pub rejection: Spread,
    /// Distribution of the channel error, by the linear law.
    pub channel_error: ChannelErrorDistribution,
    /// Standard uncertainty of the imbalance in the wanted sideband, by the linear law, dB.
    pub u_imbalance_db: f64,
    /// Standard uncertainty of the quadrature error in the wanted sideband, by the linear law,
    /// degrees.
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
    /// The maximum imbalance over the plan, magnitude, dB.
    pub largest_imbalance: Spread,
    /// The maximum quadrature error over the plan, magnitude, degrees.
    pub largest_quadrature: Spread,
    /// The minimum LO power over the plan, dBm; `None` where the receiver has no limit for it.
    pub least_power: Option<Spread>,
    /// The maximum conversion loss, noise figure and LO power out of the RF port over the plan, dB and
    /// dBm; empty for multipliers.
    pub levels: Vec<(Quantity, Spread)>,
    /// The contributions of all sources, in descending order.
    pub contributions: Vec<Contribution>,
    /// The uncertainties of the budget's rows, in their order; empty without a budget.
    pub budget: Vec<BudgetUncertainty>,
    /// Advice where the rejection is undecided.
    pub advice: Option<Advice>,
}

/// Propagates the uncertainty of a receiver's parts; `result` is its analysis. `on_progress` receives how
/// far it is.
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
    on_progress: OnUncertainty<'_>,
) -> Result<ReceiverUncertainty, MeasurementError> {
    let uncertain = UncertainReceiver::new(receiver, parts)?;
    let worst = worst_place(receiver, result)?;
    let effects = uncertain.effects()?;
    let linear = covariances(&effects, result.points.len());
    let contributions = uncertain.contributions(&effects, &result.points, worst, &linear[worst]);
    let requirements = &result.compliance.requirements;
    let outputs = Outputs::new(receiver);
    let trials = match SwitchedTrials::new(result, &effects, receiver.plan()) {
        None => {
            let points = result.points.len();
            outputs.run(&uncertain, trial_settings, requirements, points, on_progress)?
        }
        Some(switched) => {
            let at_worst = rejection_by_trials(&uncertain, trial_settings, worst)?;
            let mut trials =
                outputs.run_switched(&switched, trial_settings, requirements, on_progress)?;
            trials.outputs[outputs.first_point() + worst] = at_worst;
            trials
        }
    };
    let noise = plan_noise_of(&effects, receiver.plan());
    let noise = NoiseDraws::new(noise, trial_settings.seed());
    let balances: Vec<ReceiverBalance> = result.points.iter().map(|point| point.balance).collect();
    let known = KnownBalances::new(&balances, &noise)?;
    let coverage = trial_settings.coverage();
    let points = outputs.points(&trials, result, &linear, &known, coverage);
    let decided = outputs.decided(&trials, requirements, &known, decisions);
    let rejection = requirements
        .iter()
        .zip(&decided)
        .find(|(requirement, _)| requirement.limit.quantity() == Quantity::ImageRejection);
    let undecided = rejection.filter(|(_, decided)| decided.decision == Verdict::Undecided);
    let advice = undecided.and_then(|(requirement, _)| {
        let scaled = |scaled: &dyn Fn(&str) -> f64| {
            let noise = uncertain.scaled_noise(&effects, result.points.len(), scaled);
            NoiseDraws::new(noise, trial_settings.seed())
        };
        rejection_advice(&contributions, &balances, requirement.limit, decisions, scaled)
    });
    let required_db = rejection.map(|(requirement, decided)| (requirement.limit.value(), *decided));
    let spread = |output: usize, quantity: Quantity| {
        let own = trials.outputs[output];
        known.interval_of_worst(quantity, coverage).map_or(own, |ends| own.with_interval(ends))
    };
    let error = points[worst].channel_error;
    let budget = match &result.budget {
        Some(budget) => uncertain.budget(budget, worst)?,
        None => Vec::new(),
    };
    Ok(ReceiverUncertainty {
        assessment: Assessment::new(
            &trials,
            trial_settings,
            &error,
            decided,
            required_db,
            PointVerdicts {
                frequencies_hz: receiver.plan().lo_hz(),
                runs: receiver.plan().lo_runs(),
                verdicts: lo_verdicts(&known, receiver, result, decisions, &|quantity| {
                    outputs.u_db(&trials, quantity)
                }),
                rejection: known.rejection_verdicts(requirements, decisions),
            },
        ),
        worst_rejection: spread(REJECTION, Quantity::ImageRejection),
        largest_imbalance: spread(IMBALANCE, Quantity::AmplitudeImbalance),
        largest_quadrature: spread(QUADRATURE, Quantity::QuadratureError),
        least_power: outputs.spread(&trials, Quantity::LoPower),
        levels: outputs.switched_levels(&trials),
        points,
        contributions,
        budget,
        advice,
    })
}

/// What would decide a rejection; `scaled` gives the noise with the errors of each part scaled.
fn rejection_advice(
    contributions: &[Contribution],
    balances: &[ReceiverBalance],
    limit: Limit,
    decisions: &DecisionSettings,
    scaled: impl Fn(&dyn Fn(&str) -> f64) -> NoiseDraws,
) -> Option<Advice> {
    let risk = 1.0 - decisions.conformity();
    let decides = |part: Option<&str>, size: f64| {
        let noise = scaled(&|own| if part.is_none_or(|part| part == own) { size } else { 1.0 });
        let known = KnownBalances::new(balances, &noise).ok()?;
        let reading = known.reading_without_draws(Quantity::ImageRejection)?;
        let against = reading.against(limit.value(), risk);
        Some(against.misses_read_as_well.min(against.meets_read_as_badly))
    };
    advice(contributions, risk, decides)
}

/// The noise of all points of a receiver's plan, by the linear law alone. It is common to many dies
/// of one receiver.
///
/// # Errors
/// [`MeasurementError::Receiver`] where the receiver cannot be solved with parts that deviate.
pub fn plan_noise(
    receiver: &Receiver,
    parts: &[UncertainPart],
) -> Result<PlanNoise, MeasurementError> {
    let uncertain = UncertainReceiver::new(receiver, parts)?;
    Ok(plan_noise_of(&uncertain.effects()?, receiver.plan()))
}

/// The decision on all requirements at each LO.
fn lo_verdicts(
    known: &KnownBalances<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
    decisions: &DecisionSettings,
    u_db: &dyn Fn(Quantity) -> f64,
) -> Vec<Verdict> {
    let limits: Vec<Limit> = receiver.limits().iter().collect();
    let verdicts = known.verdicts(&limits, decisions);
    let of_levels = |at: usize| {
        let decided = limits.iter().filter_map(move |limit| {
            let level_db = level_at_lo(limit.quantity(), receiver, result, at)?;
            let reading = reading_of_level(limit.quantity(), level_db, u_db(limit.quantity()));
            let against = reading.against(limit.value(), 1.0 - decisions.conformity());
            Some(decisions.decide(*limit, level_db, against))
        });
        decided.collect::<Vec<_>>()
    };
    let of_chain = |at: usize| {
        let exact = limits.iter().filter_map(move |limit| {
            let value = exact_value(limit.quantity(), result, at)?;
            Some(decisions.decided_exactly(*limit, value).decision)
        });
        Verdict::of_all(exact)
    };
    let plan = receiver.plan();
    let of_lo = |lo: usize| {
        let own = plan.points_of_lo(lo).filter_map(|point| verdicts.get(point).copied());
        Verdict::of_all(of_levels(lo).into_iter().chain(own).chain([of_chain(lo)]))
    };
    (0..plan.lo_hz().len()).map(of_lo).collect()
}

/// The worst level at one LO of a quantity that is treated as one value; `None` for all others.
fn level_at_lo(
    quantity: Quantity,
    receiver: &Receiver,
    result: &DownconverterResult,
    at: usize,
) -> Option<f64> {
    let switching = result.switching.as_ref();
    let worst_of = |level: &dyn Fn(&SwitchedPoint) -> Option<f64>| {
        let own = switching?.points.get(receiver.plan().points_of_lo(at))?.iter();
        own.map(|point| level(point).unwrap_or(f64::INFINITY)).reduce(f64::max)
    };
    match quantity {
        Quantity::LoPower => {
            // A power without a value is an error before anything is decided.
            let powers = result.lo.get(at)?.mixers.iter().filter_map(|mixer| mixer.lo_power_dbm);
            powers.filter_map(Figure::value).reduce(f64::min)
        }
        Quantity::ConversionLoss => worst_of(&|point| point.conversion_loss.both_db),
        Quantity::NoiseFigure => worst_of(&|point| point.noise_figure_db),
        Quantity::LoAtRfPort => Some(switching?.lo.get(at)?.lo_at_rf_port_dbm),
        _ => None,
    }
}

/// A level with its standard uncertainty, against a minimum or a maximum.
fn reading_of_level(quantity: Quantity, level_db: f64, u_db: f64) -> PlanReading<NoDraws> {
    match quantity.direction() {
        Direction::AtLeast => level_reading(level_db, u_db),
        Direction::AtMost | Direction::MagnitudeAtMost => ceiling_reading(level_db, u_db),
    }
}

/// The worst value at one LO of a quantity that is treated as exact; `None` for all others.
fn exact_value(quantity: Quantity, result: &DownconverterResult, at: usize) -> Option<f64> {
    let lo = result.lo.get(at)?;
    let is_here = |lo_hz: f64| lo_hz.total_cmp(&lo.lo_hz).is_eq();
    match quantity {
        Quantity::LoPowerMax => {
            let powers = lo.mixers.iter().filter_map(|mixer| mixer.lo_power_dbm?.value());
            powers.reduce(f64::max)
        }
        Quantity::LoTone => {
            let tones = result.lo_chain.as_ref()?.tones_at_mixers.iter();
            let here = tones.filter(|tone| is_here(tone.lo_hz)).map(MixerTone::dbc);
            Some(here.fold(f64::NEG_INFINITY, f64::max))
        }
        Quantity::SpuriousResponse => {
            let responses = result.lo_chain.as_ref()?.spurious_responses.iter();
            let here = responses.filter(|own| own.is_judged && is_here(own.lo_hz));
            Some(here.map(|own| -own.relative_db()).fold(f64::INFINITY, f64::min))
        }
        _ => None,
    }
}

/// The point of the plan with the worst rejection.
fn worst_place(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<usize, MeasurementError> {
    let points = receiver.plan().points().len();
    let worst = result.points.iter().position(|point| *point == result.summary.worst);
    worst
        .filter(|_| result.points.len() == points)
        .ok_or(MeasurementError::OtherResult { points, found: result.points.len() })
}

/// The worst values over a plan, without signs.
struct Extremes {
    rejection_db: f64,
    imbalance_db: f64,
    quadrature_deg: f64,
}

impl Extremes {
    fn of<'b>(balances: impl Iterator<Item = &'b ReceiverBalance>) -> Self {
        let mut worst =
            Self { rejection_db: f64::INFINITY, imbalance_db: 0.0, quadrature_deg: 0.0 };
        for balance in balances {
            let wanted = balance.wanted();
            worst.rejection_db = worst.rejection_db.min(balance.image_rejection_db);
            worst.imbalance_db = worst.imbalance_db.max(wanted.amplitude_db.abs());
            worst.quadrature_deg = worst.quadrature_deg.max(wanted.phase_deg.abs());
        }
        worst
    }

    /// Whether a limit is met; `level` gives the worst level of a quantity.
    fn keep(
        &self,
        requirement: &RequirementResult,
        level: impl Fn(Quantity) -> Option<f64>,
    ) -> bool {
        let limit = requirement.limit;
        let worst = match limit.quantity() {
            Quantity::ImageRejection => Some(self.rejection_db),
            Quantity::AmplitudeImbalance => Some(self.imbalance_db),
            Quantity::QuadratureError => Some(self.quadrature_deg),
            Quantity::LoPower
            | Quantity::ConversionLoss
            | Quantity::NoiseFigure
            | Quantity::LoAtRfPort => level(limit.quantity()),
            // Tones and the maximum LO power are treated as exact.
            Quantity::LoPowerMax | Quantity::LoTone | Quantity::SpuriousResponse => {
                return requirement.passes();
            }
            Quantity::CommonModeRejection | Quantity::PhaseError => None,
        };
        worst.is_some_and(|worst| limit.is_kept_by(worst))
    }
}

// The outputs of a trial, in this order; levels come next, the rejections of all points last.
const REJECTION: usize = 0;
const IMBALANCE: usize = 1;
const QUADRATURE: usize = 2;
const FIRST_LEVEL: usize = 3;

/// The outputs of a trial.
struct Outputs {
    /// The worst levels among them.
    levels: Vec<Quantity>,
}

impl Outputs {
    fn new(receiver: &Receiver) -> Self {
        let power = receiver.limits().on(Quantity::LoPower).map(|_| Quantity::LoPower);
        let switched = receiver.switching().map(|_| SWITCHING_QUANTITIES);
        Self { levels: power.into_iter().chain(switched.into_iter().flatten()).collect() }
    }

    /// The index of the first rejection of a point.
    fn first_point(&self) -> usize {
        FIRST_LEVEL + self.levels.len()
    }

    fn run(
        &self,
        uncertain: &UncertainReceiver<'_>,
        settings: &TrialSettings,
        requirements: &[RequirementResult],
        points: usize,
        on_progress: OnUncertainty<'_>,
    ) -> Result<Trials, ReceiverError> {
        let has_power = self.levels.contains(&Quantity::LoPower);
        run_trials(settings, self.first_point() + points, on_progress, |random| {
            let varied = uncertain.solve(&uncertain.drawn(random)?)?;
            let points = uncertain.variation.points(&varied)?;
            let balances: Vec<ReceiverBalance> = points.iter().map(|own| own.balance).collect();
            // Without any LO power the level is minus infinity.
            let power = if has_power {
                let least = uncertain.variation.min_lo_power(&varied)?;
                Some(least.map_or(f64::NEG_INFINITY, |drive| drive.power_dbm))
            } else {
                None
            };
            let level = |quantity| power.filter(|_| quantity == Quantity::LoPower);
            Ok(self.trial(&balances, level, requirements))
        })
    }

    fn run_switched(
        &self,
        switched: &SwitchedTrials,
        settings: &TrialSettings,
        requirements: &[RequirementResult],
        on_progress: OnUncertainty<'_>,
    ) -> Result<Trials, ReceiverError> {
        run_trials(settings, self.first_point() + switched.points(), on_progress, |random| {
            let (balances, levels) = switched.drawn(random);
            Ok(self.trial(&balances, |quantity| levels.of(quantity), requirements))
        })
    }

    fn trial(
        &self,
        balances: &[ReceiverBalance],
        level: impl Fn(Quantity) -> Option<f64>,
        requirements: &[RequirementResult],
    ) -> Trial {
        let extremes = Extremes::of(balances.iter());
        let levels = self.levels.iter().map(|own| level(*own).unwrap_or(f64::NEG_INFINITY));
        #[expect(clippy::cast_possible_truncation, reason = "kept in single precision")]
        let outputs = [extremes.rejection_db, extremes.imbalance_db, extremes.quadrature_deg]
            .into_iter()
            .chain(levels)
            .chain(balances.iter().map(|balance| balance.image_rejection_db))
            .map(|value| value as f32)
            .collect();
        let held = requirements.iter().map(|one| extremes.keep(one, &level)).collect();
        Trial { outputs, held }
    }

    /// The distribution of the worst level of a quantity.
    fn spread(&self, trials: &Trials, quantity: Quantity) -> Option<Spread> {
        let at = self.levels.iter().position(|own| *own == quantity)?;
        trials.outputs.get(FIRST_LEVEL + at).copied()
    }

    /// Those of the quantities that only switched mixers have.
    fn switched_levels(&self, trials: &Trials) -> Vec<(Quantity, Spread)> {
        let own = self.levels.iter().filter(|quantity| **quantity != Quantity::LoPower);
        own.filter_map(|quantity| Some((*quantity, self.spread(trials, *quantity)?))).collect()
    }

    /// The standard uncertainty of the worst level of a quantity, dB; 0 without one.
    fn u_db(&self, trials: &Trials, quantity: Quantity) -> f64 {
        self.spread(trials, quantity).map_or(0.0, |spread| spread.standard_uncertainty)
    }

    /// The decisions on all requirements, in their order.
    fn decided(
        &self,
        trials: &Trials,
        requirements: &[RequirementResult],
        known: &KnownBalances<'_>,
        decisions: &DecisionSettings,
    ) -> Vec<DecidedRequirement> {
        let decided = |(requirement, share): (&RequirementResult, &f64)| {
            let RequirementResult { limit, worst, .. } = requirement;
            if let Some(reading) = known.reading(limit.quantity()) {
                return decisions.decided(*limit, *worst, &reading, *share);
            }
            if !self.levels.contains(&limit.quantity()) {
                // Tones are treated as exact.
                return decisions.decided_exactly(*limit, *worst);
            }
            // A worst level is treated as one value.
            let u_db = self.u_db(trials, limit.quantity());
            let reading = reading_of_level(limit.quantity(), *worst, u_db);
            decisions.decided(*limit, *worst, &reading, *share)
        };
        requirements.iter().zip(&trials.shares).map(decided).collect()
    }

    fn points(
        &self,
        trials: &Trials,
        result: &DownconverterResult,
        linear: &[PlanCovariance],
        known: &KnownBalances<'_>,
        coverage: f64,
    ) -> Vec<PointUncertainty> {
        let rejections = &trials.outputs[self.first_point()..];
        let points = result.points.par_iter().zip(linear).zip(rejections).enumerate();
        points
            .map(|(at, ((point, linear), rejection))| {
                let channel_error =
                    ChannelErrorDistribution::of_solved(point.balance.channel_error, linear.image);
                PointUncertainty {
                    lo_hz: point.lo_hz,
                    if_hz: point.if_hz,
                    rejection: rejection.with_interval(known.interval_db(at, coverage)),
                    channel_error,
                    u_imbalance_db: db_from_neper(linear.wanted.amplitude_variance().sqrt()),
                    u_quadrature_deg: linear.wanted.phase_variance().sqrt().to_degrees(),
                }
            })
            .collect()
    }
}
