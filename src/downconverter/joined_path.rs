//! The LO path or the RF path of a receiver: parts joined once into one network, then terminated.
//!
//! In:  the networks of the parts on a path and how they are joined.
//! Out: voltage at each mixer for one watt available at the input (V per square root of W).
//!
//! The open ports of the joined network are the inputs, the loaded ports and the mixers' ports.
//! Terminations are applied after joining, so a load can be varied without joining again.

use super::driven_path::{DrivenStage, DrivingWave, LoDrive, PathResponse};
use super::error::{ReceiverError, Result};
use super::lo_pieces::{STAGE_INPUT, STAGE_OUTPUT};
use super::part_model::relabelled;
use super::receiver::Receiver;
use super::signal_path::ReceiverPath;
use crate::network::{
    FrequencyGrid, Load, Lu, Network, NetworkError, ParameterKind, Port, Terminal, WaveDefinition,
    Wiring, change_reference, close_ports, convert, join, terminated_waves,
};
use num_complex::Complex64;

/// A part on a path with its own block there.
#[derive(Clone, Copy, Debug)]
pub(super) struct PathPart {
    /// Its index in the receiver.
    pub(super) part: usize,
    /// Its index among the blocks of the path.
    pub(super) block: usize,
}

/// The networks of a path.
pub(super) struct PathNetworks {
    /// Those of the parts on the path, in the receiver's order.
    pub(super) parts: Vec<Network>,
    /// Those of all loads of the receiver; `None` for a load on the other path.
    pub(super) loads: Vec<Option<Network>>,
    /// The frequencies by which their points are known.
    pub(super) grid: FrequencyGrid,
    /// The point that represents the plan, where parts have the roles that their data tell.
    pub(super) middle: usize,
}

/// The parts on a path, and the open ports of their joined network.
#[derive(Clone, Debug)]
pub(super) struct JoinedPath {
    path: ReceiverPath,
    grid: FrequencyGrid,
    middle: usize,
    /// The parts with their own block, in the receiver's order.
    pub(super) parts: Vec<PathPart>,
    /// Scattering networks in the reference impedances of their nodes in the receiver.
    pub(super) blocks: Vec<Network>,
    pub(super) wiring: Wiring,
    /// The receiver's index of each join of the wiring.
    pub(super) joins: Vec<usize>,
    open_ports: Vec<Terminal>,
    /// The open port of the input.
    source: usize,
    /// The open port of each mixer.
    mixers: Vec<usize>,
    /// The open port of each load; `None` for a load on the other path.
    loads: Vec<Option<usize>>,
    /// For each load its network.
    load_networks: Vec<Option<Network>>,
    /// The stages on the path, in the order of the signal.
    stages: Vec<PathStage>,
}

/// A stage on a path, and the open ports at its own.
#[derive(Clone, Copy, Debug)]
pub(super) struct PathStage {
    /// Its place among the receiver's parts.
    pub(super) part: usize,
    pub(super) input: usize,
    pub(super) output: usize,
}

/// An ideal open: reflection coefficient +1 at every frequency.
pub(super) const OPEN: Load = Load::Reflection(Complex64::ONE);

/// The terminations of a path's open ports, in their order.
pub(super) type Terminations = Vec<Load>;

/// A list of open ports, each once.
#[derive(Default)]
pub(super) struct OpenPorts(pub(super) Vec<Terminal>);

impl OpenPorts {
    /// The index of a port in the list, to which it is added if it is new.
    pub(super) fn place(&mut self, port: Terminal) -> usize {
        let known = self.0.iter().position(|own| *own == port);
        known.unwrap_or_else(|| {
            self.0.push(port);
            self.0.len() - 1
        })
    }
}

impl JoinedPath {
    /// The path at the frequencies of the plan.
    pub(super) fn new(receiver: &Receiver, path: ReceiverPath) -> Result<Self> {
        let grid = receiver.path_grids.get(path).clone();
        let loads = receiver.loads().iter();
        let networks = PathNetworks {
            parts: receiver.parts_on(path).map(|(_, network)| network.clone()).collect(),
            loads: loads.map(|load| load.networks.get(path).clone()).collect(),
            middle: grid.len() / 2,
            grid,
        };
        Self::with_networks(receiver, path, networks)
    }

