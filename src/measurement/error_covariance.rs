//! Covariances of channel errors: real part in nepers, imaginary part in radians.

use super::error::MeasurementError;
use crate::units::db_from_neper;
use num_complex::Complex64;

/// Covariance of the two parts of a channel error: amplitude imbalance in nepers and phase error in
/// radians. No direction has a negative variance.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ErrorCovariance {
    amplitude: f64,
    phase: f64,
    mixed: f64,
}

/// A determinant that is negative by a smaller share of the variances' product is a rounding error.
const ROUNDING: f64 = 1e-9;

impl ErrorCovariance {
    /// A covariance from the variance of the amplitude imbalance (Np²), that of the phase error
    /// (rad²), and the covariance of both (Np rad).
    ///
    /// # Errors
    /// [`MeasurementError::NotACovariance`] unless all are finite, both variances are at least 0, and
    /// the correlation is from -1 to 1.
    ///
    /// # Examples
    /// ```
    /// use fourphase::measurement::ErrorCovariance;
    ///
    /// let covariance = ErrorCovariance::new(1e-4, 4e-4, -1e-4)?;
    /// assert_eq!(covariance.phase_variance(), 4e-4);
    /// assert!(ErrorCovariance::new(1e-4, 4e-4, 3e-4).is_err());
    /// # Ok::<(), fourphase::measurement::MeasurementError>(())
    /// ```
    pub fn new(
        amplitude_variance: f64,
        phase_variance: f64,
        covariance: f64,
    ) -> Result<Self, MeasurementError> {
        let product = amplitude_variance * phase_variance;
        let is_finite =
            [amplitude_variance, phase_variance, covariance].iter().all(|value| value.is_finite());
        if is_finite
            && amplitude_variance >= 0.0
            && phase_variance >= 0.0
            && covariance * covariance <= product * (1.0 + ROUNDING)
        {
            Ok(Self { amplitude: amplitude_variance, phase: phase_variance, mixed: covariance })
        } else {
            Err(MeasurementError::NotACovariance { amplitude_variance, phase_variance, covariance })
        }
    }

    /// Variance of the amplitude imbalance, Np².
    #[must_use]
    pub fn amplitude_variance(&self) -> f64 {
        self.amplitude
    }

    /// Variance of the phase error, rad².
    #[must_use]
    pub fn phase_variance(&self) -> f64 {
        self.phase
    }

    /// Covariance of amplitude imbalance and phase error, Np rad.
    #[must_use]
    pub fn covariance(&self) -> f64 {
        self.mixed
    }

    /// Standard uncertainty of the amplitude imbalance, dB.
    #[must_use]
    pub fn u_amplitude_db(&self) -> f64 {
        db_from_neper(self.amplitude.sqrt())
    }

    /// Standard uncertainty of the phase error, degrees.
    #[must_use]
    pub fn u_phase_deg(&self) -> f64 {
        self.phase.sqrt().to_degrees()
    }

    /// The correlation coefficient of both parts, -1 to 1; `None` where one of them has no
    /// variance.
    #[must_use]
    pub fn correlation(&self) -> Option<f64> {
        let correlation = self.mixed / (self.amplitude.sqrt() * self.phase.sqrt());
        correlation.is_finite().then_some(correlation)
    }

    /// The matrix by rows: amplitude first, phase second.
    #[must_use]
    pub fn rows(&self) -> [[f64; 2]; 2] {
        [[self.amplitude, self.mixed], [self.mixed, self.phase]]
    }

    /// The covariance of the error multiplied by a factor.
    pub(super) fn turned(&self, factor: Complex64) -> Self {
        let (p, q) = (factor.re, factor.im);
        let Self { amplitude: a, phase: d, mixed: b } = *self;
        Self {
            amplitude: (p * p * a - 2.0 * p * q * b + q * q * d).max(0.0),
            phase: (q * q * a + 2.0 * p * q * b + p * p * d).max(0.0),
            mixed: p * q * (a - d) + (p * p - q * q) * b,
        }
    }

    /// The covariance of an error in one direction only.
    pub(super) fn of_one(variance: f64) -> Self {
        Self { amplitude: variance, phase: 0.0, mixed: 0.0 }
    }

    /// Adds an independent error of one standard deviation.
    pub(super) fn add(&mut self, error: Complex64) {
        self.amplitude += error.re * error.re;
        self.phase += error.im * error.im;
        self.mixed += error.re * error.im;
    }
}

/// Uncertainty of one point of a plan by the linear law of propagation.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PlanCovariance {
    /// Covariance of the error in the image sideband, the channel error.
    pub image: ErrorCovariance,
    /// Covariance of the error in the wanted sideband.
    pub wanted: ErrorCovariance,
}

impl PlanCovariance {
    /// Adds independent errors of one standard deviation.
    pub(super) fn add(&mut self, image: Complex64, wanted: Complex64) {
        self.image.add(image);
        self.wanted.add(wanted);
    }
}

/// Half of the change of a channel error from minus to plus one standard deviation; phases wrap.
pub(super) fn half_difference(plus: Complex64, minus: Complex64) -> Complex64 {
    let phase = crate::units::wrap_deg((plus.im - minus.im).to_degrees()).to_radians();
    Complex64::new(0.5 * (plus.re - minus.re), 0.5 * phase)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_covariance_is_refused() {
        for (amplitude, phase, mixed) in
            [(-1.0, 1.0, 0.0), (1.0, -1.0, 0.0), (1.0, 1.0, 1.1), (f64::NAN, 1.0, 0.0)]
        {
            assert!(ErrorCovariance::new(amplitude, phase, mixed).is_err());
        }
        assert!(ErrorCovariance::new(0.0, 0.0, 0.0).is_ok());
        // Fully correlated; 0.3 and 0.1 are not exact in binary.
        assert!(ErrorCovariance::new(0.3 * 0.3, 0.1 * 0.1, 0.3 * 0.1).is_ok());
    }
}
