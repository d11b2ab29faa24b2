//! What can stop work on a network.

use super::{ParameterKind, Port};
use crate::units::ShownFrequency;
use num_complex::Complex64;

/// Why a network cannot be made or changed as asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NetworkError {
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
    #[error("{ports} ports at {points} frequencies need {} entries, got {found}", ports * ports * points)]
    EntryCount {
        /// Number of ports.
        ports: usize,
        /// Number of frequencies.
        points: usize,
        /// Entries given.
        found: usize,
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
        /// Where.
        frequency_hz: f64,
    },
    /// A number of references that fits neither the ports nor ports times points.
    #[error("expected one reference or {ports} (one per port), got {found}")]
    ReferenceCount {
        /// Number of ports.
        ports: usize,
        /// References given.
        found: usize,
    },
    /// A reference whose real part is not positive.
    #[error("the reference of port {port}, {value_ohm} ohm, needs a positive real part")]
    Reference {
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
        /// Where.
        frequency_hz: f64,
    },
    /// The terminations and the network ring: no finite answer.
    #[error("the loads ring with the network at {}: the answer is not finite", ShownFrequency(*frequency_hz))]
    Ringing {
        /// Where.
        frequency_hz: f64,
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
    #[error("port {port} is named twice")]
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
    /// Work that needs single-ended ports met a mixed-mode network.
    #[error("the network is mixed-mode; single-ended ports are needed here")]
    MixedMode,
}
