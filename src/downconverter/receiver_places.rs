//! The places of a receiver's networks: found by name, read, and given other networks.

use super::error::{ReceiverError, Result};
use super::if_output::{check_if_parts, check_output};
use super::receiver::{NetworkPlace, Place, Receiver, block_name, check_network, load_name};
use super::signal_path::{ReceiverGrid, ReceiverPath};
use crate::network::{FrequencyGrid, Network};

impl Receiver {
    /// The place of the block of a name.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`].
    pub fn block(&self, name: &str) -> Result<NetworkPlace> {
        let place = self.parts().iter().position(|part| part.name == name);
        let place = place.map(|part| NetworkPlace(Place::Part(part)));
        place.ok_or_else(|| ReceiverError::NoSuch { what: format!("block '{name}'") })
    }

    /// The name of the block in a place; `None` for a load.
    pub fn block_name(&self, place: NetworkPlace) -> Option<&str> {
        match place.0 {
            Place::Part(part) => self.parts().get(part).map(|part| part.name.as_str()),
            Place::Load(_) => None,
            Place::IfPart(part) => self.output().parts.get(part).map(|part| part.name.as_str()),
        }
    }

    /// The place of the IF part of a name.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`].
    pub fn if_part(&self, name: &str) -> Result<NetworkPlace> {
        let place = self.output().parts.iter().position(|part| part.name == name);
        let place = place.map(|part| NetworkPlace(Place::IfPart(part)));
        place.ok_or_else(|| ReceiverError::NoSuch { what: format!("IF part '{name}'") })
    }

    /// The places of all blocks, of all loads, then of all IF parts, in the receiver's order.
    pub fn places(&self) -> impl Iterator<Item = NetworkPlace> {
        let loads = (0..self.loads().len()).map(Place::Load);
        let if_parts = (0..self.output().parts.len()).map(Place::IfPart);
        (0..self.parts().len()).map(Place::Part).chain(loads).chain(if_parts).map(NetworkPlace)
    }

    /// The network in a place, at the frequencies of a place of use; `None` where it is not used there.
    pub fn network_on(&self, place: NetworkPlace, grid: ReceiverGrid) -> Option<&Network> {
        match (grid, place.0) {
            (ReceiverGrid::Path(path), _) => self.network_at(place, path),
            (ReceiverGrid::If, Place::IfPart(part)) => {
                self.output().parts.get(part).map(|part| &part.network)
            }
            (ReceiverGrid::If, _) => None,
        }
    }

    /// Puts another network in a place, see [`set_network_at`](Self::set_network_at).
    ///
    /// # Errors
    /// As [`set_network_at`](Self::set_network_at).
    pub fn set_network_on(
        &mut self,
        place: NetworkPlace,
        grid: ReceiverGrid,
        network: Network,
    ) -> Result<()> {
        let part = match (grid, place.0) {
            (ReceiverGrid::Path(path), _) => return self.set_network_at(place, path, network),
            (ReceiverGrid::If, Place::IfPart(part)) => Some(part),
            (ReceiverGrid::If, _) => None,
        };
        let what = self.place_name(place)?;
        let Some(part) = part.and_then(|part| self.setup.output.parts.get_mut(part)) else {
            return Err(ReceiverError::NoSuch { what: format!("{what} behind the mixers") });
        };
        part.network = network;
        check_if_parts(&self.setup.output, self.setup.plan.if_hz())?;
        self.setup.output.combine();
        check_output(&self.setup.output, self.setup.plan.if_hz().len())
    }

    /// The frequencies at which a place has its network on a path: on the LO path those of the carrier
    /// there.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`] for a place of another receiver and for a part behind the mixers.
    pub fn grid_at(&self, place: NetworkPlace, path: ReceiverPath) -> Result<FrequencyGrid> {
        let what = self.place_name(place)?;
        let missing = || ReceiverError::NoSuch { what: format!("{what} on the {path} path") };
        let terminal = self.terminal_of(place).ok_or_else(missing)?;
        let is_stage = matches!(place.0, Place::Part(_)) && self.stage(terminal.block).is_some();
        match path {
            ReceiverPath::Lo if !is_stage => {
                Ok(self.pieces.grid(&terminal, self.plan().grid(path))?)
            }
            _ => Ok(self.plan().grid(path).clone()),
        }
    }

    /// The network in a place, at the frequencies of a path; `None` where that path does not reach it.
    pub fn network_at(&self, place: NetworkPlace, path: ReceiverPath) -> Option<&Network> {
        let networks = match place.0 {
            Place::Part(part) => &self.parts().get(part)?.networks,
            Place::Load(load) => &self.loads().get(load)?.networks,
            Place::IfPart(_) => return None,
        };
        networks.get(path).as_ref()
    }

    /// Puts another network in a place.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`] where the receiver has no network in this place on this path;
    /// [`ReceiverError::PortCount`], [`ReceiverError::OtherFrequencies`] and
    /// [`ReceiverError::InNetwork`] for a network that does not fit there.
    pub fn set_network_at(
        &mut self,
        place: NetworkPlace,
        path: ReceiverPath,
        network: Network,
    ) -> Result<()> {
        let what = self.place_name(place)?;
        let missing = || ReceiverError::NoSuch { what: format!("{what} on the {path} path") };
        let own = self.network_at(place, path).ok_or_else(missing)?;
        if matches!(place.0, Place::Part(part) if self.stage(part).is_some()) {
            return Err(ReceiverError::StageData { what });
        }
        check_network(&network, &what, own.ports(), path, &self.grid_at(place, path)?)?;
        *match place.0 {
            Place::Part(part) => self.setup.parts[part].networks.get_mut(path),
            Place::Load(load) => self.setup.loads[load].networks.get_mut(path),
            // It has no network on a path, which is refused above.
            Place::IfPart(_) => return Ok(()),
        } = Some(network);
        Ok(())
    }

    /// What messages call a place; an error for a place of another receiver.
    pub(super) fn place_name(&self, place: NetworkPlace) -> Result<String> {
        let name = match place.0 {
            Place::Part(part) => self.parts().get(part).map(block_name),
            Place::Load(load) => self.loads().get(load).map(|load| load_name(self.parts(), load)),
            Place::IfPart(part) => self.output().parts.get(part).map(|part| part.name.clone()),
        };
        let missing = || ReceiverError::NoSuch { what: "block or load of this index".to_owned() };
        name.ok_or_else(missing)
    }
}
