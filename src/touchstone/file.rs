//! What a Touchstone file holds.

use super::error::Warning;
use super::option_line::{FrequencyUnit, NumberFormat};
use crate::network::Network;
use num_complex::Complex64;
use std::fmt;

/// The Touchstone version of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Version {
    /// No keywords, one resistance.
    V1_0,
    /// No keywords, one resistance per port.
    V1_1,
    /// `[Version] 2.0`.
    V2_0,
    /// `[Version] 2.1`.
    V2_1,
}

impl Version {
    /// Whether the file is built of keywords.
    #[must_use]
    pub fn has_keywords(self) -> bool {
        self >= Self::V2_0
    }
}

impl fmt::Display for Version {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::V1_0 => "1.0",
            Self::V1_1 => "1.1",
            Self::V2_0 => "2.0",
            Self::V2_1 => "2.1",
        })
    }
}

/// One row of noise data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoisePoint {
    /// Frequency in hertz.
    pub frequency_hz: f64,
    /// Minimum noise figure in decibels.
    pub minimum_noise_figure_db: f64,
    /// The source reflection that gives it, referred to [`TouchstoneFile::noise_reference_ohm`].
    pub optimum_reflection: Complex64,
    /// Effective noise resistance in ohms.
    pub noise_resistance_ohm: f64,
}

/// A comment and where it stood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Comment {
    /// The text after the mark, as it stood.
    pub text: String,
    /// How many data sets stood before it; 0 for comments in the header.
    pub sets_before: usize,
}

/// A file as read: its network in absolute units, and what else stood in it.
#[derive(Clone, Debug, PartialEq)]
pub struct TouchstoneFile {
    /// Its Touchstone version.
    pub version: Version,
    /// How its numbers are written.
    pub number_format: NumberFormat,
    /// The unit of its frequencies.
    pub frequency_unit: FrequencyUnit,
    /// The matrices, by ascending frequency; mixed-mode where the file is.
    pub network: Network,
    /// The reference of every single-ended port, in ohms.
    pub port_references_ohm: Vec<f64>,
    /// Noise rows, by ascending frequency.
    pub noise: Vec<NoisePoint>,
    /// The resistance to which the noise data's reflections refer.
    pub noise_reference_ohm: f64,
    /// The comments, in order.
    pub comments: Vec<Comment>,
    /// What the reader had to say, one entry per kind.
    pub warnings: Vec<Warning>,
}
