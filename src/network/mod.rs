//! N-port networks over frequency and their algebra.
//!
//! A [`Network`] holds one square matrix per frequency in one contiguous block, row-major, with
//! the reference impedance of every port. Row i is the responding port, column j the driven one.
//! Port numbers are 1-based wherever a person sees them and 0-based inside; [`Port`] converts.
//!
//! | file | subject |
//! |---|---|
//! | `container` | the checked container and its views |
//! | `grid` | frequency grids |
//! | `ports` | port numbers, mixed modes, selection |
//! | `waves` | the three wave definitions, as one description |
//! | `bilinear` | the one step behind every conversion and renormalisation |
//! | `convert` | S, Z, Y, H, G into one another |
//! | `renormalise` | other reference impedances |
//! | `load` | ports closed by loads |
//! | `interpolate` | other frequencies |
//! | `quality` | passivity, reciprocity, sampling |
//! | `lu` | the small dense solver beneath them |

mod bilinear;
mod container;
mod convert;
mod error;
mod grid;
mod interpolate;
mod load;
mod lu;
mod mixed_mode;
mod ports;
mod quality;
mod renormalise;
mod waves;

pub use container::{MatrixView, Network, ParameterKind};
pub use convert::convert;
pub use error::NetworkError;
pub use grid::{FrequencyGrid, Spacing};
pub use interpolate::{Interpolated, UnsafeStep, interpolate};
pub use load::{Load, close_ports};
pub use mixed_mode::to_single_ended;
pub use ports::{Port, PortMode};
pub use quality::{PASSIVITY_TOLERANCE, Quality, RECIPROCITY_TOLERANCE, Worst, assess};
pub use renormalise::renormalise;
pub use waves::WaveDefinition;
