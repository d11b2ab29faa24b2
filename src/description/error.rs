//! Errors of descriptions and tables: one type for all formats of this folder.

use super::allowed::Allowed;
use crate::component::ComponentError;
use crate::diagnostic::{Diagnostic, Excerpt, Position};
use crate::downconverter::{PlanError, ReceiverError};
use crate::network::NetworkError;
use crate::requirement::Quantity;
use crate::touchstone::{PassiveFileError, ReadError};
use crate::wafer::SettingsError;
use std::path::{Path, PathBuf};

/// A text file that cannot be used: the file, the line and the problem.
#[derive(Debug, thiserror::Error)]
#[error("{}: {problem}", self.shown_place())]
pub struct DescriptionError {
    file: PathBuf,
    // Boxed, so that a result with the error stays small.
    problem: Box<DescriptionProblem>,
    excerpt: Option<Box<Excerpt>>,
}

/// The reason for which a description or a table cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the messages say what each variant means")]
pub enum DescriptionProblem {
    // Any text.
    #[error("cannot read the file: {0}")]
    Io(std::io::Error),
    #[error("the file is longer than {limit_mib} MiB, the maximum for such a file")]
    TooLong { limit_mib: u64 },
    #[error("this is not UTF-8 text")]
    NotText,

    // Keys and values.
    #[error("this is not TOML: {message}")]
    NotToml { message: String },
    #[error("duplicate {} '{key}'", if *is_table { "table" } else { "key" })]
    DuplicateKey { key: String, is_table: bool },
    #[error("this is a Touchstone file, where a description in TOML is expected")]
    TouchstoneInstead,
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
    /// A text for an error of one format only.
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
    #[error(
        "expected a row of at most {most} bytes, found a longer one; check whether a quotation mark \
         (\") is left open here"
    )]
    LongRow { most: u64 },
    #[error("the columns are separated by {found:?}, expected commas")]
    Separator { found: char },
    #[error(
        "the column '{found}' is similar to the block '{block}', but not equal, and gives no files"
    )]
    NearColumn { found: String, block: String },
    #[error("expected a number, found '{found}'")]
    NotANumber { found: String },
    #[error("{column} is empty here")]
    EmptyField { column: String },
    #[error("the table has no row below its header")]
    NoRows,

    // Lists of dies.
    #[error("no column of the list names the files of a block")]
    NoFileColumn { blocks: Vec<String>, columns: Vec<String> },
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
    #[error("block '{name}' has {expected} ports, found {found} names")]
    PortNames { name: String, expected: usize, found: usize },
    #[error("duplicate port name '{name}'")]
    DuplicatePortName { name: String },
    #[error("'{text}' is not a port: expected BLOCK.PORT")]
    NotAPort { text: String },
    #[error("there is no block '{name}'")]
    UnknownBlock { name: String, known: Vec<String> },
    #[error("block '{block}' has no port '{port}'")]
    UnknownPort { block: String, port: String, known: Vec<String> },
    #[error("a join needs two or more ports, such as \"a.x -- b.y\"")]
    JoinTooSmall,
    #[error("{port} is in two joins")]
    JoinedTwice { port: String },
    #[error("duplicate outer port {port}")]
    DuplicateOutside { port: String },
    #[error("{port} has two loads")]
    LoadedTwice { port: String },
    #[error("{port} is unconnected: expected a join, a load or an outer port")]
    Unconnected { port: String },
    #[error("{port} is unconnected: expected a join, a load or an input")]
    UnconnectedInReceiver { port: String },
    #[error("the load at {port} needs exactly one of ohm, file, rc, open and short")]
    NoLoad { port: String },
    #[error("a load needs a one-port file, this file has {ports} ports")]
    LoadPorts { ports: usize },
    #[error("block '{name}' is mixed-mode, expected single-ended ports")]
    MixedMode { name: String },

    // Frequencies.
    #[error("all parts are closed-form components; the description needs a grid")]
    NoGrid,
    #[error(
        "the files have no common frequency: '{starts_late}' starts above the end of '{ends_early}'"
    )]
    NoCommonBand { starts_late: String, ends_early: String },
    #[error(
        "{what} {covers}, but the plan needs {}: {need}",
        crate::units::ShownFrequency(*frequency_hz)
    )]
    OutsideFile {
        what: String,
        covers: String,
        frequency_hz: f64,
        need: String,
        likely: Option<PlanMistake>,
    },
    #[error("{name}: {source}")]
    Mislabelled { name: String, source: PassiveFileError },
    #[error("{name}: {source}")]
    NotPassive { name: String, source: PassiveFileError },

    // Receivers.
    #[error("{port} is an input, which is terminated by the source impedance")]
    LoadedInput { port: String },
    #[error("duplicate mixer '{name}'")]
    DuplicateMixer { name: String },
    #[error("channel {channel} has no mixer: add a [[mixer]] with channel = \"{channel}\"")]
    EmptyChannel { channel: &'static str },
    #[error("{port}, the {what} port of mixer '{mixer}', cannot be reached from {input}")]
    Unreached { port: String, what: &'static str, mixer: String, input: String },
    #[error(
        "{} limits the power at the mixers, but lo_power_dbm is missing and there is no LO chain",
        quantity.name()
    )]
    NoPower { quantity: Quantity },
    #[error("{} limits a result of the LO chain, but there is no LO chain", quantity.name())]
    NoLoChain { quantity: Quantity },

    // Errors of other modules.
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

