//! Port numbers and what a matrix row stands for.

use std::fmt;

/// A port: 1-based for people, 0-based for indexing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Port {
    index: usize,
}

impl Port {
    /// The port a person calls `number`; `None` for zero.
    #[must_use]
    pub fn from_number(number: usize) -> Option<Self> {
        number.checked_sub(1).map(|index| Self { index })
    }

    /// The port of a row or column, counted from zero.
    #[must_use]
    pub fn from_index(index: usize) -> Self {
        Self { index }
    }

    /// The number a person sees, from 1.
    #[must_use]
    pub fn number(self) -> usize {
        self.index + 1
    }

    /// The row or column, from 0.
    #[must_use]
    pub fn index(self) -> usize {
        self.index
    }
}

impl fmt::Display for Port {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.number())
    }
}

/// What one row and column of a matrix stands for.
///
/// For a pair (p, n) the differential wave is (p - n)/√2 with reference 2R, the common wave
/// (p + n)/√2 with reference R/2.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PortMode {
    /// A single-ended port.
    Single(Port),
    /// The differential mode of a pair: first port minus second.
    Differential(Port, Port),
    /// The common mode of a pair.
    Common(Port, Port),
}

impl PortMode {
    /// The ports that it is made of.
    pub(super) fn ports(&self) -> impl Iterator<Item = Port> + use<> {
        let (first, second) = match *self {
            Self::Single(port) => (port, None),
            Self::Differential(plus, minus) | Self::Common(plus, minus) => (plus, Some(minus)),
        };
        std::iter::once(first).chain(second)
    }
}

impl fmt::Display for PortMode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Single(port) => write!(f, "S{port}"),
            Self::Differential(plus, minus) => write!(f, "D{plus},{minus}"),
            Self::Common(plus, minus) => write!(f, "C{plus},{minus}"),
        }
    }
}