    /// The path with other networks of its parts and loads.
    pub(super) fn with_networks(
        receiver: &Receiver,
        path: ReceiverPath,
        PathNetworks { parts: networks, loads: load_networks, grid, middle }: PathNetworks,
    ) -> Result<Self> {
        let mut block_of: Vec<Option<usize>> = vec![None; receiver.parts().len()];
        let mut parts = Vec::new();
        for (block, (part, _)) in receiver.parts_on(path).enumerate() {
            block_of[part] = Some(block);
            parts.push(PathPart { part, block });
        }
        let local = |terminal: &Terminal| {
            Some(Terminal { block: block_of[terminal.block]?, port: terminal.port })
        };
        let is_here = |terminal: &Terminal| block_of[terminal.block].is_some();

        let mut open = OpenPorts::default();
        let inputs = receiver.inputs();
        for input in inputs.iter().filter(|input| is_here(&input.at)) {
            open.place(input.at);
        }
        let loads = receiver.loads().iter();
        let loads = loads.map(|load| is_here(&load.at).then(|| open.place(load.at))).collect();
        for mixer in receiver.mixers() {
            for port in [mixer.ports.lo, mixer.ports.rf].into_iter().filter(|port| is_here(port)) {
                open.place(port);
            }
        }
        // A receiver's input and mixers are always on the path.
        let mixers = receiver.mixers().iter().map(|mixer| open.place(*mixer.ports.get(path)));
        let (mixers, source) = (mixers.collect(), open.place(inputs.get(path).at));
        let mut stages = Vec::new();
        if path == ReceiverPath::Lo {
            stages.extend(receiver.stages_inside().map(|part| {
                let mut port =
                    |index| open.place(Terminal { block: part, port: Port::from_index(index) });
                PathStage { part, input: port(STAGE_INPUT), output: port(STAGE_OUTPUT) }
            }));
        }
        let local_ends = |at: usize| -> Vec<Terminal> {
            receiver.joins()[at].terminals.iter().copied().filter(|end| is_here(end)).collect()
        };
        // A stage ends a path by one port: what is joined to its other port is not on the path.
        for at in 0..receiver.joins().len() {
            if let [alone] = local_ends(at)[..] {
                open.place(alone);
            }
        }
        let joins: Vec<usize> =
            (0..receiver.joins().len()).filter(|&at| local_ends(at).len() > 1).collect();
        let node = |at: &usize| receiver.joins()[*at].terminals.iter().filter_map(local).collect();
        let wiring = Wiring {
            joins: joins.iter().map(node).collect(),
            outside: open.0.iter().filter_map(local).collect(),
        };
        let blocks = own_blocks(receiver, &networks, &parts, &grid)?;
        Ok(Self {
            path,
            grid,
            middle,
            parts,
            blocks,
            wiring,
            joins,
            open_ports: open.0,
            source,
            mixers,
            loads,
            load_networks,
            stages,
        })
    }

    pub(super) fn path(&self) -> ReceiverPath {
        self.path
    }

    /// The frequencies by which the points of the path are known.
    pub(super) fn grid(&self) -> &FrequencyGrid {
        &self.grid
    }

    /// The point that represents the plan.
    pub(super) fn middle(&self) -> usize {
        self.middle
    }

    /// The part with this index, if it has its own block on this path.
    pub(super) fn part(&self, part: usize) -> Option<&PathPart> {
        self.parts.iter().find(|own| own.part == part)
    }

    /// The network of the open ports, with `blocks` in place of its own.
    pub(super) fn reduce(&self, receiver: &Receiver, blocks: &[Network]) -> Result<Network> {
        join(blocks, &self.wiring).map_err(|error| self.named(receiver, &self.joins, error))
    }

