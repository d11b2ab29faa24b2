//! I/Q corrections for further questions: of each wafer and of each die.

use super::die::DiePoint;
use num_complex::Complex64;

/// An I/Q correction as it is set: it replaces the correction of the receiver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DieCorrection {
    /// Gain of Q, dB.
    pub amplitude_db: f64,
    /// Phase of Q, degrees.
    pub phase_deg: f64,
}

/// The corrections of a wafer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WaferCorrections {
    /// One correction for all frequencies; `None` if no die of the wafer counts.
    pub all: Option<DieCorrection>,
    /// One correction for each frequency or LO, Hz.
    pub by_frequency: Vec<(f64, DieCorrection)>,
}

/// The corrections of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct LotCorrections {
    /// The point where they act: the value of `acts_on` in a description of a receiver.
    pub acts_on: &'static str,
    /// One per wafer, in order.
    pub wafers: Vec<WaferCorrections>,
    /// One per row, in order; `None` for rows that do not count.
    pub dies: Vec<Option<DieCorrection>>,
}

/// The effect of a correction at a point, which depends on the kind of dies.
pub(crate) trait CorrectionModel {
    /// The point where corrections act.
    fn acts_on(&self) -> &'static str;
    /// The correction that cancels a channel error, nepers and radians.
    fn against(&self, error: Complex64) -> DieCorrection;
    /// The best correction for all points of a die.
    fn best(&self, points: &[DiePoint]) -> DieCorrection;
    /// The rejection of a point with a correction, dB.
    fn corrected_db(&self, point: &DiePoint, correction: DieCorrection) -> f64;
    /// The channel error of the wanted sideband with a correction; `None` if imbalance and phase error are
    /// limited ahead of the correction.
    fn corrected_error(&self, point: &DiePoint, correction: DieCorrection) -> Option<Complex64>;
}
