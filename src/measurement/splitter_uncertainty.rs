//! Uncertainty of a splitter with uncertain S-parameters and uncertain loads.

use super::assessment::{Assessment, PointVerdicts};
use super::channel_error::ChannelErrorDistribution;
use super::conformity::{DecidedRequirement, DecisionSettings};
use super::deviating_network::deviating;
use super::error::MeasurementError;
use super::error_covariance::{ErrorCovariance, half_difference};
use super::monte_carlo::{Spread, Trial, TrialSettings, Trials, run_trials};
use super::plan_conformity::KnownBalances;
use super::plan_noise::{NoiseDraws, PlanNoise, SharedBy};
use super::plan_reading::level_reading;
use super::uncertainty_progress::{Counted, OnUncertainty, UncertaintyStage};
use super::uncertainty_source::{Errors, Source};
use crate::downconverter::ReceiverBalance;
use crate::network::{Load, Network, NetworkError, ParameterKind, convert};
use crate::requirement::{Limit, Limits, Quantity};
use crate::splitter::{
    Roles, SplitterError, SplitterPoint, SplitterResult, SplitterSettings, channel_error_of_waves,
    channel_errors, worst_rejection_of_errors_db,
};
use crate::units::{db_from_neper, wrap_deg};
use num_complex::Complex64;
use rayon::prelude::*;
use std::borrow::Cow;
use std::f64::consts::TAU;
use std::ops::RangeInclusive;

/// Uncertainty of one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SplitterPointUncertainty {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Distribution of the channel error, by the linear law.
    pub channel_error: ChannelErrorDistribution,
    /// The median of repeated measurements of this part, dB.
    pub median_db: f64,
    /// The coverage interval of the rejection, dB; its upper end is infinite where the part may be
    /// perfect.
    pub interval_db: (f64, f64),
}

/// Uncertainty of a splitter.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterUncertainty {
    /// Trials and decisions.
    pub assessment: Assessment,
    /// Each point of the band.
    pub points: Vec<SplitterPointUncertainty>,
    /// The worst rejection over the band, dB.
    pub worst_rejection: Spread,
    /// The maximum phase error over the band, magnitude, degrees.
    pub largest_phase_error: Spread,
    /// The maximum imbalance over the band, magnitude, dB.
    pub largest_imbalance: Spread,
}

/// A splitter with the sources of uncertainty of its S-parameters and of its loads.
#[derive(Clone, Debug)]
pub struct UncertainSplitter<'a> {
    scattering: &'a Network,
    settings: &'a SplitterSettings,
    roles: &'a Roles,
    sources: Vec<Source>,
    /// The sources of each of the settings' loads.
    load_sources: Vec<Vec<Source>>,
}

/// A network with uncertain entries.
struct Deviating<'a> {
    /// Index of the load; `None` for the splitter itself.
    load: Option<usize>,
    network: Network,
    sources: &'a [Source],
}

impl<'a> UncertainSplitter<'a> {
    /// A splitter with ideal loads: its matrices from
    /// [`scattering_over_band`](crate::splitter::scattering_over_band), the settings and roles of
    /// its analysis, and its sources of uncertainty at its frequencies.
    ///
    /// # Errors
    /// [`MeasurementError::OtherNetwork`] for a source at other frequencies.
    pub fn new(
        scattering: &'a Network,
        settings: &'a SplitterSettings,
        roles: &'a Roles,
        sources: Vec<Source>,
    ) -> Result<Self, MeasurementError> {
        sources.iter().try_for_each(|source| source.check_network(scattering))?;
        let load_sources = vec![Vec::new(); settings.loads.len()];
        Ok(Self { scattering, settings, roles, sources, load_sources })
    }

    /// Adds sources of uncertainty for each of the settings' loads, at the frequencies of the
    /// load's file; an empty list for a load without uncertainty.
    ///
    /// # Errors
    /// [`MeasurementError::LoadCount`] unless there is one list for each load, and
    /// [`MeasurementError::OtherNetwork`] for a source at other frequencies.
    pub fn with_load_sources(
        self,
        load_sources: Vec<Vec<Source>>,
    ) -> Result<Self, MeasurementError> {
        let (loads, found) = (self.settings.loads.len(), load_sources.len());
        if loads != found {
            return Err(MeasurementError::LoadCount { loads, found });
        }
        for ((_, load), sources) in self.settings.loads.iter().zip(&load_sources) {
            if let Load::OnePort(network) = load {
                sources.iter().try_for_each(|source| source.check_network(network))?;
            }
        }
        Ok(Self { load_sources, ..self })
    }