    /// The terminations of the receiver: sources, loads, and opens at all other ports.
    pub(super) fn terminations(&self, receiver: &Receiver) -> Result<Terminations> {
        let mut terminations = vec![OPEN; self.open_ports.len()];
        for (termination, port) in terminations.iter_mut().zip(&self.open_ports) {
            if let Some(input) = receiver.inputs().iter().find(|input| input.at == *port) {
                *termination = Load::Impedance(input.source_ohm);
            }
        }
        for (network, end) in self.load_networks.iter().zip(&self.loads) {
            if let (Some(end), Some(network)) = (end, network) {
                // In the reference of its port, so that this is done once; a load without a
                // reflection is refused where it is used.
                let own = relabelled(network.clone(), &self.grid)?;
                let references = vec![receiver.reference_ohm(self.open_ports[*end]).into()];
                let known = convert(&own, ParameterKind::Scattering).and_then(|scattering| {
                    change_reference(&scattering, references, WaveDefinition::Kurokawa)
                });
                terminations[*end] = Load::OnePort(known.unwrap_or(own));
            }
        }
        Ok(terminations)
    }

    /// The terminations with every source and load matched to the reference impedance of its port.
    pub(super) fn matched_terminations(
        &self,
        receiver: &Receiver,
        reduced: &Network,
    ) -> Terminations {
        let mut terminations = vec![OPEN; self.open_ports.len()];
        let inputs = self.open_ports.iter().enumerate().filter_map(|(end, port)| {
            receiver.inputs().iter().any(|input| input.at == *port).then_some(end)
        });
        for end in inputs.chain(self.loads.iter().copied().flatten()) {
            terminations[end] = Load::Impedance(reduced.references_ohm(0)[end]);
        }
        terminations
    }

    /// The network of the open ports with their terminations: column j holds the waves that leave
    /// every port for a unit wave into port j.
    pub(super) fn terminated(
        &self,
        reduced: &Network,
        terminations: &Terminations,
    ) -> Result<Network> {
        let loads: Vec<(Port, Load)> = terminations
            .iter()
            .enumerate()
            .map(|(at, load)| (Port::from_index(at), load.clone()))
            .collect();
        Ok(close_ports(reduced, &loads)?)
    }

    /// What the mixers need to know of the path, frequency after frequency: volts at each mixer per
    /// square root of a watt available at the input. Switched mixers load the RF path, and need its S
    /// between the input and their nodes instead, row by row.
    pub(super) fn voltages(
        &self,
        receiver: &Receiver,
        reduced: &Network,
        terminations: &Terminations,
    ) -> Result<Vec<Complex64>> {
        self.voltages_with(receiver, reduced, terminations, |_| false)
    }

    /// The same with the ideal law and the ideal resistances of the stages for which `is_ideal` holds,
    /// by their place among the parts.
    pub(super) fn voltages_with(
        &self,
        receiver: &Receiver,
        reduced: &Network,
        terminations: &Terminations,
        is_ideal: impl Fn(usize) -> bool,
    ) -> Result<Vec<Complex64>> {
        if self.path == ReceiverPath::Rf && receiver.switched_mixer().is_some() {
            return self.node_scattering(receiver, reduced, terminations);
        }
        let response = self.response(reduced, terminations)?;
        let source_wave = self.source_wave(receiver, reduced, terminations);
        let drive = |point: usize| match self.path {
            ReceiverPath::Lo => receiver.lo_drive(point).unwrap_or_default(),
            ReceiverPath::Rf => LoDrive::default(),
        };
        let stages = self.driven_stages(receiver, is_ideal);
        Ok(self.driven(&response, source_wave, &stages, drive))
    }

    /// The stages on the path with what they do.
    pub(super) fn driven_stages(
        &self,
        receiver: &Receiver,
        is_ideal: impl Fn(usize) -> bool,
    ) -> Vec<(PathStage, DrivenStage)> {
        let stages = self.stages.iter();
        stages
            .filter_map(|own| Some((*own, receiver.driven_stage(own.part, is_ideal(own.part))?)))
            .collect()
    }

