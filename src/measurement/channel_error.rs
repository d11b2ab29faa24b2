//! An I/Q channel error with its uncertainty, and the resulting distribution of the image
//! rejection.
//!
//! The error has a normal distribution in its two parts, imbalance and phase error. The rejection
//! is far from linear near balance and is computed exactly: a rejection of at least L is the region
//! inside a closed curve around perfect balance, and its probability is an integral over the
//! imbalance of a normal probability in the phase.

use super::error::MeasurementError;
use super::error_covariance::ErrorCovariance;
use super::normal::normal_between;
use super::plane_noise::PlaneReading;
use super::quadrature::integral;
use super::root::root_between;
use crate::splitter::image_rejection_of_error_db;
use crate::units::{db_from_amplitude, neper_from_db, power_from_db};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// A normal distribution of the channel error: real part in nepers, imaginary part in radians. Its
/// mean, the best estimate, is finite.
///
/// # Examples
/// ```
/// use fourphase::measurement::ChannelErrorDistribution;
///
/// // A best estimate of perfect balance with standard uncertainties of 0.1 dB and 1 degree: half of
/// // all repeated measurements give less than 41.4 dB.
/// let error = ChannelErrorDistribution::independent((0.0, 0.0), (0.1, 1.0))?;
/// assert!((error.rejection_quantile_db(0.5) - 41.438).abs() < 0.001);
/// // And 95 % of them give more than 34.7 dB.
/// assert!((error.probability_of_rejection(34.666) - 0.95).abs() < 1e-4);
/// # Ok::<(), fourphase::measurement::MeasurementError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelErrorDistribution {
    mean: Complex64,
    covariance: ErrorCovariance,
}

/// Rejections outside this range are set to its ends.
const REJECTIONS_DB: (f64, f64) = (-200.0, 400.0);
/// Normal deviates beyond this have a probability below 1e-18 and are neglected.
const MAX_DEVIATE: f64 = 9.0;
/// Smaller standard deviations, nepers and radians, are set to this value: no measurement reaches
/// them, and narrower densities would be lost in rounding.
const MIN_DEVIATION: f64 = 1e-8;
/// The relative precision of probabilities in the search for a quantile, which gives the quantile
/// to 1e-5 of its standard deviation.
const SEARCH_PRECISION: f64 = 1e-5;

/// The risk with which a reading may be as bad as the measured one, for a truth at a distance in
/// standard deviations, so that an interval has this coverage. Far from balance its lower end
/// excludes half of 1 - `coverage`; it never excludes perfect balance.
pub(super) fn interval_risk(coverage: f64) -> impl Fn(f64) -> f64 {
    move |deviations| {
        let below = 0.5 * (1.0 - coverage) * -(-deviations * deviations / 40.0).exp_m1();
        1.0 - coverage - below
    }
}

impl ChannelErrorDistribution {
    /// A distribution from a best estimate (nepers and radians) and its covariance.
    ///
    /// # Errors
    /// [`MeasurementError::NotAnEstimate`] unless both parts of the estimate are finite.
    pub fn new(mean: Complex64, covariance: ErrorCovariance) -> Result<Self, MeasurementError> {
        if mean.is_finite() {
            Ok(Self { mean, covariance })
        } else {
            Err(MeasurementError::NotAnEstimate { found: mean })
        }
    }

    /// A distribution from an imbalance (dB), a phase error (deg) and their standard uncertainties,
    /// which are independent.
    ///
    /// # Errors
    /// As [`new`](Self::new) and [`ErrorCovariance::new`], for numbers that are not finite.
    pub fn independent(
        (imbalance_db, phase_deg): (f64, f64),
        (u_imbalance_db, u_phase_deg): (f64, f64),
    ) -> Result<Self, MeasurementError> {
        let u = (neper_from_db(u_imbalance_db), u_phase_deg.to_radians());
        let covariance = ErrorCovariance::new(u.0 * u.0, u.1 * u.1, 0.0)?;
        Self::new(crate::splitter::channel_error(imbalance_db, phase_deg), covariance)
    }

