//! One way into a receiver, solved: from a source to the voltages at the mixing elements.
//!
//! The parts are joined once into a network whose ports are the input, the loads and the elements;
//! what they end in is closed afterwards. So one joining serves every question about loads.

use super::error::ReceiverError;
use super::receiver::{Receiver, Way};
use crate::network::{
    Load, Network, NetworkError, ParameterKind, Port, Terminal, WaveDefinition, Wiring,
    change_reference, close_ports, convert, join, node_references,
};
use num_complex::Complex64;

/// The parts on one way, and the ports at which they end.
#[derive(Clone, Debug)]
pub(super) struct Side {
    way: Way,
    /// Which part each block is, or the first of those joined into it; networks in the references
    /// of their nodes.
    pub(super) parts: Vec<usize>,
    pub(super) blocks: Vec<Network>,
    wiring: Wiring,
    joins: Vec<usize>,
    /// The ports at which something ends, as of the receiver.
    ends: Vec<Terminal>,
}

/// Nothing at all.
pub(super) const OPEN: Load = Load::Reflection(Complex64::ONE);

/// What each end ends in.
pub(super) type Endings = Vec<Load>;

impl Side {
    pub(super) fn new(receiver: &Receiver, way: Way) -> Result<Self, ReceiverError> {
        let parts: Vec<usize> = receiver.parts_on(way).collect();
        let local = |terminal: Terminal| {
            let block = parts.iter().position(|&part| part == terminal.block)?;
            Some(Terminal { block, port: terminal.port })
        };
        let mut ends: Vec<Terminal> = Vec::new();
        let inputs = receiver.inputs.iter().map(|input| input.at);
        let loads = receiver.loads.iter().map(|load| load.at);
        let elements = receiver.mixers.iter().flat_map(|mixer| [mixer.lo, mixer.rf]);
        for end in inputs.chain(loads).chain(elements) {
            if local(end).is_some() && !ends.contains(&end) {
                ends.push(end);
            }
        }
        let joins: Vec<usize> = (0..receiver.joins.len())
            .filter(|&at| local(receiver.joins[at][0]).is_some())
            .collect();
        let wiring = Wiring {
            joins: joins
                .iter()
                .map(|&at| receiver.joins[at].iter().filter_map(|&end| local(end)).collect())
                .collect(),
            outside: ends.iter().filter_map(|&end| local(end)).collect(),
        };
        let networks: Vec<Network> = parts
            .iter()
            .filter_map(|&part| receiver.parts[part].network.of(way).cloned())
            .collect();
        let references = node_references(&networks, &wiring);
        let blocks = networks
            .iter()
            .zip(references)
            .map(|(network, references_ohm)| {
                let scattering = convert(network, ParameterKind::Scattering)?;
                let references = references_ohm.into_iter().map(Complex64::from).collect();
                change_reference(&scattering, references, WaveDefinition::Kurokawa)
            })
            .collect::<Result<_, NetworkError>>()?;
        Ok(Self { way, parts, blocks, wiring, joins, ends })
    }

