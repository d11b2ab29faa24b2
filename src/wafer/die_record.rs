//! A measured row of the list of dies, and the line of text that a journal stores for it.

use super::die::{
    DieEntry, DieFigures, DieKey, DieOutcome, DiePoint, DieWhatIfs, MeasuredDie, unbounded,
};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
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

/// The form in a journal. The points are the bytes of numbers, in base 64: they are used for pictures,
/// tables of all points and further questions, and must be read fast.
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

/// The count of single-precision numbers after the frequency of a point: for a receiver, for one with
/// losses, and for a splitter, whose sidebands are equal and which has losses.
const OF_RECEIVER: usize = 7;
const OF_SWITCHES: usize = 9;
const OF_SPLITTER: usize = 5;

#[expect(clippy::cast_possible_truncation, reason = "single precision is what is kept")]
fn points_text(points: &[DiePoint]) -> String {
    let is_receiver = points.iter().any(|point| point.if_hz.is_some());
    let has_losses = points.iter().any(|point| point.losses_db.is_some());
    let (form, count) = match (is_receiver, has_losses) {
        (true, false) => ('r', OF_RECEIVER),
        (true, true) => ('m', OF_SWITCHES),
        (false, _) => ('s', OF_SPLITTER),
    };
    let mut bytes = Vec::with_capacity(points.len() * point_bytes(count));
    for point in points {
        // Frequencies keep double precision.
        bytes.extend(point.frequency_hz.to_be_bytes());
        let DiePoint { rejection_db, channel_error, wanted_error, .. } = *point;
        let losses_db = point.losses_db.unwrap_or([f64::NAN; 2]);
        let mut values = [0.0; OF_SWITCHES];
        values[..3].copy_from_slice(&[rejection_db, channel_error.re, channel_error.im]);
        if is_receiver {
            values[3] = point.if_hz.unwrap_or(f64::NAN);
            values[4] = point.sideband_gain_db;
            values[5..7].copy_from_slice(&[wanted_error.re, wanted_error.im]);
            values[7..].copy_from_slice(&losses_db);
        } else {
            values[3..5].copy_from_slice(&losses_db);
        }
        for value in &values[..count] {
            bytes.extend((*value as f32).to_be_bytes());
        }
    }
    let mut text = String::with_capacity(1 + bytes.len().div_ceil(3) * 4);
    text.push(form);
    STANDARD.encode_string(bytes, &mut text);
    text
}

/// The bytes of a point with so many numbers after its frequency.
const fn point_bytes(count: usize) -> usize {
    size_of::<f64>() + count * size_of::<f32>()
}

fn points_of(text: &str) -> Option<Vec<DiePoint>> {
    let count = match text.as_bytes().first()? {
        b'r' => OF_RECEIVER,
        b'm' => OF_SWITCHES,
        b's' => OF_SPLITTER,
        _ => return None,
    };
    let bytes = STANDARD.decode(&text.as_bytes()[1..]).ok()?;
    let points = bytes.chunks_exact(point_bytes(count));
    if !points.remainder().is_empty() {
        return None;
    }
    points
        .map(|bytes| {
            let (frequency, singles) = bytes.split_first_chunk()?;
            let mut values = [f64::NAN; OF_SWITCHES];
            for (value, bytes) in values.iter_mut().zip(singles.chunks_exact(size_of::<f32>())) {
                *value = f64::from(f32::from_be_bytes(bytes.try_into().ok()?));
            }
            let frequency_hz = f64::from_be_bytes(*frequency);
            let [rejection_db, re, im, fourth, fifth, wanted_re, wanted_im, loss_i, loss_q] =
                values;
            let channel_error = Complex64::new(re, im);
            Some(if count != OF_SPLITTER {
                DiePoint {
                    frequency_hz,
                    if_hz: (!fourth.is_nan()).then_some(fourth),
                    rejection_db,
                    sideband_gain_db: fifth,
                    wanted_error: Complex64::new(wanted_re, wanted_im),
                    channel_error,
                    losses_db: (!loss_i.is_nan()).then_some([loss_i, loss_q]),
                }
            } else {
                DiePoint {
                    frequency_hz,
                    if_hz: None,
                    rejection_db,
                    sideband_gain_db: 0.0,
                    wanted_error: channel_error,
                    channel_error,
                    losses_db: (!fourth.is_nan()).then_some([fourth, fifth]),
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
        let splitter = DiePoint {
            if_hz: None,
            sideband_gain_db: 0.0,
            wanted_error: Complex64::new(0.5, -0.125),
            losses_db: Some([3.25, 3.5]),
            ..point(27_123_456_789.0, 31.5, (0.0, 0.0))
        };
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
        let of_splitter = MeasuredDie { points: vec![splitter; 3], ..die.clone() };
        for outcome in [
            DieOutcome::Measured(Box::new(die)),
            DieOutcome::Measured(Box::new(of_splitter)),
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
