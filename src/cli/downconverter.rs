//! `fourphase downconverter`.

use super::Outcome;
use super::args::{Downconverter, Format};
use super::console::Console;
use super::failure::Failure;
use super::input::hashed;
use crate::downconverter::{DownconverterResult, Receiver, analyse_receiver, load_receiver};

use crate::plot;
use crate::report::json::document;
use crate::report::receiver_json::ReceiverReport;
use crate::report::{ReportFile, publish, receiver_csv, receiver_text};
use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};
use std::path::Path;

pub(super) fn run(given: &Downconverter, console: &Console) -> Result<Outcome, Failure> {
    let options = given.reading.options();
    let loaded = load_receiver(&given.receiver, &options)?;
    let receiver = &loaded.receiver;
    let result = analyse_receiver(receiver)
        .map_err(|source| Failure::Receiver { file: given.receiver.clone(), source })?;
    let warnings: Vec<String> = loaded.warnings.iter().chain(&result.warnings).cloned().collect();
    for warning in &warnings {
        console.warning(warning);
    }
    let report = || {
        let inputs = hashed(&loaded.inputs)?;
        Ok::<_, Failure>(ReceiverReport::new(receiver, &result, inputs, &options, &warnings))
    };
    let mut files = Vec::new();
    if let Some(folder) = &given.writing.out {
        files.extend(report_files(folder, receiver, &result, &report()?)?);
    }
    publish(&files, &loaded.inputs, given.writing.overwrite)?;
    match given.format {
        Format::Json => console.data(&document(&report()?)?)?,
        Format::Csv => console.data(&receiver_csv::points(&result)?)?,
        Format::Text => console.data(&receiver_text::receiver(receiver, &result))?,
    }
    for written in &files {
        console.notice(&format!("wrote {}", written.path.display()));
    }
    Ok(if result.verdict.passes() { Outcome::Holds } else { Outcome::Fails })
}

fn report_files(
    folder: &Path,
    receiver: &Receiver,
    result: &DownconverterResult,
    report: &ReceiverReport,
) -> Result<Vec<ReportFile>, Failure> {
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let mut files = vec![
        file("report.json", document(report)?.into_bytes()),
        file("points.csv", receiver_csv::points(result)?.into_bytes()),
        file("lo.csv", receiver_csv::lo(receiver, result)?.into_bytes()),
        file("budget.csv", receiver_csv::budget(result)?.into_bytes()),
    ];
    type Picture = fn(&Receiver, &DownconverterResult) -> Result<Vec<u8>, plot::PlotError>;
    let pictures: [(&str, Picture); 7] = [
        ("image-rejection.png", plot::receiver_rejection),
        ("image-rejection-map.png", plot::receiver_rejection_map),
        ("imbalance.png", plot::receiver_imbalance),
        ("phasors.png", plot::receiver_phasors),
        ("contours.png", plot::receiver_contours),
        ("drive.png", plot::receiver_drive),
        ("budget.png", |_, result| plot::receiver_budget(result)),
    ];
    let drawn: Result<Vec<ReportFile>, plot::PlotError> = pictures
        .par_iter()
        .map(|(name, picture)| Ok(file(name, picture(receiver, result)?)))
        .collect();
    files.extend(drawn?);
    Ok(files)
}
