//! Why the files of a report could not be made or written.

use super::output_place::PublishError;
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
    /// A picture.
    #[error(transparent)]
    Plot(#[from] PlotError),
    /// A file must not or cannot be written.
    #[error(transparent)]
    Publish(#[from] PublishError),
}
