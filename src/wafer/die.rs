//! What is known of one die: its points, its worst figures, its verdict, and the line of text in
//! which a run keeps them.

use super::manifest::{DieEntry, DieKey};
use crate::requirement::{Limit, Quantity, Verdict};
use crate::units::db_from_neper;
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// One frequency of a die, or one LO and IF.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiePoint {
    /// Frequency of a splitter, LO of a receiver, Hz.
    pub frequency_hz: f64,
    /// IF of a receiver, Hz.
    pub if_hz: Option<f64>,
    /// Image rejection, or common-mode rejection of a balun, dB; infinite at perfect balance.
    pub rejection_db: f64,
    /// What the paths before I favour the wanted sideband by, dB; 0 for a splitter.
    pub sideband_gain_db: f64,
    /// Channel error of the wanted sideband, nepers and radians: what limits on imbalance and phase
    /// are about.
    pub wanted_error: Complex64,
    /// Channel error of the image sideband: what is left over. A splitter has but one error.
    pub channel_error: Complex64,
}

/// The worst of a die.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DieFigures {
    /// The smallest rejection, dB.
    #[serde(with = "unbounded")]
    pub worst_rejection_db: f64,
    /// Where: frequency or LO, Hz.
    pub worst_at_hz: f64,
    /// Where: IF, Hz.
    pub worst_at_if_hz: Option<f64>,
    /// The phase error of largest magnitude, with its sign, degrees.
    pub worst_phase_error_deg: f64,
    /// The amplitude imbalance of largest magnitude, with its sign, dB.
    pub worst_amplitude_imbalance_db: f64,
    /// Mean channel error over all points: nepers and radians.
    pub mean_error: Complex64,
    /// The least LO power at any element, dBm, where it is limited.
    pub least_lo_power_dbm: Option<f64>,
    /// What can be said of it within the uncertainty of its files, where that is stated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub conformity: Option<Conformity>,
}

/// What can be said of a die within the uncertainty of its files.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conformity {
    /// The probability that the limit holds which is least likely to.
    pub probability: f64,
    /// What that decides, all limits together.
    #[serde(with = "verdict_name")]
    pub decision: Verdict,
}

impl DieFigures {
    /// The worst of points; `None` without any.
    #[must_use]
    pub fn of(points: &[DiePoint], least_lo_power_dbm: Option<f64>) -> Option<Self> {
        let worst =
            points.iter().min_by(|one, other| one.rejection_db.total_cmp(&other.rejection_db))?;
        // The first of equals, whatever their signs.
        let largest = |part: &dyn Fn(&DiePoint) -> f64| {
            points
                .iter()
                .map(part)
                .fold(0.0_f64, |found, value| if value.abs() > found.abs() { value } else { found })
        };
        #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 points")]
        let count = points.len() as f64;
        Some(Self {
            worst_rejection_db: worst.rejection_db,
            worst_at_hz: worst.frequency_hz,
            worst_at_if_hz: worst.if_hz,
            worst_phase_error_deg: largest(&|point| point.wanted_error.im.to_degrees()),
            worst_amplitude_imbalance_db: largest(&|point| db_from_neper(point.wanted_error.re)),
            mean_error: points.iter().map(|point| point.channel_error).sum::<Complex64>() / count,
            least_lo_power_dbm,
            conformity: None,
        })
    }

    /// The worst value of a quantity with its sign, in its unit.
    ///
    /// A die whose LO power is not known has none, `-f64::INFINITY`.
    #[must_use]
    pub fn worst(&self, quantity: Quantity) -> f64 {
        match quantity {
            Quantity::ImageRejection | Quantity::CommonModeRejection => self.worst_rejection_db,
            Quantity::AmplitudeImbalance => self.worst_amplitude_imbalance_db,
            Quantity::PhaseError | Quantity::QuadratureError => self.worst_phase_error_deg,
            Quantity::LoPower => self.least_lo_power_dbm.unwrap_or(f64::NEG_INFINITY),
        }
    }

    /// How far the worst value is on the right side of a limit, as [`Limit::margin`] has it.
    #[must_use]
    pub fn margin(&self, limit: Limit) -> f64 {
        limit.margin(self.worst(limit.quantity()))
    }

    /// The margin as a share of the limit, by which limits in different units are compared.
    #[must_use]
    pub fn relative_margin(&self, limit: Limit) -> f64 {
        self.margin(limit) / limit.value().abs().max(f64::MIN_POSITIVE)
    }
}

/// A verdict in the journal: its name.
mod verdict_name {
    use crate::requirement::Verdict;
    use serde::{Deserialize as _, Deserializer, Serializer, de::Error as _};

    pub(super) fn serialize<S: Serializer>(verdict: &Verdict, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(verdict.name())
    }

