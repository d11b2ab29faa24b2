//! What can be wrong with a description or a table: one error for all formats of the room.

use super::allowed::Allowed;
use crate::component::ComponentError;
use crate::diagnostic::{Diagnostic, Excerpt, Position};
use crate::downconverter::{PlanError, ReceiverError};
use crate::network::NetworkError;
use crate::requirement::Quantity;
use crate::touchstone::{PassiveFileError, ReadError};
use crate::wafer::SettingsError;
use std::path::{Path, PathBuf};

/// A text file of fourphase that cannot be used: the file, the line and what is wrong there.
#[derive(Debug, thiserror::Error)]
#[error("{}: {problem}", self.shown_place())]
pub struct DescriptionError {
    file: PathBuf,
    // Boxed: a result that holds the error should stay small.
    problem: Box<DescriptionProblem>,
    excerpt: Option<Box<Excerpt>>,
}

/// Everything that makes a description or a table unusable.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the messages say what each variant means")]
pub enum DescriptionProblem {
    // Any text.
    #[error("cannot read the file: {0}")]
    Io(std::io::Error),
    #[error("the file is longer than {limit_mib} MiB, which none is")]
    TooLong { limit_mib: u64 },
    #[error("this is not UTF-8 text")]
    NotText,

    // Keys and values.
    #[error("this is not TOML: {message}")]
    NotToml { message: String },
    #[error("unknown key '{found}'; known keys: {}", listed(known))]
    UnknownKey { found: String, known: Vec<String> },
    #[error("unknown value '{found}'; known values: {}", listed(known))]
    UnknownValue { found: String, known: Vec<String> },
    #[error("the key '{key}' is missing here")]
    MissingKey { key: String },
    #[error("expected {expected}, found {found}")]
    WrongType { expected: String, found: String },
    #[error("{key} must be {allowed}, found {found}")]
    Number { key: String, allowed: Allowed, found: f64 },
    #[error("{key} must be a whole number from {from} to {to}, found {found}")]
    Whole { key: String, from: u64, to: u64, found: u64 },
    /// A complaint of one format alone, in words.
    #[error("{what}")]
    Value { what: String },

    // Tables.
    #[error("the table has no column '{name}'")]
    NoColumn { name: String, found: Vec<String> },
    #[error("unknown column '{found}'; known columns: {}", listed(known))]
    UnknownColumn { found: String, known: Vec<String> },
    #[error("duplicate column '{name}'")]
    DuplicateColumn { name: String },
    #[error("this row has {found} fields, the header has {expected}")]
    Fields { expected: usize, found: usize },
    #[error("the columns are separated by {found:?}, expected commas")]
    Separator { found: char },
    #[error("the column '{found}' is nearly the block '{block}', and gives no files")]
    NearColumn { found: String, block: String },
    #[error("expected a number, found '{found}'")]
    NotANumber { found: String },
    #[error("{column} is empty here")]
    EmptyField { column: String },
    #[error("the table has no row below its header")]
    NoRows,

