//! What can stop the analysis of a splitter.

use super::splitter_kind::SplitterKind;
use crate::network::{NetworkError, Port};
use crate::requirement::Quantity;
use crate::units::ShownFrequency;

/// Why a splitter cannot be analysed as asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SplitterError {
    /// The network refuses an operation.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// Ports given twice, or too few of them.
    #[error("a splitter needs at least 3 ports, the file has {ports}")]
    TooFewPorts {
        /// Ports of the network.
        ports: usize,
    },
    /// One port in two roles.
    #[error("port {port} cannot be both {first} and {second}")]
    SamePort {
        /// The port.
        port: Port,
        /// One role.
        first: &'static str,
        /// The other.
        second: &'static str,
    },
    /// A port that is closed by a load but should carry a signal.
    #[error("port {port} is closed by a load and cannot be {role}")]
    LoadedRole {
        /// The port.
        port: Port,
        /// Its role.
        role: &'static str,
    },
    /// The roles cannot be told from the data.
    #[error("cannot tell {what} from the data: {why}")]
    Ambiguous {
        /// What is in question.
        what: &'static str,
        /// Why the data do not decide.
        why: String,
        /// The options that settle it.
        needed: &'static str,
    },
    /// An output that nothing reaches.
    #[error("output {port} carries no signal from input {input} at {}", ShownFrequency(*frequency_hz))]
    NoSignal {
        /// The output.
        port: Port,
        /// The input.
        input: Port,
        /// Where.
        frequency_hz: f64,
    },
    /// A band that the data do not cover.
    #[error(
        "the band {} to {} is not inside the data, {} to {}",
        ShownFrequency(band_hz.0), ShownFrequency(band_hz.1), ShownFrequency(data_hz.0), ShownFrequency(data_hz.1)
    )]
    BandOutsideData {
        /// The band asked for.
        band_hz: (f64, f64),
        /// What the file covers.
        data_hz: (f64, f64),
    },
    /// A limit on a quantity that this kind of splitter does not have.
    #[error("{} does not apply to a splitter of kind {kind}", quantity.name())]
    WrongRequirement {
        /// The limited quantity.
        quantity: Quantity,
        /// The kind.
        kind: SplitterKind,
    },
}
