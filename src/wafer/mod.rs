//! Many dies: where they lie on the wafer, and what their numbers come to.
//!
//! What is measured on a die is no business of this module: [`run_in_order`] receives it as a
//! function.
//!
//! | file | subject |
//! |---|---|
//! | `recipe` | what is measured, what it must hold, how the wafer lies |
//! | `manifest` | the list of dies, and which touchdown of each counts |
//! | `die` | what is known of one die, and the line of text that keeps it |
//! | `run` | dies measured side by side, results in order; shards |
//! | `journal` | what is done, so that a killed run can go on |
//! | `collect` | from measured rows to the whole answer |
//! | `group` | counts, yield and quantiles of a wafer, a lot or all |
//! | `curves` | rejection over frequency of many dies |
//! | `heading` | what a run is about, in words |
//! | `radial_profile` | errors from the centre to the rim |
//! | `yield_curve` | yield as a limit moves |
//! | `statistics` | yield and its interval, quantiles, channel errors, outliers |
//! | `space` | positions of dies, radial and plane trends |

mod collect;
mod curves;
mod die;
mod error;
mod group;
mod heading;
mod journal;
mod manifest;
mod radial_profile;
mod recipe;
mod run;
mod space;
mod statistics;
mod yield_curve;

pub use collect::{
    EDGE_RING_SHARE, LotCollector, LotResult, Retest, SecondWalk, Spatial, WaferResult,
    WhatIfResult, measured,
};
pub use curves::{CURVE_STEP_DB, CurveBand, Curves};
pub use die::{Conformity, DieFigures, DieOutcome, DiePoint, DieRecord, DieStatus, MeasuredDie};
pub use error::{WaferError, WaferProblem};
pub use group::{
    Counts, Decided, DieRow, GroupResult, LimitCount, Quantiles, WorstPlace, YIELD_CONFIDENCE,
    missed,
};
pub use heading::LotHeading;
pub use journal::{Journal, JournalError};
pub use manifest::{DieEntry, DieKey, Manifest, RetestPolicy, standing_rows};
pub use radial_profile::{ErrorPart, RadialPoint, larger_residuals, radial_trend, ring_medians};
pub use recipe::{Recipe, RecipeAnalysis, RecipeKind, SplitterRecipe, WhatIf};
pub use run::{Shard, run_in_order};
pub use space::{
    Direction, EdgeComparison, Position, Trend, WaferGeometry, edge_against_centre, trend,
};
pub use statistics::{
    ChannelStatistics, Screening, Yield, capability_index, channel_statistics, quantile, screen,
    yield_at_limits,
};
pub use yield_curve::{YieldStep, yield_against_limit, yield_steps};
