//! What separates a number from a result at the probe station.
//!
//! | file | subject |
//! |---|---|
//! | `uncertainty` | how uncertain S-parameters are, and networks drawn from that |
//! | `channel_error` | a channel error known so well, and what that makes of the rejection |
//! | `monte_carlo` | trials, as many as a stability asks for |
//! | `verdict` | met, not met, or undecided |
//! | `rebuild` | an N-port from measurements of pairs of its ports |
//! | `error` | why that cannot be |

mod channel_error;
mod error;
mod monte_carlo;
mod rebuild;
mod uncertainty;
mod verdict;

pub use channel_error::ChannelErrorDistribution;
pub use error::RebuildError;
pub use monte_carlo::{Spread, Trial, TrialSettings, Trials, run_trials};
pub use rebuild::{
    EntryCovariance, PartialMeasurement, RebuildSettings, Rebuilt, RepeatedReflection, rebuild,
};
pub use uncertainty::{Amounts, Deviates, Errors, OverFrequency, Source};
pub use verdict::{Decision, DecisionRule, conformity_probability, guard_band};
