//! One receiver solved again and again with other networks in some of its places: what does not change
//! is prepared once.

use super::analysis::{Solved, points_of};
use super::drive::{LoPoint, element_conductances, lo_points};
use super::error::ReceiverError;
use super::iq_balance::PlanPoint;
use super::receiver::{Receiver, Way};
use super::side::{Endings, Side};
use super::solution::{Evaluation, Voltages, check_channels, iq_outputs_of};
use crate::network::{
    FrequencyGrid, Load, Network, NetworkError, WaveDefinition, change_reference, onto_grid,
};
use crate::requirement::Quantity;
use num_complex::Complex64;

/// Where in a receiver a network stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// One of its parts.
    Part(usize),
    /// One of its loads.
    Load(usize),
}

/// A receiver of which the networks in some places change.
#[derive(Clone, Debug)]
pub struct Variation {
    receiver: Receiver,
    ways: [VariedWay; 2],
    /// How I and Q are put together: chosen once, with the receiver's own networks, so that one whose
    /// phases are the wrong way round is not taken for a good one.
    chosen: usize,
}

/// One way in, prepared.
#[derive(Clone, Debug)]
enum VariedWay {
    /// Nothing on it changes.
    Fixed(Vec<Complex64>),
    /// Something does.
    Changing(Box<ChangingWay>),
}

#[derive(Clone, Debug)]
struct ChangingWay {
    side: Side,
    endings: Endings,
    /// Which of the changing places each is, and where on this way.
    slots: Vec<(usize, Slot)>,
    /// The parts joined, where only loads change.
    reduced: Option<Network>,
}

#[derive(Clone, Copy, Debug)]
enum Slot {
    Block(usize),
    Ending(usize),
}

/// A receiver solved with certain networks.
#[derive(Clone, Debug)]
pub struct Varied {
    voltages: Voltages,
    /// Of the loads at each element's LO port; `None` where nobody asks for the LO power.
    conductances: Option<Vec<Option<f64>>>,
}

/// The least LO power at any element.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastDrive {
    /// The power, dBm.
    pub power_dbm: f64,
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
}

impl Receiver {
    /// The network in a place, at the frequencies of a way; `None` where that way does not reach it.
    #[must_use]
    pub fn network_at(&self, place: Place, way: Way) -> Option<&Network> {
        match place {
            Place::Part(part) => self.parts.get(part)?.network.of(way),
            Place::Load(load) => self.loads.get(load)?.network.of(way),
        }
    }

    /// Puts another network in a place, with the frequencies of the way.
    pub fn set_network_at(&mut self, place: Place, way: Way, network: Network) {
        let slot = match place {
            Place::Part(part) => self.parts.get_mut(part).map(|part| &mut part.network),
            Place::Load(load) => self.loads.get_mut(load).map(|load| &mut load.network),
        };
        if let Some(slot) = slot {
            slot.0[way.index()] = Some(network);
        }
    }
}

