//! What separates a number from a result at the probe station.
//!
//! | file | subject |
//! |---|---|
//! | `rebuild` | an N-port from measurements of pairs of its ports |
//! | `error` | why that cannot be |

mod error;
mod rebuild;

pub use error::RebuildError;
pub use rebuild::{
    EntryCovariance, PartialMeasurement, RebuildSettings, Rebuilt, RepeatedReflection, rebuild,
};
