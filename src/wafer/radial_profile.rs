//! Values from a wafer's centre to its edge.

use crate::quantile::median;
use crate::units::neper_from_db;

/// A radius in millimetres with its value.
pub type RadialPoint = (f64, f64);

/// Number of rings, which have equal widths.
const RINGS: u32 = 8;

/// The median of the values in each of eight rings of equal width, at the mean radius of the ring's
/// points. Rings without points and points at the edge itself are omitted.
///
/// `points` may be in any order; `radius_mm` is the wafer's radius.
///
/// # Examples
/// ```
/// use fourphase::wafer::ring_medians;
///
/// // Two dies in the innermost ring, one in the outermost.
/// let medians = ring_medians(&[(2.0, 1.0), (4.0, 3.0), (72.0, 7.0)], 75.0);
/// assert_eq!(medians, [(3.0, 2.0), (72.0, 7.0)]);
/// ```
#[must_use]
pub fn ring_medians(points: &[RadialPoint], radius_mm: f64) -> Vec<RadialPoint> {
    let edge = |ring: u32| radius_mm * f64::from(ring) / f64::from(RINGS);
    (0..RINGS)
        .filter_map(|ring| {
            let within: Vec<RadialPoint> = points
                .iter()
                .copied()
                .filter(|point| (edge(ring)..edge(ring + 1)).contains(&point.0))
                .collect();
            let values = within.iter().map(|point| point.1).collect();
            #[expect(clippy::cast_precision_loss, reason = "counts of dies")]
            let mean = within.iter().map(|point| point.0).sum::<f64>() / within.len() as f64;
            Some((mean, median(values)?))
        })
        .collect()
}

/// The radial term of a trend from the centre to the edge: `level` at the centre, `level + radial`
/// at `radius_mm`, proportional to the square of the radius in between.
#[must_use]
pub fn radial_trend(level: f64, radial: f64, radius_mm: f64) -> Vec<RadialPoint> {
    const POINTS: u32 = 60;
    (0..=POINTS)
        .map(|at| {
            let share = f64::from(at) / f64::from(POINTS);
            (share * radius_mm, level + radial * share * share)
        })
        .collect()
}

/// A part of the channel error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ErrorPart {
    /// Amplitude imbalance, dB.
    Amplitude,
    /// Phase error, degrees.
    Phase,
}

/// The part of the channel error whose residuals degrade the rejection more: a neper counts as much
/// as a radian. `amplitude_db` and `phase_deg` are residuals of the same dies; the result is the
/// amplitude if there are none.
#[must_use]
pub fn larger_residuals(amplitude_db: &[f64], phase_deg: &[f64]) -> ErrorPart {
    let power = |values: &[f64]| values.iter().map(|value| value * value).sum::<f64>();
    let degrees_of_db = neper_from_db(1.0).to_degrees();
    if power(amplitude_db) * degrees_of_db.powi(2) >= power(phase_deg) {
        ErrorPart::Amplitude
    } else {
        ErrorPart::Phase
    }
}
