//! The delay caused by a probe that is off its nominal position on a line.

use super::error::MeasurementError;
use crate::units::SPEED_OF_LIGHT_M_PER_S;
use std::f64::consts::TAU;

/// The standard uncertainty of a probe's position along a line of known effective permittivity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProbePlacement {
    um: f64,
    effective_permittivity: f64,
}

impl ProbePlacement {
    /// A standard uncertainty of position in micrometres, 0 or more; the effective permittivity is
    /// at least 1.
    ///
    /// # Errors
    /// [`MeasurementError::NotAnAmount`] and [`MeasurementError::NotAPermittivity`].
    ///
    /// # Examples
    /// ```
    /// use fourphase::measurement::ProbePlacement;
    ///
    /// // 11 um on a line with an effective permittivity of 7: 97 fs, or 1 degree at 29 GHz.
    /// let placement = ProbePlacement::new(11.0, 7.0)?;
    /// assert!((placement.phase_rad(29e9).to_degrees() - 1.01).abs() < 0.01);
    /// # Ok::<(), fourphase::measurement::MeasurementError>(())
    /// ```
    pub fn new(um: f64, effective_permittivity: f64) -> Result<Self, MeasurementError> {
        if !(um >= 0.0 && um.is_finite()) {
            return Err(MeasurementError::NotAnAmount { found: um });
        }
        if !(effective_permittivity >= 1.0 && effective_permittivity.is_finite()) {
            return Err(MeasurementError::NotAPermittivity { found: effective_permittivity });
        }
        Ok(Self { um, effective_permittivity })
    }

    /// The delay of a wave over that distance, seconds: distance times the root of the effective
    /// permittivity, divided by the speed of light.
    #[must_use]
    pub fn delay_s(&self) -> f64 {
        self.um * 1e-6 * self.effective_permittivity.sqrt() / SPEED_OF_LIGHT_M_PER_S
    }

    /// The phase of that delay at a frequency in Hz, radians.
    #[must_use]
    pub fn phase_rad(&self, frequency_hz: f64) -> f64 {
        TAU * frequency_hz * self.delay_s()
    }
}
