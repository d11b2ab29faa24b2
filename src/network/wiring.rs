//! What meets what: ports of several blocks.

use super::ports::Port;

/// A port of one of the blocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Terminal {
    /// Which block, from 0.
    pub block: usize,
    /// Which of its ports.
    pub port: Port,
}

/// Which ports meet, and which face outwards.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wiring {
    /// Each list is one ideal node.
    pub joins: Vec<Vec<Terminal>>,
    /// The outside ports, in order. One that is in a join too taps that node.
    pub outside: Vec<Terminal>,
}
