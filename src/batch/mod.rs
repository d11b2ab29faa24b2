//! Jobs: one receiver or splitter from its files to its verdict, or many dies or files.
//!
//! [`assess_receiver`] and [`assess_splitter`] do the work of the commands `downconverter` and
//! `splitter`.
//!
//! [`LotJob`] reads a recipe with everything that its dies share; [`run_lot`] measures every die
//! into a journal and computes the result. [`measure_shard`] and [`lot_result`] of
//! [`LotRecords::of_shards`] do the same on several machines. Warnings are values ([`LotWarning`]); progress is passed to a function
//! ([`Progress`]).
//!
//! [`run_station`] removes fixtures from many files of a probe station and makes its checks.
//!
//! | file | subject |
//! |---|---|
//! | `lot_job` | a recipe with everything that its dies share |
//! | `die_measurement` | reading and analysis of the files of one die |
//! | `shared_inputs` | the receiver or splitter, and the uncertainty, that all dies share |
//! | `lot_run` | dies measured into a journal; the result of the lot |
//! | `lot_records` | measured rows, read back from journals |
//! | `shard_journals` | the journals of all shards of a run |
//! | `lot_warning` | warnings about a result |
//! | `synthetic_lot` | a synthetic lot of any size |
//! | `input_file` | input files with their digests |
//! | `station_result` | the result of many files from a probe station |
//! | `station_run` | fixtures removed from many files of a probe station, and its checks |
//! | `progress` | progress of a run |
//! | `receiver_assessment` | one receiver, from its description to its verdict |
//! | `splitter_assessment` | one splitter, from its file to its verdict |
//! | `error` | errors of jobs |

mod die_corrections;
mod die_measurement;
mod error;
mod input_file;
mod list_remarks;
mod lot_job;
mod lot_records;
mod lot_run;
mod lot_warning;
mod progress;
mod receiver_assessment;
mod shard_journals;
mod shared_inputs;
mod splitter_assessment;
mod station_result;
mod station_run;
mod synthetic_lot;

pub use error::BatchError;
pub use input_file::InputFile;
pub use list_remarks::WaferName;
pub use lot_job::{LotAnalysis, LotJob};
pub use lot_records::LotRecords;
pub use lot_run::{
    MeasuredShard, ShardRows, Start, is_measured, lot_result, measure_shard, run_lot,
};
pub use lot_warning::LotWarning;
pub use progress::{OnProgress, Progress, Work};
pub use receiver_assessment::{
    AssessedReceiver, ReceiverJob, assess_receiver, assess_receiver_with_progress,
};
pub use shard_journals::ShardJournals;
pub use splitter_assessment::{
    AssessedSplitter, GivenLoad, SplitterJob, assess_splitter, assess_splitter_with_progress,
};
pub use station_result::{
    RemovalFigures, StationFile, StationOutcome, StationResult, StationVerdict, ThruCheck,
};
pub use station_run::{CleanedFile, StationEvent, StationRun, run_station};
pub use synthetic_lot::{SyntheticLot, SyntheticLotSettings};
