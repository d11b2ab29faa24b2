//! The settings of a lot: kind of dies, retest rule, map, limits and further questions. They are
//! plain, checked values.

use super::error::SettingsError;
use super::geometry::WaferGeometry;
use super::retest::RetestPolicy;
use crate::requirement::{Limit, Limits, Quantity};

/// The kind of the dies of a lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DieSubject {
    /// A receiver; some of its blocks are on the die.
    Receiver,
    /// A splitter for a phase difference other than 180 degrees.
    Splitter,
    /// A splitter for 180 degrees, such as a balun.
    AntiphaseSplitter,
}

impl DieSubject {
    /// The word for its frequencies.
    #[must_use]
    pub fn frequency_word(self) -> &'static str {
        match self {
            Self::Receiver => "LO",
            Self::Splitter | Self::AntiphaseSplitter => "frequency",
        }
    }

    /// The rejection determined by its balance.
    #[must_use]
    pub fn rejection(self) -> Quantity {
        match self {
            Self::Receiver | Self::Splitter => Quantity::ImageRejection,
            Self::AntiphaseSplitter => Quantity::CommonModeRejection,
        }
    }

    /// Checks that the dies have the limited quantity.
    fn check(self, quantity: Quantity) -> Result<(), SettingsError> {
        let (subject, instead) = match (quantity, self) {
            (Quantity::ImageRejection, Self::AntiphaseSplitter) => {
                ("an antiphase splitter", "use common_mode_rejection_db")
            }
            (Quantity::CommonModeRejection, Self::Splitter) => {
                ("a splitter that is not antiphase", "use image_rejection_db")
            }
            (Quantity::CommonModeRejection, Self::Receiver) => {
                ("a receiver", "use image_rejection_db")
            }
            (Quantity::PhaseError, Self::Receiver) => ("a receiver", "use quadrature_error_deg"),
            (Quantity::QuadratureError, Self::Splitter | Self::AntiphaseSplitter) => {
                ("a splitter", "use phase_error_deg")
            }
            (Quantity::LoPowerMax | Quantity::LoTone | Quantity::SpuriousResponse, _) => {
                ("a die", "limit it in the receiver, which is judged alone")
            }
            (Quantity::LoPower, Self::Splitter | Self::AntiphaseSplitter) => {
                ("a splitter", "omit it")
            }
            (
                Quantity::ConversionLoss | Quantity::NoiseFigure | Quantity::LoAtRfPort,
                Self::Splitter | Self::AntiphaseSplitter,
            ) => ("a splitter", "omit it"),
            _ => return Ok(()),
        };
        Err(SettingsError::NoQuantity { subject, quantity, instead })
    }
}

/// The origin of the die numbers at the wafer's centre.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CentreDie {
    /// Given by the map.
    Given,
    /// Inferred from the numbers of all dies.
    Inferred,
}

/// The map of the wafers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LotMap {
    /// A wafer with the numbering of its dies.
    pub geometry: WaferGeometry,
    /// The origin of the die numbers at its centre.
    pub centre: CentreDie,
}

/// Further questions about a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIfSettings {
    /// Whether to compute the effect of I/Q corrections.
    pub correction: bool,
    /// Blocks or pairs of a receiver to be made ideal, one after the other.
    pub ideal: Vec<String>,
    /// Number of receivers to be assembled from blocks of different dies; none if 0.
    pub assemble: u32,
    /// Seed of the random choice of blocks.
    pub seed: u64,
}

impl Default for WhatIfSettings {
    /// No questions, and the seed 1.
    fn default() -> Self {
        Self { correction: false, ideal: Vec::new(), assemble: 0, seed: 1 }
    }
}

/// One of 5e8 normally distributed errors is beyond this.
const SCREENING_SIGMA: f64 = 6.0;
/// Maximum number of assembled receivers; more are a typing error.
const MOST_ASSEMBLED: u32 = 1_000_000;

/// The settings of a lot, checked.
///
/// # Examples
/// ```
/// use fourphase::requirement::{Limit, Quantity};
/// use fourphase::wafer::{DieSubject, LotSettings};
///
/// let limit = Limit::new(Quantity::ImageRejection, 30.0)?;
/// let settings = LotSettings::new(DieSubject::Splitter)
///     .with_limit(limit)?
///     .with_required_yield_percent(90.0)?;
/// assert_eq!(settings.required_yield(), Some(0.9));
/// assert!(settings.with_limit(limit).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct LotSettings {
    subject: DieSubject,
    retests: RetestPolicy,
    map: Option<LotMap>,
    limits: Option<Limits>,
    required_yield: Option<f64>,
    screening_sigma: f64,
    what_if: WhatIfSettings,
}

impl LotSettings {
    /// Settings of a lot without a map, limits or further questions; the retest rule is
    /// [`RetestPolicy::Last`].
    #[must_use]
    pub fn new(subject: DieSubject) -> Self {
        Self {
            subject,
            retests: RetestPolicy::default(),
            map: None,
            limits: None,
            required_yield: None,
            screening_sigma: SCREENING_SIGMA,
            what_if: WhatIfSettings::default(),
        }
    }

    /// Sets the retest rule.
    #[must_use]
    pub fn with_retests(mut self, retests: RetestPolicy) -> Self {
        self.retests = retests;
        self
    }