    /// The path with its terminations, ready to be driven.
    pub(super) fn response(
        &self,
        reduced: &Network,
        terminations: &Terminations,
    ) -> Result<PathResponse> {
        let driven = self.driven_ports();
        self.response_to(driven, reduced, terminations)
    }

    /// The same for waves into some of the open ports.
    pub(super) fn response_to(
        &self,
        driven: Vec<usize>,
        reduced: &Network,
        terminations: &Terminations,
    ) -> Result<PathResponse> {
        let reflections = self.reflections(reduced, terminations)?;
        Ok(PathResponse {
            leaving: terminated_waves(reduced, &reflections, &driven)?,
            driven,
            reflections,
            references_ohm: reduced.references_ohm(0).iter().map(|ohm| ohm.re).collect(),
        })
    }

    /// The ports into which the source and the stages send waves.
    pub(super) fn driven_ports(&self) -> Vec<usize> {
        std::iter::once(self.source).chain(self.stages.iter().map(|stage| stage.output)).collect()
    }

    /// The ports whose voltages the mixers and the stages take.
    pub(super) fn loading_ports(&self) -> Vec<usize> {
        self.mixers.iter().copied().chain(self.stages.iter().map(|stage| stage.input)).collect()
    }

    /// Volts at each mixer per square root of the power available at the input, frequency after
    /// frequency, with the path driven as given at each point.
    pub(super) fn driven(
        &self,
        response: &PathResponse,
        source_wave: Complex64,
        stages: &[(PathStage, DrivenStage)],
        drive: impl Fn(usize) -> LoDrive,
    ) -> Vec<Complex64> {
        let mut voltages = Vec::with_capacity(response.points() * self.mixers.len());
        let mut waves: Vec<DrivingWave> = Vec::with_capacity(1 + stages.len());
        for point in 0..response.points() {
            self.drive_all(response, source_wave, stages, (point, drive(point)), &mut waves);
            voltages.extend(self.mixers.iter().map(|&end| response.volts(point, end, &waves)));
        }
        voltages
    }

    /// The power that drives each stage, dBm: frequency after frequency, stage after stage.
    pub(super) fn stage_drives(
        &self,
        response: &PathResponse,
        source_wave: Complex64,
        stages: &[(PathStage, DrivenStage)],
        drive: impl Fn(usize) -> LoDrive,
    ) -> Vec<f64> {
        let mut drives_dbm = Vec::with_capacity(response.points() * stages.len());
        let mut waves: Vec<DrivingWave> = Vec::with_capacity(1 + stages.len());
        for point in 0..response.points() {
            let own = drive(point);
            self.drive_all(response, source_wave, stages, (point, own), &mut waves);
            drives_dbm.extend(stages.iter().map(|(at, stage)| {
                stage.drive_dbm(response.volts(point, at.input, &waves), own.power_dbm)
            }));
        }
        drives_dbm
    }

    /// The waves of the source and of every stage at one point. What a stage drives does not reach back
    /// to its own input, so that all of them in order are the whole.
    fn drive_all(
        &self,
        response: &PathResponse,
        source_wave: Complex64,
        stages: &[(PathStage, DrivenStage)],
        (point, LoDrive { power_dbm, phase }): (usize, LoDrive),
        waves: &mut Vec<DrivingWave>,
    ) {
        waves.clear();
        let wave = source_wave * Complex64::from_polar(1.0, phase);
        waves.push(DrivingWave { end: self.source, wave });
        for (own, stage) in stages {
            let volts = response.volts(point, own.input, waves);
            let amplitude = stage.amplitude(volts, power_dbm);
            waves.push(response.wave_of_stage(point, own.output, amplitude, stage.output_ohm));
        }
    }

