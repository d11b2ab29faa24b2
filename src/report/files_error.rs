//! Why the files of a report could not be made.

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
}
