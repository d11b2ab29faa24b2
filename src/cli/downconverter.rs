//! `fourphase downconverter`.

use super::Outcome;
use super::args::{Downconverter, Format};
use super::console::Console;
use super::failure::Failure;
use crate::batch::InputFile;
use crate::description::{read_receiver, read_tones};
use crate::downconverter::{DownconverterResult, Receiver, analyse_receiver};
use crate::measurement::{compare_tones_with_analysis, receiver_uncertainty};
use crate::plot;
use crate::report::{
    self, ReceiverReport, ReportFile, document, publish, receiver_text, tones_csv, tones_text,
};
use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};
use std::path::{Path, PathBuf};

pub(super) fn run(given: &Downconverter, console: &Console) -> Result<Outcome, Failure> {
    let options = given.reading.options();
    let mut loaded = read_receiver(&given.receiver, &options)?;
    let failed = |source| Failure::Receiver { file: given.receiver.clone(), source };
    let stated = given.uncertainty.as_ref().map(|stated| stated.read(&options)).transpose()?;
    let parts = match &stated {
        None => Vec::new(),
        Some(stated) => {
            loaded.warnings.extend(stated.warnings().iter().cloned());
            loaded.inputs.extend(stated.inputs().iter().cloned());
            stated.of_receiver(&mut loaded)?
        }
    };
    let receiver = &loaded.receiver;
    let result = analyse_receiver(receiver).map_err(failed)?;
    let uncertainty = match &stated {
        None => None,
        Some(stated) => {
            let (trials, decisions) = (stated.trials(), stated.decisions());
            let made = receiver_uncertainty(receiver, &result, &parts, trials, decisions);
            let file = given.receiver.clone();
            Some(made.map_err(|source| Failure::Measurement { file, source })?)
        }
    };
    let uncertainty = uncertainty.as_ref();
    let compared = |path: &PathBuf| {
        let tones = read_tones(path)?;
        compare_tones_with_analysis(tones.measurements(), &result, uncertainty)
            .map_err(|error| tones.located(&error))
    };
    let tones = given.measured.as_ref().map(compared).transpose()?;
    loaded.inputs.extend(given.measured.iter().cloned());
    if let (Some(stated), Some(known)) = (&stated, uncertainty) {
        let limits = &loaded.receiver.limits;
        loaded.warnings.extend(stated.remarks(limits, known.assessment.stability_db));
    }
    let receiver = &loaded.receiver;
    let warnings: Vec<String> = loaded.warnings.iter().chain(&result.warnings).cloned().collect();
    for warning in &warnings {
        console.warning(warning);
    }
    let report = || {
        let inputs = InputFile::of(&loaded.inputs)?;
        let report =
            ReceiverReport::new(receiver, &result, uncertainty, inputs, &options, &warnings);
        Ok::<_, Failure>(match &tones {
            Some(tones) => report.with_tones(tones),
            None => report,
        })
    };
    let mut files = Vec::new();
    if let Some(folder) = &given.writing.out {
        files.extend(report_files(folder, receiver, &result, &report()?)?);
        if let Some(uncertainty) = uncertainty {
            let table = report::receiver_uncertainty_csv(uncertainty)?.into_bytes();
            let picture = plot::receiver_coverage(receiver, &result, uncertainty)?;
            for (name, bytes) in [("uncertainty.csv", table), ("coverage.png", picture)] {
                files.push(ReportFile { path: folder.join(name), bytes });
            }
        }
        if let Some(tones) = &tones {
            let table = tones_csv(tones)?.into_bytes();
            let picture = plot::receiver_tones(receiver, &result, uncertainty, tones)?;
            for (name, bytes) in [("measured.csv", table), ("measured.png", picture)] {
                files.push(ReportFile { path: folder.join(name), bytes });
            }
        }
    }
    publish(&files, &loaded.inputs, given.writing.overwrite)?;
    match given.format {
        Format::Json => console.data(&document(&report()?)?)?,
        Format::Csv => console.data(&report::receiver_points_csv(&result)?)?,
        Format::Text => {
            let measured = tones.as_ref().map(tones_text).unwrap_or_default();
            let text = receiver_text(receiver, &result, uncertainty);
            console.data(&(text + &measured))?;
        }
    }
    for written in &files {
        console.notice(&format!("wrote {}", written.path.display()));
    }
    let passes =
        uncertainty.map_or(result.compliance.passes(), |own| own.assessment.decision.passes());
    Ok(if passes { Outcome::Holds } else { Outcome::Fails })
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
        file("points.csv", report::receiver_points_csv(result)?.into_bytes()),
        file("lo.csv", report::receiver_lo_csv(receiver, result)?.into_bytes()),
        file("budget.csv", report::receiver_budget_csv(result)?.into_bytes()),
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
