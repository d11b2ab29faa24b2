//! The uncertainty of a receiver: text, JSON and CSV.

use super::assessment_report::{Estimate, assessment_json, assessment_text, estimates_json};
use super::csv_table::{CsvTable, optional};
use super::text_table::{filled, fixed, lines, table};
use crate::diagnostic::printable;
use crate::downconverter::{DownconverterResult, SwitchedLevels};
use crate::measurement::{Contribution, ReceiverUncertainty};
use crate::requirement::Quantity;
use crate::units::db_from_neper;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// A receiver's uncertainty as a part of its document.
pub(super) fn receiver_uncertainty_json(
    uncertainty: &ReceiverUncertainty,
    result: &DownconverterResult,
) -> Value {
    let points = uncertainty.points.iter().map(|point| {
        let (low, high) = (point.rejection.low, point.rejection.high);
        json!({
            "lo_hz": point.lo_hz,
            "if_hz": point.if_hz,
            "image_rejection_low_db": low,
            "image_rejection_median_db": point.rejection.median,
            "image_rejection_high_db": high.is_finite().then_some(high),
            "u_amplitude_imbalance_db": point.u_imbalance_db,
            "u_quadrature_error_deg": point.u_quadrature_deg,
            "channel_error_covariance": point.channel_error.covariance().rows(),
        })
    });
    let budget = uncertainty.budget.iter().map(|row| {
        json!({
            "block": row.contributor.to_string(),
            "u_amplitude_db": db_from_neper(row.u_amplitude),
            "u_phase_deg": row.u_phase.to_degrees(),
        })
    });
    let percent = |fraction: f64| 100.0 * fraction;
    let advice = uncertainty.advice.as_ref().map(|advice| {
        json!({
            "part": advice.part,
            "share": advice.share,
            "reduce_to_percent": advice.reduce_to.map(percent),
            "reduce_all_to_percent": advice.reduce_all_to.map(percent),
        })
    });
    let mut document = assessment_json(&uncertainty.assessment);
    document["unbounded_interval"] = json!(uncertainty.worst_rejection.is_unbounded());
    document["summary"] = estimates_json(&estimates(uncertainty, result));
    document["contributions"] = uncertainty.contributions.iter().map(contribution).collect();
    document["budget"] = budget.collect();
    document["advice"] = json!(advice);
    document["points"] = points.collect();
    document
}

fn estimates<'u>(
    uncertainty: &'u ReceiverUncertainty,
    result: &DownconverterResult,
) -> Vec<Estimate<'u>> {
    let summary = &result.summary;
    let mut quantities = vec![
        Estimate {
            name: "worst_image_rejection_db",
            words: "image rejection",
            unit: "dB",
            measured: summary.worst.balance.image_rejection_db,
            spread: &uncertainty.worst_rejection,
        },
        Estimate {
            name: "worst_amplitude_imbalance_db",
            words: "amplitude imbalance",
            unit: "dB",
            measured: summary.worst_amplitude_imbalance.balance.wanted().amplitude_db.abs(),
            spread: &uncertainty.largest_imbalance,
        },
        Estimate {
            name: "worst_quadrature_error_deg",
            words: "quadrature error",
            unit: "deg",
            measured: summary.worst_quadrature_error.balance.wanted().phase_deg.abs(),
            spread: &uncertainty.largest_quadrature,
        },
    ];
    let powers_dbm = result.lo_power_range_dbm();
    if let (Some(spread), Some((measured, _))) = (&uncertainty.least_power, powers_dbm) {
        quantities.push(Estimate {
            name: "min_lo_power_dbm",
            words: "LO power",
            unit: "dBm",
            measured,
            spread,
        });
    }
    let worst = result.switching.as_ref().map(SwitchedLevels::of);
    for (quantity, spread) in &uncertainty.levels {
        let Some(worst) = &worst else { continue };
        let (name, words, unit, measured) = match quantity {
            Quantity::ConversionLoss => {
                ("max_conversion_loss_db", "conversion loss", "dB", worst.conversion_loss_db)
            }
            Quantity::NoiseFigure => {
                ("max_noise_figure_db", "noise figure", "dB", worst.noise_figure_db)
            }
            Quantity::LoAtRfPort => {
                ("max_lo_at_rf_port_dbm", "LO at RF port", "dBm", worst.lo_at_rf_port_dbm)
            }
            _ => continue,
        };
        quantities.push(Estimate { name, words, unit, measured, spread });
    }
    quantities
}

fn contribution(contribution: &Contribution) -> Value {
    json!({
        "part": contribution.part,
        "source": contribution.source,
        "u_amplitude_db": contribution.covariance.u_amplitude_db(),
        "u_phase_deg": contribution.covariance.u_phase_deg(),
        "share": contribution.share,
    })
}

/// The points of a receiver, one row per LO and IF.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn receiver_uncertainty_csv(uncertainty: &ReceiverUncertainty) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row([
        "lo_hz",
        "if_hz",
        "image_rejection_low_db",
        "image_rejection_median_db",
        "image_rejection_high_db",
        "u_amplitude_imbalance_db",
        "u_quadrature_error_deg",
    ])?;
    for point in &uncertainty.points {
        let row = [
            point.lo_hz,
            point.if_hz,
            point.rejection.low,
            point.rejection.median,
            point.rejection.high,
            point.u_imbalance_db,
            point.u_quadrature_deg,
        ];
        table.row(row.map(|value| optional(Some(value))))?;
    }
    table.finish()
}

/// Contributions shown; the document has them all.
const SHOWN: usize = 8;

/// The section of a receiver's report.
pub(super) fn receiver_uncertainty_text(
    uncertainty: &ReceiverUncertainty,
    result: &DownconverterResult,
) -> String {
    let mut text = assessment_text(&uncertainty.assessment, &estimates(uncertainty, result));
    let mut rows = table(&["uncertainty of", "source", "amplitude\ndB", "phase\ndeg", "share\n%"]);
    for one in uncertainty.contributions.iter().take(SHOWN) {
        rows.add_row([
            printable(&one.part).into_owned(),
            printable(&one.source).into_owned(),
            fixed(one.covariance.u_amplitude_db(), 3),
            fixed(one.covariance.u_phase_deg(), 2),
            fixed(100.0 * one.share, 1),
        ]);
    }
    let _ = writeln!(text, "\n{}", lines(&rows));
    let left = uncertainty.contributions.len().saturating_sub(SHOWN);
    if left > 0 {
        let _ = writeln!(text, "and {left} smaller ones");
    }
    if let Some(advice) = &uncertainty.advice {
        let percent = |share: f64| format!("{:.0} %", 100.0 * share);
        let all = match advice.reduce_all_to {
            Some(size) => {
                format!("all uncertainties together must be reduced to {}", percent(size))
            }
            None => "not even exact data would decide".to_owned(),
        };
        let own = match advice.reduce_to {
            Some(size) => format!("its uncertainty must be reduced to {} of itself", percent(size)),
            None => "even exact data of it alone would not decide".to_owned(),
        };
        text.push_str(&filled(&format!(
            "To decide the rejection, about: {} contributes most ({} of the variance); {own}. \
             Otherwise {all}.",
            printable(&advice.part),
            percent(advice.share),
        )));
    }
    text
}
