//! Conversion between S, Z, Y, H and G.

use super::bilinear::{Bilinear, PortFrame};
use super::{Network, NetworkError, ParameterKind, WaveDefinition};

/// Converts a network to another parameter.
///
/// Scattering matrices refer to the network's own reference impedances and wave definition; Z, Y, H
/// and G are absolute. Converting to the parameter that the network already has returns it
/// unchanged.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] with the first frequency at which the network has no such
/// matrix (an ideal through has neither Z nor Y); [`NetworkError::TwoPortsOnly`] for H or G of
/// anything but a two-port; [`NetworkError::MixedMode`] for H or G of a mixed-mode network.
///
/// # Examples
/// ```
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind, convert};
///
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// let load = Network::new(ParameterKind::Scattering, grid, 1, vec![0.2.into()], vec![50.0.into()])?;
/// let impedance = convert(&load, ParameterKind::Impedance)?;
/// assert!((impedance.entries()[0].re - 75.0).abs() < 1e-12);
/// # Ok::<(), fourphase::network::NetworkError>(())
/// ```
pub fn convert(network: &Network, kind: ParameterKind) -> Result<Network, NetworkError> {
    if kind == network.kind() {
        return Ok(network.clone());
    }
    if kind.is_two_port_only() && network.modes().is_some() {
        return Err(NetworkError::MixedMode);
    }
    if kind.is_two_port_only() && network.ports() != 2 {
        return Err(NetworkError::TwoPortsOnly { kind, ports: network.ports() });
    }
    reframe(network, kind, network.stored_references().to_vec(), network.wave_definition())
}

/// Transforms every point from the network's own frames to those of another parameter, reference
/// impedances and wave definition.
pub(super) fn reframe(
    network: &Network,
    kind: ParameterKind,
    references_ohm: Vec<num_complex::Complex64>,
    waves: WaveDefinition,
) -> Result<Network, NetworkError> {
    let ports = network.ports();
    let mut entries = network.entries().to_vec();
    let mut bilinear = Bilinear::new(ports);
    for (point, matrix) in entries.chunks_exact_mut(ports * ports).enumerate() {
        let from = network.references_ohm(point);
        let to = if references_ohm.len() == ports {
            &references_ohm[..]
        } else {
            &references_ohm[point * ports..(point + 1) * ports]
        };
        let frames = from.iter().zip(to).enumerate().map(|(port, (&from_ohm, &to_ohm))| {
            (
                PortFrame::new(network.kind(), port, from_ohm, network.wave_definition()),
                PortFrame::new(kind, port, to_ohm, waves),
            )
        });
        bilinear.transform(matrix, frames).map_err(|_| NetworkError::NoSuchMatrix {
            kind,
            frequency_hz: network.grid().as_hz()[point],
        })?;
    }
    Ok(network.with_matrices(kind, entries, references_ohm)?.with_wave_definition(waves))
}
