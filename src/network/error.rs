//! What can stop work on a network.

use super::parameter_kind::ParameterKind;
use super::ports::Port;
use super::wiring::Terminal;
use crate::units::{ShownFrequency, shown_complex};
use num_complex::Complex64;

/// The smallest real part of a reference impedance, ohm.
pub(super) const MIN_REFERENCE_OHM: f64 = 1e-12;
/// The largest real or imaginary part of a reference impedance, ohm.
pub(super) const MAX_REFERENCE_OHM: f64 = 1e12;

/// Why a network cannot be made or changed as asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NetworkError {
    /// Work on several networks met none.
    #[error("at least one network is needed, found none")]
    NoNetworks,
    /// A frequency point beyond the grid.
    #[error("point {} does not exist: the grid has {points}", point + 1)]
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
    #[error("point {}: {value_hz} Hz is not a frequency", index + 1)]
    NotAFrequency {
        /// Index of the point, from 0.
        index: usize,
        /// The value given.
        value_hz: f64,
    },
    /// A frequency below the one before it.
    #[error("point {}: {} is below the frequency before it", index + 1, ShownFrequency(*value_hz))]
    Descending {
        /// Index of the point, from 0.
        index: usize,
        /// The value given.
        value_hz: f64,
    },
    /// Fewer or more matrix entries than ports and points ask for.
    #[error("{ports} ports at {points} frequencies need {} entries, found {found}", ports * ports * points)]
    EntryCount {
        /// Number of ports.
        ports: usize,
        /// Number of frequencies.
        points: usize,
        /// Entries given.
        found: usize,
    },
    /// More or fewer modes than rows.
    #[error("{ports} rows need {ports} modes, found {found}")]
    ModeCount {
        /// Rows of the network.
        ports: usize,
        /// Modes given.
        found: usize,
    },
    /// A port that the modes leave out, name too often, or put into different pairs.
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
        /// The frequency, Hz.
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
        /// The frequency, Hz.
        frequency_hz: f64,
        /// The entry.
        found: Complex64,
    },
    /// A number of references that fits neither the ports nor ports times points.
    #[error("expected one reference impedance or {ports} (one for each port), found {found}")]
    ReferenceCount {
        /// Number of ports.
        ports: usize,
        /// References given.
        found: usize,
    },
    /// A reference whose real part is not positive.
    #[error("the reference impedance of port {port}, {} ohm, needs a positive real part", shown_complex(*value_ohm))]
    Reference {
        /// Whose reference.
        port: Port,
        /// Its value.
        value_ohm: Complex64,
    },
    /// A reference beyond the range in which networks are computed.
    #[error(
        "the reference of port {port}, {} ohm, is out of range: its real part must be at least \
         {MIN_REFERENCE_OHM:e} ohm, and both parts at most {MAX_REFERENCE_OHM:e} ohm",
        shown_complex(*value_ohm)
    )]
    ReferenceRange {
        /// Whose reference.
        port: Port,
        /// Its value.
        value_ohm: Complex64,
    },
    /// H and G exist for two ports only.
    #[error("{kind} parameters need 2 ports, the network has {ports}")]
    TwoPortsOnly {
        /// The parameter asked for.
        kind: ParameterKind,
        /// Ports of the network.
        ports: usize,
    },
    /// The network has no such matrix at this frequency.
    #[error("the network has no {kind} matrix at {}", ShownFrequency(*frequency_hz))]
    NoSuchMatrix {
        /// The parameter asked for.
        kind: ParameterKind,
        /// The frequency, Hz.
        frequency_hz: f64,
    },
    /// The terminations and the network ring: no finite answer.
    #[error("the loads and the network are in resonance at {}: there is no finite result", ShownFrequency(*frequency_hz))]
    Ringing {
        /// The frequency, Hz.
        frequency_hz: f64,
    },
    /// What closes a port refuses.
    #[error("the load at port {port}: {source}")]
    InLoad {
        /// The port.
        port: Port,
        /// The error behind it.
        source: Box<NetworkError>,
    },
    /// A port number beyond the network's ports.
    #[error("port {port} does not exist: the network has {ports}")]
    NoSuchPort {
        /// The port asked for.
        port: Port,
        /// Ports of the network.
        ports: usize,
    },
    /// A port named twice where each may stand once.
    #[error("duplicate port {port}")]
    PortTwice {
        /// The port.
        port: Port,
    },
    /// A frequency beyond the data; nothing is ever extrapolated.
    #[error("{} is outside the data, {} to {}", ShownFrequency(*frequency_hz), ShownFrequency(*first_hz), ShownFrequency(*last_hz))]
    OutsideData {
        /// The frequency asked for.
        frequency_hz: f64,
        /// The lowest in the data.
        first_hz: f64,
        /// The highest in the data.
        last_hz: f64,
    },
    /// A block that does not exist.
    #[error("block {} does not exist", block + 1)]
    NoSuchBlock {
        /// Its index, from 0.
        block: usize,
    },
    /// A join of fewer than two ports.
    #[error("a join needs at least two ports")]
    JoinTooSmall,
    /// A port in two joins, or twice among the outside ports.
    #[error("port {} of block {} is joined twice", terminal.port, terminal.block + 1)]
    JoinedTwice {
        /// The port.
        terminal: Terminal,
    },
    /// A port that is neither joined nor outside.
    #[error("port {} of block {} is unconnected: it is neither joined nor outside", terminal.port, terminal.block + 1)]
    LeftOver {
        /// The port.
        terminal: Terminal,
    },
    /// Blocks to be joined with different frequencies.
    #[error("block {} has other frequencies than the first", block + 1)]
    UnequalGrids {
        /// Its index, from 0.
        block: usize,
    },
    /// Networks that share no frequency range.
    #[error("no common band: one network starts at {}, another ends at {}", ShownFrequency(*first_hz), ShownFrequency(*last_hz))]
    NoCommonBand {
        /// The highest of the lowest frequencies.
        first_hz: f64,
        /// The lowest of the highest.
        last_hz: f64,
    },
    /// A lossless loop without a finite answer.
    #[error("join {} closes a loop that is singular at {}: there is no finite result", join + 1, ShownFrequency(*frequency_hz))]
    RingingJoin {
        /// Which join of the wiring, from 0.
        join: usize,
        /// The frequency, Hz.
        frequency_hz: f64,
    },
    /// A transmission without which the step cannot be done.
    #[error("the {what} has no inverse at {}", ShownFrequency(*frequency_hz))]
    NoInverse {
        /// What would have to be inverted.
        what: &'static str,
        /// The frequency, Hz.
        frequency_hz: f64,
    },
    /// Singular values that the iteration does not find.
    #[error("no singular values are found at {}", ShownFrequency(*frequency_hz))]
    NoSingularValues {
        /// The frequency, Hz.
        frequency_hz: f64,
    },
    /// A chain matrix needs as many ports on the left as on the right.
    #[error("a chain needs an even number of ports, the network has {ports}")]
    OddPorts {
        /// Ports of the network.
        ports: usize,
    },
    /// Networks of different numbers of ports where they must agree.
    #[error("expected {expected} ports, found {found}")]
    PortCount {
        /// What fits.
        expected: usize,
        /// What was given.
        found: usize,
    },
    /// A pair of ports with different references.
    #[error("ports {plus} and {minus} have different reference impedances and cannot be a pair")]
    UnequalPair {
        /// One port.
        plus: Port,
        /// The other.
        minus: Port,
    },
    /// What a measured standard refuses.
    #[error("the {standard} standard: {source}")]
    InStandard {
        /// Which: open or short.
        standard: &'static str,
        /// The error behind it.
        source: Box<NetworkError>,
    },
    /// Networks whose rows stand for different modes.
    #[error("the networks have different modes: one is mixed-mode, or their pairs differ")]
    UnequalModes,
    /// A band between two neighbouring points of the data.
    #[error("no point of the data is from {} to {}", ShownFrequency(*low_hz), ShownFrequency(*high_hz))]
    EmptyBand {
        /// Its lower end.
        low_hz: f64,
        /// Its upper end.
        high_hz: f64,
    },
    /// Work that needs single-ended ports met a mixed-mode network.
    #[error("the network is mixed-mode; single-ended ports are needed here")]
    MixedMode,
}
