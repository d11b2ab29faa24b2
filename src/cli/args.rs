//! What may stand on the command line.

use super::documentation_args::{Completions, Man, Manual, Start};
use super::numbers::{finite, not_negative, order, vector_difference};
use super::points_argument::Points;
use super::stated_uncertainty::StatedUncertainty;
use crate::network::Port;
use crate::report::{PictureForm, PictureForms};
use crate::splitter::SplitterKind;
use crate::touchstone::{OptionLine, Version};
use crate::units;
use crate::wafer::Shard;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand, ValueEnum};
use num_complex::Complex64;
use std::path::PathBuf;

/// Quadrature balance and image rejection of a receiver from Touchstone files of its parts.
#[derive(Debug, Parser)]
#[command(name = "fourphase", version, max_term_width = 80)]
pub(super) struct Arguments {
    /// Print only data and errors
    #[arg(long, global = true)]
    pub(super) quiet: bool,
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Check files: content, passivity, reciprocity, warnings
    Inspect(Inspect),
    /// Imbalance, losses and image rejection of one coupler, balun or divider
    Splitter(Box<Splitter>),
    /// Image rejection of a whole receiver from the files of its parts
    Downconverter(Downconverter),
    /// Yield, maps and statistics of the dies of a list
    Wafer(Wafer),
    /// A synthetic wafer of any size, for trying `wafer`
    DemoWafer(DemoWafer),
    /// Imbalance and phase error that an image rejection allows
    Tolerance(Tolerance),
    /// Write a file with another parameter, reference impedance, grid, port order or format
    Convert(Box<Convert>),
    /// Solve a network of parts into one file
    Join(Join),
    /// Remove fixtures, pads and interconnects from a measurement
    Deembed(Deembed),
    /// Remove access lines, pads and interconnects from many files of a probe station, with checks
    Station(Station),
    /// One N-port from measurements of some of its ports at a time
    Rebuild(Rebuild),
    /// Differences of two files
    Compare(Compare),
    /// Write a closed-form part as a file
    Component(Component),
    /// LO range, image band and harmonics of a frequency plan
    Plan(Plan),
    /// A commented description to begin with, filled in from a folder of files
    Start(Start),
    /// Every file format, term and command explained
    Manual(Manual),
    /// Completions of the command line for a shell
    Completions(Completions),
    /// Manual pages of all commands, written into a folder
    Man(Man),
}

/// The format of the output.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// Aligned tables as text
    #[default]
    Text,
    /// One JSON document
    Json,
    /// One CSV table
    Csv,
}

/// Options for reading files.
#[derive(Clone, Debug, Args)]
pub(super) struct Reading {
    /// Treat deviations from the Touchstone standard as errors
    #[arg(long)]
    pub(super) strict: bool,
    /// The option line of files that have none, such as "GHz S MA R 50"
    #[arg(long, value_name = "LINE", value_parser = option_line)]
    pub(super) option_line: Option<OptionLine>,
}

/// Options for reading files of passive parts.
#[derive(Clone, Debug, Args)]
pub(super) struct PartReading {
    #[command(flatten)]
    pub(super) reading: Reading,
    /// Accept files with gain, or with angles that are not likely degrees, where a passive part is expected
    #[arg(long)]
    pub(super) accept_active: bool,
}

/// Options for report files.
#[derive(Clone, Debug, Args)]
pub(super) struct Writing {
    /// Also write the report files into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
    /// Replace existing files, and remove those of an earlier run
    #[arg(long)]
    pub(super) overwrite: bool,
}

/// The form of a report's pictures.
#[derive(Clone, Copy, Debug, Args)]
pub(super) struct Drawing {
    /// Write the pictures of --out as svg, png, or both: svg,png
    #[arg(long, value_name = "FORMS", default_value = "png", requires = "out")]
    pub(super) pictures: PictureForms,
}

