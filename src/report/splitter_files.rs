//! The files of a report on a splitter.

use super::files_error::FilesError;
use super::json_document::document;
use super::picture_files::PictureForms;
use super::publish::ReportFile;
use super::report_folder::PRINTED_REPORT;
use super::splitter_report::{SplitterReport, splitter_csv};
use super::splitter_uncertainty_report::splitter_uncertainty_csv;
use crate::batch::AssessedSplitter;
use crate::plot::{self, Caption, Picture, PlotError};
use rayon::prelude::{IntoParallelIterator as _, ParallelIterator as _};
use std::path::Path;

/// A picture's name, without an ending, and what draws it.
type Drawn<'d> = (String, Box<dyn Fn() -> Result<Picture, PlotError> + Sync + Send + 'd>);

/// The printed text, the document, the tables and the pictures of a splitter, drawn on all threads.
///
/// # Errors
/// [`FilesError::Plot`] if drawing fails; the others not in practice.
pub fn splitter_files(
    folder: &Path,
    assessed: &AssessedSplitter,
    report: &SplitterReport,
    printed: &str,
    forms: PictureForms,
) -> Result<Vec<ReportFile>, FilesError> {
    let result = &assessed.result;
    let rejection = result.roles.kind.rejection().label().replace(' ', "-");
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let uncertainty = assessed.uncertainty.as_ref();
    let assessment = uncertainty.map(|known| &known.assessment);
    let mut files = vec![
        file(PRINTED_REPORT, printed.as_bytes().to_vec()),
        file("report.json", document(report)?.into_bytes()),
        file("points.csv", splitter_csv(result)?.into_bytes()),
    ];
    let name = assessed.file_name();
    let caption = Caption { subject: "", file: &name, date: assessed.date.as_deref() };
    let mut pictures: Vec<Drawn<'_>> = vec![
        ("imbalance".to_owned(), Box::new(|| plot::imbalance(&caption, result))),
        (rejection, Box::new(|| plot::rejection(&caption, result, assessment))),
        ("contours".to_owned(), Box::new(|| plot::contours(&caption, result))),
        ("losses".to_owned(), Box::new(|| plot::losses(&caption, result))),
    ];
    if let Some(known) = uncertainty {
        let table = splitter_uncertainty_csv(known, result)?;
        files.push(file("uncertainty.csv", table.into_bytes()));
        let draw = || plot::splitter_coverage(&caption, result, known);
        pictures.push(("coverage".to_owned(), Box::new(draw)));
    }
    let drawn = pictures.into_par_iter().map(|(name, draw)| forms.files(folder, &name, &draw()?));
    files.extend(drawn.collect::<Result<Vec<_>, PlotError>>()?.into_iter().flatten());
    Ok(files)
}
