//! What can be wrong with a file, in numbers; [`crate::diagnostic`] turns it into sentences on a page.

use crate::diagnostic::{Diagnostic, Excerpt, Position, Severity};
use crate::network::{NetworkError, ParameterKind, Port};
use std::fmt;
use std::ops::Range;
use std::path::PathBuf;

/// A file that cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The operating system refuses.
    #[error("cannot read {}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The error behind it.
        source: std::io::Error,
    },
    /// The content breaks the format.
    #[error("{}:{}: {problem}", file.display(), excerpt.position)]
    Content {
        /// The file.
        file: PathBuf,
        /// What is wrong.
        problem: Box<Problem>,
        /// The place in the file.
        excerpt: Box<Excerpt>,
    },
}

impl ReadError {
    /// The same, ready to be shown with its source line.
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
                if let (Some(ports), Problem::RowLength { .. } | Problem::EndsInsideSet { .. }) =
                    (super::file_name::ports_in_name(file), &**problem)
                {
                    shown.notes.push(format!(
                        "the number of ports comes from the file's name, .s{ports}p"
                    ));
                }
                shown.help = problem.remedy();
                shown
            }
        }
    }

    /// Where in the file, if the trouble has a place.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        match self {
            Self::Io { .. } => None,
            Self::Content { excerpt, .. } => Some(excerpt.position),
        }
    }

    /// What is wrong with the content, if that is what failed.
    #[must_use]
    pub fn problem(&self) -> Option<&Problem> {
        match self {
            Self::Io { .. } => None,
            Self::Content { problem, .. } => Some(problem),
        }
    }
}

/// A problem and the bytes it is about.
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

/// How many were found: a number, or only that there are too many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Found {
    /// Exactly so many.
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

