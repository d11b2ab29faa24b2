//! The probability that a receiver or splitter meets a limit at the point of its plan where it is worst.
//!
//! Errors are propagated linearly up to the channel error. From there the rejection is exact, and
//! imbalance and phase error are normal.

use super::channel_error::ChannelErrorDistribution;
use super::conformity::conformity_probability;
use super::error::MeasurementError;
use super::receiver_uncertainty::PlanCovariance;
use crate::downconverter::ReceiverBalance;
use crate::units::db_from_neper;

/// Balances at all points of a plan or band, each with its covariance; there is at least one.
///
/// # Examples
/// ```
/// use fourphase::downconverter::ReceiverBalance;
/// use fourphase::measurement::{KnownBalances, PlanCovariance};
/// use fourphase::splitter::{channel_error, image_rejection_db};
///
/// // 0.4 dB and 2 degrees: 30.7 dB of rejection, known to 0.1 dB and 0.5 degrees.
/// let error = channel_error(0.4, 2.0);
/// let balance = ReceiverBalance {
///     image_rejection_db: image_rejection_db(0.4, 2.0),
///     sideband_gain_db: 0.0,
///     wanted_error: error,
///     channel_error: error,
/// };
/// let (amplitude, phase) = (channel_error(0.1, 0.0).re, 0.5_f64.to_radians());
/// let covariance = PlanCovariance {
///     image: [[amplitude.powi(2), 0.0], [0.0, phase.powi(2)]],
///     wanted: [amplitude.powi(2), phase.powi(2)],
/// };
/// let known = KnownBalances::new(vec![balance], &[covariance])?;
/// // One standard uncertainty below the limit of 0.5 dB: 84 %.
/// assert!((known.imbalance_probability(0.5) - 0.8413).abs() < 1e-4);
/// assert!(known.rejection_probability(25.0) > 0.99);
/// # Ok::<(), fourphase::measurement::MeasurementError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct KnownBalances {
    first: (ReceiverBalance, PlanCovariance),
    others: Vec<(ReceiverBalance, PlanCovariance)>,
}

impl KnownBalances {
    /// Balances and their covariances, point by point.
    ///
    /// # Errors
    /// [`MeasurementError::NoPoints`] without a point, and [`MeasurementError::CovarianceCount`] unless
    /// there is one covariance for each.
    pub fn new(
        balances: Vec<ReceiverBalance>,
        covariances: &[PlanCovariance],
    ) -> Result<Self, MeasurementError> {
        if balances.len() != covariances.len() {
            let (points, covariances) = (balances.len(), covariances.len());
            return Err(MeasurementError::CovarianceCount { points, covariances });
        }
        let mut points = balances.into_iter().zip(covariances.iter().copied());
        let first = points.next().ok_or(MeasurementError::NoPoints)?;
        Ok(Self { first, others: points.collect() })
    }

    /// The point at which a measure is largest; the last of equals.
    fn worst(
        &self,
        measure: impl Fn(&ReceiverBalance) -> f64,
    ) -> &(ReceiverBalance, PlanCovariance) {
        self.others.iter().fold(&self.first, |worst, point| {
            if measure(&worst.0).total_cmp(&measure(&point.0)).is_gt() { worst } else { point }
        })
    }

    /// The probability that the image rejection at the point where it is lowest is at least `limit_db`.
    #[must_use]
    pub fn rejection_probability(&self, limit_db: f64) -> f64 {
        let (balance, covariance) = self.worst(|point| -point.image_rejection_db);
        ChannelErrorDistribution { mean: balance.channel_error, covariance: covariance.image }
            .probability_of_rejection(limit_db - balance.sideband_gain_db)
    }

    /// The probability that the imbalance at the point where it is largest, either way, is at most
    /// `limit_db`.
    #[must_use]
    pub fn imbalance_probability(&self, limit_db: f64) -> f64 {
        let (balance, covariance) = self.worst(|point| point.wanted_error.re.abs());
        let scale = db_from_neper(1.0);
        either_way(scale * balance.wanted_error.re, scale * scale * covariance.wanted[0], limit_db)
    }

    /// The probability that the phase or quadrature error at the point where it is largest, either way,
    /// is at most `limit_deg`.
    #[must_use]
    pub fn phase_error_probability(&self, limit_deg: f64) -> f64 {
        let (balance, covariance) = self.worst(|point| point.wanted_error.im.abs());
        let scale = 1_f64.to_degrees();
        either_way(scale * balance.wanted_error.im, scale * scale * covariance.wanted[1], limit_deg)
    }
}

fn either_way(value: f64, variance: f64, limit: f64) -> f64 {
    // A value without uncertainty is on one side of the limit or on the other.
    let u = variance.sqrt().max(f64::MIN_POSITIVE);
    conformity_probability(value, u, -limit, limit)
}
