//! The common part of every uncertainty analysis: trials made, requirements decided.

use super::channel_error::ChannelErrorDistribution;
use super::conformity::DecidedRequirement;
use super::monte_carlo::{TrialSettings, Trials};
use crate::requirement::Verdict;

/// Trials and decisions of an uncertainty analysis, of a splitter or a receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// The coverage probability of intervals.
    pub coverage: f64,
    /// The seed of the trials.
    pub seed: u64,
    /// How many trials there were.
    pub trials: usize,
    /// The stability of median and lower end of the worst rejection, dB; `None` where it was not
    /// required.
    pub stability_db: Option<f64>,
    /// The rejection above which a perfect part reads with the probability `coverage`, at the point
    /// of worst rejection, dB.
    pub highest_distinguishable_db: f64,
    /// By how much the worst reading must exceed the required rejection for the requirement to be met,
    /// dB: the guard band that is given, or the one found by searching with the decision itself, all
    /// errors being larger or smaller by one factor. `None` without a requirement on the rejection, and
    /// where no reading is enough.
    pub guard_band_db: Option<f64>,
    /// The requirements, in the order of the result.
    pub requirements: Vec<DecidedRequirement>,
    /// The probability that all are met together.
    pub probability: f64,
    /// The decision on all together.
    pub decision: Verdict,
}

impl Assessment {
    /// `worst` is the channel error where the rejection is worst; `requirements` are decided, and
    /// `required_db` is the rejection among them with its decision.
    pub(super) fn new(
        trials: &Trials,
        settings: &TrialSettings,
        worst: &ChannelErrorDistribution,
        requirements: Vec<DecidedRequirement>,
        required_db: Option<(f64, DecidedRequirement)>,
    ) -> Self {
        let guard_band_db = required_db
            .and_then(|(limit_db, decided)| decided.accepted_from.map(|from| from - limit_db));
        Self {
            coverage: settings.coverage(),
            seed: settings.seed(),
            trials: trials.count,
            stability_db: trials.stability,
            highest_distinguishable_db: worst.highest_distinguishable_db(settings.coverage()),
            guard_band_db,
            probability: trials.share_of_all,
            decision: Verdict::of_all(requirements.iter().map(|decided| decided.decision)),
            requirements,
        }
    }
}