impl Variation {
    /// Prepares a receiver for other networks in these places. With `is_gathered` the parts that stay
    /// are joined into one block beforehand, which pays where few change.
    ///
    /// # Errors
    /// Those of [`plan_points`](super::plan_points) with the receiver's own networks.
    pub fn new(
        receiver: Receiver,
        changing: &[Place],
        is_gathered: bool,
    ) -> Result<Self, ReceiverError> {
        let own = Solved::new(&receiver)?;
        let fixed = [own.voltages.lo, own.voltages.rf];
        let parts: Vec<usize> = changing
            .iter()
            .filter_map(|place| match place {
                Place::Part(part) => Some(*part),
                Place::Load(_) => None,
            })
            .collect();
        let mut ways = Vec::new();
        for (way, fixed) in Way::BOTH.into_iter().zip(fixed) {
            let side = Side::new(&receiver, way)?;
            // The power at an element takes the blocks beside it one by one.
            let has_power = way == Way::Lo && receiver.limits.on(Quantity::LoPower).is_some();
            let is_touched = side.parts.iter().any(|part| parts.contains(part));
            let side = if is_gathered && is_touched && !has_power {
                side.gathered(&receiver, &parts)?
            } else {
                side
            };
            let slot = |place: &Place| match place {
                Place::Part(part) => side.parts.iter().position(|own| own == part).map(Slot::Block),
                Place::Load(load) => {
                    let load = receiver.loads.get(*load)?;
                    load.network.of(way)?;
                    side.end_at(load.at).map(Slot::Ending)
                }
            };
            let slots: Vec<(usize, Slot)> = changing
                .iter()
                .enumerate()
                .filter_map(|(at, place)| Some((at, slot(place)?)))
                .collect();
            ways.push(if slots.is_empty() {
                VariedWay::Fixed(fixed)
            } else {
                let only_loads = slots.iter().all(|(_, slot)| matches!(slot, Slot::Ending(_)));
                let reduced =
                    only_loads.then(|| side.reduce(&receiver, &side.blocks)).transpose()?;
                let endings = side.endings(&receiver);
                VariedWay::Changing(Box::new(ChangingWay { side, endings, slots, reduced }))
            });
        }
        let Ok(ways) = <[VariedWay; 2]>::try_from(ways) else {
            return Err(NetworkError::NoFrequencies.into());
        };
        Ok(Self { receiver, ways, chosen: own.chosen })
    }

    /// The receiver with its own networks.
    #[must_use]
    pub fn receiver(&self) -> &Receiver {
        &self.receiver
    }

    /// How I and Q are put together, whatever the networks.
    #[must_use]
    pub fn combination(&self) -> &str {
        &self.receiver.output.choices[self.chosen].name
    }

    /// The receiver at one point of its plan alone, I and Q put together as here.
    ///
    /// # Errors
    /// None in practice: its networks have these frequencies.
    pub fn at_point(&self, point: usize) -> Result<Receiver, ReceiverError> {
        let mut one = self.receiver.clone();
        let plan = &self.receiver.plan;
        let (lo, intermediate) = (point / plan.if_hz.len(), point % plan.if_hz.len());
        one.plan.lo_hz = vec![plan.lo_hz[lo]];
        one.plan.if_hz = vec![plan.if_hz[intermediate]];
        let mut rf: Vec<usize> = plan.rf_points[point].to_vec();
        rf.sort_unstable();
        rf.dedup();
        one.plan.rf_points =
            vec![plan.rf_points[point].map(|at| rf.iter().position(|own| *own == at).unwrap_or(0))];
        for (way, points) in [(Way::Lo, vec![lo]), (Way::Rf, rf)] {
            let at_hz = self.receiver.input(way).grid.as_hz();
            let grid = FrequencyGrid::from_hz(points.iter().map(|&at| at_hz[at]).collect())?;
            one.inputs[way.index()].grid = grid.clone();
            let parts = one.parts.iter_mut().map(|part| &mut part.network);
            for network in parts.chain(one.loads.iter_mut().map(|load| &mut load.network)) {
                if let Some(network) = &mut network.0[way.index()] {
                    *network = onto_grid(network, &grid)?.network;
                }
            }
        }
        for choices in [&mut one.output.choices, &mut one.output.ideal_choices] {
            *choices = vec![choices[self.chosen].clone()];
            choices[0].transfers = vec![choices[0].transfers[intermediate]];
        }
        Ok(one)
    }

