//! The Touchstone files that a description names.

use super::error::{DescriptionError, DescriptionProblem};
use super::source::TomlFile;
use crate::network::Network;
use crate::touchstone::{
    PassiveFileError, ReadOptions, TouchstoneFile, mislabelled, passive_file_findings, read,
};
use std::ops::{Range, RangeInclusive};
use std::path::{Path, PathBuf};
use toml::Spanned;

/// Reads the files that a description names, and keeps their paths and warnings.
#[derive(Debug)]
pub(crate) struct NamedFiles<'a> {
    source: &'a TomlFile,
    options: &'a ReadOptions,
    /// The description and every file read, each once.
    pub(crate) inputs: Vec<PathBuf>,
    /// Warnings of the files, each with the path of its file.
    pub(crate) warnings: Vec<String>,
    /// The dates of the data that comments of the files state, each once.
    pub(crate) dates: Vec<String>,
}

impl<'a> NamedFiles<'a> {
    pub(crate) fn of(source: &'a TomlFile, options: &'a ReadOptions) -> Self {
        let inputs = vec![source.path().to_owned()];
        Self { source, options, inputs, warnings: Vec::new(), dates: Vec::new() }
    }

    /// The description.
    pub(crate) fn source(&self) -> &'a TomlFile {
        self.source
    }

    /// Reads a file that the description names, relative to it.
    ///
    /// # Errors
    /// [`DescriptionError`] at the name, with the error of the file.
    pub(crate) fn network(&mut self, file: &Spanned<PathBuf>) -> Result<Network, DescriptionError> {
        self.network_at(file.get_ref(), file.span())
    }

    /// Reads the whole content of a file that the description names, relative to it.
    ///
    /// # Errors
    /// [`DescriptionError`] at the name, with the error of the file.
    pub(crate) fn file(
        &mut self,
        file: &Spanned<PathBuf>,
    ) -> Result<TouchstoneFile, DescriptionError> {
        self.file_at(file.get_ref(), file.span())
    }

    /// Reads a file whose name is part of a longer value.
    ///
    /// # Errors
    /// [`DescriptionError`] at the span, with the error of the file.
    pub(crate) fn network_at(
        &mut self,
        file: &Path,
        span: Range<usize>,
    ) -> Result<Network, DescriptionError> {
        self.file_at(file, span).map(|content| content.network)
    }

    fn file_at(
        &mut self,
        file: &Path,
        span: Range<usize>,
    ) -> Result<TouchstoneFile, DescriptionError> {
        let path = self.source.beside(file);
        let content = read(&path, self.options).map_err(|error| self.source.error(error, span))?;
        let shown = path.display();
        self.warnings.extend(content.warnings.iter().map(|warning| format!("{shown}:{warning}")));
        if !content.noise.is_empty() {
            self.warnings.push(format!("{shown}: its noise data are not used"));
        }
        if let Some(date) =
            content.stated_date().filter(|date| !self.dates.iter().any(|d| d == date))
        {
            self.dates.push(date.to_owned());
        }
        self.note(path);
        Ok(content)
    }

    /// Refuses a file that cannot be that of a passive part over the frequencies used, unless it
    /// may be active; other findings become warnings. `title` names the part in both.
    ///
    /// # Errors
    /// [`DescriptionError`] at the span.
    pub(crate) fn check_passive(
        &mut self,
        file: &TouchstoneFile,
        band_hz: RangeInclusive<f64>,
        may_be_active: bool,
        title: &str,
        span: Range<usize>,
    ) -> Result<(), DescriptionError> {
        let accept_active = may_be_active || self.options.accept_active;
        let found = match passive_file_findings(file, band_hz, accept_active) {
            Ok(found) => found,
            // A file without a scattering matrix is refused where it is converted.
            Err(PassiveFileError::Network(_)) => return Ok(()),
            Err(error) => {
                let problem =
                    DescriptionProblem::NotPassive { name: title.to_owned(), source: error };
                return Err(self.source.error(problem, span));
            }
        };
        // An active part has gain and is not reciprocal, so its findings need no warning.
        let told = found.iter().filter(|_| !may_be_active).map(|found| format!("{title}: {found}"));
        for warning in told {
            if !self.warnings.contains(&warning) {
                self.warnings.push(warning);
            }
        }
        Ok(())
    }

    /// Refuses a file whose numbers are likely labelled with a format that is not theirs; an active part is
    /// taken. `title` names it.
    ///
    /// # Errors
    /// [`DescriptionError`] at the span.
    pub(crate) fn check_labels(
        &self,
        file: &TouchstoneFile,
        title: &str,
        span: Range<usize>,
    ) -> Result<(), DescriptionError> {
        match mislabelled(file).filter(|_| !self.options.accept_active) {
            Some(source) => {
                let problem = DescriptionProblem::Mislabelled { name: title.to_owned(), source };
                Err(self.source.error(problem, span))
            }
            None => Ok(()),
        }
    }

    /// The path of a table that the description names, relative to it.
    ///
    /// # Errors
    /// [`DescriptionError`] at the name, if there is no such file.
    pub(crate) fn table(&mut self, file: &Spanned<PathBuf>) -> Result<PathBuf, DescriptionError> {
        let path = self.source.beside(file.get_ref());
        if !path.is_file() {
            let what = format!("there is no file {}", path.display());
            return Err(self.source.complaint(file, what));
        }
        self.note(path.clone());
        Ok(path)
    }

    fn note(&mut self, path: PathBuf) {
        if !self.inputs.contains(&path) {
            self.inputs.push(path);
        }
    }
}

/// Whether two paths lead to the same file.
pub(super) fn same_file(one: &Path, other: &Path) -> bool {
    let canonical = |path: &Path| path.canonicalize().ok();
    one == other || canonical(one).is_some_and(|one| canonical(other) == Some(one))
}
