//! Many dies: where they lie on the wafer, and what their numbers come to.
//!
//! | file | subject |
//! |---|---|
//! | `manifest` | the list of dies, and which touchdown of each counts |
//! | `run` | dies measured side by side, results in order; shards |
//! | `journal` | what is done, so that a killed run can go on |
//! | `statistics` | yield and its interval, quantiles, channel errors, outliers |
//! | `space` | positions of dies, radial and plane trends |

mod error;
mod journal;
mod manifest;
mod run;
mod space;
mod statistics;

pub use error::{ManifestError, ManifestProblem};
pub use journal::{Journal, JournalError};
pub use manifest::{DieEntry, DieKey, Manifest, RetestPolicy, standing_rows};
pub use run::{Shard, run_in_order};
pub use space::{
    Direction, EdgeComparison, Position, Trend, WaferGeometry, edge_against_centre, trend,
};
pub use statistics::{
    ChannelStatistics, Screening, Yield, capability_index, channel_statistics, quantile, screen,
    yield_at_limits,
};
