//! The files of a report on a receiver.

use super::files_error::FilesError;
use super::json_document::document;
use super::page::{PAGE, receiver_page};
use super::picture_files::PictureForms;
use super::pictures_drawn::{PictureToDraw, drawn};
use super::publish::ReportFile;
use super::receiver_budget_report::receiver_budget_csv;
use super::receiver_correction_report::receiver_corrections_csv;
use super::receiver_lo_chain_report::{lo_levels_csv, lo_tones_csv, spurious_responses_csv};
use super::receiver_points_report::{receiver_lo_csv, receiver_points_csv};
use super::receiver_report::{ReceiverReport, receiver_text};
use super::receiver_uncertainty_report::receiver_uncertainty_csv;
use super::report_folder::{PRINTED_REPORT, REPORT_DOCUMENT, printed_report};
use super::tones_report::{tones_csv, tones_text};
use crate::batch::AssessedReceiver;
use crate::downconverter::{DownconverterResult, LoChainResult, Receiver, SwitchingResult};
use crate::measurement::Assessment;
use crate::plot::{self, Caption, Picture, PlotError};
use std::path::Path;

type Draw = fn(
    &Caption<'_>,
    &Receiver,
    &DownconverterResult,
    Option<&Assessment>,
) -> Result<Picture, PlotError>;

const PICTURES: [(&str, Draw); 7] = [
    ("image-rejection", plot::receiver_rejection),
    ("image-rejection-map", plot::receiver_rejection_map),
    ("imbalance", plot::receiver_imbalance),
    ("phasors", |caption, receiver, result, _| plot::receiver_phasors(caption, receiver, result)),
    ("contours", |caption, receiver, result, _| plot::receiver_contours(caption, receiver, result)),
    ("drive", |caption, receiver, result, _| plot::receiver_drive(caption, receiver, result)),
    ("budget", |caption, _, result, _| plot::receiver_budget(caption, result)),
];

