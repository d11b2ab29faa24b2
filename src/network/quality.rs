//! Figures of quality of network data: passivity, reciprocity, sampling.

use super::conversion::reframe;
use super::decomposition::{decomposed, largest_singular_value};
use super::reference_change::power_scattering;
use super::{Network, NetworkError, ParameterKind, Port};
use nalgebra::DMatrix;
use num_complex::Complex64;
use std::ops::Range;

/// Tolerance of the maximum singular value of a passive part, which is at most 1; measured and
/// computed files exceed this by some thousandths. 0.5 % of amplitude is 0.04 dB (common practice;
/// own choice).
pub const PASSIVITY_TOLERANCE: f64 = 5e-3;
/// |Sij - Sji| below this counts as reciprocal (own choice, about the repeatability of a good
/// probe).
pub const RECIPROCITY_TOLERANCE: f64 = 1e-2;
/// Entries below this magnitude (-60 dB) have no usable phase.
const SMALLEST_TELLING_MAGNITUDE: f64 = 1e-3;

/// The maximum or minimum of a quantity over frequency, with its frequency and entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worst {
    /// The value of the quantity.
    pub value: f64,
    /// Frequency, Hz; for a step between two points, the lower one.
    pub frequency_hz: f64,
    /// The entry it concerns (responding port, driven port), where it concerns one.
    pub entry: Option<(Port, Port)>,
}

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
/// described by pseudo-waves with complex reference impedances may have singular values above 1.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] with the frequency at which the network has no S.
pub fn assess(network: &Network) -> Result<Quality, NetworkError> {
    let scattering = &*power_scattering(network)?;
    let ports = scattering.ports();
    let frequencies_hz = scattering.grid().as_hz();
    let mut passivity = Worst { value: 0.0, frequency_hz: frequencies_hz[0], entry: None };
    let mut asymmetry: Option<Worst> = None;
    for (matrix, &frequency_hz) in
        scattering.entries().chunks_exact(ports * ports).zip(frequencies_hz)
    {
        let value =
            singular_value(matrix, ports).ok_or(NetworkError::NoSingularValues { frequency_hz })?;
        if value > passivity.value {
            passivity = Worst { value, frequency_hz, entry: None };
        }
        for row in 1..ports {
            for column in 0..row {
                let difference = (matrix[row * (ports + 1)] - matrix[column * (ports + 1)]).norm();
                if asymmetry.is_none_or(|worst| difference > worst.value) {
                    let entry = Some((Port::from_index(row), Port::from_index(column)));
                    asymmetry = Some(Worst { value: difference, frequency_hz, entry });
                }
            }
        }
    }
    Ok(Quality {
        max_singular_value: passivity,
        max_reciprocity_error: largest_reciprocity_error(scattering, 0..scattering.grid().len()),
        max_reflection_asymmetry: asymmetry,
        min_mean_delay_s: smallest_mean_delay(scattering, 0..scattering.grid().len()),
        max_phase_step_deg: worst_phase_step(scattering),
    })
}

pub(super) fn singular_value(matrix: &[Complex64], ports: usize) -> Option<f64> {
    if ports == 1 {
        return Some(matrix[0].norm());
    }
    largest_singular_value(&DMatrix::from_row_slice(ports, ports, matrix))
}

/// Maximum |Sij - Sji|; `None` for a one-port.
pub(super) fn largest_reciprocity_error(
    scattering: &Network,
    points: Range<usize>,
) -> Option<Worst> {
    let ports = scattering.ports();
    let mut largest: Option<Worst> = None;
    for point in points {
        let matrix = scattering.matrix(point).as_slice();
        for row in 1..ports {
            for column in 0..row {
                let value = (matrix[row * ports + column] - matrix[column * ports + row]).norm();
                if largest.is_none_or(|worst| value > worst.value) {
                    let frequency_hz = scattering.grid().as_hz()[point];
                    let entry = Some((Port::from_index(row), Port::from_index(column)));
                    largest = Some(Worst { value, frequency_hz, entry });
                }
            }
        }
    }
    largest
}

/// The minimum mean delay of a transmission, from the phase steps between neighbouring points.
pub(super) fn smallest_mean_delay(scattering: &Network, points: Range<usize>) -> Option<Worst> {
    let ports = scattering.ports();
    let hz = &scattering.grid().as_hz()[points.clone()];
    let mut smallest: Option<Worst> = None;
    for at in (0..ports * ports).filter(|at| at / ports != at % ports) {
        let values: Vec<Complex64> =
            points.clone().map(|point| scattering.matrix(point).as_slice()[at]).collect();
        let is_strong = values.iter().all(|value| value.norm() > WEAKEST_TRANSMISSION);
        if values.len() < 2 || !is_strong || hz[hz.len() - 1] <= hz[0] {
            continue;
        }
        let turned: f64 = values.windows(2).map(|pair| (pair[1] * pair[0].conj()).arg()).sum();
        let value = -turned / (std::f64::consts::TAU * (hz[hz.len() - 1] - hz[0]));
        if smallest.is_none_or(|worst| value < worst.value) {
            let entry = Some((Port::from_index(at / ports), Port::from_index(at % ports)));
            smallest = Some(Worst { value, frequency_hz: hz[0], entry });
        }
    }
    smallest
}

/// Transmissions below this (-20 dB) are leakage, whose phase may not follow a delay.
pub(super) const WEAKEST_TRANSMISSION: f64 = 0.1;

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

fn worst_phase_step(scattering: &Network) -> Option<Worst> {
    let ports = scattering.ports();
    let size = ports * ports;
    let mut worst: Option<Worst> = None;
    for (point, hz) in scattering.grid().as_hz().windows(2).enumerate() {
        let repeats = hz[0].total_cmp(&hz[1]).is_eq();
        if repeats {
            continue;
        }
        let pairs = scattering.entries()[point * size..(point + 2) * size].split_at(size);
        for (at, (before, after)) in pairs.0.iter().zip(pairs.1).enumerate() {
            if before.norm().min(after.norm()) < SMALLEST_TELLING_MAGNITUDE {
                continue;
            }
            let value = (after * before.conj()).arg().to_degrees().abs();
            if worst.is_none_or(|worst| value > worst.value) {
                let entry = Some((Port::from_index(at / ports), Port::from_index(at % ports)));
                worst = Some(Worst { value, frequency_hz: hz[0], entry });
            }
        }
    }
    worst
}
