//! A verdict on a value that is known only so well: met, not met, or undecided (JCGM 106:2012).

use super::channel_error::ChannelErrorDistribution;
use super::monte_carlo::{TrialSettings, Trials};
use statrs::function::erf::{erfc, erfc_inv};
use std::collections::BTreeMap;
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

/// How requirements are decided.
#[derive(Clone, Debug, PartialEq)]
pub struct DecisionSettings {
    /// From this probability of conformity on a requirement is met, up to its complement it is not.
    pub conformity: f64,
    /// Guard bands in its place, by the name of the requirement, in its unit.
    pub guard_bands: BTreeMap<String, f64>,
}

impl Default for DecisionSettings {
    fn default() -> Self {
        Self { conformity: 0.95, guard_bands: BTreeMap::new() }
    }
}

/// A requirement and what can be said of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DecidedRequirement {
    /// The probability that it is met.
    pub probability: f64,
    /// How that is decided.
    pub rule: DecisionRule,
    /// What can be said.
    pub decision: Decision,
}

impl DecisionSettings {
    /// Decides a requirement by its name.
    #[must_use]
    pub fn decide(&self, name: &str, margin: f64, probability: f64) -> DecidedRequirement {
        let rule = match self.guard_bands.get(name) {
            Some(width) => DecisionRule::GuardBand(*width),
            None => DecisionRule::Conformity(self.conformity),
        };
        DecidedRequirement { probability, rule, decision: rule.decide(margin, probability) }
    }
}

/// What trials and rules come to, whatever was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// The probability that intervals hold.
    pub coverage: f64,
    /// Where the trials began.
    pub seed: u64,
    /// How many there were.
    pub trials: usize,
    /// How stable median and lower end of the worst rejection are, dB; `None` if that was not asked.
    pub stability_db: Option<f64>,
    /// Of perfect parts all but the share 1 - coverage read above this where the rejection is worst, dB.
    pub highest_distinguishable_db: f64,
    /// By how much a reading must exceed the required rejection for the requirement to be met, dB: the
    /// guard band that is given, or what the probability of conformity comes to for a reading near the
    /// limit.
    pub guard_band_db: Option<f64>,
    /// The requirements, as the result has them.
    pub requirements: Vec<DecidedRequirement>,
    /// The probability that all hold together.
    pub probability: f64,
    /// What can be said of all together.
    pub decision: Decision,
}

impl Assessment {
    /// `worst` is the channel error where the rejection is worst; `requirements` are decided, and
    /// `required_db` is the rejection among them, with its rule.
    pub(super) fn new(
        trials: &Trials,
        settings: &TrialSettings,
        worst: &ChannelErrorDistribution,
        requirements: Vec<DecidedRequirement>,
        required_db: Option<(f64, DecisionRule)>,
    ) -> Self {
        let guard_band_db = required_db.map(|(limit_db, rule)| match rule {
            DecisionRule::GuardBand(width) => width,
            DecisionRule::Conformity(probability) => {
                guard_band(worst.at_rejection(limit_db).linear_uncertainty_db(), probability)
            }
        });
        Self {
            coverage: settings.coverage,
            seed: settings.seed,
            trials: trials.count,
            stability_db: trials.stability,
            highest_distinguishable_db: worst.highest_distinguishable_db(settings.coverage),
            guard_band_db,
            probability: trials.shares.last().copied().unwrap_or(1.0),
            decision: Decision::of_all(requirements.iter().map(|decided| decided.decision)),
            requirements,
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

/// The normal deviate below which so large a share lies; at most some eight either way.
pub(super) fn normal_deviate(probability: f64) -> f64 {
    let kept = probability.clamp(1e-15, 1.0 - 1e-15);
    SQRT_2 * erfc_inv(2.0 * (1.0 - kept))
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
    u * normal_deviate(probability) + 0.0
}
