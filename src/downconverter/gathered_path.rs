//! A path of which the parts that do not change are joined into one block in advance.

use super::error::Result;
use super::joined_path::{JoinedPath, OpenPorts, PathPart};
use super::receiver::Receiver;
use crate::network::{Network, Port, Terminal, Wiring, join};

impl JoinedPath {
    /// The path with all parts but the `changing` ones joined into one block, for many receivers
    /// that differ in those only.
    pub(super) fn gathered(&self, receiver: &Receiver, changing: &[usize]) -> Result<Self> {
        let (changing, fixed): (Vec<PathPart>, Vec<PathPart>) =
            self.parts.iter().partition(|own| changing.contains(&own.part));
        if fixed.len() < 2 {
            return Ok(self.clone());
        }
        // The new index of every block: among the fixed ones, or after the gathered block.
        let mut is_fixed = vec![true; self.blocks.len()];
        let mut place = vec![0; self.blocks.len()];
        for (at, own) in fixed.iter().enumerate() {
            place[own.block] = at;
        }
        for (at, own) in changing.iter().enumerate() {
            (is_fixed[own.block], place[own.block]) = (false, 1 + at);
        }
        let moved = |end: &Terminal| Terminal { block: place[end.block], port: end.port };
        let (inner, outer): (Vec<usize>, Vec<usize>) = (0..self.joins.len())
            .partition(|&at| self.wiring.joins[at].iter().all(|end| is_fixed[end.block]));

        // Ports of the gathered block: those joined to a changing part, and open ports.
        let mut ports = OpenPorts::default();
        let meeting = outer.iter().flat_map(|&at| &self.wiring.joins[at]);
        for end in meeting.chain(&self.wiring.outside).filter(|end| is_fixed[end.block]) {
            ports.place(*end);
        }
        let wiring = Wiring {
            joins: inner
                .iter()
                .map(|&at| self.wiring.joins[at].iter().map(moved).collect())
                .collect(),
            outside: ports.0.iter().map(moved).collect(),
        };
        let networks: Vec<Network> =
            fixed.iter().map(|own| self.blocks[own.block].clone()).collect();
        let numbers = |joins: &[usize]| joins.iter().map(|&at| self.joins[at]).collect::<Vec<_>>();
        let gathered = join(&networks, &wiring)
            .map_err(|error| self.named(receiver, &numbers(&inner), error))?;

        let mut outside = |end: &Terminal| {
            if is_fixed[end.block] {
                Terminal { block: 0, port: Port::from_index(ports.place(*end)) }
            } else {
                moved(end)
            }
        };
        let wiring = Wiring {
            joins: outer
                .iter()
                .map(|&at| self.wiring.joins[at].iter().map(&mut outside).collect())
                .collect(),
            outside: self.wiring.outside.iter().map(&mut outside).collect(),
        };
        let own_blocks = changing.iter().map(|own| self.blocks[own.block].clone());
        let parts = changing.iter().map(|own| PathPart { block: place[own.block], ..*own });
        let mut made = self.clone();
        made.parts = parts.collect();
        made.blocks = std::iter::once(gathered).chain(own_blocks).collect();
        (made.wiring, made.joins) = (wiring, numbers(&outer));
        Ok(made)
    }
}
