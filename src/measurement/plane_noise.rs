//! Normal noise in a plane, and what a measurement of one value in it says about the truth.
//!
//! A value is a complex number whose magnitude, its size, must be small: an I/Q channel error in the
//! plane in which contours of constant rejection are circles, or an imbalance, which has one direction
//! only. A truth is refuted where it would give a reading as good (or as bad) as this one too rarely.
//!
//! Two things are unknown beside the size of the truth.
//! - Its direction: truths that the reading excludes by their direction alone do not count (R. L.
//!   Berger, D. D. Boos, J. Am. Stat. Assoc. 89 (1994) 1012, from memory), a hundredth of the allowed
//!   risk is spent on that.
//! - Near zero a lucky reading would refute every truth, the perfect one included. The probability is
//!   therefore divided by that of a perfect part (A. L. Read, J. Phys. G 28 (2002) 2693, from memory).

use super::error_covariance::ErrorCovariance;
use super::normal::normal_between;
use super::quadrature::smooth_integral;
use super::root::root;
use num_complex::Complex64;
use std::f64::consts::FRAC_PI_2;

/// Normal deviates beyond this are left out.
const MAX_DEVIATE: f64 = 8.5;
/// Below this ratio of both standard deviations noise has one direction only.
const ONE_DIRECTION: f64 = 1e-3;
/// From this ratio on it is taken as the same in all directions.
const ROUND: f64 = 0.97;
/// The share of the risk that is spent on excluding directions.
const RISK_OF_DIRECTIONS: f64 = 0.01;

/// Normal noise of mean 0 in a plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PlaneNoise {
    /// Standard deviation along `axis`, the larger one.
    long: f64,
    /// Standard deviation across it.
    short: f64,
    /// Of length 1.
    axis: Complex64,
}

impl PlaneNoise {
    pub(super) fn new(covariance: &ErrorCovariance) -> Self {
        let [[a, b], [_, d]] = covariance.rows();
        let (mean, half) = (0.5 * (a + d), (0.5 * (a - d)).hypot(b));
        let angle = 0.5 * (2.0 * b).atan2(a - d);
        let (long, short) = ((mean + half).max(0.0).sqrt(), (mean - half).max(0.0).sqrt());
        let short = if short < ONE_DIRECTION * long { 0.0 } else { short };
        Self { long, short, axis: Complex64::cis(angle) }
    }

    /// The larger standard deviation.
    pub(super) fn long(&self) -> f64 {
        self.long
    }

    fn is_exact(&self) -> bool {
        self.long < 1e-12
    }

    /// The standard deviation in a direction of length 1.
    pub(super) fn along(&self, direction: Complex64) -> f64 {
        let turned = direction * self.axis.conj();
        (self.long * turned.re).hypot(self.short * turned.im)
    }

    /// The distance of a difference from 0 in standard deviations, squared.
    fn distance_squared(&self, difference: Complex64) -> f64 {
        let turned = difference * self.axis.conj();
        let short = self.short.max(ONE_DIRECTION * self.long);
        (turned.re / self.long).powi(2) + (turned.im / short).powi(2)
    }

    /// The probability that a truth reads at most `size`.
    pub(super) fn within(&self, size: f64, truth: Complex64) -> f64 {
        let (across, along) = {
            let turned = truth * self.axis.conj();
            (turned.im, turned.re)
        };
        let inside = |x: f64| {
            let reach = (size * size - x * x).max(0.0).sqrt();
            normal_between((-reach - along) / self.long, (reach - along) / self.long)
        };
        if self.is_exact() {
            return f64::from(u8::from(truth.norm() <= size));
        }
        if self.short == 0.0 {
            return if across.abs() > size { 0.0 } else { inside(across) };
        }
        let low = (across - MAX_DEVIATE * self.short).max(-size);
        let high = (across + MAX_DEVIATE * self.short).min(size);
        if low >= high {
            return 0.0;
        }
        // x = c + h sin t: near the ends of the circle the reach goes as a root, which sin t smooths.
        let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
        let integrand = |t: f64| {
            let x = centre + half * t.sin();
            let deviate = (x - across) / self.short;
            (-0.5 * deviate * deviate).exp() * inside(x) * t.cos()
        };
        let scale = half / (self.short * std::f64::consts::TAU.sqrt());
        (scale * smooth_integral(integrand, (-FRAC_PI_2, FRAC_PI_2), 3)).clamp(0.0, 1.0)
    }
}

