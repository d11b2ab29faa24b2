//! The receiver: its parts described in TOML, its frequencies, its image rejection.
//!
//! | file | subject |
//! |---|---|
//! | `description`, `receiver_description` | what a file may say |
//! | `component_spec`, `component_build`, `dimensions` | closed-form parts by name, built, and what a workshop needs of them |
//! | `load` | from a description and its files to networks, wiring and receivers |
//! | `frequency_plan` | LO, image and harmonics |
//! | `receiver` | a receiver ready to be solved |
//! | `side` | one way in, solved: voltages at the mixing elements |
//! | `iq_balance` | I and Q from those voltages, and the rejection |
//! | `solution` | the same over a whole plan |
//! | `analysis` | the whole answer |
//! | `variation` | a receiver with other networks in some places, what does not change solved once |
//! | `die_receiver` | the same on many dies |
//! | `drive` | what the LO does at each element |
//! | `ideal_part`, `budget` | which part spoils the balance |
//! | `correction`, `trim` | what complex weights on Q can do |
//! | `load_ring` | loads of any angle |
//! | `allocation` | what each part may spoil |
//! | `path_noise` | loss and noise of the RF paths |
//! | `plan_figures` | figures of a result over its whole plan |
//! | `receiver_compliance` | worst values against the limits, and the LOs that pass |

mod allocation;
mod analysis;
mod budget;
mod correction;
mod die_receiver;
mod drive;
mod error;
mod frequency_plan;
mod ideal_part;
mod iq_balance;
mod load_ring;
mod path_noise;
mod plan_figures;
mod receiver;
mod receiver_compliance;
mod side;
mod solution;
mod trim;
mod variation;

pub use allocation::{Allocation, ReturnLosses, Share};
pub use analysis::{DownconverterResult, ReceiverSummary, analyse_receiver, plan_points};
pub use budget::{Budget, BudgetRow, Contributor, PartTaken};
pub use correction::{
    CorrectionPoint, best_shared_correction_db, least_squares_weight, minimax_weight,
    worst_rejection_db,
};
pub use die_receiver::DieReceiver;
pub use drive::{LoPoint, MixerDrive, PairDrive};
pub use error::ReceiverError;
pub use frequency_plan::{
    Band, FrequencyPlan, HarmonicHit, PlanError, PlanSettings, Sideband, SidebandPlan, Victim,
    frequency_plan, receiver_frequency_plan,
};
pub use iq_balance::{
    Channel, Combination, Element, IqOutputs, IqPair, Mixing, NOTHING_WANTED_DB, PlanPoint,
    ReceiverBalance, favourable_combination, receiver_balance,
};
pub use load_ring::{LoadRing, RingPlace};
pub use path_noise::{NoisePathResult, single_sideband_rise_db};
pub use plan_figures::ImageNoiseRise;
pub(crate) use receiver::reached;
pub use receiver::{
    Mixer, OnWays, OutputChoice, OutputStage, PartKind, PowerInput, Receiver, ReceiverLoad,
    ReceiverPart, ReceiverPlan, RingSettings, TrimSteps, Way,
};
pub use receiver_compliance::RECEIVER_QUANTITIES;
pub use trim::{CorrectionPlan, Trim, TrimCover, TrimSegment};
pub use variation::{LeastDrive, Place, Variation, Varied};
