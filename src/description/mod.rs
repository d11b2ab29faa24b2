//! The text formats of fourphase: descriptions in TOML and tables in CSV, read into checked values
//! and the networks of the files they name.
//!
//! | file | subject |
//! |---|---|
//! | `source` | a file's text with positions, TOML from it, tables of numbers |
//! | `error` | what can be wrong with a description |
//! | `network_toml`, `network_entries`, `parts` | NETWORK.toml: blocks, joins and loads |
//! | `receiver_toml`, `receiver_entries`, `receiver_plan`, `receiver_output` | RECEIVER.toml |
//! | `uncertainty_toml`, `uncertainty_entries`, `uncertainty_tables` | UNCERTAINTY.toml |
//! | `tones_csv` | measured tones |

mod allowed;
mod error;
mod named_files;
mod network_entries;
mod network_toml;
mod parts;
mod receiver_entries;
mod receiver_output;
mod receiver_plan;
mod receiver_toml;
mod source;
mod table;
mod toml_words;
mod tones_csv;
mod uncertainty_entries;
mod uncertainty_tables;
mod uncertainty_toml;

pub use allowed::Allowed;
pub use error::{DescriptionError, DescriptionProblem};
pub use network_entries::{BlockEntry, ComplexValue, LoadEntry, NetworkDescription};
pub use network_toml::{WiredNetwork, load_network};
pub use receiver_toml::{LoadedReceiver, load_receiver};
pub(crate) use source::TomlFile;
pub use tones_csv::compared;
pub use uncertainty_entries::GivenUncertainty;
pub use uncertainty_toml::{SplitterSources, Uncertainty};
