//! What can stop the analysis of a splitter.

use super::splitter_kind::SplitterKind;
use crate::network::{NetworkError, Port};
use crate::requirement::{Quantity, UndefinedFigure};
use crate::units::ShownFrequency;

/// Why a splitter cannot be analysed as asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SplitterError {
    /// The data contradict the roles that are given so far that no figure would mean anything.
    #[error("{text}")]
    PortOrder {
        /// Levels, phase and the roles that the data fit.
        text: String,
    },
    /// The network refuses an operation.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// A limited figure has no number.
    #[error(transparent)]
    Undefined(#[from] UndefinedFigure),
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
    /// A port that is terminated by a load but should carry a signal.
    #[error("port {port} is terminated by a load and cannot be {role}")]
    LoadedRole {
        /// The port.
        port: Port,
        /// Its role.
        role: &'static str,
    },
    /// No port is the input of a splitter, of the given kind where one is given.
    #[error(
        "cannot infer the input from the data: no port has two outputs of similar level {}",
        near_nominal(*kind)
    )]
    NoInput {
        /// The kind, where it is given.
        kind: Option<SplitterKind>,
    },
    /// From two ports the splitter is of two kinds.
    #[error(
        "cannot infer the input from the data: from port {} the splitter is {}, \
         from port {} it is {}",
        first.0, first.1, second.0, second.1
    )]
    TwoKinds {
        /// One port, and the kind seen from it.
        first: (Port, SplitterKind),
        /// Another port, and the kind seen from it.
        second: (Port, SplitterKind),
    },
    /// Two ports of a three-port are equivalent inputs.
    #[error("cannot infer the input from the data: ports {first} and {second} are equivalent")]
    EquivalentInputs {
        /// One port.
        first: Port,
        /// The other.
        second: Port,
    },
    /// A phase difference that is near the nominal one of no kind.
    #[error(
        "cannot infer the kind from the data: the phases of ports {} and {} \
         differ by {difference_deg:.1} deg at band centre",
        outputs[0], outputs[1]
    )]
    UnclearKind {
        /// The outputs.
        outputs: [Port; 2],
        /// Their phase difference at band centre, degrees.
        difference_deg: f64,
    },
    /// An input whose outputs are not two ports of similar level above all others.
    #[error(
        "cannot infer the outputs from the data: port {input} couples to {}",
        shown_levels(levels_db)
    )]
    UnclearOutputs {
        /// The input.
        input: Port,
        /// The other ports with the level that reaches each, dB, strongest first.
        levels_db: Vec<(Port, f64)>,
    },
    /// A nominal phase difference that is not a number.
    #[error("the nominal phase difference must be a finite number of degrees, found {found_deg}")]
    Nominal {
        /// As given, degrees.
        found_deg: f64,
    },
    /// An output that nothing reaches.
    #[error("output {port} carries no signal from input {input} at {}", ShownFrequency(*frequency_hz))]
    NoSignal {
        /// The output.
        port: Port,
        /// The input.
        input: Port,
        /// The frequency, Hz.
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

/// A role of a splitter that has to be given where the data do not show it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum RoleToGive {
    /// The kind.
    Kind,
    /// The input.
    Input,
    /// The outputs.
    Outputs,
}

impl SplitterError {
    /// The roles that resolve the error when they are given; none for an error of another sort.
    #[must_use]
    pub fn roles_to_give(&self) -> &'static [RoleToGive] {
        match self {
            Self::NoInput { .. } => &[RoleToGive::Kind, RoleToGive::Input, RoleToGive::Outputs],
            Self::TwoKinds { .. } | Self::EquivalentInputs { .. } => &[RoleToGive::Input],
            Self::UnclearKind { .. } => &[RoleToGive::Kind],
            Self::UnclearOutputs { .. } => &[RoleToGive::Outputs],
            _ => &[],
        }
    }
}

fn near_nominal(kind: Option<SplitterKind>) -> String {
    match kind {
        Some(kind) => format!("with the phases of kind {kind}"),
        None => "with phases near 0, 90 or 180 deg".to_owned(),
    }
}

fn shown_levels(levels_db: &[(Port, f64)]) -> String {
    let shown: Vec<String> = levels_db
        .iter()
        .map(|(port, level_db)| format!("port {port} at {level_db:.1} dB"))
        .collect();
    shown.join(", ")
}
