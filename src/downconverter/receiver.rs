//! A checked receiver: whoever holds one can solve it.

use super::error::ReceiverError;
use super::iq_balance::{Channel, Combination, Mixing};
use super::lo_if_plan::ReceiverPlan;
use super::receiver_setup::{
    CorrectionSteps, Join, Mixer, OutputStage, PowerInput, ReceiverLoad, ReceiverPart,
    ReceiverSetup, ReflectionSweepSettings, entry_ports, node_of,
};
use super::signal_path::{LoRf, ReceiverPath};
use crate::network::{Network, NetworkError, Port, Terminal, onto_grid};
use crate::requirement::{Limits, Quantity};
use num_complex::Complex64;
use std::collections::HashSet;

/// A block of a receiver, by its place in the receiver that gave the index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct PartIndex(usize);

/// A load of a receiver, by its place in the receiver that gave the index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct LoadIndex(usize);

/// A single block or a pair of blocks, by its place in the receiver that gave the index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct GroupIndex(usize);

impl PartIndex {
    pub(super) fn index(self) -> usize {
        self.0
    }
}

impl LoadIndex {
    pub(super) fn index(self) -> usize {
        self.0
    }
}

/// Where a network stands in a receiver.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum NetworkPlace {
    /// A block.
    Part(PartIndex),
    /// A load.
    Load(LoadIndex),
}

/// Blocks that are ideal together: a single block, or all blocks of a pair.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Group {
    pub(super) name: String,
    pub(super) is_pair: bool,
    /// Their places among the parts, ascending.
    pub(super) parts: Vec<usize>,
}

/// A receiver that can be solved.
///
/// Every port is joined, loaded or an input; every block and load has a network, at the plan's
/// frequencies, for each path that reaches it, and for no other; every mixer's ports are reached;
/// both channels have a mixer.
#[derive(Clone, Debug)]
pub struct Receiver {
    setup: ReceiverSetup,
    mixing: Mixing,
    /// The port by which each path enters each part.
    entries: LoRf<Vec<Option<Port>>>,
    groups: Vec<Group>,
    /// The group of each part.
    group_of: Vec<usize>,
}

impl Receiver {
    /// Checks a receiver. Networks given for paths that do not reach their place are left out.
    ///
    /// # Errors
    /// [`ReceiverError`] with the first rule that is broken, and by what.
    pub fn new(mut setup: ReceiverSetup) -> Result<Self, ReceiverError> {
        check_blocks_and_names(&setup)?;
        check_ports(&setup)?;
        let counts: Vec<usize> = setup.parts.iter().map(|part| part.ports.len()).collect();
        let entries =
            LoRf::of_each(|path| entry_ports(&counts, &setup.joins, setup.inputs.get(path).at));
        check_mixers(&setup, &entries)?;
        check_networks(&mut setup, &entries)?;
        check_sources_and_output(&setup)?;
        check_limits(&setup.limits, &setup.plan)?;
        let turns = setup.plan.lo_harmonic() * setup.plan.lo_multiplication_after_split();
        let mixing = Mixing::new(setup.lo_amplitude_exponent, turns)?;
        let (groups, group_of) = grouped(&setup.parts);
        Ok(Self { setup, mixing, entries, groups, group_of })
    }

