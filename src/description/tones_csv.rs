//! A table of measured rejections, against the prediction.

use super::error::DescriptionError;
use super::source::NumberTable;
use crate::downconverter::{DownconverterResult, PlanPoint};
use crate::measurement::{
    ReceiverUncertainty, Spread, ToneComparisons, ToneMeasurement, compare_tones,
};
use crate::units::ShownFrequency;
use std::path::Path;

const COLUMNS: [&str; 6] =
    ["lo_ghz", "if_ghz", "wanted_dbm", "image_dbm", "u_wanted_db", "u_image_db"];
/// Frequencies this close, relatively, are one.
const SAME_FREQUENCY: f64 = 1e-9;

/// Reads the table and compares each row with its point of the plan.
pub fn compared(
    path: &Path,
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
) -> Result<ToneComparisons, DescriptionError> {
    let table = NumberTable::read(path, &COLUMNS)?;
    let mut measured = Vec::new();
    let mut predicted: Vec<(PlanPoint, Option<Spread>)> = Vec::new();
    for row in 0..table.rows() {
        let (lo_hz, if_hz) =
            (table.needed(row, "lo_ghz")? * 1e9, table.needed(row, "if_ghz")? * 1e9);
        let is_same = |one: f64, other: f64| (one - other).abs() <= SAME_FREQUENCY * other.abs();
        let place = result
            .points
            .iter()
            .position(|point| is_same(point.lo_hz, lo_hz) && is_same(point.if_hz, if_hz));
        let Some(place) = place else {
            let what = format!(
                "LO {}, IF {} is no point of the plan; add it to lo_ghz and if_ghz",
                ShownFrequency(lo_hz),
                ShownFrequency(if_hz)
            );
            return Err(table.wrong(row, "lo_ghz", what));
        };
        let mut u = [0.0; 2];
        for (u, name) in u.iter_mut().zip(["u_wanted_db", "u_image_db"]) {
            *u = table.needed(row, name)?;
            if !(1e-4..=30.0).contains(u) {
                let what = "a standard uncertainty from 0.0001 to 30 dB is needed";
                return Err(table.wrong(row, name, what));
            }
        }
        measured.push(ToneMeasurement {
            lo_hz: result.points[place].lo_hz,
            if_hz: result.points[place].if_hz,
            rejection_db: table.needed(row, "wanted_dbm")? - table.needed(row, "image_dbm")?,
            u_db: u[0].hypot(u[1]),
        });
        let spread = uncertainty.map(|uncertainty| uncertainty.points[place].rejection);
        predicted.push((result.points[place], spread));
    }
    let coverage = uncertainty.map_or(0.95, |uncertainty| uncertainty.assessment.coverage);
    Ok(compare_tones(&measured, &predicted, coverage))
}
