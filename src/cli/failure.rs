//! Whatever stops a command, in one shape.

use crate::batch::BatchError;
use crate::component::ComponentError;
use crate::description::{DescriptionError, DescriptionProblem};
use crate::diagnostic::Diagnostic;
use crate::measurement::MeasurementError;
use crate::network::NetworkError;
use crate::plot::PlotError;
use crate::report::{FilesError, PublishError};
use crate::splitter::{RoleToGive, SplitterError};
use crate::touchstone::{PassiveFileError, ReadError, WriteError};
use crate::wafer::JournalError;
use std::path::PathBuf;

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
pub(super) enum Failure {
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error("{source}")]
    Mislabelled { file: PathBuf, source: PassiveFileError },
    #[error("{source}")]
    Network { file: PathBuf, source: NetworkError },
    #[error(transparent)]
    Description(#[from] DescriptionError),
    #[error("{source}")]
    Measurement { file: PathBuf, source: MeasurementError },
    #[error(transparent)]
    Batch(BatchError),
    #[error(transparent)]
    Files(FilesError),
    #[error(transparent)]
    Component(#[from] ComponentError),
    #[error(transparent)]
    Write(#[from] WriteError),
    #[error("{source}")]
    Splitter { file: PathBuf, source: SplitterError },
    #[error(transparent)]
    Publish(#[from] PublishError),
    #[error(transparent)]
    Plot(#[from] PlotError),
    #[error("cannot write to standard output: {0}")]
    Output(#[from] std::io::Error),
    #[error("cannot make the report: {0}")]
    Json(#[from] serde_json::Error),
    #[error("cannot make the table: {0}")]
    Csv(#[from] csv::Error),
    #[error("{0}")]
    Usage(String),
}

impl From<FilesError> for Failure {
    /// What must not be written keeps the help that it has elsewhere.
    fn from(error: FilesError) -> Self {
        match error {
            FilesError::Publish(source) => Self::Publish(source),
            other => Self::Files(other),
        }
    }
}

impl From<BatchError> for Failure {
    /// Faults that other commands meet too keep the help that they have there.
    fn from(error: BatchError) -> Self {
        match error {
            BatchError::Read(source) => Self::Read(source),
            BatchError::Description(source) => Self::Description(source),
            BatchError::Splitter { file, source } => Self::Splitter { file, source },
            BatchError::Measurement { file, source } => Self::Measurement { file, source },
            other => Self::Batch(other),
        }
    }
}

impl Failure {
    pub(super) fn diagnostic(&self) -> Diagnostic {
        let shown = Diagnostic::error(self.to_string());
        match self {
            Self::Read(error) => error.diagnostic(),
            Self::Description(error) => match error.problem() {
                DescriptionProblem::MixedMode { .. } => {
                    error.diagnostic().with_help(MIXED_MODE_HELP)
                }
                DescriptionProblem::NotPassive { .. } => error.diagnostic().with_help(
                    "correct the file or its option line; where the file is right, add active = true \
                     to the block, or give --accept-active",
                ),
                DescriptionProblem::NoGrid => {
                    error.diagnostic().with_help("add grid = \"24GHz..34GHz:101\", or give --grid")
                }
                _ => error.diagnostic(),
            },
            Self::Batch(error) => batch_diagnostic(error),
            Self::Component(ComponentError::UnknownKind { .. }) => {
                shown.with_help("'fourphase component list' shows their ports and parameters")
            }
            Self::Mislabelled { file, .. } => shown
                .in_file(file.display().to_string())
                .with_help("correct the file or its option line"),
            Self::Network { file, source } => {
                network_diagnostic(source, shown.in_file(file.display().to_string()))
            }
            Self::Splitter { file, source } => {
                splitter_diagnostic(source, shown.in_file(file.display().to_string()))
            }
            Self::Measurement { file, source } => {
                let shown = shown.in_file(file.display().to_string());
                match source {
                    MeasurementError::Missing { .. } => shown.with_help(
                        "measure these two ports together; where the part is the same in another \
                         order of its ports, 'symmetric' may say it",
                    ),
                    MeasurementError::Splitter(source) => splitter_diagnostic(source, shown),
                    MeasurementError::Network(NetworkError::OutsideData { .. }) => shown.with_help(
                        "the first measurement sets the frequencies; put the narrowest first",
                    ),
                    _ => shown,
                }
            }
            Self::Publish(PublishError::Exists(_)) => {
                shown.with_help("give --overwrite to replace it")
            }
            Self::Publish(PublishError::InUse(_)) => {
                shown.with_help("wait until it has ended, or choose another folder")
            }
            Self::Publish(PublishError::NotAFile(_)) => {
                shown.with_help("move it away, or choose another name or folder")
            }
            Self::Publish(
                PublishError::Input(_)
                | PublishError::Twice(_)
                | PublishError::NameTooLong(_)
                | PublishError::Outside { .. }
                | PublishError::AmongInputs(_),
            ) => shown.with_help("choose another name or folder"),
            Self::Publish(PublishError::OtherReport(_)) => {
                shown.with_help("choose another folder, or give --overwrite to replace the report")
            }
            Self::Publish(PublishError::Io { source, .. }) => {
                shown.with_help(match source.kind() {
                    std::io::ErrorKind::AlreadyExists | std::io::ErrorKind::NotADirectory => {
                        "a file has the name of the folder; choose another"
                    }
                    _ => "check the folder, its permissions and the space left",
                })
            }
            _ => shown,
        }
    }
}

fn network_diagnostic(source: &NetworkError, shown: Diagnostic) -> Diagnostic {
    match source {
        NetworkError::MixedMode => shown.with_help(MIXED_MODE_HELP),
        NetworkError::OutsideData { .. } => shown.with_help("data are not extrapolated"),
        NetworkError::UnequalModes => shown.with_help(
            "convert each mixed-mode file first: fourphase convert IN OUT --single-ended",
        ),
        NetworkError::EmptyBand { .. } => {
            shown.with_help("--grid LO..HI:POINTS interpolates between points")
        }
        _ => shown,
    }
}

fn splitter_diagnostic(source: &SplitterError, shown: Diagnostic) -> Diagnostic {
    if let Some(options) = options_for(source.roles_to_give()) {
        return shown.with_help(format!("give {options}"));
    }
    match source {
        SplitterError::Network(NetworkError::MixedMode) => shown.with_help(MIXED_MODE_HELP),
        SplitterError::BandOutsideData { .. } => {
            shown.with_help("choose a --band inside the data; data are not extrapolated")
        }
        SplitterError::WrongRequirement { kind, .. } => {
            let option = kind.rejection().name().replace('_', "-");
            shown.with_help(format!("use --require-{option}"))
        }
        SplitterError::NoSignal { .. } => shown.with_help("check --input, --outputs and --band"),
        _ => shown,
    }
}

fn batch_diagnostic(error: &BatchError) -> Diagnostic {
    let shown = error.diagnostic();
    match error {
        BatchError::Journal(JournalError::Exists(_)) => {
            shown.with_help("give --resume to resume it, or remove the journal to start again")
        }
        BatchError::Journal(JournalError::OtherRun(_)) => shown.with_help(
            "choose another folder for --out, or give --overwrite without --resume to start again \
             here: the results of the other run are lost",
        ),
        BatchError::Journal(JournalError::NotAJournal(_)) => {
            shown.with_help("move the file away, or choose another folder for --out")
        }
        BatchError::Journal(JournalError::Io { source, .. })
            if source.kind() != std::io::ErrorKind::NotFound =>
        {
            shown.with_help("once there is space and permission, --resume continues the run")
        }
        BatchError::NotPassive { .. } => shown
            .with_help("correct the file or its option line; --accept-active takes it as it is"),
        BatchError::ListChanged(_) => shown.with_help("give the same command again"),
        BatchError::Folder { .. } => shown.with_help("choose another folder for --out"),
        BatchError::RecipeGone => shown.with_help("name it: wafer RECIPE.toml --combine .."),
        BatchError::Unfinished { shard, .. } => {
            shown.with_help(format!("resume it with --shard {shard} --resume"))
        }
        _ => shown,
    }
}

const MIXED_MODE_HELP: &str = "convert it first: fourphase convert IN OUT --single-ended";

/// The options that give roles of a splitter, in a sentence.
fn options_for(roles: &[RoleToGive]) -> Option<String> {
    let options: Vec<&str> = roles
        .iter()
        .map(|role| match role {
            RoleToGive::Kind => "--kind",
            RoleToGive::Input => "--input",
            RoleToGive::Outputs => "--outputs",
        })
        .collect();
    let (last, others) = options.split_last()?;
    Some(match others {
        [] => (*last).to_owned(),
        others => format!("{} and {last}", others.join(", ")),
    })
}
