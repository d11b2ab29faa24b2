//! A recipe on its way: rows measured into a journal, and the answer from what stands there.

use super::measure::{Measure, Prepared, trimmed_db};
use crate::cli::console::Console;
use crate::cli::failure::Failure;
use crate::cli::input::hashed;
use crate::report::InputFile;
use crate::report::wafer_csv::DieColumns;
use crate::report::wafer_json::LotReport;
use crate::touchstone::ReadOptions;
use crate::wafer::{
    DieEntry, DieRecord, Journal, JournalError, LotCollector, LotHeading, LotResult, Manifest,
    Recipe, RecipeAnalysis, RecipeKind, Shard, SplitterRecipe, WhatIfResult, run_in_order,
};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore as _, SeedableRng as _};
use rayon::prelude::{
    IntoParallelIterator as _, IntoParallelRefIterator as _, ParallelIterator as _,
};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A recipe and all that its dies share, read.
pub(super) struct Job {
    recipe: Recipe,
    measure: Measure,
    reading: ReadOptions,
    file_names: Vec<String>,
    carried_names: Vec<String>,
    inputs: Vec<PathBuf>,
    digests: Vec<InputFile>,
    pub(super) warnings: Vec<String>,
}

/// Rows in journals: those of one, or of shards in turn.
pub(super) struct Records {
    journals: Vec<PathBuf>,
}

/// Lines taken from the journals at once, to be understood on all threads.
const LINES_AT_ONCE: usize = 512;

impl Records {
    pub(super) fn of(journals: Vec<PathBuf>) -> Self {
        Self { journals }
    }

    /// Hands on every row in the order of the manifest.
    fn walk(
        &self,
        has_points: bool,
        mut hand_on: impl FnMut(usize, &DieRecord),
    ) -> Result<(), Failure> {
        let mut readers = Vec::new();
        for path in &self.journals {
            readers.push(Journal::rows(path)?);
        }
        let (mut row, mut lines) = (0, Vec::with_capacity(LINES_AT_ONCE));
        loop {
            lines.clear();
            while lines.len() < LINES_AT_ONCE {
                let turn = (row + lines.len()) % readers.len();
                match readers[turn].next() {
                    Some(line) => lines.push(line?),
                    None => break,
                }
            }
            let records: Vec<Option<DieRecord>> =
                lines.par_iter().map(|line| DieRecord::from_line(line, has_points)).collect();
            for record in records {
                let Some(record) = record else {
                    let (path, count) = (row % self.journals.len(), self.journals.len());
                    return Err(JournalError::Damaged {
                        path: self.journals[path].clone(),
                        row: (row / count + 1) as u64,
                    }
                    .into());
                };
                hand_on(row, &record);
                row += 1;
            }
            if lines.len() < LINES_AT_ONCE {
                return Ok(());
            }
        }
    }
}

/// The shard that a journal's first line names.
pub(super) fn shard_of(subject: &str) -> Option<Shard> {
    let subject: Value = serde_json::from_str(subject).ok()?;
    subject.get("shard")?.as_str()?.parse().ok()
}

/// How many whole rows a journal holds.
pub(super) fn rows_in(journal: &Path) -> Result<u64, Failure> {
    let mut count = 0;
    for row in Journal::rows(journal)? {
        row?;
        count += 1;
    }
    Ok(count)
}

impl Job {
    pub(super) fn new(path: &Path, reading: &ReadOptions) -> Result<Self, Failure> {
        let recipe = Recipe::read(path)?;
        let prepared = Prepared::new(&recipe, reading)?;
        let manifest = Manifest::open(&recipe.manifest, &prepared.blocks())?;
        let file_names = manifest.file_names().to_vec();
        let measure = prepared.with_columns(&recipe, &file_names, reading)?;
        let mut inputs = vec![path.to_owned(), recipe.manifest.clone()];
        inputs.extend(measure.shared.iter().cloned());
        let mut digests = hashed(&inputs)?;
        // The same from wherever the run was started.
        let folder = path.parent().unwrap_or(Path::new(""));
        for (digest, input) in digests.iter_mut().zip(&inputs) {
            digest.file = input.strip_prefix(folder).unwrap_or(input).display().to_string();
        }
        Ok(Self {
            warnings: measure.warnings.clone(),
            carried_names: manifest.carried_names().to_vec(),
            reading: reading.clone(),
            recipe,
            measure,
            file_names,
            inputs,
            digests,
        })
    }

