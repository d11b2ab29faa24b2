//! Reading files as the options say.

use super::args::{PartReading, Reading};
use super::console::Console;
use super::failure::Failure;
use super::stated_uncertainty::StatedUncertainty;
use crate::description::{DescriptionError, Uncertainty, read_uncertainty};
use crate::touchstone::{ReadOptions, TouchstoneFile, mislabelled, read};
use std::path::Path;

impl PartReading {
    pub(super) fn options(&self) -> ReadOptions {
        ReadOptions { accept_active: self.accept_active, ..self.reading.options() }
    }

    /// What `--uncertainty` states, read as the options say.
    pub(super) fn uncertainty(
        &self,
        stated: Option<&StatedUncertainty>,
    ) -> Result<Option<Uncertainty>, DescriptionError> {
        Ok(match stated {
            Some(StatedUncertainty::File(path)) => Some(read_uncertainty(path, &self.options())?),
            Some(StatedUncertainty::EveryEntry(uncertainty)) => Some(uncertainty.clone()),
            None => None,
        })
    }
}

impl Reading {
    pub(super) fn options(&self) -> ReadOptions {
        ReadOptions {
            strict: self.strict,
            option_line: self.option_line.clone(),
            accept_active: false,
        }
    }

    /// Reads a file and says what the reader had to say.
    pub(super) fn read(&self, path: &Path, console: &Console) -> Result<TouchstoneFile, Failure> {
        let file = read(path, &self.options())?;
        for warning in &file.warnings {
            console.warning(&format!("{}:{warning}", path.display()));
        }
        if let Some(source) = mislabelled(&file) {
            console.warning(&format!("{}: {source}", path.display()));
        }
        Ok(file)
    }

    /// The same for a file whose numbers are used as they are: one that is mislabelled is refused.
    pub(super) fn read_part(
        &self,
        path: &Path,
        console: &Console,
    ) -> Result<TouchstoneFile, Failure> {
        let file = read(path, &self.options())?;
        for warning in &file.warnings {
            console.warning(&format!("{}:{warning}", path.display()));
        }
        match mislabelled(&file) {
            Some(source) => Err(Failure::Mislabelled { file: path.to_owned(), source }),
            None => Ok(file),
        }
    }
}
