//! One die: its identity, points, worst figures and verdict.

use crate::requirement::{Limit, Quantity, Verdict};
use crate::units::{ShownFrequency, db_from_neper};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;
use std::sync::Arc;

/// The identity of a die.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct DieKey {
    /// Name of the lot.
    pub lot: Arc<str>,
    /// Name of the wafer in the lot.
    pub wafer: Arc<str>,
    /// The die's column on the wafer; may be negative.
    pub die_x: i32,
    /// The die's row on the wafer; may be negative.
    pub die_y: i32,
}

/// A row of the list of dies: one measurement of a die.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DieEntry {
    /// Line number in the list.
    pub line: u64,
    /// Identity of the die.
    pub key: DieKey,
    /// One file per file column, in the order of the columns; `None` where the field is empty.
    pub files: Vec<Option<PathBuf>>,
    /// The fields of the other columns, in their order.
    pub carried: Vec<String>,
}

/// One frequency of a die, or one LO and IF.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct DiePoint {
    /// Frequency of a splitter, LO of a receiver, Hz.
    pub(crate) frequency_hz: f64,
    /// IF of a receiver, Hz.
    pub(crate) if_hz: Option<f64>,
    /// Image rejection, or common-mode rejection of a balun, dB; infinite at perfect balance.
    pub(crate) rejection_db: f64,
    /// Gain of the wanted over the image sideband in the paths before I, dB; 0 for a splitter.
    pub(crate) sideband_gain_db: f64,
    /// Channel error of the wanted sideband, nepers and radians; imbalance and phase error are
    /// limited on it.
    pub(crate) wanted_error: Complex64,
    /// I/Q channel error of the image sideband, which determines the image. A splitter has one
    /// error only.
    pub(crate) channel_error: Complex64,
    /// Insertion losses of a splitter to its first and second output, conversion losses of I and Q of
    /// switched mixers, dB; `None` for multipliers.
    pub(crate) losses_db: Option<[f64; 2]>,
}

/// The worst figures of a die.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DieFigures {
    /// Minimum rejection, dB.
    #[serde(with = "unbounded")]
    pub worst_rejection_db: f64,
    /// Its frequency or LO, Hz.
    pub worst_at_hz: f64,
    /// Its IF, Hz.
    pub worst_at_if_hz: Option<f64>,
    /// The phase error of maximum magnitude, with its sign, degrees.
    pub worst_phase_error_deg: f64,
    /// The amplitude imbalance of maximum magnitude, with its sign, dB.
    pub worst_amplitude_imbalance_db: f64,
    /// Mean channel error over all points: nepers and radians.
    pub mean_error: Complex64,
    /// Minimum LO power at any mixer, dBm; `None` without a limit.
    pub min_lo_power_dbm: Option<f64>,
    /// The worst levels of switched mixers; `None` without a limit on one of them.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub switched: Option<SwitchedDie>,
    /// The nominal phase difference of a splitter that is nearest to its data, degrees, if the
    /// settings do not give it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub nominal_deg: Option<f64>,
    /// The decision within the uncertainty of its files, if that is stated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub conformity: Option<Conformity>,
}

/// The worst levels of a die in a receiver with switched mixers; `None` where a level has no number.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SwitchedDie {
    /// Maximum conversion loss of I and Q together, dB.
    pub conversion_loss_db: Option<f64>,
    /// Maximum noise figure, dB.
    pub noise_figure_db: Option<f64>,
    /// Maximum LO power that leaves the RF port, dBm.
    pub lo_at_rf_port_dbm: Option<f64>,
}

/// The decision on a die within the uncertainty of its files.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Conformity {
    /// The minimum of the probabilities with which the limits are met.
    pub probability: f64,
    /// The decision on all limits together.
    #[serde(with = "verdict_name")]
    pub decision: Verdict,
}

