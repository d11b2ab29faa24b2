//! `fourphase station`: one recipe over many files from a probe station.

use super::args::{Format, Station};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::batch::{StationEvent, StationVerdict, run_station};
use crate::description::read_station;
use crate::report::{ReportFile, document, publish, station_csv, station_json, station_text};

pub(super) fn run(given: &Station, console: &Console) -> Result<Outcome, Failure> {
    let recipe = read_station(&given.recipe)?;
    let mut notify = |event: StationEvent<'_>| match event {
        StationEvent::Warning(text) => console.warning(text),
        StationEvent::Failed(error) => console.error(&error.diagnostic()),
    };
    let run = run_station(&recipe, &given.reading.options(), &mut notify)?;
    let result = &run.result;
    if let Some(folder) = &given.out {
        let file = |name: &str, text: String| ReportFile {
            path: folder.join(name),
            bytes: text.into_bytes(),
        };
        let cleaned = run.cleaned.into_iter();
        let mut files: Vec<ReportFile> = cleaned
            .map(|cleaned| ReportFile { path: folder.join(cleaned.name), bytes: cleaned.bytes })
            .collect();
        files.push(file("station.json", document(&station_json(result))?));
        files.push(file("station.csv", station_csv(result)?));
        publish(&files, &run.inputs, given.overwrite)?;
        console.notice(&format!("wrote {} files into {}", files.len(), folder.display()));
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
