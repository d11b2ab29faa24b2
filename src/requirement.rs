//! Quantity, limit and verdict: common to splitters, receivers and dies.
//!
//! In: values computed or measured elsewhere, and their limits.
//! Out: the worst value of each limited quantity, its margin, and a verdict.
//!
//! A [`Quantity`] has its name in files, its label, its unit and the direction of its limits. A
//! [`Figure`] is a number or the reason for which there is none; without a number it is never
//! compared, and no requirement is decided with it ([`UndefinedFigure`]). The quantities of each
//! kind of part and their computation are defined in the modules of those parts.

use crate::units::{ShownFrequency, db_from_neper, db_from_power};
use std::fmt;

/// The reason for which a figure has no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum NoFigure {
    /// The loads reflect more power than they receive, and a negative power has no level in dBm.
    #[error("the loads there reflect more than they receive, so the power has no level in dBm")]
    NegativePower,
    /// A quotient of two vanishing values, or a value beyond the range of numbers.
    #[error("it results from values beyond the range of double precision")]
    NotANumber,
    /// The part has no such quantity.
    #[error("a part of this kind has no such quantity")]
    NoSuchQuantity,
    /// There is no point to decide on.
    #[error("there is no point at which it could be computed")]
    NoPoints,
}

/// A number, or the reason why there is none.
///
/// The number is finite, or the infinite level of a ratio with a vanishing part; it is never
/// `f64::NAN`, so figures with numbers can be compared.
///
/// ```
/// use fourphase::requirement::{Figure, NoFigure};
///
/// assert_eq!(Figure::new(3.0).value(), Some(3.0));
/// assert_eq!(Figure::new(f64::NAN).known(), Err(NoFigure::NotANumber));
/// assert_eq!(Figure::none(NoFigure::NegativePower).value(), None);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure(Result<f64, NoFigure>);

impl Figure {
    /// A figure; one that is `f64::NAN` has no number.
    #[must_use]
    pub fn new(value: f64) -> Self {
        Self(if value.is_nan() { Err(NoFigure::NotANumber) } else { Ok(value) })
    }

    /// A figure without a number.
    #[must_use]
    pub fn none(reason: NoFigure) -> Self {
        Self(Err(reason))
    }

    /// The number, if there is one.
    #[must_use]
    pub fn value(self) -> Option<f64> {
        self.0.ok()
    }

    /// The number.
    ///
    /// # Errors
    /// The reason why there is none.
    pub fn known(self) -> Result<f64, NoFigure> {
        self.0
    }

    /// The level of a power ratio, dB: -∞ for 0, none for a negative power.
    #[must_use]
    pub fn power_db(ratio: f64) -> Self {
        if ratio < 0.0 {
            Self::none(NoFigure::NegativePower)
        } else {
            Self::new(db_from_power(ratio))
        }
    }

    /// Adds a number; a figure without a number is unchanged.
    #[must_use]
    pub fn plus(self, added: f64) -> Self {
        Self(self.0.and_then(|value| Self::new(value + added).0))
    }
}

/// A requirement that cannot be decided, because the limited figure has no number.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "the {} has no value{}: {reason}; without it the requirement cannot be decided",
    quantity.label(),
    location.as_ref().map(Location::words).unwrap_or_default()
)]
pub struct UndefinedFigure {
    /// The limited quantity.
    pub quantity: Quantity,
    /// The location of the figure without a number; `None` if there is no point.
    pub location: Option<Location>,
    /// The reason.
    pub reason: NoFigure,
}

/// The side of a limit on which a value must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// The value must be at the limit or above it.
    AtLeast,
    /// The value must be at the limit or below it.
    AtMost,
    /// The value without its sign must be at the limit or below it.
    MagnitudeAtMost,
}

impl Direction {
    /// `at least` or `at most`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::AtLeast => "at least",
            Self::AtMost | Self::MagnitudeAtMost => "at most",
        }
    }

    /// `>=` or `<=`.
    #[must_use]
    pub fn sign(self) -> &'static str {
        match self {
            Self::AtLeast => ">=",
            Self::AtMost | Self::MagnitudeAtMost => "<=",
        }
    }
}

