//! The Touchstone files of a folder, and what each may be for by its data.

use super::super::error::{DescriptionError, DescriptionProblem};
use crate::network::{Network, ParameterKind, Port, convert};
use crate::splitter::{Roles, SplitterSettings, analyse};
use crate::touchstone::{ReadOptions, ports_in_name, read};
use std::path::{Path, PathBuf};

/// No receiver, network or probe station is described from more files at once.
const MOST_FILES: usize = 500;

/// A file and what its data show.
#[derive(Clone, Debug)]
pub(super) struct FolderPart {
    /// Its name in the folder.
    pub(super) name: String,
    /// Scattering parameters.
    pub(super) network: Network,
    /// The roles of its ports, if the data are those of a splitter.
    pub(super) roles: Option<Roles>,
}

/// The Touchstone files of a folder in the order of their names; at least one.
#[derive(Clone, Debug)]
pub(super) struct FolderParts {
    pub(super) folder: PathBuf,
    pub(super) parts: Vec<FolderPart>,
    /// Files that cannot be used, with the reason.
    pub(super) remarks: Vec<String>,
}

impl FolderParts {
    /// Reads every Touchstone file of a folder, subfolders aside.
    ///
    /// # Errors
    /// [`DescriptionError`] for a folder that cannot be read, or without a file that can be used.
    pub(super) fn read(folder: &Path, options: &ReadOptions) -> Result<Self, DescriptionError> {
        let names = touchstone_names(folder)?;
        let mut found = Self { folder: folder.to_owned(), parts: Vec::new(), remarks: Vec::new() };
        if names.len() > MOST_FILES {
            let what = format!(
                "the folder holds {} Touchstone files, at most {MOST_FILES} are expected: copy those \
                 of the parts into a folder of their own",
                names.len()
            );
            return Err(found.refused(what));
        }
        for name in names {
            let unused = match read(&folder.join(&name), options) {
                Err(error) => error.to_string(),
                Ok(file) if file.network.modes().is_some() => "its ports are mixed-mode".to_owned(),
                Ok(file) => match convert(&file.network, ParameterKind::Scattering) {
                    Err(error) => error.to_string(),
                    Ok(network) => {
                        let roles = analyse(&network, &SplitterSettings::default()).ok();
                        let roles = roles.map(|result| result.roles);
                        found.parts.push(FolderPart { name, network, roles });
                        continue;
                    }
                },
            };
            found.remarks.push(format!("{name} is not used: {unused}"));
        }
        if found.parts.is_empty() {
            return Err(found.refused(
                "expected Touchstone files (.s1p, .s2p, ..) in this folder, found none that can be \
                 used",
            ));
        }
        Ok(found)
    }

    /// An error about the folder.
    pub(super) fn refused(&self, what: impl Into<String>) -> DescriptionError {
        refused(&self.folder, what)
    }
}

pub(super) fn refused(folder: &Path, what: impl Into<String>) -> DescriptionError {
    DescriptionError::about_file(folder, DescriptionProblem::Value { what: what.into() })
}

/// An error about a folder that cannot be read.
pub(super) fn unreadable(folder: &Path, error: &std::io::Error) -> DescriptionError {
    refused(folder, format!("cannot read the folder: {error}"))
}

/// The names of Touchstone files in a folder, in order; names that are not UTF-8 are left out.
fn touchstone_names(folder: &Path) -> Result<Vec<String>, DescriptionError> {
    let failed = |error: std::io::Error| unreadable(folder, &error);
    let mut names = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        if let Ok(name) = entry.map_err(failed)?.file_name().into_string()
            && ports_in_name(Path::new(&name)).is_some()
        {
            names.push(name);
        }
    }
    names.sort();
    Ok(names)
}

impl FolderPart {
    /// The name without its ending.
    pub(super) fn stem(&self) -> &str {
        self.name.rsplit_once('.').map_or(&self.name, |(stem, _)| stem)
    }

    /// Whether a word of the name, between marks or digits, is one of these.
    pub(super) fn is_called(&self, words: &[&str]) -> bool {
        let stem = self.stem().to_lowercase();
        stem.split(|c: char| !c.is_alphabetic()).any(|word| words.contains(&word))
    }

    pub(super) fn ports(&self) -> usize {
        self.network.ports()
    }

    pub(super) fn band_hz(&self) -> (f64, f64) {
        (self.network.grid().first_hz(), self.network.grid().last_hz())
    }

    /// The mean magnitude of an entry over the sweep.
    pub(super) fn mean_magnitude(&self, row: usize, column: usize) -> f64 {
        let points = self.network.grid().len();
        let [row, column] = [row, column].map(Port::from_index);
        let sum: f64 =
            (0..points).map(|point| self.network.matrix(point).at(row, column).norm()).sum();
        #[expect(clippy::cast_precision_loss, reason = "a sweep is far shorter than 2^53")]
        let points = points as f64;
        sum / points
    }
}
