//! Port numbers and what a matrix row stands for.

use super::{Network, NetworkError};
use std::fmt;

/// A port: 1-based for people, 0-based for indexing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Port {
    index: usize,
}

impl Port {
    /// The port a person calls `number`; `None` for zero.
    #[must_use]
    pub fn from_number(number: usize) -> Option<Self> {
        number.checked_sub(1).map(|index| Self { index })
    }

    /// The port of a row or column, counted from zero.
    #[must_use]
    pub fn from_index(index: usize) -> Self {
        Self { index }
    }

    /// The number a person sees, from 1.
    #[must_use]
    pub fn number(self) -> usize {
        self.index + 1
    }

    /// The row or column, from 0.
    #[must_use]
    pub fn index(self) -> usize {
        self.index
    }
}

impl fmt::Display for Port {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.number())
    }
}

/// The network of some ports in a new order; those left out end in their references.
///
/// # Errors
/// [`NetworkError::NoSuchPort`], [`NetworkError::PortTwice`], [`NetworkError::MixedMode`], and
/// [`NetworkError::NoSuchMatrix`] where a network that is not S has to be converted to leave a
/// port out (its other ports are then closed, not cut).
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
    // A port left out of Z is open and out of Y shorted; only S closes it by its reference.
    let scattering = super::convert(network, super::ParameterKind::Scattering)?;
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
        super::ParameterKind::Scattering,
        network.grid().clone(),
        ports.len(),
        entries,
        references,
    )?
    .with_wave_definition(network.wave_definition());
    super::convert(&selected, kind)
}

/// What one row and column of a matrix stands for.
///
/// For a pair (p, n) the differential wave is (p - n)/√2 with reference 2R, the common wave
/// (p + n)/√2 with reference R/2.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PortMode {
    /// A single-ended port.
    Single(Port),
    /// The differential mode of a pair: first port minus second.
    Differential(Port, Port),
    /// The common mode of a pair.
    Common(Port, Port),
}

impl fmt::Display for PortMode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Single(port) => write!(f, "S{port}"),
            Self::Differential(plus, minus) => write!(f, "D{plus},{minus}"),
            Self::Common(plus, minus) => write!(f, "C{plus},{minus}"),
        }
    }
}
