//! One receiver on many dies: some blocks change from die to die, the rest is solved once.

use super::error::ReceiverError;
use super::ideal_part::{groups, ideals, roles};
use super::iq_balance::PlanPoint;
use super::receiver::{Receiver, Way};
use super::side::Side;
use super::variation::{LeastDrive, Place, Variation};
use crate::network::{Network, NetworkError, ParameterKind, convert, onto_grid};
use std::borrow::Cow;

/// A receiver of which some blocks change from die to die.
#[derive(Clone, Debug)]
pub struct DieReceiver {
    variation: Variation,
    changing: Vec<usize>,
}

impl DieReceiver {
    /// Prepares a receiver for dies that bring networks of their own for the blocks named.
    ///
    /// # Errors
    /// [`ReceiverError::NoBlock`] for a name that is none of its blocks, and those of
    /// [`plan_points`](super::plan_points) with the receiver's own blocks.
    pub fn new(receiver: Receiver, blocks: &[String]) -> Result<Self, ReceiverError> {
        let changing = blocks
            .iter()
            .map(|name| {
                let place = receiver.parts.iter().position(|part| part.name == *name);
                place.ok_or_else(|| ReceiverError::NoBlock { name: name.clone() })
            })
            .collect::<Result<Vec<_>, _>>()?;
        let places: Vec<Place> = changing.iter().map(|&part| Place::Part(part)).collect();
        Ok(Self { variation: Variation::new(receiver, &places, true)?, changing })
    }

    /// The receiver with its own blocks.
    #[must_use]
    pub fn receiver(&self) -> &Receiver {
        self.variation.receiver()
    }

    /// How I and Q are put together on every die.
    #[must_use]
    pub fn combination(&self) -> &str {
        self.variation.combination()
    }

    /// Rejection and errors over the plan with a die's networks, in the order of the blocks given to
    /// [`DieReceiver::new`], and the least LO power where the receiver limits it.
    ///
    /// # Errors
    /// [`ReceiverError::DieNetwork`] for a network that does not fit or does not cover the plan;
    /// otherwise as [`plan_points`](super::plan_points).
    pub fn points(
        &self,
        networks: &[Network],
    ) -> Result<(Vec<PlanPoint>, Option<LeastDrive>), ReceiverError> {
        let varied = self
            .variation
            .solve(|changing, way| self.brought(networks, changing, way).map(Cow::Owned))?;
        Ok((self.variation.points(&varied)?, self.variation.least_drive(&varied)))
    }

    /// The same with one block, or a pair, ideal: matched and balanced, with the mean phase and loss
    /// that it has on this die.
    ///
    /// # Errors
    /// [`ReceiverError::NoBlock`] for a name that is no block's and no pair's; otherwise as
    /// [`points`](Self::points).
    pub fn points_if_ideal(
        &self,
        networks: &[Network],
        name: &str,
    ) -> Result<Vec<PlanPoint>, ReceiverError> {
        let Some(group) = groups(self.receiver()).into_iter().find(|group| group.name == name)
        else {
            return Err(ReceiverError::NoBlock { name: name.to_owned() });
        };
        let mut receiver = self.receiver().clone();
        for (changing, &part) in self.changing.iter().enumerate() {
            for way in Way::BOTH {
                if self.receiver().parts[part].network.of(way).is_some() {
                    let brought = self.brought(networks, changing, way)?;
                    receiver.parts[part].network.0[way.index()] = Some(brought);
                }
            }
        }
        let solve = |way: Way| {
            let side = Side::new(&receiver, way)?;
            let roles = roles(&receiver, &side, &mut Vec::new());
            let mut blocks = side.blocks.clone();
            for (block, ideal) in ideals(&receiver, &side, &roles)?.into_iter().enumerate() {
                if group.parts.contains(&side.parts[block]) {
                    blocks[block] = ideal;
                }
            }
            let reduced = side.reduce(&receiver, &blocks)?;
            side.voltages(&receiver, &reduced, &side.endings(&receiver))
        };
        self.variation.points_of_voltages(&receiver, &solve(Way::Lo)?, &solve(Way::Rf)?)
    }

    /// Names of the blocks and pairs that [`points_if_ideal`](Self::points_if_ideal) knows.
    #[must_use]
    pub fn contributors(&self) -> Vec<String> {
        groups(self.receiver()).into_iter().map(|group| group.name).collect()
    }

    /// The name under which a changing block counts: its own or its pair's.
    #[must_use]
    pub fn contributor_of(&self, changing: usize) -> Option<String> {
        let part = *self.changing.get(changing)?;
        groups(self.receiver())
            .into_iter()
            .find(|group| group.parts.contains(&part))
            .map(|group| group.name)
    }

    /// A die's network at the frequencies of one way.
    fn brought(
        &self,
        networks: &[Network],
        changing: usize,
        way: Way,
    ) -> Result<Network, ReceiverError> {
        let part = &self.receiver().parts[self.changing[changing]];
        let misfit = |source| ReceiverError::DieNetwork { block: part.name.clone(), source };
        let ports = part.ports.len();
        let network = networks.get(changing).ok_or_else(|| misfit(NetworkError::NoFrequencies))?;
        if network.modes().is_some() {
            return Err(misfit(NetworkError::MixedMode));
        }
        if network.ports() != ports {
            return Err(ReceiverError::DiePorts {
                block: part.name.clone(),
                expected: ports,
                found: network.ports(),
            });
        }
        let grid = &self.receiver().input(way).grid;
        let there = onto_grid(network, grid).map_err(misfit)?.network;
        convert(&there, ParameterKind::Scattering).map_err(misfit)
    }
}
