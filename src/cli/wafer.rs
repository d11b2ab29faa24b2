//! `fourphase wafer`.

use super::args::{Format, Wafer};
use super::console::Console;
use super::failure::Failure;
use super::made_by::made_by_of;
use super::outcome::Outcome;
use super::points_argument::Points;
use super::progress_bar::Bar;
use crate::batch::{
    LotJob, LotRecords, ShardJournals, Start, is_measured, lot_result, measure_shard,
};
use crate::report::{
    LIST_OF_FILES, PointsForm, ReportFolder, dies_csv, document, finished_run, interrupted_run,
    lot_file_paths, lot_files, lot_report, lot_streams, refuse_lot_files, remove_left_lock,
    wafer_text,
};
use crate::wafer::{LotResult, Shard};
use std::collections::HashSet;
use std::ffi::OsStr;
use std::path::PathBuf;

/// What a run keeps in its folder until it is done, and a shard for those who combine.
const JOURNAL: &str = "wafer.journal";

pub(super) fn run(given: &Wafer, console: &Console) -> Result<Outcome, Failure> {
    if given.combine.is_empty() { measure(given, console) } else { combine(given, console) }
}

/// Measures all dies, or a shard of them.
fn measure(given: &Wafer, console: &Console) -> Result<Outcome, Failure> {
    let Some(recipe) = &given.recipe else {
        return Err(Failure::Usage("give a RECIPE.toml, or --combine and folders".to_owned()));
    };
    let job = LotJob::read(recipe, &given.reading.options())?;
    let journal = given.out.join(JOURNAL);
    let start = match (given.resume, given.overwrite) {
        (true, _) => Start::Resume,
        (false, true) => Start::Replace,
        (false, false) => Start::New,
    };
    // A run that was killed while it wrote its report, all rows done, goes on over what it had
    // written. Before that it has written nothing, so that everything there is somebody else's.
    let goes_on = given.resume && is_measured(&job, &journal);
    let shard = given.shard.unwrap_or(Shard::WHOLE);
    let is_whole = given.shard.is_none();
    if !is_whole && given.points.is_some() {
        return Err(Failure::Usage(
            "--points goes without --shard; give it to --combine".to_owned(),
        ));
    }
    if is_whole && given.resume && !journal.exists() && is_finished(given, &job) {
        return Ok(finished(given, console));
    }
    let place = ReportPlace::of(given, &job, goes_on, Vec::new())?;
    if is_whole {
        place.check()?;
    } else if given.out.join(LIST_OF_FILES).exists() {
        // The journal would be taken for that of an unfinished run of this report.
        return Err(Failure::Usage(format!(
            "{} holds a report; choose another folder for the journal of a shard",
            given.out.display()
        )));
    }
    console.warnings(job.warnings());
    let bar = Bar::new(console);
    if !is_whole {
        let rows = measure_shard(&job, shard, &journal, start, &|done| bar.show(done))?.rows;
        drop(bar);
        console.notice(&format!(
            "shard {shard}: {} of {} rows are in {}; join all shards with --combine",
            rows.done,
            rows.listed,
            given.out.display()
        ));
        return Ok(Outcome::Holds);
    }
    let measured = measure_shard(&job, shard, &journal, start, &|done| bar.show(done))?;
    let records = LotRecords::of_run(&job, &journal);
    let lot = lot_result(&job, &records, &|done| bar.show(done))?;
    drop(bar);
    let outcome = finish(given, &job, &lot, &records, &place, console).inspect_err(|_| {
        console.notice(&format!(
            "all rows are measured and are in {}; --resume writes the report",
            journal.display()
        ));
    })?;
    // All of it stands in the report now.
    measured.remove_journal()?;
    Ok(outcome)
}