    /// Sets the map of the wafers.
    #[must_use]
    pub fn with_map(mut self, map: LotMap) -> Self {
        self.map = Some(map);
        self
    }

    /// Applies only the limits that are added here, even if there are none.
    #[must_use]
    pub fn with_own_limits(mut self) -> Self {
        self.limits.get_or_insert_default();
        self
    }

    /// Adds a limit for every die.
    ///
    /// # Errors
    /// [`SettingsError::NoQuantity`] for a limit on a quantity that these dies do not have, and
    /// [`SettingsError::LimitedTwice`] for a second one on the same quantity.
    pub fn with_limit(mut self, limit: Limit) -> Result<Self, SettingsError> {
        let quantity = limit.quantity();
        self.subject.check(quantity)?;
        let limits = self.limits.get_or_insert_default();
        if limits.on(quantity).is_some() {
            return Err(SettingsError::LimitedTwice { quantity });
        }
        limits.set(limit);
        Ok(self)
    }

    /// Sets the required yield, percent.
    ///
    /// # Errors
    /// [`SettingsError::RequiredYield`] outside 0 to 100, or between 0 and 1.
    pub fn with_required_yield_percent(mut self, percent: f64) -> Result<Self, SettingsError> {
        // A number up to one is a share where percent are expected.
        if !(0.0..=100.0).contains(&percent) || (percent > 0.0 && percent <= 1.0) {
            return Err(SettingsError::RequiredYield { found: percent });
        }
        self.required_yield = Some(percent / 100.0);
        Ok(self)
    }

    /// Sets the number of robust standard deviations from which on a die is an outlier.
    ///
    /// # Errors
    /// [`SettingsError::NotAboveZero`] for a number that is not positive.
    pub fn with_screening_sigma(mut self, sigma: f64) -> Result<Self, SettingsError> {
        if !(sigma > 0.0 && sigma.is_finite()) {
            return Err(SettingsError::NotAboveZero { what: "sigma", found: sigma });
        }
        self.screening_sigma = sigma;
        Ok(self)
    }

    /// Sets further questions.
    ///
    /// # Errors
    /// [`SettingsError`] for ideal blocks or assembled receivers where dies are splitters, and for
    /// more than a million assembled receivers.
    pub fn with_what_if(mut self, what_if: WhatIfSettings) -> Result<Self, SettingsError> {
        if self.subject != DieSubject::Receiver {
            if !what_if.ideal.is_empty() {
                return Err(SettingsError::IdealInSplitter);
            }
            if what_if.assemble > 0 {
                return Err(SettingsError::AssembledSplitters);
            }
        }
        if what_if.assemble > MOST_ASSEMBLED {
            let found = what_if.assemble;
            return Err(SettingsError::TooManyAssembled { most: MOST_ASSEMBLED, found });
        }
        self.what_if = what_if;
        Ok(self)
    }

    /// The kind of the dies.
    #[must_use]
    pub fn subject(&self) -> DieSubject {
        self.subject
    }

    /// The retest rule.
    #[must_use]
    pub fn retests(&self) -> RetestPolicy {
        self.retests
    }

    /// The map of the wafers, if there is one.
    #[must_use]
    pub fn map(&self) -> Option<&LotMap> {
        self.map.as_ref()
    }

    /// The limits for every die; `None` if the settings have none, so that a receiver's own limits
    /// apply.
    #[must_use]
    pub fn limits(&self) -> Option<&Limits> {
        self.limits.as_ref()
    }

    /// The required yield, 0 to 1.
    #[must_use]
    pub fn required_yield(&self) -> Option<f64> {
        self.required_yield
    }

    /// The number of robust standard deviations from which on a die is an outlier.
    #[must_use]
    pub fn screening_sigma(&self) -> f64 {
        self.screening_sigma
    }

    /// Further questions.
    #[must_use]
    pub fn what_if(&self) -> &WhatIfSettings {
        &self.what_if
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_is_refused_with_what_was_found() {
        let limit = |quantity, value| Limit::new(quantity, value).unwrap();
        let splitter = || LotSettings::new(DieSubject::Splitter);
        for (made, says) in [
            (
                splitter().with_limit(limit(Quantity::LoPower, -3.0)),
                "a splitter has no lo_power_dbm_min; omit it",
            ),
            (
                splitter().with_limit(limit(Quantity::QuadratureError, 1.0)),
                "a splitter has no quadrature_error_deg; use phase_error_deg",
            ),
            (
                splitter().with_required_yield_percent(101.0),
                "above 1 and up to 100, or 0, found 101",
            ),
            (splitter().with_screening_sigma(0.0), "sigma must be above 0, found 0"),
            (
                splitter().with_what_if(WhatIfSettings { assemble: 1, ..Default::default() }),
                "a splitter alone has no blocks to be assembled",
            ),
        ] {
            let error = made.unwrap_err().to_string();
            assert!(error.contains(says), "{error}");
        }
        let receiver = LotSettings::new(DieSubject::Receiver);
        assert_eq!(receiver.limits(), None);
        assert!(receiver.with_limit(limit(Quantity::LoPower, -3.0)).is_ok());
    }
}