/// Makes the enum of quantities from one row each: variant, name in files, label, unit, direction.
macro_rules! quantities {
    ($($(#[$doc:meta])* $variant:ident: $name:literal, $label:literal, $unit:literal, $direction:ident;)+) => {
        /// A quantity that can be limited.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Quantity {
            $($(#[$doc])* $variant,)+
        }

        impl Quantity {
            /// Every quantity, in the order in which reports list them.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The key of its limit in TOML, JSON and CSV, which names the unit.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }

            /// The name of the quantity in text and pictures.
            #[must_use]
            pub fn label(self) -> &'static str {
                match self { $(Self::$variant => $label,)+ }
            }

            /// The unit of its values and limits.
            #[must_use]
            pub fn unit(self) -> &'static str {
                match self { $(Self::$variant => $unit,)+ }
            }

            /// The direction of its limits.
            #[must_use]
            pub fn direction(self) -> Direction {
                match self { $(Self::$variant => Direction::$direction,)+ }
            }
        }
    };
}

quantities! {
    /// Image rejection in dB.
    ImageRejection: "image_rejection_db", "image rejection", "dB", AtLeast;
    /// Rejection of the common mode by a balun, in dB.
    CommonModeRejection: "common_mode_rejection_db", "common-mode rejection", "dB", AtLeast;
    /// Amplitude imbalance in dB.
    AmplitudeImbalance: "amplitude_imbalance_db", "amplitude imbalance", "dB", MagnitudeAtMost;
    /// Deviation of a splitter's phase difference from the nominal one, in degrees.
    PhaseError: "phase_error_deg", "phase error", "deg", MagnitudeAtMost;
    /// Deviation of a receiver's I and Q from quadrature, in degrees.
    QuadratureError: "quadrature_error_deg", "quadrature error", "deg", MagnitudeAtMost;
    /// LO power at a mixer in dBm.
    LoPower: "lo_power_dbm_min", "LO power", "dBm", AtLeast;
    /// Conversion loss of both channels together, in dB.
    ConversionLoss: "conversion_loss_db_max", "conversion loss", "dB", AtMost;
    /// Single-sideband noise figure of the combined output, in dB.
    NoiseFigure: "noise_figure_db_max", "noise figure", "dB", AtMost;
    /// LO power that leaves the RF port, in dBm.
    LoAtRfPort: "lo_at_rf_port_dbm_max", "LO at the RF port", "dBm", AtMost;
    /// LO power at a mixer in dBm, limited upwards.
    LoPowerMax: "lo_power_dbm_max", "LO power", "dBm", AtMost;
    /// A tone beside the LO at a mixer against the LO, in dBc.
    LoTone: "lo_tone_dbc_max", "tone beside the LO", "dBc", AtMost;
    /// How far a spurious response is below the wanted one, in dB.
    SpuriousResponse: "spurious_response_db", "spurious-response rejection", "dB", AtLeast;
}

impl Quantity {
    /// The quantity of that [`name`](Self::name).
    ///
    /// ```
    /// use fourphase::requirement::Quantity;
    /// assert_eq!(Quantity::from_name("phase_error_deg"), Some(Quantity::PhaseError));
    /// assert_eq!(Quantity::from_name("phase_error"), None);
    /// ```
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|quantity| quantity.name() == name)
    }

    /// The [`label`](Self::label) as a title: `Image rejection`.
    #[must_use]
    pub fn title(self) -> String {
        let mut letters = self.label().chars();
        letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect()
    }

    /// What a limit is on: `|phase error|` where the sign does not count, otherwise the label.
    #[must_use]
    pub fn limited(self) -> String {
        self.as_limited(self.label().to_owned())
    }

    /// The same as a title: `|Phase error|`.
    #[must_use]
    pub fn limited_title(self) -> String {
        self.as_limited(self.title())
    }

    fn as_limited(self, name: String) -> String {
        match self.direction() {
            Direction::MagnitudeAtMost => format!("|{name}|"),
            Direction::AtLeast | Direction::AtMost => name,
        }
    }

    /// Whether it is the rejection of an image or of a common mode.
    #[must_use]
    pub fn is_rejection(self) -> bool {
        matches!(self, Self::ImageRejection | Self::CommonModeRejection)
    }

    /// The range of its limits, in its unit: beyond it every receiver passes, or none does. Ours, but
    /// for the angle: from 90 degrees on the sidebands are exchanged.
    #[must_use]
    pub fn limits(self) -> (f64, f64) {
        match self {
            Self::ImageRejection | Self::CommonModeRejection | Self::SpuriousResponse => {
                (0.0, 200.0)
            }
            Self::AmplitudeImbalance => (0.0, 40.0),
            Self::PhaseError | Self::QuadratureError => (0.0, 90.0),
            Self::ConversionLoss | Self::NoiseFigure => (0.0, 200.0),
            Self::LoPower | Self::LoPowerMax => (-200.0, 60.0),
            Self::LoAtRfPort => (-300.0, 60.0),
            Self::LoTone => (-300.0, 0.0),
        }
    }
}