    /// The distribution for the waves at two outputs a and b with the ideal ratio b/a = `ideal`,
    /// from the covariance of their real and imaginary parts (Re a, Im a, Re b, Im b). With ε =
    /// ln(b / a / ideal) the error is dε = db/b - da/a: the multivariate law of propagation of JCGM
    /// 102:2011, 6.2.
    ///
    /// # Errors
    /// [`MeasurementError::NotAnEstimate`] where a wave or the ideal ratio is 0, and
    /// [`MeasurementError::NotACovariance`].
    pub fn of_pair(
        [a, b]: [Complex64; 2],
        ideal: Complex64,
        covariance: &[[f64; 4]; 4],
    ) -> Result<Self, MeasurementError> {
        let (to_a, to_b) = (-a.inv(), b.inv());
        // The derivatives of Re ε and Im ε by each of the four parts.
        let rows = [[to_a.re, -to_a.im, to_b.re, -to_b.im], [to_a.im, to_a.re, to_b.im, to_b.re]];
        let product = |one: usize, other: usize| -> f64 {
            let pairs = (0..4).flat_map(|i| (0..4).map(move |j| (i, j)));
            pairs.map(|(i, j)| rows[one][i] * covariance[i][j] * rows[other][j]).sum()
        };
        let mean = (b / a / ideal).ln();
        if !mean.is_finite() {
            return Err(MeasurementError::NotAnEstimate { found: mean });
        }
        Self::new(mean, ErrorCovariance::new(product(0, 0), product(1, 1), product(0, 1))?)
    }

    /// The distribution of the channel error of a solved receiver or splitter. Both channels carry
    /// a signal, so the error is finite.
    pub(super) fn of_solved(mean: Complex64, covariance: ErrorCovariance) -> Self {
        Self { mean, covariance }
    }

    /// The best estimate, nepers and radians.
    #[must_use]
    pub fn mean(&self) -> Complex64 {
        self.mean
    }

    /// The covariance of the estimate.
    #[must_use]
    pub fn covariance(&self) -> ErrorCovariance {
        self.covariance
    }

