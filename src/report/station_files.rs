//! The files of a report on a probe station's files, besides the files without fixtures.

use super::files_error::FilesError;
use super::json_document::document;
use super::page::{PAGE, station_page};
use super::publish::ReportFile;
use super::report_folder::PRINTED_REPORT;
use super::station_report::{station_csv, station_json, station_text};
use crate::batch::{InputFile, StationResult};
use std::path::{Path, PathBuf};

const DOCUMENT: &str = "station.json";
const TABLE: &str = "station.csv";

/// The names of the files that [`station_files`] gives.
pub const STATION_FILES: [&str; 4] = [TABLE, DOCUMENT, PRINTED_REPORT, PAGE];

/// The document, the table, the printed text and the page of a probe station's files, of which `inputs`
/// are those that were read, the description first. `command` is the command that makes them, which the
/// page shows; it may be empty.
///
/// # Errors
/// [`FilesError::Input`] if a file is no longer there; the others not in practice.
pub fn station_files(
    folder: &Path,
    result: &StationResult,
    inputs: &[PathBuf],
    command: &str,
) -> Result<Vec<ReportFile>, FilesError> {
    let file =
        |name: &str, text: String| ReportFile { path: folder.join(name), bytes: text.into_bytes() };
    let json = station_json(result);
    let mut files = vec![
        file(DOCUMENT, document(&json)?),
        file(TABLE, station_csv(result)?),
        file(PRINTED_REPORT, station_text(result)),
    ];
    let title = inputs.first().and_then(|path| path.file_name());
    let title = title.map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let inputs = InputFile::of(inputs).map_err(Box::new)?;
    let page = station_page(&json, result.verdict(), &title, &files, &inputs, command)?;
    files.push(ReportFile { path: folder.join(PAGE), bytes: page });
    Ok(files)
}
