//! Figures of quality of network data: passivity, reciprocity, sampling.

use super::conversion::reframe;
use super::decomposition::decomposed;
use super::extremes::{
    Worst, largest_difference_of_repeats, largest_phase_step, largest_reciprocity_error,
    largest_reflection_asymmetry, largest_singular_value_above, smallest_mean_delay,
};
use super::reference_change::power_scattering;
use super::{Network, NetworkError, ParameterKind};
use nalgebra::DMatrix;

/// Tolerance of the maximum singular value of a passive part, which is at most 1; measured and
/// computed files exceed this by some thousandths. 0.5 % of amplitude is 0.04 dB (common practice;
/// own choice).
pub const PASSIVITY_TOLERANCE: f64 = 5e-3;
/// |Sij - Sji| below this counts as reciprocal (own choice, about the repeatability of a good
/// probe).
pub const RECIPROCITY_TOLERANCE: f64 = 1e-2;
/// Entries below this magnitude (-60 dB) have no usable phase.
const SMALLEST_TELLING_MAGNITUDE: f64 = 1e-3;

/// Figures of quality of the data of one network.
#[derive(Clone, Debug, PartialEq)]
pub struct Quality {
    /// Maximum singular value of S in power waves; above 1 the network generates power.
    pub max_singular_value: Worst,
    /// Maximum |Sij - Sji|; `None` for a one-port.
    pub max_reciprocity_error: Option<Worst>,
    /// Maximum |Sii - Sjj| over all pairs of ports, zero for a part that is the same from all
    /// ports; `None` for a one-port.
    pub max_reflection_asymmetry: Option<Worst>,
    /// Minimum mean delay of a transmission, seconds, at the lowest frequency; `None` where no
    /// transmission is strong enough. The delay of a passive part is positive; a negative one means
    /// a sign error, a wrong reference plane or aliasing.
    pub min_mean_delay_s: Option<Worst>,
    /// Maximum phase step between neighbouring points, degrees; `None` for a single point. Above 90
    /// degrees interpolation is not reliable.
    pub max_phase_step_deg: Option<Worst>,
    /// Maximum difference between entries of two points with one frequency; `None` where no frequency
    /// is repeated.
    pub max_repeat_difference: Option<Worst>,
}

impl Quality {
    /// Whether the network is passive: no singular value above 1 + `tolerance`, for
    /// measured files [`PASSIVITY_TOLERANCE`].
    #[must_use]
    pub fn passive_within(&self, tolerance: f64) -> bool {
        self.max_singular_value.value <= 1.0 + tolerance
    }

    /// Whether no |Sij - Sji| is above `tolerance`, for measured files [`RECIPROCITY_TOLERANCE`];
    /// true for a one-port.
    #[must_use]
    pub fn reciprocal_within(&self, tolerance: f64) -> bool {
        self.max_reciprocity_error.is_none_or(|worst| worst.value <= tolerance)
    }

    /// Whether the data can be those of a passive, reciprocal part: all three checks are within the
    /// tolerances for measured files.
    #[must_use]
    pub fn is_of_passive_part(&self) -> bool {
        self.passive_within(PASSIVITY_TOLERANCE)
            && self.reciprocal_within(RECIPROCITY_TOLERANCE)
            && self.implausible_delay_s().is_none()
    }

    /// The minimum mean delay, if no passive part has it; `None` for active parts.
    #[must_use]
    pub fn implausible_delay_s(&self) -> Option<Worst> {
        self.min_mean_delay_s.filter(|worst| {
            self.passive_within(PASSIVITY_TOLERANCE) && worst.value < EARLIEST_DELAY_S
        })
    }
}

/// Delays above this (a hundredth of a turn at 10 GHz) are rounding or calibration errors (own
/// choice).
pub(super) const EARLIEST_DELAY_S: f64 = -1e-12;

/// Assesses a network of any parameter, as power waves at its own reference impedances.
///
/// Passivity is a statement about power, and only power waves represent it: a passive part
/// described by pseudo-waves with complex reference impedances may have singular values above 1. The
/// maximum singular value is that of all points to a relative 1e-12.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] with the frequency at which the network has no S,
/// [`NetworkError::NoSingularValues`] with one at which they cannot be computed.
pub fn assess(network: &Network) -> Result<Quality, NetworkError> {
    let scattering = &*power_scattering(network)?;
    let frequencies_hz = scattering.grid().as_hz();
    let all = || 0..frequencies_hz.len();
    let passivity = largest_singular_value_above(scattering, all(), 0.0)
        .map_err(|point| NetworkError::NoSingularValues { frequency_hz: frequencies_hz[point] })?;
    let nothing = Worst { value: 0.0, frequency_hz: frequencies_hz[0], entry: None };
    let weakest = SMALLEST_TELLING_MAGNITUDE * SMALLEST_TELLING_MAGNITUDE;
    Ok(Quality {
        max_singular_value: passivity.unwrap_or(nothing),
        max_reciprocity_error: largest_reciprocity_error(scattering, all()),
        max_reflection_asymmetry: largest_reflection_asymmetry(scattering, all()),
        min_mean_delay_s: smallest_mean_delay(scattering, all()),
        max_phase_step_deg: largest_phase_step(scattering, all(), weakest, |_| true),
        max_repeat_difference: largest_difference_of_repeats(scattering),
    })
}

/// The nearest passive network: singular values of S above 1 are set to 1. Returns the network and
/// the maximum change of an entry.
///
/// This changes the data; a caller must report it.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] where the network has no S.
pub fn nearest_passive(network: &Network) -> Result<(Network, f64), NetworkError> {
    let references = network.stored_references().to_vec();
    let scattering = power_scattering(network)?;
    let ports = scattering.ports();
    let mut largest_change = 0.0_f64;
    let mut entries = Vec::with_capacity(scattering.entries().len());
    let matrices = scattering.entries().chunks_exact(ports * ports);
    for (matrix, &frequency_hz) in matrices.zip(scattering.grid().as_hz()) {
        let mut svd = decomposed(&DMatrix::from_row_slice(ports, ports, matrix))
            .ok_or(NetworkError::NoSingularValues { frequency_hz })?;
        if svd.singular_values.iter().all(|&value| value <= 1.0) {
            entries.extend_from_slice(matrix);
            continue;
        }
        svd.singular_values.iter_mut().for_each(|value| *value = value.min(1.0));
        // Both sets of vectors were computed, so the product exists.
        let Ok(clipped) = svd.recompose() else { continue };
        for (at, &before) in matrix.iter().enumerate() {
            let after = clipped[(at / ports, at % ports)];
            largest_change = largest_change.max((after - before).norm());
            entries.push(after);
        }
    }
    let repaired =
        scattering.with_matrices(ParameterKind::Scattering, entries, references.clone())?;
    Ok((reframe(&repaired, network.kind(), references, network.wave_definition())?, largest_change))
}
