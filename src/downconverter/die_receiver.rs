//! One receiver on many dies: some blocks change from die to die, the rest is solved once.

use super::analysis::{PlanPoint, Solved, points_of};
use super::drive::{element_conductances, lo_points};
use super::error::ReceiverError;
use super::ideal::{groups, ideals, roles};
use super::receiver::{Receiver, Way};
use super::side::{Endings, Side};
use super::solution::{Evaluation, Voltages, check_channels, iq_outputs};
use crate::network::{
    Network, NetworkError, ParameterKind, WaveDefinition, convert, interpolate, renormalise,
};
use num_complex::Complex64;

/// A receiver of which some blocks change from die to die.
#[derive(Clone, Debug)]
pub struct DieReceiver {
    receiver: Receiver,
    changing: Vec<usize>,
    ways: [DieWay; 2],
    /// How I and Q are put together: chosen once, with the description's own blocks, so that a die
    /// whose phases are the wrong way round is not taken for a good one.
    chosen: usize,
}

/// One way in, prepared.
#[derive(Clone, Debug)]
enum DieWay {
    /// No changing block lies on it.
    Fixed(Vec<Complex64>),
    /// Some do: for each, which of the changing blocks it is and which of the side's.
    Changing { side: Side, endings: Endings, slots: Vec<(usize, usize)> },
}

/// The least LO power at any element.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastDrive {
    /// The power, dBm.
    pub power_dbm: f64,
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
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
        let own = Solved::new(&receiver)?;
        let fixed = [own.voltages.lo, own.voltages.rf];
        let mut ways = Vec::new();
        for (way, fixed) in Way::BOTH.into_iter().zip(fixed) {
            let side = Side::new(&receiver, way)?;
            if !side.parts.iter().any(|part| changing.contains(part)) {
                ways.push(DieWay::Fixed(fixed));
                continue;
            }
            // The power at an element takes the blocks beside it one by one.
            let side = if receiver.limits.lo_power_dbm_min.is_some() {
                side
            } else {
                side.gathered(&receiver, &changing)?
            };
            let slots = side.parts.iter().enumerate();
            let slots = slots.filter_map(|(block, part)| {
                Some((changing.iter().position(|changing| changing == part)?, block))
            });
            let slots = slots.collect();
            ways.push(DieWay::Changing { endings: side.endings(&receiver), side, slots });
        }
        let Ok(ways) = <[DieWay; 2]>::try_from(ways) else {
            return Err(NetworkError::NoFrequencies.into());
        };
        Ok(Self { receiver, changing, ways, chosen: own.chosen })
    }

    /// The receiver with its own blocks.
    #[must_use]
    pub fn receiver(&self) -> &Receiver {
        &self.receiver
    }

    /// How I and Q are put together on every die.
    #[must_use]
    pub fn combination(&self) -> &str {
        &self.receiver.output.choices[self.chosen].name
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
        let mut conductances = None;
        let mut voltages = Vec::new();
        for (way, prepared) in Way::BOTH.into_iter().zip(&self.ways) {
            let (side, endings, slots) = match prepared {
                DieWay::Fixed(fixed) => {
                    voltages.push(fixed.clone());
                    continue;
                }
                DieWay::Changing { side, endings, slots } => (side, endings, slots),
            };
            let mut blocks = side.blocks.clone();
            for &(changing, block) in slots {
                let references = blocks[block].references_ohm(0).to_vec();
                let brought = self.brought(networks, changing, way)?;
                blocks[block] = renormalise(&brought, references, WaveDefinition::Power)?;
            }
            let reduced = side.reduce(&self.receiver, &blocks)?;
            voltages.push(side.voltages(&self.receiver, &reduced, endings)?);
            if way == Way::Lo && self.receiver.limits.lo_power_dbm_min.is_some() {
                conductances = Some(element_conductances(&self.receiver, side, &reduced, endings)?);
            }
        }
        let rf = voltages.pop().unwrap_or_default();
        let voltages = Voltages { lo: voltages.pop().unwrap_or_default(), rf };
        let points = self.combined(&self.receiver, &voltages)?;
        let drive = match (self.receiver.limits.lo_power_dbm_min, conductances) {
            (None, _) => None,
            (Some(_), Some(conductances)) => self.least_drive(&voltages, &conductances),
            // No die changes it.
            (Some(_), None) => {
                let lo = Side::new(&self.receiver, Way::Lo)?;
                let reduced = lo.reduce(&self.receiver, &lo.blocks)?;
                let endings = lo.endings(&self.receiver);
                let conductances = element_conductances(&self.receiver, &lo, &reduced, &endings)?;
                self.least_drive(&voltages, &conductances)
            }
        };
        Ok((points, drive))
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
        let Some(group) = groups(&self.receiver).into_iter().find(|group| group.name == name)
        else {
            return Err(ReceiverError::NoBlock { name: name.to_owned() });
        };
        let mut receiver = self.receiver.clone();
        for (changing, &part) in self.changing.iter().enumerate() {
            for way in Way::BOTH {
                if self.receiver.parts[part].network.of(way).is_some() {
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
        let voltages = Voltages { lo: solve(Way::Lo)?, rf: solve(Way::Rf)? };
        self.combined(&receiver, &voltages)
    }

    /// Names of the blocks and pairs that [`points_if_ideal`](Self::points_if_ideal) knows.
    #[must_use]
    pub fn contributors(&self) -> Vec<String> {
        groups(&self.receiver).into_iter().map(|group| group.name).collect()
    }

    /// The name under which a changing block counts: its own or its pair's.
    #[must_use]
    pub fn contributor_of(&self, changing: usize) -> Option<String> {
        let part = *self.changing.get(changing)?;
        groups(&self.receiver)
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
        let part = &self.receiver.parts[self.changing[changing]];
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
        let grid = &self.receiver.input(way).grid;
        let there = interpolate(network, grid).map_err(misfit)?.network;
        convert(&there, ParameterKind::Scattering).map_err(misfit)
    }

    fn combined(
        &self,
        receiver: &Receiver,
        voltages: &Voltages,
    ) -> Result<Vec<PlanPoint>, ReceiverError> {
        let outputs = iq_outputs(receiver, voltages, true);
        check_channels(receiver, &outputs)?;
        let evaluation = Evaluation {
            choice: &receiver.output.choices[self.chosen],
            correction: receiver.output.correction,
            has_real_gains: true,
        };
        Ok(points_of(receiver, &outputs, &evaluation))
    }

    fn least_drive(&self, voltages: &Voltages, conductances: &[Option<f64>]) -> Option<LeastDrive> {
        lo_points(&self.receiver, voltages, conductances)
            .iter()
            .flat_map(|point| {
                let powers = point.mixers.iter().filter_map(|mixer| mixer.lo_power_dbm);
                powers.map(|power_dbm| LeastDrive { power_dbm, lo_hz: point.lo_hz })
            })
            .min_by(|one, other| one.power_dbm.total_cmp(&other.power_dbm))
    }
}
