//! Image rejection of a pair of channels from their imbalance, and the inverse.
//!
//! With ρ = (b / a) divided by its ideal and ε = ln ρ, the channel error,
//! IRR = |1 + ρ|² / |1 - ρ|² = |coth(ε / 2)|², exactly. The real part of ε is the amplitude
//! imbalance in nepers, its imaginary part the phase error in radians. The same ratio is the
//! common-mode rejection of an antiphase pair, with ideal -1.
//!
//! Written as (1 + 2 g cos p + g²) / (1 - 2 g cos p + g²) the formula loses all digits near
//! balance; here both sums keep theirs through (1 - g)² + 4 g sin²(p / 2).

use crate::units::{db_from_neper, neper_from_db};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Image rejection in dB from amplitude imbalance (dB) and phase error (deg).
///
/// Perfect balance gives `f64::INFINITY`.
///
/// ```
/// use fourphase::splitter::image_rejection_db;
/// assert!((image_rejection_db(0.5, 3.0) - 28.20).abs() < 0.005);
/// assert_eq!(image_rejection_db(0.0, 0.0), f64::INFINITY);
/// ```
#[must_use]
pub fn image_rejection_db(amplitude_imbalance_db: f64, phase_error_deg: f64) -> f64 {
    image_rejection_of_error_db(channel_error(amplitude_imbalance_db, phase_error_deg))
}

/// The channel error ε: nepers and radians from dB and degrees.
#[must_use]
pub fn channel_error(amplitude_imbalance_db: f64, phase_error_deg: f64) -> Complex64 {
    Complex64::new(neper_from_db(amplitude_imbalance_db), phase_error_deg.to_radians())
}

/// Image rejection in dB of a channel error ε = ln ρ.
#[must_use]
pub fn image_rejection_of_error_db(channel_error: Complex64) -> f64 {
    // Divided by g, wanted and image become 4 (sinh²(x/2) + cos²(p/2)) and 4 (sinh²(x/2) + sin²(p/2)).
    let amplitude = (0.5 * channel_error.re).sinh().powi(2);
    let (sine, cosine) = (0.5 * channel_error.im).sin_cos();
    10.0 * ((amplitude + cosine * cosine) / (amplitude + sine * sine)).log10()
}

/// The largest phase error (deg, 0 to 180) that still gives a rejection at an amplitude imbalance.
///
/// `None` where the imbalance alone spoils the rejection.
///
/// ```
/// use fourphase::splitter::allowed_phase_error_deg;
/// assert!((allowed_phase_error_deg(30.0, 0.0).unwrap() - 3.62).abs() < 0.005);
/// assert_eq!(allowed_phase_error_deg(30.0, 0.6), None);
/// ```
#[must_use]
pub fn allowed_phase_error_deg(
    image_rejection_db: f64,
    amplitude_imbalance_db: f64,
) -> Option<f64> {
    let inverse_ratio = inverse_power(image_rejection_db);
    let amplitude = (0.5 * neper_from_db(amplitude_imbalance_db)).sinh().powi(2);
    // (a + 1 - s) / (a + s) = ratio, solved for s = sin²(p/2).
    let sine_squared = (inverse_ratio * (1.0 + amplitude) - amplitude) / (1.0 + inverse_ratio);
    (sine_squared >= 0.0).then(|| 2.0 * sine_squared.min(1.0).sqrt().asin().to_degrees())
}

/// The largest amplitude imbalance (dB) that still gives a rejection at a phase error.
///
/// `None` where the phase error alone spoils the rejection.
#[must_use]
pub fn allowed_amplitude_imbalance_db(
    image_rejection_db: f64,
    phase_error_deg: f64,
) -> Option<f64> {
    let inverse_ratio = inverse_power(image_rejection_db);
    let sine_squared = (0.5 * phase_error_deg.to_radians()).sin().powi(2);
    // The same relation solved for a = sinh²(x/2). Below 0 dB any imbalance will do.
    if inverse_ratio >= 1.0 {
        return Some(f64::INFINITY);
    }
    let amplitude = (inverse_ratio * (1.0 - sine_squared) - sine_squared) / (1.0 - inverse_ratio);
    (amplitude >= 0.0).then(|| db_from_neper(2.0 * amplitude.sqrt().asinh()))
}

