//! `fourphase inspect`.

use super::Outcome;
use super::args::{Format, Inspect};
use super::console::Console;
use super::failure::Failure;
use crate::network::{Quality, assess};
use crate::report::json::{Inspected, InspectedFile, UnreadableFile, document};
use crate::report::{ReportFile, csv, publish, text};
use crate::touchstone::{ReadError, TouchstoneFile, ports_in_name, read};
use std::io;
use std::path::{Path, PathBuf};

/// A file and what came of reading it.
struct Looked {
    name: String,
    result: Result<(TouchstoneFile, Option<Quality>), ReadError>,
}

pub(super) fn run(given: &Inspect, console: &Console) -> Result<Outcome, Failure> {
    let options = given.reading.options();
    let paths = expand(&given.files)?;
    let looked: Vec<Looked> = paths
        .iter()
        .map(|path| {
            let result = read(path, &options).map(|file| {
                // A file whose Z or Y has no S at some frequency is still worth showing.
                let quality = assess(&file.network).ok();
                (file, quality)
            });
            Looked { name: path.display().to_string(), result }
        })
        .collect();
    for failed in looked.iter().filter_map(|looked| looked.result.as_ref().err()) {
        console.error(&failed.diagnostic());
    }

    let entries: Vec<Inspected> = looked.iter().map(|looked| entry(looked, given.data)).collect();
    let json = || document(&entries);
    let table = || {
        let read = looked.iter().filter_map(|looked| {
            looked.result.as_ref().ok().map(|(file, _)| (looked.name.as_str(), file))
        });
        if given.data { csv::data(read) } else { csv::inspected(&entries) }
    };
    if let Some(folder) = &given.writing.out {
        let files = [
            ReportFile { path: folder.join("report.json"), bytes: json()?.into_bytes() },
            ReportFile {
                path: folder.join(if given.data { "data.csv" } else { "files.csv" }),
                bytes: table()?.into_bytes(),
            },
        ];
        publish(&files, &paths, given.writing.overwrite)?;
    }
    match given.format {
        Format::Json => console.data(&json()?)?,
        Format::Csv => console.data(&table()?)?,
        Format::Text => console.data(&as_text(&looked, given.data))?,
    }
    let unread = looked.iter().filter(|looked| looked.result.is_err()).count();
    if unread > 0 && looked.len() > 1 {
        console.notice(&format!("{unread} of {} files could not be read", looked.len()));
    }
    Ok(if unread > 0 { Outcome::Incomplete } else { Outcome::Holds })
}

fn entry(looked: &Looked, with_data: bool) -> Inspected {
    match &looked.result {
        Ok((file, quality)) => Inspected::Read(Box::new(InspectedFile::new(
            &looked.name,
            file,
            quality.as_ref(),
            with_data,
        ))),
        Err(error) => Inspected::Unreadable(UnreadableFile {
            file: looked.name.clone(),
            error: error.problem().map_or_else(|| error.to_string(), ToString::to_string),
            line: error.position().map(|position| position.line),
            column: error.position().map(|position| position.column),
        }),
    }
}

fn as_text(looked: &[Looked], with_data: bool) -> String {
    let parts: Vec<String> = looked
        .iter()
        .filter_map(|looked| {
            let (file, quality) = looked.result.as_ref().ok()?;
            let mut part = text::inspected(&looked.name, file, quality.as_ref());
            if with_data {
                part.push_str(&text::data(file));
            }
            Some(part)
        })
        .collect();
    parts.join("\n")
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