    /// S between the input and the RF nodes of switched mixers, with every load in place but neither
    /// source nor elements.
    pub(super) fn node_scattering(
        &self,
        receiver: &Receiver,
        reduced: &Network,
        terminations: &Terminations,
    ) -> Result<Vec<Complex64>> {
        let reflections = self.reflections(reduced, terminations)?;
        let mut kept = vec![self.source];
        for (at, element) in
            receiver.switched_mixer().iter().flat_map(|own| own.elements()).enumerate()
        {
            if element.rf_node + 1 == kept.len() {
                kept.push(self.mixers[at]);
            }
        }
        let (ends, points) = (self.open_ports.len(), reduced.grid().len());
        let mut entries = Vec::with_capacity(points * kept.len() * kept.len());
        let mut lu = Lu::new(ends);
        let mut system = vec![Complex64::ZERO; ends * ends];
        let mut waves = vec![Complex64::ZERO; ends * kept.len()];
        for point in 0..points {
            let s = reduced.matrix(point).as_slice();
            // Each end by what it reflects, what it lets through to the outside, and what it reflects
            // there.
            let end = |at: usize| match kept.iter().position(|own| *own == at) {
                Some(0) => (Complex64::ZERO, Complex64::ONE, Complex64::ZERO),
                Some(_) => beside_load(reflections[at * points + point]),
                None => (reflections[at * points + point], Complex64::ZERO, Complex64::ZERO),
            };
            waves.fill(Complex64::ZERO);
            for row in 0..ends {
                let (reflection, ..) = end(row);
                for column in 0..ends {
                    let own = f64::from(u8::from(row == column));
                    system[row * ends + column] = own - reflection * s[row * ends + column];
                }
            }
            for (column, &at) in kept.iter().enumerate() {
                waves[at * kept.len() + column] = end(at).1;
            }
            let frequency_hz = reduced.grid().as_hz()[point];
            lu.factor(&system).map_err(|_| NetworkError::Ringing { frequency_hz })?;
            lu.solve(&mut waves, kept.len());
            for (row, &at) in kept.iter().enumerate() {
                let (_, through, outside) = end(at);
                for column in 0..kept.len() {
                    let leaving: Complex64 =
                        (0..ends).map(|k| s[at * ends + k] * waves[k * kept.len() + column]).sum();
                    let own = if row == column { outside } else { Complex64::ZERO };
                    entries.push(through * leaving + own);
                }
            }
        }
        Ok(entries)
    }

    /// An error of joining with the join as written. `numbers` holds the receiver's number of each join
    /// of the wiring.
    pub(super) fn named(
        &self,
        receiver: &Receiver,
        numbers: &[usize],
        error: NetworkError,
    ) -> ReceiverError {
        let NetworkError::SingularLoop { join, frequency_hz } = error else { return error.into() };
        let join = &receiver.joins()[numbers[join]];
        // The points of the LO path are known by the LO at the mixers.
        let (own, mixers) = match (self.path, join.terminals.first()) {
            (ReceiverPath::Lo, Some(terminal)) => receiver.pieces.fraction(terminal),
            _ => (1, 1),
        };
        let frequency_hz = frequency_hz * f64::from(own) / f64::from(mixers);
        ReceiverError::SingularJoin { join: join.text.clone(), frequency_hz }
    }

    /// b/a of every termination in the reference of its port: port after port, point after point.
    pub(super) fn reflections(
        &self,
        reduced: &Network,
        terminations: &Terminations,
    ) -> Result<Vec<Complex64>> {
        let mut all = Vec::with_capacity(terminations.len() * reduced.grid().len());
        for (end, termination) in terminations.iter().enumerate() {
            let port = Port::from_index(end);
            let own = termination.reflections(reduced, port);
            all.extend(
                own.map_err(|source| NetworkError::InLoad { port, source: Box::new(source) })?,
            );
        }
        Ok(all)
    }

    /// The wave that the source sends into its port for one watt available, in that port's
    /// reference impedance.
    pub(super) fn source_wave(
        &self,
        receiver: &Receiver,
        reduced: &Network,
        terminations: &Terminations,
    ) -> Complex64 {
        let source = self.source();
        let reference_ohm = reduced.references_ohm(0)[source].re;
        // A matched source sends a wave of magnitude one.
        let source_ohm = match terminations[source] {
            Load::Impedance(ohm) => ohm,
            Load::OnePort(_) | Load::Reflection(_) => receiver.input(self.path).source_ohm,
        };
        2.0 * (source_ohm.re * reference_ohm).sqrt() / (source_ohm + reference_ohm)
    }

