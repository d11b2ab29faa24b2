//! Measured rejections against predicted ones: text, JSON and CSV.

use super::csv_table::{CsvTable, optional};
use super::text_table::{filled, fixed, lines, table};
use crate::downconverter::Sideband;
use crate::measurement::ToneComparisons;
use crate::units::{ShownFrequency, db_from_amplitude, db_from_neper};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// As a part of a receiver's document.
pub(super) fn tones_json(tones: &ToneComparisons, wanted: Sideband) -> Value {
    let finite = |value: f64| value.is_finite().then_some(value);
    let points = tones.points.iter().map(|point| {
        json!({
            "lo_hz": point.measured.lo_hz,
            "if_hz": point.measured.if_hz,
            "measured_image_rejection_db": point.measured.rejection_db,
            "u_measured_db": point.measured.u_db,
            "predicted_image_rejection_db": finite(point.predicted_db),
            "predicted_low_db": finite(point.interval_db.0),
            "predicted_high_db": finite(point.interval_db.1),
            "normalised_error": finite(point.normalised_error),
            "min_added_error_db": finite(db_from_neper(point.added_error.0)),
            "min_added_error_deg": finite(point.added_error.0.to_degrees()),
            "max_added_error_db": finite(db_from_neper(point.added_error.1)),
            "max_added_error_deg": finite(point.added_error.1.to_degrees()),
        })
    });
    let mixers = tones.mixers.map(|mixers| {
        let gain = mixers.gain(wanted);
        let (image_amplitude_db, image_phase_deg) = mixers.amplitude_and_phase();
        json!({
            // As the gain of Q's mixers in a description: what theirs is to be multiplied by.
            "amplitude_db": db_from_amplitude(gain.norm()),
            "phase_deg": gain.arg().to_degrees(),
            "gain": [gain.re, gain.im],
            "image_amplitude_db": image_amplitude_db,
            "image_phase_deg": image_phase_deg,
            "u_amplitude_db": db_from_neper(mixers.u.0),
            "u_phase_deg": mixers.u.1.to_degrees(),
            "rms_in_standard_uncertainties": mixers.rms,
            "rms_without": mixers.rms_without,
        })
    });
    json!({
        "agreeing": tones.agreeing(),
        "worst_normalised_error": tones.worst().and_then(|worst| finite(worst.normalised_error)),
        "mixer_error": mixers,
        "points": points.collect::<Vec<_>>(),
    })
}

/// One row per measurement.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn tones_csv(tones: &ToneComparisons) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row([
        "lo_hz",
        "if_hz",
        "measured_image_rejection_db",
        "u_measured_db",
        "predicted_image_rejection_db",
        "predicted_low_db",
        "predicted_high_db",
        "normalised_error",
        "min_added_error_db",
        "max_added_error_db",
    ])?;
    for point in &tones.points {
        let row = [
            point.measured.lo_hz,
            point.measured.if_hz,
            point.measured.rejection_db,
            point.measured.u_db,
            point.predicted_db,
            point.interval_db.0,
            point.interval_db.1,
            point.normalised_error,
            db_from_neper(point.added_error.0),
            db_from_neper(point.added_error.1),
        ];
        table.row(row.map(|value| optional(Some(value))))?;
    }
    table.finish()
}

/// Rows shown; the table has them all.
const SHOWN: usize = 8;

/// The section of a receiver's report: the points that agree least, and the mixers.
#[must_use]
pub fn tones_text(tones: &ToneComparisons, wanted: Sideband) -> String {
    let mut text = format!(
        "\nMeasured rejection: {} of {} agree with the prediction (|E_n| at most 1)\n",
        tones.agreeing(),
        tones.points.len()
    );
    let mut sorted: Vec<_> = tones.points.iter().collect();
    sorted
        .sort_by(|one, other| other.normalised_error.abs().total_cmp(&one.normalised_error.abs()));
    let mut rows =
        table(&["LO", "IF", "measured\ndB", "u\ndB", "from S-\nparam. dB", "E_n", "added\ndB"]);
    for point in sorted.iter().take(SHOWN) {
        let (least, most) =
            (db_from_neper(point.added_error.0), db_from_neper(point.added_error.1));
        rows.add_row([
            ShownFrequency(point.measured.lo_hz).to_string(),
            ShownFrequency(point.measured.if_hz).to_string(),
            fixed(point.measured.rejection_db, 2),
            fixed(point.measured.u_db, 2),
            fixed(point.predicted_db, 2),
            format!("{:+.2}", point.normalised_error),
            format!("{} to {}", fixed(least, 2), fixed(most, 2)),
        ]);
    }
    let _ = writeln!(text, "{}", lines(&rows));
    if tones.points.len() > SHOWN {
        let _ = writeln!(text, "and {} with smaller |E_n|", tones.points.len() - SHOWN);
    }
    if tones.has_exact_predictions() {
        text.push_str(
            "The prediction is taken for exact: --uncertainty says how well it is known.\n",
        );
    }
    if let Some(mixers) = &tones.mixers {
        let gain = mixers.gain(wanted);
        let (amplitude_db, phase_deg) = (db_from_amplitude(gain.norm()), gain.arg().to_degrees());
        text.push_str(&filled(&format!(
            "One gain of Q's mixers explains it best: {amplitude_db:+.2} dB (u {:.2}) and \
             {phase_deg:+.2} deg (u {:.2}, of the tones alone), by which to multiply theirs: gain = \
             [{:.4}, {:.4}]; what is left is {:.1} standard uncertainties, without it {:.1}.",
            db_from_neper(mixers.u.0),
            mixers.u.1.to_degrees(),
            gain.re,
            gain.im,
            mixers.rms,
            mixers.rms_without,
        )));
    }
    text
}
