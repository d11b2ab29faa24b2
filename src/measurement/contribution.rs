//! The contribution of each source of uncertainty.

use super::error_covariance::ErrorCovariance;

/// The contribution of one source of one part at the point of worst rejection.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// The part.
    pub part: String,
    /// The source.
    pub source: String,
    /// The covariance of the channel error from this source alone.
    pub covariance: ErrorCovariance,
    /// The share of the source in the variance of the rejection.
    pub share: f64,
}
