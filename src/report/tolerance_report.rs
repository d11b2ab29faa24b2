//! What an image rejection allows: text, JSON and CSV.

use super::csv_table::{CsvTable, optional};
use super::text_table::{lines, table};
use crate::splitter::ToleranceResult;
use crate::units::rounded_down;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// The document of `tolerance`; `null` where the given error alone exceeds the tolerance.
#[must_use]
pub fn tolerance_json(result: &ToleranceResult) -> Value {
    let phases = result.allowed_phase_error.iter().map(|row| {
        json!({
            "amplitude_imbalance_db": row.amplitude_imbalance_db,
            "phase_error_deg": row.phase_error_deg,
        })
    });
    let amplitudes = result.allowed_amplitude_imbalance.iter().map(|row| {
        json!({
            "phase_error_deg": row.phase_error_deg,
            "amplitude_imbalance_db": row.amplitude_imbalance_db,
        })
    });
    json!({
        "image_rejection_db": result.image_rejection_db,
        "phase_error_alone_deg": result.phase_error_alone_deg,
        "amplitude_imbalance_alone_db": result.amplitude_imbalance_alone_db,
        "allowed_phase_error": phases.collect::<Vec<_>>(),
        "allowed_amplitude_imbalance": amplitudes.collect::<Vec<_>>(),
    })
}

/// The report of `tolerance`.
#[must_use]
pub fn tolerance_text(result: &ToleranceResult) -> String {
    let mut text = String::new();
    let shown = |value: Option<f64>, unit: &str| {
        value.map_or_else(|| "none".to_owned(), |value| format!("{} {unit}", rounded_down(value)))
    };
    let _ = writeln!(
        text,
        "An image rejection of {} dB allows {} alone or {} alone.\n",
        result.image_rejection_db,
        shown(result.phase_error_alone_deg, "deg"),
        shown(result.amplitude_imbalance_alone_db, "dB")
    );
    let mut phase = table(&["at an amplitude imbalance of", "allowed phase error"]);
    for row in &result.allowed_phase_error {
        phase.add_row([
            format!("{} dB", rounded_down(row.amplitude_imbalance_db)),
            shown(row.phase_error_deg, "deg"),
        ]);
    }
    let mut amplitude = table(&["at a phase error of", "allowed amplitude imbalance"]);
    for row in &result.allowed_amplitude_imbalance {
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

/// The two tables of `tolerance`, one after the other in one list.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn tolerance_csv(result: &ToleranceResult) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row(["given", "amplitude_imbalance_db", "phase_error_deg"])?;
    for row in &result.allowed_phase_error {
        let given = row.amplitude_imbalance_db.to_string();
        table.row(["amplitude_imbalance_db".to_owned(), given, optional(row.phase_error_deg)])?;
    }
    for row in &result.allowed_amplitude_imbalance {
        let given = row.phase_error_deg.to_string();
        table.row(["phase_error_deg".to_owned(), optional(row.amplitude_imbalance_db), given])?;
    }
    table.finish()
}
