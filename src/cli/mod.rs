//! The command line: reads arguments, makes one library call, shows its result.
//!
//! Data goes to standard output, everything else to standard error. Here alone things are
//! printed and exit statuses chosen:
//!
//! | status | meaning |
//! |---|---|
//! | 0 | done, and every requirement given holds |
//! | 1 | done, and a requirement does not hold, or cannot be decided within the uncertainty |
//! | 2 | the work could not be done |
//!
#![doc = include_str!("commands.md")]

mod args;
mod command_line;
mod compare;
mod completions;
mod component;
mod console;
mod convert;
mod deembed;
mod demo_wafer;
mod documentation_args;
mod downconverter;
mod failure;
mod input;
mod inspect;
mod join;
mod made_by;
mod man;
mod manual;
mod numbers;
mod outcome;
mod output;
mod plan;
mod points_argument;
mod progress_bar;
mod rebuild;
mod splitter;
mod start;
mod stated_uncertainty;
mod station;
mod tolerance;
mod wafer;

pub use command_line::run;
