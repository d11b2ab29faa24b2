//! A checked receiver, which can always be solved unless a loop is singular.

use super::error::{ReceiverError, Result};
use super::if_output::{check_if_parts, check_output};
use super::iq_balance::{Channel, Mixing};
use super::iq_correction::CorrectionSteps;
use super::lo_if_plan::{LoIfPoint, ReceiverPlan};
use super::lo_pieces::LoPieces;
use super::lo_side::{lo_pieces, make_stage_networks, plan_chain};
use super::plan_chain::PlanChain;
use super::receiver_setup::{
    Join, Mixer, OutputStage, PowerInput, RECEIVER_QUANTITIES, ReceiverLoad, ReceiverPart,
    ReceiverSetup, ReferenceImpedances, ReflectionSweepSettings, SWITCHING_QUANTITIES, entry_ports,
    node_of, whole_path,
};
use super::sideband_store::{SidebandCount, SidebandStore};
use super::signal_path::{LoRf, ReceiverPath};
use super::switched_nodes::switched_mixer;
use super::switching::SwitchedMixer;
use super::switching_setup::SwitchingSetup;
use crate::network::{FrequencyGrid, Network, NetworkError, Port, Terminal, onto_grid};
use crate::requirement::{Limit, Limits, Quantity};
use std::collections::HashSet;
use std::sync::{Arc, OnceLock};

/// A block, a load or an IF part of a receiver. It is valid for the receiver that gave it and for its copies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct NetworkPlace(pub(super) Place);

/// The place among the parts, the loads or the IF parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Place {
    Part(usize),
    Load(usize),
    IfPart(usize),
}

/// A single block or a pair of blocks. It is valid for the receiver that gave it and for its copies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct GroupIndex(usize);

/// Blocks that are ideal together: a single block, or all blocks of a pair.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Group {
    pub(super) name: String,
    pub(super) is_pair: bool,
    /// Their indices among the parts, ascending.
    pub(super) parts: Vec<usize>,
}

/// A receiver that can be solved.
///
/// Every port is joined, loaded or an input; every block and load has a network, at the plan's
/// frequencies, for each path that reaches it, and for no other; every mixer's ports are reached;
/// both channels have a mixer.
#[derive(Clone, Debug)]
pub struct Receiver {
    pub(super) setup: ReceiverSetup,
    mixing: Mixing,
    groups: Vec<Group>,
    /// The group of each part.
    group_of: Vec<usize>,
    pub(super) pieces: LoPieces,
    /// The frequencies by which the points of a path are known: on the LO path those at the mixers.
    pub(super) path_grids: LoRf<FrequencyGrid>,
    /// The chain of a receiver with stages.
    pub(super) chain: Option<PlanChain>,
    switched: Option<Switched>,
}

/// The switched mixers of a receiver, and their sidebands once they are known.
#[derive(Clone, Debug)]
struct Switched {
    mixer: SwitchedMixer,
    /// That of the whole plan, in a receiver at one of its points.
    count: Option<SidebandCount>,
    store: OnceLock<Arc<SidebandStore>>,
}