    // Lists of dies.
    #[error("no column of the list names the files of a block")]
    NoFileColumn { blocks: Vec<String> },
    #[error("{column} must be a whole number, which may be negative, found '{found}'")]
    DieNumber { column: String, found: String },
    #[error("the list has no die")]
    NoDies,
    #[error(transparent)]
    Settings(#[from] SettingsError),

    // Blocks, ports and joins.
    #[error("duplicate block '{name}'")]
    DuplicateBlock { name: String },
    #[error("'{name}' cannot be a name: use letters, digits, - and _")]
    BadName { name: String },
    #[error("block '{name}' needs either a file or a component")]
    NoSource { name: String },
    #[error("block '{name}' has {expected} ports, and {found} names are given")]
    PortNames { name: String, expected: usize, found: usize },
    #[error("duplicate port name '{name}'")]
    DuplicatePortName { name: String },
    #[error("'{text}' is not a port: expected BLOCK.PORT")]
    NotAPort { text: String },
    #[error("there is no block '{name}'")]
    UnknownBlock { name: String, known: Vec<String> },
    #[error("block '{block}' has no port '{port}'")]
    UnknownPort { block: String, port: String, known: Vec<String> },
    #[error("a join needs two ports or more: \"a.x -- b.y\"")]
    JoinTooSmall,
    #[error("{port} is joined twice")]
    JoinedTwice { port: String },
    #[error("duplicate outside port {port}")]
    DuplicateOutside { port: String },
    #[error("{port} has two loads")]
    LoadedTwice { port: String },
    #[error("{port} is unconnected: it is neither joined, loaded nor an outside port")]
    Unconnected { port: String },
    #[error("{port} is unconnected: it is neither joined, loaded nor an input")]
    UnconnectedInReceiver { port: String },
    #[error("the load at {port} needs one of ohm, file, rc, open and short, and one only")]
    NoLoad { port: String },
    #[error("a load needs a file of one port, this file has {ports} ports")]
    LoadPorts { ports: usize },
    #[error("block '{name}' is mixed-mode; only single-ended ports can be joined")]
    MixedMode { name: String },

    // Frequencies.
    #[error("all parts are closed-form components; the description needs a grid")]
    NoGrid,
    #[error(
        "no frequency is common to all: '{starts_late}' starts above the end of '{ends_early}'"
    )]
    NoCommonBand { starts_late: String, ends_early: String },
    #[error(
        "{what} {covers}, and the plan needs {} there: {need}",
        crate::units::ShownFrequency(*frequency_hz)
    )]
    OutsideFile {
        what: String,
        covers: String,
        frequency_hz: f64,
        need: String,
        unit_factor: Option<f64>,
    },
    #[error("{name}: {source}")]
    NotPassive { name: String, source: PassiveFileError },

    // Receivers.
    #[error("{port} is an input; its impedance is that of the source")]
    LoadedInput { port: String },
    #[error("duplicate mixer '{name}'")]
    DuplicateMixer { name: String },
    #[error("channel {channel} has no mixer: add a [[mixer]] with channel = \"{channel}\"")]
    EmptyChannel { channel: &'static str },
    #[error("{port}, the {what} port of mixer '{mixer}', cannot be reached from {input}")]
    Unreached { port: String, what: &'static str, mixer: String, input: String },
    #[error("{} limits the power at the mixers, and lo_power_dbm is missing", quantity.name())]
    NoPower { quantity: Quantity },
    #[error("{} limits what the LO chain makes, and there is no chain", quantity.name())]
    NoLoChain { quantity: Quantity },

    // What the rooms below say.
    #[error(transparent)]
    File(#[from] ReadError),
    #[error(transparent)]
    Component(#[from] ComponentError),
    #[error(transparent)]
    Plan(#[from] PlanError),
    #[error(transparent)]
    Receiver(#[from] ReceiverError),
    #[error("{name}: {source}")]
    Block { name: String, source: NetworkError },
    #[error("join \"{join}\" closes a loop that is singular at {}", crate::units::ShownFrequency(*frequency_hz))]
    SingularJoin { join: String, frequency_hz: f64 },
    #[error(transparent)]
    Network(#[from] NetworkError),
}

impl DescriptionError {
    /// An error about a file as a whole.
    pub(crate) fn about_file(file: &Path, problem: impl Into<DescriptionProblem>) -> Self {
        Self { file: file.to_owned(), problem: Box::new(problem.into()), excerpt: None }
    }

    /// An error about a place in a file.
    pub(crate) fn about_place(
        file: &Path,
        problem: impl Into<DescriptionProblem>,
        excerpt: Excerpt,
    ) -> Self {
        let excerpt = Some(Box::new(excerpt));
        Self { file: file.to_owned(), problem: Box::new(problem.into()), excerpt }
    }

    /// The file, with line and column where the error is about a place.
    fn shown_place(&self) -> String {
        match self.position() {
            Some(position) => format!("{}:{position}", self.file.display()),
            None => self.file.display().to_string(),
        }
    }

    /// The description or table.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// What is wrong.
    #[must_use]
    pub fn problem(&self) -> &DescriptionProblem {
        &self.problem
    }

    /// The line and column that the error is about, where it is about one.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        self.excerpt.as_ref().map(|excerpt| excerpt.position)
    }

    /// The same, ready to be shown with its source line.
    #[must_use]
    pub fn diagnostic(&self) -> Diagnostic {
        // A part's file that cannot be read has a message with a line of its own.
        if let DescriptionProblem::File(error) = &*self.problem {
            let mut shown = error.diagnostic();
            if let Some(position) = self.position() {
                let file = self.file.display();
                shown.notes.push(format!("named in {file}, line {}", position.line));
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
            Self::UnknownKey { found, known }
            | Self::UnknownValue { found, known }
            | Self::UnknownColumn { found, known } => return meant(found, known),
            Self::NoColumn { name, found } => match meant(name, found) {
                Some(hint) => hint,
                None => format!("its columns are {}", found.join(", ")),
            },
            Self::UnknownBlock { name, known } => match meant(name, known) {
                Some(hint) => hint,
                None => format!("the blocks are {}", known.join(", ")),
            },
            Self::NoFileColumn { blocks } => format!(
                "name a column as the block whose files it gives; the blocks are {}",
                blocks.join(", ")
            ),
            Self::UnknownPort { known, .. } => format!("its ports are {}", known.join(", ")),
            Self::Unconnected { .. } => {
                "join it, give it a [[load]], or add it to ports".to_owned()
            }
            Self::UnconnectedInReceiver { .. } => "join it, or give it a [[load]]".to_owned(),
            Self::LoadedInput { .. } => {
                "set lo_source_ohm or rf_source_ohm instead of a [[load]]".to_owned()
            }
            Self::Unreached { .. } => "check the joins between the two".to_owned(),
            Self::NotPassive { .. } => {
                "correct the file or its option line; for a block that is meant \
                                        to have gain, add active = true"
                    .to_owned()
            }
            Self::OutsideFile { unit_factor: Some(factor), .. } => format!(
                "the file's frequencies times {factor:e} would cover the plan; check the unit in its \
                 option line, and that lo_ghz and if_ghz are in GHz"
            ),
            Self::Separator { .. } => {
                "save the table with commas between columns and decimal points in numbers"
                    .to_owned()
            }
            Self::Fields { .. } => {
                "commas separate columns: write decimals with a point, and text with \
                                    commas in double quotes"
                    .to_owned()
            }
            Self::NotANumber { found } if found.contains(',') => {
                "write decimals with a point".to_owned()
            }
            Self::NearColumn { block, .. } => {
                format!("call it '{block}', or give it a name that is not so near")
            }
            Self::OutsideFile { .. } => {
                "narrow the plan or use wider data; nothing is extrapolated".to_owned()
            }
            Self::NoPower { .. } => "add lo_power_dbm = 17.0 to [frequency_plan]".to_owned(),
            Self::NoLoChain { .. } => "add [lo_chain] and [[lo_stage]]".to_owned(),
            Self::JoinedTwice { .. } => {
                "join more than two ports in one line: \"a.x -- b.y -- c.z\"".to_owned()
            }
            Self::NoGrid => "add grid = \"24GHz..34GHz:101\"".to_owned(),
            Self::MixedMode { .. } => "convert the file to single-ended ports first".to_owned(),
            _ => return None,
        })
    }
}

fn listed(names: &[String]) -> String {
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

/// Old spellings that are refused, and what replaced them.
const RENAMED: [(&str, &str); 5] = [
    ("feeds", "access_lines"),
    ("through", "thru"),
    ("through_residual", "thru_residual"),
    ("through_split", "thru_split"),
    ("load_ring", "load_reflection_sweep"),
];

/// A hint for a name that is not known: what replaced it, or the known name that is most like it.
fn meant(found: &str, known: &[String]) -> Option<String> {
    // One old name may have been that of several things.
    let mut renamed = RENAMED.iter().filter(|(old, _)| *old == found).map(|(_, new)| *new);
    if let Some(new) = renamed.find(|new| known.iter().any(|name| name == new)) {
        return Some(format!("'{found}' is now called '{new}'"));
    }
    // A third of the letters may differ: more and unrelated names would be proposed.
    let most = found.chars().count().div_ceil(3);
    known
        .iter()
        .map(|name| (strsim::osa_distance(found, name), name))
        .filter(|(distance, _)| *distance <= most)
        .min()
        .map(|(_, name)| format!("did you mean '{name}'?"))
}