    /// What tells this run, or a shard of it, from any other.
    pub(super) fn subject(&self, shard: Shard) -> Result<String, Failure> {
        let digests: Vec<&str> = self.digests.iter().map(|input| input.sha256.as_str()).collect();
        let option_line = self.reading.option_line.as_ref().map(ToString::to_string);
        Ok(json!({
            "fourphase": env!("CARGO_PKG_VERSION"),
            "sha256": digests,
            "strict": self.reading.strict,
            "option_line": option_line,
            "shard": shard.to_string(),
        })
        .to_string())
    }

    /// Where the recipe stands, for whoever joins shards without naming it.
    pub(super) fn origin(&self) -> Result<String, Failure> {
        Ok(std::path::absolute(&self.recipe.path)?.display().to_string())
    }

    /// Files that are read and never written.
    pub(super) fn inputs(&self) -> Vec<PathBuf> {
        self.inputs.clone()
    }

    fn manifest(&self) -> Result<Manifest, Failure> {
        Ok(Manifest::open(&self.recipe.manifest, &self.file_names)?)
    }

    /// How many rows the manifest has.
    pub(super) fn rows(&self) -> Result<u64, Failure> {
        let mut count = 0;
        for entry in self.manifest()? {
            entry?;
            count += 1;
        }
        if count == 0 {
            return Err(crate::wafer::WaferError::without_dies(&self.recipe.manifest).into());
        }
        Ok(count)
    }

    /// Measures the rows of a shard that the journal does not hold yet; returns how many rows the
    /// manifest has.
    pub(super) fn run(
        &self,
        shard: Shard,
        journal: &mut Journal,
        console: &Console,
    ) -> Result<u64, Failure> {
        // Read once to its end, so that a slip in the last line is told before work begins.
        let rows = self.rows()?;
        let share = shard.share_of(rows);
        let progress = self.progress(share, console);
        progress.set_position(journal.done());
        progress.reset_eta();
        let mut number = 0;
        let owned = self.manifest()?.filter(|_| {
            number += 1;
            shard.owns(number - 1)
        });
        let measured = |entry: &DieEntry| {
            let record = DieRecord::new(entry, self.measure.die(entry));
            record.to_line().map_err(Failure::from)
        };
        let done = journal.done();
        let counted = run_in_order(
            owned.map(|entry| entry.map_err(Failure::from)),
            done,
            measured,
            |batch| {
                let lines =
                    batch.into_iter().map(|(_, line)| line).collect::<Result<Vec<_>, _>>()?;
                journal.add(&lines)?;
                progress.set_position(journal.done());
                Ok(())
            },
        );
        progress.finish_and_clear();
        counted?;
        Ok(rows)
    }

    fn progress(&self, rows: u64, console: &Console) -> ProgressBar {
        let progress = ProgressBar::new(rows);
        if !console.shows_progress() {
            progress.set_draw_target(ProgressDrawTarget::hidden());
        }
        let template = "{bar:32} {pos}/{len} dies, {per_sec}, {eta} left";
        if let Ok(style) = ProgressStyle::with_template(template) {
            progress.set_style(style);
        }
        progress.enable_steady_tick(Duration::from_millis(200));
        progress
    }

    /// The whole answer from rows that are measured.
    pub(super) fn result(
        &self,
        records: &Records,
        console: &Console,
    ) -> Result<LotResult, Failure> {
        let mut collector = LotCollector::new(&self.recipe, self.measure.limits.clone());
        records.walk(false, |_, record| collector.add(record))?;
        let mut second = collector.first_answer();
        records.walk(true, |row, record| second.add(row, record))?;
        if second.wants_third_walk() {
            records.walk(true, |row, record| second.add_trimmed(row, record, trimmed_db))?;
        }
        let assembled = self.assembled(second.so_far(), console)?;
        let mut result = second.finish();
        if let Some(assembled) = assembled {
            if result.what_ifs.is_empty() {
                result.what_ifs.push(WhatIfResult::of(
                    "as_measured".to_owned(),
                    "as measured".to_owned(),
                    result.all.rejections_db.clone(),
                    &result.limits,
                ));
            }
            result.what_ifs.push(assembled);
        }
        Ok(result)
    }

