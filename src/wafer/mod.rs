//! Many dies: positions on the wafer, yield, statistics, trends and further questions about a lot.
//!
//! In: settings ([`LotSettings`]) and, for each die, channel errors over frequency.
//! Out: [`LotResult`]: the results of every die, wafer and lot.
//! Dies are measured in parallel and stored in a journal on disk, so that a run can be resumed.
//!
//! | file | subject |
//! |---|---|
//! | `settings`, `error` | kind of dies, limits, further questions; invalid settings |
//! | `geometry` | positions of dies on the wafer |
//! | `retest` | several measurements of one die |
//! | `shard` | a part of a list of dies |
//! | `die` | points, worst figures and verdict of one die |
//! | `die_record` | a die as one line of text |
//! | `journal` | measured rows on disk |
//! | `in_order` | parallel measurement of dies, results in order |
//! | `lot_collector` | the first pass over measured rows: counts, yield, trends |
//! | `shared_correction` | I/Q corrections of dies and wafers |
//! | `point_collector` | the second and third pass: curves, corrections of wafers |
//! | `lot_result`, `group`, `what_if`, `curves`, `die_curves` | the result and its parts |
//! | `statistics`, `trend` | yield and its interval, capability, outliers; trends over a wafer |
//! | `heading` | the texts about a run |
//! | `radial_profile` | errors from the centre to the edge |
//! | `yield_curve` | yield over the limit |

mod curves;
mod die;
mod die_curves;
mod die_record;
mod direction;
mod error;
mod geometry;
mod group;
mod heading;
mod in_order;
mod journal;
mod lot_collector;
mod lot_result;
mod point_collector;
mod radial_profile;
mod retest;
mod settings;
mod shard;
mod shared_correction;
mod statistics;
mod trend;
mod what_if;
mod yield_curve;

pub use curves::{CURVE_STEP_DB, CurveBand, Curves};
pub use die::{Conformity, DieEntry, DieFigures, DieKey, DieStatus, SwitchedDie};
pub(crate) use die::{DieOutcome, DiePoint, DieWhatIfs, MeasuredDie};
pub use die_curves::{DieCurvePoint, DieCurves};
pub(crate) use die_record::{DieRecord, RecordDepth};
pub use direction::Direction;
pub use error::SettingsError;
pub use geometry::{Position, WaferGeometry};
pub use group::{
    Counts, Decided, DieRow, GroupResult, LimitCount, NotCounted, Quantiles, WorstPlace,
};
pub use heading::LotHeading;
pub(crate) use in_order::run_in_order;
pub use journal::JournalError;
pub(crate) use journal::{Journal, JournalRows, row_text};
pub(crate) use lot_collector::{EDGE_RING_SHARE, LotCollector};
pub use lot_result::{LotGroup, LotResult, Retest, Spatial, WaferResult};
pub use radial_profile::{ErrorPart, RadialPoint, larger_residuals, radial_trend, ring_medians};
pub use retest::RetestPolicy;
pub use settings::{CentreDie, DieSubject, LotMap, LotSettings, WhatIfSettings};
pub use shard::{Shard, ShardError};
pub(crate) use shared_correction::CorrectionModel;
pub use shared_correction::{DieCorrection, LotCorrections, WaferCorrections};
pub use statistics::{
    ChannelStatistics, Screening, YIELD_CONFIDENCE, Yield, channel_statistics, screen,
};
pub use trend::{EdgeComparison, PlacedValue, Trend, edge_against_centre, trend};
pub use what_if::{WhatIf, WhatIfResult};
pub use yield_curve::{YieldStep, yield_against_limit, yield_steps};
