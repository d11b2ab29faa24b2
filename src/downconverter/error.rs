//! Why a receiver cannot be solved.

use crate::network::NetworkError;

/// A receiver that cannot be solved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ReceiverError {
    /// A lossless loop.
    #[error("join \"{join}\" closes a loop that rings at {}", crate::units::ShownFrequency(*frequency_hz))]
    RingingJoin {
        /// The join as written.
        join: String,
        /// Where.
        frequency_hz: f64,
    },
    /// I or Q stays silent.
    #[error(
        "channel {channel} gives nothing at LO {} and IF {}: its elements cancel, stand at a short, or get no LO or no RF",
        crate::units::ShownFrequency(*lo_hz),
        crate::units::ShownFrequency(*if_hz)
    )]
    SilentChannel {
        /// Which.
        channel: &'static str,
        /// Where.
        lo_hz: f64,
        /// Where.
        if_hz: f64,
    },
    /// A name that is no block's.
    #[error("the receiver has no block '{name}'")]
    NoBlock {
        /// The name.
        name: String,
    },
    /// A die's network that cannot take its block's place.
    #[error("block '{block}': {source}")]
    DieNetwork {
        /// Which block.
        block: String,
        /// Why.
        source: NetworkError,
    },
    /// A die's network with other ports than its block.
    #[error("block '{block}' has {expected} ports, the die's file {found}")]
    DiePorts {
        /// Which block.
        block: String,
        /// The block's.
        expected: usize,
        /// The file's.
        found: usize,
    },
    /// The parts' networks.
    #[error(transparent)]
    Network(#[from] NetworkError),
}
