//! Connections between ports of several blocks.

use super::ports::Port;

/// A port of one of the blocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Terminal {
    /// Index of the block, from 0.
    pub block: usize,
    /// The port of the block.
    pub port: Port,
}

/// The joins and the outer ports of several blocks.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wiring {
    /// Each list is one ideal node.
    pub joins: Vec<Vec<Terminal>>,
    /// The outer ports, in order. An outer port that is in a join too is connected to that node.
    pub outside: Vec<Terminal>,
}
