//! The LO network in pieces: amplifiers and multipliers inside it separate networks that work at
//! frequencies of their own.
//!
//! In:  the ports of all blocks, how they are joined, and which blocks are stages.
//! Out: the piece of every block, the carrier of every piece as a multiple of that at the LO input,
//!      and the stages in the order of the signal.
//!
//! A stage is unilateral: its input ends one piece, its output drives another.

use super::error::ReceiverError;
use super::receiver_setup::{Join, node_of, other_ports};
use crate::network::{FrequencyGrid, NetworkError, Port, Terminal};
use std::collections::{HashMap, VecDeque};

/// The ports of a stage: it takes the LO at its first and gives it at its second.
pub(super) const STAGE_INPUT: usize = 0;
pub(super) const STAGE_OUTPUT: usize = 1;

/// A block that is a stage, for the search of pieces.
#[derive(Clone, Copy, Debug)]
pub(crate) struct StageBlock<'n> {
    pub(crate) name: &'n str,
    pub(crate) order: u32,
}

/// A stage between two pieces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct PlacedStage {
    /// Its place among the blocks.
    pub(crate) block: usize,
    /// The piece that drives it.
    pub(crate) from: usize,
    /// The piece that it drives.
    pub(crate) to: usize,
}

/// The pieces of an LO network; the first is that of the LO input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct LoPieces {
    /// The piece of each port that is reached.
    piece_of: HashMap<Terminal, usize>,
    /// The carrier of each piece over that at the LO input.
    multiplication: Vec<u32>,
    /// In the order of the signal.
    stages: Vec<PlacedStage>,
    /// The carrier at the mixers over that at the LO input.
    at_mixers: u32,
}

/// Why a network has no pieces, and at which block.
#[derive(Debug)]
pub(crate) struct PieceError {
    pub(crate) block: Option<usize>,
    pub(crate) error: ReceiverError,
}

/// The highest multiplication of a piece: that of a plan.
const MAX_MULTIPLICATION: u32 = 1000;

/// Blocks, joins and stages in which pieces are searched.
#[derive(Clone, Copy)]
pub(crate) struct PieceSearch<'a> {
    pub(crate) port_counts: &'a [usize],
    pub(crate) joins: &'a [Join],
    pub(crate) stages: &'a [Option<StageBlock<'a>>],
}

impl PieceSearch<'_> {
    /// The pieces behind an LO input; `mixers` are the mixers' LO ports with their names.
    pub(crate) fn pieces(
        &self,
        input: Terminal,
        mixers: &[(Terminal, &str)],
    ) -> Result<LoPieces, PieceError> {
        let mut piece_of: HashMap<Terminal, usize> = HashMap::new();
        let mut stages: Vec<PlacedStage> = Vec::new();
        let mut starts = VecDeque::from([(input, None::<usize>)]);
        let mut pieces = 0;
        while let Some((start, driver)) = starts.pop_front() {
            let to = match piece_of.get(&start) {
                Some(&known) => known,
                None => {
                    let own = pieces;
                    pieces += 1;
                    for reached in self.linear_reach(start) {
                        piece_of.insert(reached, own);
                        let is_input = reached.port.index() == STAGE_INPUT;
                        if self.stages[reached.block].is_some() && is_input {
                            let port = Port::from_index(STAGE_OUTPUT);
                            let output = Terminal { block: reached.block, port };
                            starts.push_back((output, Some(reached.block)));
                        }
                    }
                    own
                }
            };
            if let Some(block) = driver {
                let input = Terminal { block, port: Port::from_index(STAGE_INPUT) };
                // A stage is a driver because its input was reached.
                let from = piece_of.get(&input).copied().unwrap_or(to);
                stages.push(PlacedStage { block, from, to });
            }
        }
        self.check_driven(&piece_of)?;
        let (multiplication, stages) = self.ordered(pieces, stages)?;
        let at_mixers = at_mixers(&piece_of, &multiplication, mixers)?;
        Ok(LoPieces { piece_of, multiplication, stages, at_mixers })
    }

    /// All ports that a port reaches without passing a stage, itself among them.
    fn linear_reach(&self, start: Terminal) -> Vec<Terminal> {
        let mut found = Vec::new();
        let mut open = vec![start];
        let mut seen = std::collections::HashSet::new();
        while let Some(terminal) = open.pop() {
            for &reached in node_of(self.joins, &terminal) {
                if seen.insert(reached) {
                    found.push(reached);
                    if self.stages[reached.block].is_none() {
                        for other in other_ports(self.port_counts[reached.block], reached) {
                            if !seen.contains(&other) {
                                open.push(other);
                            }
                        }
                    }
                }
            }
        }
        found
    }

    fn name(&self, block: usize) -> String {
        self.stages[block].map_or_else(String::new, |stage| stage.name.to_owned())
    }

    /// Every stage of which a port is reached is driven.
    fn check_driven(&self, piece_of: &HashMap<Terminal, usize>) -> Result<(), PieceError> {
        for block in (0..self.stages.len()).filter(|&block| self.stages[block].is_some()) {
            let port = |index| Terminal { block, port: Port::from_index(index) };
            if !piece_of.contains_key(&port(STAGE_INPUT)) {
                let error = ReceiverError::StageUndriven { stage: self.name(block) };
                return Err(PieceError { block: Some(block), error });
            }
        }
        Ok(())
    }

    /// The carrier of each piece, and the stages in the order of the signal.
    fn ordered(
        &self,
        pieces: usize,
        mut open: Vec<PlacedStage>,
    ) -> Result<(Vec<u32>, Vec<PlacedStage>), PieceError> {
        let mut multiplication = vec![None; pieces];
        multiplication[0] = Some(1_u32);
        // Of stages side by side the first in the description comes first.
        open.sort_by_key(|stage| stage.block);
        let mut ordered: Vec<PlacedStage> = Vec::new();
        while !open.is_empty() {
            // A piece is complete once every stage that drives it is in order.
            let is_ready = |stage: &PlacedStage, open: &[PlacedStage]| {
                multiplication[stage.from].is_some()
                    && !open.iter().any(|other| other.to == stage.from)
            };
            let Some(at) = (0..open.len()).find(|&at| is_ready(&open[at], &open)) else {
                let block = open[0].block;
                let error = ReceiverError::StageLoop { stage: self.name(block) };
                return Err(PieceError { block: Some(block), error });
            };
            let stage = open.remove(at);
            let order = self.stages[stage.block].map_or(1, |own| own.order);
            let own = multiplication[stage.from].unwrap_or(1).saturating_mul(order);
            let failed = |error| Err(PieceError { block: Some(stage.block), error });
            if own > MAX_MULTIPLICATION {
                let (what, expected) = ("the multiplication of the LO", "at most 1000");
                return failed(ReceiverError::OutOfRange { what, expected, found: own.into() });
            }
            match multiplication[stage.to] {
                Some(found) if found != own => {
                    let name = self.name(stage.block);
                    return failed(ReceiverError::StagesMeet { stage: name, own, found });
                }
                _ => multiplication[stage.to] = Some(own),
            }
            ordered.push(stage);
        }
        Ok((multiplication.into_iter().map(|own| own.unwrap_or(1)).collect(), ordered))
    }
}