    /// The open port of the input.
    pub(super) fn source(&self) -> usize {
        self.source
    }

    /// The open port with the given port of the receiver, if there is one.
    pub(super) fn port_of(&self, terminal: Terminal) -> Option<usize> {
        self.open_ports.iter().position(|own| *own == terminal)
    }

    /// The port of the receiver of an open port.
    pub(super) fn open_port(&self, end: usize) -> Terminal {
        self.open_ports[end]
    }

    /// The open port of a mixer.
    pub(super) fn mixer_port(&self, mixer: usize) -> usize {
        self.mixers[mixer]
    }

    /// The open port of a load; `None` for a load on the other path.
    pub(super) fn load_port(&self, load: usize) -> Option<usize> {
        self.loads[load]
    }

    /// The open ports of the loads at the node of a mixer's port: these loads absorb its power.
    pub(super) fn loads_at_node(&self, receiver: &Receiver, terminal: Terminal) -> Vec<usize> {
        let node = receiver.node_of(&terminal);
        let mut found: Vec<usize> = self.loads.iter().copied().flatten().collect();
        found.retain(|&end| node.contains(&self.open_ports[end]));
        found.sort_unstable();
        found
    }

    /// Open ports of loads at the mixers' ports of this path.
    pub(super) fn mixer_loads(&self, receiver: &Receiver) -> Vec<usize> {
        self.loads_where(|end| self.is_at_mixer(receiver, end, &[self.path]))
    }

    /// Open ports of loads that are alone at a port and not at a mixer: isolated ports. A load at a
    /// joined port is beside the signal path and is not one of them.
    pub(super) fn isolated_loads(&self, receiver: &Receiver) -> Vec<usize> {
        let is_joined = |end: usize| {
            receiver.joins().iter().any(|join| join.terminals.contains(&self.open_ports[end]))
        };
        self.loads_where(|end| {
            !is_joined(end) && !self.is_at_mixer(receiver, end, &ReceiverPath::BOTH)
        })
    }

    fn loads_where(&self, holds: impl Fn(usize) -> bool) -> Vec<usize> {
        self.loads.iter().copied().flatten().filter(|&end| holds(end)).collect()
    }

    fn is_at_mixer(&self, receiver: &Receiver, end: usize, paths: &[ReceiverPath]) -> bool {
        let node = receiver.node_of(&self.open_ports[end]);
        let mut mixers = receiver.mixers().iter();
        mixers.any(|mixer| paths.iter().any(|&path| node.contains(mixer.ports.get(path))))
    }
}

/// The networks of parts as S in the receiver's reference impedances: those of a file must not determine
/// what is ideal.
fn own_blocks(
    receiver: &Receiver,
    networks: &[Network],
    parts: &[PathPart],
    grid: &FrequencyGrid,
) -> Result<Vec<Network>, NetworkError> {
    let own = |(network, own): (&Network, &PathPart)| {
        let scattering = convert(network, ParameterKind::Scattering)?;
        let reference_ohm = |port| {
            let terminal = Terminal { block: own.part, port: Port::from_index(port) };
            Complex64::from(receiver.reference_ohm(terminal))
        };
        let references = (0..network.ports()).map(reference_ohm).collect();
        let own = change_reference(&scattering, references, WaveDefinition::Kurokawa)?;
        relabelled(own, grid)
    };
    networks.iter().zip(parts).map(own).collect()
}

/// A port with a load in parallel: its reflection inside, its transmission, its reflection outside.
/// An ideal junction of three ports has S = -1/3 on the diagonal and 2/3 off it.
fn beside_load(load: Complex64) -> (Complex64, Complex64, Complex64) {
    let returned = 4.0 / 9.0 * load / (1.0 + load / 3.0);
    let own = returned - 1.0 / 3.0;
    (own, returned + 2.0 / 3.0, own)
}
