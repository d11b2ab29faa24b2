//! What a description to begin with comes as: files, and what was guessed in them.

/// A file to begin with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StarterFile {
    /// Its name; paths in it are relative to the folder of the files that it names.
    pub name: &'static str,
    /// Its content.
    pub text: String,
}

/// Descriptions to begin with, and what was guessed in them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Starter {
    /// At least one; the first is the description.
    pub files: Vec<StarterFile>,
    /// What was inferred or guessed, a sentence each, for the user to check.
    pub guesses: Vec<String>,
}

impl Starter {
    pub(super) fn of(name: &'static str, text: String, guesses: Vec<String>) -> Self {
        Self { files: vec![StarterFile { name, text }], guesses }
    }
}
