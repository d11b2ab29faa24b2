//! The input port of the signal in each part of a path: the one that it reaches with the least
//! loss.
//!
//! In:  a path of a receiver with the networks of its parts.
//! Out: the input port of every part, and another port at which a similar signal arrives.
//!
//! Where LO and RF share a part, such as a hybrid of a balanced mixer, its isolated ports lead to
//! every other part too: only the loss distinguishes the signal from leakage.

use super::joined_path::{JoinedPath, PathPart};
use super::lo_pieces::STAGE_OUTPUT;
use super::receiver::Receiver;
use super::receiver_setup::other_ports;
use super::signal_path::ReceiverPath;
use crate::network::{Port, Terminal};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// The input port of the signal in a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PartEntry {
    /// The port with least loss from the input.
    pub(super) port: Port,
    /// Another port at which a signal less than [`SIMILAR_DB`] weaker arrives.
    pub(super) also: Option<Port>,
}

/// Signals that differ by less than this are of similar strength, dB.
const SIMILAR_DB: f64 = 10.0;
/// The loss used for no transmission, dB.
const NO_TRANSMISSION_DB: f64 = 400.0;

/// The entries of a path's parts, in its order.
pub(super) struct SignalTrace {
    /// Indexed by the part's index in the receiver.
    entries: Vec<Option<PartEntry>>,
}

impl SignalTrace {
    /// The input ports, with the networks of a path at the middle of the plan.
    pub(super) fn new(receiver: &Receiver, path: &JoinedPath) -> Self {
        let mut entries: Vec<Option<PartEntry>> = vec![None; receiver.parts().len()];
        let mut reached_db = vec![0.0; entries.len()];
        let mut open = BinaryHeap::new();
        let arrive = |open: &mut BinaryHeap<_>, node: &[Terminal], loss: Loss| {
            open.extend(node.iter().map(|terminal| Reverse((loss, *terminal))));
        };
        let input = receiver.input(path.path()).at;
        arrive(&mut open, receiver.node_of(&input), Loss { micro_db: 0, parts: 0 });
        while let Some(Reverse((loss, terminal))) = open.pop() {
            let Some(own) = path.part(terminal.block) else { continue };
            if let Some(entry) = &mut entries[terminal.block] {
                let is_similar = loss.db() - reached_db[terminal.block] < SIMILAR_DB;
                if is_similar && entry.port != terminal.port {
                    entry.also.get_or_insert(terminal.port);
                }
                continue;
            }
            entries[terminal.block] = Some(PartEntry { port: terminal.port, also: None });
            reached_db[terminal.block] = loss.db();
            for leaving in other_ports(receiver.parts()[terminal.block].ports.len(), terminal) {
                let own_db = match receiver.stage(own.part) {
                    // What a stage gives depends on its drive; it lets the signal pass one way.
                    Some(_) if leaving.port.index() == STAGE_OUTPUT => 0.0,
                    _ => transmission_loss_db(path, own, terminal, leaving),
                };
                let onwards = loss.after(own_db);
                let node = receiver.node_of(&leaving).iter().filter(|other| **other != leaving);
                arrive(&mut open, &node.copied().collect::<Vec<_>>(), onwards);
            }
        }
        Self { entries }
    }

    /// The input port of a part; its first port if no signal reaches it.
    pub(super) fn entry(&self, part: usize) -> PartEntry {
        let unreached = PartEntry { port: Port::from_index(0), also: None };
        self.entries[part].unwrap_or(unreached)
    }

    /// Whether the signal enters a part by this port.
    pub(super) fn enters(&self, terminal: &Terminal) -> bool {
        self.entries[terminal.block].is_some_and(|entry| entry.port == terminal.port)
    }
}

/// The mixers that can be reached from a port along the signal: into parts by their entries only.
pub(super) fn mixers_reached(
    receiver: &Receiver,
    path: ReceiverPath,
    trace: &SignalTrace,
    from: Terminal,
) -> Vec<usize> {
    let mut seen = vec![false; receiver.parts().len()];
    seen[from.block] = true;
    let mut open = vec![from];
    let mut found = Vec::new();
    while let Some(terminal) = open.pop() {
        let node = receiver.node_of(&terminal);
        let mixers = receiver.mixers().iter().enumerate();
        let here = mixers.filter(|(_, mixer)| node.contains(mixer.ports.get(path)));
        found.extend(here.map(|(at, _)| at));
        for &reached in node.iter().filter(|reached| trace.enters(reached)) {
            if !std::mem::replace(&mut seen[reached.block], true) {
                open.extend(other_ports(receiver.parts()[reached.block].ports.len(), reached));
            }
        }
    }
    found
}

/// A loss from the input, then the number of parts passed: of equal losses the shorter way counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Loss {
    /// A whole number, so that rounding does not choose between paths of equal loss.
    micro_db: u64,
    parts: usize,
}

impl Loss {
    fn db(self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "below 2^53")]
        let micro_db = self.micro_db as f64;
        micro_db * 1e-6
    }

    fn after(self, part_db: f64) -> Self {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in range")]
        let own = (part_db.clamp(0.0, NO_TRANSMISSION_DB) * 1e6).round() as u64;
        Self { micro_db: self.micro_db + own, parts: self.parts + 1 }
    }
}

fn transmission_loss_db(path: &JoinedPath, own: &PathPart, from: Terminal, to: Terminal) -> f64 {
    let block = &path.blocks[own.block];
    let transmission = block.matrix(path.middle()).at(to.port, from.port).norm();
    -20.0 * transmission.max(1e-20).log10()
}
