//! Errors of work on a network.

use super::parameter_kind::ParameterKind;
use super::ports::Port;
use super::wiring::Terminal;
use crate::units::{ShownFrequency, shown_complex};
use num_complex::Complex64;

/// The smallest real part of a reference impedance, ohm.
pub(super) const MIN_REFERENCE_OHM: f64 = 1e-12;
/// The largest real or imaginary part of a reference impedance, ohm.
pub(super) const MAX_REFERENCE_OHM: f64 = 1e12;

/// The reason for which a network cannot be made or changed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NetworkError {
    /// Work on several networks was given none.
    #[error("at least one network is needed, found none")]
    NoNetworks,
    /// A frequency point beyond the grid.
    #[error("point {} does not exist: the grid has points 1 to {points}", point + 1)]
    NoSuchPoint {
        /// Index of the point, from 0.
        point: usize,
        /// Points of the grid.
        points: usize,
    },
    /// A grid without points.
    #[error("a network needs at least one frequency")]
    NoFrequencies,
    /// A frequency that is negative or not finite.
    #[error("point {}: {value_hz} Hz is not a frequency: expected a finite number, 0 or more", index + 1)]
    NotAFrequency {
        /// Index of the point, from 0.
        index: usize,
        /// The value given.
        value_hz: f64,
    },
    /// A frequency below the one before it.
    #[error("point {}: {} is below the frequency before it; sort the points by frequency", index + 1, ShownFrequency(*value_hz))]
    Descending {
        /// Index of the point, from 0.
        index: usize,
        /// The value given.
        value_hz: f64,
    },
    /// A number of matrix entries that does not agree with ports and points.
    #[error("{ports} ports at {points} frequencies need {} entries, found {found}", ports * ports * points)]
    EntryCount {
        /// Number of ports.
        ports: usize,
        /// Number of frequencies.
        points: usize,
        /// Entries given.
        found: usize,
    },
    /// A number of modes that is not the number of rows.
    #[error("{ports} rows need {ports} modes, found {found}")]
    ModeCount {
        /// Rows of the network.
        ports: usize,
        /// Modes given.
        found: usize,
    },
    /// A port that is missing from the modes, named too often, or in two pairs.
    #[error(
        "port {port} must be in one row as itself, or in two as differential and common mode of one pair"
    )]
    ModesOfPort {
        /// The port.
        port: Port,
    },
    /// A network without ports.
    #[error("a network needs at least one port")]
    NoPorts,
    /// An entry that is not finite.
    #[error("entry ({row}, {column}) at {} is not finite", ShownFrequency(*frequency_hz))]
    NotFinite {
        /// The responding port.
        row: Port,
        /// The driven port.
        column: Port,
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// An entry beyond the range in which networks are computed.
    #[error(
        "entry ({row}, {column}) at {} is {}: real and imaginary parts of {kind} must be at most {:e}; \
         correct the data or their unit",
        ShownFrequency(*frequency_hz), shown_complex(*found), kind.max_magnitude()
    )]
    TooLarge {
        /// The parameter.
        kind: ParameterKind,
        /// The responding port.
        row: Port,
        /// The driven port.
        column: Port,
        /// Frequency, Hz.
        frequency_hz: f64,
        /// The entry.
        found: Complex64,
    },
    /// A number of reference impedances that is neither 1, nor the ports, nor ports times points.
    #[error("expected 1 or {ports} reference impedances, found {found}")]
    ReferenceCount {
        /// Number of ports.
        ports: usize,
        /// References given.
        found: usize,
    },
    /// A reference impedance whose real part is not positive.
    #[error("the reference impedance of port {port}, {} ohm, must have a positive real part", shown_complex(*value_ohm))]
    Reference {
        /// The port with this reference impedance.
        port: Port,
        /// Its value.
        value_ohm: Complex64,
    },
    /// A reference impedance beyond the range in which networks are computed.
    #[error(
        "the reference impedance of port {port}, {} ohm, is out of range: its real part must be at least \
         {MIN_REFERENCE_OHM:e} ohm, and both parts at most {MAX_REFERENCE_OHM:e} ohm",
        shown_complex(*value_ohm)
    )]
    ReferenceRange {
        /// The port with this reference impedance.
        port: Port,
        /// Its value.
        value_ohm: Complex64,
    },
    /// H and G of a network that is not a two-port.
    #[error("{kind} parameters need a 2-port, found {ports} ports")]
    TwoPortsOnly {
        /// The parameter requested.
        kind: ParameterKind,
        /// Ports of the network.
        ports: usize,
    },
    /// A matrix that does not exist for the network at this frequency.
    #[error("the network has no {kind} matrix at {}", ShownFrequency(*frequency_hz))]
    NoSuchMatrix {
        /// The parameter requested.
        kind: ParameterKind,
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// A resonance between network and terminations without loss.
    #[error("the network and its terminations are singular at {}: a lossless resonance has no finite result", ShownFrequency(*frequency_hz))]
    Ringing {
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// An error of the termination of a port.
    #[error("the termination of port {port}: {source}")]
    InLoad {
        /// The port.
        port: Port,
        /// The underlying error.
        source: Box<NetworkError>,
    },
    /// A port number beyond the network's ports.
    #[error("port {port} does not exist: the network has ports 1 to {ports}")]
    NoSuchPort {
        /// The port requested.
        port: Port,
        /// Ports of the network.
        ports: usize,
    },
    /// A port named twice where it may be named once.
    #[error("port {port} is named twice; name it once")]
    PortTwice {
        /// The port.
        port: Port,
    },
    /// A frequency outside the data; data are never extrapolated.
    #[error("{} is outside the data, which cover {} to {}", ShownFrequency(*frequency_hz), ShownFrequency(*first_hz), ShownFrequency(*last_hz))]
    OutsideData {
        /// The frequency requested.
        frequency_hz: f64,
        /// Minimum frequency of the data, Hz.
        first_hz: f64,
        /// Maximum frequency of the data, Hz.
        last_hz: f64,
    },
    /// The index of a block that does not exist.
    #[error("block {} does not exist; name one of the blocks", block + 1)]
    NoSuchBlock {
        /// Its index, from 0.
        block: usize,
    },
    /// A join of fewer than two ports.
    #[error("a join needs at least two ports")]
    JoinTooSmall,
    /// A port in two joins, or twice among the outer ports.
    #[error("port {} of block {} is joined twice", terminal.port, terminal.block + 1)]
    JoinedTwice {
        /// The port.
        terminal: Terminal,
    },
    /// A port that is neither joined nor an outer port.
    #[error("port {} of block {} is unconnected: join it, terminate it or make it an outer port", terminal.port, terminal.block + 1)]
    UnconnectedPort {
        /// The port.
        terminal: Terminal,
    },
    /// Blocks with different frequencies.
    #[error("block {} has other frequencies than block 1; bring all blocks to one grid", block + 1)]
    UnequalGrids {
        /// Its index, from 0.
        block: usize,
    },
    /// Networks that share no frequency range.
    #[error("no common band: one network starts at {}, another ends at {}", ShownFrequency(*first_hz), ShownFrequency(*last_hz))]
    NoCommonBand {
        /// The highest of all start frequencies, Hz.
        first_hz: f64,
        /// The lowest of all stop frequencies, Hz.
        last_hz: f64,
    },
    /// A lossless loop that is singular at this frequency.
    #[error("join {} closes a lossless loop that is singular at {}: it has no finite result", join + 1, ShownFrequency(*frequency_hz))]
    SingularLoop {
        /// Index of the join in the wiring, from 0.
        join: usize,
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// A matrix that has to be inverted and cannot be.
    #[error("the {what} has no inverse at {}", ShownFrequency(*frequency_hz))]
    NoInverse {
        /// Name of the matrix.
        what: &'static str,
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// Singular values for which the iteration does not converge.
    #[error("the singular values at {} cannot be computed: the iteration does not converge", ShownFrequency(*frequency_hz))]
    NoSingularValues {
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// An odd number of ports in a chain matrix, which has equal numbers left and right.
    #[error("a chain matrix needs an even number of ports, found {ports}")]
    OddPorts {
        /// Ports of the network.
        ports: usize,
    },
    /// A network with another number of ports than needed.
    #[error("expected {expected} ports, found {found}")]
    PortCount {
        /// Number of ports needed.
        expected: usize,
        /// The value found.
        found: usize,
    },
    /// A pair of ports with unequal reference impedances.
    #[error("ports {plus} and {minus} have different reference impedances and cannot be a pair")]
    UnequalPair {
        /// One port.
        plus: Port,
        /// The other.
        minus: Port,
    },
    /// An error of a measured standard.
    #[error("the {standard} standard: {source}")]
    InStandard {
        /// The standard: open or short.
        standard: &'static str,
        /// The underlying error.
        source: Box<NetworkError>,
    },
    /// Networks whose rows stand for different modes.
    #[error(
        "the networks have different modes: expected two single-ended networks, or the same mixed-mode pairs"
    )]
    UnequalModes,
    /// A band without a point of the data.
    #[error("the data have no point from {} to {}", ShownFrequency(*low_hz), ShownFrequency(*high_hz))]
    EmptyBand {
        /// Lower end of the band, Hz.
        low_hz: f64,
        /// Upper end of the band, Hz.
        high_hz: f64,
    },
    /// A mixed-mode network where single-ended ports are needed.
    #[error("expected a network with single-ended ports, found a mixed-mode one; convert it first")]
    MixedMode,
}
