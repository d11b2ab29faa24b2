//! A recipe and all that its dies share, read and checked: what has to be measured.

use super::die_measurement::DieMeasurement;
use super::error::BatchError;
use super::input_file::InputFile;
use super::list_remarks::ListRemarks;
use super::shared_inputs::SharedInputs;
use crate::description::{
    DescriptionError, DescriptionProblem, DieList, Recipe, RecipeAnalysis, read_recipe,
};
use crate::splitter::SplitterSettings;
use crate::touchstone::ReadOptions;
use crate::wafer::{LotHeading, Shard};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// What is measured on every die of a lot.
#[derive(Clone, Copy, Debug)]
pub enum LotAnalysis<'j> {
    /// A receiver, some of whose blocks are the die's.
    Receiver,
    /// A splitter.
    Splitter {
        /// How it is analysed.
        settings: &'j SplitterSettings,
        /// The column of the list of dies that gives its file.
        column: &'j str,
    },
}

/// A lot to be measured: the recipe, the receiver and the uncertainty that its dies share, and how
/// their files are read.
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
}

impl LotJob {
    /// Reads RECIPE.toml, its list of dies and every file that all dies share.
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
        let prepared = shared.prepare(&recipe, &file_columns, reading)?;
        let remarks = ListRemarks::of(list)?;
        let rows = remarks.rows();
        if rows == 0 {
            let problem = DescriptionProblem::NoDies;
            return Err(DescriptionError::about_file(recipe.manifest(), problem).into());
        }
        let mut warnings = prepared.warnings;
        warnings.extend(remarks.warnings());
        let mut inputs = vec![path.to_owned(), recipe.manifest().to_owned()];
        inputs.extend(prepared.files);
        let mut digests = InputFile::of(&inputs)?;
        // The same from wherever the run was started.
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
        })
    }

    /// How the files are read.
    #[must_use]
    pub fn reading(&self) -> &ReadOptions {
        &self.reading
    }

    /// Files that are read and never written.
    #[must_use]
    pub fn inputs(&self) -> &[PathBuf] {
        &self.inputs
    }

    /// The same with their digests, named as seen from the recipe.
    #[must_use]
    pub fn digests(&self) -> &[InputFile] {
        &self.digests
    }

    /// What the user should know of the files that all dies share.
    #[must_use]
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }

    /// What is measured and how it is judged.
    #[must_use]
    pub fn recipe(&self) -> &Recipe {
        &self.recipe
    }

    /// What is measured on every die.
    #[must_use]
    pub fn analysis(&self) -> LotAnalysis<'_> {
        match self.recipe.analysis() {
            RecipeAnalysis::Receiver(_) => LotAnalysis::Receiver,
            RecipeAnalysis::Splitter { settings, column } => {
                LotAnalysis::Splitter { settings, column }
            }
        }
    }

    /// What the pictures, the text and the document say about the run.
    #[must_use]
    pub fn heading(&self) -> LotHeading<'_> {
        LotHeading {
            given_title: self.recipe.title(),
            settings: self.recipe.settings(),
            combination: self.measurement.combination(),
            if_hz: self.measurement.if_hz(),
            file_columns: &self.file_columns,
            carried_columns: &self.carried_columns,
        }
    }

    /// How many rows the list of dies has.
    #[must_use]
    pub fn rows(&self) -> u64 {
        self.rows
    }

    pub(super) fn measurement(&self) -> &DieMeasurement {
        &self.measurement
    }

    /// The list of dies from its start.
    pub(super) fn dies(&self) -> Result<DieList, BatchError> {
        Ok(DieList::open(self.recipe.manifest(), &self.file_columns)?)
    }

    /// What tells this run, or a shard of it, from any other.
    pub(super) fn subject(&self, shard: Shard) -> String {
        let digests: Vec<&str> = self.digests.iter().map(|input| input.sha256.as_str()).collect();
        let option_line = self.reading.option_line.as_ref().map(ToString::to_string);
        json!({
            "fourphase": env!("CARGO_PKG_VERSION"),
            "sha256": digests,
            "strict": self.reading.strict,
            "option_line": option_line,
            "shard": shard.to_string(),
        })
        .to_string()
    }

    /// The shard that the first line of a journal names.
    pub(super) fn shard_of(subject: &str) -> Option<Shard> {
        let subject: Value = serde_json::from_str(subject).ok()?;
        subject.get("shard")?.as_str()?.parse().ok()
    }

    /// Where the recipe stands, for whoever joins shards without naming it.
    pub(super) fn origin(&self) -> Result<String, BatchError> {
        let path = self.recipe.path();
        let place = std::path::absolute(path)
            .map_err(|source| BatchError::Place { path: path.to_owned(), source })?;
        Ok(place.display().to_string())
    }
}
