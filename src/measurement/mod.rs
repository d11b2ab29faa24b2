//! What separates a number from a result at the probe station.
//!
//! | file | subject |
//! |---|---|
//! | `uncertainty` | how uncertain S-parameters are, and networks drawn from that |
//! | `channel_error` | a channel error known so well, and what that makes of the rejection |
//! | `monte_carlo` | trials, as many as a stability asks for |
//! | `verdict` | met, not met, or undecided |
//! | `receiver` | a receiver whose parts are known only so well |
//! | `splitter` | a splitter whose S-parameters are known only so well |
//! | `tones` | measured rejections against predicted ones |
//! | `station` | checks at the probe station: through, drift, placement |
//! | `advice` | what must be known better to decide |
//! | `rebuild` | an N-port from measurements of pairs of its ports |
//! | `error` | why that cannot be |

mod advice;
mod channel_error;
mod error;
mod monte_carlo;
mod rebuild;
mod receiver;
mod splitter;
mod station;
mod tones;
mod uncertainty;
mod verdict;

pub use advice::Advice;
pub use channel_error::ChannelErrorDistribution;
pub use error::RebuildError;
pub use monte_carlo::{Spread, Trial, TrialSettings, Trials, run_trials};
pub use rebuild::{
    EntryCovariance, PartialMeasurement, RebuildSettings, Rebuilt, RepeatedReflection, rebuild,
};
pub use receiver::{
    BudgetUncertainty, Contribution, PartSource, PlanCovariance, PointUncertainty,
    ReceiverUncertainty, UncertainPart, plan_covariances, receiver_uncertainty,
};
pub use splitter::{
    SplitterPointUncertainty, SplitterUncertainty, UncertainSplitter, splitter_uncertainty,
};
pub use station::{Drift, ThroughResidual, ValueAt, drift, length_um, through_residual};
pub use tones::{MixerError, ToneComparison, ToneComparisons, ToneMeasurement, compare_tones};
pub use uncertainty::{Amounts, Deviates, Errors, OverFrequency, Source};
pub use verdict::{
    Assessment, DecidedRequirement, Decision, DecisionRule, DecisionSettings,
    conformity_probability, guard_band,
};
