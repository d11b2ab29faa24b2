//! The LO path and the RF path of a receiver, and one value for each of the two.

use std::fmt;

/// A path from an input of the receiver to its mixers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ReceiverPath {
    /// From the LO source.
    Lo,
    /// From the RF input.
    Rf,
}

impl ReceiverPath {
    /// The LO path, then the RF path.
    pub const BOTH: [Self; 2] = [Self::Lo, Self::Rf];
}

impl fmt::Display for ReceiverPath {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Lo => "LO",
            Self::Rf => "RF",
        })
    }
}

/// Where a network of a receiver is used, and so at which frequencies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ReceiverGrid {
    /// On a path from an input to the mixers.
    Path(ReceiverPath),
    /// Behind the mixers.
    If,
}

impl ReceiverGrid {
    /// The LO path, the RF path, behind the mixers.
    pub const ALL: [Self; 3] =
        [Self::Path(ReceiverPath::Lo), Self::Path(ReceiverPath::Rf), Self::If];
}

impl fmt::Display for ReceiverGrid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Path(path) => path.fmt(f),
            Self::If => f.write_str("IF"),
        }
    }
}

/// One value for each place of use: both paths, and behind the mixers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OnGrids<T> {
    /// The values for the paths.
    pub paths: LoRf<T>,
    /// The value behind the mixers.
    pub intermediate: T,
}

impl<T> OnGrids<T> {
    /// Makes all values, in the order of [`ReceiverGrid::ALL`], and stops at the first error.
    ///
    /// # Errors
    /// That of `make`.
    pub fn try_of_each<E>(mut make: impl FnMut(ReceiverGrid) -> Result<T, E>) -> Result<Self, E> {
        let paths = LoRf::try_of_each(|path| make(ReceiverGrid::Path(path)))?;
        Ok(Self { paths, intermediate: make(ReceiverGrid::If)? })
    }

    /// The value for a place of use.
    pub fn get(&self, grid: ReceiverGrid) -> &T {
        match grid {
            ReceiverGrid::Path(path) => self.paths.get(path),
            ReceiverGrid::If => &self.intermediate,
        }
    }

    /// The value for a place of use, to be changed.
    pub fn get_mut(&mut self, grid: ReceiverGrid) -> &mut T {
        match grid {
            ReceiverGrid::Path(path) => self.paths.get_mut(path),
            ReceiverGrid::If => &mut self.intermediate,
        }
    }

    /// All values, in the order of [`ReceiverGrid::ALL`].
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        self.paths.iter().chain([&self.intermediate])
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
    pub fn of_each(mut make: impl FnMut(ReceiverPath) -> T) -> Self {
        Self { lo: make(ReceiverPath::Lo), rf: make(ReceiverPath::Rf) }
    }

    /// Makes both values, that of the LO path first, and stops at the first error.
    ///
    /// # Errors
    /// That of `make`.
    pub fn try_of_each<E>(mut make: impl FnMut(ReceiverPath) -> Result<T, E>) -> Result<Self, E> {
        Ok(Self { lo: make(ReceiverPath::Lo)?, rf: make(ReceiverPath::Rf)? })
    }

    /// The value for a path.
    pub fn get(&self, path: ReceiverPath) -> &T {
        match path {
            ReceiverPath::Lo => &self.lo,
            ReceiverPath::Rf => &self.rf,
        }
    }

    /// The value for a path, to be changed.
    pub fn get_mut(&mut self, path: ReceiverPath) -> &mut T {
        match path {
            ReceiverPath::Lo => &mut self.lo,
            ReceiverPath::Rf => &mut self.rf,
        }
    }

    /// Both values, that of the LO path first.
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        [&self.lo, &self.rf].into_iter()
    }
}
