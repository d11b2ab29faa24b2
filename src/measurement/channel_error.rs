//! A channel error that is known only so well, and what that makes of the rejection.
//!
//! The error is taken as normal in its two parts, imbalance and phase error; the rejection, which is
//! far from linear near balance, is then treated exactly: a rejection of at least L is the region
//! inside a closed curve around perfect balance, and the probability of it an integral over the
//! imbalance of a normal probability in the phase.

use crate::splitter::image_rejection_of_error_db;
use crate::units::{neper_from_db, power_from_db};
use num_complex::Complex64;
use statrs::function::erf::erfc;
use std::f64::consts::{PI, SQRT_2, TAU};
use std::sync::OnceLock;

/// A normal distribution of the channel error: real part in nepers, imaginary part in radians.
///
/// # Examples
/// ```
/// use fourphase::measurement::ChannelErrorDistribution;
///
/// // Perfectly balanced as far as 0.1 dB and 1 degree can tell: half of all such parts read
/// // below 41.4 dB.
/// let error = ChannelErrorDistribution::independent((0.0, 0.0), (0.1, 1.0));
/// assert!((error.rejection_quantile_db(0.5) - 41.438).abs() < 0.001);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelErrorDistribution {
    /// The best estimate.
    pub mean: Complex64,
    /// Variances on the diagonal, nepers and radians squared.
    pub covariance: [[f64; 2]; 2],
}

/// Rejections outside this range are taken for its ends.
const REJECTIONS_DB: (f64, f64) = (-200.0, 400.0);
/// A normal deviate farther out than this does not happen.
const FARTHEST: f64 = 9.0;
/// Standard deviations below this, nepers and radians, are taken for it: no measurement is as good, and
/// rounding would roughen what is narrower.
const SMALLEST_DEVIATION: f64 = 1e-8;

impl ChannelErrorDistribution {
    /// From an imbalance (dB) and a phase error (deg) and their standard uncertainties, independent of
    /// each other.
    #[must_use]
    pub fn independent(
        (imbalance_db, phase_deg): (f64, f64),
        (u_imbalance_db, u_phase_deg): (f64, f64),
    ) -> Self {
        let u = (neper_from_db(u_imbalance_db), u_phase_deg.to_radians());
        Self {
            mean: crate::splitter::channel_error(imbalance_db, phase_deg),
            covariance: [[u.0 * u.0, 0.0], [0.0, u.1 * u.1]],
        }
    }

    /// Of the waves at two outputs, whose ratio should be `ideal`, from the covariance of their real and
    /// imaginary parts (Re a, Im a, Re b, Im b): the multivariate law of propagation of JCGM 102:2011,
    /// 6.2. With eps = ln (b / a / ideal) the error is db/b - da/a.
    #[must_use]
    pub fn of_pair([a, b]: [Complex64; 2], ideal: Complex64, covariance: &[[f64; 4]; 4]) -> Self {
        let (to_a, to_b) = (-a.inv(), b.inv());
        // d Re eps and d Im eps by each of the four.
        let rows = [[to_a.re, -to_a.im, to_b.re, -to_b.im], [to_a.im, to_a.re, to_b.im, to_b.re]];
        let product = |one: usize, other: usize| -> f64 {
            let pairs = (0..4).flat_map(|i| (0..4).map(move |j| (i, j)));
            pairs.map(|(i, j)| rows[one][i] * covariance[i][j] * rows[other][j]).sum()
        };
        Self {
            mean: (b / a / ideal).ln(),
            covariance: [[product(0, 0), product(0, 1)], [product(1, 0), product(1, 1)]],
        }
    }

    /// The same around another estimate.
    #[must_use]
    pub fn around(self, mean: Complex64) -> Self {
        Self { mean, ..self }
    }

    /// The same around an estimate in the same direction that has another rejection.
    #[must_use]
    pub fn at_rejection(self, rejection_db: f64) -> Self {
        let size = self.mean.norm();
        let direction = if size > 0.0 { self.mean / size } else { Complex64::ONE };
        // |coth(e/2)|^2 for errors that are small against one; larger ones matter to nobody here.
        self.around(direction * 2.0 * power_from_db(-0.5 * rejection_db).min(0.999).atanh())
    }