#[derive(Debug, Args)]
pub(super) struct Inspect {
    /// Touchstone files, or folders that hold them
    #[arg(required = true, value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    /// Include the numbers of the files
    #[arg(long)]
    pub(super) data: bool,
    #[command(flatten)]
    pub(super) reading: Reading,
    #[command(flatten)]
    pub(super) writing: Writing,
}

#[derive(Debug, Args)]
pub(super) struct Downconverter {
    /// Description of the receiver
    #[arg(value_name = "RECEIVER.toml")]
    pub(super) receiver: PathBuf,
    /// Uncertainty of the S-parameters: a description, or magnitude_db=..,phase_deg=..
    #[arg(long, value_name = "FILE.toml|LIST")]
    pub(super) uncertainty: Option<StatedUncertainty>,
    /// Rejections measured with tones, for comparison with the prediction
    #[arg(long, value_name = "TONES.csv")]
    pub(super) measured: Option<PathBuf>,
    /// Number of threads, without effect on the result [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(super) threads: Option<u16>,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) reading: PartReading,
    #[command(flatten)]
    pub(super) writing: Writing,
    #[command(flatten)]
    pub(super) drawing: Drawing,
}

#[derive(Debug, Args)]
pub(super) struct Wafer {
    /// Recipe of the lot; with --combine it is inferred from the shards by default
    #[arg(value_name = "RECIPE.toml", required_unless_present = "combine")]
    pub(super) recipe: Option<PathBuf>,
    /// Write the report into this folder
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
    /// Continue an interrupted run
    #[arg(long)]
    pub(super) resume: bool,
    /// Measure only every N-th row, starting at row K; join all N with --combine
    #[arg(long, value_name = "K/N")]
    pub(super) shard: Option<Shard>,
    /// Join shards that were measured into these folders
    #[arg(long, value_name = "DIR", num_args = 1..)]
    pub(super) combine: Vec<PathBuf>,
    /// Also write all dies, and every point of each, as tables for query engines
    #[arg(long, value_enum, value_name = "FORM")]
    pub(super) points: Option<Points>,
    /// Number of threads, without effect on the result [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(super) threads: Option<u16>,
    /// Replace an earlier report, and an unfinished run of other inputs
    #[arg(long)]
    pub(super) overwrite: bool,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) reading: PartReading,
    #[command(flatten)]
    pub(super) drawing: Drawing,
}

#[derive(Debug, Args)]
pub(super) struct DemoWafer {
    /// Folder to create for recipe, list of dies and files
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,
    /// Number of dies; wafers are filled one after the other
    #[arg(long, value_name = "N", default_value_t = 65)]
    pub(super) dies: u32,
    /// Die pitch, mm
    #[arg(long, value_name = "X,Y", default_value = "15,14", value_parser = pitch)]
    pub(super) die_pitch_mm: (f64, f64),
    /// Frequencies in each file, from 26 to 32 GHz
    #[arg(long, value_name = "N", default_value_t = 61, value_parser = clap::value_parser!(u16).range(2..=10001))]
    pub(super) points: u16,
    /// Seed of the deviations
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) seed: u64,
    /// Omit the outlier, the retest, the damaged and the missing file
    #[arg(long)]
    pub(super) no_faults: bool,
    /// Replace existing files
    #[arg(long)]
    pub(super) overwrite: bool,
}

