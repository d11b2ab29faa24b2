//! Tables of a receiver.

use super::csv::{Table, harmless, optional};
use crate::downconverter::{DownconverterResult, Receiver, Share};
use crate::units::db_from_neper;

/// Rejection and errors, one row per LO and IF.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn points(result: &DownconverterResult) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row([
        "lo_hz",
        "if_hz",
        "image_rejection_db",
        "amplitude_imbalance_db",
        "quadrature_error_deg",
        "image_amplitude_imbalance_db",
        "image_quadrature_error_deg",
        "sideband_gain_db",
    ])?;
    for point in &result.points {
        let (wanted, image) = (point.balance.wanted(), point.balance.image());
        let values = [
            point.lo_hz,
            point.if_hz,
            point.balance.image_rejection_db,
            wanted.0,
            wanted.1,
            image.0,
            image.1,
            point.balance.sideband_gain_db,
        ];
        table.row(values.map(|value| value.to_string()))?;
    }
    table.finish()
}

/// The LO side, one row per LO and mixer.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn lo(receiver: &Receiver, result: &DownconverterResult) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row([
        "lo_hz",
        "lo_input_hz",
        "mixer",
        "lo_phase_deg",
        "lo_phase_error_deg",
        "lo_magnitude",
        "lo_power_dbm",
        "rf_phase_deg",
        "rf_magnitude",
    ])?;
    for point in &result.lo {
        for (mixer, drive) in receiver.mixers.iter().zip(&point.mixers) {
            table.row([
                point.lo_hz.to_string(),
                point.lo_input_hz.to_string(),
                harmless(&mixer.name),
                drive.lo_phase_deg.to_string(),
                drive.lo_phase_error_deg.to_string(),
                drive.lo_magnitude.to_string(),
                optional(drive.lo_power_dbm),
                drive.rf_phase_deg.to_string(),
                drive.rf_magnitude.to_string(),
            ])?;
        }
    }
    table.finish()
}

/// The error budget, one row per contributor.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn budget(result: &DownconverterResult) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row([
        "block",
        "amplitude_db",
        "phase_deg",
        "image_rejection_alone_db",
        "image_rejection_if_ideal_db",
        "worst_image_rejection_if_ideal_db",
        "allowed_amplitude_db",
        "allowed_phase_deg",
    ])?;
    let shares = result.allocation.as_ref().map(|allocation| &allocation.shares);
    for (at, row) in result.budget.iter().flat_map(|budget| &budget.rows).enumerate() {
        let share = shares.and_then(|shares| shares.get(at));
        table.row([
            harmless(&row.contributor.to_string()),
            db_from_neper(row.error.re).to_string(),
            row.error.im.to_degrees().to_string(),
            row.alone_db.to_string(),
            optional(row.if_ideal_db),
            optional(row.plan_if_ideal_db),
            optional(share.map(Share::allowed_amplitude_db)),
            optional(share.map(Share::allowed_phase_deg)),
        ])?;
    }
    table.finish()
}