/// A reading in a plane with its noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PlaneReading {
    value: Complex64,
    noise: PlaneNoise,
}

/// Directions that truths of one size may have.
pub(super) struct Directions {
    /// That of the reading.
    own: Complex64,
    /// The one that has the most noise among those that the reading leaves.
    noisiest: Option<Complex64>,
}

impl Directions {
    pub(super) fn each(&self) -> impl Iterator<Item = Complex64> {
        std::iter::once(self.own).chain(self.noisiest)
    }

    pub(super) fn own(&self) -> Complex64 {
        self.own
    }

    pub(super) fn noisiest(&self) -> Complex64 {
        self.noisiest.unwrap_or(self.own)
    }
}

impl PlaneReading {
    pub(super) fn new(value: Complex64, covariance: &ErrorCovariance) -> Self {
        Self { value, noise: PlaneNoise::new(covariance) }
    }

    pub(super) fn size(&self) -> f64 {
        self.value.norm()
    }

    pub(super) fn value(&self) -> Complex64 {
        self.value
    }

    pub(super) fn noise(&self) -> &PlaneNoise {
        &self.noise
    }

    /// The same noise around a reading that is larger by a factor.
    pub(super) fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, ..self }
    }

    /// The same noise around a reading of this size, in the direction of the most noise.
    pub(super) fn of_size(self, size: f64) -> Self {
        Self { value: self.noise.axis * size, ..self }
    }

    fn direction(&self) -> Complex64 {
        let size = self.size();
        if size > 0.0 { self.value / size } else { self.noise.axis }
    }

    /// The directions of truths of a size for tests of this risk; `None` where the reading excludes
    /// them all.
    pub(super) fn directions(&self, size: f64, risk: f64) -> Option<Directions> {
        let own = self.direction();
        let noise = &self.noise;
        if noise.short >= ROUND * noise.long || size <= 0.0 {
            return Some(Directions { own, noisiest: None });
        }
        let limit = -2.0 * (RISK_OF_DIRECTIONS * risk).ln();
        let is_left =
            |direction: &Complex64| noise.distance_squared(self.value - direction * size) <= limit;
        // Those that differ from the reading along the axis alone, and a fan.
        let across = (self.value * noise.axis.conj()).im.clamp(-size, size);
        let along = (size * size - across * across).max(0.0).sqrt();
        let exact =
            [1.0, -1.0].map(|sign| noise.axis * Complex64::new(sign * along, across) / size);
        let fan = (0..36).map(|at| Complex64::cis(f64::from(at) * 10_f64.to_radians()));
        let left = fan.chain(exact).chain([own]).filter(is_left);
        let noisiest = left.max_by(|a, b| noise.along(*a).total_cmp(&noise.along(*b)))?;
        let own = if is_left(&own) { own } else { noisiest };
        Some(Directions { own, noisiest: Some(noisiest) })
    }

    /// The largest probability with which truths of a size read as well as this, in relation to that of
    /// a perfect part.
    pub(super) fn reads_as_well(&self, size: f64, risk: f64) -> f64 {
        if self.size() > size {
            return 1.0;
        }
        if self.noise.is_exact() {
            return 0.0;
        }
        let Some(directions) = self.directions(size, risk) else { return 0.0 };
        // Below this reading the relation changes no more.
        let reading = self.size().max(0.02 * self.noise.long);
        let perfect = self.noise.within(reading, Complex64::ZERO);
        let truths = directions
            .each()
            .map(|direction| (self.noise.within(reading, direction * size) / perfect).min(1.0));
        truths.fold(0.0, f64::max)
    }

    /// The largest probability with which truths of a size, or better ones, read as badly as this.
    pub(super) fn reads_as_badly(&self, size: f64, risk: f64) -> f64 {
        if self.size() <= size {
            return 1.0;
        }
        if self.noise.is_exact() {
            return 0.0;
        }
        let Some(directions) = self.directions(size, risk) else { return 0.0 };
        let truths = directions
            .each()
            .map(|direction| 1.0 - self.noise.within(self.size(), direction * size));
        truths.fold(0.0, f64::max)
    }

    /// The largest size of a truth that is not refuted at this risk.
    pub(super) fn largest_truth(&self, risk: f64) -> f64 {
        let (low, noise) = (self.size(), self.noise.long);
        if self.noise.is_exact() {
            return low;
        }
        root((low, low + 7.0 * noise), 1e-7 * (low + noise), |size| {
            self.reads_as_well(size, risk) - allowed(risk)
        })
    }

    /// The smallest size of a truth that is not refuted; the risk may depend on the truth's size in
    /// standard deviations.
    pub(super) fn smallest_truth(&self, risk: impl Fn(f64) -> f64) -> f64 {
        let high = self.size();
        if self.noise.is_exact() {
            return high;
        }
        let excess = |size: f64| {
            let risk = risk(size / self.noise.long);
            self.reads_as_badly(size, risk) - allowed(risk)
        };
        if excess(0.0) >= 0.0 { 0.0 } else { root((0.0, high), 1e-7 * high, excess) }
    }
}