/// The reason for which a number cannot be the limit of a quantity.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LimitError {
    /// The limit is infinite or not a number.
    #[error("{} must be a finite number, found {value}", quantity.name())]
    NotFinite {
        /// The limited quantity.
        quantity: Quantity,
        /// The number found.
        value: f64,
    },
    /// The limit is outside the range in which it can distinguish receivers.
    #[error(
        "{} must be from {} to {}, found {value}",
        quantity.name(), quantity.limits().0, quantity.limits().1
    )]
    OutOfRange {
        /// The limited quantity.
        quantity: Quantity,
        /// The number found.
        value: f64,
    },
}

/// A quantity and the finite number that limits it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    quantity: Quantity,
    value: f64,
}

impl Limit {
    /// A limit in the unit of the quantity.
    ///
    /// ```
    /// use fourphase::requirement::{Limit, Quantity};
    ///
    /// let limit = Limit::new(Quantity::PhaseError, 3.0)?;
    /// assert_eq!(limit.margin(-2.5), 0.5);
    /// assert!(!limit.is_kept_by(f64::NAN));
    /// # Ok::<(), fourphase::requirement::LimitError>(())
    /// ```
    ///
    /// # Errors
    /// [`LimitError`] if the number is not finite or outside [`Quantity::limits`].
    pub fn new(quantity: Quantity, value: f64) -> Result<Self, LimitError> {
        if !value.is_finite() {
            return Err(LimitError::NotFinite { quantity, value });
        }
        let (low, high) = quantity.limits();
        if value < low || value > high {
            return Err(LimitError::OutOfRange { quantity, value });
        }
        Ok(Self { quantity, value })
    }

    /// The limited quantity.
    #[must_use]
    pub fn quantity(self) -> Quantity {
        self.quantity
    }

    /// The limit in the unit of the quantity.
    #[must_use]
    pub fn value(self) -> f64 {
        self.value
    }

    /// The distance of `found` from the limit on its passing side, in the unit of the quantity:
    /// negative on the failing side, `-f64::INFINITY` for NaN, and never itself `NAN`.
    #[must_use]
    pub fn margin(self, found: f64) -> f64 {
        let margin = match self.quantity.direction() {
            Direction::AtLeast => found - self.value,
            Direction::AtMost => self.value - found,
            Direction::MagnitudeAtMost => self.value - found.abs(),
        };
        if margin.is_nan() { f64::NEG_INFINITY } else { margin }
    }

    /// The value that is inside the limit by a width, in the unit of the quantity; `None` for a
    /// magnitude below 0.
    #[must_use]
    pub fn inside_by(self, width: f64) -> Option<f64> {
        match self.quantity.direction() {
            Direction::AtLeast => Some(self.value + width),
            Direction::AtMost => Some(self.value - width),
            Direction::MagnitudeAtMost => Some(self.value - width).filter(|value| *value >= 0.0),
        }
    }

    /// Whether a value meets the limit; `NAN` does not.
    #[must_use]
    pub fn is_kept_by(self, found: f64) -> bool {
        self.margin(found) >= 0.0
    }
}

impl fmt::Display for Limit {
    /// `image rejection at least 30 dB`, `|phase error| at most 3 deg`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let quantity = self.quantity;
        let words = quantity.direction().words();
        write!(f, "{} {words} {} {}", quantity.limited(), self.value, quantity.unit())
    }
}

