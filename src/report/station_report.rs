//! What came of many files from a probe station: text, JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use super::text_table::{filled, fixed, lines, table};
use crate::diagnostic::printable;
use crate::measurement::{Drift, ThroughResidual, length_um};
use crate::network::Deembedded;
use crate::units::{ShownFrequency, shown_band};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// What came of all files.
#[derive(Clone, Debug)]
pub struct StationReport {
    /// In order of their names.
    pub files: Vec<StationFile>,
    /// The largest residual of a through to allow.
    pub through_limit: Option<f64>,
    /// The throughs that were looked at.
    pub throughs: Vec<StationCheck>,
    /// The largest drift to allow.
    pub drift_limit: Option<f64>,
    /// What drifted, where two measurements of one thing are given.
    pub drift: Option<Drift>,
    /// Of the lines on which probes stand.
    pub effective_permittivity: Option<f64>,
}

/// What came of one file.
#[derive(Clone, Debug)]
pub struct StationFile {
    file: String,
    /// Condition number and where, largest singular value before and after.
    figures: Option<(f64, f64, f64, f64)>,
    message: String,
}

/// A through and what is left of it.
#[derive(Clone, Debug)]
pub struct StationCheck {
    /// Its file.
    pub file: String,
    /// How far it is from a through.
    pub residual: ThroughResidual,
}

impl StationFile {
    /// A file that was worked on.
    #[must_use]
    pub fn done(file: &str, removed: &Deembedded) -> Self {
        let condition = removed.worst_condition;
        Self {
            file: file.to_owned(),
            figures: Some((
                condition.value,
                condition.frequency_hz,
                removed.singular_value_before,
                removed.singular_value_after,
            )),
            message: removed.warnings.join("; "),
        }
    }

    /// A file that could not be.
    #[must_use]
    pub fn failed(file: &str, message: &str) -> Self {
        Self { file: file.to_owned(), figures: None, message: message.to_owned() }
    }

    /// Whether it could not be worked on.
    #[must_use]
    pub fn has_failed(&self) -> bool {
        self.figures.is_none()
    }
}

impl StationReport {
    /// Whether every check that has a limit holds.
    #[must_use]
    pub fn holds(&self) -> bool {
        let through = self
            .through_limit
            .is_none_or(|limit| self.throughs.iter().all(|check| check.residual.worst() <= limit));
        through && self.drift_holds().unwrap_or(true)
    }

    fn drift_holds(&self) -> Option<bool> {
        Some(self.drift.as_ref()?.vector.worst <= self.drift_limit?)
    }

    fn um(&self, delay_s: f64) -> Option<f64> {
        self.effective_permittivity.map(|permittivity| length_um(delay_s, permittivity))
    }

    /// The document.
    #[must_use]
    pub fn json(&self) -> Value {
        let files = self.files.iter().map(|file| {
            let (condition, at_hz, before, after) =
                file.figures.map_or((None, None, None, None), |(condition, at, before, after)| {
                    (Some(condition), Some(at), Some(before), Some(after))
                });
            json!({
                "file": file.file,
                "status": if file.has_failed() { "error" } else { "done" },
                "condition": condition,
                "condition_at_hz": at_hz,
                "max_singular_value_before": before,
                "max_singular_value_after": after,
                "message": file.message,
            })
        });
        let throughs = self.throughs.iter().map(|check| {
            let residual = &check.residual;
            json!({
                "file": check.file,
                "residual": residual.worst(),
                "max_reflection": residual.reflection.value,
                "max_reflection_at_hz": residual.reflection.at_hz,
                "max_transmission_error": residual.transmission.value,
                "max_transmission_error_at_hz": residual.transmission.at_hz,
                "delay_s": residual.delay_s,
                "length_um": self.um(residual.delay_s),
                "max_phase_error_deg": residual.phase_deg.value,
                "max_phase_error_at_hz": residual.phase_deg.at_hz,
                "pass": self.through_limit.map(|limit| residual.worst() <= limit),
            })
        });
        let drift = self.drift.as_ref().map(|drift| {
            json!({
                "entry": [drift.entry.0.number(), drift.entry.1.number()],
                "max_vector_difference": drift.vector.worst,
                "max_vector_difference_at_hz": drift.vector.worst_at_hz,
                "rms_vector_difference": drift.vector.rms,
                "max_magnitude_difference_db": drift.magnitude_db.value,
                "max_phase_difference_deg": drift.phase_deg.value,
                "delays_s": drift.delays_s,
                "lengths_um": drift
                    .delays_s
                    .iter()
                    .map(|&delay_s| self.um(delay_s))
                    .collect::<Option<Vec<f64>>>(),
                "band_hz": [drift.band_hz.0, drift.band_hz.1],
                "limit": self.drift_limit,
                "pass": self.drift_holds(),
            })
        });
        json!({
            "pass": self.holds(),
            "files": files.collect::<Vec<_>>(),
            "thrus": throughs.collect::<Vec<_>>(),
            "thru_limit": self.through_limit,
            "drift": drift,
        })
    }
}

