//! The files of a report on a comparison.

use super::comparison_report::{ComparisonReport, comparison_csv, comparison_text};
use super::files_error::FilesError;
use super::json_document::document;
use super::page::{PAGE, comparison_page};
use super::picture_files::PictureForms;
use super::pictures_drawn::{PictureToDraw, drawn};
use super::publish::ReportFile;
use super::report_folder::{PRINTED_REPORT, REPORT_DOCUMENT};
use crate::batch::InputFile;
use crate::plot::{Picture, PlotError};
use std::path::{Path, PathBuf};

/// The printed text, the document, the table, the picture and the page of a comparison of the files
/// `inputs`; `overlay` draws the picture. `command` is the command that makes them, which the page shows;
/// it may be empty.
///
/// # Errors
/// [`FilesError::Plot`] if drawing fails, [`FilesError::Input`] if a file is no longer there; the others
/// not in practice.
pub fn comparison_files(
    folder: &Path,
    report: &ComparisonReport,
    overlay: impl Fn() -> Result<Picture, PlotError> + Sync + Send,
    inputs: &[PathBuf],
    forms: PictureForms,
    command: &str,
) -> Result<Vec<ReportFile>, FilesError> {
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let mut files = vec![
        file(REPORT_DOCUMENT, document(report)?.into_bytes()),
        file(PRINTED_REPORT, comparison_text(report).into_bytes()),
        file("entries.csv", comparison_csv(report)?.into_bytes()),
    ];
    let pictures = vec![PictureToDraw::new("overlay", overlay)];
    let (pictures, drawn) = drawn(folder, pictures, forms)?;
    let inputs = InputFile::of(inputs).map_err(Box::new)?;
    let page =
        comparison_page(&serde_json::to_value(report)?, &files, &pictures, &inputs, command)?;
    files.push(file(PAGE, page));
    files.extend(drawn);
    Ok(files)
}