impl Receiver {
    /// Checks a receiver. Networks for paths that do not reach their place are ignored.
    ///
    /// # Errors
    /// [`ReceiverError`] with the first rule that is not met, and its cause.
    pub fn new(mut setup: ReceiverSetup) -> Result<Self> {
        check_names(&setup)?;
        check_ports(&setup)?;
        let counts: Vec<usize> = setup.parts.iter().map(|part| part.ports.len()).collect();
        let stages: Vec<bool> = setup.parts.iter().map(|part| part.stage.is_some()).collect();
        let entries = LoRf::of_each(|path| {
            let goes_on = whole_path(path, &stages);
            entry_ports(&counts, &setup.joins, setup.inputs.get(path).at, goes_on)
        });
        check_mixers(&setup, &entries)?;
        let pieces = lo_pieces(&setup)?;
        make_stage_networks(&mut setup)?;
        check_networks(&mut setup, &entries, &pieces)?;
        check_if_parts(&setup.output, setup.plan.if_hz())?;
        setup.output.combine();
        check_values(&setup)?;
        let chain = plan_chain(&mut setup, &pieces)?;
        let has_lo_power = chain.is_some() || setup.plan.settings().lo_power_dbm.is_some();
        let known = Known {
            is_switched: setup.switching.is_some(),
            has_chain: chain.is_some(),
            has_lo_power,
        };
        check_limits(&setup.limits, known)?;
        let turns =
            setup.plan.settings().lo_harmonic * setup.plan.settings().lo_multiplication_after_split;
        let mixing = Mixing::new(setup.lo_amplitude_exponent, turns)?;
        let (groups, group_of) = grouped(&setup.parts);
        let switched = match &setup.switching {
            Some(_) => {
                let mixer = switched_mixer(&setup, has_lo_power)?;
                Some(Switched { mixer, count: None, store: OnceLock::new() })
            }
            None => None,
        };
        let path_grids = LoRf::of_each(|path| setup.plan.grid(path).clone());
        Ok(Self { setup, mixing, groups, group_of, pieces, path_grids, chain, switched })
    }

    /// What makes the mixers switches; `None` for multipliers.
    pub fn switching(&self) -> Option<&SwitchingSetup> {
        self.setup.switching.as_ref()
    }

    /// The switched mixers with their nodes.
    pub fn switched_mixer(&self) -> Option<&SwitchedMixer> {
        self.switched.as_ref().map(|own| &own.mixer)
    }

    /// The sidebands of the switched mixers, if they were found already.
    pub(super) fn sideband_store(&self) -> Option<&SidebandStore> {
        Some(self.switched.as_ref()?.store.get()?)
    }

    /// The same, where they are found already.
    pub(super) fn known_sidebands(&self) -> Result<&SidebandStore> {
        let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
        self.sideband_store().ok_or_else(missing)
    }

    /// How many sidebands there are, where that was found for a plan to which this one belongs.
    pub(super) fn sideband_count(&self) -> Option<SidebandCount> {
        self.switched.as_ref()?.count
    }

    /// Keeps the sidebands of the switched mixers.
    pub(super) fn keep_sideband_store(&self, store: SidebandStore) {
        if let Some(own) = &self.switched {
            // One that another thread has kept already is the same.
            let _ = own.store.set(Arc::new(store));
        }
    }

    /// Keeps the number of sidebands alone, for another plan or other data.
    pub(super) fn keep_sideband_count(&mut self) {
        if let Some(own) = &mut self.switched {
            own.count = own.store.take().map(|store| store.count).or(own.count);
        }
    }

    /// The same receiver with the sidebands of comparisons, where it has found how many it needs.
    pub(super) fn for_comparisons(mut self) -> Self {
        if let Some(own) = &mut self.switched
            && let Some(store) = own.store.get()
        {
            own.store = OnceLock::from(Arc::new(store.for_comparisons()));
        }
        self
    }

    /// The title.
    pub fn title(&self) -> &str {
        &self.setup.title
    }

    /// The frequencies at which it is solved.
    pub fn plan(&self) -> &ReceiverPlan {
        &self.setup.plan
    }

    /// The blocks.
    pub fn parts(&self) -> &[ReceiverPart] {
        &self.setup.parts
    }

    /// The joined ports.
    pub fn joins(&self) -> &[Join] {
        &self.setup.joins
    }

    /// One-ports that terminate ports.
    pub fn loads(&self) -> &[ReceiverLoad] {
        &self.setup.loads
    }

    /// The source and input port of a path.
    pub fn input(&self, path: ReceiverPath) -> &PowerInput {
        self.setup.inputs.get(path)
    }

    /// The impedances in which ideal parts and loads are matched.
    pub fn references(&self) -> &ReferenceImpedances {
        &self.setup.references
    }

    /// The reference impedance of a port, which is that of its node, ohm.
    pub(super) fn reference_ohm(&self, terminal: Terminal) -> f64 {
        self.references().of_node(self.node_of(&terminal))
    }

