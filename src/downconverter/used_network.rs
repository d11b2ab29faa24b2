//! The network in a place of a receiver at all frequencies at which the receiver uses it.
//!
//! In:  a place, and the path or the IF.
//! Out: its network there, and where its data reach. On the RF path of switched mixers the frequencies are
//!      those of all sidebands, of which data must reach those of the plan alone.

use super::error::Result;
use super::receiver::{NetworkPlace, Place, Receiver};
use super::sideband_convergence::find_sidebands;
use super::signal_path::{ReceiverGrid, ReceiverPath};
use super::solution::SolvedPath;
use crate::network::{FrequencyGrid, Network, NetworkError, ParameterKind, convert, onto_grid};
use std::ops::RangeInclusive;

/// A network at all frequencies at which a receiver uses it.
#[derive(Clone, Debug)]
pub(crate) struct UsedNetwork {
    network: Network,
    is_known: Vec<bool>,
    required_hz: RangeInclusive<f64>,
}

impl UsedNetwork {
    /// S-parameters; those of `outside` where the data do not reach.
    pub(crate) fn network(&self) -> &Network {
        &self.network
    }

    /// For each frequency whether it is one of the data of the part and of other data, which must reach
    /// those of the plan. At 0 Hz S is real, so that only the data of the part count.
    pub(crate) fn shared_with(&self, reaches: impl Fn(f64) -> bool) -> Vec<bool> {
        let own = self.network.grid().as_hz().iter().zip(&self.is_known);
        own.map(|(hz, is_known)| {
            *is_known && (self.required_hz.contains(hz) || (*hz > 0.0 && reaches(*hz)))
        })
        .collect()
    }

    /// A network of the same frequencies at those that are marked.
    pub(crate) fn at_marks(&self, network: &Network, marks: &[bool]) -> Result<Network> {
        let marked = network.grid().as_hz().iter().zip(marks).filter(|(_, is_in)| **is_in);
        let grid = FrequencyGrid::from_hz(marked.map(|(hz, _)| *hz).collect())?;
        Ok(onto_grid(network, &grid)?.network)
    }

    /// The same with the entries of another network at the marked frequencies.
    pub(crate) fn with_marked(
        &self,
        marks: &[bool],
        other: &Network,
    ) -> Result<Self, NetworkError> {
        let own = &self.network;
        let size = own.ports() * own.ports();
        let mut entries = own.entries().to_vec();
        let marked = entries.chunks_exact_mut(size).zip(marks).filter(|(_, is_in)| **is_in);
        for ((to, _), from) in marked.zip(other.entries().chunks_exact(size)) {
            to.copy_from_slice(from);
        }
        let references = own.stored_references().to_vec();
        let network =
            Network::new(own.kind(), own.grid().clone(), own.ports(), entries, references)?;
        Ok(Self { network, ..self.clone() })
    }
}

impl Receiver {
    /// The network in a place at all frequencies at which the receiver uses it on a path or at the IF;
    /// `None` where it is not there.
    ///
    /// # Errors
    /// Those of a solution of the LO path, on which the number of sidebands depends.
    pub(crate) fn used_network(
        &self,
        place: NetworkPlace,
        grid: ReceiverGrid,
    ) -> Result<Option<UsedNetwork>> {
        let Some(own) = self.network_on(place, grid) else { return Ok(None) };
        let switching = self.switching().filter(|_| grid == ReceiverGrid::Path(ReceiverPath::Rf));
        let source = match (switching, place.0) {
            (Some(switching), Place::Part(part)) => Some((switching, &switching.parts[part])),
            (Some(switching), Place::Load(load)) => Some((switching, &switching.loads[load])),
            (None, _) | (_, Place::IfPart(_)) => None,
        };
        let Some((switching, source)) = source else {
            return Ok(Some(UsedNetwork {
                is_known: vec![true; own.grid().len()],
                network: convert(own, ParameterKind::Scattering)?,
                required_hz: 0.0..=f64::INFINITY,
            }));
        };
        if self.sideband_store().is_none() {
            find_sidebands(self, &SolvedPath::new(self, ReceiverPath::Lo)?.voltages)?;
        }
        let sidebands = &self.known_sidebands()?.grid;
        let made = source.onto(sidebands, own.ports(), switching.outside)?;
        let of_plan = self.plan().grid(ReceiverPath::Rf);
        Ok(Some(UsedNetwork {
            network: made.network,
            is_known: made.is_outside.iter().map(|is_outside| !is_outside).collect(),
            required_hz: of_plan.first_hz()..=of_plan.last_hz(),
        }))
    }

    /// Puts a network in a place at all frequencies at which the receiver uses it.
    ///
    /// # Errors
    /// As [`set_network_on`](Receiver::set_network_on).
    pub(crate) fn set_used_network(
        &mut self,
        place: NetworkPlace,
        grid: ReceiverGrid,
        used: &UsedNetwork,
    ) -> Result<()> {
        self.set_network_on(place, grid, used.at_marks(&used.network, &used.is_known)?)
    }
}