impl DieFigures {
    /// The worst figures of points; `None` without any.
    pub(crate) fn of(points: &[DiePoint], min_lo_power_dbm: Option<f64>) -> Option<Self> {
        let worst =
            points.iter().min_by(|one, other| one.rejection_db.total_cmp(&other.rejection_db))?;
        #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 points")]
        let count = points.len() as f64;
        let figures = Self {
            worst_rejection_db: worst.rejection_db,
            worst_at_hz: worst.frequency_hz,
            worst_at_if_hz: worst.if_hz,
            worst_phase_error_deg: 0.0,
            worst_amplitude_imbalance_db: 0.0,
            mean_error: points.iter().map(|point| point.channel_error).sum::<Complex64>() / count,
            min_lo_power_dbm,
            switched: None,
            nominal_deg: None,
            conformity: None,
        };
        let errors: Vec<Complex64> = points.iter().map(|point| point.wanted_error).collect();
        Some(figures.with_errors(&errors))
    }

    /// The same with the worst imbalance and phase error of other channel errors, nepers and radians.
    pub(super) fn with_errors(self, errors: &[Complex64]) -> Self {
        // Of equal magnitudes the first is used, independent of sign.
        let largest = |values: &mut dyn Iterator<Item = f64>| {
            values
                .fold(0.0_f64, |found, value| if value.abs() > found.abs() { value } else { found })
        };
        Self {
            worst_phase_error_deg: largest(&mut errors.iter().map(|error| error.im.to_degrees())),
            worst_amplitude_imbalance_db: largest(
                &mut errors.iter().map(|error| db_from_neper(error.re)),
            ),
            ..self
        }
    }

    /// The worst value of a quantity with its sign, in its unit. A die's LO power that is not known
    /// is `-f64::INFINITY`, which fails every limit.
    #[must_use]
    pub fn worst(&self, quantity: Quantity) -> f64 {
        match quantity {
            Quantity::ImageRejection | Quantity::CommonModeRejection => self.worst_rejection_db,
            Quantity::AmplitudeImbalance => self.worst_amplitude_imbalance_db,
            Quantity::PhaseError | Quantity::QuadratureError => self.worst_phase_error_deg,
            Quantity::LoPower => self.min_lo_power_dbm.unwrap_or(f64::NEG_INFINITY),
            // A level without a number keeps no limit.
            Quantity::ConversionLoss => self.level(|own| own.conversion_loss_db),
            Quantity::NoiseFigure => self.level(|own| own.noise_figure_db),
            Quantity::LoAtRfPort => self.level(|own| own.lo_at_rf_port_dbm),
            // Refused for dies, so that a limit on one is kept by none.
            Quantity::LoPowerMax | Quantity::LoTone | Quantity::SpuriousResponse => f64::NAN,
        }
    }

    fn level(&self, of: impl Fn(&SwitchedDie) -> Option<f64>) -> f64 {
        self.switched.as_ref().and_then(of).unwrap_or(f64::INFINITY)
    }

    /// The margin of the worst value to a limit, as defined by [`Limit::margin`].
    #[must_use]
    pub fn margin(&self, limit: Limit) -> f64 {
        limit.margin(self.worst(limit.quantity()))
    }

    /// The margin as a share of the limit, for a comparison of limits in different units.
    #[must_use]
    pub fn relative_margin(&self, limit: Limit) -> f64 {
        self.margin(limit) / limit.value().abs().max(f64::MIN_POSITIVE)
    }
}

/// The name of a verdict in the journal.
mod verdict_name {
    use crate::requirement::Verdict;
    use serde::{Deserialize as _, Deserializer, Serializer, de::Error as _};

    pub(super) fn serialize<S: Serializer>(verdict: &Verdict, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(verdict.name())
    }

    pub(super) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Verdict, D::Error> {
        let name = String::deserialize(from)?;
        Verdict::from_name(&name)
            .ok_or_else(|| D::Error::custom(format!("expected a verdict, found {name}")))
    }
}

/// JSON has no infinite numbers: a perfect rejection is written as null, and a rejection of minus
/// infinity (all of the signal is image) as a word.
pub(super) mod unbounded {
    use serde::{Deserialize, Deserializer, Serializer, de::Error as _};

