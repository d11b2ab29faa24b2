//! Noise of passive networks.
//!
//! A passive network at temperature T emits noise waves with the correlation C = k T (1 - S S*ᵀ)
//! per hertz of bandwidth, |b|² being power: H. Bosma, Philips Res. Repts. Suppl. 10 (1967). Noise
//! factors refer to 290 K.

use super::reference_change::power_scattering;
use super::{Network, NetworkError, Port};
use num_complex::Complex64;

/// Boltzmann's constant, J/K, exact since 2019.
pub const BOLTZMANN_J_PER_K: f64 = 1.380_649e-23;
/// The temperature to which noise factors refer, K.
pub const REFERENCE_TEMPERATURE_K: f64 = 290.0;

/// The correlation of a network's own noise waves at each frequency, W/Hz: point after point, N by
/// N, row-major, in the network's reference impedances and power waves.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] where the network has no S.
pub fn noise_correlation(
    network: &Network,
    temperature_k: f64,
) -> Result<Vec<Complex64>, NetworkError> {
    let scattering = power_scattering(network)?;
    let n = scattering.ports();
    let density = BOLTZMANN_J_PER_K * temperature_k;
    let one = |s: &[Complex64], row: usize, column: usize| {
        let product: Complex64 = (0..n).map(|k| s[row * n + k] * s[column * n + k].conj()).sum();
        (if row == column { 1.0 - product } else { -product }) * density
    };
    let points = scattering.entries().chunks_exact(n * n);
    Ok(points.flat_map(|s| (0..n * n).map(move |at| one(s, at / n, at % n))).collect())
}

/// A path through a network whose noise factor is computed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoisePath {
    /// The port at which the signal enters.
    pub input: Port,
    /// The port at which it leaves, into a noiseless load that matches the port's reference.
    pub output: Port,
    /// b/a of the source, in the waves of the input port.
    pub source_reflection: Complex64,
    /// Temperature of the network, K.
    pub temperature_k: f64,
    /// Temperature of the terminations of all other ports, which match their reference impedances,
    /// K.
    pub termination_k: f64,
}

/// The noise factor of a path at each frequency: all noise at the output divided by the part that a
/// source at 290 K causes.
///
/// Source and network may be mismatched: the wave that the network reflects to the source and the
/// source reflects back is counted. A path without transmission has an infinite noise factor.
///
/// # Errors
/// [`NetworkError::NoSuchPort`], [`NetworkError::NoSuchMatrix`].
pub fn noise_factor(network: &Network, path: &NoisePath) -> Result<Vec<f64>, NetworkError> {
    let scattering = power_scattering(network)?;
    let n = scattering.ports();
    let (input, output) =
        (scattering.check_port(path.input)?.index(), scattering.check_port(path.output)?.index());
    let correlation = noise_correlation(&scattering, path.temperature_k)?;
    let source = path.source_reflection;
    let points = scattering.entries().chunks_exact(n * n).zip(correlation.chunks_exact(n * n));
    Ok(points
        .map(|(s, c)| {
            // b_o = c_o + S_oi a_i + Σ S_ok a_k with a_i = (a_s + Γ (c_i + Σ S_ik a_k)) / (1 - S_ii Γ).
            let forward = s[output * n + input] / (1.0 - s[input * n + input] * source);
            let returned = forward * source;
            let own = c[output * n + output].re
                + returned.norm_sqr() * c[input * n + input].re
                + 2.0 * (returned.conj() * c[output * n + input]).re;
            let others: f64 = (0..n)
                .filter(|&k| k != input && k != output)
                .map(|k| (s[output * n + k] + returned * s[input * n + k]).norm_sqr())
                .sum::<f64>()
                * BOLTZMANN_J_PER_K
                * path.termination_k;
            let from_source = forward.norm_sqr()
                * (1.0 - source.norm_sqr())
                * BOLTZMANN_J_PER_K
                * REFERENCE_TEMPERATURE_K;
            1.0 + (own + others) / from_source
        })
        .collect())
}

/// The noise factor of cascaded stages, each given as (noise factor, available power gain): H. T.
/// Friis, Proc. IRE 32 (1944) 419-422.
#[must_use]
pub fn cascade_noise_factor(stages: &[(f64, f64)]) -> f64 {
    let mut gain = 1.0;
    let mut total = 1.0;
    for &(factor, stage_gain) in stages {
        total += (factor - 1.0) / gain;
        gain *= stage_gain;
    }
    total
}

/// The single-sideband noise factor of a receiver from its double-sideband one and its image
/// rejection as a ratio of powers: all noise at the output, that of the source in the image band
/// included, over what the source causes through the wanted band.
///
/// Without rejection (ratio 1) it is twice the double-sideband factor; with infinite rejection it
/// equals that factor.
#[must_use]
pub fn single_sideband_noise_factor(double_sideband: f64, image_rejection: f64) -> f64 {
    (1.0 + 1.0 / image_rejection) * double_sideband
}