/// Limits on one part: at most one for each quantity, in the order in which they were set.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits(Vec<Limit>);

impl Limits {
    /// Sets a limit in place of an earlier one on the same quantity.
    pub fn set(&mut self, limit: Limit) {
        match self.0.iter_mut().find(|earlier| earlier.quantity == limit.quantity) {
            Some(earlier) => *earlier = limit,
            None => self.0.push(limit),
        }
    }

    /// The limits in order.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = Limit> + '_ {
        self.0.iter().copied()
    }

    /// Whether there is no limit.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The limit on a quantity in its unit, if there is one.
    #[must_use]
    pub fn on(&self, quantity: Quantity) -> Option<f64> {
        self.iter().find(|limit| limit.quantity == quantity).map(Limit::value)
    }

    /// The limit on the rejection of image or common mode, if there is one.
    #[must_use]
    pub fn rejection(&self) -> Option<Limit> {
        self.iter().find(|limit| limit.quantity.is_rejection())
    }

    /// Sentences on limits that decide nothing: one that every receiver meets, and one so far beyond what
    /// the required rejection allows that two were likely exchanged.
    ///
    /// ```
    /// use fourphase::requirement::{Limit, Limits, Quantity};
    ///
    /// let limit = |quantity, value| Limit::new(quantity, value);
    /// let exchanged = [
    ///     limit(Quantity::ImageRejection, 31.0)?,
    ///     limit(Quantity::PhaseError, 31.0)?,
    /// ];
    /// let limits: Limits = exchanged.into_iter().collect();
    /// assert!(limits.remarks()[0].starts_with("|phase error| at most 31 deg never decides"));
    /// # Ok::<(), fourphase::requirement::LimitError>(())
    /// ```
    #[must_use]
    pub fn remarks(&self) -> Vec<String> {
        /// Less than this is what one channel alone has, within the errors of any part (ours).
        const LEAST_DB: f64 = 5.0;
        /// Limits somewhat above what the rejection allows are common.
        const FAR: f64 = 3.0;
        let excluding = (self.on(Quantity::LoPower).zip(self.on(Quantity::LoPowerMax)))
            .filter(|(min_dbm, max_dbm)| min_dbm > max_dbm)
            .map(|(min_dbm, max_dbm)| {
                format!(
                    "no LO power is at least {min_dbm} dBm and at most {max_dbm} dBm: are the limits \
                     exchanged?"
                )
            });
        let Some(rejection) = self.rejection() else { return excluding.into_iter().collect() };
        let required_db = rejection.value();
        let weak = (required_db > 0.0 && required_db < LEAST_DB)
            .then(|| format!("{rejection} is met by nearly every part: check its unit"));
        let size = 10_f64.powf(-required_db / 20.0);
        let redundant = self.iter().filter_map(|limit| {
            let alone = match limit.quantity() {
                Quantity::AmplitudeImbalance => db_from_neper(2.0 * size.min(0.999).atanh()),
                Quantity::PhaseError | Quantity::QuadratureError => {
                    (2.0 * size.atan()).to_degrees()
                }
                _ => return None,
            };
            (required_db >= LEAST_DB && limit.value() > FAR * alone).then(|| {
                format!(
                    "{limit} never decides, since {required_db} dB of {} allow {alone:.2} {} alone: \
                     are two limits exchanged?",
                    rejection.quantity().label(),
                    limit.quantity().unit()
                )
            })
        });
        excluding.into_iter().chain(weak).chain(redundant).collect()
    }

    /// The value of [`rejection`](Self::rejection), dB.
    #[must_use]
    pub fn on_rejection_db(&self) -> Option<f64> {
        self.rejection().map(Limit::value)
    }
}

impl FromIterator<Limit> for Limits {
    fn from_iter<I: IntoIterator<Item = Limit>>(list: I) -> Self {
        let mut limits = Self::default();
        list.into_iter().for_each(|limit| limits.set(limit));
        limits
    }
}

/// The decision on one requirement or on all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The requirement is met.
    Pass,
    /// The requirement is not met.
    Fail,
    /// The measurement uncertainty does not allow a decision.
    Undecided,
}

