//! One receiver on many dies: some blocks change from die to die, the rest is solved once.

use super::correction_plan::turns_of_weight;
use super::correction_weight::CorrectionPoint;
use super::error::{ReceiverError, Result};
use super::ideal_part::{ideals, roles};
use super::iq_balance::PlanPoint;
use super::placed_splitters::{PlacedSplitter, splitters_of};
use super::receiver::{GroupIndex, NetworkPlace, Place, Receiver, check_shape};
use super::signal_path::{LoRf, ReceiverPath};
use super::solution::{Voltages, used_path};
use super::switching_setup::SidebandSource;
use super::variation::{MinLoPower, PlanLevels, Variation};
use crate::network::{Network, ParameterKind, convert, onto_grid};
use num_complex::Complex64;
use std::borrow::Cow;
use std::ops::RangeInclusive;

/// A receiver in which some networks change from die to die.
#[derive(Clone, Debug)]
pub struct DieReceiver {
    variation: Variation,
    changing: Vec<NetworkPlace>,
    splitters: Vec<(ReceiverPath, PlacedSplitter)>,
}

/// A receiver with the networks of a die.
#[derive(Clone, Debug, PartialEq)]
pub struct SolvedDie {
    /// Rejection and errors over the plan.
    pub points: Vec<PlanPoint>,
    /// The minimum LO power, where the receiver limits it.
    pub min_lo_power: Option<MinLoPower>,
    /// The levels of switched mixers; `None` for multipliers.
    pub switched: Option<PlanLevels>,
}

impl DieReceiver {
    /// Prepares a receiver for dies with their own networks at these places.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`] for a place of another receiver, and those of
    /// [`plan_points`](super::plan_points) with the receiver's own blocks.
    pub fn new(receiver: Receiver, places: &[NetworkPlace]) -> Result<Self> {
        let splitters = splitters_of(&receiver)?;
        let variation = Variation::new(receiver, places)?;
        Ok(Self { variation, changing: places.to_vec(), splitters })
    }

    /// The receiver with its own blocks.
    pub fn receiver(&self) -> &Receiver {
        self.variation.receiver()
    }

