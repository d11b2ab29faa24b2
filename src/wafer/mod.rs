//! Many dies: positions on the wafer, yield, statistics, trends and further questions about a lot.
//!
//! In:  settings ([`LotSettings`]) and, for each die, channel errors over frequency, measured by others.
//! Out: [`LotResult`]: every die judged, all of them, lot by lot and wafer by wafer.
//! Dies are measured side by side and kept in a journal on disk, so that a run can be resumed.
//!
//! | file | subject |
//! |---|---|
//! | `settings`, `error` | what dies are, what they must hold, further questions; settings that cannot be |
//! | `geometry` | positions of dies on the wafer |
//! | `retest` | several measurements of one die |
//! | `shard` | a part of a list of dies |
//! | `die` | points, worst figures and verdict of one die |
//! | `die_record` | a die in one line of text |
//! | `journal` | measured rows on disk |
//! | `in_order` | dies measured side by side, results in order |
//! | `lot_collector` | the first walk over measured rows: counts, yield, trends |
//! | `point_collector` | the second and third: curves, corrections that dies share |
//! | `lot_result`, `group`, `what_if`, `curves` | the result and its parts |
//! | `statistics`, `trend` | yield and its interval, capability, outliers; trends over a wafer |
//! | `heading` | what a run is about, in words |
//! | `radial_profile` | errors from the centre to the edge |
//! | `yield_curve` | yield as a limit moves |

mod curves;
mod die;
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
mod statistics;
mod trend;
mod what_if;
mod yield_curve;

pub use curves::{CURVE_STEP_DB, CurveBand, Curves};
pub use die::{Conformity, DieEntry, DieFigures, DieKey, DieStatus};
pub(crate) use die::{DieOutcome, DiePoint, DieWhatIfs, MeasuredDie};
pub(crate) use die_record::{DieRecord, RecordDepth};
pub use direction::Direction;
pub use error::SettingsError;
pub use geometry::{Position, WaferGeometry};
pub use group::{Counts, Decided, DieRow, GroupResult, LimitCount, Quantiles, WorstPlace};
pub use heading::LotHeading;
pub(crate) use in_order::run_in_order;
pub use journal::JournalError;
pub(crate) use journal::{Journal, row_text};
pub(crate) use lot_collector::{EDGE_RING_SHARE, LotCollector};
pub use lot_result::{LotGroup, LotResult, Retest, Spatial, WaferResult};
pub use radial_profile::{ErrorPart, RadialPoint, larger_residuals, radial_trend, ring_medians};
pub use retest::RetestPolicy;
pub use settings::{CentreDie, DieSubject, LotMap, LotSettings, WhatIfSettings};
pub use shard::{Shard, ShardError};
pub use statistics::{
    ChannelStatistics, Screening, YIELD_CONFIDENCE, Yield, channel_statistics, screen,
};
pub use trend::{EdgeComparison, PlacedValue, Trend, edge_against_centre, trend};
pub use what_if::{WhatIf, WhatIfResult};
pub use yield_curve::{YieldStep, yield_against_limit, yield_steps};
