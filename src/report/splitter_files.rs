//! The files of a report on a splitter.

use super::files_error::FilesError;
use super::json_document::document;
use super::page::{PAGE, splitter_page};
use super::picture_files::PictureForms;
use super::pictures_drawn::{PictureToDraw, drawn};
use super::publish::ReportFile;
use super::report_folder::{PRINTED_REPORT, printed_report};
use super::splitter_report::{SplitterReport, splitter_csv};
use super::splitter_uncertainty_report::splitter_uncertainty_csv;
use crate::batch::{AssessedSplitter, InputFile};
use crate::plot::{self, Caption};
use std::path::Path;

/// The printed text, the document, the tables, the pictures and the page of a splitter, drawn on all
/// threads. `command` is the command that makes them, which the page shows; it may be empty.
///
/// # Errors
/// [`FilesError::Plot`] if drawing fails, [`FilesError::Input`] if a file is no longer there; the others not in practice.
pub fn splitter_files(
    folder: &Path,
    assessed: &AssessedSplitter,
    report: &SplitterReport,
    printed: &str,
    forms: PictureForms,
    command: &str,
) -> Result<Vec<ReportFile>, FilesError> {
    let result = &assessed.result;
    let rejection = result.roles.kind.rejection().label().replace(' ', "-");
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let uncertainty = assessed.uncertainty.as_ref();
    let assessment = uncertainty.map(|known| &known.assessment);
    let mut files = vec![
        file(PRINTED_REPORT, printed_report(printed, &assessed.warnings)),
        file("report.json", document(report)?.into_bytes()),
        file("points.csv", splitter_csv(result)?.into_bytes()),
    ];
    let name = &assessed.file_name();
    let caption = move || Caption { subject: "", file: name, date: assessed.date.as_deref() };
    let mut pictures = vec![
        PictureToDraw::new("imbalance", move || plot::imbalance(&caption(), result, assessment)),
        PictureToDraw::new(&rejection, move || plot::rejection(&caption(), result, assessment)),
        PictureToDraw::new("contours", move || plot::contours(&caption(), result)),
        PictureToDraw::new("losses", move || plot::losses(&caption(), result)),
    ];
    if let Some(known) = uncertainty {
        let table = splitter_uncertainty_csv(known, result)?;
        files.push(file("uncertainty.csv", table.into_bytes()));
        let draw = move || plot::splitter_coverage(&caption(), result, known);
        pictures.push(PictureToDraw::new("coverage", draw));
    }
    let (pictures, drawn) = drawn(folder, pictures, forms)?;
    let inputs = InputFile::of(&assessed.inputs).map_err(Box::new)?;
    let page = splitter_page(&serde_json::to_value(report)?, &files, &pictures, &inputs, command)?;
    files.push(file(PAGE, page));
    files.extend(drawn);
    Ok(files)
}