impl Verdict {
    /// The verdict without regard to uncertainty.
    #[must_use]
    pub fn of(passes: bool) -> Self {
        if passes { Self::Pass } else { Self::Fail }
    }

    /// The verdict on several requirements together: one failure fails them all, and all must pass.
    #[must_use]
    pub fn of_all(verdicts: impl IntoIterator<Item = Self>) -> Self {
        verdicts.into_iter().fold(Self::Pass, |all, one| match (all, one) {
            (Self::Fail, _) | (_, Self::Fail) => Self::Fail,
            (Self::Undecided, _) | (_, Self::Undecided) => Self::Undecided,
            (Self::Pass, Self::Pass) => Self::Pass,
        })
    }

    /// Whether the requirement is met.
    #[must_use]
    pub fn passes(self) -> bool {
        self == Self::Pass
    }

    /// `pass`, `fail` or `undecided`, as in JSON and CSV.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Undecided => "undecided",
        }
    }

    /// `PASS`, `FAIL` or `UNDECIDED`, as in text.
    #[must_use]
    pub fn capitals(self) -> String {
        self.name().to_uppercase()
    }

    /// The verdict of that [`name`](Self::name).
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Pass, Self::Fail, Self::Undecided].into_iter().find(|verdict| verdict.name() == name)
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// The place of a value.
#[derive(Clone, Debug, PartialEq)]
pub struct Location {
    /// The frequency of a splitter or the LO of a receiver, Hz.
    pub frequency_hz: f64,
    /// The IF of a receiver in Hz, for quantities that depend on it.
    pub if_hz: Option<f64>,
    /// The mixer, for quantities of one mixer.
    pub mixer: Option<String>,
}

impl Location {
    /// A location that is a frequency alone, in Hz.
    #[must_use]
    pub fn at_frequency(frequency_hz: f64) -> Self {
        Self { frequency_hz, if_hz: None, mixer: None }
    }

    /// ` at 28 GHz and IF 1 GHz of mixer 'i_plus'`, to follow the name of a quantity.
    fn words(&self) -> String {
        let if_words = self.if_hz.map(|hz| format!(" and IF {}", ShownFrequency(hz)));
        let mixer = self.mixer.as_ref().map(|name| format!(" of mixer '{name}'"));
        let (if_words, mixer) = (if_words.unwrap_or_default(), mixer.unwrap_or_default());
        format!(" at {}{if_words}{mixer}", ShownFrequency(self.frequency_hz))
    }
}

/// A limit with the worst value.
#[derive(Clone, Debug, PartialEq)]
pub struct RequirementResult {
    /// The limit.
    pub limit: Limit,
    /// The worst value with its sign, in the unit of the quantity.
    pub worst: f64,
    /// The location of the worst value.
    pub location: Location,
}

impl RequirementResult {
    /// The finding with the minimum margin, the first of equals.
    ///
    /// A finding is a figure with data on its place, from which `location` makes the location.
    ///
    /// # Errors
    /// [`UndefinedFigure`] for the first finding without a number, or without any finding.
    pub fn worst_of<T>(
        limit: Limit,
        findings: impl IntoIterator<Item = (Figure, T)>,
        location: impl FnOnce(T) -> Location,
    ) -> Result<Self, UndefinedFigure> {
        let quantity = limit.quantity();
        let mut found: Option<(f64, T)> = None;
        for (figure, at) in findings {
            let value = match figure.known() {
                Ok(value) => value,
                Err(reason) => {
                    return Err(UndefinedFigure { quantity, location: Some(location(at)), reason });
                }
            };
            if found.as_ref().is_none_or(|(worst, _)| limit.margin(value) < limit.margin(*worst)) {
                found = Some((value, at));
            }
        }
        let none = UndefinedFigure { quantity, location: None, reason: NoFigure::NoPoints };
        let (worst, at) = found.ok_or(none)?;
        Ok(Self { limit, worst, location: location(at) })
    }

    /// The margin of the worst value, as defined by [`Limit::margin`].
    #[must_use]
    pub fn margin(&self) -> f64 {
        self.limit.margin(self.worst)
    }

    /// Whether the worst value meets the limit.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.limit.is_kept_by(self.worst)
    }
}

