//! What a part is made from, so that its network can be had at frequencies beyond those of the plan.

use super::error::{ReceiverError, Result};
use crate::component::{Arrangement, Elements, NamedComponent, open_end, shorted_end, termination};
use crate::network::{FrequencyGrid, Load, Network, ParameterKind, Port, onto_grid};
use num_complex::Complex64;
use std::sync::Arc;

/// A part at any frequency that its data reach.
#[derive(Clone, Debug)]
pub enum PartModel {
    /// Data on frequencies of their own, interpolated between them and never beyond.
    Sampled(Arc<Network>),
    /// A closed-form component.
    Component(Arc<NamedComponent>),
    /// An impedance to ground in ohms, the same at every frequency.
    Impedance(Complex64),
    /// Elements to ground.
    Elements(Elements, Arrangement),
    /// An ideal open.
    Open,
    /// An ideal short.
    Short,
}

/// Multiples of a frequency differ in their last digits from those that a file states.
const ROUNDING: f64 = 1e-9;

impl PartModel {
    /// Whether there are data at a frequency, Hz.
    #[must_use]
    pub fn covers(&self, frequency_hz: f64) -> bool {
        match self {
            Self::Sampled(network) => {
                let grid = network.grid();
                let low_hz = grid.first_hz() * (1.0 - ROUNDING);
                let high_hz = grid.last_hz() * (1.0 + ROUNDING);
                (low_hz..=high_hz).contains(&frequency_hz)
            }
            _ => frequency_hz > 0.0,
        }
    }

    /// The range of the data, Hz; `None` without an end.
    pub(super) fn band_hz(&self) -> Option<(f64, f64)> {
        match self {
            Self::Sampled(network) => Some((network.grid().first_hz(), network.grid().last_hz())),
            _ => None,
        }
    }

    /// The network on a grid. `what` names the part in errors.
    ///
    /// # Errors
    /// [`ReceiverError::InNetwork`] where data do not reach a frequency, and
    /// [`ReceiverError::InComponent`] for a component that does not exist there.
    pub(super) fn on(&self, grid: &FrequencyGrid, what: &str) -> Result<Network> {
        let in_network = |source| ReceiverError::InNetwork { what: what.to_owned(), source };
        let made = match self {
            Self::Sampled(network) => {
                let own = network.grid();
                let inside = |hz: &f64| {
                    if self.covers(*hz) { hz.clamp(own.first_hz(), own.last_hz()) } else { *hz }
                };
                let asked_hz = grid.as_hz().iter().map(inside).collect();
                let asked = FrequencyGrid::from_hz(asked_hz).map_err(in_network)?;
                let found = onto_grid(network, &asked).map_err(in_network)?.network;
                return relabelled(found, grid).map_err(in_network);
            }
            Self::Component(component) => component.network(grid),
            Self::Impedance(ohm) => impedance(grid, *ohm).map_err(Into::into),
            Self::Elements(elements, arrangement) => termination(grid, elements, *arrangement),
            Self::Open => open_end(grid, 0.0),
            Self::Short => shorted_end(grid, 0.0),
        };
        made.map_err(|source| {
            let source = Box::new(source);
            ReceiverError::InComponent { what: what.to_owned(), source }
        })
    }
}

/// A one-port of an impedance, in 50 ohm.
fn impedance(
    grid: &FrequencyGrid,
    ohm: Complex64,
) -> std::result::Result<Network, crate::network::NetworkError> {
    let one_port = |entries| {
        Network::new(ParameterKind::Scattering, grid.clone(), 1, entries, vec![50.0.into()])
    };
    let matched = one_port(vec![Complex64::ZERO; grid.len()])?;
    one_port(Load::Impedance(ohm).reflections(&matched, Port::from_index(0))?)
}

/// The same numbers at other frequencies, as many as before: of a network that is solved together with
/// parts at a multiple of its frequency.
pub(super) fn relabelled(
    network: Network,
    grid: &FrequencyGrid,
) -> std::result::Result<Network, crate::network::NetworkError> {
    if network.grid() == grid {
        return Ok(network);
    }
    let references = if network.has_constant_references() {
        network.references_ohm(0).to_vec()
    } else {
        (0..network.grid().len()).flat_map(|point| network.references_ohm(point).to_vec()).collect()
    };
    let (kind, ports, waves) = (network.kind(), network.ports(), network.wave_definition());
    let entries = network.entries().to_vec();
    Ok(Network::new(kind, grid.clone(), ports, entries, references)?.with_wave_definition(waves))
}
