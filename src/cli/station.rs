//! `fourphase station`: one recipe over many files from a probe station.

use super::args::{Format, Station};
use super::console::Console;
use super::failure::Failure;
use super::made_by::made_by;
use super::outcome::Outcome;
use super::progress_bar::Bar;
use crate::batch::{StationEvent, StationVerdict, run_station};
use crate::description::read_station;
use crate::report::{
    ReportFile, ReportFolder, STATION_FILES, document, station_csv, station_files, station_json,
    station_text,
};
use crate::units::counted;
use std::path::{Path, PathBuf};

/// Where the results go.
fn place<'r>(given: &'r Station, folder: &'r Path, inputs: &'r [PathBuf]) -> ReportFolder<'r> {
    let description = Some(given.recipe.as_path());
    ReportFolder { folder, inputs, overwrite: given.overwrite, description }
}

pub(super) fn run(given: &Station, console: &Console) -> Result<Outcome, Failure> {
    let recipe = read_station(&given.recipe)?;
    if let Some(folder) = &given.out {
        let (read, mut written) = recipe.planned()?;
        written.extend(STATION_FILES.map(PathBuf::from));
        let paths: Vec<PathBuf> = written.iter().map(|name| folder.join(name)).collect();
        place(given, folder, &read).check(&paths)?;
    }
    let bar = Bar::new(console);
    let mut notify = |event: StationEvent<'_>| match event {
        StationEvent::Warning(text) => bar.beside(|| console.warning(text)),
        StationEvent::Failed(error) => bar.beside(|| console.error(&error.diagnostic())),
        StationEvent::Done(progress) => bar.show(progress),
    };
    let run = run_station(&recipe, &given.reading.options(), &mut notify)?;
    drop(bar);
    let result = &run.result;
    if let Some(folder) = &given.out {
        let cleaned = run.cleaned.into_iter();
        let mut files: Vec<ReportFile> = cleaned
            .map(|cleaned| ReportFile { path: folder.join(cleaned.name), bytes: cleaned.bytes })
            .collect();
        files.extend(station_files(folder, result, &run.inputs, &made_by())?);
        place(given, folder, &run.inputs).publish(&files, &[], None)?;
        console.notice(&format!(
            "wrote {} into {}",
            counted(files.len(), "file"),
            folder.display()
        ));
    }
    match given.format {
        Format::Json => console.data(&document(&station_json(result))?)?,
        Format::Csv => console.data(&station_csv(result)?)?,
        Format::Text => console.data(&station_text(result))?,
    }
    Ok(match result.verdict() {
        StationVerdict::Pass => Outcome::Holds,
        StationVerdict::Fail => Outcome::Fails,
        StationVerdict::Incomplete => Outcome::Incomplete,
    })
}