/// The curve of constant rejection in the plane of amplitude imbalance (dB) and phase error (deg).
///
/// The first point comes again at the end. Rejections of 0 dB and below have no closed curve and
/// give none.
#[must_use]
pub fn contour(image_rejection_db: f64, points: usize) -> Vec<(f64, f64)> {
    let Some(largest_deg) =
        allowed_phase_error_deg(image_rejection_db, 0.0).filter(|_| image_rejection_db > 0.0)
    else {
        return Vec::new();
    };
    #[expect(clippy::cast_precision_loss, reason = "a curve has far fewer points than 2^53")]
    let angle = |at: usize| at as f64 / points.max(1) as f64 * TAU;
    (0..=points)
        .map(|at| {
            let phase_deg = largest_deg * angle(at).sin();
            // At the very top rounding may leave nothing for the amplitude.
            let imbalance_db =
                allowed_amplitude_imbalance_db(image_rejection_db, phase_deg).unwrap_or(0.0);
            (imbalance_db.copysign(angle(at).cos()), phase_deg)
        })
        .collect()
}

/// Curves of constant rejection that suit a plane, each with its rejection in dB.
#[derive(Clone, Debug, PartialEq)]
pub struct ContourFamily {
    /// The plane reaches from minus to plus this amplitude imbalance, dB.
    pub reach_db: f64,
    /// And from minus to plus this phase error, degrees, which costs about the same.
    pub reach_deg: f64,
    /// Rejection and curve.
    pub curves: Vec<(f64, Vec<(f64, f64)>)>,
    /// The curve of the required rejection, if there is one.
    pub required: Option<(f64, Vec<(f64, f64)>)>,
}

/// Rejections that a chart may label, dB.
const ROUND_REJECTIONS_DB: [f64; 12] =
    [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 80.0];
const CURVE_POINTS: usize = 360;
/// A phase error of 180 degrees costs about as much.
const LARGEST_REACH_DB: f64 = 27.28;
/// How much further than needed a plane reaches.
const ROOM: f64 = 1.25;

/// Contours for a plane that shows all of `errors` (channel errors) and the required curve.
#[must_use]
pub fn contour_family(errors: &[Complex64], required_db: Option<f64>) -> ContourFamily {
    let largest = errors.iter().map(|error| error.re.abs().max(error.im.abs())).fold(0.0, f64::max);
    let required_reach =
        required_db.and_then(|db| allowed_amplitude_imbalance_db(db, 0.0)).unwrap_or(0.0);
    let needed_db = db_from_neper(largest).max(required_reach).clamp(0.02, LARGEST_REACH_DB / ROOM);
    let reach_db = ROOM * needed_db;
    let labelled = ROUND_REJECTIONS_DB.into_iter().filter(|&db| {
        let reach = allowed_amplitude_imbalance_db(db, 0.0).unwrap_or(0.0);
        let is_required = required_db.is_some_and(|required| (required - db).abs() < 1e-9);
        reach > 0.1 * reach_db && reach < 1.3 * reach_db && !is_required
    });
    ContourFamily {
        reach_db,
        reach_deg: neper_from_db(reach_db).to_degrees(),
        curves: labelled.map(|db| (db, contour(db, CURVE_POINTS))).collect(),
        required: required_db.map(|db| (db, contour(db, CURVE_POINTS))),
    }
}

/// 10^(-x/10).
fn inverse_power(value_db: f64) -> f64 {
    crate::units::power_from_db(-value_db)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_inverse_undoes_the_formula() {
        for target_db in [10.0, 20.0, 30.0, 45.0, 90.0] {
            // Towards no imbalance at all the way back takes a root of rounding errors.
            for share in [0.1, 0.3, 0.9] {
                let imbalance_db = share * allowed_amplitude_imbalance_db(target_db, 0.0).unwrap();
                let phase_deg = allowed_phase_error_deg(target_db, imbalance_db).unwrap();
                assert!((image_rejection_db(imbalance_db, phase_deg) - target_db).abs() < 1e-9);
                let back_db = allowed_amplitude_imbalance_db(target_db, phase_deg).unwrap();
                assert!((back_db - imbalance_db).abs() < 1e-9, "{target_db} {share}");
            }
        }
    }

    #[test]
    fn contours_have_the_rejection_they_are_named_for() {
        for target_db in [10.0, 25.0, 40.0] {
            for (imbalance_db, phase_deg) in contour(target_db, 90) {
                assert!((image_rejection_db(imbalance_db, phase_deg) - target_db).abs() < 1e-9);
            }
        }
        assert!(contour(0.0, 90).is_empty());
    }

    #[test]
    fn tiny_errors_keep_their_digits() {
        // 4 / |ε|² to first order; at 1e-9 rad the next term is 1e-18 of it.
        let got = image_rejection_of_error_db(Complex64::new(0.0, 1e-9));
        assert!((got - 10.0 * (4e18_f64).log10()).abs() < 1e-12);
    }
}
