//! Errors and warnings of Touchstone files as data; [`crate::diagnostic`] displays them.

use crate::diagnostic::{Diagnostic, Excerpt, Position, Severity};
use crate::network::{NetworkError, ParameterKind, Port};
use std::fmt;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// A file that cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The file cannot be opened or read.
    #[error("cannot read {}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The error of the operating system.
        source: std::io::Error,
    },
    /// The content does not follow the format.
    #[error("{}:{}: {problem}", file.display(), excerpt.position)]
    Content {
        /// The file.
        file: PathBuf,
        /// The error.
        problem: Box<Problem>,
        /// The source line with the place of the error.
        excerpt: Box<Excerpt>,
    },
}

/// What a file is that is not named as a Touchstone file.
fn other_kind_of_file(path: &Path) -> Option<String> {
    let kind = path.extension()?.to_str()?.to_lowercase();
    let what = match kind.as_str() {
        "toml" => "a description, for the commands downconverter, join, rebuild, station and wafer",
        "csv" => "a table",
        _ => return None,
    };
    Some(format!("a file named .{kind} is {what}; name a Touchstone file (.s2p, .s4p, .ts)"))
}

impl ReadError {
    /// The error for display, with its source line.
    #[must_use]
    pub fn diagnostic(&self) -> Diagnostic {
        match self {
            Self::Io { path, source } => {
                let help = match source.kind() {
                    std::io::ErrorKind::NotFound => "check the name and the folder",
                    std::io::ErrorKind::InvalidInput => "name a Touchstone file",
                    std::io::ErrorKind::FileTooLarge | std::io::ErrorKind::OutOfMemory => {
                        "split the file by ports or frequencies"
                    }
                    _ => "check that you may read the file",
                };
                Diagnostic::error(format!("cannot read the file: {source}"))
                    .in_file(path.display().to_string())
                    .with_help(help)
            }
            Self::Content { file, problem, excerpt } => {
                let mut shown =
                    Diagnostic::error(problem.to_string()).in_file(file.display().to_string());
                shown.excerpt = Some((**excerpt).clone());
                shown.label = problem.label();
                shown.notes.extend(problem.note());
                shown.help = problem.remedy();
                if let Some(help) = other_kind_of_file(file) {
                    shown.help = Some(help);
                    return shown;
                }
                if let (Some(ports), Problem::RowLength { .. } | Problem::EndsInsideSet { .. }) =
                    (super::file_name::ports_in_name(file), &**problem)
                {
                    if let Some(fitting) = problem.fitting_ports() {
                        shown.help = Some(format!(
                            "the row is that of a {fitting}-port: name the file .s{fitting}p; or complete \
                             or shorten the row"
                        ));
                    }
                    shown.notes.push(format!(
                        "the number of ports comes from the file's name, .s{ports}p"
                    ));
                }
                shown
            }
        }
    }

    /// Line and column in the file, if the error has a place.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        match self {
            Self::Io { .. } => None,
            Self::Content { excerpt, .. } => Some(excerpt.position),
        }
    }

    /// The error of the content; `None` if the file could not be read.
    #[must_use]
    pub fn problem(&self) -> Option<&Problem> {
        match self {
            Self::Io { .. } => None,
            Self::Content { problem, .. } => Some(problem),
        }
    }
}

/// A problem with the byte range concerned.
#[derive(Debug)]
pub(super) struct Fault {
    pub(super) problem: Problem,
    pub(super) span: Range<usize>,
}

impl Problem {
    pub(super) fn at(self, span: Range<usize>) -> Fault {
        Fault { problem: self, span }
    }
}

/// The number found, or that there are more than expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Found {
    /// Exactly this number.
    Count(usize),
    /// More than expected; counting stopped there.
    More,
}

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count(count) => write!(f, "{count}"),
            Self::More => f.write_str("more"),
        }
    }
}

