//! Normal noise in a plane, and the evidence of a reading of one value in it about the truth.
//!
//! A value is a complex number whose magnitude, its size, must be small: an I/Q channel error in
//! the plane in which contours of constant rejection are circles, or an imbalance, which has one
//! direction only. A truth is refuted if a reading as good (or as bad) as this one is too rare for
//! it.
//!
//! A reading is compared with truths of one size by its distance from the circle of that size in
//! standard deviations, so that a direction of small noise counts as such. After scaling to equal
//! noise in all directions the curve is replaced by the circle that touches it at the nearest point
//! with the same curvature; this is exact for noise that is equal in all directions. Near zero a
//! fortunate reading would refute every truth, including the perfect one; the probability is
//! therefore divided by that of a perfect part (A. L. Read, J. Phys. G 28 (2002) 2693, from
//! memory).

use super::error_covariance::ErrorCovariance;
use super::normal::{normal_between, normal_deviate};
use super::quadrature::smooth_integral;
use super::root::root;
use num_complex::Complex64;
use std::f64::consts::FRAC_PI_2;

/// Normal deviates beyond this are neglected.
const MAX_DEVIATE: f64 = 8.5;
/// Below this ratio of both standard deviations the noise has one direction only.
const ONE_DIRECTION: f64 = 1e-3;
/// From this ratio on the noise is treated as equal in all directions.
const ROUND: f64 = 0.97;
/// The share of the risk used for excluding points that cannot be the worst.
const RISK_OF_REACH: f64 = 0.01;
/// A boundary of larger radius is treated as straight.
const MAX_RADIUS: f64 = 1e4;

/// Normal noise of mean 0 in a plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PlaneNoise {
    /// Standard deviation along `axis`, the larger of both.
    long: f64,
    /// Standard deviation perpendicular to the axis.
    short: f64,
    /// Direction of the larger standard deviation, a complex number of magnitude 1.
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

    /// The larger of both standard deviations.
    pub(super) fn long(&self) -> f64 {
        self.long
    }

    fn is_exact(&self) -> bool {
        self.long < 1e-12
    }

    /// A difference in standard deviations, along the axis and perpendicular to it.
    pub(super) fn in_deviations(&self, difference: Complex64) -> Complex64 {
        let turned = difference * self.axis.conj();
        let across = if self.short > 0.0 { turned.im / self.short } else { 0.0 };
        Complex64::new(turned.re / self.long, across)
    }

    /// The probability that the reading of a truth is at most `size`.
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
        // x = c + h sin t: near the ends of the circle the width varies as a square root, which sin
        // t makes smooth.
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

/// Truths of one size relative to a reading, in standard deviations: a circle that touches them at
/// the nearest point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Boundary {
    /// The distance of the reading beyond the boundary; negative inside.
    pub(super) beyond: f64,
    /// The radius of the circle.
    pub(super) radius: f64,
    /// Direction from the circle's centre to the nearest truth, magnitude 1.
    pub(super) outwards: Complex64,
    /// Whether the noise has one direction only.
    is_line: bool,
}

impl Boundary {
    /// The probability that the reading of a truth at this distance from the centre is within a
    /// distance of it.
    fn within(&self, reading: f64, truth: f64) -> f64 {
        if self.is_line {
            return normal_between(-reading - truth, reading - truth);
        }
        let unit = PlaneNoise { long: 1.0, short: 1.0, axis: Complex64::ONE };
        unit.within(reading, truth.into())
    }