/// What is left of a risk when directions have been excluded.
pub(super) fn allowed(risk: f64) -> f64 {
    (1.0 - RISK_OF_DIRECTIONS) * risk
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measurement::ChannelErrorDistribution;
    use crate::units::power_from_db;

    /// Against the adaptive integral of the exact map, for errors small enough that both planes agree.
    #[test]
    fn probabilities_agree_with_the_adaptive_integral() {
        for (mean, u) in [
            ((0.3, 2.0), (0.1, 1.0)),
            ((0.0, 0.1), (0.05, 0.4)),
            ((-0.2, 0.0), (0.01, 0.3)),
            ((0.1, -1.0), (0.1, 0.0)),
        ] {
            let error = ChannelErrorDistribution::independent(mean, u).unwrap();
            let noise = PlaneNoise::new(&error.covariance());
            for limit_db in [25.0, 30.0, 35.0, 40.0] {
                let want = error.probability_of_rejection(limit_db);
                let size = 2.0 * power_from_db(-limit_db).sqrt();
                // The planes differ by the square of the error over 12, below 1e-3 of it here.
                let got = noise.within(size, error.mean());
                assert!((got - want).abs() < 5e-3, "{mean:?} {u:?} {limit_db}: {got} {want}");
            }
        }
    }

    /// Far from zero the limits are 1.645 standard deviations away; at zero the largest truth is that
    /// of Rayleigh's distribution, and the smallest is zero.
    #[test]
    fn limits_far_from_zero_and_at_zero() {
        let covariance = ErrorCovariance::new(1e-4, 1e-4, 0.0).unwrap();
        let far = PlaneReading::new(Complex64::new(3.0, 4.0), &covariance);
        // A hundredth of the risk is spent: 1.649; the curvature is u/10 of u.
        assert!((far.largest_truth(0.05) - 5.01649).abs() < 2e-4, "{}", far.largest_truth(0.05));
        assert!((far.smallest_truth(|_| 0.05) - 4.98351).abs() < 2e-4);
        let at_zero = PlaneReading::new(Complex64::ZERO, &covariance);
        let want = 0.01 * (-2.0 * allowed(0.05).ln()).sqrt();
        assert!(
            (at_zero.largest_truth(0.05) - want).abs() < 1e-5,
            "{}",
            at_zero.largest_truth(0.05)
        );
        assert!(at_zero.smallest_truth(|_| 0.05) == 0.0);
    }

    /// What is known well counts as known well: a reading of 1 along the exact direction.
    #[test]
    fn a_direction_that_is_excluded_does_not_count() {
        let covariance = ErrorCovariance::new(1e-8, 1e-4, 0.0).unwrap();
        let reading = PlaneReading::new(Complex64::new(0.1, 0.0), &covariance);
        // Across the reading 0.03 at most is left, which adds 0.03² / 0.2.
        assert!(reading.largest_truth(0.05) < 0.106, "{}", reading.largest_truth(0.05));
        assert!(reading.smallest_truth(|_| 0.05) > 0.09);
    }
}
