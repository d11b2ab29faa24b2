//! Standard uncertainties of S-parameters, one value for each frequency.

use super::error::MeasurementError;

/// Standard uncertainties of a complex number at one frequency; 0 where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct EntryAmount {
    /// Of the magnitude, relative, nepers.
    pub magnitude_np: f64,
    /// Of the magnitude, absolute, linear.
    pub magnitude_linear: f64,
    /// Of the phase, radians.
    pub phase_rad: f64,
}

/// Standard uncertainties of one pass through a port at one frequency; 0 where there is none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PassAmount {
    /// Of the magnitude, relative, nepers.
    pub magnitude_np: f64,
    /// Of the phase, radians.
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
