//! The uncertainty of a splitter: text, JSON and CSV.

use super::assessment_report::{Estimate, assessment_json, assessment_text, estimates_json};
use super::csv_table::{CsvTable, optional};
use crate::measurement::SplitterUncertainty;
use crate::requirement::Quantity;
use crate::splitter::SplitterResult;
use serde_json::{Value, json};

/// A splitter's uncertainty as a part of its document.
pub(super) fn splitter_uncertainty_json(
    uncertainty: &SplitterUncertainty,
    result: &SplitterResult,
) -> Value {
    let rejection = rejection_prefix(result);
    let points = uncertainty.points.iter().map(|point| {
        let covariance = point.channel_error.covariance();
        let (low, high) = point.interval_db;
        let mut row = json!({ "frequency_hz": point.frequency_hz });
        row[format!("{rejection}_rejection_low_db")] = json!(low);
        row[format!("{rejection}_rejection_median_db")] = json!(point.median_db);
        row[format!("{rejection}_rejection_high_db")] = json!(high.is_finite().then_some(high));
        row["u_amplitude_imbalance_db"] = json!(covariance.u_amplitude_db());
        row["u_phase_error_deg"] = json!(covariance.u_phase_deg());
        row["correlation"] = json!(covariance.correlation());
        row
    });
    let mut document = assessment_json(&uncertainty.assessment);
    document["unbounded_interval"] = json!(uncertainty.worst_rejection.is_unbounded());
    document["summary"] = estimates_json(&estimates(uncertainty, result));
    document["points"] = points.collect();
    document
}

fn is_antiphase(result: &SplitterResult) -> bool {
    result.roles.kind.rejection() == Quantity::CommonModeRejection
}

fn rejection_prefix(result: &SplitterResult) -> &'static str {
    if is_antiphase(result) { "common_mode" } else { "image" }
}

fn estimates<'u>(
    uncertainty: &'u SplitterUncertainty,
    result: &SplitterResult,
) -> Vec<Estimate<'u>> {
    let summary = &result.summary;
    let (name, words) = if is_antiphase(result) {
        ("worst_common_mode_rejection_db", "common-mode rejection")
    } else {
        ("worst_image_rejection_db", "image rejection")
    };
    vec![
        Estimate {
            name,
            words,
            unit: "dB",
            measured: summary.worst_rejection.value,
            spread: &uncertainty.worst_rejection,
        },
        Estimate {
            name: "worst_amplitude_imbalance_db",
            words: "amplitude imbalance",
            unit: "dB",
            measured: summary.worst_amplitude_imbalance_db.value.abs(),
            spread: &uncertainty.largest_imbalance,
        },
        Estimate {
            name: "worst_phase_error_deg",
            words: "phase error",
            unit: "deg",
            measured: summary.worst_phase_error_deg.value.abs(),
            spread: &uncertainty.largest_phase_error,
        },
    ]
}

/// The points of a splitter, one row per frequency.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn splitter_uncertainty_csv(
    uncertainty: &SplitterUncertainty,
    result: &SplitterResult,
) -> Result<String, csv::Error> {
    let rejection = rejection_prefix(result);
    let mut table = CsvTable::new();
    let of = |what: &str| format!("{rejection}_rejection_{what}_db");
    table.row([
        "frequency_hz".to_owned(),
        of("low"),
        of("median"),
        of("high"),
        "u_amplitude_imbalance_db".to_owned(),
        "u_phase_error_deg".to_owned(),
    ])?;
    for point in &uncertainty.points {
        let covariance = point.channel_error.covariance();
        let row = [
            point.frequency_hz,
            point.interval_db.0,
            point.median_db,
            point.interval_db.1,
            covariance.u_amplitude_db(),
            covariance.u_phase_deg(),
        ];
        table.row(row.map(|value| optional(Some(value))))?;
    }
    table.finish()
}

/// The section of a splitter's report.
pub(super) fn splitter_uncertainty_text(
    uncertainty: &SplitterUncertainty,
    result: &SplitterResult,
) -> String {
    assessment_text(&uncertainty.assessment, &estimates(uncertainty, result))
}
