//! The form of tables of all points.

use crate::report::PointsForm;
use clap::ValueEnum;

/// The form of tables of all points.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Points {
    /// dies.parquet and points.parquet
    Parquet,
}

impl Points {
    pub(super) fn form(self) -> PointsForm {
        match self {
            Self::Parquet => PointsForm::Parquet,
        }
    }
}
