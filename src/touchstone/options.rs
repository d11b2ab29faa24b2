//! Options for reading.

use super::option_line::OptionLine;

/// The options for reading a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Whether deviations from the standard are errors.
    pub strict: bool,
    /// The option line of a version 1 file that has none. It is never guessed.
    pub option_line: Option<OptionLine>,
    /// Whether an analysis accepts a file with gain where it expects a passive part; the reader
    /// itself accepts any file.
    pub accept_active: bool,
}