    /// The mixers.
    pub fn mixers(&self) -> &[Mixer] {
        &self.setup.mixers
    }

    /// The conversion rule of the mixers; its harmonic includes the multiplication after the split.
    pub fn mixing(&self) -> &Mixing {
        &self.mixing
    }

    /// The stage from the mixers to the output.
    pub fn output(&self) -> &OutputStage {
        &self.setup.output
    }

    /// The steps of a quantised correction of Q.
    pub fn correction_steps(&self) -> CorrectionSteps {
        self.setup.correction_steps
    }

    /// Magnitudes for the sweep of load reflections.
    pub fn reflection_sweep(&self) -> ReflectionSweepSettings {
        self.setup.reflection_sweep
    }

    /// The RF band in which spurious responses are judged, Hz, if it is given.
    pub fn spurious_band_hz(&self) -> Option<(f64, f64)> {
        self.setup.spurious_band_hz
    }

    /// The limits for the receiver over the whole plan.
    pub fn limits(&self) -> &Limits {
        &self.setup.limits
    }

    /// Sets other limits.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuchQuantity`] for a limit on a quantity that receivers do not have;
    /// [`ReceiverError::NoLoPower`] and [`ReceiverError::NoLoChain`] for one on the LO power or on what
    /// tones make where the source or the chain is not known.
    pub fn with_limits(mut self, limits: Limits) -> Result<Self> {
        let known = Known {
            is_switched: self.switching().is_some(),
            has_chain: self.chain.is_some(),
            has_lo_power: self.has_lo_power(),
        };
        check_limits(&limits, known)?;
        self.setup.limits = limits;
        Ok(self)
    }

    /// `BLOCK.PORT`; `None` for a port that the receiver does not have.
    pub fn port_name(&self, terminal: Terminal) -> Option<String> {
        port_name(&self.setup.parts, terminal)
    }

    /// Whether the power of the LO is known: from the plan or from a chain.
    pub fn has_lo_power(&self) -> bool {
        self.chain.is_some() || self.plan().settings().lo_power_dbm.is_some()
    }

    /// The single block or the pair of a name.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`].
    pub fn group_index(&self, name: &str) -> Result<GroupIndex> {
        let place = self.groups.iter().position(|group| group.name == name).map(GroupIndex);
        place.ok_or_else(|| ReceiverError::NoSuch { what: format!("block or pair '{name}'") })
    }

    /// Names of the single blocks and of the pairs, in the receiver's order.
    pub fn group_names(&self) -> impl Iterator<Item = &str> {
        self.groups.iter().map(|group| group.name.as_str())
    }

    pub(super) fn groups(&self) -> &[Group] {
        &self.groups
    }

    pub(super) fn group(&self, index: GroupIndex) -> Result<&Group> {
        let missing = || ReceiverError::NoSuch { what: "block or pair of this index".to_owned() };
        self.groups.get(index.0).ok_or_else(missing)
    }

    /// The group to which a part belongs.
    pub(super) fn group_of(&self, part: usize) -> &Group {
        &self.groups[self.group_of[part]]
    }

    /// Where LO and RF power enter.
    pub(super) fn inputs(&self) -> &LoRf<PowerInput> {
        &self.setup.inputs
    }

    /// The parts on a path, and their networks.
    pub(super) fn parts_on(&self, path: ReceiverPath) -> impl Iterator<Item = (usize, &Network)> {
        let parts = self.parts().iter().enumerate();
        parts.filter_map(move |(at, part)| Some((at, part.networks.get(path).as_ref()?)))
    }

    /// The ports joined to a port, including itself.
    pub(super) fn node_of<'a>(&'a self, terminal: &'a Terminal) -> &'a [Terminal] {
        node_of(self.joins(), terminal)
    }