    /// The probability that the rejection is at least so many dB.
    #[must_use]
    pub fn probability_of_rejection(&self, limit_db: f64) -> f64 {
        let ratio = power_from_db(-limit_db);
        let amplitude_u = self.covariance[0][0].max(0.0).sqrt().max(SMALLEST_DEVIATION);
        let slope = self.covariance[0][1] / (amplitude_u * amplitude_u);
        let conditional = self.covariance[1][1] - slope * self.covariance[0][1];
        let phase_u = conditional.max(0.0).sqrt().max(SMALLEST_DEVIATION);
        // sinh²(x/2) up to which the imbalance alone leaves the rejection.
        let largest =
            if ratio >= 1.0 { f64::INFINITY } else { 2.0 * (ratio / (1.0 - ratio)).sqrt().asinh() };
        let inside = |imbalance: f64| {
            let amplitude = (0.5 * imbalance).sinh().powi(2);
            let sine_squared = (ratio * (1.0 + amplitude) - amplitude) / (1.0 + ratio);
            if sine_squared < 0.0 {
                return 0.0;
            }
            let reach = 2.0 * sine_squared.min(1.0).sqrt().asin();
            let mean = self.mean.im + slope * (imbalance - self.mean.re);
            // Phases a whole turn apart are the same.
            let turns = [-TAU, 0.0, TAU].map(|turn| {
                normal_between((turn - reach - mean) / phase_u, (turn + reach - mean) / phase_u)
            });
            turns.iter().sum::<f64>().min(1.0)
        };
        let density = |imbalance: f64| {
            let deviate = (imbalance - self.mean.re) / amplitude_u;
            (-0.5 * deviate * deviate).exp() / (amplitude_u * TAU.sqrt())
        };
        let low = (self.mean.re - FARTHEST * amplitude_u).max(-largest);
        let high = (self.mean.re + FARTHEST * amplitude_u).min(largest);
        if low >= high {
            return 0.0;
        }
        // x = c + h sin t: near the ends of the region its width goes as a root, which sin t smooths.
        let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
        let integrand = |t: f64| {
            let imbalance = centre + half * t.sin();
            density(imbalance) * inside(imbalance) * half * t.cos()
        };
        integral(&integrand, (-0.5 * PI, 0.5 * PI)).clamp(0.0, 1.0)
    }

    /// The rejection that a part falls short of with this probability, dB.
    #[must_use]
    pub fn rejection_quantile_db(&self, probability: f64) -> f64 {
        root(REJECTIONS_DB, 1e-9, |limit_db| {
            1.0 - self.probability_of_rejection(limit_db) - probability
        })
    }

    /// The rejection of the best estimate, dB.
    #[must_use]
    pub fn rejection_db(&self) -> f64 {
        image_rejection_of_error_db(self.mean)
    }

    /// Whether the measurement cannot tell the part from a perfect one: a perfect part would read
    /// this badly more often than one time in 1 / (1 - `coverage`).
    #[must_use]
    pub fn may_be_perfect(&self, coverage: f64) -> bool {
        let perfect = self.around(Complex64::ZERO);
        let reading_db = self.rejection_db().min(REJECTIONS_DB.1);
        1.0 - perfect.probability_of_rejection(reading_db) >= 1.0 - coverage
    }

    /// The estimate's distance from balance in standard deviations, squared.
    fn distance_squared(&self) -> f64 {
        let [[a, b], [_, d]] = self.covariance;
        let (x, y) = (self.mean.re, self.mean.im);
        // Known without error in some direction: as good as.
        let floor = SMALLEST_DEVIATION * SMALLEST_DEVIATION;
        let determinant = (a * d - b * b).max(floor * (a + d + floor));
        (d * x * x - 2.0 * b * x * y + a * y * y) / determinant
    }

    /// The highest rejection that this measurement can tell from perfect, dB: of perfect parts all but
    /// the share 1 - `coverage` read above it.
    #[must_use]
    pub fn highest_distinguishable_db(&self, coverage: f64) -> f64 {
        self.around(Complex64::ZERO).rejection_quantile_db(1.0 - coverage)
    }

    /// An interval for the true rejection, dB: from the quantile that JCGM 101:2008 takes, to
    /// [`highest_truth_db`](Self::highest_truth_db) or the other quantile, whichever is higher. So it
    /// holds median and reading, and the truth at least as often as it says.
    #[must_use]
    pub fn interval_db(&self, coverage: f64) -> (f64, f64) {
        let tail = 0.5 * (1.0 - coverage);
        let high = self.rejection_quantile_db(1.0 - tail);
        (self.rejection_quantile_db(tail), high.max(self.highest_truth_db(coverage)))
    }

