//! Why the files of a report could not be made or written.

use super::output_place::PublishError;
use crate::batch::BatchError;
use crate::plot::PlotError;

/// Why the files of a report could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FilesError {
    /// The table.
    #[error("cannot make the table: {0}")]
    Csv(#[from] csv::Error),
    /// The document.
    #[error("cannot make the report: {0}")]
    Json(#[from] serde_json::Error),
    /// The page.
    #[error("cannot make the page: {0}")]
    Page(#[from] askama::Error),
    /// A file that was read cannot be read again.
    #[error(transparent)]
    Input(#[from] Box<BatchError>),
    /// A picture.
    #[error(transparent)]
    Plot(#[from] PlotError),
    /// A file must not or cannot be written.
    #[error(transparent)]
    Publish(#[from] PublishError),
}
