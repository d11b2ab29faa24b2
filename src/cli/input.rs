//! Reading files as the options say.

use super::args::Reading;
use super::console::Console;
use super::failure::Failure;
use crate::report::InputFile;
use crate::touchstone::{ReadOptions, TouchstoneFile, read};
use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

impl Reading {
    pub(super) fn options(&self) -> ReadOptions {
        ReadOptions { strict: self.strict, option_line: self.option_line.clone() }
    }

    /// Reads a file and says what the reader had to say.
    pub(super) fn read(&self, path: &Path, console: &Console) -> Result<TouchstoneFile, Failure> {
        let file = read(path, &self.options())?;
        for warning in &file.warnings {
            console.warning(&format!("{}:{warning}", path.display()));
        }
        Ok(file)
    }
}

/// Input files with their digests.
pub(super) fn hashed(inputs: &[PathBuf]) -> Result<Vec<InputFile>, Failure> {
    inputs
        .iter()
        .map(|path| {
            let bytes = std::fs::read(path).map_err(|error| {
                Failure::Usage(format!("cannot read {} again: {error}", path.display()))
            })?;
            let digest = Sha256::digest(bytes);
            let mut sha256 = String::with_capacity(64);
            for byte in digest {
                let _ = write!(sha256, "{byte:02x}");
            }
            Ok(InputFile { file: path.display().to_string(), sha256 })
        })
        .collect()
}