/// Compliance of a part with all its limits, without uncertainty.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Compliance {
    /// The requirements, in the order of the limits.
    pub requirements: Vec<RequirementResult>,
    /// The bands in which all limits are met, Hz: lower and upper end of each, ascending.
    pub bands_that_pass_hz: Vec<(f64, f64)>,
}

impl Compliance {
    /// Whether every requirement is met; true if there are none.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.requirements.iter().all(RequirementResult::passes)
    }

    /// The limits that were decided.
    #[must_use]
    pub fn limits(&self) -> Limits {
        self.requirements.iter().map(|result| result.limit).collect()
    }
}

/// The bands over which consecutive points pass, Hz: lower and upper end of each, ascending.
///
/// `frequencies_hz` ascends. `passes` takes the index of a point; `crossing_hz` takes the indices
/// of a passing point and of a failing neighbour, and returns the frequency of the crossing between
/// them. An interpolated end is rounded towards the passing point, to at most a hundredth of the
/// step: more digits would be false precision.
pub(crate) fn bands_that_pass_hz(
    frequencies_hz: &[f64],
    passes: impl Fn(usize) -> bool,
    crossing_hz: impl Fn(usize, usize) -> f64,
) -> Vec<(f64, f64)> {
    let crossing_hz = |inside: usize, outside: usize| {
        let (good_hz, bad_hz) = (frequencies_hz[inside], frequencies_hz[outside]);
        let unit_hz = 10_f64.powf(((bad_hz - good_hz).abs() / 100.0).log10().floor());
        let steps = crossing_hz(inside, outside) / unit_hz;
        // A crossing at a multiple of the unit stays, in spite of rounding.
        let end_hz = if bad_hz > good_hz {
            ((steps + 1e-6).floor() * unit_hz).max(good_hz)
        } else {
            ((steps - 1e-6).ceil() * unit_hz).min(good_hz)
        };
        if end_hz.is_finite() { end_hz } else { good_hz }
    };
    let mut bands = Vec::new();
    let mut start_hz: Option<f64> = None;
    for (at, &frequency_hz) in frequencies_hz.iter().enumerate() {
        let before = at.checked_sub(1);
        match (start_hz, passes(at)) {
            (None, true) => {
                start_hz = Some(before.map_or(frequency_hz, |before| crossing_hz(at, before)));
            }
            (Some(start), false) => {
                bands.push((start, before.map_or(frequency_hz, |before| crossing_hz(before, at))));
                start_hz = None;
            }
            _ => {}
        }
    }
    if let (Some(start), Some(&last_hz)) = (start_hz, frequencies_hz.last()) {
        bands.push((start, last_hz));
    }
    bands
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "margins of these values are exact")]
mod tests {
    use super::*;

    fn limit(quantity: Quantity, value: f64) -> Limit {
        Limit::new(quantity, value).unwrap()
    }

    #[test]
    fn every_quantity_has_a_name_of_its_own_that_ends_in_its_unit() {
        for &quantity in Quantity::ALL {
            assert_eq!(Quantity::from_name(quantity.name()), Some(quantity));
            let unit = quantity.unit().to_lowercase();
            assert!(quantity.name().contains(&format!("_{unit}")), "{}", quantity.name());
            assert_eq!(quantity.title().to_lowercase(), quantity.label().to_lowercase());
        }
    }

    #[test]
    fn a_margin_is_on_the_right_side_of_the_limit() {
        let rejection = limit(Quantity::ImageRejection, 30.0);
        let phase = limit(Quantity::PhaseError, 3.0);
        let power = limit(Quantity::LoPower, -4.0);
        for (limit, found, margin) in [
            (rejection, 31.5, 1.5),
            (rejection, 29.0, -1.0),
            (rejection, f64::INFINITY, f64::INFINITY),
            (phase, -2.0, 1.0),
            (phase, 3.0, 0.0),
            (phase, -4.0, -1.0),
            (power, -5.0, -1.0),
            (power, f64::NEG_INFINITY, f64::NEG_INFINITY),
        ] {
            assert_eq!(limit.margin(found), margin, "{limit}: {found}");
            assert_eq!(limit.is_kept_by(found), margin >= 0.0);
        }
    }