    /// Solves with the networks that `network` gives for a changing place, by its number, at the
    /// frequencies of a way.
    ///
    /// # Errors
    /// Those of `network`, and a loop that rings.
    pub fn solve<'n>(
        &self,
        network: impl Fn(usize, Way) -> Result<std::borrow::Cow<'n, Network>, ReceiverError>,
    ) -> Result<Varied, ReceiverError> {
        let mut conductances = None;
        let mut solved = Vec::new();
        for (way, prepared) in Way::BOTH.into_iter().zip(&self.ways) {
            let wants_power =
                way == Way::Lo && self.receiver.limits.on(Quantity::LoPower).is_some();
            match prepared {
                VariedWay::Fixed(fixed) => {
                    solved.push(fixed.clone());
                    if wants_power {
                        let side = Side::new(&self.receiver, way)?;
                        let reduced = side.reduce(&self.receiver, &side.blocks)?;
                        let endings = side.endings(&self.receiver);
                        conductances =
                            Some(element_conductances(&self.receiver, &side, &reduced, &endings)?);
                    }
                }
                VariedWay::Changing(prepared) => {
                    let ChangingWay { side, endings, slots, reduced } = prepared.as_ref();
                    let mut endings = endings.clone();
                    let mut changed: Option<Side> = None;
                    for &(at, slot) in slots {
                        let network = network(at, way)?;
                        match slot {
                            Slot::Ending(end) => endings[end] = Load::OnePort(network.into_owned()),
                            Slot::Block(block) => {
                                let changed = changed.get_or_insert_with(|| side.clone());
                                let references = side.blocks[block].references_ohm(0).to_vec();
                                changed.blocks[block] = change_reference(
                                    &network,
                                    references,
                                    WaveDefinition::Kurokawa,
                                )?;
                            }
                        }
                    }
                    let side = changed.as_ref().unwrap_or(side);
                    let reduced = match reduced {
                        Some(reduced) => reduced,
                        None => &side.reduce(&self.receiver, &side.blocks)?,
                    };
                    solved.push(side.voltages(&self.receiver, reduced, &endings)?);
                    if wants_power {
                        conductances =
                            Some(element_conductances(&self.receiver, side, reduced, &endings)?);
                    }
                }
            }
        }
        let rf = solved.pop().unwrap_or_default();
        let voltages = Voltages { lo: solved.pop().unwrap_or_default(), rf };
        Ok(Varied { voltages, conductances })
    }

    /// Rejection and errors over the plan.
    ///
    /// # Errors
    /// [`ReceiverError::SilentChannel`] where a channel gives nothing.
    pub fn points(&self, varied: &Varied) -> Result<Vec<PlanPoint>, ReceiverError> {
        self.points_of_ways(varied, varied)
    }

    /// The same with the LO side of one solution and the RF side of another.
    ///
    /// # Errors
    /// As [`points`](Self::points).
    pub fn points_of_ways(
        &self,
        lo: &Varied,
        rf: &Varied,
    ) -> Result<Vec<PlanPoint>, ReceiverError> {
        self.points_of_voltages(&self.receiver, &lo.voltages.lo, &rf.voltages.rf)
    }

    /// The same from voltages at the elements of `receiver`, which has the same plan and elements.
    pub(super) fn points_of_voltages(
        &self,
        receiver: &Receiver,
        lo: &[Complex64],
        rf: &[Complex64],
    ) -> Result<Vec<PlanPoint>, ReceiverError> {
        let outputs = iq_outputs_of(receiver, lo, rf, true);
        check_channels(receiver, &outputs)?;
        let evaluation = Evaluation {
            choice: &receiver.output.choices[self.chosen],
            correction: receiver.output.correction,
            has_real_gains: true,
        };
        Ok(points_of(receiver, &outputs, &evaluation))
    }

    /// The least LO power at any element, where the receiver limits it.
    #[must_use]
    pub fn least_drive(&self, varied: &Varied) -> Option<LeastDrive> {
        let conductances = varied.conductances.as_ref()?;
        let points: Vec<LoPoint> = lo_points(&self.receiver, &varied.voltages, conductances);
        points
            .iter()
            .flat_map(|point| {
                let powers = point.mixers.iter().filter_map(|mixer| mixer.lo_power_dbm);
                powers.map(|power_dbm| LeastDrive { power_dbm, lo_hz: point.lo_hz })
            })
            .min_by(|one, other| one.power_dbm.total_cmp(&other.power_dbm))
    }
}
