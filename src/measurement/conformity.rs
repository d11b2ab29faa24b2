//! Decisions on requirements within the uncertainty of the measurement: pass, fail or undecided
//! (JCGM 106:2012).

use super::error::MeasurementError;
use super::normal::normal_deviate;
use super::plan_reading::{DrawnErrors, PlanReading, Refutation};
use super::plane_noise::allowed;
use crate::requirement::{Limit, Quantity, Verdict};
use std::collections::BTreeMap;

/// The rule for the decision on a requirement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DecisionRule {
    /// Pass if for every truth that misses the limit a reading as good as this is rarer than the
    /// complement of this probability; fail if for every truth that meets it a reading as bad as
    /// this is.
    Conformity(f64),
    /// Pass if the best estimate is inside the limit by at least this width, fail if it is outside
    /// by more; in the unit of the requirement.
    GuardBand(f64),
}

impl DecisionRule {
    /// Decides from the margin by which the best estimate is inside the limit (negative outside)
    /// and the evidence of the reading against truths on either side.
    ///
    /// # Examples
    /// ```
    /// use fourphase::measurement::{DecisionRule, Refutation};
    /// use fourphase::requirement::Verdict;
    ///
    /// let rule = DecisionRule::Conformity(0.95);
    /// let of = |well, badly| Refutation { misses_read_as_well: well, meets_read_as_badly: badly };
    /// assert_eq!(rule.decide(0.3, of(0.03, 1.0)), Verdict::Pass);
    /// assert_eq!(rule.decide(0.3, of(0.20, 1.0)), Verdict::Undecided);
    /// assert_eq!(rule.decide(-0.3, of(1.0, 0.01)), Verdict::Fail);
    /// assert_eq!(DecisionRule::GuardBand(0.2).decide(0.3, of(0.20, 1.0)), Verdict::Pass);
    /// ```
    #[must_use]
    pub fn decide(self, margin: f64, against: Refutation) -> Verdict {
        let (passes, fails) = match self {
            Self::Conformity(needed) => {
                let allowed = allowed(1.0 - needed);
                (against.misses_read_as_well < allowed, against.meets_read_as_badly < allowed)
            }
            Self::GuardBand(width) => (margin >= width, margin < -width),
        };
        match (passes, fails) {
            (true, _) => Verdict::Pass,
            (_, true) => Verdict::Fail,
            _ => Verdict::Undecided,
        }
    }
}

/// The rules for the decisions on requirements.
///
/// # Examples
/// ```
/// use fourphase::measurement::{DecisionSettings, DecisionRule};
/// use fourphase::requirement::Quantity;
///
/// let settings = DecisionSettings::default()
///     .with_conformity(0.9)?
///     .with_guard_band(Quantity::ImageRejection, 0.5)?;
/// assert_eq!(settings.rule(Quantity::ImageRejection), DecisionRule::GuardBand(0.5));
/// assert_eq!(settings.rule(Quantity::PhaseError), DecisionRule::Conformity(0.9));
/// # Ok::<(), fourphase::measurement::MeasurementError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct DecisionSettings {
    conformity: f64,
    guard_bands: BTreeMap<Quantity, f64>,
}

impl Default for DecisionSettings {
    /// A probability of conformity of 95 % and no guard bands.
    fn default() -> Self {
        Self { conformity: 0.95, guard_bands: BTreeMap::new() }
    }
}

/// A requirement with its decision.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DecidedRequirement {
    /// The probability of conformity (JCGM 106:2012), with a uniform prior for every error of every
    /// point.
    pub probability: f64,
    /// The evidence of the reading against truths on either side of the limit.
    pub against: Refutation,
    /// The smallest and the largest true worst value that the reading does not refute, at the risk of
    /// the decision either way: a requirement is met where both meet the limit, and not met where
    /// neither does.
    pub truths: (f64, f64),
    /// From which reading on the requirement is met; `None` where no reading is enough.
    pub accepted_from: Option<f64>,
    /// From which reading on the requirement is not met; `None` where no reading is enough.
    pub refused_from: Option<f64>,
    /// The rule.
    pub rule: DecisionRule,
    /// The decision by this rule.
    pub decision: Verdict,
}