fn at_mixers(
    piece_of: &HashMap<Terminal, usize>,
    multiplication: &[u32],
    mixers: &[(Terminal, &str)],
) -> Result<u32, PieceError> {
    let of = |terminal: &Terminal| piece_of.get(terminal).map(|&piece| multiplication[piece]);
    // A mixer that the LO does not reach is refused elsewhere.
    let mut reached = mixers.iter().filter_map(|(port, name)| Some((of(port)?, *name)));
    let Some((expected, first)) = reached.next() else { return Ok(1) };
    match reached.find(|(found, _)| *found != expected) {
        None => Ok(expected),
        Some((found, mixer)) => Err(PieceError {
            block: None,
            error: ReceiverError::MixersDiffer {
                mixer: mixer.to_owned(),
                found,
                other: first.to_owned(),
                expected,
            },
        }),
    }
}

impl LoPieces {
    /// The stages in the order of the signal.
    pub(crate) fn stages(&self) -> &[PlacedStage] {
        &self.stages
    }

    /// How many pieces there are; at least one.
    pub(super) fn count(&self) -> usize {
        self.multiplication.len()
    }

    /// The piece of a port that the LO reaches.
    pub(super) fn piece_of(&self, terminal: &Terminal) -> Option<usize> {
        self.piece_of.get(terminal).copied()
    }

    /// The carrier at the mixers over that at the LO input.
    pub(crate) fn at_mixers(&self) -> u32 {
        self.at_mixers
    }

    /// The carrier at a port over that at the mixers, as a fraction: above and below the line.
    pub(crate) fn fraction(&self, terminal: &Terminal) -> (u32, u32) {
        let own =
            self.piece_of(terminal).map_or(self.at_mixers, |piece| self.multiplication[piece]);
        (own, self.at_mixers)
    }

    /// The frequencies at a port for those at the mixers' ports.
    pub(crate) fn grid(
        &self,
        terminal: &Terminal,
        at_mixers: &FrequencyGrid,
    ) -> Result<FrequencyGrid, NetworkError> {
        let (own, mixers) = self.fraction(terminal);
        if own == mixers {
            return Ok(at_mixers.clone());
        }
        let scaled = |hz: &f64| hz * f64::from(own) / f64::from(mixers);
        FrequencyGrid::from_hz(at_mixers.as_hz().iter().map(scaled).collect())
    }
}