#[derive(Debug, Args)]
pub(super) struct Splitter {
    /// The part's Touchstone file
    #[arg(value_name = "FILE")]
    pub(super) file: PathBuf,
    /// Kind of the part; default: inferred from the data
    #[arg(long, value_parser = splitter_kind())]
    pub(super) kind: Option<SplitterKind>,
    /// Input port
    #[arg(long, value_name = "P", value_parser = port)]
    pub(super) input: Option<Port>,
    /// Output ports, in order
    #[arg(long, value_name = "A,B", value_delimiter = ',', value_parser = port)]
    pub(super) outputs: Vec<Port>,
    /// Isolated port
    #[arg(long, value_name = "P", value_parser = port)]
    pub(super) isolated: Option<Port>,
    /// The band to judge, such as 27GHz..31GHz
    #[arg(long, value_name = "LO..HI", value_parser = units::parse_frequency_range_hz)]
    pub(super) band: Option<(f64, f64)>,
    /// Nominal phase of the second output minus the first, degrees
    #[arg(long, value_name = "D", allow_negative_numbers = true, value_parser = finite)]
    pub(super) nominal_deg: Option<f64>,
    /// Change to these reference impedances first: one, or one per port; 40+10j is complex
    #[arg(
        long,
        value_name = "Z",
        value_delimiter = ',',
        allow_hyphen_values = true,
        value_parser = units::parse_complex
    )]
    pub(super) reference_ohm: Vec<Complex64>,
    /// Terminate a port by ohms or a one-port file instead of its reference impedance; once for each port
    #[arg(long, value_name = "P=Z|FILE", value_parser = load)]
    pub(super) load: Vec<GivenLoad>,
    /// Minimum image rejection over the band
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = not_negative)]
    pub(super) require_image_rejection_db: Option<f64>,
    /// Minimum common-mode rejection of a balun over the band
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = not_negative)]
    pub(super) require_common_mode_rejection_db: Option<f64>,
    /// Maximum magnitude of the phase error
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = not_negative)]
    pub(super) require_phase_error_deg: Option<f64>,
    /// Maximum magnitude of the amplitude imbalance
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = not_negative)]
    pub(super) require_amplitude_imbalance_db: Option<f64>,
    /// Uncertainty of the S-parameters: a description, or magnitude_db=..,phase_deg=..
    #[arg(long, value_name = "FILE.toml|LIST")]
    pub(super) uncertainty: Option<StatedUncertainty>,
    /// Number of threads, without effect on the result [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(super) threads: Option<u16>,
    /// Also write the overview picture
    #[arg(long, value_name = "FILE.png|FILE.svg", value_parser = picture)]
    pub(super) plot: Option<PathBuf>,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) reading: PartReading,
    #[command(flatten)]
    pub(super) writing: Writing,
    #[command(flatten)]
    pub(super) drawing: Drawing,
}

#[derive(Debug, Args)]
pub(super) struct Tolerance {
    /// The required image rejection
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = finite)]
    pub(super) image_rejection_db: f64,
    /// Give the phase error allowed at this amplitude imbalance
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = not_negative)]
    pub(super) amplitude_imbalance_db: Option<f64>,
    /// Give the amplitude imbalance allowed at this phase error
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = not_negative)]
    pub(super) phase_error_deg: Option<f64>,
    /// Also write the chart of the curves
    #[arg(long, value_name = "FILE.png|FILE.svg", value_parser = picture)]
    pub(super) plot: Option<PathBuf>,
    /// Replace existing files
    #[arg(long)]
    pub(super) overwrite: bool,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
}