    /// The receiver at one point of its plan alone, with one way to combine I and Q.
    pub(super) fn at(&self, point: usize, choice: usize) -> Result<Self, NetworkError> {
        let mut one = self.clone();
        one.keep_sideband_count();
        let setup = &mut one.setup;
        setup.plan = self.plan().at(point)?;
        let LoIfPoint { lo, intermediate, .. } = self.plan().points()[point];
        one.path_grids = LoRf::of_each(|path| setup.plan.grid(path).clone());
        one.chain = self.chain.as_ref().map(|chain| chain.at(lo));
        let parts = setup.parts.iter_mut().map(|part| &mut part.networks);
        for networks in parts.chain(setup.loads.iter_mut().map(|load| &mut load.networks)) {
            if let Some(network) = &mut networks.lo {
                // In a piece of the LO network the LO has a frequency of its own.
                let there_hz = network.grid().as_hz()[lo];
                *network = onto_grid(network, &FrequencyGrid::from_hz(vec![there_hz])?)?.network;
            }
            if let Some(network) = &mut networks.rf {
                *network = onto_grid(network, setup.plan.grid(ReceiverPath::Rf))?.network;
            }
        }
        let mut chosen = self.output().choices[choice].clone();
        chosen.transfers = vec![chosen.transfers[intermediate]];
        chosen.ideal_transfers = vec![chosen.ideal_transfers[intermediate]];
        setup.output.choices = vec![chosen];
        let if_grid = FrequencyGrid::from_hz(setup.plan.if_hz().to_vec())?;
        for part in &mut setup.output.parts {
            part.network = onto_grid(&part.network, &if_grid)?.network;
        }
        Ok(one)
    }
}

fn port_name(parts: &[ReceiverPart], terminal: Terminal) -> Option<String> {
    let part = parts.get(terminal.block)?;
    Some(format!("{}.{}", part.name, part.ports.get(terminal.port.index())?))
}

/// `BLOCK.PORT`, or numbers for a port that does not exist.
fn shown_port(parts: &[ReceiverPart], terminal: Terminal) -> String {
    let by_numbers = || format!("{} of block {}", terminal.port, terminal.block + 1);
    port_name(parts, terminal).unwrap_or_else(by_numbers)
}

pub(super) fn block_name(part: &ReceiverPart) -> String {
    format!("block '{}'", part.name)
}

pub(super) fn load_name(parts: &[ReceiverPart], load: &ReceiverLoad) -> String {
    format!("the load at {}", shown_port(parts, load.at))
}

fn check_names(setup: &ReceiverSetup) -> Result<()> {
    let parts: Vec<&String> = setup.parts.iter().map(|part| &part.name).collect();
    let mixers: Vec<&String> = setup.mixers.iter().map(|mixer| &mixer.name).collect();
    for names in [parts, mixers] {
        let mut seen = HashSet::new();
        if let Some(name) = names.into_iter().find(|name| !seen.insert(*name)) {
            return Err(ReceiverError::DuplicateName { name: name.clone() });
        }
    }
    Ok(())
}

/// Checks that every named port exists, and that every port is joined, loaded or an input.
fn check_ports(setup: &ReceiverSetup) -> Result<()> {
    let shown = |terminal: Terminal| shown_port(&setup.parts, terminal);
    let twice = |port, allowed| ReceiverError::PortTwice { port: shown(port), allowed };
    let joined = || setup.joins.iter().flat_map(|join| join.terminals.iter().copied());
    let loaded = || setup.loads.iter().map(|load| load.at);
    let inputs = || setup.inputs.iter().map(|input| input.at);
    let mixers = setup.mixers.iter().flat_map(|mixer| [mixer.ports.lo, mixer.ports.rf]);
    for terminal in joined().chain(loaded()).chain(inputs()).chain(mixers) {
        if port_name(&setup.parts, terminal).is_none() {
            return Err(ReceiverError::NoSuch { what: format!("port {}", shown(terminal)) });
        }
    }
    if let Some(join) = setup.joins.iter().find(|join| join.terminals.len() < 2) {
        return Err(ReceiverError::JoinTooSmall { join: join.text.clone() });
    }
    let mut in_joins = HashSet::new();
    if let Some(port) = joined().find(|port| !in_joins.insert(*port)) {
        return Err(twice(port, "one join"));
    }
    let mut at_ends = HashSet::new();
    if let Some(port) = loaded().chain(inputs()).find(|port| !at_ends.insert(*port)) {
        return Err(twice(port, "one load or source"));
    }
    for (block, part) in setup.parts.iter().enumerate() {
        let mut ports =
            (0..part.ports.len()).map(|at| Terminal { block, port: Port::from_index(at) });
        // A switched element terminates its RF port itself.
        let at_mixer = |port: &Terminal| {
            setup.switching.is_some() && setup.mixers.iter().any(|own| own.ports.rf == *port)
        };
        if let Some(port) = ports
            .find(|port| !in_joins.contains(port) && !at_ends.contains(port) && !at_mixer(port))
        {
            return Err(ReceiverError::Unconnected { port: shown(port) });
        }
    }
    Ok(())
}

