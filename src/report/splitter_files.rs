//! The files of a report on a splitter.

use super::files_error::FilesError;
use super::json_document::document;
use super::publish::ReportFile;
use super::report_folder::PRINTED_REPORT;
use super::splitter_report::{SplitterReport, splitter_csv};
use super::splitter_uncertainty_report::splitter_uncertainty_csv;
use crate::batch::AssessedSplitter;
use crate::plot;
use std::path::Path;

/// The printed text, the document, the tables and the pictures of a splitter.
///
/// # Errors
/// [`FilesError::Plot`] if drawing fails; the others not in practice.
pub fn splitter_files(
    folder: &Path,
    assessed: &AssessedSplitter,
    report: &SplitterReport,
    printed: &str,
) -> Result<Vec<ReportFile>, FilesError> {
    let result = &assessed.result;
    let rejection = result.roles.kind.rejection().label().replace(' ', "-") + ".png";
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let assessment = assessed.uncertainty.as_ref().map(|known| &known.assessment);
    let mut files = vec![
        file(PRINTED_REPORT, printed.as_bytes().to_vec()),
        file("report.json", document(report)?.into_bytes()),
        file("points.csv", splitter_csv(result)?.into_bytes()),
        file("imbalance.png", plot::imbalance(result)?),
        file(&rejection, plot::rejection(result, assessment)?),
        file("contours.png", plot::contours(result)?),
        file("losses.png", plot::losses(result)?),
    ];
    if let Some(known) = &assessed.uncertainty {
        let table = splitter_uncertainty_csv(known, result)?;
        files.push(file("uncertainty.csv", table.into_bytes()));
        files.push(file("coverage.png", plot::splitter_coverage(result, known)?));
    }
    Ok(files)
}
