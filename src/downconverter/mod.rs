//! Descriptions of networks made of parts, in TOML, and their loading.
//!
//! | file | subject |
//! |---|---|
//! | `description` | what a file may say: blocks, joins, loads |
//! | `component_spec` | closed-form parts by name, as TOML and command line give them |
//! | `component_build` | those parts built |
//! | `dimensions` | what a workshop needs to know of them |
//! | `frequency_plan` | LO, image and harmonics |
//! | `load` | from a description and its files to networks and wiring |

mod component_build;
mod component_spec;
mod description;
mod dimensions;
mod error;
mod frequency_plan;
mod load;

pub use component_spec::{ComponentSpec, KINDS};
pub use description::{BlockEntry, LoadEntry, NetworkDescription};
pub use dimensions::{Dimension, Dimensions};
pub use error::{DescriptionError, DescriptionProblem};
pub use frequency_plan::{
    Band, FrequencyPlan, HarmonicHit, PlanError, PlanSettings, Sideband, SidebandPlan, Victim,
    frequency_plan,
};
pub use load::{Circuit, load_network};
