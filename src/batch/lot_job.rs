//! A recipe with everything that its dies share, read and checked.

use super::die_measurement::DieMeasurement;
use super::error::BatchError;
use super::input_file::{InputFile, digest};
use super::list_remarks::{ListRemarks, WaferName};
use super::shared_inputs::SharedInputs;
use crate::description::{
    DescriptionError, DescriptionProblem, DieList, Recipe, RecipeAnalysis, read_recipe,
};
use crate::regular_file;
use crate::requirement::Limits;
use crate::splitter::SplitterSettings;
use crate::touchstone::ReadOptions;
use crate::wafer::{LotHeading, Shard};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use std::collections::HashSet;
use std::ffi::OsStr;
use std::fs::File;
use std::path::{Path, PathBuf};

/// The form of the rows of a journal, with another number after each change of [`DieRecord`]'s text:
/// rows of two forms are not mixed.
///
/// [`DieRecord`]: crate::wafer::DieRecord
const ROW_FORM: u32 = 2;

/// The analysis of every die of a lot.
#[derive(Clone, Copy, Debug)]
pub enum LotAnalysis<'j> {
    /// A receiver; some of its blocks are on the die.
    Receiver,
    /// A splitter.
    Splitter {
        /// The settings of the analysis.
        settings: &'j SplitterSettings,
        /// The column of the list of dies with its files.
        column: &'j str,
    },
}

/// A lot to be measured: the recipe, the receiver and the uncertainty that its dies share, and the
/// options for reading their files.
pub struct LotJob {
    recipe: Recipe,
    reading: ReadOptions,
    measurement: DieMeasurement,
    file_columns: Vec<String>,
    carried_columns: Vec<String>,
    inputs: Vec<PathBuf>,
    digests: Vec<InputFile>,
    warnings: Vec<String>,
    rows: u64,
    wafers: Vec<WaferName>,
}

impl LotJob {
    /// Reads RECIPE.toml, its list of dies to the end and every file that all dies share.
    ///
    /// # Errors
    /// [`BatchError`] for a description or a file that cannot be used, or a list of dies with a row
    /// that is wrong or without rows.
    pub fn read(recipe: &Path, reading: &ReadOptions) -> Result<Self, BatchError> {
        let path = recipe;
        let recipe = read_recipe(path)?;
        let shared = SharedInputs::read(&recipe, reading)?;
        let list = DieList::open(recipe.manifest(), &shared.blocks())?;
        let (file_columns, carried_columns) = (list.file_columns(), list.carried_columns());
        // The list is read to its end before work begins, so that an error in its last line is
        // reported at once.
        let remarks = ListRemarks::of(list)?;
        let prepared = shared.prepare(&recipe, &file_columns, reading)?;
        let (rows, wafers) = (remarks.rows(), remarks.wafers());
        if rows == 0 {
            let problem = DescriptionProblem::NoDies;
            return Err(DescriptionError::about_file(recipe.manifest(), problem).into());
        }
        let mut warnings = prepared.warnings;
        warnings.extend(remarks.warnings());
        warnings.extend(recipe.settings().limits().into_iter().flat_map(Limits::remarks));
        let mut inputs = vec![path.to_owned(), recipe.manifest().to_owned()];
        inputs.extend(prepared.files);
        let mut digests = InputFile::of(&inputs)?;
        // Independent of the working folder.
        let folder = path.parent().unwrap_or(Path::new(""));
        for (digest, input) in digests.iter_mut().zip(&inputs) {
            digest.file = input.strip_prefix(folder).unwrap_or(input).display().to_string();
        }
        Ok(Self {
            recipe,
            reading: reading.clone(),
            measurement: prepared.measurement,
            file_columns,
            carried_columns,
            inputs,
            digests,
            warnings,
            rows,
            wafers,
        })
    }

    /// The options for reading files.
    #[must_use]
    pub fn reading(&self) -> &ReadOptions {
        &self.reading
    }

    /// Files that are read and must not be written.
    #[must_use]
    pub fn inputs(&self) -> &[PathBuf] {
        &self.inputs
    }

    /// The input files with their digests, named relative to the recipe.
    #[must_use]
    pub fn digests(&self) -> &[InputFile] {
        &self.digests
    }