/// Why a file may not cover a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum PlanMistake {
    /// The unit of the file's frequencies is wrong.
    FileUnit {
        /// The data times this would cover the plan.
        factor: f64,
    },
    /// The LO is given at its source instead of at the mixers.
    LoAtSource {
        /// LO at the mixers over LO at its source.
        multiplication: u32,
    },
    /// The IF is given in MHz instead of GHz.
    IfInMegahertz {
        /// The highest, as given.
        if_ghz: f64,
    },
}

impl PlanMistake {
    fn remedy(self) -> String {
        match self {
            Self::FileUnit { factor } => format!(
                "the file's frequencies times {factor:e} would cover the plan; check the unit in its \
                 option line, and that lo_ghz and if_ghz are in GHz"
            ),
            Self::LoAtSource { multiplication } => format!(
                "lo_ghz is the LO at the mixers, after its multiplication by {multiplication}; times \
                 {multiplication} the file would cover it"
            ),
            Self::IfInMegahertz { if_ghz } => {
                format!("if_ghz is in GHz; if {if_ghz} MHz is meant, write {}", if_ghz / 1e3)
            }
        }
    }
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

    /// The file, with line and column if the error has a place.
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

    /// The problem.
    #[must_use]
    pub fn problem(&self) -> &DescriptionProblem {
        &self.problem
    }

