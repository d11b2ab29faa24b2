//! The places of a receiver's networks: found by name, read, and given other networks.

use super::error::{ReceiverError, Result};
use super::if_output::{check_if_parts, check_output};
use super::receiver::{
    NetworkPlace, Place, Receiver, block_name, check_network, check_shape, load_name,
};
use super::sideband_path::make_store;
use super::signal_path::{ReceiverGrid, ReceiverPath};
use super::switching_setup::SidebandSource;
use crate::network::{FrequencyGrid, Network, NetworkError};

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

    /// Puts another network in a place. On the RF path of switched mixers it may have any frequencies that
    /// reach those of the plan; the sidebands that it does not reach are as the receiver's `outside` says.
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
        let ports = own.ports();
        if self.switching().is_some() && path == ReceiverPath::Rf {
            return self.set_source(place, &what, ports, network);
        }
        check_network(&network, &what, ports, path, &self.grid_at(place, path)?)?;
        *match place.0 {
            Place::Part(part) => self.setup.parts[part].networks.get_mut(path),
            Place::Load(load) => self.setup.loads[load].networks.get_mut(path),
            // It has no network on a path, which is refused above.
            Place::IfPart(_) => return Ok(()),
        } = Some(network);
        Ok(())
    }

    /// Puts data in a place on the RF path of switched mixers.
    fn set_source(
        &mut self,
        place: NetworkPlace,
        what: &str,
        ports: usize,
        network: Network,
    ) -> Result<()> {
        check_shape(&network, what, ports)?;
        let (grid, data) = (self.plan().grid(ReceiverPath::Rf).clone(), network.grid().clone());
        let setup = &mut self.setup;
        let Some(switching) = &mut setup.switching else { return Ok(()) };
        let source = SidebandSource::Samples(Box::new(network));
        let made = source.onto(&grid, ports, switching.outside)?;
        if let Some((_, hz)) = made.is_outside.iter().zip(grid.as_hz()).find(|(is_out, _)| **is_out)
        {
            let source = NetworkError::OutsideData {
                frequency_hz: *hz,
                first_hz: data.first_hz(),
                last_hz: data.last_hz(),
            };
            return Err(ReceiverError::InNetwork { what: what.to_owned(), source });
        }
        let (networks, own_source) = match place.0 {
            Place::Part(part) => (&mut setup.parts[part].networks, &mut switching.parts[part]),
            Place::Load(load) => (&mut setup.loads[load].networks, &mut switching.loads[load]),
            // It has no network on a path, which is refused before.
            Place::IfPart(_) => return Ok(()),
        };
        (networks.rf, *own_source) = (Some(made.network), source);
        if let Some(count) = self.sideband_store().map(|store| store.count) {
            let store = make_store(self, count, self.plan().points())?;
            self.keep_sideband_count();
            self.keep_sideband_store(store);
        }
        Ok(())
    }

    /// Whether the data of a part reach a frequency, at which its ports end as `outside` says otherwise. All
    /// data reach the frequencies of the plan.
    pub(super) fn reaches(&self, part: usize, path: ReceiverPath, frequency_hz: f64) -> bool {
        match self.switching() {
            Some(switching) if path == ReceiverPath::Rf && self.stage(part).is_none() => {
                switching.parts[part].covers(frequency_hz)
            }
            _ => true,
        }
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
