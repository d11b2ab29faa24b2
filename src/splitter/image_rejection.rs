//! Image rejection of a pair of channels from their imbalance, and the inverse.
//!
//! With ρ = (b / a) divided by its ideal and ε = ln ρ, the channel error,
//! IRR = |1 + ρ|² / |1 - ρ|² = |coth(ε / 2)|², exactly. The real part of ε is the amplitude
//! imbalance in nepers, its imaginary part the phase error in radians. The same ratio is the
//! common-mode rejection of an antiphase pair, with ideal -1.
//!
//! balance; here both sums are accurate through (1 - g)² + 4 g sin²(p / 2).
//! balance; here both sums keep theirs through (1 - g)² + 4 g sin²(p / 2).

use crate::units::{db_from_neper, neper_from_db};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Image rejection in dB from amplitude imbalance (dB) and phase error (deg).
///
/// Perfect balance gives `f64::INFINITY`; a number that is not finite gives NaN.
///
/// # Examples
/// ```
/// use fourphase::splitter::image_rejection_db;
///
/// assert!((image_rejection_db(0.5, 3.0) - 28.20).abs() < 0.005);
/// assert_eq!(image_rejection_db(0.0, 0.0), f64::INFINITY);
/// ```
#[must_use]
pub fn image_rejection_db(amplitude_imbalance_db: f64, phase_error_deg: f64) -> f64 {
    image_rejection_of_error_db(channel_error(amplitude_imbalance_db, phase_error_deg))
}

/// The channel error ε, nepers and radians, from amplitude imbalance (dB) and phase error (deg).
///
/// # Examples
/// ```
/// use fourphase::splitter::channel_error;
///
/// // 1 neper is 20 log10(e) = 8.686 dB.
/// let error = channel_error(8.685_889_638, 180.0);
/// assert!((error.re - 1.0).abs() < 1e-9 && (error.im - std::f64::consts::PI).abs() < 1e-12);
/// ```
#[must_use]
pub fn channel_error(amplitude_imbalance_db: f64, phase_error_deg: f64) -> Complex64 {
    Complex64::new(neper_from_db(amplitude_imbalance_db), phase_error_deg.to_radians())
}

/// Image rejection in dB of a channel error ε = ln ρ, in nepers and radians.
///
/// # Examples
/// ```
/// use fourphase::splitter::image_rejection_of_error_db;
/// use num_complex::Complex64;
///
/// // Small errors: 20 log10(2 / |ε|).
/// let rejection_db = image_rejection_of_error_db(Complex64::new(0.0, 0.002));
/// assert!((rejection_db - 60.0).abs() < 1e-4);
/// ```
#[must_use]
pub fn image_rejection_of_error_db(channel_error: Complex64) -> f64 {
    10.0 * rejection_ratio(channel_error).log10()
}

/// The power of the wanted sideband over that of the image.
fn rejection_ratio(channel_error: Complex64) -> f64 {
    // Divided by g, wanted and image become 4 (sinh²(x/2) + cos²(p/2)) and 4 (sinh²(x/2) + sin²(p/2)).
    let amplitude = (0.5 * channel_error.re).sinh().powi(2);
    let (sine, cosine) = (0.5 * channel_error.im).sin_cos();
    (amplitude + cosine * cosine) / (amplitude + sine * sine)
}

/// The minimum image rejection of several channel errors, dB; infinite without any.
///
/// Most of them are seen not to be the worst without functions: with u = (p² + x² (1 + x²/10)) / 4, for
/// |x| < 1 not less than sinh²(x/2) + sin²(p/2), the ratio of powers is 1/u - 1 at least.
pub(crate) fn worst_rejection_of_errors_db(channel_errors: &[Complex64]) -> f64 {
    /// More than rounding.
    const MARGIN: f64 = 1.0 + 1e-9;
    let mut worst = f64::INFINITY;
    for error in channel_errors {
        let amplitude = error.re * error.re;
        let bound = 0.25 * (error.im * error.im + amplitude * (1.0 + 0.1 * amplitude));
        if amplitude < 1.0 && (worst + 1.0) * bound * MARGIN <= 1.0 {
            continue;
        }
        worst = worst.min(rejection_ratio(*error));
    }
    10.0 * worst.log10()
}

/// The maximum phase error (deg, 0 to 180) with which an image rejection (dB) is met at an
/// amplitude imbalance (dB); `None` where the imbalance alone exceeds what the rejection allows.
///
/// # Examples
/// ```
/// use fourphase::splitter::allowed_phase_error_deg;
///
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

/// The maximum amplitude imbalance (dB) with which an image rejection (dB) is met at a phase error
/// (deg); `None` where the phase error alone exceeds what the rejection allows. A rejection of 0 dB
/// or less allows any imbalance, `f64::INFINITY`.
///
/// # Examples
/// ```
/// use fourphase::splitter::allowed_amplitude_imbalance_db;
///
/// assert!((allowed_amplitude_imbalance_db(30.0, 0.0).unwrap() - 0.549).abs() < 0.001);
/// assert_eq!(allowed_amplitude_imbalance_db(30.0, 4.0), None);
/// ```
#[must_use]
pub fn allowed_amplitude_imbalance_db(
    image_rejection_db: f64,
    phase_error_deg: f64,
) -> Option<f64> {
    let sine_squared = (0.5 * phase_error_deg.to_radians()).sin().powi(2);
    let inverse_ratio = inverse_power(image_rejection_db);
    let amplitude = amplitude_left(inverse_ratio, sine_squared);
    (amplitude >= 0.0).then(|| imbalance_db(amplitude))
}

