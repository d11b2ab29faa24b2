//! How a file is to be read.

use super::option_line::OptionLine;

/// How to read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Whether deviations from the standard are errors.
    pub strict: bool,
    /// What stands in where a version 1 file has no option line. Never guessed.
    pub option_line: Option<OptionLine>,
    /// Whether an analysis takes a file with gain where it expects a passive part; reading itself
    /// takes any file.
    pub accept_active: bool,
}
