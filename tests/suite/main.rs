//! The tests of the library from outside and of the command line, in one binary.
//!
//! Files end in `_values` where results are compared with values computed independently, in
//! `_command` where the command is run, in `_properties` where generated inputs must keep an
//! identity, in `_hostile` where no input may cause a panic.
#![allow(missing_docs, clippy::unwrap_used)]

mod arithmetic_values;
mod bounded_work;
mod check_values;
mod command_line;
mod component_catalogue;
mod component_command;
mod component_values;
mod conversion_values;
mod convert_command;
mod deembed_command;
mod demo_data;
mod description_hostile;
mod frequency_plan;
mod harness;
mod hostile_analyses;
mod hostile_inputs;
mod hostile_mutations;
mod hostile_targets;
mod image_rejection_values;
mod join_command;
mod magnitude_range;
mod mixer_products;
mod network_properties;
mod network_values;
mod nodal;
mod open_data;
mod passive_files;
mod port_order;
mod readme_commands;
mod rebuild_command;
mod rebuild_values;
mod receiver_balance_values;
mod receiver_budget;
mod receiver_cases;
mod receiver_command;
mod receiver_correction;
mod receiver_demo_values;
mod receiver_plan_values;
mod receiver_setup;
mod receiver_solution;
mod receiver_typed_back;
mod report_folders_command;
mod splitter_command;
mod splitter_values;
mod station_command;
mod station_standards;
mod structure;
mod tones_command;
mod touchstone_corpus;
mod touchstone_hostile;
mod touchstone_round_trip;
mod uncertainty_command;
mod uncertainty_sources_command;
mod uncertainty_values;
mod undefined_figures;
mod wafer_command;
mod wafer_dies_command;
mod wafer_lot;
mod wafer_runs_command;
mod words;
mod worst_of_plan_values;
