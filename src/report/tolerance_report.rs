//! What an image rejection allows: text, JSON and CSV.

use super::csv_table::{CsvTable, optional};
use super::text_table::{lines, table};
use serde::Serialize;
use std::fmt::Write as _;

/// The document of `tolerance`.
#[derive(Debug, Serialize)]
pub struct ToleranceReport {
    /// The rejection to be kept.
    pub image_rejection_db: f64,
    /// Allowed with perfect amplitude.
    pub phase_error_alone_deg: Option<f64>,
    /// Allowed with perfect phase.
    pub amplitude_imbalance_alone_db: Option<f64>,
    /// What is left for the phase at each amplitude imbalance.
    pub allowed_phase_error: Vec<AllowedPhaseError>,
    /// What is left for the amplitude at each phase error.
    pub allowed_amplitude_imbalance: Vec<AllowedAmplitudeImbalance>,
}

/// `null` where the imbalance alone spoils the rejection.
#[derive(Debug, Serialize)]
pub struct AllowedPhaseError {
    /// Given.
    pub amplitude_imbalance_db: f64,
    /// Left over.
    pub phase_error_deg: Option<f64>,
}

/// `null` where the phase error alone spoils the rejection.
#[derive(Debug, Serialize)]
pub struct AllowedAmplitudeImbalance {
    /// Given.
    pub phase_error_deg: f64,
    /// Left over.
    pub amplitude_imbalance_db: Option<f64>,
}

/// The report of `tolerance`.
#[must_use]
pub fn tolerance_text(report: &ToleranceReport) -> String {
    let mut text = String::new();
    let shown = |value: Option<f64>, unit: &str| {
        value.map_or_else(|| "none".to_owned(), |value| format!("{} {unit}", rounded_down(value)))
    };
    let _ = writeln!(
        text,
        "An image rejection of {} dB allows {} alone or {} alone.\n",
        report.image_rejection_db,
        shown(report.phase_error_alone_deg, "deg"),
        shown(report.amplitude_imbalance_alone_db, "dB")
    );
    let mut phase = table(&["at an amplitude imbalance of", "allowed phase error"]);
    for row in &report.allowed_phase_error {
        phase.add_row([
            format!("{} dB", rounded_down(row.amplitude_imbalance_db)),
            shown(row.phase_error_deg, "deg"),
        ]);
    }
    let mut amplitude = table(&["at a phase error of", "allowed amplitude imbalance"]);
    for row in &report.allowed_amplitude_imbalance {
        amplitude.add_row([
            format!("{} deg", rounded_down(row.phase_error_deg)),
            shown(row.amplitude_imbalance_db, "dB"),
        ]);
    }
    let tables: Vec<String> =
        [phase, amplitude].iter().filter(|table| table.row_count() > 0).map(lines).collect();
    text.push_str(&tables.join("\n\n"));
    text.push('\n');
    text
}

/// Four significant digits, rounded down, so that what is shown as allowed is allowed.
fn rounded_down(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let scale = 10_f64.powf(3.0 - value.abs().log10().floor());
    format!("{}", (value * scale).floor() / scale)
}

/// The two tables of `tolerance`, one after the other in one list.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn tolerance_csv(report: &ToleranceReport) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row(["given", "amplitude_imbalance_db", "phase_error_deg"])?;
    for row in &report.allowed_phase_error {
        let given = row.amplitude_imbalance_db.to_string();
        table.row(["amplitude_imbalance_db".to_owned(), given, optional(row.phase_error_deg)])?;
    }
    for row in &report.allowed_amplitude_imbalance {
        let given = row.phase_error_deg.to_string();
        table.row(["phase_error_deg".to_owned(), optional(row.amplitude_imbalance_db), given])?;
    }
    table.finish()
}