/// Options for writing a Touchstone file.
#[derive(Clone, Debug, Args)]
pub(super) struct FileForm {
    /// Number format
    #[arg(long, value_enum, value_name = "FORMAT", ignore_case = true)]
    pub(super) number_format: Option<NumberForm>,
    /// The unit of the frequencies
    #[arg(long, visible_alias = "unit", value_enum, value_name = "UNIT", ignore_case = true)]
    pub(super) frequency_unit: Option<Unit>,
    /// The Touchstone version of the file: 1, 1.1, 2.0 or 2.1
    #[arg(long, value_name = "VERSION", value_parser = version)]
    pub(super) touchstone: Option<Version>,
    /// Replace an existing file
    #[arg(long)]
    pub(super) overwrite: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum NumberForm {
    /// Real and imaginary part
    Ri,
    /// Magnitude and degrees
    Ma,
    /// Decibels and degrees
    Db,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Unit {
    Hz,
    #[value(name = "kHz")]
    Khz,
    #[value(name = "MHz")]
    Mhz,
    #[value(name = "GHz")]
    Ghz,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Parameter {
    S,
    Z,
    Y,
    H,
    G,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum WaveDefinitionName {
    /// Power waves (Kurokawa 1965)
    Kurokawa,
    /// Pseudo-waves (Marks and Williams 1992)
    MarksWilliams,
    /// Waves of the line's own impedance
    LineImpedance,
}

#[derive(Debug, Args)]
pub(super) struct Convert {
    /// File to read
    #[arg(value_name = "IN")]
    pub(super) input: PathBuf,
    /// File to write
    #[arg(value_name = "OUT")]
    pub(super) output: PathBuf,
    /// The parameter to write
    #[arg(long, value_enum, ignore_case = true)]
    pub(super) parameter: Option<Parameter>,
    /// Change to these reference impedances: one, or one per port
    #[arg(
        long,
        value_name = "Z",
        value_delimiter = ',',
        allow_hyphen_values = true,
        value_parser = units::parse_complex
    )]
    pub(super) reference_ohm: Vec<Complex64>,
    /// The reference impedance of the data of IN where its file cannot hold it: 40+10j
    #[arg(
        long,
        value_name = "Z",
        value_delimiter = ',',
        allow_hyphen_values = true,
        value_parser = units::parse_complex
    )]
    pub(super) file_reference_ohm: Vec<Complex64>,
    /// Wave definition of the file, for complex reference impedances
    #[arg(long, value_enum, default_value = "kurokawa", requires = "file_reference_ohm")]
    pub(super) wave_definition: WaveDefinitionName,
    /// Ports to keep, in their new order; the others are terminated by their reference impedances
    #[arg(long, value_name = "P,P,..", value_delimiter = ',', value_parser = port)]
    pub(super) ports: Vec<Port>,
    /// Interpolate to this grid, such as 27GHz..31GHz:401
    #[arg(long, value_name = "GRID", value_parser = grid)]
    pub(super) grid: Option<Grid>,
    /// Keep only the points of this band
    #[arg(long, value_name = "LO..HI", value_parser = units::parse_frequency_range_hz)]
    pub(super) band: Option<(f64, f64)>,
    /// Convert two ports to one differential and one common port; may be repeated
    #[arg(long, value_name = "P,N", value_parser = pair)]
    pub(super) pairs: Vec<(Port, Port)>,
    /// Convert a mixed-mode file to single-ended ports
    #[arg(long)]
    pub(super) single_ended: bool,
    /// Set singular values above 1 to 1, and report by how much entries change
    #[arg(long)]
    pub(super) make_passive: bool,
    #[command(flatten)]
    pub(super) form: FileForm,
    #[command(flatten)]
    pub(super) reading: Reading,
}

#[derive(Debug, Args)]
pub(super) struct Join {
    /// The description of the network
    #[arg(value_name = "NETWORK.toml")]
    pub(super) network: PathBuf,
    /// File to write
    #[arg(long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Frequencies, in place of those of the description
    #[arg(long, value_name = "GRID", value_parser = grid)]
    pub(super) grid: Option<Grid>,
    #[command(flatten)]
    pub(super) form: FileForm,
    #[command(flatten)]
    pub(super) reading: PartReading,
}

#[derive(Debug, Args)]
pub(super) struct Rebuild {
    /// The files, their ports and the terminations of the others
    #[arg(value_name = "SET.toml")]
    pub(super) set: PathBuf,
    /// File to write
    #[arg(long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Also write the covariance of its entries, for use as a source of uncertainty
    #[arg(long, value_name = "FILE.csv")]
    pub(super) covariance: Option<PathBuf>,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) form: FileForm,
    #[command(flatten)]
    pub(super) reading: PartReading,
}

#[derive(Debug, Args)]
pub(super) struct Station {
    /// The files, what to remove from them, and what to check
    #[arg(value_name = "STATION.toml")]
    pub(super) recipe: PathBuf,
    /// Write the files and the report into this folder; without it only the checks are made
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
    /// Replace existing files
    #[arg(long)]
    pub(super) overwrite: bool,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) reading: PartReading,
}

