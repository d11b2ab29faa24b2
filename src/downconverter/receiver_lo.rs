//! What a checked receiver knows of its LO: the drive of its LO network, its stages, its networks at
//! other frequencies.

use super::driven_path::{DrivenStage, LoDrive};
use super::error::Result;
use super::lo_drive_setup::StagePart;
use super::lo_pieces::{STAGE_INPUT, STAGE_OUTPUT};
use super::part_model::PartModel;
use super::receiver::{NetworkPlace, Place, Receiver};
use super::signal_path::ReceiverPath;
use crate::network::{FrequencyGrid, Network, Port, Terminal};
use std::ops::RangeInclusive;
use std::sync::Arc;

impl Receiver {
    /// What a block does as a stage inside the LO network; `None` for all others.
    #[must_use]
    pub fn stage(&self, part: usize) -> Option<&StagePart> {
        self.parts().get(part)?.stage.as_ref()
    }

    /// From the lowest to the highest frequency at which parts are used, Hz: those of the plan, and of the
    /// LO before stages inside its network.
    #[must_use]
    pub fn band_hz(&self) -> RangeInclusive<f64> {
        let plan = self.plan().band_hz();
        let path = ReceiverPath::Lo;
        let grids = self.places().filter_map(|place| Some(self.network_at(place, path)?.grid()));
        let (low, high) = grids.fold((*plan.start(), *plan.end()), |(low, high), grid| {
            (low.min(grid.first_hz()), high.max(grid.last_hz()))
        });
        low..=high
    }

    /// The carrier at the LO input at each LO, where its power is known.
    pub(super) fn lo_drive(&self, lo: usize) -> Option<LoDrive> {
        match &self.chain {
            Some(chain) => Some(chain.drive(lo)),
            None => {
                let power_dbm = self.plan().settings().lo_power_dbm?;
                Some(LoDrive { power_dbm, phase: 0.0 })
            }
        }
    }

    /// The stages inside the LO network in the order of the signal, by their place among the parts.
    pub(super) fn stages_inside(&self) -> impl Iterator<Item = usize> + '_ {
        self.pieces.stages().iter().map(|stage| stage.block)
    }

    /// A stage as it is, or as the ideal of its group: matched to its nodes, with the mean law.
    pub(super) fn driven_stage(&self, part: usize, is_ideal: bool) -> Option<DrivenStage> {
        let own = self.stage(part)?;
        if !is_ideal {
            let laws = vec![own.law.clone()];
            let (input_ohm, output_ohm) = (own.input_ohm, own.output_ohm);
            return Some(DrivenStage { laws, input_ohm, output_ohm });
        }
        let group = &self.group_of(part).parts;
        let laws = group.iter().filter_map(|&part| Some(self.stage(part)?.law.clone())).collect();
        let reference_ohm =
            |port| self.reference_ohm(Terminal { block: part, port: Port::from_index(port) });
        let (input_ohm, output_ohm) = (reference_ohm(STAGE_INPUT), reference_ohm(STAGE_OUTPUT));
        Some(DrivenStage { laws, input_ohm, output_ohm })
    }

    /// What a place is made from, at any frequency that its data reach.
    pub(super) fn model_at(&self, place: NetworkPlace, path: ReceiverPath) -> Option<PartModel> {
        let model = match place.0 {
            Place::Part(part) => &self.parts()[part].model,
            Place::Load(load) => &self.loads()[load].model,
            Place::IfPart(_) => return None,
        };
        let sampled =
            || self.network_at(place, path).map(|own| PartModel::Sampled(Arc::new(own.clone())));
        model.clone().or_else(sampled)
    }

    /// The places of a path.
    pub(super) fn places_on(&self, path: ReceiverPath) -> impl Iterator<Item = NetworkPlace> + '_ {
        self.places().filter(move |place| self.network_at(*place, path).is_some())
    }

    /// How many ports the network in a place has.
    pub(super) fn ports_at(&self, place: NetworkPlace) -> usize {
        match place.0 {
            Place::Part(part) => self.parts()[part].ports.len(),
            Place::Load(_) => 1,
            Place::IfPart(part) => self.output().parts[part].network.ports(),
        }
    }

    /// The port by which a place is known: the first of a part, that of a load; `None` behind the mixers.
    pub(super) fn terminal_of(&self, place: NetworkPlace) -> Option<Terminal> {
        match place.0 {
            Place::Part(block) => Some(Terminal { block, port: Port::from_index(0) }),
            Place::Load(load) => Some(self.loads()[load].at),
            Place::IfPart(_) => None,
        }
    }

    /// The same receiver with other networks in all places of a path, all on one grid: for solutions
    /// beyond its plan.
    pub(super) fn with_networks_on(
        &self,
        path: ReceiverPath,
        grid: &FrequencyGrid,
        mut network: impl FnMut(NetworkPlace) -> Result<Network>,
    ) -> Result<Self> {
        let mut other = self.clone();
        let places: Vec<NetworkPlace> = self.places_on(path).collect();
        for place in places {
            let own = Some(network(place)?);
            match place.0 {
                Place::Part(part) => *other.setup.parts[part].networks.get_mut(path) = own,
                Place::Load(load) => *other.setup.loads[load].networks.get_mut(path) = own,
                // It is on no path.
                Place::IfPart(_) => {}
            }
        }
        *other.path_grids.get_mut(path) = grid.clone();
        Ok(other)
    }
}