    /// From the lowest to the highest frequency at which a block is used, Hz; the plan's for a name that
    /// the receiver does not have.
    pub fn band_hz(&self, block: &str) -> RangeInclusive<f64> {
        let (receiver, plan) = (self.receiver(), self.receiver().plan());
        let place = receiver.block(block).ok();
        let is_used = |path: &ReceiverPath| {
            place.is_some_and(|place| receiver.network_at(place, *path).is_some())
        };
        let used = ReceiverPath::BOTH.into_iter().filter(is_used);
        let bands = used.filter_map(|path| receiver.grid_at(place?, path).ok());
        let joined = bands.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), grid| {
            (low.min(grid.first_hz()), high.max(grid.last_hz()))
        });
        if joined.0 <= joined.1 { joined.0..=joined.1 } else { plan.band_hz() }
    }

    /// The combination of I and Q on every die.
    pub fn combination(&self) -> &str {
        self.variation.combination()
    }

    /// What the receiver does with a die's networks, in the order of the places given to
    /// [`DieReceiver::new`].
    ///
    /// # Errors
    /// [`ReceiverError::DieNetworks`] for another number of networks; [`ReceiverError::PortCount`]
    /// and [`ReceiverError::InNetwork`] for a network with other ports or one that does not cover
    /// the plan; otherwise as [`plan_points`](super::plan_points).
    pub fn solve(&self, networks: &[Network]) -> Result<SolvedDie> {
        self.check_count(networks)?;
        let varied = self.variation.solve(|changing, path| {
            self.used(self.changing[changing], &networks[changing], path).map(Cow::Owned)
        })?;
        let (points, switched) = self.variation.points_and_levels_of_each(|_| &varied)?;
        Ok(SolvedDie { points, min_lo_power: self.variation.min_lo_power(&varied)?, switched })
    }

    /// A point of a die, from its errors and sideband gain, without the receiver's correction: the
    /// input of a complex weight on Q in the image sideband.
    pub(crate) fn uncorrected_point(
        &self,
        sideband_gain_db: f64,
        wanted_error: Complex64,
        channel_error: Complex64,
    ) -> CorrectionPoint {
        let correction = &self.receiver().output().correction;
        let (wanted, turns) = (self.receiver().plan().wanted(), self.lo_turns());
        let wanted_error = correction.undone(wanted_error, 1.0, wanted, turns);
        let image_error = self.uncorrected_image_error(channel_error);
        CorrectionPoint::of_errors(sideband_gain_db, wanted_error, image_error)
            .for_domain(correction.acts_on())
    }

    /// A channel error of the wanted sideband with another setting of the receiver's correction: gain of
    /// Q, dB, and phase, degrees.
    pub(crate) fn wanted_error_at(
        &self,
        setting: (f64, f64),
        wanted_error: Complex64,
    ) -> Complex64 {
        let correction = &self.receiver().output().correction;
        let (wanted, turns) = (self.receiver().plan().wanted(), self.lo_turns());
        let uncorrected = correction.undone(wanted_error, 1.0, wanted, turns);
        correction.wanted_error_at(setting, uncorrected, wanted, turns)
    }

    /// A channel error of the image sideband without the receiver's correction.
    pub(crate) fn uncorrected_image_error(&self, channel_error: Complex64) -> Complex64 {
        let image = self.receiver().plan().wanted().opposite();
        let correction = &self.receiver().output().correction;
        correction.undone(channel_error, -1.0, image, self.lo_turns())
    }

    /// The phase setting for a complex weight on Q in the image sideband, degrees.
    pub(crate) fn correction_phase_deg(&self, weight: Complex64) -> f64 {
        weight.arg().to_degrees() / self.turns_of_weight() + 0.0
    }

    /// The phase of the weight for a phase setting, degrees.
    pub(crate) fn correction_weight_deg(&self, phase_deg: f64) -> f64 {
        phase_deg * self.turns_of_weight()
    }

    fn lo_turns(&self) -> i32 {
        self.receiver().mixing().lo_harmonic()
    }

    fn turns_of_weight(&self) -> f64 {
        let image = self.receiver().plan().wanted().opposite();
        turns_of_weight(self.receiver().output().correction.acts_on(), image, self.lo_turns())
    }

    /// The points with one block, or a pair, ideal: matched and balanced, with the mean phase and
    /// loss that it has on this die.
    ///
    /// # Errors
    /// As [`solve`](Self::solve), and [`ReceiverError::NoSuch`] for an index of another receiver.
    pub fn points_if_ideal(
        &self,
        networks: &[Network],
        group: GroupIndex,
    ) -> Result<Vec<PlanPoint>> {
        self.check_count(networks)?;
        let group = self.receiver().group(group)?;
        let mut receiver = self.receiver().clone();
        for (&place, network) in self.changing.iter().zip(networks) {
            for path in ReceiverPath::BOTH {
                if self.receiver().network_at(place, path).is_some() {
                    let there = self.on_path(place, network, path)?;
                    let is_at_sidebands =
                        path == ReceiverPath::Rf && receiver.switching().is_some();
                    let there = if is_at_sidebands { network.clone() } else { there };
                    receiver.set_network_at(place, path, there)?;
                }
            }
        }
        let voltages = LoRf::try_of_each(|path| {
            let path = used_path(&receiver, path)?;
            // The warnings are the same for every die and are given for the receiver itself.
            let roles = roles(&receiver, &path, &mut Vec::new());
            let mut blocks = path.blocks.clone();
            let ideals = ideals(&receiver, &path, &roles)?;
            for (own, ideal) in path.parts.iter().zip(ideals) {
                if group.parts.contains(&own.part) {
                    blocks[own.block] = ideal;
                }
            }
            let reduced = path.reduce(&receiver, &blocks)?;
            let is_ideal = |part: usize| group.parts.contains(&part);
            path.voltages_with(&receiver, &reduced, &path.terminations(&receiver)?, is_ideal)
        })?;
        self.variation.points_of_voltages(Voltages::of(&voltages))
    }

    /// Refuses a die on which a splitter is connected otherwise than its data say; a contradiction of
    /// its data without a likely order is a warning.
    ///
    /// # Errors
    /// [`ReceiverError::PortOrder`]; otherwise as [`solve`](Self::solve).
    pub fn check_port_orders(&self, networks: &[Network]) -> Result<Vec<String>> {
        self.check_count(networks)?;
        let mut warnings = Vec::new();
        for (&place, network) in self.changing.iter().zip(networks) {
            for (path, splitter) in &self.splitters {
                if place != NetworkPlace(Place::Part(splitter.part())) {
                    continue;
                }
                let there = self.on_path(place, network, *path)?;
                let Some(found) = splitter.finding(&there) else { continue };
                let text = splitter.text(self.receiver(), &found);
                if found.likely.is_some() {
                    return Err(ReceiverError::PortOrder { text });
                }
                warnings.push(text);
            }
        }
        Ok(warnings)
    }

    fn check_count(&self, networks: &[Network]) -> Result<()> {
        let (expected, found) = (self.changing.len(), networks.len());
        if expected == found { Ok(()) } else { Err(ReceiverError::DieNetworks { expected, found }) }
    }

    /// A die's network at the frequencies at which the receiver uses a path.
    fn used(&self, place: NetworkPlace, network: &Network, path: ReceiverPath) -> Result<Network> {
        let there = self.on_path(place, network, path)?;
        let sidebands = self.receiver().switching().zip(self.variation.sideband_grid());
        let Some((switching, grid)) = sidebands.filter(|_| path == ReceiverPath::Rf) else {
            return Ok(there);
        };
        let source = SidebandSource::Samples(Box::new(network.clone()));
        Ok(source.onto(grid, network.ports(), switching.outside)?.network)
    }

    /// A die's network at the frequencies of a path in the plan.
    fn on_path(
        &self,
        place: NetworkPlace,
        network: &Network,
        path: ReceiverPath,
    ) -> Result<Network> {
        let receiver = self.receiver();
        let what = receiver.place_name(place)?;
        if let Some(own) = receiver.network_at(place, path) {
            check_shape(network, &what, own.ports())?;
        }
        let there = onto_grid(network, &receiver.grid_at(place, path)?);
        there
            .and_then(|there| convert(&there.network, ParameterKind::Scattering))
            .map_err(|source| ReceiverError::InNetwork { what, source })
    }
}
