//! The probability that a receiver or splitter meets a limit at the point of its plan where it is worst.
//!
//! Errors are propagated linearly up to the channel error. From there the rejection is exact, and
//! imbalance and phase error are normal.

use super::channel_error::ChannelErrorDistribution;
use super::error::MeasurementError;
use super::error_covariance::PlanCovariance;
use super::normal::conformity_probability;
use crate::downconverter::ReceiverBalance;
use crate::requirement::{Limit, Quantity};
use crate::units::db_from_neper;

/// Balances at all points of a plan or band with their uncertainty; there is at least one point.
///
/// # Examples
/// ```
/// use fourphase::downconverter::ReceiverBalance;
/// use fourphase::measurement::{ErrorCovariance, KnownBalances, PlanCovariance};
/// use fourphase::requirement::{Limit, Quantity};
/// use fourphase::splitter::{channel_error, image_rejection_db};
///
/// // 0.4 dB and 2 degrees: 30.8 dB of rejection; standard uncertainties 0.1 dB and 0.5 degrees.
/// let error = channel_error(0.4, 2.0);
/// let balance = ReceiverBalance {
///     image_rejection_db: image_rejection_db(0.4, 2.0),
///     sideband_gain_db: 0.0,
///     wanted_error: error,
///     channel_error: error,
/// };
/// let (amplitude, phase) = (channel_error(0.1, 0.0).re, 0.5_f64.to_radians());
/// let covariance = ErrorCovariance::new(amplitude.powi(2), phase.powi(2), 0.0)?;
/// let covariances = [PlanCovariance { image: covariance, wanted: covariance }];
/// let known = KnownBalances::new(&[balance], &covariances)?;
/// // One standard uncertainty inside the limit of 0.5 dB: 84 %.
/// let limit = Limit::new(Quantity::AmplitudeImbalance, 0.5)?;
/// assert!((known.probability(limit).unwrap() - 0.8413).abs() < 1e-4);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct KnownBalances {
    first: KnownBalance,
    others: Vec<KnownBalance>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct KnownBalance {
    balance: ReceiverBalance,
    channel_error: ChannelErrorDistribution,
    wanted_error: ChannelErrorDistribution,
}

impl KnownBalances {
    /// Balances and their covariances, point by point.
    ///
    /// # Errors
    /// [`MeasurementError::NoPoints`] without a point, [`MeasurementError::CovarianceCount`] unless
    /// there is one covariance for each, and [`MeasurementError::NotAnEstimate`] for an error that is
    /// not finite.
    pub fn new(
        balances: &[ReceiverBalance],
        covariances: &[PlanCovariance],
    ) -> Result<Self, MeasurementError> {
        if balances.len() != covariances.len() {
            let (points, covariances) = (balances.len(), covariances.len());
            return Err(MeasurementError::CovarianceCount { points, covariances });
        }
        let mut points = balances.iter().zip(covariances).map(|(balance, covariance)| {
            Ok(KnownBalance {
                balance: *balance,
                channel_error: ChannelErrorDistribution::new(
                    balance.channel_error,
                    covariance.image,
                )?,
                wanted_error: ChannelErrorDistribution::new(
                    balance.wanted_error,
                    covariance.wanted,
                )?,
            })
        });
        let first = points.next().ok_or(MeasurementError::NoPoints)??;
        Ok(Self { first, others: points.collect::<Result<_, MeasurementError>>()? })
    }

    /// The point at which a measure is largest; the last of equals.
    fn worst(&self, measure: impl Fn(&KnownBalance) -> f64) -> &KnownBalance {
        self.others.iter().fold(&self.first, |worst, point| {
            if measure(worst).total_cmp(&measure(point)).is_gt() { worst } else { point }
        })
    }

    /// The probability that a limit is kept at the point where it is nearest to being missed; `None`
    /// for LO power, which a balance does not contain.
    #[must_use]
    pub fn probability(&self, limit: Limit) -> Option<f64> {
        match limit.quantity() {
            Quantity::ImageRejection | Quantity::CommonModeRejection => {
                Some(self.rejection_probability(limit.value()))
            }
            Quantity::AmplitudeImbalance => Some(self.imbalance_probability(limit.value())),
            Quantity::PhaseError | Quantity::QuadratureError => {
                Some(self.phase_error_probability(limit.value()))
            }
            Quantity::LoPower => None,
        }
    }

    /// The probability that the image rejection at the point where it is lowest is at least `limit_db`.
    fn rejection_probability(&self, limit_db: f64) -> f64 {
        let worst = self.worst(|point| -point.balance.image_rejection_db);
        worst.channel_error.probability_of_rejection(limit_db - worst.balance.sideband_gain_db)
    }

    /// The probability that the amplitude imbalance in the wanted sideband, at the point where it is
    /// largest either way, is at most `limit_db`.
    fn imbalance_probability(&self, limit_db: f64) -> f64 {
        let worst = self.worst(|point| point.wanted_error.mean().re.abs()).wanted_error;
        let u = worst.covariance().amplitude_variance().sqrt();
        let [value_db, u_db] = [worst.mean().re, u].map(db_from_neper);
        conformity_probability(value_db, u_db, -limit_db, limit_db)
    }

    /// The probability that the phase or quadrature error in the wanted sideband, at the point where it
    /// is largest either way, is at most `limit_deg`.
    fn phase_error_probability(&self, limit_deg: f64) -> f64 {
        let worst = self.worst(|point| point.wanted_error.mean().im.abs()).wanted_error;
        let u = worst.covariance().phase_variance().sqrt();
        let [value_deg, u_deg] = [worst.mean().im, u].map(f64::to_degrees);
        conformity_probability(value_deg, u_deg, -limit_deg, limit_deg)
    }
}