/// The same relation solved for a = sinh²(x/2), from the image over the wanted power and
/// s = sin²(p/2): negative where s alone is too large, infinite where any imbalance is allowed.
fn amplitude_left(inverse_ratio: f64, sine_squared: f64) -> f64 {
    if inverse_ratio >= 1.0 {
        return f64::INFINITY;
    }
    (inverse_ratio * (1.0 - sine_squared) - sine_squared) / (1.0 - inverse_ratio)
}

/// Amplitude imbalance in dB from a = sinh²(x/2).
fn imbalance_db(amplitude: f64) -> f64 {
    db_from_neper(2.0 * amplitude.sqrt().asinh())
}

/// The amplitude imbalance (dB) that a rejection (dB) allows with perfect phase.
fn amplitude_reach_db(image_rejection_db: f64) -> f64 {
    imbalance_db(amplitude_left(inverse_power(image_rejection_db), 0.0))
}

/// The curve of constant image rejection (dB) in the plane of amplitude imbalance (dB) and phase
/// error (deg), with `points` steps around the origin; at least one.
///
/// The last point equals the first. Rejections of 0 dB or less have no closed curve; the result is
/// an empty list.
///
/// # Examples
/// ```
/// use fourphase::splitter::{contour, image_rejection_db};
///
/// for (imbalance_db, phase_deg) in contour(30.0, 36) {
///     assert!((image_rejection_db(imbalance_db, phase_deg) - 30.0).abs() < 1e-9);
/// }
/// ```
#[must_use]
pub fn contour(image_rejection_db: f64, points: usize) -> Vec<(f64, f64)> {
    let Some(largest_deg) =
        allowed_phase_error_deg(image_rejection_db, 0.0).filter(|_| image_rejection_db > 0.0)
    else {
        return Vec::new();
    };
    let steps = points.max(1);
    #[expect(clippy::cast_precision_loss, reason = "a curve has far fewer points than 2^53")]
    let angle = |at: usize| at as f64 / steps as f64 * TAU;
    let inverse_ratio = inverse_power(image_rejection_db);
    (0..=steps)
        .map(|at| {
            let phase_deg = largest_deg * angle(at).sin();
            let sine_squared = (0.5 * phase_deg.to_radians()).sin().powi(2);
            // At the maximum phase error the allowed amplitude is zero; rounding can make it
            // negative.
            let amplitude = amplitude_left(inverse_ratio, sine_squared).max(0.0);
            (imbalance_db(amplitude).copysign(angle(at).cos()), phase_deg)
        })
        .collect()
}

/// Curves of constant rejection for a plane of amplitude imbalance and phase error.
#[derive(Clone, Debug, PartialEq)]
pub struct ContourFamily {
    /// The maximum amplitude imbalance of the plane, of either sign, dB.
    pub reach_db: f64,
    /// The maximum phase error of the plane, of either sign, degrees; it degrades the rejection
    /// about as much.
    pub reach_deg: f64,
    /// Each rejection in dB with its curve, as [`contour`] gives it.
    pub curves: Vec<(f64, Vec<(f64, f64)>)>,
    /// The required rejection in dB with its curve, if one is required.
    pub required: Option<(f64, Vec<(f64, f64)>)>,
}

/// Rejections that a chart may label, dB.
const ROUND_REJECTIONS_DB: [f64; 12] =
    [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 80.0];
const CURVE_POINTS: usize = 360;
/// A phase error of 180 degrees degrades the rejection about as much as this imbalance.
const LARGEST_REACH_DB: f64 = 27.28;
/// The reach of a plane divided by the maximum value that it shows.
const ROOM: f64 = 1.25;

/// Curves for a plane that shows all of `errors`, which are channel errors in nepers and radians,
/// with the curve of the required rejection in dB.
///
/// # Examples
/// ```
/// use fourphase::splitter::{channel_error, contour_family};
///
/// let family = contour_family(&[channel_error(0.5, 3.0)], Some(30.0));
/// assert!(family.reach_db >= 0.549 && family.reach_deg >= 3.0);
/// assert!(!family.curves.is_empty());
/// ```
#[must_use]
pub fn contour_family(errors: &[Complex64], required_db: Option<f64>) -> ContourFamily {
    let largest = errors.iter().map(|error| error.re.abs().max(error.im.abs())).fold(0.0, f64::max);
    let shown_db = [Some(db_from_neper(largest)), required_db.map(amplitude_reach_db)];
    let needed_db =
        shown_db.into_iter().flatten().fold(0.0, f64::max).clamp(0.02, LARGEST_REACH_DB / ROOM);
    let reach_db = ROOM * needed_db;
    let labelled = ROUND_REJECTIONS_DB.into_iter().filter(|&db| {
        let reach = amplitude_reach_db(db);
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

/// The value 10^(-x/10).
fn inverse_power(value_db: f64) -> f64 {
    crate::units::power_from_db(-value_db)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_inverse_undoes_the_formula() {
        for target_db in [10.0, 20.0, 30.0, 45.0, 90.0] {
            // Near zero imbalance the inverse is a root of rounding errors.
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

    /// The same number as one after the other, whatever their sizes.
    #[test]
    fn the_worst_of_many_errors_is_found() {
        for size in [1e-9, 0.01, 0.3, 1.0, 3.0] {
            let errors: Vec<Complex64> = (0..2000_u32)
                .map(|at| {
                    let at = f64::from(at);
                    Complex64::new(size * (1.7 * at).sin(), size * (2.3 * at).cos())
                })
                .collect();
            let each = errors.iter().map(|&error| image_rejection_of_error_db(error));
            let worst = each.fold(f64::INFINITY, f64::min);
            assert_eq!(worst_rejection_of_errors_db(&errors).to_bits(), worst.to_bits());
        }
        assert!(worst_rejection_of_errors_db(&[Complex64::ZERO]).is_infinite());
    }
}