    /// The highest rejection that the part may truly have, dB; infinite where it may be perfect.
    ///
    /// Near balance the truth is nearly always better than the reading, and quantiles around the
    /// estimate would miss it too often. Here a truth in the estimate's direction counts until it would
    /// give a reading as bad as this too seldom; that share goes over smoothly from all of what
    /// lies outside the interval at perfect balance, where nothing can be better, to one half (the
    /// approach of J. Neyman, Phil. Trans. A 236 (1937) 333, from memory).
    #[must_use]
    pub fn highest_truth_db(&self, coverage: f64) -> f64 {
        let reading_db = self.rejection_db().min(REJECTIONS_DB.1);
        let size = self.mean.norm();
        let direction = if size > 0.0 { self.mean / size } else { Complex64::ONE };
        let deviation = (self.covariance[0][0] + self.covariance[1][1]).sqrt();
        if deviation <= SMALLEST_DEVIATION {
            return reading_db;
        }
        if self.may_be_perfect(coverage) {
            return f64::INFINITY;
        }
        // What is left of the tail: positive where the truth is within.
        let left = |distance: f64| {
            let truth = self.around(direction * distance);
            let worse = 1.0 - truth.probability_of_rejection(reading_db);
            // As far as the lower end, a quantile, comes to miss the truth as often as it should.
            let other = 0.5 * (1.0 - coverage) * -(-truth.distance_squared() / 40.0).exp_m1();
            worse - (1.0 - coverage - other)
        };
        image_rejection_of_error_db(direction * root((0.0, size.min(PI)), 1e-12, left))
    }

    /// The standard uncertainty of the rejection by the linear law of propagation (JCGM 100:2008, 5.1,
    /// with the correlation of 5.2), dB; infinite at perfect balance, where there is no derivative.
    #[must_use]
    pub fn linear_uncertainty_db(&self) -> f64 {
        if self.mean == Complex64::ZERO {
            return f64::INFINITY;
        }
        // d/de of 20 log10 |coth(e/2)| is -20/ln(10) 2/sinh(e)/2 in the complex plane.
        let derivative = -20.0 / std::f64::consts::LN_10 / self.mean.sinh();
        let (along, across) = (derivative.re, -derivative.im);
        let [[a, b], [_, d]] = self.covariance;
        (along * along * a + 2.0 * along * across * b + across * across * d).sqrt()
    }
}

/// The probability of a standard normal deviate between two numbers, without loss in the tails.
fn normal_between(low: f64, high: f64) -> f64 {
    if low > 0.0 {
        0.5 * (erfc(low / SQRT_2) - erfc(high / SQRT_2))
    } else if high < 0.0 {
        0.5 * (erfc(-high / SQRT_2) - erfc(-low / SQRT_2))
    } else {
        1.0 - 0.5 * (erfc(-low / SQRT_2) + erfc(high / SQRT_2))
    }
}

/// Where a monotonic function changes its sign, to within `precision`; the end nearer to it if it does
/// not. Halving and the Illinois rule in turns: the one is safe, the other fast.
fn root(range: (f64, f64), precision: f64, function: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = range;
    let (mut at_low, mut at_high) = (function(low), function(high));
    if at_low * at_high > 0.0 {
        return if at_low.abs() < at_high.abs() { low } else { high };
    }
    for step in 0..200 {
        if (high - low).abs() <= precision {
            break;
        }
        let middle = if step % 3 == 2 || at_low.total_cmp(&at_high).is_eq() {
            0.5 * (low + high)
        } else {
            low - at_low * (high - low) / (at_high - at_low)
        };
        let at_middle = function(middle);
        if at_middle == 0.0 {
            return middle;
        }
        if at_middle * at_high < 0.0 {
            (low, at_low) = (high, at_high);
        } else {
            at_low *= 0.5;
        }
        (high, at_high) = (middle, at_middle);
    }
    0.5 * (low + high)
}

/// A jump is found to this many halvings; noise of rounding must not be halved for ever.
const MOST_HALVINGS: u32 = 16;

/// Points of a rule, enough for any smooth piece.
const ORDER: usize = 16;