type DrawSwitching = fn(&Caption<'_>, &Receiver, &SwitchingResult) -> Result<Picture, PlotError>;

/// Pictures of a receiver with switched mixers.
const SWITCHING_PICTURES: [(&str, DrawSwitching); 4] = [
    ("switching", plot::switching_over_lo),
    ("switching-drive", plot::switching_over_drive),
    ("leakage", plot::switching_leakage),
    ("conductances", plot::conductance_waveforms),
];

type DrawChain =
    fn(&Caption<'_>, &Receiver, &DownconverterResult, &LoChainResult) -> Result<Picture, PlotError>;

/// Pictures of a receiver with an LO chain.
const CHAIN_PICTURES: [(&str, DrawChain); 4] = [
    ("lo-levels", plot::lo_level_plan),
    ("lo-spectrum", |caption, receiver, _, chain| plot::lo_spectrum(caption, receiver, chain)),
    ("spurious-responses", |caption, receiver, _, chain| {
        plot::spurious_map(caption, receiver, chain)
    }),
    ("input-window", |caption, receiver, _, chain| plot::input_window(caption, receiver, chain)),
];

/// The text on a receiver and on the tones that were measured on it.
#[must_use]
pub fn assessed_receiver_text(assessed: &AssessedReceiver) -> String {
    let receiver = &assessed.receiver;
    let mut text = receiver_text(receiver, &assessed.result, assessed.uncertainty.as_ref());
    let wanted = receiver.plan().wanted();
    text.extend(assessed.tones.as_ref().map(|tones| tones_text(tones, wanted)));
    text
}

/// The printed text, the document, the tables, the pictures and the page of a receiver, drawn on all
/// threads. `command` is the command that makes them, which the page shows; it may be empty.
///
/// # Errors
/// [`FilesError::Plot`] if drawing fails; the others not in practice.
pub fn receiver_files(
    folder: &Path,
    assessed: &AssessedReceiver,
    report: &ReceiverReport,
    forms: PictureForms,
    command: &str,
) -> Result<Vec<ReportFile>, FilesError> {
    let (receiver, result) = (&assessed.receiver, &assessed.result);
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let mut files = vec![
        file(PRINTED_REPORT, printed_report(&assessed_receiver_text(assessed), &assessed.warnings)),
        file(REPORT_DOCUMENT, document(report)?.into_bytes()),
        file("points.csv", receiver_points_csv(result)?.into_bytes()),
        file("lo.csv", receiver_lo_csv(receiver, result)?.into_bytes()),
        file("corrections.csv", receiver_corrections_csv(receiver, result)?.into_bytes()),
        file("budget.csv", receiver_budget_csv(result)?.into_bytes()),
    ];
    if let Some(known) = &assessed.uncertainty {
        files.push(file("uncertainty.csv", receiver_uncertainty_csv(known)?.into_bytes()));
    }
    if let Some(chain) = &result.lo_chain {
        files.push(file("lo_chain.csv", lo_levels_csv(receiver, chain)?.into_bytes()));
        files.push(file("lo_tones.csv", lo_tones_csv(receiver, chain)?.into_bytes()));
        let responses = spurious_responses_csv(chain)?;
        files.push(file("spurious_responses.csv", responses.into_bytes()));
    }
    if let Some(tones) = &assessed.tones {
        files.push(file("measured.csv", tones_csv(tones)?.into_bytes()));
    }
    let (pictures, drawn) = drawn(folder, receiver_pictures(assessed), forms)?;
    let page = receiver_page(&serde_json::to_value(report)?, &files, &pictures, command)?;
    files.push(file(PAGE, page));
    files.extend(drawn);
    Ok(files)
}

/// The pictures of a receiver, not drawn yet.
fn receiver_pictures(assessed: &AssessedReceiver) -> Vec<PictureToDraw<'_>> {
    let (receiver, result) = (&assessed.receiver, &assessed.result);
    let uncertainty = assessed.uncertainty.as_ref();
    let assessment = uncertainty.map(|known| &known.assessment);
    let named = Named::of(assessed);
    let mut pictures: Vec<PictureToDraw<'_>> = Vec::new();
    for (name, draw) in PICTURES {
        let named = named.clone();
        pictures.push(PictureToDraw::new(name, move || {
            draw(&named.caption(assessed), receiver, result, assessment)
        }));
    }
    for (name, draw) in SWITCHING_PICTURES {
        let named = named.clone();
        let Some(switching) = &result.switching else { continue };
        pictures.push(PictureToDraw::new(name, move || {
            draw(&named.caption(assessed), receiver, switching)
        }));
    }
    let has_map = receiver.plan().lo_hz().len() > 1 && receiver.plan().if_hz().len() > 1;
    if let Some(switching) = result.switching.as_ref().filter(|_| has_map) {
        let named = named.clone();
        pictures.push(PictureToDraw::new("switching-map", move || {
            plot::switching_map(&named.caption(assessed), receiver, switching)
        }));
    }
    if let Some(known) = uncertainty {
        let named = named.clone();
        pictures.push(PictureToDraw::new("coverage", move || {
            plot::receiver_coverage(&named.caption(assessed), receiver, result, known)
        }));
    }
    for (name, draw) in CHAIN_PICTURES {
        let named = named.clone();
        let Some(chain) = &result.lo_chain else { continue };
        // Of switched mixers spurious responses are not computed.
        if name != "spurious-responses" || receiver.switching().is_none() {
            pictures.push(PictureToDraw::new(name, move || {
                draw(&named.caption(assessed), receiver, result, chain)
            }));
        }
    }
    if let Some(tones) = &assessed.tones {
        pictures.push(PictureToDraw::new("measured", move || {
            plot::receiver_tones(&named.caption(assessed), receiver, result, uncertainty, tones)
        }));
    }
    pictures
}

/// What the captions of a receiver name.
#[derive(Clone)]
struct Named {
    described: String,
    date: Option<String>,
}

impl Named {
    fn of(assessed: &AssessedReceiver) -> Self {
        // The description is the first file that was read.
        let described = assessed.inputs.first().and_then(|path| path.file_name());
        let described = described.map(|name| name.to_string_lossy().into_owned());
        let date = match assessed.dates.as_slice() {
            [] => None,
            [only] => Some(only.clone()),
            several => Some(format!("variously ({} dates)", several.len())),
        };
        Self { described: described.unwrap_or_default(), date }
    }

    fn caption<'n>(&'n self, assessed: &'n AssessedReceiver) -> Caption<'n> {
        let (subject, date) = (assessed.receiver.title(), self.date.as_deref());
        Caption { subject, file: &self.described, date }
    }
}