    /// The line and column of the error, if it has a place.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        self.excerpt.as_ref().map(|excerpt| excerpt.position)
    }

    /// The error for display, with its source line.
    #[must_use]
    pub fn diagnostic(&self) -> Diagnostic {
        // The message of a part's file that cannot be read has its own source line.
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
            Self::UnknownKey { found, known } if is_of_the_top(found, known) => format!(
                "move {found} above the first table: TOML takes what stands below [..] for a part \
                 of that table"
            ),
            Self::UnknownKey { found, known }
            | Self::UnknownValue { found, known }
            | Self::UnknownColumn { found, known } => return meant(found, known),
            Self::NoColumn { name, found } => match meant(name, found) {
                Some(hint) => hint,
                None => format!("its columns are {}", found.join(", ")),
            },
            Self::UnknownBlock { name, known } => match meant(name, known) {
                Some(hint) => hint,
                None if known.is_empty() => "the description has no [[block]]".to_owned(),
                None => format!("the blocks are {}", known.join(", ")),
            },
            Self::NoFileColumn { blocks, columns } => format!(
                "name a column as the block whose files it gives; the blocks are {}; the list has the \
                 columns {}",
                listed(blocks),
                listed(columns)
            ),
            Self::DuplicateKey { key, is_table: true } => format!(
                "a table that may occur more than once has double brackets each time: [[{key}]]"
            ),
            Self::TouchstoneInstead => {
                "inspect, splitter, compare, deembed and convert take Touchstone files".to_owned()
            }
            Self::UnknownPort { known, .. } => format!("its ports are {}", known.join(", ")),
            Self::Unconnected { .. } => {
                "join it, give it a [[load]], or add it to ports".to_owned()
            }
            Self::UnconnectedInReceiver { .. } => "join it, or give it a [[load]]".to_owned(),
            Self::LoadedInput { .. } => {
                "set lo_source_ohm or rf_source_ohm instead of a [[load]]".to_owned()
            }
            Self::Unreached { .. } => "check the joins between the two".to_owned(),
            Self::Mislabelled { .. } | Self::NotPassive { .. } => {
                "correct the file or its option line; for a block that is meant to have gain, add \
                 active = true"
                    .to_owned()
            }
            Self::OutsideFile { likely: Some(likely), .. } => likely.remedy(),
            Self::Plan(PlanError::NoLowerSideband { lo_hz, if_hz }) => {
                return no_lower_sideband_remedy(*lo_hz, *if_hz);
            }
            Self::Number { key, .. } => return number_remedy(key).map(str::to_owned),
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
                format!("rename it to '{block}', or give it a less similar name")
            }
            Self::OutsideFile { .. } => {
                "narrow the plan or use wider data; data are not extrapolated".to_owned()
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

/// The likely mistake of an IF above its LO.
fn no_lower_sideband_remedy(lo_hz: f64, if_hz: f64) -> Option<String> {
    /// An LO below this would be a usual IF.
    const LARGEST_IF_HZ: f64 = 5e9;
    if lo_hz <= LARGEST_IF_HZ && if_hz > 3.0 * lo_hz {
        return Some("are lo_ghz and if_ghz exchanged?".to_owned());
    }
    // Megahertz are below any LO at microwave.
    (if_hz / 1e3 < lo_hz).then(|| PlanMistake::IfInMegahertz { if_ghz: if_hz / 1e9 }.remedy())
}

/// Former spellings, which are errors, with their replacements.
const RENAMED: [(&str, &str); 5] = [
    ("feeds", "access_lines"),
    ("through", "thru"),
    ("through_residual", "thru_residual"),
    ("through_split", "thru_split"),
    ("load_ring", "load_reflection_sweep"),
];

/// What to do about a number that is likely in another unit.
fn number_remedy(key: &str) -> Option<&'static str> {
    match key {
        "thru_residual" | "drift_vector" => {
            Some("it is a linear magnitude: 2 % is 0.02, and -40 dB is 0.01")
        }
        _ if key.ends_with("_reflection") => {
            Some("it is a linear magnitude: a return loss of 10 dB is 0.316")
        }
        _ => None,
    }
}

/// Whether a key that is unknown in a table stands above the first table elsewhere.
fn is_of_the_top(found: &str, known: &[String]) -> bool {
    TOP_KEYS.contains(&found) && !known.iter().any(|own| own == found)
}

/// Keys that stand above the first table of some description, and in few tables.
const TOP_KEYS: [&str; 15] = [
    "joins",
    "lo_input",
    "rf_input",
    "combine",
    "lo_source_ohm",
    "rf_source_ohm",
    "manifest",
    "retests",
    "title",
    "reference_ohm",
    "reciprocal",
    "symmetric",
    "effective_permittivity",
    "seed",
    "coverage_percent",
];

/// A hint for a name that is not known: what replaced it, or the known name that is most like it.
fn meant(found: &str, known: &[String]) -> Option<String> {
    // A former name may have had several meanings.
    let mut renamed = RENAMED.iter().filter(|(old, _)| *old == found).map(|(_, new)| *new);
    if let Some(new) = renamed.find(|new| known.iter().any(|name| name == new)) {
        return Some(format!("'{found}' is now called '{new}'"));
    }
    // A third of the letters may differ: with more, unrelated names would be proposed.
    let most = found.chars().count().div_ceil(3);
    known
        .iter()
        .map(|name| (strsim::osa_distance(found, name), name))
        .filter(|(distance, _)| *distance <= most)
        .min()
        .map(|(_, name)| format!("did you mean '{name}'?"))
}
