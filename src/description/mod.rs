//! The text formats of fourphase: descriptions in TOML and tables in CSV. They are read into
//! checked values and the networks of the files that they name.
//!
//! | file | subject |
//! |---|---|
//! | `source`, `toml_words` | a TOML file with positions; its reader's messages in plain words |
//! | `table`, `record_bound` | a CSV file with positions; how long one of its rows may be |
//! | `named_files` | the Touchstone files and tables that a description names |
//! | `allowed`, `error` | allowed numbers; errors of files |
//! | `block_entries`, `blocks` | blocks, joins and loads, common to networks and receivers |
//! | `component_entry` | `component = { kind = "..", .. }` |
//! | `network_toml` | NETWORK.toml |
//! | `receiver_toml`, `receiver_plan`, `receiver_output` | RECEIVER.toml, its frequency plan, its output |
//! | `receiver_networks` | the networks of its blocks and loads, on the paths that reach them |
//! | `receiver_switching` | its switched mixers and their IF loads |
//! | `receiver_remarks`, `receiver_contradictions` | values, and parts of it together, that are likely mistakes |
//! | `name_numbers` | numbers in the names of files |
//! | `lo_chain_entries`, `lo_network` | its LO chain: source and stages; pieces of the LO network |
//! | `require_table`, `kind_names` | limits by quantity, kinds of splitters by name |
//! | `uncertainty_toml`, `uncertainty_entries` | UNCERTAINTY.toml |
//! | `amounts_csv`, `covariance_csv` | its tables: standard uncertainties over frequency, covariances of entries |
//! | `uncertain_parts` | its sources, assigned to parts, splitters and dies |
//! | `rebuild_set_toml` | SET.toml: measurements of some ports at a time |
//! | `station_toml` | STATION.toml: many files from a probe station |
//! | `tones_csv` | measured tones |
//! | `recipe_toml`, `recipe_entries` | RECIPE.toml: a lot of dies and its requirements |
//! | `die_list` | the list of dies |
//! | `starter` | descriptions to begin with, filled in from a folder of files |
//!
//! The Markdown files beside them explain every key; the manual and the documentation of the readers
//! show them.

mod allowed;
mod amounts_csv;
mod block_entries;
mod blocks;
mod closed_form;
mod component_entry;
mod covariance_csv;
mod die_list;
mod error;
mod kind_names;
mod lo_chain_entries;
mod lo_network;
mod name_numbers;
mod named_files;
mod network_toml;
mod rebuild_set_toml;
mod receiver_contradictions;
mod receiver_networks;
mod receiver_output;
mod receiver_plan;
mod receiver_remarks;
mod receiver_switching;
mod receiver_toml;
mod recipe_entries;
mod recipe_toml;
mod record_bound;
mod require_table;
mod source;
mod starter;
mod station_toml;
mod table;
mod toml_words;
mod tones_csv;
mod uncertain_parts;
mod uncertainty_entries;
mod uncertainty_toml;

pub use allowed::Allowed;
pub use die_list::DieList;
pub use error::{DescriptionError, DescriptionProblem, PlanMistake};
pub(crate) use name_numbers::NamedDie;
pub use network_toml::{WiredNetwork, read_network};
pub use rebuild_set_toml::{RebuildSet, read_rebuild_set};
pub use receiver_toml::{LoadedReceiver, ReceiverFile, read_receiver};
pub use recipe_toml::{Recipe, RecipeAnalysis, read_recipe};
pub use starter::{Starter, StarterFile, StarterSubject, starter};
pub(crate) use station_toml::{AccessLine, NamePattern, RemovalStep, RemovalSteps, StationInput};
pub use station_toml::{StationRecipe, read_station};
pub use tones_csv::{Tones, read_tones};
pub use uncertain_parts::SplitterSources;
pub use uncertainty_toml::{Uncertainty, read_uncertainty};
