//! Arguments of the commands that explain fourphase or help to begin.

use clap::{Args, ValueEnum};
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(super) struct Manual {
    /// A topic, a term of a report, a command or a key; without it the list of topics
    #[arg(value_name = "TOPIC")]
    pub(super) word: Vec<String>,
}

#[derive(Debug, Args)]
pub(super) struct Completions {
    /// The shell
    #[arg(value_enum)]
    pub(super) shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub(super) struct Man {
    /// The folder for the pages
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,
    /// Replace files that exist
    #[arg(long)]
    pub(super) overwrite: bool,
}

#[derive(Debug, Args)]
pub(super) struct Start {
    /// What to describe
    #[arg(value_enum)]
    pub(super) subject: StartSubject,
    /// A folder of Touchstone files, from which names, ports and guesses are filled in
    #[arg(value_name = "FOLDER")]
    pub(super) folder: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum StartSubject {
    /// receiver.toml: a receiver from its parts
    Receiver,
    /// network.toml: parts joined into one file
    Network,
    /// recipe.toml and dies.csv: a lot of dies
    Recipe,
    /// station.toml: many files of a probe station
    Station,
    /// set.toml: an N-port from partial measurements
    Rebuild,
    /// uncertainty.toml: how well files are known
    Uncertainty,
}
