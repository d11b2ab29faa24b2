//! The text formats of fourphase: descriptions in TOML and tables in CSV, read into checked values
//! and the networks of the files they name.
//!
//! | file | subject |
//! |---|---|
//! | `source` | a file's text with positions, TOML from it, tables of numbers |
//! | `error` | what can be wrong with a description |
//! | `network_toml`, `network_entries`, `parts` | NETWORK.toml: blocks, joins and loads |
//! | `component_entry` | `component = { kind = "..", .. }` |
//! | `receiver_toml`, `receiver_entries`, `receiver_plan`, `receiver_output` | RECEIVER.toml |
//! | `uncertainty_toml`, `uncertainty_entries` | UNCERTAINTY.toml |
//! | `amounts_csv`, `covariance_csv` | its tables: standard uncertainties over frequency, covariances of entries |
//! | `uncertain_parts` | its sources, given to parts, splitters and dies |
//! | `rebuild_set_toml` | SET.toml: measurements of some ports at a time |
//! | `station_toml` | STATION.toml: many files from a probe station |
//! | `tones_csv` | measured tones |

mod allowed;
mod amounts_csv;
mod component_entry;
mod covariance_csv;
mod error;
mod named_files;
mod network_entries;
mod network_toml;
mod parts;
mod rebuild_set_toml;
mod receiver_entries;
mod receiver_output;
mod receiver_plan;
mod receiver_toml;
mod source;
mod station_toml;
mod table;
mod toml_words;
mod tones_csv;
mod uncertain_parts;
mod uncertainty_entries;
mod uncertainty_toml;

pub use allowed::Allowed;
pub use error::{DescriptionError, DescriptionProblem};
pub use network_entries::{BlockEntry, ComplexValue, LoadEntry, NetworkDescription};
pub use network_toml::{WiredNetwork, read_network};
pub use rebuild_set_toml::{RebuildSet, read_rebuild_set};
pub use receiver_toml::{LoadedReceiver, ReceiverFile, read_receiver};
pub(crate) use station_toml::{AccessLine, NamePattern, RemovalStep, RemovalSteps, StationInput};
pub use station_toml::{StationRecipe, read_station};
pub use tones_csv::{Tones, read_tones};
pub use uncertain_parts::SplitterSources;
pub use uncertainty_toml::{Uncertainty, read_uncertainty};