#[derive(Debug, Args)]
pub(super) struct Deembed {
    /// File of the measurement
    #[arg(value_name = "IN")]
    pub(super) input: PathBuf,
    /// File to write
    #[arg(long, value_name = "FILE")]
    pub(super) output: PathBuf,
    /// Known two-port before port 1; the signal goes from its port 1 to 2
    #[arg(long, value_name = "A.s2p")]
    pub(super) left: Option<PathBuf>,
    /// Known two-port after port 2; the signal goes from its port 1 to 2
    #[arg(long, value_name = "B.s2p")]
    pub(super) right: Option<PathBuf>,
    /// Known 2N-port: ports 1..N outside, N+1..2N towards the part
    #[arg(long, value_name = "F", conflicts_with_all = ["left", "right", "open", "short", "thru"])]
    pub(super) fixture: Option<PathBuf>,
    /// The pads and interconnects, left open
    #[arg(long, value_name = "O", requires = "short", conflicts_with_all = ["left", "right", "thru"])]
    pub(super) open: Option<PathBuf>,
    /// The pads and interconnects, shorted
    #[arg(long, value_name = "S", requires = "open")]
    pub(super) short: Option<PathBuf>,
    /// A 2x-thru, whose halves are removed
    #[arg(long, value_name = "T", conflicts_with_all = ["left", "right"])]
    pub(super) thru: Option<PathBuf>,
    /// What the thru is made of; by default line
    #[arg(long, value_enum)]
    pub(super) split: Option<Split>,
    /// Set singular values above 1 to 1, and report the maximum change of an entry
    #[arg(long)]
    pub(super) make_passive: bool,
    #[command(flatten)]
    pub(super) form: FileForm,
    #[command(flatten)]
    pub(super) reading: Reading,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Split {
    /// Two equal lengths of uniform line
    Line,
    /// A pad to ground and a series interconnect on each side
    Pad,
}

#[derive(Debug, Args)]
pub(super) struct Compare {
    /// The reference file
    #[arg(value_name = "A")]
    pub(super) first: PathBuf,
    /// The file that is compared with it
    #[arg(value_name = "B")]
    pub(super) second: PathBuf,
    /// Maximum vector difference of any entry, linear
    #[arg(long, value_name = "X", allow_negative_numbers = true, value_parser = vector_difference)]
    pub(super) require_vector: Option<f64>,
    /// Also write a picture of both
    #[arg(long, value_name = "FILE.png|FILE.svg", value_parser = picture)]
    pub(super) plot: Option<PathBuf>,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) reading: Reading,
    #[command(flatten)]
    pub(super) writing: Writing,
    #[command(flatten)]
    pub(super) drawing: Drawing,
}

#[derive(Debug, Args)]
#[command(after_help = "The kinds and their parameters: fourphase component list")]
pub(super) struct Component {
    /// Kind of component, such as wilkinson; 'list' shows all kinds and their parameters
    #[arg(value_name = "KIND")]
    pub(super) kind: String,
    /// Parameters, such as center_ghz=29 loss_db=0.3
    #[arg(value_name = "NAME=VALUE")]
    pub(super) parameters: Vec<String>,
    /// Frequencies, such as 24GHz..34GHz:101
    #[arg(long, value_name = "GRID", value_parser = grid)]
    pub(super) grid: Option<Grid>,
    /// File to write; without it only the dimensions are printed
    #[arg(long, value_name = "FILE")]
    pub(super) output: Option<PathBuf>,
    /// Compute dimensions on this substrate: relative_permittivity=12.9,height_um=100
    #[arg(long, value_name = "NAME=VALUE,..", value_delimiter = ',')]
    pub(super) substrate: Vec<String>,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) form: FileForm,
}

