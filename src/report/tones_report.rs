//! Measured rejections against predicted ones: text, JSON and CSV.

use super::csv_table::{CsvTable, optional};
use super::text_table::{filled, fixed, lines, table};
use crate::downconverter::Sideband;
use crate::measurement::{MixerError, ToneComparison, ToneComparisons};
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
            "normalised_error": point.normalised_error,
            "agrees": point.agrees,
            "min_added_error_db": finite(db_from_neper(point.added_error.0)),
            "min_added_error_deg": finite(point.added_error.0.to_degrees()),
            "max_added_error_db": finite(db_from_neper(point.added_error.1)),
            "max_added_error_deg": finite(point.added_error.1.to_degrees()),
        })
    });
    let mixer = |mixers: &MixerError| {
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
    };
    let deciding = tones.deciding.map(|deciding| {
        json!({
            "lo_hz": deciding.lo_hz,
            "if_hz": deciding.if_hz,
            "difference_db": deciding.difference_db,
            "enough": deciding.is_enough,
        })
    });
    json!({
        "agreeing": tones.agreeing(),
        "worst_normalised_error": tones.worst().and_then(|worst| worst.normalised_error),
        "mixer_error": tones.mixers.first().map(mixer),
        "mixer_errors_not_ruled_out": tones.mixers.iter().map(mixer).collect::<Vec<_>>(),
        "deciding_tone": deciding,
        "points": points.collect::<Vec<_>>(),
    })
}

/// The column of the normalised error.
const NORMALISED_ERROR: usize = 7;

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
            db_from_neper(point.added_error.0),
            db_from_neper(point.added_error.1),
        ];
        let mut row = row.map(|value| optional(Some(value))).to_vec();
        row.insert(NORMALISED_ERROR, optional(point.normalised_error));
        table.row(row)?;
    }
    table.finish()
}

/// Rows shown; the table has them all.
const SHOWN: usize = 8;

/// The section of a receiver's report: the points with the largest differences, and the mixers.
#[must_use]
pub fn tones_text(tones: &ToneComparisons, wanted: Sideband) -> String {
    let mut text = format!(
        "\nMeasured rejection: {} of {} agree with the prediction\n",
        tones.agreeing(),
        tones.points.len()
    );
    let mut sorted: Vec<_> = tones.points.iter().collect();
    let size = |point: &ToneComparison| point.normalised_error.map_or(-1.0, f64::abs);
    sorted.sort_by(|one, other| {
        one.agrees.cmp(&other.agrees).then(size(other).total_cmp(&size(one)))
    });
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
            match point.normalised_error {
                Some(error) => format!("{error:+.2}"),
                None => if point.agrees { "none, agrees" } else { "none, below" }.to_owned(),
            },
            format!("{} to {}", fixed(least, 2), fixed(most, 2)),
        ]);
    }
    let _ = writeln!(text, "{}", lines(&rows));
    if tones.points.len() > SHOWN {
        let _ = writeln!(text, "and {} with smaller |E_n|", tones.points.len() - SHOWN);
    }
    if tones.has_exact_predictions() {
        text.push_str("The prediction is taken as exact: no uncertainty of it is given.\n");
    }
    if tones.points.iter().any(|point| point.normalised_error.is_none()) {
        text.push_str(&filled(
            "none: the prediction may be perfect, so that its interval has no upper end and E_n does \
             not exist; a measurement agrees unless it is below the interval by more than 2 u.",
        ));
    }
    if let Some(mixers) = tones.mixers.first() {
        let included = if tones.has_exact_predictions() {
            "of the tones alone"
        } else {
            "with that of the prediction"
        };
        text.push_str(&filled(&format!(
            "Best single factor on the gains of Q's mixers: {} (u {included}); remaining deviation \
             {:.1} standard uncertainties, {:.1} without it.",
            shown(mixers, wanted),
            mixers.rms,
            mixers.rms_without,
        )));
    }
    if let [_, others @ ..] = tones.mixers.as_slice()
        && !others.is_empty()
    {
        let listed: Vec<String> = others.iter().map(|other| shown(other, wanted)).collect();
        text.push_str(&filled(&format!(
            "The tones do not rule out: {}. {}",
            listed.join("; "),
            deciding_text(tones)
        )));
    }
    text
}

/// A gain of Q's mixers with its standard uncertainties, also as a description takes it.
fn shown(mixers: &MixerError, wanted: Sideband) -> String {
    let gain = mixers.gain(wanted);
    let (amplitude_db, phase_deg) = (db_from_amplitude(gain.norm()), gain.arg().to_degrees());
    format!(
        "{amplitude_db:+.2} dB (u {:.2}) and {phase_deg:+.2} deg (u {:.2}), gain = [{:.4}, {:.4}]",
        db_from_neper(mixers.u.0),
        mixers.u.1.to_degrees(),
        gain.re,
        gain.im,
    )
}

/// Which further tones would decide between several errors.
fn deciding_text(tones: &ToneComparisons) -> String {
    match &tones.deciding {
        Some(deciding) if deciding.is_enough => format!(
            "A tone at LO {}, IF {} would decide: the first two differ by {} dB there.",
            ShownFrequency(deciding.lo_hz),
            ShownFrequency(deciding.if_hz),
            fixed(deciding.difference_db, 2),
        ),
        _ => "No point of the plan would decide; tones at other LOs and IFs, where the receiver's own \
              error has another direction, may."
            .to_owned(),
    }
}
