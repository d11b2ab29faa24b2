//! The LO path and the RF path of a receiver, and one value for each of the two.

use std::fmt;

/// A path from an input of the receiver to its mixers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SignalPath {
    /// From the LO source.
    Lo,
    /// From the RF input.
    Rf,
}

impl SignalPath {
    /// The LO path, then the RF path.
    pub const BOTH: [Self; 2] = [Self::Lo, Self::Rf];
}

impl fmt::Display for SignalPath {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Lo => "LO",
            Self::Rf => "RF",
        })
    }
}

/// One value for the LO path and one for the RF path.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LoRf<T> {
    /// The value for the LO path.
    pub lo: T,
    /// The value for the RF path.
    pub rf: T,
}

impl<T> LoRf<T> {
    /// Makes both values, that of the LO path first.
    pub fn of_each(mut make: impl FnMut(SignalPath) -> T) -> Self {
        Self { lo: make(SignalPath::Lo), rf: make(SignalPath::Rf) }
    }

    /// Makes both values, that of the LO path first, and stops at the first error.
    ///
    /// # Errors
    /// That of `make`.
    pub fn try_of_each<E>(mut make: impl FnMut(SignalPath) -> Result<T, E>) -> Result<Self, E> {
        Ok(Self { lo: make(SignalPath::Lo)?, rf: make(SignalPath::Rf)? })
    }

    /// The value for a path.
    pub fn get(&self, path: SignalPath) -> &T {
        match path {
            SignalPath::Lo => &self.lo,
            SignalPath::Rf => &self.rf,
        }
    }

    /// The value for a path, to be changed.
    pub fn get_mut(&mut self, path: SignalPath) -> &mut T {
        match path {
            SignalPath::Lo => &mut self.lo,
            SignalPath::Rf => &mut self.rf,
        }
    }

    /// Both values, that of the LO path first.
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        [&self.lo, &self.rf].into_iter()
    }
}
