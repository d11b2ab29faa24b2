//! The files of a report on a receiver.

use super::files_error::FilesError;
use super::json_document::document;
use super::publish::ReportFile;
use super::receiver_budget_report::receiver_budget_csv;
use super::receiver_correction_report::receiver_corrections_csv;
use super::receiver_lo_chain_report::{lo_levels_csv, lo_tones_csv, spurious_responses_csv};
use super::receiver_points_report::{receiver_lo_csv, receiver_points_csv};
use super::receiver_report::ReceiverReport;
use super::receiver_uncertainty_report::receiver_uncertainty_csv;
use super::tones_report::tones_csv;
use crate::batch::AssessedReceiver;
use crate::downconverter::{DownconverterResult, Receiver};
use crate::measurement::Assessment;
use crate::plot::{self, PlotError};
use rayon::prelude::{IntoParallelIterator as _, ParallelIterator as _};
use std::path::Path;

type Picture =
    fn(&Receiver, &DownconverterResult, Option<&Assessment>) -> Result<Vec<u8>, PlotError>;

const PICTURES: [(&str, Picture); 7] = [
    ("image-rejection.png", plot::receiver_rejection),
    ("image-rejection-map.png", plot::receiver_rejection_map),
    ("imbalance.png", |receiver, result, _| plot::receiver_imbalance(receiver, result)),
    ("phasors.png", |receiver, result, _| plot::receiver_phasors(receiver, result)),
    ("contours.png", |receiver, result, _| plot::receiver_contours(receiver, result)),
    ("drive.png", |receiver, result, _| plot::receiver_drive(receiver, result)),
    ("budget.png", |_, result, _| plot::receiver_budget(result)),
];

/// The document, the tables and the pictures of a receiver, drawn on all threads.
///
/// # Errors
/// [`FilesError::Plot`] if drawing fails; the others not in practice.
pub fn receiver_files(
    folder: &Path,
    assessed: &AssessedReceiver,
    report: &ReceiverReport,
) -> Result<Vec<ReportFile>, FilesError> {
    let (receiver, result) = (&assessed.receiver, &assessed.result);
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let mut files = vec![
        file("report.json", document(report)?.into_bytes()),
        file("points.csv", receiver_points_csv(result)?.into_bytes()),
        file("lo.csv", receiver_lo_csv(receiver, result)?.into_bytes()),
        file("corrections.csv", receiver_corrections_csv(result)?.into_bytes()),
        file("budget.csv", receiver_budget_csv(result)?.into_bytes()),
    ];
    let uncertainty = assessed.uncertainty.as_ref();
    let assessment = uncertainty.map(|known| &known.assessment);
    let drawn = PICTURES
        .into_par_iter()
        .map(|(name, picture)| Ok(file(name, picture(receiver, result, assessment)?)));
    files.extend(drawn.collect::<Result<Vec<_>, PlotError>>()?);
    if let Some(known) = uncertainty {
        files.push(file("uncertainty.csv", receiver_uncertainty_csv(known)?.into_bytes()));
        files.push(file("coverage.png", plot::receiver_coverage(receiver, result, known)?));
    }
    if let Some(chain) = &result.lo_chain {
        files.push(file("lo_chain.csv", lo_levels_csv(receiver, chain)?.into_bytes()));
        files.push(file("lo_tones.csv", lo_tones_csv(receiver, chain)?.into_bytes()));
        let responses = spurious_responses_csv(chain)?;
        files.push(file("spurious_responses.csv", responses.into_bytes()));
        let levels = plot::lo_level_plan(receiver, result, chain)?;
        files.push(file("lo-levels.png", levels));
        files.push(file("lo-spectrum.png", plot::lo_spectrum(receiver, chain)?));
        files.push(file("spurious-responses.png", plot::spurious_map(receiver, chain)?));
        files.push(file("input-window.png", plot::input_window(receiver, chain)?));
    }
    if let Some(tones) = &assessed.tones {
        files.push(file("measured.csv", tones_csv(tones)?.into_bytes()));
        let picture = plot::receiver_tones(receiver, result, uncertainty, tones)?;
        files.push(file("measured.png", picture));
    }
    Ok(files)
}
