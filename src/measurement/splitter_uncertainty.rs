//! A splitter whose S-parameters are known only so well.

use super::channel_error::ChannelErrorDistribution;
use super::conformity::{Assessment, DecidedRequirement, DecisionSettings};
use super::monte_carlo::{Spread, Trial, TrialSettings, run_trials};
use super::receiver_uncertainty::with_highest;
use super::uncertainty_source::{Deviates, Errors, Source};
use crate::network::{Load, Network, ParameterKind, convert};
use crate::splitter::{
    RequirementKind, Roles, SplitterError, SplitterResult, SplitterSettings, channel_errors,
    image_rejection_of_error_db,
};
use crate::units::{db_from_neper, wrap_deg};
use num_complex::Complex64;

/// How well one point is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SplitterPointUncertainty {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Of the channel error, linear.
    pub channel_error: ChannelErrorDistribution,
    /// Half of what one might measure of this part lies below, dB.
    pub median_db: f64,
    /// The coverage interval of the rejection, dB; without an upper end where the part may be perfect.
    pub interval_db: (f64, f64),
}

/// A splitter whose S-parameters are known only so well.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterUncertainty {
    /// What trials and rules come to.
    pub assessment: Assessment,
    /// Each point of the band.
    pub points: Vec<SplitterPointUncertainty>,
    /// The worst rejection over the band, dB.
    pub worst_rejection: Spread,
    /// The largest phase error over the band, either way, degrees.
    pub largest_phase_error: Spread,
    /// The largest imbalance over the band, either way, dB.
    pub largest_imbalance: Spread,
}

/// A splitter, and what makes it and the loads that close its ports uncertain.
#[derive(Clone, Debug)]
pub struct UncertainSplitter<'a> {
    /// Its scattering matrices as [`scattering_over_band`](crate::splitter::scattering_over_band)
    /// gives them.
    pub scattering: &'a Network,
    /// How it is looked at.
    pub settings: &'a SplitterSettings,
    /// Which port is what.
    pub roles: &'a Roles,
    /// What makes it uncertain, at its frequencies.
    pub sources: Vec<Source>,
    /// The same for each of the settings' loads, at the frequencies of the load's file.
    pub load_sources: Vec<Vec<Source>>,
}

impl UncertainSplitter<'_> {
    /// The networks that may be off, with their sources: its own first, then those of loads.
    fn networks(&self) -> Result<Vec<(Network, &[Source])>, SplitterError> {
        let mut all = vec![(self.scattering.clone(), self.sources.as_slice())];
        for ((_, load), sources) in self.settings.loads.iter().zip(&self.load_sources) {
            if let (Load::OnePort(network), false) = (load, sources.is_empty()) {
                all.push((convert(network, ParameterKind::Scattering)?, sources));
            }
        }
        Ok(all)
    }

    /// The channel errors with the networks of [`networks`](Self::networks) off by these.
    fn channel_errors(
        &self,
        networks: &[(Network, &[Source])],
        errors: &[Errors],
    ) -> Result<Vec<Complex64>, SplitterError> {
        let mut off = Vec::with_capacity(networks.len());
        for ((own, _), errors) in networks.iter().zip(errors) {
            let references = (0..own.grid().len())
                .flat_map(|point| own.references_ohm(point).to_vec())
                .collect();
            let entries = errors.applied(own.entries());
            let network =
                Network::new(own.kind(), own.grid().clone(), own.ports(), entries, references)?;
            off.push(network.with_wave_definition(own.wave_definition()));
        }
        if off.len() == 1 {
            return channel_errors(&off[0], self.settings, self.roles);
        }
        let mut settings = self.settings.clone();
        let mut loads = off.drain(1..);
        for ((_, load), sources) in settings.loads.iter_mut().zip(&self.load_sources) {
            if let (Load::OnePort(network), false) = (load, sources.is_empty())
                && let Some(other) = loads.next()
            {
                *network = other;
            }
        }
        drop(loads);
        channel_errors(&off[0], &settings, self.roles)
    }

    /// The covariance of the channel error at each point, by the linear law.
    ///
    /// # Errors
    /// As [`channel_errors`].
    pub fn covariances(&self) -> Result<Vec<[[f64; 2]; 2]>, SplitterError> {
        let networks = self.networks()?;
        let mut covariances = vec![[[0.0; 2]; 2]; self.scattering.grid().len()];
        for (at, (own, sources)) in networks.iter().enumerate() {
            let ports = own.ports();
            for source in *sources {
                let components = source.components(ports);
                for component in (0..components).filter(|&one| source.has_effect(ports, one)) {
                    let ends = [1.0, -1.0].map(|size| {
                        let mut errors = cleared(&networks);
                        let deviates = Deviates::unit(components, component, size);
                        source.add(ports, own.entries(), &deviates, &mut errors[at]);
                        self.channel_errors(&networks, &errors)
                    });
                    let [plus, minus] = ends;
                    let pairs = plus?.into_iter().zip(minus?);
                    for (covariance, (plus, minus)) in covariances.iter_mut().zip(pairs) {
                        let amplitude = 0.5 * (plus.re - minus.re);
                        let phase = 0.5 * wrap_deg((plus.im - minus.im).to_degrees()).to_radians();
                        covariance[0][0] += amplitude * amplitude;
                        covariance[0][1] += amplitude * phase;
                        covariance[1][0] += amplitude * phase;
                        covariance[1][1] += phase * phase;
                    }
                }
            }
        }
        Ok(covariances)
    }
}