    /// The same with all parts but the `changing` ones joined into one block, once for many
    /// receivers that differ in those.
    pub(super) fn gathered(
        &self,
        receiver: &Receiver,
        changing: &[usize],
    ) -> Result<Self, ReceiverError> {
        let is_fixed = |block: usize| !changing.contains(&self.parts[block]);
        let fixed: Vec<usize> = (0..self.blocks.len()).filter(|&block| is_fixed(block)).collect();
        if fixed.len() < 2 {
            return Ok(self.clone());
        }
        let (inner, outer): (Vec<usize>, Vec<usize>) = (0..self.joins.len())
            .partition(|&at| self.wiring.joins[at].iter().all(|end| is_fixed(end.block)));
        let among_fixed = |end: Terminal| Terminal {
            block: fixed.iter().position(|&block| block == end.block).unwrap_or(0),
            port: end.port,
        };
        // Ports of the gathered block: what still meets a changing part, and what ends something.
        let mut ports: Vec<Terminal> = Vec::new();
        let meeting = outer.iter().flat_map(|&at| &self.wiring.joins[at]);
        for &end in meeting.chain(&self.wiring.outside).filter(|end| is_fixed(end.block)) {
            if !ports.contains(&end) {
                ports.push(end);
            }
        }
        let wiring = Wiring {
            joins: inner
                .iter()
                .map(|&at| self.wiring.joins[at].iter().copied().map(among_fixed).collect())
                .collect(),
            outside: ports.iter().copied().map(among_fixed).collect(),
        };
        let networks: Vec<Network> =
            fixed.iter().map(|&block| self.blocks[block].clone()).collect();
        let gathered = join(&networks, &wiring)
            .map_err(|error| self.named(receiver, error, |join| inner.get(join).copied()))?;

        let changing: Vec<usize> =
            (0..self.blocks.len()).filter(|&block| !is_fixed(block)).collect();
        let outside = |end: &Terminal| match ports.iter().position(|port| port == end) {
            Some(port) => Terminal { block: 0, port: Port::from_index(port) },
            None => Terminal {
                block: 1 + changing.iter().position(|&block| block == end.block).unwrap_or(0),
                port: end.port,
            },
        };
        let first = fixed[0];
        Ok(Self {
            way: self.way,
            parts: std::iter::once(first)
                .chain(changing.clone())
                .map(|at| self.parts[at])
                .collect(),
            blocks: std::iter::once(gathered)
                .chain(changing.iter().map(|&block| self.blocks[block].clone()))
                .collect(),
            wiring: Wiring {
                joins: outer
                    .iter()
                    .map(|&at| self.wiring.joins[at].iter().map(outside).collect())
                    .collect(),
                outside: self.wiring.outside.iter().map(outside).collect(),
            },
            joins: outer.iter().map(|&at| self.joins[at]).collect(),
            ends: self.ends.clone(),
        })
    }

    /// The ends as ports, with `blocks` in place of its own.
    pub(super) fn reduce(
        &self,
        receiver: &Receiver,
        blocks: &[Network],
    ) -> Result<Network, ReceiverError> {
        join(blocks, &self.wiring).map_err(|error| self.named(receiver, error, Some))
    }

    /// An error of joining, with the join as written; `place` says which of this side's joins it was.
    fn named(
        &self,
        receiver: &Receiver,
        error: NetworkError,
        place: impl Fn(usize) -> Option<usize>,
    ) -> ReceiverError {
        match error {
            NetworkError::RingingJoin { join, frequency_hz } => ReceiverError::RingingJoin {
                join: place(join)
                    .and_then(|at| self.joins.get(at))
                    .map_or_else(String::new, |&at| receiver.join_texts[at].clone()),
                frequency_hz,
            },
            other => other.into(),
        }
    }

    /// What the ends really end in: sources, loads, nothing.
    pub(super) fn endings(&self, receiver: &Receiver) -> Endings {
        self.ends
            .iter()
            .map(|&end| {
                if let Some(load) = receiver.loads.iter().find(|load| load.at == end)
                    && let Some(network) = load.network.of(self.way)
                {
                    return Load::OnePort(network.clone());
                }
                match receiver.inputs.iter().find(|input| input.at == end) {
                    Some(input) => Load::Impedance(input.source_ohm),
                    None => OPEN,
                }
            })
            .collect()
    }

    /// The same with every load matched to the reference of its port.
    pub(super) fn matched_endings(&self, receiver: &Receiver, reduced: &Network) -> Endings {
        let is_loaded = |end: &Terminal| receiver.loads.iter().any(|load| load.at == *end);
        let is_input = |end: &Terminal| receiver.inputs.iter().any(|input| input.at == *end);
        self.ends
            .iter()
            .enumerate()
            .map(|(at, end)| {
                if is_loaded(end) || is_input(end) {
                    Load::Impedance(reduced.references_ohm(0)[at])
                } else {
                    OPEN
                }
            })
            .collect()
    }

    /// The ends as ports with what they end in: column j holds the waves that leave every end for
    /// a unit wave into end j.
    pub(super) fn close(
        &self,
        reduced: &Network,
        endings: &Endings,
    ) -> Result<Network, ReceiverError> {
        let loads: Vec<(Port, Load)> = endings
            .iter()
            .enumerate()
            .map(|(at, load)| (Port::from_index(at), load.clone()))
            .collect();
        Ok(close_ports(reduced, &loads)?)
    }