/// The reason for which the content of a file cannot be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the messages say what each variant and number means")]
pub enum Problem {
    #[error("byte 0x{byte:02X} is not allowed outside comments: expected ASCII text")]
    ForbiddenByte { byte: u8 },
    #[error("'{text}' contains a comma: expected a decimal point, and blanks between numbers")]
    Comma { text: String },
    #[error("the file name has 0 ports, expected at least 1")]
    ZeroPortsInName,
    #[error("the number of ports does not follow from {numbers} numbers in the first set")]
    UnknownPortCount { numbers: usize },
    #[error("expected {expected} numbers, found {found}")]
    RowLength {
        expected: usize,
        found: usize,
        ports: usize,
        pairs_of_set: usize,
        line_of_set: usize,
        set: usize,
    },
    #[error("the data end inside a set: expected {expected} numbers, found {found}")]
    EndsInsideSet { expected: usize, found: usize, ports: usize },
    #[error("[Version] must come first, found [{keyword}]")]
    VersionNotFirst { keyword: String },
    #[error("Touchstone version {text} is not supported")]
    UnsupportedVersion { text: String },
    #[error("[{keyword}] takes {expected} argument{}, found {found}", if *expected == 1 { "" } else { "s" })]
    ArgumentCount { keyword: &'static str, expected: usize, found: usize },
    #[error("[{keyword}] is not allowed in a version 1 file")]
    KeywordInVersion1 { keyword: String },
    #[error("the option line is missing")]
    NoOptionLine { keywords: bool },
    #[error("unknown option-line field '{text}'")]
    UnknownField { text: String },
    #[error("{what} given twice")]
    GivenTwice { what: String },
    #[error("R needs a value, expected ohms")]
    ReferenceMissing,
    #[error("{what} needs a positive number of ohms, found '{text}'")]
    ReferenceNotPositive { what: &'static str, text: String },
    #[error("complex reference impedance '{text}' is not allowed in a Touchstone file")]
    ComplexReference { text: String },
    #[error("expected {expected} reference resistances, found {found}")]
    OptionReferenceCount { expected: usize, found: usize },
    #[error("[Reference] expected {expected} values, found {found}")]
    ReferenceCount { expected: usize, found: Found },
    #[error("{kind}-parameters need 2 ports, the file has {ports}")]
    TwoPortsOnly { kind: ParameterKind, ports: usize },
    #[error("'{text}' is not a number")]
    NotANumber { text: String },
    #[error("'{text}' is not a finite number")]
    NotFinite { text: String },
    #[error("'{text}' is too large for a double-precision number in this place")]
    TooLarge { text: String },
    #[error(
        "'{text}' is too large: real and imaginary parts of {parameter} must be at most {:e}",
        parameter.max_magnitude()
    )]
    BeyondRange { text: String, parameter: ParameterKind },
    #[error("negative frequency {text}")]
    NegativeFrequency { text: String },
    #[error("no content")]
    NoContent,
    #[error("no network data")]
    NoNetworkData,
    #[error("noise row: expected 5 numbers, found {found}")]
    NoiseRow { found: usize },
    #[error("network data after noise data: a line of {found} numbers")]
    NetworkAfterNoise { found: usize },
    #[error("keyword without closing bracket")]
    UnclosedBracket,
    #[error("[{keyword}] must come before [Network Data]")]
    KeywordAfterData { keyword: &'static str },
    #[error("[{missing}] missing before [{before}]")]
    MissingBefore { missing: &'static str, before: &'static str },
    #[error("[{missing}] missing")]
    MissingKeyword { missing: &'static str },
    #[error("unknown keyword [{text}]")]
    UnknownKeyword { text: String },
    #[error("[{keyword}] needs a positive integer, found '{text}'")]
    PositiveInteger { keyword: &'static str, text: String },
    #[error("[{keyword}] cannot be '{text}'")]
    IllegalArgument { keyword: &'static str, text: String, legal: &'static str },
    #[error("expected {expected} frequenc{}, found {found}", if *expected == 1 { "y" } else { "ies" })]
    FrequencyCount { expected: usize, found: Found },
    #[error("expected {expected} noise frequenc{}, found {found}", if *expected == 1 { "y" } else { "ies" })]
    NoiseCount { expected: usize, found: Found },
    #[error("noise data need 2 ports, the file has {ports}")]
    NoisePorts { ports: usize },
    #[error("[Noise Data] missing, though [Number of Noise Frequencies] announces it")]
    NoiseDataMissing,
    #[error("data before [Network Data]")]
    DataBeforeKeyword,
    #[error("[Begin Information] without [End Information]")]
    InformationOpen,
    #[error("[End Information] without [Begin Information]")]
    InformationNotOpen,
    #[error("'{text}' is not a mixed-mode descriptor")]
    Descriptor { text: String },
    #[error("port {port} is out of range: the file has {ports}")]
    DescriptorPort { port: usize, ports: usize },
    #[error("port {port} used twice")]
    DescriptorTwice { port: Port },
    #[error("{present} has no matching {missing}")]
    DescriptorAlone { present: String, missing: String },
    #[error("[Mixed-Mode Order] expected {expected} descriptors, found {found}")]
    DescriptorCount { expected: usize, found: Found },
    #[error("mixed-mode data cannot be {kind}-parameters")]
    MixedModeKind { kind: ParameterKind },
    #[error("ports {plus} and {minus} of a pair have different reference impedances")]
    PairReferences { plus: Port, minus: Port },
    #[error("{0}")]
    Network(NetworkError),
    #[error("not allowed by strict reading: {}", .0.message())]
    Strict(WarningCode),
}

impl Problem {
    /// The text beside the caret.
    fn label(&self) -> Option<String> {
        match self {
            Self::RowLength { expected, found, .. } => Some(if found < expected {
                format!("found {found} numbers")
            } else {
                format!("found {found} numbers, {} too many", found - expected)
            }),
            Self::EndsInsideSet { .. } => Some("the last data line".to_owned()),
            Self::MissingBefore { missing, .. } | Self::MissingKeyword { missing } => {
                Some(format!("[{missing}] is expected before this line"))
            }
            Self::NoOptionLine { .. } => {
                Some("the option line is expected before this line".to_owned())
            }
            _ => None,
        }
    }

    /// The number of ports that the first line of the first set fits, where it is another than the
    /// file's name has.
    fn fitting_ports(&self) -> Option<usize> {
        let Self::RowLength { found, ports, line_of_set: 1, set, .. } = self else { return None };
        // A first line holds a frequency and one row of the matrix, or all of a two-port's; the rows of
        // four-ports begin as a two-port does.
        let fitting = match (set, found) {
            (1, 3) => 1,
            (1, 7) => 3,
            (1, 9) if *ports == 1 => 2,
            (1, 9) => 4,
            (2, 8) if *ports == 2 => 4,
            _ => return None,
        };
        (fitting != *ports).then_some(fitting)
    }

    /// The explanation of what was expected.
    fn note(&self) -> Option<String> {
        match self {
            Self::RowLength { ports, pairs_of_set, line_of_set, set, .. } => Some(format!(
                "line {line_of_set} of set {set}: a set of this {ports}-port file is a frequency and \
                 {pairs_of_set} pairs"
            )),
            Self::EndsInsideSet { ports, expected, .. } => Some(format!(
                "a set of this {ports}-port file is a frequency and {} pairs",
                expected.saturating_sub(1) / 2
            )),
            Self::IllegalArgument { legal, .. } => Some(format!("expected {legal}")),
            Self::UnknownField { .. } => Some(
                "expected Hz, kHz, MHz or GHz; S, Y, Z, H or G; MA, DB or RI; R with ohms"
                    .to_owned(),
            ),
            _ => None,
        }
    }

    /// The correction to make.
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::ForbiddenByte { .. } => "save the file as plain ASCII text",
            Self::Comma { .. } => "write decimals with a point and separate numbers by blanks",
            Self::ZeroPortsInName => "name the file .s1p, .s2p, ... after its number of ports",
            Self::UnknownPortCount { .. } => {
                "name the file .sNp after its number of ports, or complete the set"
            }
            Self::RowLength { .. } => {
                "complete or shorten the row; if the rows are right, correct the number of ports"
            }
            Self::EndsInsideSet { .. } => "complete the last set or delete it",
            Self::VersionNotFirst { .. } => "begin with '[Version] 2.0', or delete the keywords",
            Self::UnsupportedVersion { .. } => {
                "use [Version] 2.0 or 2.1; a file without keywords is version 1"
            }
            Self::ArgumentCount { expected: 0, .. } => {
                "move what follows the bracket to the next line"
            }
            Self::ArgumentCount { .. } => "give the argument on the keyword's line",
            Self::KeywordInVersion1 { .. } => "delete it, or begin the file with '[Version] 2.0'",
            Self::NoOptionLine { keywords: false } => {
                "add a line such as '# GHz S MA R 50', or give --option-line 'GHz S MA R 50'"
            }
            Self::NoOptionLine { keywords: true } => {
                "add a line such as '# GHz S MA R 50' after [Version]"
            }
            Self::GivenTwice { .. } => "keep one of them",
            Self::ReferenceMissing => "write R and the ohms apart, as in 'R 50'",
            Self::ComplexReference { .. } => "convert the data to a real reference impedance first",
            Self::OptionReferenceCount { .. } => "give R one resistance, or one for every port",
            Self::ReferenceCount { .. } => "give one resistance for every port",
            Self::NotANumber { .. } | Self::NotFinite { .. } => {
                "correct the value, or put '!' before text that is a comment"
            }
            Self::NetworkAfterNoise { .. } => "put all network data before the noise data",
            Self::UnclosedBracket => "close it with ]",
            Self::KeywordAfterData { .. } => "move it above [Network Data]",
            Self::MissingKeyword { missing: "Two-Port Data Order" } => {
                "add '[Two-Port Data Order] 21_12' or '12_21'; a wrong order exchanges gain and isolation"
            }
            Self::FrequencyCount { .. } => "correct [Number of Frequencies] or complete the data",
            Self::NoiseCount { .. } => "correct [Number of Noise Frequencies] or complete the rows",
            Self::DataBeforeKeyword => "put [Network Data] above the first data line",
            Self::Descriptor { .. } => "write S1, D1,2 or C1,2, without a blank at the comma",
            Self::Strict(_) => "correct the file, or read it without --strict",
            _ => return None,
        };
        Some(text.to_owned())
    }
}

/// The deviations and oddities that the reader accepts with a warning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[expect(missing_docs, reason = "the messages say what each code means")]
pub enum WarningCode {
    NonAsciiComment,
    DosEof,
    Bom,
    Tab,
    ExtensionMismatch,
    PortCountFromData,
    HashJoined,
    ExtraOptionLine,
    OptionListInV2,
    RListNotLast,
    OptionLineSupplied,
    DExponent,
    NegativeMagnitude,
    TooManyPairs,
    Rewrapped,
    RowsRewrapped,
    Descending,
    DuplicateFrequency,
    NoiseDescending,
    NoiseDuplicate,
    NoiseAboveNetwork,
    NoiseUnphysical,
    KeywordSpacing,
    PortsKeywordLate,
    TwoPortOrderIgnored,
    MissingNumberOfFrequencies,
    MissingNumberOfNoiseFrequencies,
    MissingEnd,
    AfterEnd,
    TriangleOfHybrid,
}

impl WarningCode {
    /// The identifier of the warning, for scripts.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.words().0
    }