    pub(super) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Verdict, D::Error> {
        let name = String::deserialize(from)?;
        Verdict::from_name(&name).ok_or_else(|| D::Error::custom(format!("no verdict is {name}")))
    }
}

/// Infinity has no number in JSON; it is written as null.
mod unbounded {
    use serde::{Deserialize as _, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(value: &f64, to: S) -> Result<S::Ok, S::Error> {
        if value.is_finite() { to.serialize_f64(*value) } else { to.serialize_none() }
    }

    pub(super) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<f64, D::Error> {
        Ok(Option::<f64>::deserialize(from)?.unwrap_or(f64::INFINITY))
    }
}

/// What a die turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DieStatus {
    /// Every limit holds.
    Pass,
    /// A limit does not hold.
    Fail,
    /// A file of it is missing.
    Incomplete,
    /// A file of it cannot be read, or makes no sense in its place.
    Error,
}

impl DieStatus {
    /// As `dies.csv` has it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Incomplete => "incomplete",
            Self::Error => "error",
        }
    }
}

/// What measuring a die gives: numbers that are counted later.
#[derive(Clone, Debug, PartialEq)]
pub enum DieOutcome {
    /// It was measured.
    Measured(Box<MeasuredDie>),
    /// A file of it is missing.
    Incomplete(String),
    /// A file of it cannot be read, or makes no sense in its place.
    Error(String),
}

/// A die measured.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredDie {
    /// Its worst.
    pub figures: DieFigures,
    /// All of it.
    pub points: Vec<DiePoint>,
    /// Its smallest rejection after the best single trim of its own, dB.
    pub own_trim_db: f64,
    /// Its smallest rejection after the best trim at each frequency or LO, dB.
    pub own_trims_db: f64,
    /// Its smallest rejection with each of the recipe's blocks ideal, dB.
    pub if_ideal_db: Vec<f64>,
}

/// A row of the manifest, measured: what a journal keeps of it.
#[derive(Clone, Debug, PartialEq)]
pub struct DieRecord {
    /// Which die.
    pub key: DieKey,
    /// The line in the manifest.
    pub line: u64,
    /// Its files as named; `None` where the field is empty.
    pub files: Vec<Option<PathBuf>>,
    /// Other fields.
    pub carried: Vec<String>,
    /// What came of it.
    pub outcome: DieOutcome,
}

/// As it stands in a journal. The points are bits, eight hexadecimal digits for each number of
/// single precision: they serve pictures and what-ifs, and must be read fast.
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
    trims_db: Vec<Option<f64>>,
    #[serde(skip_serializing_if = "String::is_empty", default)]
    points: String,
}

/// Hexadecimal digits of a number of single precision.
const DIGITS: usize = 8;

impl DieRecord {
    /// A row and what came of it.
    #[must_use]
    pub fn new(entry: &DieEntry, outcome: DieOutcome) -> Self {
        Self {
            key: entry.key.clone(),
            line: entry.line,
            files: entry.files.clone(),
            carried: entry.carried.clone(),
            outcome,
        }
    }

    /// One line of text.
    ///
    /// # Errors
    /// None in practice: the text is made in memory.
    pub fn to_line(&self) -> Result<String, serde_json::Error> {
        let mut kept = Kept {
            die: (self.key.lot.clone(), self.key.wafer.clone(), self.key.die_x, self.key.die_y),
            line: self.line,
            files: self
                .files
                .iter()
                .map(|file| file.as_ref().map(|file| file.to_string_lossy().into_owned()))
                .collect(),
            carried: self.carried.clone(),
            incomplete: None,
            error: None,
            figures: None,
            trims_db: Vec::new(),
            points: String::new(),
        };
        match &self.outcome {
            DieOutcome::Incomplete(message) => kept.incomplete = Some(message.clone()),
            DieOutcome::Error(message) => kept.error = Some(message.clone()),
            DieOutcome::Measured(die) => {
                kept.figures = Some(die.figures);
                let finite = |value: f64| value.is_finite().then_some(value);
                kept.trims_db = [die.own_trim_db, die.own_trims_db]
                    .into_iter()
                    .chain(die.if_ideal_db.iter().copied())
                    .map(finite)
                    .collect();
                kept.points = points_text(&die.points);
            }
        }
        serde_json::to_string(&kept)
    }

