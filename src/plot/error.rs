//! Why a picture could not be drawn.

use std::fmt;

/// Why a picture could not be drawn.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cannot draw the picture: {0}")]
pub struct PlotError(String);

impl PlotError {
    pub(super) fn from_display(error: impl fmt::Display) -> Self {
        Self(error.to_string())
    }
}