    /// The distribution with this covariance around another estimate.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn around(self, mean: Complex64) -> Result<Self, MeasurementError> {
        Self::new(mean, self.covariance)
    }

    /// The distribution around another, finite estimate.
    fn moved(self, mean: Complex64) -> Self {
        Self { mean, ..self }
    }

    /// The probability that the rejection is at least `limit_db`.
    #[must_use]
    pub fn probability_of_rejection(&self, limit_db: f64) -> f64 {
        self.probability_to(1e-9, limit_db)
    }

    /// The probability to a relative precision, for searches that evaluate it often.
    fn probability_to(&self, precision: f64, limit_db: f64) -> f64 {
        let ratio = power_from_db(-limit_db);
        let covariance = &self.covariance;
        let amplitude_u = covariance.amplitude_variance().sqrt().max(MIN_DEVIATION);
        let slope = covariance.covariance() / (amplitude_u * amplitude_u);
        let conditional = covariance.phase_variance() - slope * covariance.covariance();
        let phase_u = conditional.max(0.0).sqrt().max(MIN_DEVIATION);
        // Beyond this imbalance the rejection is below the limit at every phase or, for a limit below
        // 0 dB, above it at every phase.
        let edge = match 1.0 - ratio {
            missing if missing > 0.0 => 2.0 * (ratio / missing).sqrt().asinh(),
            missing if missing < 0.0 => 2.0 * (-1.0 / missing).sqrt().asinh(),
            _ => f64::INFINITY,
        };
        let inside = |imbalance: f64| {
            // sinh² of a large imbalance is infinite; at a ratio of 1 the imbalance has no effect.
            let amplitude = match ratio - 1.0 {
                0.0 => 0.0,
                excess => excess * (0.5 * imbalance).sinh().powi(2),
            };
            let sine_squared = (ratio + amplitude) / (1.0 + ratio);
            if sine_squared < 0.0 {
                return 0.0;
            }
            let reach = 2.0 * sine_squared.min(1.0).sqrt().asin();
            let mean = self.mean.im + slope * (imbalance - self.mean.re);
            // Phases a whole turn apart are equal.
            let turns = [-TAU, 0.0, TAU].map(|turn| {
                normal_between((turn - reach - mean) / phase_u, (turn + reach - mean) / phase_u)
            });
            turns.iter().sum::<f64>().min(1.0)
        };
        let density = |imbalance: f64| {
            let deviate = (imbalance - self.mean.re) / amplitude_u;
            (-0.5 * deviate * deviate).exp() / (amplitude_u * TAU.sqrt())
        };
        let low = (self.mean.re - MAX_DEVIATE * amplitude_u).max(-edge);
        let high = (self.mean.re + MAX_DEVIATE * amplitude_u).min(edge);
        let has_all_outside = ratio > 1.0;
        if low >= high {
            return f64::from(u8::from(has_all_outside));
        }
        // x = c + h sin t: near the ends of the region its width varies as a square root, which sin
        // t makes smooth.
        let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
        let integrand = |t: f64| {
            let imbalance = centre + half * t.sin();
            let inside = inside(imbalance);
            let counted = if has_all_outside { 1.0 - inside } else { inside };
            density(imbalance) * counted * half * t.cos()
        };
        // Deviates are differences; if the estimate is large against them, they have its rounding
        // errors.
        let size = self.mean.re.abs().max(self.mean.im.abs()).max(1.0);
        let rounding = 8.0 * f64::EPSILON * size / amplitude_u.min(phase_u);
        let sum = integral(&integrand, (-0.5 * PI, 0.5 * PI), rounding.max(precision));
        (if has_all_outside { 1.0 - sum } else { sum }).clamp(0.0, 1.0)
    }

    /// The rejection that a part does not reach with this probability (0 to 1), dB; from -200 to
    /// 400.
    #[must_use]
    pub fn rejection_quantile_db(&self, probability: f64) -> f64 {
        let excess =
            |limit_db: f64| 1.0 - self.probability_to(SEARCH_PRECISION, limit_db) - probability;
        let (lowest_db, highest_db) = REJECTIONS_DB;
        // The search moves away from the estimate in growing steps until the probability is passed.
        let start_db = self.rejection_db().clamp(lowest_db, highest_db);
        let mut near = (start_db, excess(start_db));
        let is_above = near.1 < 0.0;
        let step_db = self.linear_uncertainty_db();
        let mut step_db = if step_db.is_finite() { step_db.clamp(0.01, 10.0) } else { 10.0 };
        loop {
            let signed_db = if is_above { step_db } else { -step_db };
            let next_db = (near.0 + signed_db).clamp(lowest_db, highest_db);
            let next = (next_db, excess(next_db));
            let is_at_end = next_db <= lowest_db || next_db >= highest_db;
            if is_at_end || (next.1 < 0.0) != is_above {
                return root_between(near, next, 1e-7, excess);
            }
            near = next;
            step_db *= 2.0;
        }
    }

    /// The rejection of the best estimate, dB.
    #[must_use]
    pub fn rejection_db(&self) -> f64 {
        image_rejection_of_error_db(self.mean)
    }

    /// Whether the part may be perfect: a perfect part would give a reading as low as this one, or
    /// lower, with a probability of at least 1 - `coverage`.
    #[must_use]
    pub fn may_be_perfect(&self, coverage: f64) -> bool {
        self.highest_truth_db(coverage).is_infinite()
    }

    /// The highest distinguishable rejection, dB: the reading of a perfect part exceeds it with the
    /// probability `coverage`.
    #[must_use]
    pub fn highest_distinguishable_db(&self, coverage: f64) -> f64 {
        self.moved(Complex64::ZERO).rejection_quantile_db(1.0 - coverage)
    }

    /// A coverage interval for the true rejection, dB: every rejection that this reading does not
    /// refute. A truth is refuted if readings as good as this, or as bad, are too rare: far from
    /// balance rarer than half of 1 - `coverage` on either side; for perfect balance, whose
    /// readings cannot be too good, rarer than 1 - `coverage` (the approach of J. Neyman, Phil.
    /// Trans. A 236 (1937) 333, from memory). The interval contains the reading, and it contains
    /// the true value with a probability of about `coverage` or more.
    #[must_use]
    pub fn interval_db(&self, coverage: f64) -> (f64, f64) {
        let largest = self.plane_reading().largest_truth(0.5 * (1.0 - coverage));
        (-db_from_amplitude(0.5 * largest), self.highest_truth_db(coverage))
    }

    /// The highest rejection that this reading does not refute, dB; infinite where the part may be
    /// perfect. See [`interval_db`](Self::interval_db).
    #[must_use]
    pub fn highest_truth_db(&self, coverage: f64) -> f64 {
        let smallest = self.plane_reading().smallest_truth(interval_risk(coverage));
        -db_from_amplitude(0.5 * smallest)
    }

    /// The error in the plane in which contours of constant rejection are circles: 2 tanh(ε/2).
    pub(super) fn plane_reading(&self) -> PlaneReading {
        let (value, factor) = self.in_plane();
        PlaneReading::new(value, &self.covariance.turned(factor))
    }

    /// The value 2 tanh(ε/2) and its derivative.
    pub(super) fn in_plane(&self) -> (Complex64, Complex64) {
        let half = (0.5 * self.mean).tanh();
        // Where the wanted sideband vanishes the rejection has no lower limit.
        let half = if half.is_finite() { half } else { Complex64::from(1e3) };
        (2.0 * half, 1.0 - half * half)
    }

    /// The standard uncertainty of the rejection by the linear law of propagation (JCGM 100:2008, 5.1,
    /// with the correlation of 5.2), dB; infinite at perfect balance, where there is no derivative.
    #[must_use]
    pub fn linear_uncertainty_db(&self) -> f64 {
        if self.mean == Complex64::ZERO {
            return f64::INFINITY;
        }
        // The derivative of 20 log10 |coth(e/2)| is -20/ln(10)/sinh(e) in the complex plane.
        let derivative = -20.0 / std::f64::consts::LN_10 / self.mean.sinh();
        let (along, across) = (derivative.re, -derivative.im);
        let [[a, b], [_, d]] = self.covariance.rows();
        (along * along * a + 2.0 * along * across * b + across * across * d).sqrt()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// With all errors on one line the probability is that of one normal deviate.
    #[test]
    fn one_direction_alone_is_a_normal_probability() {
        let limit_db = 30.0;
        let reach = crate::splitter::allowed_phase_error_deg(limit_db, 0.0).unwrap();
        for (mean_deg, u_deg) in [(3.0, 0.5), (0.0, 2.0), (4.5, 0.7)] {
            let error =
                ChannelErrorDistribution::independent((0.0, mean_deg), (0.0, u_deg)).unwrap();
            let want = normal_between((-reach - mean_deg) / u_deg, (reach - mean_deg) / u_deg);
            assert!((error.probability_of_rejection(limit_db) - want).abs() < 1e-9);
        }
        let reach = crate::splitter::allowed_amplitude_imbalance_db(limit_db, 0.0).unwrap();
        let error = ChannelErrorDistribution::independent((0.4, 0.0), (0.1, 0.0)).unwrap();
        let want = normal_between((-reach - 0.4) / 0.1, (reach - 0.4) / 0.1);
        assert!((error.probability_of_rejection(limit_db) - want).abs() < 1e-9);
    }

    #[test]
    fn correlated_errors_turn_with_their_axes() {
        // The region of a high rejection is nearly a circle; a rotation of the ellipse together
        // with the estimate changes almost nothing.
        let (long, short) = (0.01_f64, 0.002_f64);
        let at = |angle: f64| {
            let (s, c) = angle.sin_cos();
            let (a, d) = (long * long, short * short);
            let turned =
                ErrorCovariance::new(a * c * c + d * s * s, a * s * s + d * c * c, (a - d) * s * c);
            let mean = Complex64::from_polar(0.008, angle + 0.4);
            ChannelErrorDistribution::new(mean, turned.unwrap()).unwrap()
        };
        let straight = at(0.0).rejection_quantile_db(0.3);
        for angle in [0.3, 0.8, 1.57, 2.5] {
            assert!((at(angle).rejection_quantile_db(0.3) - straight).abs() < 1e-3, "{angle}");
        }
    }
}
