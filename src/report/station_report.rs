//! What came of many files from a probe station: text, JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use super::text_table::{filled, fixed, lines, table};
use crate::batch::{StationFile, StationResult};
use crate::diagnostic::printable;
use crate::units::{ShownFrequency, shown_band};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// The document of `station`.
#[must_use]
pub fn station_json(result: &StationResult) -> Value {
    let files = result.files.iter().map(|file| {
        let figures = file.figures();
        json!({
            "file": file.file,
            "status": status(file),
            "condition": figures.map(|figures| figures.condition),
            "condition_at_hz": figures.map(|figures| figures.condition_at_hz),
            "max_singular_value_before": figures.map(|figures| figures.singular_value_before),
            "max_singular_value_after": figures.map(|figures| figures.singular_value_after),
            "message": file.message(),
        })
    });
    let thrus = result.thrus.iter().map(|check| {
        let residual = &check.residual;
        json!({
            "file": check.file,
            "residual": residual.worst(),
            "max_reflection": residual.reflection.value,
            "max_reflection_at_hz": residual.reflection.at_hz,
            "max_transmission_error": residual.transmission.value,
            "max_transmission_error_at_hz": residual.transmission.at_hz,
            "delay_s": residual.delay_s,
            "length_um": result.length_um(residual.delay_s),
            "max_phase_error_deg": residual.phase_deg.value,
            "max_phase_error_at_hz": residual.phase_deg.at_hz,
            "pass": result.thru_holds(check),
        })
    });
    let drift = result.drift.as_ref().map(|drift| {
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
                .map(|&delay_s| result.length_um(delay_s))
                .collect::<Option<Vec<f64>>>(),
            "band_hz": [drift.band_hz.0, drift.band_hz.1],
            "limit": result.drift_limit,
            "pass": result.drift_holds(),
        })
    });
    json!({
        "pass": result.checks_hold(),
        "files": files.collect::<Vec<_>>(),
        "thrus": thrus.collect::<Vec<_>>(),
        "thru_limit": result.thru_limit,
        "drift": drift,
    })
}

fn status(file: &StationFile) -> &'static str {
    if file.has_failed() { "error" } else { "done" }
}

/// `PASS` or `FAIL`; empty where there is no limit.
fn word(holds: Option<bool>) -> &'static str {
    match holds {
        Some(true) => "PASS",
        Some(false) => "FAIL",
        None => "",
    }
}

/// One row per file.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn station_csv(result: &StationResult) -> Result<String, csv::Error> {
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
    for file in &result.files {
        let figures = file.figures();
        table.row([
            harmless(&file.file),
            status(file).to_owned(),
            optional(figures.map(|figures| figures.condition)),
            optional(figures.map(|figures| figures.condition_at_hz)),
            optional(figures.map(|figures| figures.singular_value_before)),
            optional(figures.map(|figures| figures.singular_value_after)),
            harmless(&file.message()),
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
pub fn station_text(result: &StationResult) -> String {
    let failed = result.files.iter().filter(|file| file.has_failed()).count();
    let mut text =
        format!("{} of {} files done\n\n", result.files.len() - failed, result.files.len());
    let mut rows = table(&["file", "condition", "at", "singular value\nbefore", "\nafter"]);
    let done = result.files.iter().filter_map(|file| Some((file, file.figures()?)));
    for (file, figures) in done.take(SHOWN) {
        rows.add_row([
            short(&file.file),
            fixed(figures.condition, 1),
            ShownFrequency(figures.condition_at_hz).to_string(),
            fixed(figures.singular_value_before, 4),
            fixed(figures.singular_value_after, 4),
        ]);
    }
    let _ = writeln!(text, "{}", lines(&rows));
    let more = (result.files.len() - failed).saturating_sub(SHOWN);
    if more > 0 {
        let _ = writeln!(text, "and {more} more in station.csv");
    }
    text.push_str(&thrus_text(result));
    text.push_str(&drift_text(result));
    text
}

/// The table of thrus; nothing where none was checked.
fn thrus_text(result: &StationResult) -> String {
    let mut text = String::new();
    if !result.thrus.is_empty() {
        let mut rows =
            table(&["thru", "residual", "reflection", "|S21|-1", "phase\ndeg", "length\num", ""]);
        for check in result.thrus.iter().take(SHOWN) {
            let residual = &check.residual;
            rows.add_row([
                short(&check.file),
                fixed(residual.worst(), 4),
                fixed(residual.reflection.value, 4),
                fixed(residual.transmission.value, 4),
                fixed(residual.phase_deg.value, 2),
                result
                    .length_um(residual.delay_s)
                    .map_or_else(|| "-".to_owned(), |um| fixed(um, 1)),
                word(result.thru_holds(check)).to_owned(),
            ]);
        }
        let _ = writeln!(text, "\n{}", lines(&rows));
    }
    text
}

/// A sentence on the drift, and what a degree is worth; nothing where no drift was checked.
fn drift_text(result: &StationResult) -> String {
    let mut text = String::new();
    if let Some(drift) = &result.drift {
        let word = match word(result.drift_holds()) {
            "" => String::new(),
            word => format!("{word} "),
        };
        let limit =
            result.drift_limit.map_or_else(String::new, |limit| format!(" (at most {limit})"));
        let lengths: Option<Vec<String>> = drift
            .delays_s
            .iter()
            .map(|&delay_s| result.length_um(delay_s).map(|um| fixed(um, 2)))
            .collect();
        let um = match lengths.as_deref() {
            None => String::new(),
            Some([both]) => {
                format!(", equivalent to {both} um of placement of both probes together")
            }
            Some(each) => format!(", equivalent to probe placements of {} um", each.join(", ")),
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
        if let Some(um) = result.length_um(1.0 / 360.0 / drift.vector.worst_at_hz.max(1.0)) {
            text.push_str(&filled(&format!(
                "1 deg at {} is {} um of this line.",
                ShownFrequency(drift.vector.worst_at_hz),
                fixed(um, 2)
            )));
        }
    }
    text
}
