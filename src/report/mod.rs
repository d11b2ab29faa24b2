//! Results as text, CSV and JSON, and the writing of report files.
//!
//! Every name in JSON and CSV that holds a quantity ends in its unit; a complex number is
//! `[re, im]`. A value without bound is `null` in JSON and `inf` in CSV and text.

pub mod csv;
pub mod json;
mod publish;
pub mod receiver_csv;
pub mod receiver_json;
pub mod receiver_text;
pub mod station;
pub mod text;
pub mod tones;
pub mod uncertainty;
pub mod wafer_csv;
mod wafer_files;
pub mod wafer_json;
pub mod wafer_text;

pub use publish::{PublishError, ReportFile, publish, remove_unfinished};
pub use wafer_files::{LotFilesError, lot_files, refuse_lot_files};
pub use wafer_json::lot_report;
