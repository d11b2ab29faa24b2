//! A measured row of the list of dies, and the line of text that a journal stores for it.

use super::die::{
    DieEntry, DieFigures, DieKey, DieOutcome, DiePoint, DieWhatIfs, MeasuredDie, unbounded,
};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// A measured row of the list of dies, as stored by a journal.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DieRecord {
    /// The row.
    pub(crate) entry: DieEntry,
    /// The result.
    pub(crate) outcome: DieOutcome,
}

/// The extent to which a record is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum RecordDepth {
    /// The worst figures only, which is fast.
    Figures,
    /// Every point too.
    Points,
}

/// The form in a journal. The points are bits, eight hexadecimal digits for each number of single
/// precision: they are used for pictures and further questions, and must be read fast.
#[derive(Serialize, Deserialize)]
struct Kept {
    die: (String, String, i32, i32),
    line: u64,
    files: Vec<Option<String>>,
    carried: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    incomplete: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    figures: Option<DieFigures>,
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    trims_db: Vec<KeptRejection>,
    #[serde(skip_serializing_if = "String::is_empty", default)]
    points: String,
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    warnings: Vec<String>,
}

/// A rejection, dB; it may be infinite.
#[derive(Serialize, Deserialize)]
struct KeptRejection(#[serde(with = "unbounded")] f64);

/// Hexadecimal digits of a number of single precision.
const DIGITS: usize = 8;

impl DieRecord {
    /// The record as one line of text.
    ///
    /// # Errors
    /// None in practice: the text is created in memory.
    pub(crate) fn to_line(&self) -> Result<String, serde_json::Error> {
        let DieEntry { line, key, files, carried } = &self.entry;
        let mut kept = Kept {
            die: (key.lot.to_string(), key.wafer.to_string(), key.die_x, key.die_y),
            line: *line,
            files: files
                .iter()
                .map(|file| file.as_ref().map(|file| file.to_string_lossy().into_owned()))
                .collect(),
            carried: carried.clone(),
            incomplete: None,
            error: None,
            figures: None,
            trims_db: Vec::new(),
            points: String::new(),
            warnings: Vec::new(),
        };
        match &self.outcome {
            DieOutcome::Incomplete(message) => kept.incomplete = Some(message.clone()),
            DieOutcome::Error(message) => kept.error = Some(message.clone()),
            DieOutcome::Measured(die) => {
                kept.figures = Some(die.figures);
                let what_ifs = &die.what_ifs;
                kept.trims_db = [what_ifs.corrected_db, what_ifs.corrected_per_frequency_db]
                    .into_iter()
                    .chain(what_ifs.ideal_db.iter().copied())
                    .map(KeptRejection)
                    .collect();
                kept.points = points_text(&die.points);
                kept.warnings.clone_from(&die.warnings);
            }
        }
        serde_json::to_string(&kept)
    }

    /// Reads such a line of a run with `ideal` ideal blocks; `None` for any other text.
    pub(crate) fn from_line(line: &str, depth: RecordDepth, ideal: usize) -> Option<Self> {
        let kept: Kept = serde_json::from_str(line).ok()?;
        let (lot, wafer, die_x, die_y) = kept.die;
        let outcome = match (kept.incomplete, kept.error, kept.figures) {
            (Some(message), None, None) => DieOutcome::Incomplete(message),
            (None, Some(message), None) => DieOutcome::Error(message),
            (None, None, Some(figures)) => {
                let mut trims = kept.trims_db.into_iter().map(|KeptRejection(db)| db);
                let what_ifs = DieWhatIfs {
                    corrected_db: trims.next()?,
                    corrected_per_frequency_db: trims.next()?,
                    ideal_db: trims.collect(),
                };
                let warnings = kept.warnings;
                let points = match depth {
                    RecordDepth::Figures => Vec::new(),
                    RecordDepth::Points => points_of(&kept.points)?,
                };
                if what_ifs.ideal_db.len() != ideal {
                    return None;
                }
                DieOutcome::Measured(Box::new(MeasuredDie { figures, points, what_ifs, warnings }))
            }
            _ => return None,
        };
        let entry = DieEntry {
            line: kept.line,
            key: DieKey { lot: lot.into(), wafer: wafer.into(), die_x, die_y },
            files: kept.files.into_iter().map(|file| file.map(PathBuf::from)).collect(),
            carried: kept.carried,
        };
        Some(Self { entry, outcome })
    }
}

/// The count of single-precision numbers after the frequency of a point: for a receiver, and for a
/// splitter, whose sidebands are equal.
const OF_RECEIVER: usize = 7;
const OF_SPLITTER: usize = 3;

#[expect(clippy::cast_possible_truncation, reason = "single precision is what is kept")]
fn points_text(points: &[DiePoint]) -> String {
    let is_receiver = points.iter().any(|point| point.if_hz.is_some());
    let count = if is_receiver { OF_RECEIVER } else { OF_SPLITTER };
    let mut text = String::with_capacity(1 + points.len() * (count + 2) * DIGITS);
    text.push(if is_receiver { 'r' } else { 's' });
    for point in points {
        // Frequencies keep double precision.
        push_digits(&mut text, &point.frequency_hz.to_be_bytes());
        let values = [
            point.rejection_db,
            point.channel_error.re,
            point.channel_error.im,
            point.if_hz.unwrap_or(f64::NAN),
            point.sideband_gain_db,
            point.wanted_error.re,
            point.wanted_error.im,
        ];
        for value in &values[..count] {
            push_digits(&mut text, &(*value as f32).to_be_bytes());
        }
    }
    text
}

/// The hexadecimal digits of the bytes of a number, the most significant first.
fn push_digits(text: &mut String, bytes: &[u8]) {
    const HEXADECIMAL: &[u8; 16] = b"0123456789abcdef";
    for byte in bytes {
        for digit in [byte >> 4, byte & 15] {
            text.push(char::from(HEXADECIMAL[usize::from(digit)]));
        }
    }
}

fn points_of(text: &str) -> Option<Vec<DiePoint>> {
    let count = match text.as_bytes().first()? {
        b'r' => OF_RECEIVER,
        b's' => OF_SPLITTER,
        _ => return None,
    };
    let (text, length) = (&text[1..], (count + 2) * DIGITS);
    if !text.is_ascii() || !text.len().is_multiple_of(length) {
        return None;
    }
    (0..text.len() / length)
        .map(|point| {
            let text = &text[point * length..(point + 1) * length];
            let frequency_hz = f64::from_bits(u64::from_str_radix(&text[..2 * DIGITS], 16).ok()?);
            let mut values = [0.0; OF_RECEIVER];
            for (at, value) in values.iter_mut().take(count).enumerate() {
                let digits = &text[(2 + at) * DIGITS..(3 + at) * DIGITS];
                *value = f64::from(f32::from_bits(u32::from_str_radix(digits, 16).ok()?));
            }
            let [rejection_db, re, im, if_hz, sideband_gain_db, wanted_re, wanted_im] = values;
            let channel_error = Complex64::new(re, im);
            Some(if count == OF_RECEIVER {
                DiePoint {
                    frequency_hz,
                    if_hz: (!if_hz.is_nan()).then_some(if_hz),
                    rejection_db,
                    sideband_gain_db,
                    wanted_error: Complex64::new(wanted_re, wanted_im),
                    channel_error,
                }
            } else {
                DiePoint {
                    frequency_hz,
                    if_hz: None,
                    rejection_db,
                    sideband_gain_db: 0.0,
                    wanted_error: channel_error,
                    channel_error,
                }
            })
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::die::tests::point;
    use super::*;

    #[test]
    fn a_record_survives_its_line_of_text() {
        let entry = DieEntry {
            line: 7,
            key: DieKey { lot: "lot \"1\"".into(), wafer: "Ω,2".into(), die_x: -3, die_y: 4 },
            files: vec![Some(PathBuf::from("a b/ü.s4p")), None],
            carried: vec!["=1+1".into()],
        };
        // Numbers that single precision holds exactly are restored exactly.
        let points = vec![point(27_123_456_789.0, f64::INFINITY, (0.25, -0.5))];
        let figures = DieFigures::of(&points, None).unwrap();
        let die = MeasuredDie {
            figures: DieFigures { worst_phase_error_deg: 1.0 / 3.0, ..figures },
            points,
            what_ifs: DieWhatIfs {
                corrected_db: 0.1 + 0.2,
                corrected_per_frequency_db: f64::INFINITY,
                ideal_db: vec![40.5],
            },
            warnings: vec!["it is \"not\" reciprocal".into()],
        };
        for outcome in [
            DieOutcome::Measured(Box::new(die)),
            DieOutcome::Incomplete("no file\nfor b".into()),
            DieOutcome::Error("line 3".into()),
        ] {
            let is_measured = matches!(outcome, DieOutcome::Measured(_));
            let record = DieRecord { entry: entry.clone(), outcome };
            let line = record.to_line().unwrap();
            assert!(!line.contains('\n'));
            assert_eq!(DieRecord::from_line(&line, RecordDepth::Points, 1), Some(record));
            let other_run = DieRecord::from_line(&line, RecordDepth::Figures, 2);
            assert_eq!(other_run.is_none(), is_measured);
        }
        assert_eq!(DieRecord::from_line("{\"die\":1}", RecordDepth::Points, 0), None);
    }
}