    #[test]
    fn a_requirement_is_not_judged_by_a_figure_without_a_number() {
        for &quantity in Quantity::ALL {
            let limit = limit(quantity, quantity.limits().1);
            assert!(!limit.is_kept_by(f64::NAN));
            let findings = |second| [(Figure::new(2.0), 1e9), (second, 2e9)];
            let judged = |second| {
                RequirementResult::worst_of(limit, findings(second), Location::at_frequency)
            };
            assert!(judged(Figure::new(0.5)).is_ok());
            let reason = NoFigure::NegativePower;
            for (figure, reason) in
                [(Figure::new(-f64::NAN), NoFigure::NotANumber), (Figure::none(reason), reason)]
            {
                let location = Some(Location::at_frequency(2e9));
                let error = judged(figure).unwrap_err();
                assert!(error.to_string().contains("has no value at 2 GHz: "), "{error}");
                assert_eq!(error, UndefinedFigure { quantity, location, reason });
            }
            let none = RequirementResult::worst_of(limit, [], Location::at_frequency);
            assert_eq!(none.unwrap_err().reason, NoFigure::NoPoints);
        }
    }

    #[test]
    fn limits_are_finite_and_within_their_range() {
        assert!(Limit::new(Quantity::LoPower, -10.0).is_ok());
        assert!(Limit::new(Quantity::PhaseError, 0.0).is_ok());
        let message = |quantity, value| Limit::new(quantity, value).unwrap_err().to_string();
        assert_eq!(
            message(Quantity::ImageRejection, -25.0),
            "image_rejection_db must be from 0 to 200, found -25"
        );
        assert!(message(Quantity::PhaseError, 95.0).contains("from 0 to 90, found 95"));
        assert!(message(Quantity::LoTone, 40.0).contains("from -300 to 0, found 40"));
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(message(Quantity::LoPower, value).contains("must be a finite number, found"));
        }
    }

    #[test]
    fn a_later_limit_on_the_same_quantity_replaces_the_earlier() {
        let limits: Limits = [
            limit(Quantity::PhaseError, 3.0),
            limit(Quantity::CommonModeRejection, 25.0),
            limit(Quantity::PhaseError, 2.0),
        ]
        .into_iter()
        .collect();
        assert_eq!(limits.iter().len(), 2);
        assert_eq!(limits.on(Quantity::PhaseError), Some(2.0));
        assert_eq!(limits.on(Quantity::LoPower), None);
        assert_eq!(limits.on_rejection_db(), Some(25.0));
    }

    #[test]
    fn one_failure_fails_all_and_doubt_stays_doubt() {
        use Verdict::{Fail, Pass, Undecided};
        for (list, want) in [
            (vec![], Pass),
            (vec![Pass, Pass], Pass),
            (vec![Pass, Undecided], Undecided),
            (vec![Undecided, Fail, Pass], Fail),
        ] {
            assert_eq!(Verdict::of_all(list), want);
        }
        for verdict in [Pass, Fail, Undecided] {
            assert_eq!(Verdict::from_name(verdict.name()), Some(verdict));
        }
    }

    #[test]
    fn bands_end_between_a_point_that_passes_and_one_that_does_not() {
        let hz = [1.0, 2.0, 3.0, 4.0, 5.0];
        let bands = |passing: [bool; 5]| {
            let middle = |one: usize, other: usize| 0.5 * (hz[one] + hz[other]);
            bands_that_pass_hz(&hz, |at| passing[at], middle)
        };
        assert_eq!(bands([false, true, true, false, true]), [(1.5, 3.5), (4.5, 5.0)]);
        assert_eq!(bands([true; 5]), [(1.0, 5.0)]);
        let third = |one: usize, other: usize| hz[one] + (hz[other] - hz[one]) / 3.0;
        let passing = [false, true, true, false, true];
        let found = bands_that_pass_hz(&hz, |at| passing[at], third);
        assert!(
            (found[0].0 - 1.67).abs() < 1e-12 && (found[0].1 - 3.33).abs() < 1e-12,
            "{found:?}"
        );
        assert!(bands([false; 5]).is_empty());
    }
}
