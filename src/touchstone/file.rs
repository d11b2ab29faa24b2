//! The content of a Touchstone file.

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
    /// Whether the version has keywords in brackets.
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
    /// The source reflection of this minimum, referred to [`TouchstoneFile::noise_reference_ohm`].
    pub optimum_reflection: Complex64,
    /// Effective noise resistance in ohms.
    pub noise_resistance_ohm: f64,
}

/// A comment and its place among the data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Comment {
    /// The text after the comment mark, unchanged.
    pub text: String,
    /// The number of data sets before it; 0 for comments in the header.
    pub sets_before: usize,
}

/// A file as read: its network in absolute units, and its other content.
#[derive(Clone, Debug, PartialEq)]
pub struct TouchstoneFile {
    /// The Touchstone version of the file.
    pub version: Version,
    /// The number format of the file.
    pub number_format: NumberFormat,
    /// The unit of its frequencies.
    pub frequency_unit: FrequencyUnit,
    /// The matrices, by ascending frequency; mixed-mode where the file is.
    pub network: Network,
    /// The reference impedance of every single-ended port, ohms.
    pub port_references_ohm: Vec<f64>,
    /// Noise rows, by ascending frequency.
    pub noise: Vec<NoisePoint>,
    /// The reference resistance of the noise data's reflections, ohms.
    pub noise_reference_ohm: f64,
    /// The comments, in order.
    pub comments: Vec<Comment>,
    /// The warnings of the reader, one entry per kind.
    pub warnings: Vec<Warning>,
}

impl TouchstoneFile {
    /// The date of the data, as the first comment states it that begins with `Date` or with
    /// `Measured`; `None` where none does. The text is given as it stands: no form of date is
    /// prescribed for comments.
    ///
    /// # Examples
    /// ```
    /// use fourphase::touchstone::{ReadOptions, parse};
    /// use std::path::Path;
    ///
    /// let text = "! Date: 2025-03-04 10:12\n# GHz S RI R 50\n1 0 0\n2 0 0\n";
    /// let file = parse(text.as_bytes(), Path::new("part.s1p"), &ReadOptions::default())?;
    /// assert_eq!(file.stated_date(), Some("2025-03-04 10:12"));
    /// # Ok::<(), fourphase::touchstone::ReadError>(())
    /// ```
    #[must_use]
    pub fn stated_date(&self) -> Option<&str> {
        self.comments.iter().find_map(|comment| date_in(&comment.text))
    }
}

/// What follows the word for a date at the beginning of a comment.
fn date_in(text: &str) -> Option<&str> {
    /// No date is longer.
    const LONGEST: usize = 40;
    let text = text.trim();
    let after = ["date", "measured on", "measured"].into_iter().find_map(|word| {
        let begins = text.get(..word.len()).is_some_and(|start| start.eq_ignore_ascii_case(word));
        let rest = text.get(word.len()..).filter(|_| begins)?;
        // Another word may begin with these letters.
        rest.starts_with([' ', ':', '=', '\t']).then_some(rest)
    })?;
    let date = after.trim_start_matches([' ', ':', '=', '\t']);
    let is_date = date.starts_with(|first: char| first.is_ascii_alphanumeric())
        && date.chars().filter(char::is_ascii_digit).count() >= 4
        && date.len() <= LONGEST;
    is_date.then_some(date)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_dates_are_dates() {
        for (text, expected) in [
            (" Date: 2025-03-04", Some("2025-03-04")),
            ("DATE = 4 March 2025, 10:12", Some("4 March 2025, 10:12")),
            ("measured on 2025-03-04", Some("2025-03-04")),
            ("Measured: Tue Mar 4 2025", Some("Tue Mar 4 2025")),
            ("dated", None),
            ("Dates of 2025", None),
            ("measured with care", None),
            ("measured at 25 deg C and 30 % relative humidity in the chamber of 2019", None),
            ("ä", None),
        ] {
            assert_eq!(date_in(text), expected, "{text}");
        }
    }
}
