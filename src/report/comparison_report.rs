//! The differences of two networks: text, JSON and CSV.

use super::csv_table::{CsvTable, optional};
use super::text_table::{fixed, lines, table};
use crate::diagnostic::printable;
use crate::network::Comparison;
use crate::units::{ShownFrequency, counted};
use serde::Serialize;
use std::fmt::Write as _;

/// The document of `compare`: second less first.
#[derive(Debug, Serialize)]
pub struct ComparisonReport {
    first: String,
    second: String,
    band_hz: [f64; 2],
    points: usize,
    entries: Vec<EntryReport>,
    max_vector_difference: f64,
    require_vector: Option<f64>,
    pass: bool,
}

#[derive(Debug, Serialize)]
struct EntryReport {
    row: usize,
    column: usize,
    max_magnitude_difference_db: Option<f64>,
    max_magnitude_difference_at_hz: Option<f64>,
    rms_magnitude_difference_db: Option<f64>,
    max_phase_difference_deg: Option<f64>,
    max_phase_difference_at_hz: Option<f64>,
    rms_phase_difference_deg: Option<f64>,
    max_vector_difference: f64,
    max_vector_difference_at_hz: f64,
    rms_vector_difference: f64,
}

impl ComparisonReport {
    /// Puts together the document; `require_vector` makes it a check.
    #[must_use]
    pub fn new(names: &[String; 2], comparison: &Comparison, require_vector: Option<f64>) -> Self {
        let entries = comparison.entries().iter().map(|entry| EntryReport {
            row: entry.row.number(),
            column: entry.column.number(),
            max_magnitude_difference_db: entry.magnitude_db.map(|d| d.worst),
            max_magnitude_difference_at_hz: entry.magnitude_db.map(|d| d.worst_at_hz),
            rms_magnitude_difference_db: entry.magnitude_db.map(|d| d.rms),
            max_phase_difference_deg: entry.phase_deg.map(|d| d.worst),
            max_phase_difference_at_hz: entry.phase_deg.map(|d| d.worst_at_hz),
            rms_phase_difference_deg: entry.phase_deg.map(|d| d.rms),
            max_vector_difference: entry.vector.worst,
            max_vector_difference_at_hz: entry.vector.worst_at_hz,
            rms_vector_difference: entry.vector.rms,
        });
        Self {
            first: names[0].clone(),
            second: names[1].clone(),
            band_hz: [comparison.band_hz.0, comparison.band_hz.1],
            points: comparison.first.grid().len(),
            entries: entries.collect(),
            max_vector_difference: comparison.worst().vector.worst,
            require_vector,
            pass: require_vector.is_none_or(|limit| comparison.is_within(limit)),
        }
    }

    /// Whether the requirement holds; true if there is none.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.pass
    }
}

/// Entries that a comparison shows; the CSV has all.
const ENTRIES_SHOWN: usize = 12;

/// The report of `compare`.
#[must_use]
pub fn comparison_text(report: &ComparisonReport) -> String {
    let ComparisonReport { first, second, band_hz: [low, high], points, .. } = report;
    let mut text = format!(
        "{}\nminus {}\n{} to {}, {}\n\n",
        printable(second),
        printable(first),
        ShownFrequency(*low),
        ShownFrequency(*high),
        counted(*points, "point")
    );
    let mut entries: Vec<_> = report.entries.iter().collect();
    entries.sort_by(|one, other| other.max_vector_difference.total_cmp(&one.max_vector_difference));
    let mut table = table(&[
        "entry",
        "worst\nvector",
        "at",
        "rms\nvector",
        "worst\ndB",
        "rms\ndB",
        "worst\ndeg",
        "rms\ndeg",
    ]);
    let optional =
        |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| fixed(value, 3));
    for entry in entries.iter().take(ENTRIES_SHOWN) {
        table.add_row([
            format!("S{},{}", entry.row, entry.column),
            format!("{:.2e}", entry.max_vector_difference),
            ShownFrequency(entry.max_vector_difference_at_hz).to_string(),
            format!("{:.2e}", entry.rms_vector_difference),
            optional(entry.max_magnitude_difference_db),
            optional(entry.rms_magnitude_difference_db),
            optional(entry.max_phase_difference_deg),
            optional(entry.rms_phase_difference_deg),
        ]);
    }
    text.push_str(&lines(&table));
    text.push('\n');
    if entries.len() > ENTRIES_SHOWN {
        let _ = writeln!(
            text,
            " ({} more entries with smaller differences)",
            entries.len() - ENTRIES_SHOWN
        );
    }
    if let Some(limit) = report.require_vector {
        let word = if report.passes() { "PASS" } else { "FAIL" };
        let _ = writeln!(
            text,
            "\n{word}: vector difference at most {limit}; worst {:.2e}",
            report.max_vector_difference
        );
    }
    text
}

/// The entries of a comparison, one row each.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn comparison_csv(report: &ComparisonReport) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row([
        "row",
        "column",
        "max_magnitude_difference_db",
        "max_magnitude_difference_at_hz",
        "rms_magnitude_difference_db",
        "max_phase_difference_deg",
        "max_phase_difference_at_hz",
        "rms_phase_difference_deg",
        "max_vector_difference",
        "max_vector_difference_at_hz",
        "rms_vector_difference",
    ])?;
    for entry in &report.entries {
        let values = [
            entry.max_magnitude_difference_db,
            entry.max_magnitude_difference_at_hz,
            entry.rms_magnitude_difference_db,
            entry.max_phase_difference_deg,
            entry.max_phase_difference_at_hz,
            entry.rms_phase_difference_deg,
            Some(entry.max_vector_difference),
            Some(entry.max_vector_difference_at_hz),
            Some(entry.rms_vector_difference),
        ];
        let ports = [entry.row.to_string(), entry.column.to_string()];
        table.row(ports.into_iter().chain(values.map(optional)))?;
    }
    table.finish()
}
