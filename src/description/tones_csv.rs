//! A table of measured rejections, against the prediction.

use super::allowed::Allowed;
use super::error::{DescriptionError, DescriptionProblem};
use super::table::NumberTable;
use crate::downconverter::DownconverterResult;
use crate::measurement::{
    PredictedTone, ReceiverUncertainty, ToneComparisons, ToneMeasurement, TrialSettings,
    compare_tones,
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
    let header = &table.header;
    let [lo, intermediate, wanted, image, u_wanted, u_image] =
        COLUMNS.map(|name| header.required(name));
    let (lo, intermediate, wanted, image) = (lo?, intermediate?, wanted?, image?);
    let u_columns = [u_wanted?, u_image?];
    let mut tones = Vec::new();
    for row in &table.rows {
        let number = |column| header.number(row, column, Allowed::Finite);
        let (lo_hz, if_hz) = (number(lo)? * 1e9, number(intermediate)? * 1e9);
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
            return Err(header.complaint(what, row.place(), lo));
        };
        let mut u = [0.0; 2];
        for (u, column) in u.iter_mut().zip(u_columns) {
            *u = header.number(row, column, Allowed::FromTo(1e-4, 30.0))?;
        }
        let point = result.points[place];
        let measured = ToneMeasurement {
            lo_hz: point.lo_hz,
            if_hz: point.if_hz,
            rejection_db: number(wanted)? - number(image)?,
            u_db: u[0].hypot(u[1]),
        };
        let spread = uncertainty.map(|uncertainty| uncertainty.points[place].rejection);
        tones.push(PredictedTone { measured, point, spread });
    }
    // Without uncertainty there is no spread, and its coverage has no effect.
    let coverage = uncertainty
        .map_or(TrialSettings::default().coverage(), |uncertainty| uncertainty.assessment.coverage);
    compare_tones(&tones, coverage).map_err(|error| {
        DescriptionError::about_file(path, DescriptionProblem::Value { what: error.to_string() })
    })
}