#[derive(Debug, Args)]
pub(super) struct Plan {
    /// The RF band, such as 27GHz..31GHz
    #[arg(long, value_name = "LO..HI", value_parser = units::parse_frequency_range_hz)]
    pub(super) rf: (f64, f64),
    /// The IF band, such as 0.5GHz..1.5GHz
    #[arg(long = "if", value_name = "LO..HI", value_parser = units::parse_frequency_range_hz)]
    pub(super) intermediate: (f64, f64),
    /// LO at the mixers over LO at the input; for a chain the orders of its stages, such as 3,2
    #[arg(long, value_name = "N[,N..]", value_delimiter = ',', default_value = "1", value_parser = order)]
    pub(super) multiplication: Vec<u32>,
    /// Output format
    #[arg(long, value_enum, default_value_t)]
    pub(super) format: Format,
}

/// Frequencies in hertz. A type of its own, since clap takes a list for a repeated option.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Grid(pub(super) Vec<f64>);

fn grid(text: &str) -> Result<Grid, units::UnitError> {
    units::parse_frequency_grid_hz(text).map(Grid)
}

fn pair(text: &str) -> Result<(Port, Port), String> {
    let (plus, minus) = text.split_once(',').ok_or("expected two ports, such as 2,3")?;
    Ok((port(plus)?, port(minus)?))
}

fn pitch(text: &str) -> Result<(f64, f64), String> {
    let read = |text: &str| text.trim().parse::<f64>().ok().filter(|mm| (0.5..=60.0).contains(mm));
    let pair = text.split_once(',').and_then(|(x, y)| Some((read(x)?, read(y)?)));
    pair.ok_or_else(|| "expected two numbers from 0.5 to 60, such as 2.4,2.0".to_owned())
}

fn version(text: &str) -> Result<Version, String> {
    match text {
        "1" | "1.0" => Ok(Version::V1_0),
        "1.1" => Ok(Version::V1_1),
        "2" | "2.0" => Ok(Version::V2_0),
        "2.1" => Ok(Version::V2_1),
        _ => Err("expected 1, 1.1, 2.0 or 2.1".to_owned()),
    }
}

/// The kinds of splitters by name, each with its help.
fn splitter_kind() -> impl TypedValueParser<Value = SplitterKind> {
    let help = |kind| match kind {
        SplitterKind::Quadrature => "90 degrees: a coupler or hybrid",
        SplitterKind::Antiphase => "180 degrees: a balun",
        SplitterKind::Inphase => "0 degrees: a divider",
    };
    let values = SplitterKind::ALL.map(|kind| PossibleValue::new(kind.name()).help(help(kind)));
    PossibleValuesParser::new(values)
        .try_map(|name| SplitterKind::from_name(&name).ok_or("expected the kind of a splitter"))
}

/// `P=Z` or `P=FILE`.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct GivenLoad {
    pub(super) port: Port,
    pub(super) load: OhmsOrFile,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum OhmsOrFile {
    Ohms(Complex64),
    File(PathBuf),
}

fn port(text: &str) -> Result<Port, String> {
    let number = text.trim().parse::<usize>().ok().and_then(Port::from_number);
    number.ok_or_else(|| "expected a port number, from 1".to_owned())
}

fn load(text: &str) -> Result<GivenLoad, String> {
    let (port_text, load) =
        text.split_once('=').ok_or("expected a form such as 4=45+5j or 4=load.s1p")?;
    let load = match units::parse_complex(load) {
        Ok(ohms) if ohms.re < 0.0 => {
            return Err("a load's resistance cannot be negative".to_owned());
        }
        Ok(ohms) => OhmsOrFile::Ohms(ohms),
        Err(_) => OhmsOrFile::File(PathBuf::from(load)),
    };
    Ok(GivenLoad { port: port(port_text)?, load })
}

fn picture(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    match PictureForm::of_name(&path) {
        Some(_) => Ok(path),
        None => Err("expected a name that ends in .png or .svg".to_owned()),
    }
}

fn option_line(text: &str) -> Result<OptionLine, String> {
    text.parse().map_err(|problem: crate::touchstone::Problem| problem.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    #[test]
    fn the_definition_is_sound() {
        Arguments::command().debug_assert();
    }
}