    /// What it is.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.setup.title
    }

    /// The frequencies at which it is solved.
    #[must_use]
    pub fn plan(&self) -> &ReceiverPlan {
        &self.setup.plan
    }

    /// The blocks.
    #[must_use]
    pub fn parts(&self) -> &[ReceiverPart] {
        &self.setup.parts
    }

    /// Ports that meet.
    #[must_use]
    pub fn joins(&self) -> &[Join] {
        &self.setup.joins
    }

    /// One-ports that terminate ports.
    #[must_use]
    pub fn loads(&self) -> &[ReceiverLoad] {
        &self.setup.loads
    }

    /// Where the power of a path enters.
    #[must_use]
    pub fn input(&self, path: ReceiverPath) -> &PowerInput {
        self.setup.inputs.get(path)
    }

    /// Where LO and RF power enter.
    pub(super) fn inputs(&self) -> &LoRf<PowerInput> {
        &self.setup.inputs
    }

    /// The mixers.
    #[must_use]
    pub fn mixers(&self) -> &[Mixer] {
        &self.setup.mixers
    }

    /// How the mixers mix; the harmonic counts the multiplication after the split too.
    #[must_use]
    pub fn mixing(&self) -> &Mixing {
        &self.mixing
    }

    /// From the mixers to the output.
    #[must_use]
    pub fn output(&self) -> &OutputStage {
        &self.setup.output
    }

    /// The steps of a quantised correction of Q.
    #[must_use]
    pub fn correction_steps(&self) -> CorrectionSteps {
        self.setup.correction_steps
    }

    /// Magnitudes for the sweep of load reflections.
    #[must_use]
    pub fn reflection_sweep(&self) -> &ReflectionSweepSettings {
        &self.setup.reflection_sweep
    }

    /// What must hold.
    #[must_use]
    pub fn limits(&self) -> &Limits {
        &self.setup.limits
    }

    /// The same receiver with other requirements.
    ///
    /// # Errors
    /// [`ReceiverError::NoLoPower`] for a limit on the LO power where the source's power is not
    /// known.
    pub fn with_limits(mut self, limits: Limits) -> Result<Self, ReceiverError> {
        check_limits(&limits, self.plan())?;
        self.setup.limits = limits;
        Ok(self)
    }

    /// `BLOCK.PORT`; `None` for a port that the receiver does not have.
    #[must_use]
    pub fn port_name(&self, terminal: Terminal) -> Option<String> {
        port_name(&self.setup.parts, terminal)
    }

    /// The block of a name.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`].
    pub fn part_index(&self, name: &str) -> Result<PartIndex, ReceiverError> {
        let place = self.parts().iter().position(|part| part.name == name);
        place
            .map(PartIndex)
            .ok_or_else(|| ReceiverError::NoSuch { what: format!("block '{name}'") })
    }

    /// The name of a block; `None` for an index of another receiver.
    #[must_use]
    pub fn part_name(&self, part: PartIndex) -> Option<&str> {
        self.parts().get(part.0).map(|part| part.name.as_str())
    }

    /// Places of all blocks, then of all loads, in the receiver's order.
    pub fn places(&self) -> impl Iterator<Item = NetworkPlace> {
        let parts = (0..self.parts().len()).map(|at| NetworkPlace::Part(PartIndex(at)));
        parts.chain((0..self.loads().len()).map(|at| NetworkPlace::Load(LoadIndex(at))))
    }

    /// Refuses a place that the receiver does not have.
    pub(super) fn check_place(&self, place: NetworkPlace) -> Result<(), ReceiverError> {
        let (what, has_it) = match place {
            NetworkPlace::Part(part) => ("block", part.0 < self.parts().len()),
            NetworkPlace::Load(load) => ("load", load.0 < self.loads().len()),
        };
        if has_it {
            Ok(())
        } else {
            Err(ReceiverError::NoSuch { what: format!("{what} of this index") })
        }
    }

    /// The network in a place, at the frequencies of a path; `None` where that path does not reach it.
    #[must_use]
    pub fn network_at(&self, place: NetworkPlace, path: ReceiverPath) -> Option<&Network> {
        let networks = match place {
            NetworkPlace::Part(part) => &self.parts().get(part.0)?.networks,
            NetworkPlace::Load(load) => &self.loads().get(load.0)?.networks,
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
    ) -> Result<(), ReceiverError> {
        self.check_place(place)?;
        let ReceiverSetup { parts, loads, plan, .. } = &mut self.setup;
        let (what, ports, networks) = match place {
            NetworkPlace::Part(part) => {
                let part = &mut parts[part.0];
                (block_name(part), part.ports.len(), &mut part.networks)
            }
            NetworkPlace::Load(load) => {
                let load = &mut loads[load.0];
                (load_name(parts, load.at), 1, &mut load.networks)
            }
        };
        let own = networks.get_mut(path);
        if own.is_none() {
            return Err(ReceiverError::NoSuch { what: format!("{what} on the {path} path") });
        }
        check_network(&network, &what, ports, path, plan)?;
        *own = Some(network);
        Ok(())
    }

    /// The single block or the pair of a name.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`].
    pub fn group_index(&self, name: &str) -> Result<GroupIndex, ReceiverError> {
        let place = self.groups.iter().position(|group| group.name == name);
        place
            .map(GroupIndex)
            .ok_or_else(|| ReceiverError::NoSuch { what: format!("block or pair '{name}'") })
    }

    /// Names of the single blocks and of the pairs, in the receiver's order.
    pub fn group_names(&self) -> impl Iterator<Item = &str> {
        self.groups.iter().map(|group| group.name.as_str())
    }

    pub(super) fn groups(&self) -> &[Group] {
        &self.groups
    }

    pub(super) fn group(&self, index: GroupIndex) -> Result<&Group, ReceiverError> {
        let what = || "block or pair of this index".to_owned();
        self.groups.get(index.0).ok_or_else(|| ReceiverError::NoSuch { what: what() })
    }

    /// The group to which a part belongs.
    pub(super) fn group_of(&self, part: usize) -> &Group {
        &self.groups[self.group_of[part]]
    }

    /// The parts on a path, their networks, and the ports by which the path enters them.
    pub(super) fn parts_on(
        &self,
        path: ReceiverPath,
    ) -> impl Iterator<Item = (usize, &Network, Port)> {
        let entries = self.entries.get(path).iter();
        self.parts().iter().zip(entries).enumerate().filter_map(move |(part, (own, entry))| {
            Some((part, own.networks.get(path).as_ref()?, (*entry)?))
        })
    }

    /// The ports that meet at a port, itself among them.
    pub(super) fn node_of<'a>(&'a self, terminal: &'a Terminal) -> &'a [Terminal] {
        node_of(self.joins(), terminal)
    }

    /// The receiver at one LO and IF alone, with one way to combine I and Q.
    pub(super) fn at(
        &self,
        lo: usize,
        intermediate: usize,
        choice: usize,
    ) -> Result<Self, NetworkError> {
        let mut one = self.clone();
        one.setup.plan = self.plan().at(lo, intermediate)?;
        let setup = &mut one.setup;
        let parts = setup.parts.iter_mut().map(|part| &mut part.networks);
        for networks in parts.chain(setup.loads.iter_mut().map(|load| &mut load.networks)) {
            for path in ReceiverPath::BOTH {
                if let Some(network) = networks.get_mut(path) {
                    *network = onto_grid(network, setup.plan.grid(path))?.network;
                }
            }
        }
        let mut chosen = self.output().choices[choice].clone();
        chosen.transfers = vec![chosen.transfers[intermediate]];
        chosen.ideal_transfers = vec![chosen.ideal_transfers[intermediate]];
        setup.output.choices = vec![chosen];
        Ok(one)
    }
}

