//! `fourphase wafer`.

mod job;
mod measure;
mod output;

use super::Outcome;
use super::args::{Format, Wafer};
use super::console::Console;
use super::failure::Failure;
use crate::report::json::document;
use crate::report::{PublishError, publish, remove_unfinished, wafer_csv, wafer_text};
use crate::wafer::{Journal, Shard};
use job::{Job, Records};
use std::path::{Path, PathBuf};

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
    let job = Job::new(recipe, &given.reading.options())?;
    let shard = given.shard.unwrap_or(Shard::WHOLE);
    let journal_path = given.out.join(JOURNAL);
    // A run that was killed while it wrote its report, all rows done, goes on over what it had
    // written. Before that it has written nothing, so whatever stands there is somebody else's.
    let goes_on = given.resume
        && journal_path.exists()
        && job::rows_in(&journal_path).is_ok_and(|done| job.rows().is_ok_and(|rows| done == rows));
    let overwrite = given.overwrite || goes_on;
    if shard == Shard::WHOLE && !overwrite {
        refuse_existing(&given.out)?;
    }
    let made = missing_folders(&given.out);
    std::fs::create_dir_all(&given.out)
        .map_err(|source| Failure::from(PublishError::Io { path: given.out.clone(), source }))?;
    let subject = job.subject(shard)?;
    let opened = if given.resume {
        Journal::resume(&journal_path, &subject, &job.origin()?)
    } else {
        Journal::begin(&journal_path, &subject, &job.origin()?)
    };
    let mut journal = opened.inspect_err(|_| {
        // Folders made for nothing go again; one that holds something stays.
        for folder in &made {
            let _ = std::fs::remove_dir(folder);
        }
    })?;
    for warning in &job.warnings {
        console.warning(warning);
    }
    let rows = job.run(shard, &mut journal, console)?;
    if shard != Shard::WHOLE {
        console.notice(&format!(
            "shard {shard}: {} of {rows} rows are in {}; join all shards with --combine",
            journal.done(),
            given.out.display()
        ));
        return Ok(Outcome::Holds);
    }
    if goes_on {
        remove_unfinished(&given.out).map_err(|source| {
            Failure::from(PublishError::Io { path: given.out.clone(), source })
        })?;
    }
    let records = Records::of(vec![journal_path.clone()]);
    let outcome = finish(given, &job, &records, overwrite, console)?;
    // All of it stands in the report now.
    std::fs::remove_file(&journal_path)
        .map_err(|source| Failure::from(PublishError::Io { path: journal_path, source }))?;
    Ok(outcome)
}

/// Joins shards.
fn combine(given: &Wafer, console: &Console) -> Result<Outcome, Failure> {
    if given.shard.is_some() || given.resume {
        return Err(Failure::Usage("--combine goes without --shard and --resume".to_owned()));
    }
    let mut shards: Vec<(Shard, PathBuf, String)> = Vec::new();
    let mut origins = Vec::new();
    for folder in &given.combine {
        let path = folder.join(JOURNAL);
        let (subject, origin) = Journal::subject(&path)?;
        let Some(shard) = job::shard_of(&subject) else {
            return Err(Failure::Usage(format!("{} is no shard of a run", path.display())));
        };
        shards.push((shard, path, subject));
        origins.push(PathBuf::from(origin));
    }
    let recipe = match &given.recipe {
        Some(recipe) => recipe.clone(),
        None => origins.into_iter().find(|origin| origin.is_file()).ok_or_else(|| {
            let what = "the recipe of these shards is not where they were measured";
            Failure::Usage(format!("{what}; name it: wafer RECIPE.toml --combine .."))
        })?,
    };
    let job = Job::new(&recipe, &given.reading.options())?;
    shards.sort();
    let count = shards[0].0.count();
    for (shard, path, subject) in &shards {
        if *subject != job.subject(*shard)? {
            return Err(crate::wafer::JournalError::OtherRun(path.clone()).into());
        }
    }
    let numbers = (1..=count).filter_map(|number| Shard::new(number, count));
    let found: Vec<Shard> = shards.iter().map(|(shard, ..)| *shard).collect();
    if let Some(twice) = found.windows(2).find(|pair| pair[0] == pair[1]) {
        return Err(Failure::Usage(format!("shard {} is there twice", twice[0])));
    }
    if let Some(missing) = numbers.clone().find(|shard| !found.contains(shard)) {
        return Err(Failure::Usage(format!("shard {missing} is missing")));
    }
    if found.len() as u64 != count {
        return Err(Failure::Usage(
            "the shards are of runs that were split differently".to_owned(),
        ));
    }
    let rows = job.rows()?;
    for (shard, path, _) in &shards {
        let (done, share) = (job::rows_in(path)?, shard.share_of(rows));
        if done != share {
            return Err(Failure::Usage(format!(
                "{} holds {done} of {share} rows; go on with it by --shard {shard} --resume",
                path.display()
            )));
        }
    }
    if !given.overwrite {
        refuse_existing(&given.out)?;
    }
    for warning in &job.warnings {
        console.warning(warning);
    }
    let journals = shards.into_iter().map(|(_, path, _)| path).collect();
    finish(given, &job, &Records::of(journals), given.overwrite, console)
}

/// Everything from rows that are measured.
fn finish(
    given: &Wafer,
    job: &Job,
    records: &Records,
    overwrite: bool,
    console: &Console,
) -> Result<Outcome, Failure> {
    let result = job.result(records, console)?;
    let warnings = job.warnings_of(&result);
    for warning in &warnings[job.warnings.len()..] {
        console.warning(warning);
    }
    let report = job.report(&result, &warnings);
    let files = output::files(&given.out, job, &result, &report)?;
    publish(&files, &job.inputs(), overwrite)?;
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&wafer_csv::dies(&result, &job.columns())?)?,
        Format::Text => console.data(&wafer_text::lot(&job.heading(), &result))?,
    }
    for written in &files {
        console.notice(&format!("wrote {}", written.path.display()));
    }
    Ok(if result.passes() {
        Outcome::Holds
    } else if result.all.counts.tested() == 0 {
        Outcome::Incomplete
    } else {
        Outcome::Fails
    })
}

/// Hours of work shall not end at a file that stands in the way.
fn refuse_existing(folder: &Path) -> Result<(), Failure> {
    // A folder that cannot be read is told when it is used.
    let there = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<_> = there.map(|entry| entry.file_name()).collect();
    names.sort();
    match names.into_iter().find(|name| name.to_str().is_some_and(output::is_ours)) {
        Some(name) => Err(PublishError::Exists(folder.join(name)).into()),
        None => Ok(()),
    }
}

/// The folder and those above it that are not there yet, innermost first.
fn missing_folders(folder: &Path) -> Vec<PathBuf> {
    folder
        .ancestors()
        .take_while(|folder| *folder != Path::new("") && !folder.exists())
        .map(Path::to_owned)
        .collect()
}