    /// Volts at each element per square root of a watt available at the input, frequency after
    /// frequency.
    pub(super) fn voltages(
        &self,
        receiver: &Receiver,
        reduced: &Network,
        endings: &Endings,
    ) -> Result<Vec<Complex64>, ReceiverError> {
        let closed = self.close(reduced, endings)?;
        let source = self.source(receiver);
        let elements: Vec<usize> = receiver
            .mixers
            .iter()
            .filter_map(|mixer| self.end_at(mixer.terminal(self.way)))
            .collect();
        let reflections = self.reflections(reduced, endings)?;
        let wave = self.source_wave(receiver, reduced, endings);
        let points = reduced.grid().len();
        let mut voltages = Vec::with_capacity(points * elements.len());
        for point in 0..points {
            let references = reduced.references_ohm(point);
            let matrix = closed.matrix(point);
            for &end in &elements {
                let leaving = matrix.at(Port::from_index(end), Port::from_index(source)) * wave;
                // What leaves, what its ending sends back, and at the input itself the source's.
                let own = if end == source { wave } else { Complex64::ZERO };
                let reflected = reflections[end * points + point] * leaving;
                voltages.push((leaving + reflected + own) * references[end].re.sqrt());
            }
        }
        Ok(voltages)
    }

    /// b/a of every ending in the reference of its end: end after end, point after point.
    pub(super) fn reflections(
        &self,
        reduced: &Network,
        endings: &Endings,
    ) -> Result<Vec<Complex64>, ReceiverError> {
        let mut all = Vec::with_capacity(endings.len() * reduced.grid().len());
        for (end, ending) in endings.iter().enumerate() {
            all.extend(ending.reflections(reduced, Port::from_index(end))?);
        }
        Ok(all)
    }

    /// The wave that the source sends into its end for one watt available, in that end's reference.
    pub(super) fn source_wave(
        &self,
        receiver: &Receiver,
        reduced: &Network,
        endings: &Endings,
    ) -> Complex64 {
        let source = self.source(receiver);
        let reference_ohm = reduced.references_ohm(0)[source].re;
        // With an ideal source in its place the wave is one.
        let source_ohm = match endings[source] {
            Load::Impedance(ohm) => ohm,
            Load::OnePort(_) | Load::Reflection(_) => receiver.input(self.way).source_ohm,
        };
        2.0 * (source_ohm.re * reference_ohm).sqrt() / (source_ohm + reference_ohm)
    }

    /// Which end is the input.
    pub(super) fn source(&self, receiver: &Receiver) -> usize {
        self.end_at(receiver.input(self.way).at).unwrap_or(0)
    }

    pub(super) fn end_at(&self, terminal: Terminal) -> Option<usize> {
        self.ends.iter().position(|&end| end == terminal)
    }

    pub(super) fn way(&self) -> Way {
        self.way
    }

    /// The ends that stand at the node of an element: their loads take its power.
    pub(super) fn ends_at_node(&self, receiver: &Receiver, terminal: Terminal) -> Vec<usize> {
        let node = receiver.joins.iter().find(|node| node.contains(&terminal));
        (0..self.ends.len())
            .filter(|&end| {
                self.ends[end] == terminal
                    || node.is_some_and(|node| node.contains(&self.ends[end]))
            })
            .collect()
    }

    /// Ends of loads that stand at an element's port on this way.
    pub(super) fn element_loads(&self, receiver: &Receiver) -> Vec<usize> {
        self.loads_where(receiver, |end| self.is_at_element(receiver, end, &[self.way]))
    }

    /// Ends of loads that close a port by themselves and stand at no element's: terminations. A load
    /// beside the signal's way, at a port that is joined too, is none.
    pub(super) fn terminations(&self, receiver: &Receiver) -> Vec<usize> {
        let is_joined =
            |end: usize| receiver.joins.iter().any(|node| node.contains(&self.ends[end]));
        self.loads_where(receiver, |end| {
            !is_joined(end) && !self.is_at_element(receiver, end, &Way::BOTH)
        })
    }

    fn loads_where(&self, receiver: &Receiver, holds: impl Fn(usize) -> bool) -> Vec<usize> {
        let ends = receiver.loads.iter().filter_map(|load| self.end_at(load.at));
        ends.filter(|&end| holds(end)).collect()
    }

    fn is_at_element(&self, receiver: &Receiver, end: usize, ways: &[Way]) -> bool {
        let elements = receiver
            .mixers
            .iter()
            .flat_map(|mixer| ways.iter().map(move |&way| mixer.terminal(way)));
        elements.into_iter().any(|element| self.ends_at_node(receiver, element).contains(&end))
    }
}
