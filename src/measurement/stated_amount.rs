//! Standard uncertainties of S-parameters, one value for each frequency.

use super::error::MeasurementError;
use crate::units::db_from_neper;

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
    /// Maximum of a relative uncertainty, dB: trials with a larger one leave every range of numbers.
    pub(crate) const MOST_DB: f64 = 12.0;

    /// The sentence for an amount that no calibrated measurement has: one in another unit, or a limit
    /// in place of a standard uncertainty.
    pub(crate) fn remark(&self) -> Option<String> {
        /// Above what is left after any calibration (ours).
        const USUAL_DB: f64 = 0.3;
        const USUAL_DEG: f64 = 2.5;
        const USUAL_LINEAR: f64 = 0.05;
        /// 1 dB and 6.6 degrees are errors of equal size; no measurement is farther from it (ours).
        const MOST_UNEQUAL: f64 = 20.0;
        /// Below the noise of phases of the best analysers (ours).
        const LEAST_DEG: f64 = 0.01;
        let (db, deg) = (db_from_neper(self.magnitude_np), self.phase_rad.to_degrees());
        let ratio = self.magnitude_np / self.phase_rad;
        let is_both = self.magnitude_np > 0.0 && self.phase_rad > 0.0;
        if is_both && !(1.0 / MOST_UNEQUAL..=MOST_UNEQUAL).contains(&ratio) {
            return Some(format!(
                "standard uncertainties of {db} dB and {deg} deg are not alike, since 0.05 dB is as \
                 large as 0.33 deg: are they exchanged, or one in another unit?"
            ));
        }
        let found = if db > USUAL_DB {
            format!("{db:.4} dB")
        } else if deg > USUAL_DEG {
            format!("{deg:.4} deg")
        } else if self.magnitude_linear > USUAL_LINEAR {
            format!("{:.4} in magnitude", self.magnitude_linear)
        } else if deg > 0.0 && deg < LEAST_DEG {
            return Some(format!(
                "a standard uncertainty of {deg} deg is below that of any analyser; if {deg} rad is \
                 meant, write {:.2}",
                deg.to_degrees()
            ));
        } else {
            return None;
        };
        Some(format!(
            "a standard uncertainty of {found} is above that of calibrated measurements (0.05 dB and \
             0.4 deg are usual); decisions follow it all the same"
        ))
    }

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
