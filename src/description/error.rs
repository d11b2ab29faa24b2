//! What can be wrong with a description.

use crate::component::ComponentError;
use crate::diagnostic::{Diagnostic, Excerpt};
use crate::network::NetworkError;
use crate::touchstone::ReadError;
use std::path::PathBuf;

/// A description that cannot be used, and the line it is about.
#[derive(Debug, thiserror::Error)]
#[error("{}{}: {problem}", file.display(), excerpt.as_ref().map(|e| format!(":{}", e.position)).unwrap_or_default())]
pub struct DescriptionError {
    /// The description's file.
    pub file: PathBuf,
    /// What is wrong.
    pub problem: Box<DescriptionProblem>,
    /// The line it is about.
    pub excerpt: Option<Box<Excerpt>>,
}

/// Everything that makes a description unusable.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the messages say what each variant means")]
pub enum DescriptionProblem {
    #[error("cannot read the description: {0}")]
    Io(std::io::Error),
    #[error("{0}")]
    Toml(String),
    #[error("block '{name}' is described twice")]
    BlockTwice { name: String },
    #[error("'{name}' cannot be a name: use letters, digits, - and _")]
    BadName { name: String },
    #[error("block '{name}' needs either a file or a component")]
    NoSource { name: String },
    #[error("block '{name}' has {expected} ports, and {found} names are given")]
    PortNames { name: String, expected: usize, found: usize },
    #[error("port '{name}' is named twice")]
    PortNameTwice { name: String },
    #[error("'{text}' is no port: expected BLOCK.PORT")]
    NotAPort { text: String },
    #[error("there is no block '{name}'")]
    UnknownBlock { name: String, known: Vec<String> },
    #[error("block '{block}' has no port '{port}'")]
    UnknownPort { block: String, port: String, known: Vec<String> },
    #[error("a join needs two ports or more: \"a.x -- b.y\"")]
    JoinTooSmall,
    #[error("{port} is joined twice")]
    JoinedTwice { port: String },
    #[error("{port} is named twice among the outside ports")]
    OutsideTwice { port: String },
    #[error("{port} has two loads")]
    LoadedTwice { port: String },
    #[error("{port} is left over: it is neither joined, loaded nor an outside port")]
    LeftOver { port: String },
    #[error("{port} is left over: it is neither joined, loaded nor an input")]
    LeftOverInReceiver { port: String },
    #[error("{port} is an input; its impedance is that of the source")]
    LoadedInput { port: String },
    #[error("mixer '{name}' is described twice")]
    MixerTwice { name: String },
    #[error("channel {channel} has no element: there is no [[mixer]] with channel = \"{channel}\"")]
    EmptyChannel { channel: &'static str },
    #[error("{port}, the {what} port of mixer '{mixer}', cannot be reached from {input}")]
    Unreached { port: String, what: &'static str, mixer: String, input: String },
    #[error("{what}")]
    Value { what: String },
    #[error(
        "{what} {covers}, and the plan needs {} there: {need}",
        crate::units::ShownFrequency(*frequency_hz)
    )]
    OutsideFile { what: String, covers: String, frequency_hz: f64, need: String },
    #[error("lo_power_dbm_min asks for power at the mixers, but lo_power_dbm is not given")]
    NoPower,
    #[error("the load at {port} needs one of ohm, file, rc, open and short, and one only")]
    NoLoad { port: String },
    #[error("the load's file has {ports} ports; a load has one")]
    LoadPorts { ports: usize },
    #[error("block '{name}' is mixed-mode; the ports of a join are single-ended")]
    MixedMode { name: String },
    #[error("only closed-form components are described: say at which frequencies")]
    NoGrid,
    #[error(
        "no frequency is common to all: '{starts_late}' starts above the end of '{ends_early}'"
    )]
    NoCommonBand { starts_late: String, ends_early: String },
    #[error("{0}")]
    Grid(String),
    #[error(transparent)]
    File(#[from] ReadError),
    #[error(transparent)]
    Component(#[from] ComponentError),
    #[error("{name}: {source}")]
    Block { name: String, source: NetworkError },
    #[error("join \"{join}\" closes a loop that rings at {}", crate::units::ShownFrequency(*frequency_hz))]
    RingingJoin { join: String, frequency_hz: f64 },
    #[error(transparent)]
    Network(#[from] NetworkError),
}

impl DescriptionError {
    /// The same, ready to be shown with its source line.
    #[must_use]
    pub fn diagnostic(&self) -> Diagnostic {
        // A part's file that cannot be read speaks for itself, with its own line.
        if let DescriptionProblem::File(error) = &*self.problem {
            let mut shown = error.diagnostic();
            if let Some(excerpt) = &self.excerpt {
                shown.notes.push(format!(
                    "named in {}, line {}",
                    self.file.display(),
                    excerpt.position.line
                ));
            }
            return shown;
        }
        let mut shown =
            Diagnostic::error(self.problem.to_string()).in_file(self.file.display().to_string());
        shown.excerpt = self.excerpt.as_deref().cloned();
        shown.help = self.problem.remedy();
        shown
    }
}

impl DescriptionProblem {
    fn remedy(&self) -> Option<String> {
        Some(match self {
            Self::UnknownBlock { known, .. } => format!("the blocks are {}", known.join(", ")),
            Self::UnknownPort { known, .. } => format!("its ports are {}", known.join(", ")),
            Self::LeftOver { .. } => "join it, give it a [[load]], or add it to ports".to_owned(),
            Self::LeftOverInReceiver { .. } => "join it, or give it a [[load]]".to_owned(),
            Self::LoadedInput { .. } => {
                "set lo_source_ohm or rf_source_ohm instead of a [[load]]".to_owned()
            }
            Self::Unreached { .. } => "check the joins between the two".to_owned(),
            Self::OutsideFile { .. } => {
                "narrow the plan or bring wider data; nothing is extrapolated".to_owned()
            }
            Self::NoPower => "add lo_power_dbm = 17.0 to [frequency_plan]".to_owned(),
            Self::JoinedTwice { .. } => {
                "join more than two ports in one line: \"a.x -- b.y -- c.z\"".to_owned()
            }
            Self::NoGrid => "add grid = \"24GHz..34GHz:101\", or give --grid".to_owned(),
            Self::MixedMode { .. } => {
                "convert it first: fourphase convert IN OUT --single-ended".to_owned()
            }
            _ => return None,
        })
    }
}