    const NONE_AT_ALL: &str = "-inf";

    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Kept {
        Number(f64),
        Word(String),
    }

    pub(in crate::wafer) fn serialize<S: Serializer>(
        value: &f64,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        if value.is_finite() {
            to.serialize_f64(*value)
        } else if value.is_sign_negative() {
            to.serialize_str(NONE_AT_ALL)
        } else {
            to.serialize_none()
        }
    }

    pub(in crate::wafer) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<f64, D::Error> {
        match Option::<Kept>::deserialize(from)? {
            None => Ok(f64::INFINITY),
            Some(Kept::Number(number)) => Ok(number),
            Some(Kept::Word(word)) if word == NONE_AT_ALL => Ok(f64::NEG_INFINITY),
            Some(Kept::Word(word)) => {
                Err(D::Error::custom(format!("expected a rejection, found {word}")))
            }
        }
    }
}

/// The status of a die.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum DieStatus {
    /// Every limit is met.
    Pass,
    /// A limit is missed.
    Fail,
    /// A file of the die is missing.
    Incomplete,
    /// A file of the die cannot be read or is not valid for its block.
    Error,
}

impl DieStatus {
    /// The status as in `dies.csv`.
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

/// The result of measuring a die, before limits are applied.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum DieOutcome {
    /// The die was measured.
    Measured(Box<MeasuredDie>),
    /// A file of the die is missing.
    Incomplete(String),
    /// A file of the die cannot be read or is not valid for its block.
    Error(String),
}

/// A figure of a die that does not exist, because its networks are so far from those of a part that
/// the result is outside the range of numbers.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "its {figure} at {} does not exist: its entries are too small, too large or too unequal there",
    ShownFrequency(*.frequency_hz)
)]
pub(crate) struct MissingFigure {
    figure: &'static str,
    frequency_hz: f64,
}

impl DiePoint {
    /// Checks that every number of the point exists, also in the single precision in which it is
    /// stored. A rejection may be infinite, at perfect balance.
    ///
    /// # Errors
    /// [`MissingFigure`] for the first number that does not exist.
    pub(crate) fn check(&self) -> Result<(), MissingFigure> {
        let fits = |value: f64| value.abs() <= f64::from(f32::MAX);
        let error_fits = |error: Complex64| fits(error.re) && fits(error.im);
        let figures = [
            ("frequency", self.frequency_hz.is_finite() && self.if_hz.is_none_or(f64::is_finite)),
            ("rejection", !self.rejection_db.is_nan()),
            ("gain of the sideband", fits(self.sideband_gain_db)),
            ("loss", self.losses_db.is_none_or(|losses_db| losses_db.into_iter().all(fits))),
            ("channel error", error_fits(self.wanted_error) && error_fits(self.channel_error)),
        ];
        match figures.iter().find(|(_, exists)| !exists) {
            None => Ok(()),
            Some((figure, _)) => Err(MissingFigure { figure, frequency_hz: self.frequency_hz }),
        }
    }
}

/// A measured die.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct MeasuredDie {
    /// The worst figures.
    pub(crate) figures: DieFigures,
    /// All points; at least one where they are read.
    pub(crate) points: Vec<DiePoint>,
    /// The minimum rejection under further questions.
    pub(crate) what_ifs: DieWhatIfs,
    /// What speaks against its files, though they are used.
    pub(crate) warnings: Vec<String>,
}

