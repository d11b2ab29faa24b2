//! Errors of jobs.

use crate::component::ComponentError;
use crate::description::{DescriptionError, Recipe};
use crate::diagnostic::Diagnostic;
use crate::downconverter::ReceiverError;
use crate::measurement::{MeasurementError, StandardFault};
use crate::network::NetworkError;
use crate::splitter::SplitterError;
use crate::touchstone::{PassiveFileError, ReadError, WriteError};
use crate::wafer::{JournalError, SettingsError, Shard};
use std::path::PathBuf;

/// The reason for which a job could not be done. A die that cannot be analysed is a result, not an
/// error.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BatchError {
    /// An error in the recipe, the list of dies, the receiver or its uncertainty.
    #[error(transparent)]
    Description(#[from] DescriptionError),
    /// The journal cannot be used.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// A Touchstone file cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A receiver cannot be solved.
    #[error("{source}")]
    Receiver {
        /// Its description, or the recipe that names it.
        file: PathBuf,
        /// The error behind it.
        source: ReceiverError,
    },
    /// An uncertainty cannot be propagated.
    #[error("{source}")]
    Measurement {
        /// The file, description or recipe concerned.
        file: PathBuf,
        /// The error behind it.
        source: MeasurementError,
    },
    /// A splitter cannot be analysed as requested.
    #[error("{source}")]
    Splitter {
        /// Its file.
        file: PathBuf,
        /// The error behind it.
        source: SplitterError,
    },
    /// A file cannot be that of a passive part.
    #[error("{}: {source}", file.display())]
    NotPassive {
        /// The file.
        file: PathBuf,
        /// The finding that contradicts it.
        source: PassiveFileError,
    },
    /// A standard of the station is not of the expected kind.
    #[error("{}: {source}", file.display())]
    Standard {
        /// Its file.
        file: PathBuf,
        /// The finding that contradicts it.
        source: StandardFault,
    },
    /// A standard of the station whose error was reported before.
    #[error("its standard {} cannot be used", standard.display())]
    UnusableStandard {
        /// The standard's file.
        standard: PathBuf,
    },
    /// A load's file has more ports than one.
    #[error("a load must have 1 port, {} has {ports}", file.display())]
    LoadPorts {
        /// The load's file.
        file: PathBuf,
        /// Number of ports.
        ports: usize,
    },
    /// A file's network cannot be processed.
    #[error("{source}")]
    Network {
        /// The file.
        file: PathBuf,
        /// The error behind it.
        source: NetworkError,
    },
    /// A file name for another number of ports than the network has.
    #[error(
        "{} is a name for {named} ports, the network has {ports}; call it .s{ports}p or .ts",
        file.display()
    )]
    PortsInName {
        /// The file to write.
        file: PathBuf,
        /// The number of ports in the name.
        named: usize,
        /// The number of ports of the network.
        ports: usize,
    },
    /// A file whose name is not text, so that no other name can be derived from it.
    #[error(
        "the name of {} is not UTF-8, and the recipe derives other names from it; rename it",
        .0.display()
    )]
    NameNotText(PathBuf),
    /// A network that cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// LO power is limited, but its source power is not given.
    #[error(
        "lo_power_dbm_min needs the LO power at the receiver's input; set lo_power_dbm in its \
         [frequency_plan]"
    )]
    NoLoPower {
        /// The recipe.
        recipe: PathBuf,
    },
    /// A block or pair that the receiver does not have.
    #[error(
        "[what_if] ideal must name blocks or pairs of the receiver, found '{name}'; there are {}",
        known.join(", ")
    )]
    NoContributor {
        /// The recipe.
        recipe: PathBuf,
        /// The name found.
        name: String,
        /// The valid names.
        known: Vec<String>,
    },
    /// Blocks of different dies that cannot be one receiver.
    #[error("a receiver assembled from different dies: {message}")]
    Assembled {
        /// The reason.
        message: String,
    },
    /// A file that was read before cannot be read again.
    #[error("cannot read {} again: {source}", path.display())]
    Again {
        /// The file.
        path: PathBuf,
        /// The error behind it.
        source: std::io::Error,
    },
    /// The list of dies was changed while its dies were measured.
    #[error(
        "{} has changed while its dies were measured; the rows measured since are discarded",
        .0.display()
    )]
    ListChanged(PathBuf),
    /// The journal's folder cannot be created.
    #[error("cannot create the folder {}: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// The error behind it.
        source: std::io::Error,
    },
    /// The absolute path of the recipe cannot be found.
    #[error("cannot find the absolute path of {}: {source}", path.display())]
    Place {
        /// The recipe.
        path: PathBuf,
        /// The error behind it.
        source: std::io::Error,
    },
    /// A die's result cannot be written down.
    #[error("cannot write the result of a die: {0}")]
    Record(#[from] serde_json::Error),
    /// No journal is given to be joined.
    #[error("expected the journals of all shards of a run, found none")]
    NoShards,
    /// A journal does not name its shard.
    #[error("{} is not a shard of a run", .0.display())]
    NotAShard(PathBuf),
    /// A shard was measured with other inputs or settings than the present ones.
    #[error("{} was measured with other inputs or settings", .0.display())]
    OtherShard(PathBuf),
    /// A shard is given twice.
    #[error("duplicate shard {0}")]
    ShardTwice(Shard),
    /// A shard is not given.
    #[error("shard {0} is missing")]
    ShardMissing(Shard),
    /// Shards of runs that were split into different numbers of shards.
    #[error("the shards are of runs that were split differently")]
    SplitDifferently,
    /// The recipe that the shards name is not there.
    #[error("the recipe of these shards is not where it was when they were measured")]
    RecipeGone,
    /// A shard with rows that are not measured yet.
    #[error("{} holds {done} of the {rows} rows of shard {shard}; measure the others first", path.display())]
    Unfinished {
        /// The journal.
        path: PathBuf,
        /// The shard.
        shard: Shard,
        /// Number of measured rows.
        done: u64,
        /// Rows of the shard.
        rows: u64,
    },
    /// An invalid number of dies of a synthetic lot.
    #[error("a synthetic lot must have 1 to {most} dies, found {found}")]
    SyntheticDies {
        /// The maximum number.
        most: u32,
        /// The number found.
        found: u32,
    },
    /// An invalid die size of a synthetic lot.
    #[error("the die pitch of a synthetic lot must be {least} to {most} mm, found {found}")]
    SyntheticPitch {
        /// The minimum pitch, mm.
        least: f64,
        /// The maximum pitch, mm.
        most: f64,
        /// The pitch found, mm.
        found: f64,
    },
    /// Dies so large that none is on a wafer.
    #[error("no die of this size fits on a wafer of {diameter_mm} mm")]
    NoSyntheticDie {
        /// The wafer's diameter.
        diameter_mm: f64,
    },
    /// An invalid setting of a lot.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// A synthetic part cannot be made.
    #[error(transparent)]
    Component(#[from] ComponentError),
    /// A synthetic network cannot be made.
    #[error(transparent)]
    SyntheticNetwork(#[from] NetworkError),
}

impl BatchError {
    pub(super) fn receiver(recipe: &Recipe, source: ReceiverError) -> Self {
        Self::Receiver { file: recipe.path().to_owned(), source }
    }

    /// The error for display, with its source line.
    #[must_use]
    pub fn diagnostic(&self) -> Diagnostic {
        let shown = || Diagnostic::error(self.to_string());
        let diagnostic = match self {
            Self::Description(error) => error.diagnostic(),
            Self::Read(error) => error.diagnostic(),
            Self::Receiver { file, .. }
            | Self::Splitter { file, .. }
            | Self::Network { file, .. }
            | Self::Measurement { file, .. } => shown().in_file(file.display().to_string()),
            Self::NoLoPower { recipe } | Self::NoContributor { recipe, .. } => {
                shown().in_file(recipe.display().to_string())
            }
            _ => shown(),
        };
        match self.remedy() {
            Some(remedy) => diagnostic.with_help(remedy),
            None => diagnostic,
        }
    }

    /// The correction to make, if its message does not state it.
    fn remedy(&self) -> Option<&'static str> {
        Some(match self {
            Self::Journal(error) => return error.remedy(),
            Self::Folder { .. } => "choose another folder",
            Self::NotAShard(_) => "name the folders in which shards were measured",
            Self::OtherShard(_) => "measure the shard again, or restore the inputs and settings",
            Self::ShardTwice(_) => "name the folder of each shard once",
            Self::ShardMissing(_) => "measure it, or name its folder as well",
            Self::SplitDifferently => "name the folders of one run only",
            _ => return None,
        })
    }
}
