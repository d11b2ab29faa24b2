//! A verdict on a value that is known only so well: met, not met, or undecided (JCGM 106:2012).

use statrs::function::erf::{erfc, erfc_inv};
use std::f64::consts::SQRT_2;
use std::fmt;

/// What can be said of a requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// It is met.
    Pass,
    /// It is not.
    Fail,
    /// The measurement does not decide.
    Undecided,
}

impl Decision {
    /// Of several requirements together: one that fails fails all, and all must pass.
    #[must_use]
    pub fn of_all(decisions: impl IntoIterator<Item = Self>) -> Self {
        decisions.into_iter().fold(Self::Pass, |all, one| match (all, one) {
            (Self::Fail, _) | (_, Self::Fail) => Self::Fail,
            (Self::Undecided, _) | (_, Self::Undecided) => Self::Undecided,
            _ => Self::Pass,
        })
    }
}

impl fmt::Display for Decision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Undecided => "undecided",
        })
    }
}

/// How a requirement is decided.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DecisionRule {
    /// Passed from this probability of conformity on, failed up to its complement.
    Conformity(f64),
    /// Passed if the best estimate is so far on the right side of the limit, failed if it is so far on
    /// the wrong side.
    GuardBand(f64),
}

impl DecisionRule {
    /// Decides from how far the best estimate is on the right side, and the probability that the
    /// requirement is met.
    ///
    /// ```
    /// use fourphase::measurement::{Decision, DecisionRule};
    ///
    /// let rule = DecisionRule::Conformity(0.95);
    /// assert_eq!(rule.decide(0.3, 0.97), Decision::Pass);
    /// assert_eq!(rule.decide(0.3, 0.80), Decision::Undecided);
    /// assert_eq!(DecisionRule::GuardBand(0.2).decide(0.3, 0.80), Decision::Pass);
    /// ```
    #[must_use]
    pub fn decide(self, margin: f64, probability: f64) -> Decision {
        let (passes, fails) = match self {
            Self::Conformity(least) => (probability >= least, probability <= 1.0 - least),
            Self::GuardBand(width) => (margin >= width, margin < -width),
        };
        match (passes, fails) {
            (true, _) => Decision::Pass,
            (_, true) => Decision::Fail,
            _ => Decision::Undecided,
        }
    }
}

/// The probability that a normally distributed value of standard uncertainty `u` lies between limits,
/// either of which may be infinite (JCGM 106:2012, 7).
#[must_use]
pub fn conformity_probability(estimate: f64, u: f64, lower: f64, upper: f64) -> f64 {
    let below = |limit: f64| 0.5 * erfc((estimate - limit) / (u * SQRT_2));
    below(upper) - below(lower)
}

/// How far from a limit an estimate must be for a one-sided requirement to be met with a probability,
/// for a normally distributed value (JCGM 106:2012, 8.3.3).
///
/// ```
/// // The usual 1.645 standard uncertainties for 95 %.
/// assert!((fourphase::measurement::guard_band(1.0, 0.95) - 1.645).abs() < 1e-3);
/// ```
#[must_use]
pub fn guard_band(u: f64, probability: f64) -> f64 {
    // No more and no less than nothing at one half.
    u * SQRT_2 * erfc_inv(2.0 * (1.0 - probability)) + 0.0
}