    /// Receivers made of blocks from different dies, each drawn from all dies that count.
    fn assembled(
        &self,
        so_far: &LotResult,
        console: &Console,
    ) -> Result<Option<WhatIfResult>, Failure> {
        let count = self.recipe.what_if.assemble;
        let files: Vec<&[Option<PathBuf>]> = so_far
            .rows
            .iter()
            .filter(|row| row.counted_figures().is_some())
            .map(|row| row.files.as_slice())
            .collect();
        if count == 0 || files.is_empty() {
            return Ok(None);
        }
        let progress = self.progress(u64::from(count), console);
        let draw = |number: u32| {
            // A stream of its own for each receiver: the same for any number of threads.
            let mut random = ChaCha8Rng::seed_from_u64(self.recipe.what_if.seed);
            random.set_stream(u64::from(number));
            let drawn: Vec<&Path> = (0..self.file_names.len())
                .filter_map(|column| files[below(&mut random, files.len())][column].as_deref())
                .collect();
            progress.inc(1);
            self.measure.assembled_db(&drawn)
        };
        let drawn: Vec<Result<f64, String>> = (0..count).into_par_iter().map(draw).collect();
        progress.finish_and_clear();
        let rejections_db =
            drawn.into_iter().collect::<Result<Vec<f64>, _>>().map_err(|message| {
                Failure::Usage(format!("a receiver assembled from different dies: {message}"))
            })?;
        let words = format!("{count} assembled from various dies");
        Ok(Some(WhatIfResult::of("assembled".to_owned(), words, rejections_db, &so_far.limits)))
    }

    /// Names of the columns that follow those of fourphase in `dies.csv`.
    pub(super) fn columns(&self) -> DieColumns<'_> {
        DieColumns {
            files: &self.file_names,
            carried: &self.carried_names,
            rejection: self.heading().rejection_name,
        }
    }

    /// What the pictures, the text and the document say about the run.
    pub(super) fn heading(&self) -> LotHeading<'_> {
        let is_antiphase = matches!(
            self.recipe.analysis,
            RecipeAnalysis::Splitter(SplitterRecipe { kind: RecipeKind::Antiphase, .. })
        );
        LotHeading {
            recipe: &self.recipe,
            combination: self.measure.combination(),
            if_hz: self.measure.if_hz(),
            file_columns: &self.file_names,
            frequency_word: self.recipe.frequency_word(),
            rejection_word: if is_antiphase { "common-mode rejection" } else { "image rejection" },
            rejection_name: if is_antiphase {
                "common_mode_rejection_db"
            } else {
                "image_rejection_db"
            },
        }
    }

    /// Everything that the user should know.
    pub(super) fn warnings_of(&self, result: &LotResult) -> Vec<String> {
        let mut warnings = self.warnings.clone();
        if result.off_wafer > 0 {
            warnings.push(format!(
                "{} rows lie beyond the wafer's rim; check centre_die, die_pitch_mm and \
                 wafer_diameter_mm",
                result.off_wafer
            ));
        }
        if let Some(map) = result.map.as_ref().filter(|_| !self.recipe.has_centre) {
            warnings.push(format!(
                "the wafer's centre is taken to be at die ({}, {}), told from the dies listed; set \
                 centre_die in [map] if it is not",
                map.centre_die.0, map.centre_die.1
            ));
        }
        if self.recipe.what_if.assemble > 0 && self.file_names.len() < 2 {
            warnings.push(
                "assembling draws blocks from various dies; with one column of files it only draws \
                 the same dies again, and its interval means nothing"
                    .to_owned(),
            );
        }
        let counts = &result.all.counts;
        if counts.incomplete + counts.error > counts.tested() {
            warnings.push(format!(
                "{} dies could not be measured, {} were: the yield is that of the few",
                counts.incomplete + counts.error,
                counts.tested()
            ));
        }
        if result.curves.left_out > 0 {
            warnings.push(format!(
                "{} dies have other frequencies than the first and are left out of the curves",
                result.curves.left_out
            ));
        }
        warnings
    }

    pub(super) fn report(&self, result: &LotResult, warnings: &[String]) -> LotReport {
        LotReport::new(&self.heading(), result, self.digests.clone(), &self.reading, warnings)
    }
}

/// A number from 0 to below `count`, each as likely as any other to one part in 2^64 / count.
fn below(random: &mut ChaCha8Rng, count: usize) -> usize {
    let product = u128::from(random.next_u64()) * count as u128;
    usize::try_from(product >> 64).unwrap_or(0)
}