/// Joins shards.
fn combine(given: &Wafer, console: &Console) -> Result<Outcome, Failure> {
    if given.shard.is_some() {
        return Err(Failure::Usage("--combine goes without --shard".to_owned()));
    }
    if given.out.join(JOURNAL).exists() {
        return Err(Failure::Usage(format!(
            "{} holds the journal of a run or a shard; choose another folder for the report",
            given.out.display()
        )));
    }
    let journals: Vec<_> = given.combine.iter().map(|folder| folder.join(JOURNAL)).collect();
    let shards = ShardJournals::read(&journals)?;
    let recipe = match &given.recipe {
        Some(recipe) => recipe,
        None => shards.recipe()?,
    };
    let job = LotJob::read(recipe, &given.reading.options())?;
    if given.resume && is_finished(given, &job) {
        return Ok(finished(given, console));
    }
    // Joining that was stopped while it wrote the report goes on over what it had written.
    let interrupted = interrupted_run(&given.out).filter(|_| given.resume);
    let goes_on = interrupted.is_some_and(|run| run == job.run_id());
    let place = ReportPlace::of(given, &job, goes_on, journals)?;
    place.check()?;
    console.warnings(job.warnings());
    let bar = Bar::new(console);
    let records = LotRecords::of_shards(&job, &shards)?;
    let lot = lot_result(&job, &records, &|done| bar.show(done))?;
    drop(bar);
    finish(given, &job, &lot, &records, &place, console)
}

/// Whether the folder holds the whole report of this run, with the tables that are wanted.
fn is_finished(given: &Wafer, job: &LotJob) -> bool {
    let tables = points_form(given).into_iter().flat_map(PointsForm::file_names);
    finished_run(&given.out).is_some_and(|run| run == job.run_id())
        && tables.map(|name| given.out.join(name)).all(|table| table.is_file())
}

fn finished(given: &Wafer, console: &Console) -> Outcome {
    remove_left_lock(&given.out);
    console.notice(&format!(
        "this run is finished: its report is in {}; nothing is measured again",
        given.out.display()
    ));
    Outcome::Holds
}

fn points_form(given: &Wafer) -> Option<PointsForm> {
    given.points.map(Points::form)
}

/// Where the report goes, and what must stay as it is there.
struct ReportPlace<'g> {
    given: &'g Wafer,
    paths: Vec<PathBuf>,
    inputs: Vec<PathBuf>,
    overwrite: bool,
    description: Option<PathBuf>,
}

impl<'g> ReportPlace<'g> {
    /// `goes_on` says that the run was stopped while it wrote its report.
    fn of(
        given: &'g Wafer,
        job: &LotJob,
        goes_on: bool,
        journals: Vec<PathBuf>,
    ) -> Result<Self, Failure> {
        let paths = lot_file_paths(&given.out, job, given.drawing.pictures, points_form(given));
        let names: HashSet<&OsStr> = paths.iter().filter_map(|path| path.file_name()).collect();
        let mut inputs = job.die_files_named(&names)?;
        inputs.extend(job.inputs().iter().cloned().chain(journals));
        let overwrite = given.overwrite || goes_on;
        let description = (!goes_on).then(|| job.recipe().path().to_owned());
        Ok(Self { given, paths, inputs, overwrite, description })
    }

    fn folder(&self) -> ReportFolder<'_> {
        ReportFolder {
            folder: &self.given.out,
            inputs: &self.inputs,
            overwrite: self.overwrite,
            description: self.description.as_deref(),
        }
    }

    /// Refuses a report that could not be written, before the dies are measured.
    fn check(&self) -> Result<(), Failure> {
        if !self.overwrite {
            refuse_lot_files(&self.given.out)?;
        }
        Ok(self.folder().check(&self.paths)?)
    }
}

/// Writes the report and shows the result.
fn finish(
    given: &Wafer,
    job: &LotJob,
    lot: &LotResult,
    records: &LotRecords,
    place: &ReportPlace<'_>,
    console: &Console,
) -> Result<Outcome, Failure> {
    let warnings: Vec<String> = job.warnings_of(lot).iter().map(ToString::to_string).collect();
    console.warnings(&warnings);
    // Resumed runs and joined shards are reports of the same run.
    let recipe = job.recipe().path().file_name().unwrap_or_default();
    let command = made_by_of("wafer", recipe);
    let files = lot_files(&given.out, job, lot, given.drawing.pictures, &command)?;
    let streams = lot_streams(&given.out, job, lot, records, points_form(given));
    place.folder().publish_with(&files, &streams, &[], Some(&job.run_id()))?;
    match given.format {
        Format::Json => console.data(&document(&lot_report(job, lot))?)?,
        Format::Csv => console.data(&dies_csv(&job.heading(), lot)?)?,
        Format::Text => console.data(&wafer_text(&job.heading(), lot))?,
    }
    console.written(&files);
    streams.iter().for_each(|file| console.wrote(&file.path));
    Ok(if lot.passes() {
        Outcome::Holds
    } else if lot.all.counts.tested() == 0 {
        Outcome::Incomplete
    } else {
        Outcome::Fails
    })
}
