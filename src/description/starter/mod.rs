//! Descriptions to begin with: commented text that can be read as it is, filled in from the names and
//! the data of a folder of files.
//!
//! | file | subject |
//! |---|---|
//! | `begin`, `starter_files` | the subject that is wanted, and the files that are made |
//! | `folder_parts` | the Touchstone files of a folder, and what each may be for |
//! | `part_text` | blocks and loads as text |
//! | `receiver_parts` | which file is which part of a receiver |
//! | `receiver_start`, `network_start` | RECEIVER.toml and NETWORK.toml |
//! | `recipe_start` | RECIPE.toml and its list of dies |
//! | `station_start`, `rebuild_start`, `uncertainty_start` | the other formats |

mod begin;
mod folder_parts;
mod network_start;
mod part_text;
mod rebuild_start;
mod receiver_parts;
mod receiver_start;
mod recipe_start;
mod starter_files;
mod station_start;
mod uncertainty_start;

pub use begin::{StarterSubject, starter};
pub use starter_files::{Starter, StarterFile};