    /// The splitter itself and its uncertain loads.
    fn networks(&self) -> Result<Vec<Deviating<'_>>, SplitterError> {
        let own = self.scattering.clone();
        let mut all = vec![Deviating { load: None, network: own, sources: &self.sources }];
        let loads = self.settings.loads.iter().zip(&self.load_sources);
        for (at, ((_, load), sources)) in loads.enumerate() {
            if let (Load::OnePort(network), false) = (load, sources.is_empty()) {
                let network = convert(network, ParameterKind::Scattering)?;
                all.push(Deviating { load: Some(at), network, sources });
            }
        }
        Ok(all)
    }

    /// The channel errors with these deviations of the networks of [`networks`](Self::networks).
    fn channel_errors(
        &self,
        networks: &[Deviating<'_>],
        errors: &[Errors],
    ) -> Result<Vec<Complex64>, SplitterError> {
        let mut scattering = Cow::Borrowed(self.scattering);
        let mut settings = Cow::Borrowed(self.settings);
        for (own, errors) in networks.iter().zip(errors) {
            let network = deviating(&own.network, errors)?;
            match own.load {
                None => scattering = Cow::Owned(network),
                Some(load) => settings.to_mut().loads[load].1 = Load::OnePort(network),
            }
        }
        channel_errors(&scattering, &settings, self.roles)
    }

    /// The noise of the channel error at all points, by the linear law of propagation; noise of
    /// repeated measurements is widened for decisions.
    ///
    /// # Errors
    /// As [`channel_errors`].
    pub fn noise(&self) -> Result<PlanNoise, MeasurementError> {
        Ok(self.propagated()?.0)
    }

    /// The noise, and the covariances without widening.
    fn propagated(&self) -> Result<(PlanNoise, Vec<ErrorCovariance>), MeasurementError> {
        let networks = self.networks()?;
        let mut covariances = vec![ErrorCovariance::default(); self.scattering.grid().len()];
        let mut noise = PlanNoise::exact(covariances.len());
        let each = vec![1; covariances.len()];
        for (at, own) in networks.iter().enumerate() {
            let entries = own.network.entries();
            for source in own.sources {
                let components = 0..source.components();
                for component in components.filter(|&one| source.has_effect(one)) {
                    let [plus, minus] = [1.0, -1.0].map(|size| {
                        let mut errors = cleared(&networks);
                        let deviates = source.only(component, size);
                        source.add(entries, &deviates, &mut errors[at]);
                        self.channel_errors(&networks, &errors)
                    });
                    let pairs = plus?.into_iter().zip(minus?);
                    let effect: Vec<Complex64> =
                        pairs.map(|(plus, minus)| half_difference(plus, minus)).collect();
                    for (covariance, own) in covariances.iter_mut().zip(&effect) {
                        covariance.add(*own);
                    }
                    let widening = source.widening(UPPER_PROBABILITY);
                    let pairs: Vec<_> = effect.iter().map(|own| [own * widening; 2]).collect();
                    let shared_by =
                        if source.is_independent() { SharedBy::Runs(&each) } else { SharedBy::All };
                    noise.add(&pairs, shared_by);
                }
            }
        }
        Ok((noise, covariances))
    }

    fn run_trials(
        &self,
        settings: &TrialSettings,
        on_progress: OnUncertainty<'_>,
    ) -> Result<Trials, SplitterError> {
        if self.settings.loads.is_empty() && self.settings.references_ohm.is_empty() {
            return self.run_trials_of_outputs(settings, on_progress);
        }
        let networks = self.networks()?;
        run_trials(settings, OUTPUTS, on_progress, |random| {
            let mut errors = cleared(&networks);
            for (own, errors) in networks.iter().zip(&mut errors) {
                let network = &own.network;
                for source in own.sources {
                    let deviates = source.draw(random);
                    source.add(network.entries(), &deviates, errors);
                }
            }
            Ok(trial(&self.channel_errors(&networks, &errors)?, &self.settings.limits))
        })
    }
}

/// The error of a point, in the form of a receiver's sidebands.
fn balance(point: &SplitterPoint) -> ReceiverBalance {
    ReceiverBalance {
        image_rejection_db: point.rejection_db,
        sideband_gain_db: 0.0,
        wanted_error: point.channel_error,
        channel_error: point.channel_error,
    }
}

/// The probability for which errors of repeated measurements are widened: the upper end of a
/// coverage interval of 95 %.
const UPPER_PROBABILITY: f64 = 0.975;