fn check_mixers(setup: &ReceiverSetup, entries: &LoRf<Vec<Option<Port>>>) -> Result<()> {
    for mixer in &setup.mixers {
        let is_reached =
            |path: &ReceiverPath| entries.get(*path)[mixer.ports.get(*path).block].is_some();
        if let Some(path) = ReceiverPath::BOTH.into_iter().find(|path| !is_reached(path)) {
            return Err(ReceiverError::Unreached { path, mixer: mixer.name.clone() });
        }
        let found = mixer.gain.norm();
        if !(1e-6..=1e6).contains(&found) {
            let (what, expected) = ("a gain", "from 1e-6 to 1e6 in magnitude");
            return Err(ReceiverError::OutOfRange { what, expected, found });
        }
    }
    for channel in [Channel::I, Channel::Q] {
        if !setup.mixers.iter().any(|mixer| mixer.channel == channel) {
            return Err(ReceiverError::EmptyChannel { channel: channel.name() });
        }
    }
    Ok(())
}

/// Checks that every place has the networks of the paths that reach it, and only those.
fn check_networks(
    setup: &mut ReceiverSetup,
    entries: &LoRf<Vec<Option<Port>>>,
    pieces: &LoPieces,
) -> Result<()> {
    let parts = &setup.parts;
    let load_names: Vec<String> = setup.loads.iter().map(|load| load_name(parts, load)).collect();
    let parts = setup.parts.iter_mut().enumerate();
    let parts = parts.map(|(block, part)| {
        let terminal = Terminal { block, port: Port::from_index(0) };
        let own_grid = part.stage.is_none().then_some(terminal);
        (block_name(part), block, part.ports.len(), own_grid, &mut part.networks)
    });
    let loads = setup.loads.iter_mut().zip(load_names);
    let loads =
        loads.map(|(load, name)| (name, load.at.block, 1, Some(load.at), &mut load.networks));
    for (what, part, ports, terminal, networks) in parts.chain(loads) {
        for path in ReceiverPath::BOTH {
            let own = networks.get_mut(path);
            match own {
                _ if entries.get(path)[part].is_none() => *own = None,
                None => return Err(ReceiverError::NoNetwork { what, path }),
                Some(network) => {
                    let grid = setup.plan.grid(path);
                    match (path, terminal) {
                        (ReceiverPath::Lo, Some(terminal)) => {
                            let grid = pieces.grid(&terminal, grid)?;
                            check_network(network, &what, ports, path, &grid)?;
                        }
                        _ => check_network(network, &what, ports, path, grid)?,
                    }
                }
            }
        }
    }
    Ok(())
}

pub(super) fn check_network(
    network: &Network,
    what: &str,
    ports: usize,
    path: ReceiverPath,
    grid: &FrequencyGrid,
) -> Result<()> {
    check_shape(network, what, ports)?;
    if network.grid() == grid {
        Ok(())
    } else {
        Err(ReceiverError::OtherFrequencies { what: what.to_owned(), path })
    }
}

