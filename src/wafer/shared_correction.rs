//! Corrections of Q that answers to further questions count on: of each wafer and of each die.

use super::die::DiePoint;
use num_complex::Complex64;

/// A correction of Q as it is set: absolute, in place of the one that the receiver has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DieCorrection {
    /// Gain of Q, dB.
    pub amplitude_db: f64,
    /// Phase, degrees.
    pub phase_deg: f64,
}

/// The corrections of a wafer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WaferCorrections {
    /// One for all; `None` where no die of the wafer counts.
    pub all: Option<DieCorrection>,
    /// One for each frequency or LO, Hz.
    pub by_frequency: Vec<(f64, DieCorrection)>,
}

/// The corrections of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct LotCorrections {
    /// Where they act: as in a description of a receiver.
    pub acts_on: &'static str,
    /// In the order of the wafers.
    pub wafers: Vec<WaferCorrections>,
    /// In the order of the rows; `None` for rows that do not count.
    pub dies: Vec<Option<DieCorrection>>,
}

/// What a correction does at a point, which depends on what is measured.
pub(crate) trait CorrectionModel {
    /// Where corrections act.
    fn acts_on(&self) -> &'static str;
    /// The correction that cancels a channel error, nepers and radians.
    fn against(&self, error: Complex64) -> DieCorrection;
    /// The best one for all points of a die.
    fn best(&self, points: &[DiePoint]) -> DieCorrection;
    /// The rejection of a point with it, dB.
    fn corrected_db(&self, point: &DiePoint, correction: DieCorrection) -> f64;
}
