//! `fourphase inspect`.

use super::args::{Format, Inspect};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::progress_bar::Bar;
use crate::batch::{Progress, Work};
use crate::network::{PassivePartFinding, Quality, assess};
use crate::report::{self, Inspected, InspectedFile, ReportFile, UnreadableFile, document};
use crate::touchstone::{
    PassiveFileError, ReadError, ReadOptions, TouchstoneFile, findings_beside_quality,
    passive_file_findings, ports_in_name, read,
};
use std::io;
use std::path::{Path, PathBuf};

/// What is kept of a file once it was looked at; its numbers only where they are asked for.
struct Looked {
    name: String,
    entry: Inspected,
    /// Its part of the text report.
    text: Option<String>,
    /// For the table of numbers.
    file: Option<TouchstoneFile>,
    /// Whether its data can be those of a passive, reciprocal part.
    is_plausible: bool,
}

pub(super) fn run(given: &Inspect, console: &Console) -> Result<Outcome, Failure> {
    let options = given.reading.options();
    let paths = expand(&given.files)?;
    given.writing.check(&paths, None)?;
    let bar = Bar::new(console);
    let total = paths.len() as u64;
    let looked = (0..).zip(&paths).map(|(done, path)| {
        bar.show(Progress { work: Work::Files, done, total });
        look(path, given, &options, &|error| bar.beside(|| console.error(&error.diagnostic())))
    });
    let looked: Vec<Looked> = looked.collect();
    drop(bar);

    let entries: Vec<&Inspected> = looked.iter().map(|looked| &looked.entry).collect();
    let json = || document(&entries);
    let table = || {
        if given.data {
            report::data_csv(
                looked
                    .iter()
                    .filter_map(|one| one.file.as_ref().map(|file| (one.name.as_str(), file))),
            )
        } else {
            report::inspect_csv(&entries)
        }
    };
    let printed = || {
        let parts: Vec<&str> = looked.iter().filter_map(|looked| looked.text.as_deref()).collect();
        parts.join("\n")
    };
    if let Some(folder) = &given.writing.out {
        let files = [
            ReportFile { path: folder.join(report::PRINTED_REPORT), bytes: printed().into_bytes() },
            ReportFile { path: folder.join("report.json"), bytes: json()?.into_bytes() },
            ReportFile {
                path: folder.join(if given.data { "data.csv" } else { "files.csv" }),
                bytes: table()?.into_bytes(),
            },
        ];
        given.writing.publish(&files, &[], &paths, None)?;
    }
    match given.format {
        Format::Json => console.data(&json()?)?,
        Format::Csv => console.data(&table()?)?,
        Format::Text => console.data(&printed())?,
    }
    let unread = looked.iter().filter(|looked| looked.text.is_none()).count();
    if unread > 0 && looked.len() > 1 {
        console.notice(&format!("{unread} of {} files could not be read", looked.len()));
    }
    if unread > 0 {
        return Ok(Outcome::Incomplete);
    }
    let implausible = looked.iter().filter(|looked| !looked.is_plausible).count();
    if given.reading.strict && implausible > 0 {
        console.notice(&format!(
            "{implausible} of {} are not files of passive, reciprocal parts with a delay",
            looked.len()
        ));
        return Ok(Outcome::Fails);
    }
    Ok(Outcome::Holds)
}

/// Reads one file, says at once what is wrong with it, and keeps what the report needs.
fn look(
    path: &Path,
    given: &Inspect,
    options: &ReadOptions,
    on_error: &dyn Fn(&ReadError),
) -> Looked {
    let name = path.display().to_string();
    match read(path, options) {
        Ok(file) => {
            // A file whose Z or Y has no S at some frequency is still worth showing.
            let quality = assess(&file.network).ok();
            let (findings, is_excluded) = findings(&file, quality.as_ref());
            let mut part = report::inspect_text(&name, &file, quality.as_ref(), &findings);
            if given.data && given.format == Format::Text {
                part.push_str(&report::data_text(&file));
            }
            let entry = InspectedFile::new(&name, &file, quality.as_ref(), &findings, given.data);
            Looked {
                name,
                entry: Inspected::Read(Box::new(entry)),
                text: Some(part),
                file: given.data.then_some(file),
                is_plausible: !is_excluded
                    && quality.is_some_and(|quality| quality.is_of_passive_part()),
            }
        }
        Err(error) => {
            on_error(&error);
            let entry = UnreadableFile {
                file: name.clone(),
                error: error.problem().map_or_else(|| error.to_string(), ToString::to_string),
                line: error.position().map(|position| position.line),
                column: error.position().map(|position| position.column),
            };
            Looked {
                name,
                entry: Inspected::Unreadable(entry),
                text: None,
                file: None,
                is_plausible: true,
            }
        }
    }
}

/// What the figures of quality do not show of a file, as sentences, and whether an analysis would refuse
/// the file.
fn findings(file: &TouchstoneFile, quality: Option<&Quality>) -> (Vec<String>, bool) {
    let found = match quality {
        Some(quality) => findings_beside_quality(file, quality),
        None => passive_file_findings(file, f64::NEG_INFINITY..=f64::INFINITY, false),
    };
    match found {
        Ok(found) => {
            let is_told = |own: &&PassivePartFinding| !own.is_figure_of_quality();
            (found.iter().filter(is_told).map(ToString::to_string).collect(), false)
        }
        Err(PassiveFileError::Network(_)) => (Vec::new(), false),
        // Gain that no mistake explains stands among the figures.
        Err(PassiveFileError::NotPassive { finding, likely: None })
            if finding.is_figure_of_quality() =>
        {
            (Vec::new(), true)
        }
        Err(error) => (vec![error.to_string()], true),
    }
}

/// Files as named; a folder stands for the Touchstone files in it and below, in the order of
/// their names.
fn expand(given: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut paths = Vec::new();
    for path in given {
        if path.is_dir() {
            let before = paths.len();
            walk(path, &mut paths)
                .map_err(|source| ReadError::Io { path: path.clone(), source })?;
            if paths.len() == before {
                return Err(Failure::Usage(format!(
                    "no .sNp or .ts file in {} or below",
                    path.display()
                )));
            }
        } else {
            paths.push(path.clone());
        }
    }
    Ok(paths)
}

fn walk(folder: &Path, paths: &mut Vec<PathBuf>) -> io::Result<()> {
    let mut entries = std::fs::read_dir(folder)?.collect::<io::Result<Vec<_>>>()?;
    entries.sort_by_key(std::fs::DirEntry::file_name);
    for entry in entries {
        let path = entry.path();
        let kind = entry.file_type()?;
        // Links to folders are not followed, so that a loop of them cannot trap the walk.
        if kind.is_dir() {
            walk(&path, paths)?;
        } else if ports_in_name(&path).is_some()
            || path.extension().is_some_and(|ext| ext.eq_ignore_ascii_case("ts"))
        {
            paths.push(path);
        }
    }
    Ok(())
}
