//! The differences of two networks: text, JSON and CSV.

use super::csv_table::{CsvTable, optional};
use super::text_table::{fixed, lines, table};
use crate::diagnostic::printable;
use crate::network::Comparison;
use crate::units::ShownFrequency;
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
    worst_vector: f64,
    require_vector: Option<f64>,
    pass: bool,
}

#[derive(Debug, Serialize)]
struct EntryReport {
    row: usize,
    column: usize,
    worst_db: Option<f64>,
    worst_db_at_hz: Option<f64>,
    rms_db: Option<f64>,
    worst_deg: Option<f64>,
    worst_deg_at_hz: Option<f64>,
    rms_deg: Option<f64>,
    worst_vector: f64,
    worst_vector_at_hz: f64,
    rms_vector: f64,
}

impl ComparisonReport {
    /// Puts together the document; `require_vector` makes it a check.
    #[must_use]
    pub fn new(names: &[String; 2], comparison: &Comparison, require_vector: Option<f64>) -> Self {
        let entries = comparison.entries.iter().map(|entry| EntryReport {
            row: entry.row.number(),
            column: entry.column.number(),
            worst_db: entry.magnitude_db.map(|d| d.worst),
            worst_db_at_hz: entry.magnitude_db.map(|d| d.worst_at_hz),
            rms_db: entry.magnitude_db.map(|d| d.rms),
            worst_deg: entry.phase_deg.map(|d| d.worst),
            worst_deg_at_hz: entry.phase_deg.map(|d| d.worst_at_hz),
            rms_deg: entry.phase_deg.map(|d| d.rms),
            worst_vector: entry.vector.worst,
            worst_vector_at_hz: entry.vector.worst_at_hz,
            rms_vector: entry.vector.rms,
        });
        Self {
            first: names[0].clone(),
            second: names[1].clone(),
            band_hz: [comparison.band_hz.0, comparison.band_hz.1],
            points: comparison.first.grid().len(),
            entries: entries.collect(),
            worst_vector: comparison.worst().vector.worst,
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
        "{}\nless {}\n{} to {}, {points} points\n\n",
        printable(second),
        printable(first),
        ShownFrequency(*low),
        ShownFrequency(*high)
    );
    let mut entries: Vec<_> = report.entries.iter().collect();
    entries.sort_by(|one, other| other.worst_vector.total_cmp(&one.worst_vector));
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
            format!("{:.2e}", entry.worst_vector),
            ShownFrequency(entry.worst_vector_at_hz).to_string(),
            format!("{:.2e}", entry.rms_vector),
            optional(entry.worst_db),
            optional(entry.rms_db),
            optional(entry.worst_deg),
            optional(entry.rms_deg),
        ]);
    }
    text.push_str(&lines(&table));
    text.push('\n');
    if entries.len() > ENTRIES_SHOWN {
        let _ = writeln!(text, " ({} more entries differ less)", entries.len() - ENTRIES_SHOWN);
    }
    if let Some(limit) = report.require_vector {
        let word = if report.passes() { "PASS" } else { "FAIL" };
        let _ = writeln!(
            text,
            "\n{word}: vector difference at most {limit}; worst {:.2e}",
            report.worst_vector
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
        "worst_db",
        "worst_db_at_hz",
        "rms_db",
        "worst_deg",
        "worst_deg_at_hz",
        "rms_deg",
        "worst_vector",
        "worst_vector_at_hz",
        "rms_vector",
    ])?;
    for entry in &report.entries {
        let values = [
            entry.worst_db,
            entry.worst_db_at_hz,
            entry.rms_db,
            entry.worst_deg,
            entry.worst_deg_at_hz,
            entry.rms_deg,
            Some(entry.worst_vector),
            Some(entry.worst_vector_at_hz),
            Some(entry.rms_vector),
        ];
        let ports = [entry.row.to_string(), entry.column.to_string()];
        table.row(ports.into_iter().chain(values.map(optional)))?;
    }
    table.finish()
}