/// One row per file.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn station_csv(report: &StationReport) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row([
        "file",
        "status",
        "condition",
        "condition_at_hz",
        "max_singular_value_before",
        "max_singular_value_after",
        "message",
    ])?;
    for file in &report.files {
        let figures = file.figures.map(|(a, b, c, d)| [a, b, c, d]);
        let number = |at: usize| optional(figures.map(|figures| figures[at]));
        table.row([
            harmless(&file.file),
            (if file.has_failed() { "error" } else { "done" }).to_owned(),
            number(0),
            number(1),
            number(2),
            number(3),
            harmless(&file.message),
        ])?;
    }
    table.finish()
}

/// Files shown; the table has them all.
const SHOWN: usize = 20;

/// Names longer than this lose their beginning.
const LONGEST_NAME: usize = 24;

fn short(name: &str) -> String {
    let letters: Vec<char> = printable(name).chars().collect();
    match letters.len().checked_sub(LONGEST_NAME) {
        None | Some(0) => letters.into_iter().collect(),
        Some(more) => std::iter::once('…').chain(letters.into_iter().skip(more + 1)).collect(),
    }
}

/// The report of `station`.
#[must_use]
pub fn station_text(report: &StationReport) -> String {
    let failed = report.files.iter().filter(|file| file.has_failed()).count();
    let mut text =
        format!("{} of {} files done\n\n", report.files.len() - failed, report.files.len());
    let mut rows = table(&["file", "condition", "at", "singular value\nbefore", "\nafter"]);
    let done = report.files.iter().filter_map(|file| Some((file, file.figures?)));
    for (file, (condition, at_hz, before, after)) in done.take(SHOWN) {
        rows.add_row([
            short(&file.file),
            fixed(condition, 1),
            ShownFrequency(at_hz).to_string(),
            fixed(before, 4),
            fixed(after, 4),
        ]);
    }
    let _ = writeln!(text, "{}", lines(&rows));
    let more = (report.files.len() - failed).saturating_sub(SHOWN);
    if more > 0 {
        let _ = writeln!(text, "and {more} more in station.csv");
    }
    if !report.throughs.is_empty() {
        let mut rows = table(&[
            "through",
            "residual",
            "reflection",
            "|S21|-1",
            "phase\ndeg",
            "length\num",
            "",
        ]);
        for check in report.throughs.iter().take(SHOWN) {
            let residual = &check.residual;
            rows.add_row([
                short(&check.file),
                fixed(residual.worst(), 4),
                fixed(residual.reflection.value, 4),
                fixed(residual.transmission.value, 4),
                fixed(residual.phase_deg.value, 2),
                report.um(residual.delay_s).map_or_else(|| "-".to_owned(), |um| fixed(um, 1)),
                match report.through_limit {
                    Some(limit) if residual.worst() > limit => "FAIL".to_owned(),
                    Some(_) => "PASS".to_owned(),
                    None => String::new(),
                },
            ]);
        }
        let _ = writeln!(text, "\n{}", lines(&rows));
    }
    if let Some(drift) = &report.drift {
        let word = match report.drift_holds() {
            Some(true) => "PASS ",
            Some(false) => "FAIL ",
            None => "",
        };
        let limit =
            report.drift_limit.map_or_else(String::new, |limit| format!(" (at most {limit})"));
        let lengths: Option<Vec<String>> = drift
            .delays_s
            .iter()
            .map(|&delay_s| report.um(delay_s).map(|um| fixed(um, 2)))
            .collect();
        let um = match lengths.as_deref() {
            None => String::new(),
            Some([both]) => format!(", as if both probes together stood {both} um off"),
            Some(each) => format!(", as if the probes stood {} um off", each.join(", ")),
        };
        text.push('\n');
        text.push_str(&filled(&format!(
            "{word}drift over {}: S{},{} moved by {}{limit} at {}; transmissions by up to {} dB and {} deg{um}.",
            shown_band(drift.band_hz),
            drift.entry.0,
            drift.entry.1,
            fixed(drift.vector.worst, 4),
            ShownFrequency(drift.vector.worst_at_hz),
            fixed(drift.magnitude_db.value, 3),
            fixed(drift.phase_deg.value, 2),
        )));
        if let Some(um) = report.um(1.0 / 360.0 / drift.vector.worst_at_hz.max(1.0)) {
            text.push_str(&filled(&format!(
                "1 deg at {} is {} um of this line.",
                ShownFrequency(drift.vector.worst_at_hz),
                fixed(um, 2)
            )));
        }
    }
    text
}