fn port_name(parts: &[ReceiverPart], terminal: Terminal) -> Option<String> {
    let part = parts.get(terminal.block)?;
    Some(format!("{}.{}", part.name, part.ports.get(terminal.port.index())?))
}

fn shown_port(parts: &[ReceiverPart], terminal: Terminal) -> String {
    let by_numbers = || format!("{} of block {}", terminal.port, terminal.block + 1);
    port_name(parts, terminal).unwrap_or_else(by_numbers)
}

fn block_name(part: &ReceiverPart) -> String {
    format!("block '{}'", part.name)
}

fn load_name(parts: &[ReceiverPart], at: Terminal) -> String {
    format!("the load at {}", shown_port(parts, at))
}

/// Names are different, and nominal phases are numbers.
fn check_blocks_and_names(setup: &ReceiverSetup) -> Result<(), ReceiverError> {
    let parts: Vec<&String> = setup.parts.iter().map(|part| &part.name).collect();
    let mixers: Vec<&String> = setup.mixers.iter().map(|mixer| &mixer.name).collect();
    for names in [parts, mixers] {
        let mut seen = HashSet::new();
        if let Some(name) = names.into_iter().find(|name| !seen.insert(*name)) {
            return Err(ReceiverError::NameTwice { name: name.clone() });
        }
    }
    for found in setup.parts.iter().filter_map(|part| part.nominal_deg) {
        if !found.is_finite() {
            let (name, expected) = ("nominal_deg", "a finite number");
            return Err(ReceiverError::OutOfRange { name, expected, found });
        }
    }
    Ok(())
}