    /// From such a line, with or without the points; `None` if it is none.
    #[must_use]
    pub fn from_line(line: &str, has_points: bool) -> Option<Self> {
        let kept: Kept = serde_json::from_str(line).ok()?;
        let (lot, wafer, die_x, die_y) = kept.die;
        let outcome = match (kept.incomplete, kept.error, kept.figures) {
            (Some(message), None, None) => DieOutcome::Incomplete(message),
            (None, Some(message), None) => DieOutcome::Error(message),
            (None, None, Some(figures)) => {
                let mut trims = kept.trims_db.into_iter().map(|db| db.unwrap_or(f64::INFINITY));
                DieOutcome::Measured(Box::new(MeasuredDie {
                    figures,
                    own_trim_db: trims.next()?,
                    own_trims_db: trims.next()?,
                    if_ideal_db: trims.collect(),
                    points: if has_points { points_of(&kept.points)? } else { Vec::new() },
                }))
            }
            _ => return None,
        };
        Some(Self {
            key: DieKey { lot, wafer, die_x, die_y },
            line: kept.line,
            files: kept.files.into_iter().map(|file| file.map(PathBuf::from)).collect(),
            carried: kept.carried,
            outcome,
        })
    }
}

/// Numbers of single precision behind a point's frequency: those of a receiver, and the fewer of a
/// splitter, whose sidebands are one.
const OF_RECEIVER: usize = 7;
const OF_SPLITTER: usize = 3;

#[expect(clippy::cast_possible_truncation, reason = "single precision is what is kept")]
fn points_text(points: &[DiePoint]) -> String {
    let is_receiver = points.iter().any(|point| point.if_hz.is_some());
    let count = if is_receiver { OF_RECEIVER } else { OF_SPLITTER };
    let mut text = String::with_capacity(1 + points.len() * (count + 2) * DIGITS);
    text.push(if is_receiver { 'r' } else { 's' });
    for point in points {
        // Frequencies are kept whole.
        push_digits(&mut text, point.frequency_hz.to_bits(), 2 * DIGITS);
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
            push_digits(&mut text, (*value as f32).to_bits().into(), DIGITS);
        }
    }
    text
}

/// The last so many hexadecimal digits of a number.
fn push_digits(text: &mut String, bits: u64, count: usize) {
    const HEXADECIMAL: &[u8; 16] = b"0123456789abcdef";
    for place in (0..count).rev() {
        let digit = usize::try_from((bits >> (4 * place)) & 15).unwrap_or(0);
        text.push(char::from(HEXADECIMAL[digit]));
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
#[allow(clippy::unwrap_used, clippy::float_cmp)]
mod tests {
    use super::*;

    fn point(frequency_hz: f64, rejection_db: f64, wanted: (f64, f64)) -> DiePoint {
        DiePoint {
            frequency_hz,
            if_hz: Some(1e9),
            rejection_db,
            sideband_gain_db: 0.25,
            wanted_error: Complex64::new(wanted.0, wanted.1),
            channel_error: Complex64::new(0.5, -0.125),
        }
    }

    #[test]
    fn the_worst_keeps_its_sign_and_place() {
        let points = [
            point(27e9, 31.0, (0.01, -0.03)),
            point(28e9, 29.0, (-0.02, 0.01)),
            point(29e9, 40.0, (0.0, 0.0)),
        ];
        let figures = DieFigures::of(&points, Some(3.0)).unwrap();
        assert_eq!((figures.worst_rejection_db, figures.worst_at_hz), (29.0, 28e9));
        assert!((figures.worst_phase_error_deg + 0.03_f64.to_degrees()).abs() < 1e-12);
        assert!(
            (figures.worst_amplitude_imbalance_db + 0.02 * 8.685_889_638_065_035).abs() < 1e-12
        );
        assert_eq!(figures.mean_error, Complex64::new(0.5, -0.125));
        assert_eq!(DieFigures::of(&[], None), None);
    }

    #[test]
    fn a_record_survives_its_line_of_text() {
        let entry = DieEntry {
            line: 7,
            key: DieKey { lot: "lot \"1\"".into(), wafer: "Ω,2".into(), die_x: -3, die_y: 4 },
            files: vec![Some(PathBuf::from("a b/ü.s4p")), None],
            carried: vec!["=1+1".into()],
        };
        // Numbers that single precision holds exactly come back as they were.
        let points = vec![point(27_123_456_789.0, f64::INFINITY, (0.25, -0.5))];
        let figures = DieFigures::of(&points, None).unwrap();
        let die = MeasuredDie {
            figures: DieFigures { worst_phase_error_deg: 1.0 / 3.0, ..figures },
            points,
            own_trim_db: 0.1 + 0.2,
            own_trims_db: f64::INFINITY,
            if_ideal_db: vec![40.5],
        };
        for outcome in [
            DieOutcome::Measured(Box::new(die)),
            DieOutcome::Incomplete("no file\nfor b".into()),
            DieOutcome::Error("line 3".into()),
        ] {
            let record = DieRecord::new(&entry, outcome);
            let line = record.to_line().unwrap();
            assert!(!line.contains('\n'));
            assert_eq!(DieRecord::from_line(&line, true), Some(record));
        }
        assert_eq!(DieRecord::from_line("{\"die\":1}", true), None);
    }
}
