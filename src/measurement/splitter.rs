//! A splitter whose S-parameters are known only so well.

use super::channel_error::ChannelErrorDistribution;
use super::monte_carlo::{Spread, Trial, TrialSettings, run_trials};
use super::receiver::with_highest;
use super::uncertainty::{Deviates, Errors, Source};
use super::verdict::{Assessment, DecidedRequirement, DecisionSettings};
use crate::network::Network;
use crate::splitter::{
    RequirementKind, Roles, SplitterError, SplitterResult, SplitterSettings, channel_errors,
    image_rejection_of_error_db, scattering_over_band,
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

/// Propagates the uncertainty of a splitter's S-parameters. `sources` gives them at the frequencies of
/// [`scattering_over_band`].
///
/// # Errors
/// As [`analyse`](crate::splitter::analyse).
pub fn splitter_uncertainty(
    network: &Network,
    settings: &SplitterSettings,
    result: &SplitterResult,
    sources: &[Source],
    trial_settings: &TrialSettings,
    decisions: &DecisionSettings,
) -> Result<SplitterUncertainty, SplitterError> {
    let own = scattering_over_band(network, settings)?;
    let (ports, points) = (own.ports(), own.grid().len());
    let with = |errors: &Errors| with_errors(&own, settings, &result.roles, errors);
    let covariances = splitter_covariances(&own, settings, &result.roles, sources)?;

    let trials = run_trials(trial_settings, 3, |random| {
        let mut errors = Errors::default();
        errors.clear(own.entries().len());
        for source in sources {
            let deviates = source.draw(ports, points, random);
            source.add(ports, own.entries(), &deviates, &mut errors);
        }
        let drawn = with(&errors)?;
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

/// The channel errors of a splitter whose scattering matrices have these errors.
fn with_errors(
    own: &Network,
    settings: &SplitterSettings,
    roles: &Roles,
    errors: &Errors,
) -> Result<Vec<Complex64>, SplitterError> {
    let points = own.grid().len();
    let references = (0..points).flat_map(|point| own.references_ohm(point).to_vec()).collect();
    let entries = errors.applied(own.entries());
    let varied = Network::new(own.kind(), own.grid().clone(), own.ports(), entries, references)?;
    channel_errors(&varied.with_waves(own.waves()), settings, roles)
}

/// The covariance of the channel error at each point of [`scattering_over_band`], by the linear law.
///
/// # Errors
/// As [`channel_errors`].
pub fn splitter_covariances(
    own: &Network,
    settings: &SplitterSettings,
    roles: &Roles,
    sources: &[Source],
) -> Result<Vec<[[f64; 2]; 2]>, SplitterError> {
    let ports = own.ports();
    let mut covariances = vec![[[0.0; 2]; 2]; own.grid().len()];
    for source in sources {
        let components = source.components(ports);
        for component in (0..components).filter(|&at| source.has_effect(ports, at)) {
            let ends = [1.0, -1.0].map(|size| {
                let mut errors = Errors::default();
                errors.clear(own.entries().len());
                let deviates = Deviates::unit(components, component, size);
                source.add(ports, own.entries(), &deviates, &mut errors);
                with_errors(own, settings, roles, &errors)
            });
            let [plus, minus] = ends;
            for (covariance, (plus, minus)) in covariances.iter_mut().zip(plus?.iter().zip(minus?))
            {
                let amplitude = 0.5 * (plus.re - minus.re);
                let phase = 0.5 * wrap_deg((plus.im - minus.im).to_degrees()).to_radians();
                covariance[0][0] += amplitude * amplitude;
                covariance[0][1] += amplitude * phase;
                covariance[1][0] += amplitude * phase;
                covariance[1][1] += phase * phase;
            }
        }
    }
    Ok(covariances)
}