    /// The probability that a truth inside the boundary by `inside` gives a reading beyond it by
    /// `beyond`.
    pub(super) fn reads_beyond(&self, beyond: f64, inside: f64) -> f64 {
        1.0 - self.within(self.radius + beyond, self.radius - inside)
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

    /// The reading multiplied by a factor, with unchanged noise.
    pub(super) fn scaled(self, factor: f64) -> Self {
        Self { value: self.value * factor, ..self }
    }

    /// A reading of this size with unchanged noise, in the direction of the most noise.
    pub(super) fn of_size(self, size: f64) -> Self {
        Self { value: self.noise.axis * size, ..self }
    }

    /// The boundary of truths of a size relative to this reading. `None` where the noise has one
    /// direction only and no truth of the size could have caused the reading, which is then beyond
    /// them.
    pub(super) fn boundary(&self, size: f64) -> Option<Boundary> {
        let PlaneNoise { long, short, axis } = self.noise;
        let turned = self.value * axis.conj();
        if short == 0.0 {
            let reach = size * size - turned.im * turned.im;
            let radius = if reach >= 0.0 { reach.sqrt() / long } else { return None };
            let along = turned.re / long;
            let outwards = Complex64::from(if along < 0.0 { -1.0 } else { 1.0 });
            return Some(Boundary {
                beyond: along.abs() - radius,
                radius,
                outwards,
                is_line: true,
            });
        }
        if short >= ROUND * long || size <= 0.0 {
            let own = self.noise.in_deviations(self.value);
            let (distance, radius) = match size > 0.0 {
                true => (self.size() / long, size / long),
                false => (own.norm(), 0.0),
            };
            let outwards = if own.norm() > 0.0 { own / own.norm() } else { Complex64::ONE };
            return Some(Boundary { beyond: distance - radius, radius, outwards, is_line: false });
        }
        Some(self.nearest_of_ellipse(size))
    }

    /// In standard deviations a circle becomes an ellipse.
    fn nearest_of_ellipse(&self, size: f64) -> Boundary {
        let own = self.noise.in_deviations(self.value);
        let (x, y) = (own.re.abs(), own.im.abs());
        let (a, b) = (size / self.noise.long, size / self.noise.short);
        let at = |angle: f64| Complex64::new(a * angle.cos(), b * angle.sin());
        let distance = |angle: f64| (at(angle) - Complex64::new(x, y)).norm();
        let step = FRAC_PI_2 / 12.0;
        let angles = (0..=12).map(|number| step * f64::from(number));
        let best = angles.min_by(|one, other| distance(*one).total_cmp(&distance(*other)));
        let best = best.unwrap_or_default();
        let (mut low, mut high) = ((best - step).max(0.0), (best + step).min(FRAC_PI_2));
        for _ in 0..24 {
            let third = (high - low) / 3.0;
            if distance(low + third) < distance(high - third) {
                high -= third;
            } else {
                low += third;
            }
        }
        let angle = 0.5 * (low + high);
        let (sine, cosine) = angle.sin_cos();
        let slope = (a * sine).hypot(b * cosine);
        let radius = (slope.powi(3) / (a * b)).min(MAX_RADIUS);
        let normal = Complex64::new(b * cosine, a * sine) / slope;
        let signs = [own.re, own.im].map(|part| if part < 0.0 { -1.0 } else { 1.0 });
        let outwards = Complex64::new(signs[0] * normal.re, signs[1] * normal.im);
        let is_beyond = self.size() > size;
        let distance = distance(angle);
        let beyond = if is_beyond { distance } else { -distance.min(radius) };
        Boundary { beyond, radius, outwards, is_line: false }
    }

    /// The probability of a reading as good as this for truths of a size, relative to that of a
    /// perfect part.
    pub(super) fn reads_as_well(&self, size: f64) -> f64 {
        if self.size() > size {
            return 1.0;
        }
        if self.noise.is_exact() {
            return 0.0;
        }
        let Some(boundary) = self.boundary(size) else { return 1.0 };
        // Nearer to the centre the ratio no longer changes.
        let reading = (boundary.radius + boundary.beyond).max(0.02);
        let perfect = boundary.within(reading, 0.0);
        (boundary.within(reading, boundary.radius) / perfect).min(1.0)
    }

    /// The probability of a reading as bad as this for truths of a size, or better ones.
    pub(super) fn reads_as_badly(&self, size: f64) -> f64 {
        if self.size() <= size {
            return 1.0;
        }
        if self.noise.is_exact() {
            return 0.0;
        }
        self.boundary(size).map_or(0.0, |boundary| boundary.reads_beyond(boundary.beyond, 0.0))
    }

    /// The maximum size of a truth that is not refuted at this risk.
    pub(super) fn largest_truth(&self, risk: f64) -> f64 {
        let (low, noise) = (self.size(), self.noise.long);
        if self.noise.is_exact() {
            return low;
        }
        root((low, low + 7.0 * noise), 1e-7 * (low + noise), |size| {
            self.reads_as_well(size) - allowed(risk)
        })
    }

    /// The minimum size of a truth that is not refuted; the risk may depend on the truth's size in
    /// standard deviations.
    pub(super) fn smallest_truth(&self, risk: impl Fn(f64) -> f64) -> f64 {
        let high = self.size();
        if self.noise.is_exact() {
            return high;
        }
        let excess = |size: f64| self.reads_as_badly(size) - allowed(risk(size / self.noise.long));
        if excess(0.0) >= 0.0 { 0.0 } else { root((0.0, high), 1e-7 * high, excess) }
    }
}

/// The maximum distance of truths from their reading in standard deviations, for one of `points`
/// points.
pub(super) fn reach(risk: f64, points: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "points of a plan")]
    let own = RISK_OF_REACH * risk / points.max(1) as f64;
    normal_deviate(1.0 - own)
}

/// The risk that remains after the exclusion of points that cannot be the worst.
pub(super) fn allowed(risk: f64) -> f64 {
    (1.0 - RISK_OF_REACH) * risk
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measurement::ChannelErrorDistribution;
    use crate::units::power_from_db;

    /// Comparison with the adaptive integral of the exact map, for errors small enough that both
    /// planes agree.
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

    /// Far from zero the limits are 1.645 standard deviations away; at zero the maximum truth is
    /// that of Rayleigh's distribution, and the minimum is zero.
    #[test]
    fn limits_far_from_zero_and_at_zero() {
        let covariance = ErrorCovariance::new(1e-4, 1e-4, 0.0).unwrap();
        let far = PlaneReading::new(Complex64::new(3.0, 4.0), &covariance);
        // A hundredth of the risk is used for the exclusion: 1.649; the curvature is u/1000 of u.
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

    /// A direction of small noise counts as such: a reading of 1 along the exact direction.
    #[test]
    fn a_direction_that_is_excluded_does_not_count() {
        let covariance = ErrorCovariance::new(1e-8, 1e-4, 0.0).unwrap();
        let reading = PlaneReading::new(Complex64::new(0.1, 0.0), &covariance);
        // Perpendicular to the reading at most 0.03 remains, which adds 0.03² / 0.2.
        assert!(reading.largest_truth(0.05) < 0.106, "{}", reading.largest_truth(0.05));
        assert!(reading.smallest_truth(|_| 0.05) > 0.09);
    }
}
