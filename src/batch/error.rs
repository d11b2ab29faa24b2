//! Why a job could not be done.

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

/// Why a job could not be done. A die that cannot be measured is not among these: it is a result.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BatchError {
    /// The recipe, the list of dies, the receiver or its uncertainty is described wrongly.
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
        /// What it is of: a file, a description or a recipe.
        file: PathBuf,
        /// The error behind it.
        source: MeasurementError,
    },
    /// A splitter cannot be judged as asked.
    #[error("{source}")]
    Splitter {
        /// Its file.
        file: PathBuf,
        /// The error behind it.
        source: SplitterError,
    },
    /// A file cannot be of the passive part that it is said to be.
    #[error("{}: {source}", file.display())]
    NotPassive {
        /// The file.
        file: PathBuf,
        /// What speaks against it.
        source: PassiveFileError,
    },
    /// A standard of the station is not what it is said to be.
    #[error("{}: {source}", file.display())]
    Standard {
        /// Its file.
        file: PathBuf,
        /// What speaks against it.
        source: StandardFault,
    },
    /// A standard of the station that an earlier error is about.
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
        /// Its ports.
        ports: usize,
    },
    /// A file's network cannot be worked on.
    #[error("{source}")]
    Network {
        /// The file.
        file: PathBuf,
        /// The error behind it.
        source: NetworkError,
    },
    /// A name for another number of ports than the network has.
    #[error(
        "{} is a name for {named} ports, the network has {ports}; call it .s{ports}p or .ts",
        file.display()
    )]
    PortsInName {
        /// The file to write.
        file: PathBuf,
        /// The ports that its name says.
        named: usize,
        /// Those of the network.
        ports: usize,
    },
    /// A file whose name is no text, so that no other name can be made from it.
    #[error(
        "the name of {} is not UTF-8, so that no name in the recipe can be filled from it; rename it",
        .0.display()
    )]
    NameNotText(PathBuf),
    /// A network that cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// LO power is limited and its source is not given.
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
        /// Names that it could be.
        known: Vec<String>,
    },
    /// Blocks of different dies make no receiver.
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
    /// The journal's folder cannot be made.
    #[error("cannot make the folder {}: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// The error behind it.
        source: std::io::Error,
    },
    /// The operating system refuses.
    #[error("cannot find the place of {}: {source}", path.display())]
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
    /// A journal does not say which shard of a run it is.
    #[error("{} is no shard of a run", .0.display())]
    NotAShard(PathBuf),
    /// A shard was measured with other inputs or settings than those of now.
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
    /// A shard of which rows are still to be measured.
    #[error("{} holds {done} of the {rows} rows of shard {shard}; measure the others first", path.display())]
    Unfinished {
        /// The journal.
        path: PathBuf,
        /// The shard.
        shard: Shard,
        /// Rows that are done.
        done: u64,
        /// Rows of the shard.
        rows: u64,
    },
    /// A number of dies that no synthetic lot has.
    #[error("a synthetic lot must have 1 to {most} dies, found {found}")]
    SyntheticDies {
        /// The largest number.
        most: u32,
        /// The number found.
        found: u32,
    },
    /// A die size that no synthetic lot has.
    #[error("the die pitch of a synthetic lot must be {least} to {most} mm, found {found}")]
    SyntheticPitch {
        /// The smallest pitch, mm.
        least: f64,
        /// The largest pitch, mm.
        most: f64,
        /// The pitch found, mm.
        found: f64,
    },
    /// Dies of which not one lies on a wafer.
    #[error("no die of this size fits on a wafer of {diameter_mm} mm")]
    NoSyntheticDie {
        /// The wafer's diameter.
        diameter_mm: f64,
    },
    /// A setting of a lot that cannot be.
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

    /// The same, ready to be shown with its source line.
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

    /// What to do about it, where its message does not say.
    fn remedy(&self) -> Option<&'static str> {
        Some(match self {
            Self::Journal(error) => return error.remedy(),
            Self::Folder { .. } => "choose another folder",
            Self::NotAShard(_) => "name the folders in which shards were measured",
            Self::OtherShard(_) => {
                "measure the shard again, or put inputs and settings back as they were"
            }
            Self::ShardTwice(_) => "name the folder of each shard once",
            Self::ShardMissing(_) => "measure it, or name its folder as well",
            Self::SplitDifferently => "name the folders of one run only",
            _ => return None,
        })
    }
}
