//! Errors of the analysis of a splitter.

use super::splitter_kind::SplitterKind;
use crate::network::{NetworkError, Port};
use crate::requirement::{Quantity, UndefinedFigure};
use crate::units::ShownFrequency;

/// The reason for which a splitter cannot be analysed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SplitterError {
    /// The data contradict the given roles so far that every figure would be meaningless.
    #[error("{text}")]
    PortOrder {
        /// Levels, phase and the roles that agree with the data.
        text: String,
    },
    /// An error of the network.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// A limited figure without a value.
    #[error(transparent)]
    Undefined(#[from] UndefinedFigure),
    /// Too few ports.
    #[error("a splitter needs at least 3 ports, the file has {ports}")]
    TooFewPorts {
        /// Ports of the network.
        ports: usize,
    },
    /// One port with two roles.
    #[error("port {port} cannot be both {first} and {second}")]
    SamePort {
        /// The port.
        port: Port,
        /// One of the roles.
        first: &'static str,
        /// The other role.
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
        /// The kind, if given.
        kind: Option<SplitterKind>,
    },
    /// Ports from which the splitter has different kinds.
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
    /// A phase difference that is not near the nominal one of any kind.
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
        /// The value found, degrees.
        found_deg: f64,
    },
    /// An output without signal.
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
        "the band {} to {} is not inside the data, which cover {} to {}",
        ShownFrequency(band_hz.0), ShownFrequency(band_hz.1), ShownFrequency(data_hz.0), ShownFrequency(data_hz.1)
    )]
    BandOutsideData {
        /// The band requested, Hz.
        band_hz: (f64, f64),
        /// The band of the file, Hz.
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

/// A role of a splitter that must be given because the data do not show it.
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
    /// The roles that resolve the error if they are given; empty for other errors.
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
