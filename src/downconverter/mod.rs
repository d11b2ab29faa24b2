//! The receiver: its parts described in TOML, its frequencies, its image rejection.
//!
//! | file | subject |
//! |---|---|
//! | `description` | what a file may say: blocks, joins, loads |
//! | `component_spec` | closed-form parts by name, as TOML and command line give them |
//! | `component_build` | those parts built |
//! | `dimensions` | what a workshop needs to know of them |
//! | `frequency_plan` | LO, image and harmonics |
//! | `image_rejection` | I and Q from the voltages at the mixers, and the rejection |
//! | `correction` | what one complex weight on Q can do |
//! | `load` | from a description and its files to networks and wiring |

mod component_build;
mod component_spec;
mod correction;
mod description;
mod dimensions;
mod error;
mod frequency_plan;
mod image_rejection;
mod load;

pub use component_spec::{ComponentSpec, KINDS};
pub use correction::{CorrectionPoint, least_squares_weight, minimax_weight, worst_rejection_db};
pub use description::{BlockEntry, LoadEntry, NetworkDescription};
pub use dimensions::{Dimension, Dimensions};
pub use error::{DescriptionError, DescriptionProblem};
pub use frequency_plan::{
    Band, FrequencyPlan, HarmonicHit, PlanError, PlanSettings, Sideband, SidebandPlan, Victim,
    frequency_plan,
};
pub use image_rejection::{
    Channel, Combination, Element, IqOutputs, IqPair, Mixing, ReceiverBalance,
    favourable_combination, receiver_balance,
};
pub use load::{Circuit, load_network};
