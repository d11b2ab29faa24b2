//! The settings of a lot: what its dies are, which of several measurements of a die counts, where dies
//! lie, what they must hold, and further questions. Plain values; whoever holds them can rely on them.

use super::error::SettingsError;
use super::geometry::WaferGeometry;
use super::retest::RetestPolicy;
use crate::requirement::{Limit, Limits, Quantity};

/// What every die of a lot is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DieSubject {
    /// A receiver, some of whose blocks are the die's.
    Receiver,
    /// A splitter made for a phase difference other than half a turn.
    Splitter,
    /// A splitter made for half a turn: a balun.
    AntiphaseSplitter,
}

impl DieSubject {
    /// What its frequencies are called.
    #[must_use]
    pub fn frequency_word(self) -> &'static str {
        match self {
            Self::Receiver => "LO",
            Self::Splitter | Self::AntiphaseSplitter => "frequency",
        }
    }

    /// The rejection that its balance decides.
    #[must_use]
    pub fn rejection(self) -> Quantity {
        match self {
            Self::Receiver | Self::Splitter => Quantity::ImageRejection,
            Self::AntiphaseSplitter => Quantity::CommonModeRejection,
        }
    }

    /// Refuses a limit on what it does not have.
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
                ("a splitter", "leave it out")
            }
            _ => return Ok(()),
        };
        Err(SettingsError::NoQuantity { subject, quantity, instead })
    }
}

/// Where the wafer's centre is among the die numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CentreDie {
    /// Where the map has it.
    Given,
    /// Inferred from the numbers of all dies.
    Inferred,
}

/// The map of the wafers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LotMap {
    /// A wafer, and how die numbers count on it.
    pub geometry: WaferGeometry,
    /// Whether its centre holds.
    pub centre: CentreDie,
}

/// Questions beyond the dies as they are.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIfSettings {
    /// Whether to find what corrections of Q would give.
    pub correction: bool,
    /// Blocks or pairs of a receiver to be thought ideal, one after the other.
    pub ideal: Vec<String>,
    /// How many receivers to assemble from blocks of different dies; none if 0.
    pub assemble: u32,
    /// Seed of the random choice of those blocks.
    pub seed: u64,
}

impl Default for WhatIfSettings {
    /// None, and the seed 1.
    fn default() -> Self {
        Self { correction: false, ideal: Vec::new(), assemble: 0, seed: 1 }
    }
}

/// Of normal errors, one in 5e8 lies further out.
const SCREENING_SIGMA: f64 = 6.0;
/// More assembled receivers than this are a slip of the pen.
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
    /// Settings of a lot without a map, limits or further questions; of several measurements of a die
    /// the last counts.
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

    /// The same with another choice among several measurements of a die.
    #[must_use]
    pub fn with_retests(mut self, retests: RetestPolicy) -> Self {
        self.retests = retests;
        self
    }

    /// The same with a map of the wafers.
    #[must_use]
    pub fn with_map(mut self, map: LotMap) -> Self {
        self.map = Some(map);
        self
    }

    /// The same, judged by the limits that are added, be they none, and by no others.
    #[must_use]
    pub fn with_own_limits(mut self) -> Self {
        self.limits.get_or_insert_default();
        self
    }

    /// The same with a limit that every die must hold.
    ///
    /// # Errors
    /// [`SettingsError::NoQuantity`] for a limit on what these dies do not have, and
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

    /// The same with a share of dies that must pass, percent.
    ///
    /// # Errors
    /// [`SettingsError::RequiredYield`] outside 0 to 100, or between 0 and 1.
    pub fn with_required_yield_percent(mut self, percent: f64) -> Result<Self, SettingsError> {
        // Less than one percent is a share, written where percent are expected.
        if !(0.0..=100.0).contains(&percent) || (percent > 0.0 && percent < 1.0) {
            return Err(SettingsError::RequiredYield { found: percent });
        }
        self.required_yield = Some(percent / 100.0);
        Ok(self)
    }

    /// The same with dies screened as outliers from so many robust standard deviations on.
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

    /// The same with further questions.
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

    /// What every die is.
    #[must_use]
    pub fn subject(&self) -> DieSubject {
        self.subject
    }

    /// Which of several measurements of a die counts.
    #[must_use]
    pub fn retests(&self) -> RetestPolicy {
        self.retests
    }

    /// The map of the wafers, if there is one.
    #[must_use]
    pub fn map(&self) -> Option<&LotMap> {
        self.map.as_ref()
    }

    /// The limits that every die must hold; `None` if nothing is said about them, so that a receiver's
    /// own limits hold.
    #[must_use]
    pub fn limits(&self) -> Option<&Limits> {
        self.limits.as_ref()
    }

    /// The share of dies that must pass, 0 to 1.
    #[must_use]
    pub fn required_yield(&self) -> Option<f64> {
        self.required_yield
    }

    /// From how many robust standard deviations on a die is an outlier.
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
                "a splitter has no lo_power_dbm_min; leave it out",
            ),
            (
                splitter().with_limit(limit(Quantity::QuadratureError, 1.0)),
                "a splitter has no quadrature_error_deg; use phase_error_deg",
            ),
            (splitter().with_required_yield_percent(101.0), "from 1 to 100 or 0, found 101"),
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