impl UncertainSplitter<'_> {
    /// Trials for a balance that depends on two entries of each matrix: the other entries need no
    /// errors.
    fn run_trials_of_outputs(
        &self,
        settings: &TrialSettings,
        on_progress: OnUncertainty<'_>,
    ) -> Result<Trials, SplitterError> {
        let ports = self.scattering.ports();
        for port in [self.roles.input, self.roles.outputs[0], self.roles.outputs[1]] {
            self.scattering.check_port(port)?;
        }
        let places =
            self.roles.outputs.map(|output| output.index() * ports + self.roles.input.index());
        let matrices = self.scattering.entries().chunks_exact(ports * ports);
        let entries: Vec<Complex64> =
            matrices.flat_map(|matrix| places.map(|place| matrix[place])).collect();
        let at_hz = self.scattering.grid().as_hz();
        let exact: Vec<Option<Complex64>> = entries
            .chunks_exact(2)
            .zip(at_hz)
            .map(|(pair, &hz)| {
                let is_ordinary = pair.iter().all(|wave| ORDINARY_WAVES.contains(&wave.norm()));
                let error = || channel_error_of_waves([pair[0], pair[1]], self.roles, hz).ok();
                is_ordinary.then(error).flatten()
            })
            .collect();
        run_trials(settings, OUTPUTS, on_progress, |random| {
            let mut errors = Errors::default();
            errors.clear_at(at_hz.len(), &places);
            for source in &self.sources {
                let deviates = source.draw_at(&places, random);
                source.add(&entries, &deviates, &mut errors);
            }
            let drawn: Vec<Complex64> = (0..at_hz.len())
                .map(|point| match exact[point].and_then(|error| turned(error, &errors, point)) {
                    Some(error) => Ok(error),
                    None => self.drawn_error(&entries, &errors, point),
                })
                .collect::<Result<_, _>>()?;
            Ok(trial(&drawn, &self.settings.limits))
        })
    }

    /// The channel error of the two waves at a point with their errors.
    fn drawn_error(
        &self,
        entries: &[Complex64],
        errors: &Errors,
        point: usize,
    ) -> Result<Complex64, SplitterError> {
        let waves = [2 * point, 2 * point + 1].map(|at| errors.applied_to(at, entries[at]));
        let frequency_hz = self.scattering.grid().as_hz()[point];
        if let Some(at) = waves.iter().position(|wave| !wave.is_finite()) {
            let (row, column) = (self.roles.outputs[at], self.roles.input);
            return Err(NetworkError::NotFinite { row, column, frequency_hz }.into());
        }
        channel_error_of_waves(waves, self.roles, frequency_hz)
    }
}

/// Waves that a factor of [`MAX_NEPERS`] leaves far from the smallest and the largest numbers.
const ORDINARY_WAVES: RangeInclusive<f64> = 1e-70..=1e70;
const MAX_NEPERS: f64 = 50.0;

/// The channel error of two ordinary waves that are multiplied by errors: their logarithms add, which
/// spares the exponentials and their logarithm. `None` where something is added to a wave.
fn turned(exact: Complex64, errors: &Errors, point: usize) -> Option<Complex64> {
    let [at_a, at_b] = [errors.logarithm(2 * point)?, errors.logarithm(2 * point + 1)?];
    if !(at_a.re.abs() <= MAX_NEPERS && at_b.re.abs() <= MAX_NEPERS) {
        return None;
    }
    let error = exact + at_b - at_a;
    let turns = (error.im / TAU).round();
    error.is_finite().then(|| Complex64::new(error.re, error.im - TAU * turns))
}