/// Every port that is named exists, and every port is joined, loaded or an input.
fn check_ports(setup: &ReceiverSetup) -> Result<(), ReceiverError> {
    let shown = |terminal: Terminal| shown_port(&setup.parts, terminal);
    let mut joined = HashSet::new();
    let mut loaded = HashSet::new();
    let inputs = setup.inputs.iter().map(|input| input.at);
    let named = setup.joins.iter().flat_map(|join| join.terminals.iter().copied());
    let named = named.chain(setup.loads.iter().map(|load| load.at)).chain(inputs);
    let named = named.chain(setup.mixers.iter().flat_map(|mixer| [mixer.lo, mixer.rf]));
    for terminal in named {
        if port_name(&setup.parts, terminal).is_none() {
            return Err(ReceiverError::NoSuch { what: format!("port {}", shown(terminal)) });
        }
    }
    let twice = |terminal, allowed| ReceiverError::PortTwice { port: shown(terminal), allowed };
    for join in &setup.joins {
        if join.terminals.len() < 2 {
            return Err(ReceiverError::JoinTooSmall { join: join.text.clone() });
        }
        if let Some(&port) = join.terminals.iter().find(|port| !joined.insert(**port)) {
            return Err(twice(port, "one join"));
        }
    }
    for load in &setup.loads {
        if !loaded.insert(load.at) {
            return Err(twice(load.at, "one load"));
        }
    }
    for input in setup.inputs.iter() {
        if !loaded.insert(input.at) {
            return Err(twice(input.at, "one load or one source"));
        }
    }
    for (block, part) in setup.parts.iter().enumerate() {
        let ports = (0..part.ports.len()).map(|at| Terminal { block, port: Port::from_index(at) });
        for port in ports {
            if !joined.contains(&port) && !loaded.contains(&port) {
                return Err(ReceiverError::Unconnected { port: shown(port) });
            }
        }
    }
    Ok(())
}

fn check_mixers(
    setup: &ReceiverSetup,
    entries: &LoRf<Vec<Option<Port>>>,
) -> Result<(), ReceiverError> {
    for mixer in &setup.mixers {
        for path in ReceiverPath::BOTH {
            if entries.get(path)[mixer.terminal(path).block].is_none() {
                return Err(ReceiverError::Unreached { path, mixer: mixer.name.clone() });
            }
        }
        let found = mixer.gain.norm();
        if !(1e-6..=1e6).contains(&found) {
            let (name, expected) = ("a gain", "from 1e-6 to 1e6 in magnitude");
            return Err(ReceiverError::OutOfRange { name, expected, found });
        }
    }
    for channel in [Channel::I, Channel::Q] {
        if !setup.mixers.iter().any(|mixer| mixer.channel == channel) {
            return Err(ReceiverError::EmptyChannel { channel: channel.name() });
        }
    }
    Ok(())
}

