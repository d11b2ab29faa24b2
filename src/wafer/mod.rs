//! Many dies: where they lie on the wafer, and what their numbers come to.
//!
//! | file | subject |
//! |---|---|
//! | `manifest` | the list of dies, and which touchdown of each counts |
//! | `statistics` | yield and its interval, quantiles, channel errors, outliers |
//! | `space` | positions of dies, radial and plane trends |

mod error;
mod manifest;
mod space;
mod statistics;

pub use error::{ManifestError, ManifestProblem};
pub use manifest::{DieEntry, DieKey, Manifest, RetestPolicy, standing_rows};
pub use space::{
    Direction, EdgeComparison, Position, Trend, WaferGeometry, edge_against_centre, trend,
};
pub use statistics::{
    ChannelStatistics, Screening, Yield, capability_index, channel_statistics, quantile, screen,
    yield_at_limits,
};
