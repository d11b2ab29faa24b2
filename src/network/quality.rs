//! Whether a network can be trusted: passivity, reciprocity, sampling.

use super::convert::reframe;
use super::{Network, NetworkError, ParameterKind, Port, WaveDefinition};
use nalgebra::DMatrix;
use num_complex::Complex64;

/// Singular values of a passive part stay at or below 1; measured and computed ones exceed it by
/// some thousandths. Half a percent of amplitude is 0.04 dB (common practice; ours).
pub const PASSIVITY_TOLERANCE: f64 = 5e-3;
/// |Sij - Sji| below this counts as reciprocal (ours, of the size of a good probe's repeatability).
pub const RECIPROCITY_TOLERANCE: f64 = 5e-3;
/// Entries below this magnitude (-60 dB) have no phase worth judging.
const SMALLEST_TELLING_MAGNITUDE: f64 = 1e-3;

/// The largest of some quantity over frequency, and where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worst {
    /// Its value.
    pub value: f64,
    /// Where, in hertz. For a step between two points, the lower one.
    pub frequency_hz: f64,
    /// The entry it concerns (responding port, driven port), where it concerns one.
    pub entry: Option<(Port, Port)>,
}

/// Figures of quality of one network.
#[derive(Clone, Debug, PartialEq)]
pub struct Quality {
    /// Largest singular value of S in power waves; above 1 the part gives out power.
    pub max_singular_value: Worst,
    /// Largest |Sij - Sji|; `None` for a one-port.
    pub max_reciprocity_error: Option<Worst>,
    /// Largest phase step between neighbouring points, degrees; `None` for a single point. Above
    /// 90 interpolation cannot be trusted.
    pub max_phase_step_deg: Option<Worst>,
}

impl Quality {
    /// Whether no more power comes out than goes in, within [`PASSIVITY_TOLERANCE`].
    #[must_use]
    pub fn is_passive(&self) -> bool {
        self.max_singular_value.value <= 1.0 + PASSIVITY_TOLERANCE
    }

    /// Whether S is symmetric within [`RECIPROCITY_TOLERANCE`]; a one-port always is.
    #[must_use]
    pub fn is_reciprocal(&self) -> bool {
        self.max_reciprocity_error.is_none_or(|worst| worst.value <= RECIPROCITY_TOLERANCE)
    }
}

/// Assesses a network of any parameter, as power waves at its own references.
///
/// Passivity is a statement about power, and only power waves keep account of it: a passive part
/// described by pseudo-waves with complex references may have singular values above 1.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] with the frequency at which the network has no S.
pub fn assess(network: &Network) -> Result<Quality, NetworkError> {
    let converted;
    let scattering = if network.kind() == ParameterKind::Scattering
        && network.waves() == WaveDefinition::Power
    {
        network
    } else {
        let references = network.stored_references().to_vec();
        converted = reframe(network, ParameterKind::Scattering, references, WaveDefinition::Power)?;
        &converted
    };
    let ports = scattering.ports();
    let frequencies_hz = scattering.grid().as_hz();
    let mut passivity = Worst { value: 0.0, frequency_hz: frequencies_hz[0], entry: None };
    let mut reciprocity: Option<Worst> = None;
    for (matrix, &frequency_hz) in
        scattering.entries().chunks_exact(ports * ports).zip(frequencies_hz)
    {
        let value = largest_singular_value(matrix, ports);
        if value > passivity.value {
            passivity = Worst { value, frequency_hz, entry: None };
        }
        for row in 1..ports {
            for column in 0..row {
                let value = (matrix[row * ports + column] - matrix[column * ports + row]).norm();
                if reciprocity.is_none_or(|worst| value > worst.value) {
                    let entry = Some((Port::from_index(row), Port::from_index(column)));
                    reciprocity = Some(Worst { value, frequency_hz, entry });
                }
            }
        }
    }
    Ok(Quality {
        max_singular_value: passivity,
        max_reciprocity_error: reciprocity,
        max_phase_step_deg: worst_phase_step(scattering),
    })
}

fn largest_singular_value(matrix: &[Complex64], ports: usize) -> f64 {
    if ports == 1 {
        return matrix[0].norm();
    }
    let singular_values = DMatrix::from_row_slice(ports, ports, matrix).singular_values();
    singular_values.iter().copied().fold(0.0, f64::max)
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