/// Every place has the networks of the paths that reach it, and only those.
fn check_networks(
    setup: &mut ReceiverSetup,
    entries: &LoRf<Vec<Option<Port>>>,
) -> Result<(), ReceiverError> {
    let names: Vec<String> =
        setup.loads.iter().map(|load| load_name(&setup.parts, load.at)).collect();
    let parts = setup
        .parts
        .iter_mut()
        .enumerate()
        .map(|(at, part)| (block_name(part), at, part.ports.len(), &mut part.networks));
    let loads = setup.loads.iter_mut().zip(names);
    let loads = loads.map(|(load, name)| (name, load.at.block, 1, &mut load.networks));
    for (what, part, ports, networks) in parts.chain(loads) {
        for path in ReceiverPath::BOTH {
            let own = networks.get_mut(path);
            match own {
                _ if entries.get(path)[part].is_none() => *own = None,
                None => return Err(ReceiverError::NoNetwork { what, path }),
                Some(network) => check_network(network, &what, ports, path, &setup.plan)?,
            }
        }
    }
    Ok(())
}

fn check_network(
    network: &Network,
    what: &str,
    ports: usize,
    path: ReceiverPath,
    plan: &ReceiverPlan,
) -> Result<(), ReceiverError> {
    let what = what.to_owned();
    if network.modes().is_some() {
        return Err(ReceiverError::InNetwork { what, source: NetworkError::MixedMode });
    }
    if network.ports() != ports {
        let found = network.ports();
        return Err(ReceiverError::PortCount { what, expected: ports, found });
    }
    if network.grid() != plan.grid(path) {
        return Err(ReceiverError::OtherFrequencies { what, path });
    }
    Ok(())
}

fn check_sources_and_output(setup: &ReceiverSetup) -> Result<(), ReceiverError> {
    for path in ReceiverPath::BOTH {
        let found_ohm = setup.inputs.get(path).source_ohm;
        if !(found_ohm.re > 0.0 && found_ohm.is_finite()) {
            return Err(ReceiverError::Source { path, found_ohm });
        }
    }
    let expected = setup.plan.if_hz().len();
    let output = &setup.output;
    let is_factor = |value: Complex64| value.is_finite() && value.norm() > 0.0;
    let factors = [("the correction", output.correction), ("the path ratio", output.path_ratio)];
    for (what, found) in factors {
        if !is_factor(found) {
            return Err(ReceiverError::Factor { what: what.to_owned(), found });
        }
    }
    if output.choices.is_empty() {
        return Err(ReceiverError::Transfers { expected, found: 0 });
    }
    for choice in &output.choices {
        for transfers in [&choice.transfers, &choice.ideal_transfers] {
            if transfers.len() != expected {
                return Err(ReceiverError::Transfers { expected, found: transfers.len() });
            }
            let both = |at: &Combination| [at.i, at.q];
            if let Some(found) = transfers.iter().flat_map(both).find(|value| !is_factor(*value)) {
                return Err(ReceiverError::Factor { what: choice.name.clone(), found });
            }
        }
    }
    Ok(())
}

fn check_limits(limits: &Limits, plan: &ReceiverPlan) -> Result<(), ReceiverError> {
    if limits.on(Quantity::LoPower).is_some() && plan.lo_power_dbm().is_none() {
        return Err(ReceiverError::NoLoPower);
    }
    Ok(())
}

/// Single parts and pairs, in the order of the parts, and the group of each part.
fn grouped(parts: &[ReceiverPart]) -> (Vec<Group>, Vec<usize>) {
    let mut groups: Vec<Group> = Vec::new();
    let mut group_of = Vec::with_capacity(parts.len());
    for (at, part) in parts.iter().enumerate() {
        let is_pair = part.pair.is_some();
        let name = part.pair.as_ref().unwrap_or(&part.name);
        let known = groups.iter().position(|group| is_pair && group.is_pair && group.name == *name);
        let place = known.unwrap_or(groups.len());
        match groups.get_mut(place) {
            Some(group) => group.parts.push(at),
            None => groups.push(Group { name: name.clone(), is_pair, parts: vec![at] }),
        }
        group_of.push(place);
    }
    (groups, group_of)
}
