//! Selection and reordering of the ports of a network.

use super::container::Network;
use super::conversion::convert;
use super::error::NetworkError;
use super::parameter_kind::ParameterKind;
use super::ports::Port;

/// The network of some ports in a new order; the other ports are terminated in their reference
/// impedances.
///
/// # Errors
/// [`NetworkError::NoSuchPort`], [`NetworkError::PortTwice`], [`NetworkError::MixedMode`], and
/// [`NetworkError::NoSuchMatrix`] where a network that is not S has to be converted to S because a
/// port is omitted.
pub fn select_ports(network: &Network, ports: &[Port]) -> Result<Network, NetworkError> {
    for (at, &port) in ports.iter().enumerate() {
        network.check_port(port)?;
        if ports[..at].contains(&port) {
            return Err(NetworkError::PortTwice { port });
        }
    }
    if network.modes().is_some() {
        return Err(NetworkError::MixedMode);
    }
    let kind = network.kind();
    // A port omitted from Z is open and one omitted from Y is shorted; only S terminates it in its
    // reference impedance.
    let scattering = convert(network, ParameterKind::Scattering)?;
    let n = network.ports();
    let entries = scattering
        .entries()
        .chunks_exact(n * n)
        .flat_map(|matrix| {
            ports.iter().flat_map(move |row| {
                ports.iter().map(move |column| matrix[row.index() * n + column.index()])
            })
        })
        .collect();
    let sets = scattering.stored_references().chunks_exact(n);
    let references = sets.flat_map(|set| ports.iter().map(|port| set[port.index()])).collect();
    let selected = Network::new(
        ParameterKind::Scattering,
        network.grid().clone(),
        ports.len(),
        entries,
        references,
    )?
    .with_wave_definition(network.wave_definition());
    convert(&selected, kind)
}
