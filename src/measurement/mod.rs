//! What separates a number from a result at the probe station.
//!
//! | file | subject |
//! |---|---|
//! | `uncertainty_source` | how uncertain S-parameters are, and networks drawn from that |
//! | `channel_error` | a channel error known so well, and what that makes of the rejection |
//! | `monte_carlo` | trials, as many as a stability asks for |
//! | `conformity` | a requirement decided within the uncertainty |
//! | `receiver_uncertainty` | a receiver whose parts are known only so well |
//! | `splitter_uncertainty` | a splitter whose S-parameters are known only so well |
//! | `measured_tones` | measured rejections against predicted ones |
//! | `plan_conformity` | the probability that a limit holds at the worst point of a plan |
//! | `probe_checks` | checks at the probe station: through, drift, placement |
//! | `advice` | what must be known better to decide |
//! | `reconstruction` | an N-port from measurements of pairs of its ports |
//! | `error` | why that cannot be |

mod advice;
mod channel_error;
mod conformity;
mod error;
mod measured_tones;
mod monte_carlo;
mod plan_conformity;
mod probe_checks;
mod receiver_uncertainty;
mod reconstruction;
mod splitter_uncertainty;
mod uncertainty_source;

pub use advice::Advice;
pub use channel_error::ChannelErrorDistribution;
pub use conformity::{
    Assessment, DecidedRequirement, Decision, DecisionRule, DecisionSettings,
    conformity_probability, guard_band,
};
pub use error::{MeasurementError, RebuildError};
pub use measured_tones::{
    MixerError, ToneComparison, ToneComparisons, ToneMeasurement, compare_tones,
};
pub use monte_carlo::{Spread, Trial, TrialSettings, Trials, run_trials};
pub use plan_conformity::KnownBalances;
pub use probe_checks::{Drift, ThroughResidual, ValueAt, drift, length_um, through_residual};
pub use receiver_uncertainty::{
    BudgetUncertainty, Contribution, PartSource, PlanCovariance, PointUncertainty,
    ReceiverUncertainty, UncertainPart, plan_covariances, receiver_uncertainty,
};
pub use reconstruction::{
    COVARIANCE_COLUMNS, EntryCovariance, PartialMeasurement, RebuildSettings, Rebuilt,
    RepeatedReflection, rebuild,
};
pub use splitter_uncertainty::{
    SplitterPointUncertainty, SplitterUncertainty, UncertainSplitter, splitter_uncertainty,
};
pub use uncertainty_source::{Amounts, Deviates, Errors, OverFrequency, Source};
