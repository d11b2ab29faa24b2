//! Port numbers and the modes of matrix rows.

use std::fmt;

/// A port number: 1-based in files and texts, 0-based as an index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Port {
    index: usize,
}

impl Port {
    /// The port with the given number, from 1; `None` for zero.
    #[must_use]
    pub fn from_number(number: usize) -> Option<Self> {
        number.checked_sub(1).map(|index| Self { index })
    }

    /// The port of a row or column, from 0.
    #[must_use]
    pub fn from_index(index: usize) -> Self {
        Self { index }
    }

    /// The port number, from 1.
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

/// The mode of one row and column of a matrix.
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
    /// The ports of the mode.
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