impl DecisionSettings {
    /// With this probability of conformity: requirements are met from it on, and not met up to its
    /// complement.
    ///
    /// # Errors
    /// [`MeasurementError::NotAConformity`] unless it is at least 0.5 and below 1.
    pub fn with_conformity(self, conformity: f64) -> Result<Self, MeasurementError> {
        if (0.5..1.0).contains(&conformity) {
            Ok(Self { conformity, ..self })
        } else {
            Err(MeasurementError::NotAConformity { found: conformity })
        }
    }

    /// With a guard band for the requirement on one quantity, in the unit of the quantity, in place of
    /// the probability of conformity.
    ///
    /// # Errors
    /// [`MeasurementError::NotAGuardBand`] unless its width is finite and at least 0.
    pub fn with_guard_band(
        mut self,
        quantity: Quantity,
        width: f64,
    ) -> Result<Self, MeasurementError> {
        if width.is_finite() && width >= 0.0 {
            self.guard_bands.insert(quantity, width);
            Ok(self)
        } else {
            Err(MeasurementError::NotAGuardBand { found: width })
        }
    }

    /// The probability of conformity where no guard band is given.
    #[must_use]
    pub fn conformity(&self) -> f64 {
        self.conformity
    }

    /// The quantities with guard bands, in the order of [`Quantity::ALL`].
    pub fn guarded(&self) -> impl Iterator<Item = Quantity> + '_ {
        self.guard_bands.keys().copied()
    }

    /// The rule for the requirement on a quantity.
    #[must_use]
    pub fn rule(&self, quantity: Quantity) -> DecisionRule {
        match self.guard_bands.get(&quantity) {
            Some(width) => DecisionRule::GuardBand(*width),
            None => DecisionRule::Conformity(self.conformity),
        }
    }

    /// Decides a requirement from the best estimate of the limited quantity and the evidence of the
    /// reading against truths on either side of the limit, see [`DecisionRule::decide`].
    #[must_use]
    pub fn decide(&self, limit: Limit, estimate: f64, against: Refutation) -> Verdict {
        self.rule(limit.quantity()).decide(limit.margin(estimate), against)
    }

    /// Decides a requirement from a reading with its noise.
    pub(super) fn decided(
        &self,
        limit: Limit,
        estimate: f64,
        reading: &PlanReading<impl DrawnErrors>,
        probability: f64,
    ) -> DecidedRequirement {
        let (rule, risk) = (self.rule(limit.quantity()), 1.0 - self.conformity);
        let against = reading.against(limit.value(), risk);
        let (accepted_from, refused_from) = match rule {
            DecisionRule::Conformity(_) => reading.acceptance(limit.value(), risk),
            DecisionRule::GuardBand(width) => (limit.inside_by(width), limit.inside_by(-width)),
        };
        DecidedRequirement {
            probability,
            against,
            truths: reading.truths(risk, &|_| risk),
            accepted_from,
            refused_from,
            rule,
            decision: rule.decide(limit.margin(estimate), against),
        }
    }

    /// Decides a requirement on a value without noise.
    pub(super) fn decided_exactly(&self, limit: Limit, value: f64) -> DecidedRequirement {
        let rule = self.rule(limit.quantity());
        let is_kept = limit.is_kept_by(value);
        let likelihood = |holds: bool| if holds { 1.0 } else { 0.0 };
        let against = Refutation {
            misses_read_as_well: likelihood(!is_kept),
            meets_read_as_badly: likelihood(is_kept),
        };
        let (accepted_from, refused_from) = match rule {
            DecisionRule::Conformity(_) => (Some(limit.value()), Some(limit.value())),
            DecisionRule::GuardBand(width) => (limit.inside_by(width), limit.inside_by(-width)),
        };
        DecidedRequirement {
            probability: likelihood(is_kept),
            against,
            truths: (value, value),
            accepted_from,
            refused_from,
            rule,
            decision: rule.decide(limit.margin(value), against),
        }
    }
}

/// The distance by which an estimate must be inside a limit for a one-sided requirement to be met
/// with the probability `probability` (0 to 1), for a normally distributed value of standard
/// uncertainty `u` (JCGM 106:2012, 8.3.3). The result has the unit of `u`; it is negative for a
/// probability below one half.
///
/// # Examples
/// ```
/// // 1.645 standard uncertainties for 95 %.
/// assert!((fourphase::measurement::guard_band(1.0, 0.95) - 1.645).abs() < 1e-3);
/// ```
#[must_use]
pub fn guard_band(u: f64, probability: f64) -> f64 {
    // Adding 0 turns -0 into 0.
    u * normal_deviate(probability) + 0.0
}
