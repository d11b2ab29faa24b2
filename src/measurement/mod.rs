//! Evaluation of measurements: uncertainty, decisions, tones, checks of standards, reconstruction.
//!
//! | file | subject |
//! |---|---|
//! | `error` | errors in the evaluation of a measurement or its uncertainty |
//! | `quadrature`, `root`, `normal` | integrals, zeros, the normal distribution |
//! | `error_covariance`, `channel_error` | a channel error with its covariance, and the distribution of the rejection |
//! | `monte_carlo`, `uncertainty_progress` | trials until their results are stable, and how far an evaluation is |
//! | `conformity`, `assessment` | decisions on requirements within the uncertainty |
//! | `plane_noise`, `plan_noise`, `plan_reading` | truths that a reading refutes, noise of many
//! points, truths about the worst point |
//! | `plan_conformity` | decisions on a limit from the balances at all points of a plan |
//! | `stated_amount`, `entry_covariances` | standard uncertainties and covariances of entries |
//! | `uncertainty_source`, `deviating_network` | uncertainty of S-parameters, and networks with errors drawn from it |
//! | `contribution`, `advice` | shares of the variance, and which uncertainty to reduce |
//! | `receiver_propagation`, `receiver_linear`, `receiver_uncertainty` | uncertainty of a receiver |
//! | `splitter_uncertainty` | uncertainty of a splitter |
//! | `measured_tones` | measured rejections compared with those from S-parameters |
//! | `probe_placement` | the delay of a misplaced probe |
//! | `standard_checks` | checks of an open, a short or a line |
//! | `probe_checks` | checks at the probe station: thru, drift, placement |
//! | `entry_covariances` | covariances of the entries of a network |
//! | `partial_view`, `scattering_fit`, `reconstruction` | an N-port from measurements of some of its ports at a time |

mod advice;
mod assessment;
mod channel_error;
mod conformity;
mod contribution;
mod deviating_network;
mod entry_covariances;
mod error;
mod error_covariance;
mod measured_tones;
mod monte_carlo;
mod normal;
mod partial_view;
mod plan_conformity;
mod plan_noise;
mod plan_reading;
mod plane_noise;
mod probe_checks;
mod probe_placement;
mod quadrature;
mod receiver_linear;
mod receiver_propagation;
mod receiver_uncertainty;
mod reconstruction;
mod root;
mod scattering_fit;
mod splitter_uncertainty;
mod standard_checks;
mod stated_amount;
mod switched_trials;
mod uncertainty_progress;
mod uncertainty_source;

pub use advice::Advice;
pub use assessment::{Assessment, DecidedBand};
pub use channel_error::ChannelErrorDistribution;
pub use conformity::{DecidedRequirement, DecisionRule, DecisionSettings, guard_band};
pub use contribution::Contribution;
pub use entry_covariances::{COVARIANCE_COLUMNS, EntryCovariances};
pub use error::{CovarianceFault, MeasurementError};
pub use error_covariance::{ErrorCovariance, PlanCovariance};
pub use measured_tones::{
    DecidingTone, MixerError, PredictedTone, ToneComparison, ToneComparisons, ToneMeasurement,
    compare_tones, compare_tones_with_analysis,
};
pub use monte_carlo::{Spread, TrialSettings};
pub use normal::conformity_probability;
pub use plan_conformity::KnownBalances;
pub use plan_noise::{NoiseDraws, PlanNoise};
pub use plan_reading::Refutation;
pub use probe_checks::{Drift, ThruResidual, ValueAt, drift, length_um, thru_residual};
pub use probe_placement::ProbePlacement;
pub use receiver_linear::BudgetUncertainty;
pub use receiver_propagation::{PartSource, UncertainPart};
pub use receiver_uncertainty::{
    PointUncertainty, ReceiverUncertainty, plan_noise, receiver_uncertainty,
};
pub use reconstruction::{
    CovarianceOrigin, DeviatingMeasurement, PartialMeasurement, RebuildSettings, RebuildWarning,
    Rebuilt, RebuiltCovariances, RepeatedReflection, rebuild, rebuild_with_progress,
};
pub use splitter_uncertainty::{
    SplitterPointUncertainty, SplitterUncertainty, UncertainSplitter, splitter_uncertainty,
};
pub use standard_checks::{
    StandardFault, check_open_and_short, check_reflecting, check_transmitting,
};
pub use stated_amount::{EntryAmount, PassAmount};
pub use uncertainty_progress::{OnUncertainty, UncertaintyProgress, UncertaintyStage};
pub use uncertainty_source::{EntryAmounts, ErrorSymmetry, OverFrequency, Source};