    /// Warnings about the files that all dies share.
    #[must_use]
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }

    /// The recipe of the lot.
    #[must_use]
    pub fn recipe(&self) -> &Recipe {
        &self.recipe
    }

    /// The analysis of every die.
    #[must_use]
    pub fn analysis(&self) -> LotAnalysis<'_> {
        match self.recipe.analysis() {
            RecipeAnalysis::Receiver(_) => LotAnalysis::Receiver,
            RecipeAnalysis::Splitter { settings, column } => {
                LotAnalysis::Splitter { settings, column }
            }
        }
    }

    /// The texts about the run for pictures, reports and documents.
    #[must_use]
    pub fn heading(&self) -> LotHeading<'_> {
        LotHeading {
            given_title: self.recipe.title(),
            file: self.recipe.path().file_name().and_then(OsStr::to_str).unwrap_or_default(),
            settings: self.recipe.settings(),
            combination: self.measurement.combination(),
            if_hz: self.measurement.if_hz(),
            rf_band_hz: self.measurement.rf_band_hz(),
            file_columns: &self.file_columns,
            carried_columns: &self.carried_columns,
        }
    }

    /// The number of rows of the list of dies; at least one.
    #[must_use]
    pub fn rows(&self) -> u64 {
        self.rows
    }

    /// The wafers of the list, in the order of their first rows.
    #[must_use]
    pub fn wafers(&self) -> &[WaferName] {
        &self.wafers
    }

    /// The identifier of the whole run in hexadecimal digits: it is the same for the same recipe,
    /// list, shared files and settings.
    #[must_use]
    pub fn run_id(&self) -> String {
        let digest = Sha256::digest(self.subject(Shard::WHOLE));
        digest.iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// Files of dies with one of these names: outputs of these names may overwrite them.
    ///
    /// # Errors
    /// [`BatchError`] where the list cannot be read again.
    pub fn die_files_named(&self, names: &HashSet<&OsStr>) -> Result<Vec<PathBuf>, BatchError> {
        let folder = self.recipe.manifest().parent().unwrap_or(Path::new(""));
        let mut found = Vec::new();
        for entry in self.dies()? {
            let files = entry?.files.into_iter().flatten();
            let named =
                files.filter(|file| file.file_name().is_some_and(|name| names.contains(name)));
            found.extend(named.map(|file| folder.join(file)));
        }
        found.sort();
        found.dedup();
        Ok(found)
    }

    pub(super) fn measurement(&self) -> &DieMeasurement {
        &self.measurement
    }

    /// The list of dies from its start.
    pub(super) fn dies(&self) -> Result<DieList, BatchError> {
        Ok(DieList::open(self.recipe.manifest(), &self.file_columns)?)
    }

    /// The list of dies, to be compared later with what it was.
    pub(super) fn open_list(&self) -> Result<File, BatchError> {
        let path = self.recipe.manifest();
        regular_file::open(path)
            .map_err(|source| BatchError::Again { path: path.to_owned(), source })
    }

    /// Checks that an open list of dies has the bytes that were read first. A list that was replaced by
    /// another file, or removed, is still what it was.
    pub(super) fn check_list(&self, mut list: File) -> Result<(), BatchError> {
        let path = self.recipe.manifest();
        let now = digest(&mut list)
            .map_err(|source| BatchError::Again { path: path.to_owned(), source })?;
        // The recipe is the first of the inputs, its list the second.
        match self.digests.get(1) {
            Some(first) if first.sha256 != now => Err(BatchError::ListChanged(path.to_owned())),
            _ => Ok(()),
        }
    }

    /// The text that identifies this run, or a shard of it.
    pub(super) fn subject(&self, shard: Shard) -> String {
        let digests: Vec<&str> = self.digests.iter().map(|input| input.sha256.as_str()).collect();
        let option_line = self.reading.option_line.as_ref().map(ToString::to_string);
        json!({
            "fourphase": env!("CARGO_PKG_VERSION"),
            "rows": ROW_FORM,
            "sha256": digests,
            "strict": self.reading.strict,
            "option_line": option_line,
            "shard": shard.to_string(),
        })
        .to_string()
    }

    /// The shard named by the first line of a journal.
    pub(super) fn shard_of(subject: &str) -> Option<Shard> {
        let subject: Value = serde_json::from_str(subject).ok()?;
        subject.get("shard")?.as_str()?.parse().ok()
    }

    /// The absolute path of the recipe, for joining shards without naming it.
    pub(super) fn origin(&self) -> Result<String, BatchError> {
        let path = self.recipe.path();
        let place = std::path::absolute(path)
            .map_err(|source| BatchError::Place { path: path.to_owned(), source })?;
        Ok(place.display().to_string())
    }
}