fn cleared(networks: &[(Network, &[Source])]) -> Vec<Errors> {
    let cleared = networks.iter().map(|(own, _)| {
        let mut errors = Errors::default();
        errors.clear(own.entries().len());
        errors
    });
    cleared.collect()
}

/// Propagates the uncertainty of a splitter's S-parameters, and of its loads.
///
/// # Errors
/// As [`analyse`](crate::splitter::analyse).
pub fn splitter_uncertainty(
    uncertain: &UncertainSplitter<'_>,
    result: &SplitterResult,
    trial_settings: &TrialSettings,
    decisions: &DecisionSettings,
) -> Result<SplitterUncertainty, SplitterError> {
    let settings = uncertain.settings;
    let covariances = uncertain.covariances()?;
    let networks = uncertain.networks()?;
    let trials = run_trials(trial_settings, 3, |random| {
        let mut errors = cleared(&networks);
        for ((own, sources), errors) in networks.iter().zip(&mut errors) {
            for source in *sources {
                let deviates = source.draw(own.ports(), own.grid().len(), random);
                source.add(own.ports(), own.entries(), &deviates, errors);
            }
        }
        let drawn = uncertain.channel_errors(&networks, &errors)?;
        let rejection = drawn.iter().map(|&error| image_rejection_of_error_db(error));
        let worst_db = rejection.fold(f64::INFINITY, f64::min);
        let phase_deg =
            drawn.iter().map(|error| wrap_deg(error.im.to_degrees()).abs()).fold(0.0, f64::max);
        let imbalance_db =
            drawn.iter().map(|error| db_from_neper(error.re).abs()).fold(0.0, f64::max);
        let mut held: Vec<bool> = settings
            .requirements
            .iter()
            .map(|requirement| match requirement.kind {
                RequirementKind::ImageRejection | RequirementKind::CommonModeRejection => {
                    worst_db >= requirement.limit
                }
                RequirementKind::PhaseError => phase_deg <= requirement.limit,
                RequirementKind::AmplitudeImbalance => imbalance_db <= requirement.limit,
            })
            .collect();
        held.push(held.iter().all(|held| *held));
        #[expect(clippy::cast_possible_truncation, reason = "kept in single precision")]
        let outputs = [worst_db, phase_deg, imbalance_db].map(|value| value as f32).to_vec();
        Ok::<_, SplitterError>(Trial { outputs, held })
    })?;

    let coverage = trial_settings.coverage;
    let points: Vec<SplitterPointUncertainty> = result
        .points
        .iter()
        .zip(covariances)
        .map(|(point, covariance)| {
            let channel_error = ChannelErrorDistribution { mean: point.channel_error, covariance };
            SplitterPointUncertainty {
                frequency_hz: point.frequency_hz,
                channel_error,
                median_db: channel_error.rejection_quantile_db(0.5),
                interval_db: channel_error.interval_db(coverage),
            }
        })
        .collect();
    let worst_hz = result.summary.worst_rejection.frequency_hz;
    let worst = points
        .iter()
        .find(|point| point.frequency_hz.total_cmp(&worst_hz).is_eq())
        .map_or(points[0].channel_error, |point| point.channel_error);
    let requirements: Vec<DecidedRequirement> = result
        .verdict
        .requirements
        .iter()
        .zip(&trials.shares)
        .map(|(judged, share)| {
            decisions.decide(judged.requirement.kind.name(), judged.margin, *share)
        })
        .collect();
    let required_db = settings
        .requirements
        .iter()
        .zip(&requirements)
        .find(|(requirement, _)| requirement.kind.is_rejection())
        .map(|(requirement, decided)| (requirement.limit, decided.rule));
    let highs = points.iter().map(|point| point.interval_db.1);
    Ok(SplitterUncertainty {
        assessment: Assessment::new(&trials, trial_settings, &worst, requirements, required_db),
        worst_rejection: with_highest(trials.outputs[0], highs),
        largest_phase_error: trials.outputs[1],
        largest_imbalance: trials.outputs[2],
        points,
    })
}