/// Checks that a network has `ports` ports at every frequency.
pub(super) fn check_shape(network: &Network, what: &str, ports: usize) -> Result<()> {
    let what = what.to_owned();
    if network.modes().is_some() {
        Err(ReceiverError::InNetwork { what, source: NetworkError::MixedMode })
    } else if network.ports() == ports {
        Ok(())
    } else {
        Err(ReceiverError::PortCount { what, expected: ports, found: network.ports() })
    }
}

fn check_values(setup: &ReceiverSetup) -> Result<()> {
    if let Some(found) =
        setup.parts.iter().filter_map(|part| part.nominal_deg).find(|deg| !deg.is_finite())
    {
        let (what, expected) = ("nominal_deg", "a finite number");
        return Err(ReceiverError::OutOfRange { what, expected, found });
    }
    let sweep = setup.reflection_sweep;
    for (what, found) in [
        ("mixer_reflection", sweep.mixer_reflection),
        ("isolated_reflection", sweep.isolated_reflection),
    ] {
        if let Some(found) = found.filter(|found| !(0.0..1.0).contains(found)) {
            let expected = "from 0 to below 1";
            return Err(ReceiverError::OutOfRange { what, expected, found });
        }
    }
    for path in ReceiverPath::BOTH {
        let found_ohm = setup.inputs.get(path).source_ohm;
        if !(found_ohm.re > 0.0 && found_ohm.is_finite()) {
            return Err(ReceiverError::Source { path, found_ohm });
        }
    }
    check_references(setup)?;
    check_output(&setup.output, setup.plan.if_hz().len())
}

/// Checks that every reference impedance is above 0, at a port that exists, and that a node has
/// only one.
fn check_references(setup: &ReceiverSetup) -> Result<()> {
    let ReferenceImpedances { default_ohm, at } = &setup.references;
    let all_ohm = std::iter::once(*default_ohm).chain(at.iter().map(|(_, ohm)| *ohm));
    if let Some(found) = all_ohm.into_iter().find(|ohm| !(1e-3..=1e6).contains(ohm)) {
        let (what, expected) = ("a reference impedance", "from 0.001 to 1e6 ohm");
        return Err(ReceiverError::OutOfRange { what, expected, found });
    }
    for (place, (port, _)) in at.iter().enumerate() {
        let shown = shown_port(&setup.parts, *port);
        if port_name(&setup.parts, *port).is_none() {
            return Err(ReceiverError::NoSuch { what: format!("port {shown}") });
        }
        let node = node_of(&setup.joins, port);
        if at[..place].iter().any(|(other, _)| node.contains(other)) {
            let allowed = "one reference impedance in its node";
            return Err(ReceiverError::PortTwice { port: shown, allowed });
        }
    }
    Ok(())
}

/// What decides which limits a receiver can have.
#[derive(Clone, Copy)]
struct Known {
    is_switched: bool,
    has_chain: bool,
    has_lo_power: bool,
}

fn check_limits(limits: &Limits, known: Known) -> Result<()> {
    let mut quantities = limits.iter().map(Limit::quantity);
    if let Some(quantity) = quantities.find(|quantity| {
        let needs_switches = SWITCHING_QUANTITIES.contains(quantity);
        !RECEIVER_QUANTITIES.contains(quantity) || (needs_switches && !known.is_switched)
    }) {
        return Err(ReceiverError::NoSuchQuantity { quantity });
    }
    let is_limited = |quantity: Quantity| limits.on(quantity).is_some();
    if !known.has_lo_power && (is_limited(Quantity::LoPower) || is_limited(Quantity::LoPowerMax)) {
        return Err(ReceiverError::NoLoPower);
    }
    for quantity in [Quantity::LoTone, Quantity::SpuriousResponse] {
        if !known.has_chain && is_limited(quantity) {
            return Err(ReceiverError::NoLoChain { quantity });
        }
    }
    if known.is_switched && is_limited(Quantity::SpuriousResponse) {
        return Err(ReceiverError::SwitchedResponses);
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
