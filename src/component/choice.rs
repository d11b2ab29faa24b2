//! Parameters whose value is one of a few words.

/// A type in which each value has a word, such as `tee` and `pi` for the two kinds of attenuator.
pub trait Choice: Copy + PartialEq + 'static {
    /// Every value with its word.
    const WORDS: &'static [(&'static str, Self)];
}