    /// The text of the warning.
    #[must_use]
    pub fn message(self) -> &'static str {
        self.words().1
    }

    /// Whether strict reading reports it as an error.
    #[must_use]
    pub fn is_deviation(self) -> bool {
        !matches!(
            self,
            Self::Tab
                | Self::ExtensionMismatch
                | Self::PortCountFromData
                | Self::HashJoined
                | Self::ExtraOptionLine
                | Self::OptionLineSupplied
                | Self::NegativeMagnitude
                | Self::RowsRewrapped
                | Self::NoiseUnphysical
        )
    }

    fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::NonAsciiComment => {
                ("non_ascii_comment", "a comment has characters outside ASCII")
            }
            Self::DosEof => ("dos_eof", "the end-of-file byte 0x1A at the end is ignored"),
            Self::Bom => ("bom", "the byte-order mark is skipped"),
            Self::Tab => ("tab", "tabs separate values; the standard recommends blanks"),
            Self::ExtensionMismatch => (
                "extension_mismatch",
                "the file name has another number of ports than [Number of Ports], which is used",
            ),
            Self::PortCountFromData => (
                "port_count_from_data",
                "the file name has no number of ports; it is taken from the data",
            ),
            Self::HashJoined => ("hash_joined", "no blank after the option line's #"),
            Self::ExtraOptionLine => ("extra_option_line", "a further option line is ignored"),
            Self::OptionListInV2 => {
                ("option_list_in_v2", "several resistances on the option line of a version 2 file")
            }
            Self::RListNotLast => {
                ("r_list_not_last", "the resistances are not last on the option line")
            }
            Self::OptionLineSupplied => {
                ("option_line_supplied", "the option line is missing; the one given is used")
            }
            Self::DExponent => ("d_exponent", "an exponent is written with D"),
            Self::NegativeMagnitude => {
                ("negative_magnitude", "a negative magnitude is read as a phase shift of 180 deg")
            }
            Self::TooManyPairs => ("too_many_pairs", "more than four pairs on a line"),
            Self::Rewrapped => ("rewrapped", "data lines are not wrapped as in the standard"),
            Self::RowsRewrapped => ("rows_rewrapped", "matrix rows are not split after four pairs"),
            Self::Descending => ("descending", "frequencies do not ascend; the points are sorted"),
            Self::DuplicateFrequency => {
                ("duplicate_frequency", "duplicate frequency; both points are kept")
            }
            Self::NoiseDescending => {
                ("noise_descending", "noise frequencies do not ascend; the rows are sorted")
            }
            Self::NoiseDuplicate => {
                ("noise_duplicate", "duplicate noise frequency; both rows are kept")
            }
            Self::NoiseAboveNetwork => {
                ("noise_above_network", "the noise data start above the last network frequency")
            }
            Self::NoiseUnphysical => {
                ("noise_unphysical", "a noise row has an impossible value; it is kept")
            }
            Self::KeywordSpacing => {
                ("keyword_spacing", "a keyword is indented or spaced differently")
            }
            Self::PortsKeywordLate => {
                ("ports_keyword_late", "[Number of Ports] is not directly after the option line")
            }
            Self::TwoPortOrderIgnored => (
                "two_port_order_ignored",
                "[Two-Port Data Order] is ignored: the file is not a 2-port",
            ),
            Self::MissingNumberOfFrequencies => (
                "missing_number_of_frequencies",
                "[Number of Frequencies] is missing; the sets are counted",
            ),
            Self::MissingNumberOfNoiseFrequencies => (
                "missing_number_of_noise_frequencies",
                "[Number of Noise Frequencies] is missing; the rows are counted",
            ),
            Self::MissingEnd => ("missing_end", "[End] is missing"),
            Self::AfterEnd => ("after_end", "content after [End] is ignored"),
            Self::TriangleOfHybrid => (
                "triangle_of_hybrid",
                "a triangle of H- or G-parameters is mirrored as [Matrix Format] states, though h12 = -h21 in a reciprocal part",
            ),
        }
    }
}

/// A warning about a file that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// The kind of the warning.
    pub code: WarningCode,
    /// The first place where it occurs.
    pub excerpt: Excerpt,
}

/// Line, column and sentence, as in `7:1: tab between entries`.
impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.excerpt.position, self.code.message())
    }
}

impl Warning {
    /// The warning for display, with its source line.
    #[must_use]
    pub fn diagnostic(&self, file: &str) -> Diagnostic {
        let mut shown = Diagnostic::error(self.code.message()).in_file(file);
        shown.severity = Severity::Warning;
        shown.excerpt = Some(self.excerpt.clone());
        shown
    }
}