/// Nodes and weights of Gauss and Legendre, on -1 to 1.
fn rule() -> &'static [(f64, f64); ORDER] {
    static RULE: OnceLock<[(f64, f64); ORDER]> = OnceLock::new();
    RULE.get_or_init(|| {
        #[expect(clippy::cast_precision_loss, reason = "small numbers")]
        let (order, number) = (ORDER as f64, |at: usize| at as f64);
        std::array::from_fn(|at| {
            let mut x = (PI * (number(at) + 0.75) / (order + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..20 {
                let (mut before, mut value) = (1.0, x);
                for degree in 2..=ORDER {
                    let n = number(degree);
                    (before, value) =
                        (value, ((2.0 * n - 1.0) * x * value - (n - 1.0) * before) / n);
                }
                slope = order * (x * value - before) / (x * x - 1.0);
                x -= value / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
    })
}

/// The integral over a range, pieces halved until halving changes nothing.
fn integral(function: &impl Fn(f64) -> f64, range: (f64, f64)) -> f64 {
    let once = |(low, high): (f64, f64)| {
        let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
        half * rule().iter().map(|(x, weight)| weight * function(centre + half * x)).sum::<f64>()
    };
    // Begun with several pieces, lest a narrow peak be missed by all points.
    const FIRST: u32 = 4;
    let width = (range.1 - range.0) / f64::from(FIRST);
    let mut open: Vec<((f64, f64), f64, u32)> = (0..FIRST)
        .map(|at| {
            let low = range.0 + width * f64::from(at);
            let piece = (low, low + width);
            (piece, once(piece), 0)
        })
        .collect();
    let mut sum = 0.0;
    while let Some(((low, high), whole, depth)) = open.pop() {
        let middle = 0.5 * (low + high);
        let halves = [(low, middle), (middle, high)].map(|piece| (piece, once(piece)));
        let both = halves[0].1 + halves[1].1;
        if (both - whole).abs() <= 1e-13 + 1e-9 * both.abs() || depth == MOST_HALVINGS {
            sum += both;
        } else {
            open.extend(halves.map(|(piece, value)| (piece, value, depth + 1)));
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_integrates_polynomials() {
        for power in 0..2 * ORDER {
            let exponent = i32::try_from(power).unwrap_or_default();
            let sum: f64 = rule().iter().map(|(x, weight)| weight * x.powi(exponent)).sum();
            let want = if power % 2 == 0 { 2.0 / f64::from(exponent + 1) } else { 0.0 };
            assert!((sum - want).abs() < 1e-14, "{power} {sum} {want}");
        }
    }

    /// Everything on one line: the probability is that of one normal deviate.
    #[test]
    fn one_direction_alone_is_a_normal_probability() {
        let limit_db = 30.0;
        let reach = crate::splitter::allowed_phase_error_deg(limit_db, 0.0).unwrap_or(0.0);
        for (mean_deg, u_deg) in [(3.0, 0.5), (0.0, 2.0), (4.5, 0.7)] {
            let error = ChannelErrorDistribution::independent((0.0, mean_deg), (0.0, u_deg));
            let want = normal_between((-reach - mean_deg) / u_deg, (reach - mean_deg) / u_deg);
            assert!((error.probability_of_rejection(limit_db) - want).abs() < 1e-9);
        }
        let reach = crate::splitter::allowed_amplitude_imbalance_db(limit_db, 0.0).unwrap_or(0.0);
        let error = ChannelErrorDistribution::independent((0.4, 0.0), (0.1, 0.0));
        let want = normal_between((-reach - 0.4) / 0.1, (reach - 0.4) / 0.1);
        assert!((error.probability_of_rejection(limit_db) - want).abs() < 1e-9);
    }

    #[test]
    fn correlated_errors_turn_with_their_axes() {
        // The region of a high rejection is round; turning the ellipse and the estimate together by any
        // angle changes next to nothing.
        let (long, short) = (0.01_f64, 0.002_f64);
        let at = |angle: f64| {
            let (s, c) = angle.sin_cos();
            let (a, d) = (long * long, short * short);
            ChannelErrorDistribution {
                mean: Complex64::from_polar(0.008, angle + 0.4),
                covariance: [
                    [a * c * c + d * s * s, (a - d) * s * c],
                    [(a - d) * s * c, a * s * s + d * c * c],
                ],
            }
        };
        let straight = at(0.0).rejection_quantile_db(0.3);
        for angle in [0.3, 0.8, 1.57, 2.5] {
            assert!((at(angle).rejection_quantile_db(0.3) - straight).abs() < 1e-3, "{angle}");
        }
    }
}
