//! A receiver point by point over LO and IF, and its LO path: JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use super::receiver_switching_report::{add_switched_lo, add_switched_points, switched_columns};
use crate::downconverter::{Channel, DownconverterResult, LoPoint, PlanPoint, Receiver};
use crate::requirement::Figure;
use serde_json::{Value, json};

/// The points of the document, one per LO and IF.
pub(super) fn points_json(result: &DownconverterResult) -> Vec<Value> {
    let mut points: Vec<Value> = result.points.iter().map(point).collect();
    add_switched_points(&mut points, result);
    points
}

fn point(point: &PlanPoint) -> Value {
    let (wanted, image) = (point.balance.wanted(), point.balance.image());
    json!({
        "lo_hz": point.lo_hz,
        "if_hz": point.if_hz,
        "image_rejection_db": point.balance.image_rejection_db,
        "sideband_gain_db": point.balance.sideband_gain_db,
        "amplitude_imbalance_db": wanted.amplitude_db,
        "quadrature_error_deg": wanted.phase_deg,
        "image_amplitude_imbalance_db": image.amplitude_db,
        "image_quadrature_error_deg": image.phase_deg,
        "channel_error": { "amplitude_db": image.amplitude_db, "phase_deg": image.phase_deg },
    })
}

/// The LO path of the document, one entry per LO.
pub(super) fn lo_json(receiver: &Receiver, result: &DownconverterResult) -> Vec<Value> {
    let mut points: Vec<Value> = result.lo.iter().map(|point| lo(receiver, point)).collect();
    add_switched_lo(&mut points, result);
    points
}

fn lo(receiver: &Receiver, point: &LoPoint) -> Value {
    let mixers: Vec<Value> = receiver
        .mixers()
        .iter()
        .zip(&point.mixers)
        .map(|(mixer, drive)| {
            let mut own = json!({
                "name": mixer.name,
                "lo_phase_deg": drive.lo_phase_deg,
                "lo_phase_error_deg": drive.lo_phase_error_deg,
                "lo_magnitude": drive.lo_magnitude,
                "lo_power_dbm": drive.lo_power_dbm.and_then(Figure::value),
                "rf_phase_deg": drive.rf_phase_deg,
                "rf_magnitude": drive.rf_magnitude,
            });
            if let Some(reason) = drive.lo_power_dbm.and_then(|figure| figure.known().err()) {
                own["lo_power_undefined"] = json!(reason.to_string());
            }
            own
        })
        .collect();
    let pairs: Vec<Value> = point
        .pairs
        .iter()
        .map(|pair| {
            json!({
                "channel": if pair.channel == Channel::I { "i" } else { "q" },
                "differential_magnitude": pair.differential_magnitude,
                "common_mode_magnitude": pair.common_mode_magnitude,
                "common_mode_rejection_db": pair.common_mode_rejection_db,
            })
        })
        .collect();
    json!({
        "lo_hz": point.lo_hz,
        "lo_input_hz": point.lo_input_hz,
        "rf_if_hz": point.rf_if_hz,
        "mixers": mixers,
        "balanced_pairs": pairs,
    })
}

/// Rejection and errors, one row per LO and IF.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn receiver_points_csv(result: &DownconverterResult) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    let names = [
        "lo_hz",
        "if_hz",
        "image_rejection_db",
        "amplitude_imbalance_db",
        "quadrature_error_deg",
        "image_amplitude_imbalance_db",
        "image_quadrature_error_deg",
        "sideband_gain_db",
    ];
    let more = switched_columns(result);
    table.row(names.into_iter().map(str::to_owned).chain(more.names))?;
    for (at, point) in result.points.iter().enumerate() {
        let (wanted, image) = (point.balance.wanted(), point.balance.image());
        let values = [
            point.lo_hz,
            point.if_hz,
            point.balance.image_rejection_db,
            wanted.amplitude_db,
            wanted.phase_deg,
            image.amplitude_db,
            image.phase_deg,
            point.balance.sideband_gain_db,
        ];
        let more = more.rows.get(at).into_iter().flatten().map(|value| optional(*value));
        table.row(values.into_iter().map(|value| value.to_string()).chain(more))?;
    }
    table.finish()
}

/// The LO side, one row per LO and mixer.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn receiver_lo_csv(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
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
        "rf_if_hz",
    ])?;
    for point in &result.lo {
        for (mixer, drive) in receiver.mixers().iter().zip(&point.mixers) {
            table.row([
                point.lo_hz.to_string(),
                point.lo_input_hz.to_string(),
                harmless(&mixer.name),
                drive.lo_phase_deg.to_string(),
                drive.lo_phase_error_deg.to_string(),
                drive.lo_magnitude.to_string(),
                // A mixer that no power reaches has no level, as in the document.
                optional(drive.lo_power_dbm.and_then(Figure::value).filter(|dbm| dbm.is_finite())),
                drive.rf_phase_deg.to_string(),
                drive.rf_magnitude.to_string(),
                point.rf_if_hz.to_string(),
            ])?;
        }
    }
    table.finish()
}