fn cleared(networks: &[Deviating<'_>]) -> Vec<Errors> {
    let cleared = networks.iter().map(|own| {
        let mut errors = Errors::default();
        errors.clear(own.network.entries().len());
        errors
    });
    cleared.collect()
}

// The outputs of a trial, in this order.
const REJECTION: usize = 0;
const PHASE_ERROR: usize = 1;
const IMBALANCE: usize = 2;
const OUTPUTS: usize = 3;

/// The worst values over the band, and whether they meet the requirements.
fn trial(drawn: &[Complex64], limits: &Limits) -> Trial {
    let worst_db = worst_rejection_of_errors_db(drawn);
    // Phases are within half a turn either way.
    let phase_rad = drawn.iter().map(|error| error.im.abs()).fold(0.0, f64::max);
    let phase_deg = wrap_deg(phase_rad.to_degrees()).abs();
    let nepers = drawn.iter().map(|error| error.re.abs()).fold(0.0, f64::max);
    let imbalance_db = db_from_neper(nepers).abs();
    let worst = |quantity: Quantity| match quantity {
        Quantity::ImageRejection | Quantity::CommonModeRejection => Some(worst_db),
        Quantity::PhaseError => Some(phase_deg),
        Quantity::AmplitudeImbalance => Some(imbalance_db),
        Quantity::QuadratureError
        | Quantity::LoPower
        | Quantity::ConversionLoss
        | Quantity::NoiseFigure
        | Quantity::LoAtRfPort
        | Quantity::LoPowerMax
        | Quantity::LoTone
        | Quantity::SpuriousResponse => None,
    };
    let is_kept = |limit: Limit, worst: Option<f64>| worst.is_some_and(|one| limit.is_kept_by(one));
    let held = limits.iter().map(|limit| is_kept(limit, worst(limit.quantity())));
    #[expect(clippy::cast_possible_truncation, reason = "kept in single precision")]
    let outputs = [worst_db, phase_deg, imbalance_db].map(|value| value as f32).to_vec();
    Trial { outputs, held: held.collect() }
}

/// The distribution and the interval of each point, on all threads.
fn points_of(
    result: &SplitterResult,
    covariances: &[ErrorCovariance],
    known: &KnownBalances<'_>,
    coverage: f64,
    on_progress: OnUncertainty<'_>,
) -> Vec<SplitterPointUncertainty> {
    let counted = Counted::new(on_progress, UncertaintyStage::Points);
    let total = result.points.len() as u64;
    counted.begin(0, total);
    let of_point = |(at, (point, covariance)): (usize, (&SplitterPoint, &ErrorCovariance))| {
        let channel_error = ChannelErrorDistribution::of_solved(point.channel_error, *covariance);
        let made = SplitterPointUncertainty {
            frequency_hz: point.frequency_hz,
            channel_error,
            median_db: channel_error.rejection_quantile_db(0.5),
            interval_db: known.interval_db(at, coverage),
        };
        counted.one(total);
        made
    };
    result.points.par_iter().zip(covariances).enumerate().map(of_point).collect()
}

/// Propagates the uncertainty of a splitter's S-parameters, and of its loads; `result` is its
/// analysis. `on_progress` receives how far it is.
///
/// # Errors
/// [`MeasurementError::OtherResult`] for the analysis of another splitter, and those of
/// [`analyse`](crate::splitter::analyse).
pub fn splitter_uncertainty(
    uncertain: &UncertainSplitter<'_>,
    result: &SplitterResult,
    trial_settings: &TrialSettings,
    decisions: &DecisionSettings,
    on_progress: OnUncertainty<'_>,
) -> Result<SplitterUncertainty, MeasurementError> {
    let (noise, covariances) = uncertain.propagated()?;
    let trials = uncertain.run_trials(trial_settings, on_progress)?;
    let coverage = trial_settings.coverage();
    let noise = NoiseDraws::new(noise, trial_settings.seed());
    let balances: Vec<ReceiverBalance> = result.points.iter().map(balance).collect();
    let known = KnownBalances::new(&balances, &noise)?;
    let points = points_of(result, &covariances, &known, coverage, on_progress);
    let worst_hz = result.summary.worst_rejection.frequency_hz;
    let worst = points
        .iter()
        .find(|point| point.frequency_hz.total_cmp(&worst_hz).is_eq())
        .filter(|_| result.points.len() == covariances.len())
        .ok_or(MeasurementError::OtherResult {
            points: covariances.len(),
            found: result.points.len(),
        })?
        .channel_error;
    let decided: Vec<DecidedRequirement> = result
        .compliance
        .requirements
        .iter()
        .zip(&trials.shares)
        .map(|(judged, share)| {
            let (limit, worst) = (judged.limit, judged.worst);
            match known.reading(limit.quantity()) {
                Some(reading) => decisions.decided(limit, worst, &reading, *share),
                // A splitter has no LO power.
                None => decisions.decided(limit, worst, &level_reading(worst, 0.0), *share),
            }
        })
        .collect();
    let limits: Vec<Limit> = uncertain.settings.limits.iter().collect();
    let frequencies_hz: Vec<f64> = points.iter().map(|point| point.frequency_hz).collect();
    let required_db = limits
        .iter()
        .zip(&decided)
        .find(|(limit, _)| limit.quantity().is_rejection())
        .map(|(limit, decided)| (limit.value(), *decided));
    let spread = |output: usize, quantity: Quantity| {
        let own = trials.outputs[output];
        known.interval_of_worst(quantity, coverage).map_or(own, |ends| own.with_interval(ends))
    };
    Ok(SplitterUncertainty {
        assessment: Assessment::new(
            &trials,
            trial_settings,
            &worst,
            decided,
            required_db,
            PointVerdicts {
                frequencies_hz: &frequencies_hz,
                runs: std::slice::from_ref(&(0..frequencies_hz.len())),
                verdicts: known.verdicts(&limits, decisions),
                rejection: known.rejection_verdicts(&result.compliance.requirements, decisions),
            },
        ),
        worst_rejection: spread(REJECTION, Quantity::ImageRejection),
        largest_phase_error: spread(PHASE_ERROR, Quantity::PhaseError),
        largest_imbalance: spread(IMBALANCE, Quantity::AmplitudeImbalance),
        points,
    })
}
