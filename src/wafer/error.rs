//! What can be wrong with a recipe or a manifest.

use crate::diagnostic::{Diagnostic, Excerpt};
use std::path::{Path, PathBuf};

/// A recipe or manifest that cannot be used, and the line it is about.
#[derive(Debug, thiserror::Error)]
#[error("{}{}: {problem}", file.display(), excerpt.as_ref().map(|e| format!(":{}", e.position)).unwrap_or_default())]
pub struct WaferError {
    /// The recipe or manifest.
    pub file: PathBuf,
    /// What is wrong.
    pub problem: WaferProblem,
    /// The line it is about.
    pub excerpt: Option<Box<Excerpt>>,
}

/// Everything that makes a recipe or manifest unusable.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WaferProblem {
    /// The operating system refuses.
    #[error("cannot read it: {0}")]
    Io(std::io::Error),
    /// The text is no CSV.
    #[error("{0}")]
    Csv(String),
    /// A column that must be there is not.
    #[error("the manifest has no column '{name}'")]
    NoColumn {
        /// Its name.
        name: String,
        /// The columns that are there.
        found: Vec<String>,
    },
    /// A column stands there twice.
    #[error("column '{name}' stands twice")]
    ColumnTwice {
        /// Its name.
        name: String,
    },
    /// A row of another length.
    #[error("this row has {found} fields, the first row {expected}")]
    Fields {
        /// As the first row has it.
        expected: u64,
        /// Here.
        found: u64,
    },
    /// A die number that is none.
    #[error("'{text}' is no die number: {column} is a whole number, which may be negative")]
    DieNumber {
        /// Which column.
        column: &'static str,
        /// What stands there.
        text: String,
    },
    /// A row without lot or wafer.
    #[error("the {column} is empty")]
    Empty {
        /// Which column.
        column: &'static str,
    },
    /// No column names files.
    #[error("no column of the manifest names the files of a block")]
    NoFileColumn {
        /// Names that would be.
        blocks: Vec<String>,
    },
    /// The recipe is no TOML, or has keys or types that no recipe has.
    #[error("{0}")]
    Toml(String),
    /// A value that cannot be.
    #[error("{0}")]
    Value(String),
    /// There are no dies.
    #[error("the manifest lists no die")]
    NoDies,
}

impl WaferError {
    /// A manifest with a header and nothing else.
    #[must_use]
    pub fn without_dies(manifest: &Path) -> Self {
        Self { file: manifest.to_owned(), problem: WaferProblem::NoDies, excerpt: None }
    }

    /// The same, ready to be shown with its source line.
    #[must_use]
    pub fn diagnostic(&self) -> Diagnostic {
        let mut shown =
            Diagnostic::error(self.problem.to_string()).in_file(self.file.display().to_string());
        shown.excerpt = self.excerpt.as_deref().cloned();
        shown.help = match &self.problem {
            WaferProblem::NoColumn { found, .. } => {
                Some(format!("its columns are {}", found.join(", ")))
            }
            WaferProblem::NoFileColumn { blocks } => Some(format!(
                "name a column as the block whose file it gives; the blocks are {}",
                blocks.join(", ")
            )),
            _ => None,
        };
        shown
    }
}
