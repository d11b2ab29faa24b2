//! The errors that an image rejection allows: the phase error at an amplitude imbalance, and the
//! reverse.

use super::image_rejection::{
    ContourFamily, allowed_amplitude_imbalance_db, allowed_phase_error_deg, contour_family,
};

/// Number of rows of a table without a given value.
const ROWS: u32 = 10;

/// The errors with which an image rejection is met.
#[derive(Clone, Debug, PartialEq)]
pub struct ToleranceResult {
    /// The required rejection, dB.
    pub image_rejection_db: f64,
    /// The phase error allowed with perfect amplitude, degrees.
    pub phase_error_alone_deg: Option<f64>,
    /// The amplitude imbalance allowed with perfect phase, dB.
    pub amplitude_imbalance_alone_db: Option<f64>,
    /// The phase error allowed at each amplitude imbalance.
    pub allowed_phase_error: Vec<AllowedPhaseError>,
    /// The amplitude imbalance allowed at each phase error.
    pub allowed_amplitude_imbalance: Vec<AllowedAmplitudeImbalance>,
}

/// The phase error that is allowed at an amplitude imbalance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AllowedPhaseError {
    /// The given imbalance, dB.
    pub amplitude_imbalance_db: f64,
    /// The allowed phase error, degrees; `None` where the imbalance alone exceeds the tolerance.
    pub phase_error_deg: Option<f64>,
}

/// The amplitude imbalance that is allowed at a phase error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AllowedAmplitudeImbalance {
    /// The given phase error, degrees.
    pub phase_error_deg: f64,
    /// The allowed imbalance, dB; `None` where the phase error alone exceeds the tolerance.
    pub amplitude_imbalance_db: Option<f64>,
}

impl ToleranceResult {
    /// Curves of constant rejection, including the required one.
    #[must_use]
    pub fn contours(&self) -> ContourFamily {
        contour_family(&[], Some(self.image_rejection_db))
    }
}

/// The errors with which an image rejection, dB, is met.
///
/// With an amplitude imbalance (dB) or a phase error (deg) given, only the other error at that value
/// is found; with neither, both tables run from 0 to what is allowed alone.
///
/// # Examples
/// ```
/// use fourphase::splitter::tolerance;
///
/// // 30 dB with perfect amplitude: 3.62 degrees.
/// let allowed = tolerance(30.0, None, None);
/// assert!((allowed.phase_error_alone_deg.unwrap() - 3.6225).abs() < 1e-3);
/// assert_eq!(allowed.allowed_phase_error.len(), 10);
/// ```
#[must_use]
pub fn tolerance(
    image_rejection_db: f64,
    amplitude_imbalance_db: Option<f64>,
    phase_error_deg: Option<f64>,
) -> ToleranceResult {
    let phase_alone = allowed_phase_error_deg(image_rejection_db, 0.0);
    let amplitude_alone = allowed_amplitude_imbalance_db(image_rejection_db, 0.0);
    let has_given = amplitude_imbalance_db.is_some() || phase_error_deg.is_some();
    let values = |given: Option<f64>, alone: Option<f64>| -> Vec<f64> {
        match (given, alone) {
            (Some(value), _) => vec![value],
            (None, Some(largest)) if !has_given => {
                (0..ROWS).map(|row| largest * f64::from(row) / f64::from(ROWS)).collect()
            }
            (None, _) => Vec::new(),
        }
    };
    let allowed_phase_error = values(amplitude_imbalance_db, amplitude_alone).into_iter();
    let allowed_amplitude_imbalance = values(phase_error_deg, phase_alone).into_iter();
    ToleranceResult {
        image_rejection_db,
        phase_error_alone_deg: phase_alone,
        amplitude_imbalance_alone_db: amplitude_alone,
        allowed_phase_error: allowed_phase_error
            .map(|amplitude_imbalance_db| AllowedPhaseError {
                amplitude_imbalance_db,
                phase_error_deg: allowed_phase_error_deg(
                    image_rejection_db,
                    amplitude_imbalance_db,
                ),
            })
            .collect(),
        allowed_amplitude_imbalance: allowed_amplitude_imbalance
            .map(|phase_error_deg| AllowedAmplitudeImbalance {
                phase_error_deg,
                amplitude_imbalance_db: allowed_amplitude_imbalance_db(
                    image_rejection_db,
                    phase_error_deg,
                ),
            })
            .collect(),
    }
}