/// Everything that makes a file unreadable.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the messages say what each variant and number means")]
pub enum Problem {
    #[error("byte 0x{byte:02X} is not allowed outside comments")]
    ForbiddenByte { byte: u8 },
    #[error("'{text}' contains a comma, which neither separates numbers nor marks decimals")]
    Comma { text: String },
    #[error("the file name says 0 ports")]
    ZeroPortsInName,
    #[error("cannot infer the number of ports from {numbers} numbers in the first set")]
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
    #[error("version {text} is not supported")]
    UnsupportedVersion { text: String },
    #[error("[{keyword}] takes {expected} argument{}, found {found}", if *expected == 1 { "" } else { "s" })]
    ArgumentCount { keyword: &'static str, expected: usize, found: usize },
    #[error("[{keyword}] in a version 1 file")]
    KeywordInVersion1 { keyword: String },
    #[error("the option line is missing")]
    NoOptionLine { keywords: bool },
    #[error("unknown option-line field '{text}'")]
    UnknownField { text: String },
    #[error("{what} given twice")]
    GivenTwice { what: String },
    #[error("R needs a value")]
    ReferenceMissing,
    #[error("{what} needs a positive number of ohms, found '{text}'")]
    ReferenceNotPositive { what: &'static str, text: String },
    #[error("complex reference '{text}' is not allowed in a Touchstone file")]
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
    #[error("not allowed in strict reading: {}", .0.message())]
    Strict(WarningCode),
}

impl Problem {
    /// What stands beside the caret.
    fn label(&self) -> Option<String> {
        match self {
            Self::RowLength { expected, found, .. } => Some(if found < expected {
                format!("{found} numbers stand here")
            } else {
                format!("{found} numbers stand here, {} too many", found - expected)
            }),
            Self::EndsInsideSet { .. } => Some("the last data line".to_owned()),
            Self::MissingBefore { missing, .. } | Self::MissingKeyword { missing } => {
                Some(format!("[{missing}] should stand before this"))
            }
            Self::NoOptionLine { .. } => {
                Some("the option line should stand before this".to_owned())
            }
            _ => None,
        }
    }

    /// Why it was expected.
    fn note(&self) -> Option<String> {
        match self {
            Self::RowLength { ports, pairs_of_set, line_of_set, set, .. } => Some(format!(
                "line {line_of_set} of set {set}: a {ports}-port set of this file is a frequency and \
                 {pairs_of_set} pairs"
            )),
            Self::EndsInsideSet { ports, expected, .. } => Some(format!(
                "a {ports}-port set of this file is a frequency and {} pairs",
                expected.saturating_sub(1) / 2
            )),
            Self::IllegalArgument { legal, .. } => Some(format!("legal are {legal}")),
            Self::UnknownField { .. } => {
                Some("legal are Hz kHz MHz GHz, S Y Z H G, MA DB RI, and R with ohms".to_owned())
            }
            _ => None,
        }
    }

    /// What to do about it.
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::ForbiddenByte { .. } => "save the file as plain ASCII text",
            Self::Comma { .. } => "write decimals with a point and separate numbers by blanks",
            Self::ZeroPortsInName => "name the file .s1p, .s2p, ... for its true number of ports",
            Self::UnknownPortCount { .. } => {
                "name the file .sNp for its number of ports, or complete the set"
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
            Self::ComplexReference { .. } => "refer the data to a real resistance first",
            Self::OptionReferenceCount { .. } => "give R one resistance, or one for every port",
            Self::ReferenceCount { .. } => "give one resistance for every port",
            Self::NotANumber { .. } | Self::NotFinite { .. } => {
                "correct the value, or put '!' before text that is a comment"
            }
            Self::NetworkAfterNoise { .. } => "put all network data before the noise data",
            Self::UnclosedBracket => "close it with ]",
            Self::KeywordAfterData { .. } => "move it above [Network Data]",
            Self::MissingKeyword { missing: "Two-Port Data Order" } => {
                "add '[Two-Port Data Order] 21_12' or '12_21'; guessing could swap gain and isolation"
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

/// The harmless departures and oddities that the reader reports.
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
    /// The name by which scripts know it.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.words().0
    }

    /// The sentence for people.
    #[must_use]
    pub fn message(self) -> &'static str {
        self.words().1
    }

    /// Whether strict reading makes it an error.
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
                ("non_ascii_comment", "a comment holds characters outside ASCII")
            }
            Self::DosEof => ("dos_eof", "the end-of-file byte 0x1A at the end is ignored"),
            Self::Bom => ("bom", "the byte-order mark is skipped"),
            Self::Tab => ("tab", "tabs separate values; the standard advises against them"),
            Self::ExtensionMismatch => (
                "extension_mismatch",
                "the file name's number of ports differs from [Number of Ports]",
            ),
            Self::PortCountFromData => (
                "port_count_from_data",
                "the number of ports comes from the data, not from the file name",
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
                ("option_line_supplied", "the option line is missing; the one you gave is used")
            }
            Self::DExponent => ("d_exponent", "an exponent is written with D"),
            Self::NegativeMagnitude => {
                ("negative_magnitude", "a negative magnitude is taken literally")
            }
            Self::TooManyPairs => ("too_many_pairs", "more than four pairs on a line"),
            Self::Rewrapped => {
                ("rewrapped", "data lines are wrapped in other places than the standard's")
            }
            Self::RowsRewrapped => ("rows_rewrapped", "matrix rows are not split after four pairs"),
            Self::Descending => ("descending", "frequencies do not ascend; the points are sorted"),
            Self::DuplicateFrequency => {
                ("duplicate_frequency", "a frequency is repeated; both points are kept")
            }
            Self::NoiseDescending => {
                ("noise_descending", "noise frequencies do not ascend; the rows are sorted")
            }
            Self::NoiseDuplicate => {
                ("noise_duplicate", "a noise frequency is repeated; both rows are kept")
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
                ("ports_keyword_late", "[Number of Ports] does not follow the option line")
            }
            Self::TwoPortOrderIgnored => (
                "two_port_order_ignored",
                "[Two-Port Data Order] is ignored, the file has not two ports",
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
                "a triangle of H- or G-parameters is mirrored as it says, though h12 = -h21 in a reciprocal part",
            ),
        }
    }
}

/// Something the reader had to say about a file it could read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// Which kind.
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
    /// The same, ready to be shown with its source line.
    #[must_use]
    pub fn diagnostic(&self, file: &str) -> Diagnostic {
        let mut shown = Diagnostic::error(self.code.message()).in_file(file);
        shown.severity = Severity::Warning;
        shown.excerpt = Some(self.excerpt.clone());
        shown
    }
}
