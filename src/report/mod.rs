//! Results as text, JSON and CSV, one file a subject, and the writing of report files.
//!
//! Functions that end in `_text` give text of 80 columns for people, those that end in `_csv` a table
//! with one header row; a type named `..Report` is a JSON document, which [`document`] writes
//! out. Every name in JSON and CSV that holds a quantity ends in its unit; a complex number is
//! `[re, im]`. An unbounded value is `null` in JSON and `inf` in CSV and text.
//!
#![doc = include_str!("reports.md")]
#![doc = include_str!("terms.md")]

mod assessment_report;
mod comparison_files;
mod comparison_report;
mod component_report;
mod csv_table;
mod data_report;
mod files_error;
mod inspect_report;
mod json_document;
mod manual_topics;
mod markdown_text;
mod output_place;
mod page;
mod parquet_table;
mod picture_files;
mod pictures_drawn;
mod plan_report;
mod publish;
mod rebuild_report;
mod receiver_budget_report;
mod receiver_correction_report;
mod receiver_files;
mod receiver_lo_chain_report;
mod receiver_loads_report;
mod receiver_noise_report;
mod receiver_points_report;
mod receiver_report;
mod receiver_settings_report;
mod receiver_switching_report;
mod receiver_uncertainty_report;
mod receiver_verdict_report;
mod report_folder;
mod splitter_files;
mod splitter_report;
mod splitter_uncertainty_report;
mod station_files;
mod station_report;
mod text_table;
mod tolerance_report;
mod tones_report;
mod wafer_corrections_report;
mod wafer_dies_report;
mod wafer_files;
mod wafer_groups_report;
mod wafer_points_table;
mod wafer_report;
mod wafer_settings_report;
mod wafer_trend_report;
mod wafer_yield_report;

pub use comparison_files::comparison_files;
pub use comparison_report::{ComparisonReport, comparison_csv, comparison_text};
pub use component_report::{
    component_kinds_text, component_values_csv, component_values_json, component_values_text,
};
pub use data_report::{data_csv, data_text};
pub use files_error::FilesError;
pub use inspect_report::{Inspected, InspectedFile, UnreadableFile, inspect_csv, inspect_text};
pub use json_document::document;
pub use manual_topics::{
    MANUAL_TOPICS, ManualTopic, manual_contents_text, manual_text, manual_words_near,
};
pub use output_place::PublishError;
pub use picture_files::{PictureForm, PictureForms, picture_file};
pub use plan_report::{PlanReport, plan_csv, plan_text};
pub use publish::{
    ReportFile, StreamedFile, WriteContent, check_outputs, publish, publish_one_of_many,
};
pub use rebuild_report::{RebuildReport, entry_covariance_csv, rebuild_csv, rebuild_text};
pub use receiver_budget_report::receiver_budget_csv;
pub use receiver_correction_report::receiver_corrections_csv;
pub use receiver_files::{assessed_receiver_text, receiver_files};
pub use receiver_lo_chain_report::{lo_levels_csv, lo_tones_csv, spurious_responses_csv};
pub use receiver_points_report::{receiver_lo_csv, receiver_points_csv};
pub use receiver_report::{ReceiverReport, receiver_text};
pub use receiver_uncertainty_report::receiver_uncertainty_csv;
pub use report_folder::{
    LIST_OF_FILES, PRINTED_REPORT, REPORT_DOCUMENT, ReportFolder, finished_run, interrupted_run,
    remove_left_lock,
};
pub use splitter_files::splitter_files;
pub use splitter_report::{SeenWith, SplitterReport, splitter_csv, splitter_text};
pub use splitter_uncertainty_report::splitter_uncertainty_csv;
pub use station_files::{STATION_FILES, station_files};
pub use station_report::{station_csv, station_json, station_text};
pub use tolerance_report::{tolerance_csv, tolerance_json, tolerance_text};
pub use tones_report::{tones_csv, tones_text};
pub use wafer_dies_report::dies_csv;
pub use wafer_files::{lot_file_paths, lot_files, lot_streams, refuse_lot_files};
pub use wafer_points_table::PointsForm;
pub use wafer_report::{LotReport, lot_report, wafer_text};