impl MeasuredDie {
    /// Checks that every figure of the die exists: none is NaN.
    ///
    /// # Errors
    /// [`MissingFigure`] for the first figure that does not exist.
    pub(crate) fn check(&self) -> Result<(), MissingFigure> {
        self.points.iter().try_for_each(DiePoint::check)?;
        let (figures, what_ifs) = (&self.figures, &self.what_ifs);
        let probability = figures.conformity.map(|known| known.probability);
        let corrected = [what_ifs.corrected_db, what_ifs.corrected_per_frequency_db];
        let kept = [
            ("amplitude imbalance", figures.worst_amplitude_imbalance_db.is_finite()),
            ("phase error", figures.worst_phase_error_deg.is_finite()),
            ("mean channel error", figures.mean_error.is_finite()),
            // A power of zero watts is a figure: it fails every limit.
            ("LO power", figures.min_lo_power_dbm.is_none_or(|dbm| dbm < f64::INFINITY)),
            ("probability of conformity", probability.is_none_or(f64::is_finite)),
            ("corrected rejection", !corrected.iter().any(|db| db.is_nan())),
            ("rejection if ideal", !what_ifs.ideal_db.iter().any(|db| db.is_nan())),
        ];
        match kept.iter().find(|(_, exists)| !exists) {
            None => Ok(()),
            Some((figure, _)) => Err(MissingFigure { figure, frequency_hz: figures.worst_at_hz }),
        }
    }
}

/// The minimum rejection of a die under further questions, dB. Without corrections both values are
/// the rejection as measured.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DieWhatIfs {
    /// After the best single correction of the die.
    pub(crate) corrected_db: f64,
    /// After the best correction at each frequency or LO.
    pub(crate) corrected_per_frequency_db: f64,
    /// With each of the settings' blocks or pairs ideal, in their order.
    pub(crate) ideal_db: Vec<f64>,
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp)]
pub(super) mod tests {
    use super::*;

    pub(in crate::wafer) fn point(
        frequency_hz: f64,
        rejection_db: f64,
        wanted: (f64, f64),
    ) -> DiePoint {
        DiePoint {
            frequency_hz,
            if_hz: Some(1e9),
            rejection_db,
            sideband_gain_db: 0.25,
            wanted_error: Complex64::new(wanted.0, wanted.1),
            channel_error: Complex64::new(0.5, -0.125),
            losses_db: None,
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
    fn what_is_no_number_is_no_figure() {
        let die = |point: DiePoint, corrected_db: f64| MeasuredDie {
            warnings: Vec::new(),
            figures: DieFigures::of(&[point], None).unwrap(),
            points: vec![point],
            what_ifs: DieWhatIfs {
                corrected_db,
                corrected_per_frequency_db: f64::INFINITY,
                ideal_db: Vec::new(),
            },
        };
        let good = point(28e9, f64::INFINITY, (0.0, 0.0));
        die(good, f64::INFINITY).check().unwrap();
        // A maximum that ignores NaN would be a false pass.
        let bad = point(28e9, 40.0, (f64::NAN, 0.0));
        assert_eq!(DieFigures::of(&[bad], None).unwrap().worst_amplitude_imbalance_db, 0.0);
        for (point, says) in [
            (bad, "channel error at 28 GHz"),
            (point(28e9, f64::NAN, (0.0, 0.0)), "rejection at 28 GHz"),
            // A number beyond single precision would be stored as infinity.
            (point(28e9, 40.0, (1e39, 0.0)), "channel error"),
        ] {
            let error = die(point, 1.0).check().unwrap_err().to_string();
            assert!(error.contains(says), "{error}");
        }
        assert!(die(good, f64::NAN).check().unwrap_err().to_string().contains("corrected"));
        let lo_power = DieFigures { min_lo_power_dbm: Some(f64::NAN), ..die(good, 1.0).figures };
        assert!(MeasuredDie { figures: lo_power, ..die(good, 1.0) }.check().is_err());
    }

    #[test]
    fn the_journal_keeps_both_infinities_apart() {
        for rejection_db in [f64::INFINITY, f64::NEG_INFINITY, 31.5] {
            let figures = DieFigures::of(&[point(28e9, rejection_db, (0.0, 0.0))], None).unwrap();
            let text = serde_json::to_string(&figures).unwrap();
            assert_eq!(serde_json::from_str::<DieFigures>(&text).unwrap(), figures, "{text}");
        }
        let text = r#"{"worst_rejection_db":"good"}"#;
        assert!(serde_json::from_str::<DieFigures>(text).is_err());
    }
}
