//! Standard uncertainties of S-parameters, one value for each frequency.

use super::error::MeasurementError;

/// Standard uncertainties of a complex number at one frequency; 0 if there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct EntryAmount {
    /// Relative uncertainty of the magnitude, nepers.
    pub magnitude_np: f64,
    /// Absolute uncertainty of the magnitude, linear.
    pub magnitude_linear: f64,
    /// Uncertainty of the phase, radians.
    pub phase_rad: f64,
}

/// Standard uncertainties of one pass through a port at one frequency; 0 if there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PassAmount {
    /// Relative uncertainty of the magnitude, nepers.
    pub magnitude_np: f64,
    /// Uncertainty of the phase, radians.
    pub phase_rad: f64,
}

impl EntryAmount {
    pub(crate) fn check(&self) -> Result<(), MeasurementError> {
        check([self.magnitude_np, self.magnitude_linear, self.phase_rad])
    }
}

impl PassAmount {
    pub(super) fn check(&self) -> Result<(), MeasurementError> {
        check([self.magnitude_np, self.phase_rad])
    }
}

fn check(amounts: impl IntoIterator<Item = f64>) -> Result<(), MeasurementError> {
    match amounts.into_iter().find(|amount| !(*amount >= 0.0 && amount.is_finite())) {
        Some(found) => Err(MeasurementError::NotAnAmount { found }),
        None => Ok(()),
    }
}
