//! Why a receiver or its plan cannot be made or solved.

use super::signal_path::ReceiverPath;
use crate::network::NetworkError;
use crate::units::{ShownFrequency, shown_complex};
use num_complex::Complex64;

/// Why there is no frequency plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// A band that starts at or below zero or runs downwards.
    #[error(
        "the {what} band must have positive frequencies, the lower one first, found {low_hz} to {high_hz} Hz"
    )]
    Band {
        /// RF or IF.
        what: &'static str,
        /// The lower end given.
        low_hz: f64,
        /// The upper end given.
        high_hz: f64,
    },
    /// A multiplication or a harmonic outside the range that a receiver can have.
    #[error("{name} must be a whole number from 1 to 1000, found {found}")]
    Factor {
        /// Which factor.
        name: &'static str,
        /// The value given.
        found: u32,
    },
    /// No frequency at all.
    #[error("the plan needs at least one {what}")]
    NoFrequencies {
        /// LO or IF.
        what: &'static str,
    },
    /// A frequency that is not positive, or not above the one before it.
    #[error(
        "the {what}s must be positive frequencies in ascending order, found {found_hz} Hz in place {}",
        index + 1
    )]
    NotAscending {
        /// LO or IF.
        what: &'static str,
        /// Index in the list, from 0.
        index: usize,
        /// The value given.
        found_hz: f64,
    },
    /// A multiplication after the split that does not divide the whole multiplication.
    #[error(
        "a multiplication by {after} after the split is no part of a multiplication by {multiplication}"
    )]
    AfterSplit {
        /// LO at the mixers over LO input.
        multiplication: u32,
        /// The part after the split.
        after: u32,
    },
    /// An LO power that no source has.
    #[error("lo_power_dbm must be from -200 to 200, found {found_dbm}")]
    LoPower {
        /// The value given.
        found_dbm: f64,
    },
    /// A lower sideband at or below 0 Hz.
    #[error("an IF of {} leaves no lower sideband at an LO of {}", ShownFrequency(*if_hz), ShownFrequency(*lo_hz))]
    NoLowerSideband {
        /// The LO.
        lo_hz: f64,
        /// The IF.
        if_hz: f64,
    },
    /// Frequencies that make no grid.
    #[error(transparent)]
    Grid(#[from] NetworkError),
}

/// Why a receiver cannot be made or solved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ReceiverError {
    /// A join whose singular loop has no finite answer.
    #[error("join \"{join}\" closes a loop that rings at {}", ShownFrequency(*frequency_hz))]
    RingingJoin {
        /// The join as written.
        join: String,
        /// The frequency of the resonance.
        frequency_hz: f64,
    },
    /// A channel without output.
    #[error(
        "channel {channel} gives nothing at LO {} and IF {}: its elements cancel, stand at a short, or get no LO or no RF",
        ShownFrequency(*lo_hz),
        ShownFrequency(*if_hz)
    )]
    SilentChannel {
        /// `i` or `q`.
        channel: &'static str,
        /// LO at the mixers.
        lo_hz: f64,
        /// The IF.
        if_hz: f64,
    },
    /// A channel without a mixer.
    #[error("channel {channel} needs at least one mixer, found none")]
    EmptyChannel {
        /// `i` or `q`.
        channel: &'static str,
    },
    /// A number outside its range.
    #[error("{name} must be {expected}, found {found}")]
    OutOfRange {
        /// What the number is.
        name: &'static str,
        /// The range: "from 0 to 10".
        expected: &'static str,
        /// The number given.
        found: f64,
    },
    /// A source whose impedance has no positive real part.
    #[error("the impedance of the {path} source must have a positive real part, found {} ohm", shown_complex(*found_ohm))]
    Source {
        /// Which source.
        path: ReceiverPath,
        /// Its impedance.
        found_ohm: Complex64,
    },
    /// A gain, a correction or a transfer by which nothing can be multiplied.
    #[error("{what} must be a finite number other than 0, found {}", shown_complex(*found))]
    Factor {
        /// Which factor.
        what: String,
        /// Its value.
        found: Complex64,
    },
    /// No way to combine I and Q, or one without a transfer for every IF.
    #[error(
        "the output needs a combination of I and Q with {expected} transfers, one for each IF, found {found}"
    )]
    Transfers {
        /// Number of IFs.
        expected: usize,
        /// Number of transfers; 0 without a combination.
        found: usize,
    },
    /// A requirement on the LO power without a power at the source.
    #[error("a limit on the LO power at the mixers needs the power of the LO source, found none")]
    NoLoPower,
    /// A name that is given to two blocks or two mixers.
    #[error("names must be different, found '{name}' twice")]
    NameTwice {
        /// The name.
        name: String,
    },
    /// A name or an index that belongs to no block, pair or load of the receiver.
    #[error("the receiver has no {what}")]
    NoSuch {
        /// What was looked for: "block 'x'".
        what: String,
    },
    /// A join of fewer than two ports.
    #[error("join \"{join}\" needs at least two ports")]
    JoinTooSmall {
        /// The join as written.
        join: String,
    },
    /// A port in two of joins, loads and inputs that exclude each other.
    #[error("port {port} must have {allowed}, found two")]
    PortTwice {
        /// `BLOCK.PORT`.
        port: String,
        /// "one join", "one load", "a load or a source".
        allowed: &'static str,
    },
    /// A port that is neither joined, loaded nor an input.
    #[error("port {port} is unconnected: it needs a join, a load or a source")]
    Unconnected {
        /// `BLOCK.PORT`.
        port: String,
    },
    /// A mixer's port that the signal does not reach.
    #[error("the {path} port of mixer '{mixer}' cannot be reached from the {path} input")]
    Unreached {
        /// The path.
        path: ReceiverPath,
        /// The mixer.
        mixer: String,
    },
    /// A block or load on a path without a network for it.
    #[error("{what} lies on the {path} path and needs a network for it")]
    NoNetwork {
        /// Which block or load.
        what: String,
        /// The path.
        path: ReceiverPath,
    },
    /// A network with other frequencies than the plan.
    #[error("the network of {what} must have the plan's frequencies of the {path} path")]
    OtherFrequencies {
        /// Which block or load.
        what: String,
        /// The path.
        path: ReceiverPath,
    },
    /// A network with another number of ports than its block or load.
    #[error("the network of {what} must have {expected} ports, found {found}")]
    PortCount {
        /// Which block or load.
        what: String,
        /// Ports of the block or load.
        expected: usize,
        /// Ports of the network.
        found: usize,
    },
    /// A network that cannot be used for its block or load.
    #[error("{what}: {source}")]
    InNetwork {
        /// Which block or load.
        what: String,
        /// Why.
        source: NetworkError,
    },
    /// Fewer or more networks than blocks that change.
    #[error("a die must bring {expected} networks, one for each block that changes, found {found}")]
    DieNetworks {
        /// Blocks that change.
        expected: usize,
        /// Networks given.
        found: usize,
    },
    /// A receiver whose frequencies make no plan.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// Networks that cannot be joined or terminated.
    #[error(transparent)]
    Network(#[from] NetworkError),
}
