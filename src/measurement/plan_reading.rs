//! The evidence of a measurement of many points about the worst of them.
//!
//! Decisions and intervals use one test: a true worst value is refuted if a reading as good (or as
//! bad) as this one is too rare for it.
//! - The maximum true error is at most the maximum of the pointwise upper limits: the point that is
//!   truly worst is below its own limit often enough, independent of the correlation between
//!   points.
//! - It is at least the maximum of simultaneous lower limits. Every point is set to the assumed
//!   worst value, or to the largest value that its own reading permits. Draws of the joint noise
//!   then show how often the largest excess of a reading, in standard deviations, reaches the
//!   measured one.
//!
//! This is the intersection-union and the union-intersection principle (R. L. Berger, Technometrics 24
//! (1982) 295; S. N. Roy, Ann. Math. Stat. 24 (1953) 220; both from memory).

use super::error_covariance::ErrorCovariance;
use super::plane_noise::{Boundary, PlaneNoise, PlaneReading, allowed, reach};
use super::root::root;
use crate::units::{amplitude_from_db, db_from_amplitude};
use num_complex::Complex64;
use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};
use std::sync::OnceLock;

/// The measure of a point's error.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Scale {
    /// A rejection in dB, with the ratio of the wanted to the image sideband's gain of each point,
    /// dB.
    Rejection(Vec<f64>),
    /// A magnitude, with its units per neper or radian.
    Magnitude(f64),
    /// A level with a minimum, of one point: its distance from [`HIGHEST_LEVEL`].
    Level,
    /// A level with a maximum, of one point: its distance from minus [`HIGHEST_LEVEL`].
    Ceiling,
}

/// A level in dB or dBm that none exceeds: it represents a truth without error.
const HIGHEST_LEVEL: f64 = 1e3;

/// A level with its standard uncertainty.
pub(super) fn level_reading(level_dbm: f64, u_db: f64) -> PlanReading<NoDraws> {
    let value = Complex64::from(HIGHEST_LEVEL - level_dbm.max(-HIGHEST_LEVEL));
    let point = PlaneReading::new(value, &ErrorCovariance::of_one(u_db * u_db));
    PlanReading::new(vec![point], Scale::Level, NoDraws)
}

/// A level with a maximum, with its standard uncertainty.
pub(super) fn ceiling_reading(level_db: f64, u_db: f64) -> PlanReading<NoDraws> {
    let value = Complex64::from(HIGHEST_LEVEL + level_db.clamp(-HIGHEST_LEVEL, HIGHEST_LEVEL));
    let point = PlaneReading::new(value, &ErrorCovariance::of_one(u_db * u_db));
    PlanReading::new(vec![point], Scale::Ceiling, NoDraws)
}

/// Rejections outside this range are set to its ends, dB.
const REJECTIONS_DB: (f64, f64) = (-60.0, 400.0);

/// The size of an error in the plane in which contours of the rejection are circles.
pub(super) fn size_of_rejection(rejection_db: f64) -> f64 {
    2.0 * amplitude_from_db(-rejection_db.clamp(REJECTIONS_DB.0, REJECTIONS_DB.1))
}

impl Scale {
    /// The size of the error at a point with this value.
    pub(super) fn size(&self, point: usize, value: f64) -> f64 {
        match self {
            Self::Rejection(_) if value == f64::INFINITY => 0.0,
            Self::Rejection(gains_db) => size_of_rejection(value - gains_db[point]),
            Self::Magnitude(unit) => value / unit,
            Self::Level => HIGHEST_LEVEL - value,
            Self::Ceiling => HIGHEST_LEVEL + value,
        }
    }

    /// The value of the quantity for an error.
    pub(super) fn value(&self, point: usize, size: f64) -> f64 {
        match self {
            Self::Rejection(gains_db) => gains_db[point] - db_from_amplitude(0.5 * size),
            Self::Magnitude(unit) => size * unit,
            Self::Level => HIGHEST_LEVEL - size,
            Self::Ceiling => size - HIGHEST_LEVEL,
        }
    }

    /// Whether a higher value is better.
    fn ascends(&self) -> bool {
        !matches!(self, Self::Magnitude(_) | Self::Ceiling)
    }

    /// The value without any error.
    fn perfect(&self) -> f64 {
        match self {
            Self::Rejection(_) => f64::INFINITY,
            Self::Magnitude(_) => 0.0,
            Self::Level => HIGHEST_LEVEL,
            Self::Ceiling => -HIGHEST_LEVEL,
        }
    }
}

/// The evidence of a reading against truths on either side of a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Refutation {
    /// The maximum probability of a reading as good as this for truths that miss the limit.
    pub misses_read_as_well: f64,
    /// The maximum probability of a reading as bad as this for truths that meet the limit.
    pub meets_read_as_badly: f64,
}

/// Errors drawn from the joint noise of a plan, in the plane of a quantity.
pub(super) trait DrawnErrors: Sync {
    /// The number of draws. Without draws the errors of different points are assumed to be
    /// unrelated and their probabilities are added.
    fn count(&self) -> usize;
    /// The error of a point in a draw.
    fn error(&self, draw: usize, point: usize) -> Complex64;
}

/// Used in place of draws where there are none.
pub(super) struct NoDraws;

impl DrawnErrors for NoDraws {
    fn count(&self) -> usize {
        0
    }

    fn error(&self, _: usize, _: usize) -> Complex64 {
        Complex64::ZERO
    }
}

/// Readings at the points of a plan; there is at least one.
pub(super) struct PlanReading<D> {
    points: Vec<PlaneReading>,
    scale: Scale,
    draws: D,
    /// The largest error of each draw over all points, in standard deviations.
    largest_errors: OnceLock<Vec<f64>>,
}

impl<D: DrawnErrors> PlanReading<D> {
    pub(super) fn new(points: Vec<PlaneReading>, scale: Scale, draws: D) -> Self {
        Self { points, scale, draws, largest_errors: OnceLock::new() }
    }

    /// The worst value as read.
    pub(super) fn worst(&self) -> f64 {
        self.worst_scaled(&self.points, 1.0)
    }

    /// The worst value with all errors scaled by a factor.
    fn worst_scaled(&self, points: &[PlaneReading], factor: f64) -> f64 {
        let values = points.iter().enumerate();
        let values = values.map(|(at, point)| self.scale.value(at, factor * point.size()));
        let worse = if self.scale.ascends() { f64::min } else { f64::max };
        values.fold(self.scale.perfect(), worse)
    }

    /// The maximum probability of a reading as good as this for truths whose worst value is this or
    /// worse.
    fn reads_as_well(&self, worst: f64) -> f64 {
        self.scaled_reads_as_well(&self.points, 1.0, worst)
    }

    fn scaled_reads_as_well(&self, points: &[PlaneReading], factor: f64, worst: f64) -> f64 {
        let mut largest = 0.0_f64;
        for (at, point) in points.iter().enumerate() {
            let (point, size) = (point.scaled(factor), self.scale.size(at, worst));
            // Far inside the limit the probability is below that of the normal deviate.
            if size - point.size() > 6.0 * point.noise().long() {
                continue;
            }
            largest = largest.max(point.reads_as_well(size));
            if largest >= 1.0 {
                break;
            }
        }
        largest
    }

    /// The maximum probability of a reading as bad as this for truths whose worst value is this or
    /// better.
    fn reads_as_badly(&self, worst: f64, risk: f64) -> f64 {
        self.scaled_reads_as_badly(&self.points, 1.0, worst, risk)
    }

    fn scaled_reads_as_badly(
        &self,
        points: &[PlaneReading],
        factor: f64,
        worst: f64,
        risk: f64,
    ) -> f64 {
        let mut seen = Vec::with_capacity(points.len());
        for (at, point) in points.iter().enumerate() {
            let (point, size) = (point.scaled(factor), self.scale.size(at, worst));
            let is_beyond = point.size() > size;
            match point.boundary(size) {
                Some(boundary) if point.noise().long() > 0.0 => seen.push((at, point, boundary)),
                // A reading without noise, or one that no truth could have caused.
                _ if is_beyond => return 0.0,
                _ => {}
            }
        }
        let largest = seen.iter().map(|(_, _, own)| own.beyond).fold(f64::NEG_INFINITY, f64::max);
        if largest <= 0.0 {
            return 1.0;
        }
        let reach = reach(risk, points.len());
        let assumed = seen.into_iter().filter_map(|(at, point, boundary)| {
            let inside = (-boundary.beyond - reach).max(0.0);
            let noise = *point.noise();
            // Points this far inside have no effect.
            (inside + largest < 7.0).then_some(Assumed { at, noise, boundary, inside })
        });
        self.share(&assumed.collect::<Vec<_>>(), largest)
    }

    /// The share of draws in which any point reads beyond its boundary by this number of standard
    /// deviations.
    fn share(&self, assumed: &[Assumed], beyond: f64) -> f64 {
        let alone = assumed.iter().map(|one| one.boundary.reads_beyond(beyond, one.inside));
        let (sum, largest) =
            alone.fold((0.0, 0.0_f64), |(sum, largest), p| (sum + p, largest.max(p)));
        // Where one point dominates, or nothing is in doubt, no draws are needed.
        if sum - largest < 0.002 * largest || sum < 0.005 || largest > 0.3 {
            return if sum < 0.005 { sum } else { largest };
        }
        let count = self.draws.count();
        if count == 0 {
            return sum.min(1.0);
        }
        let mut truths: Vec<AssumedTruth<'_>> = assumed
            .iter()
            .map(|one| {
                let Boundary { radius, outwards, .. } = one.boundary;
                let truth = outwards * (radius - one.inside);
                let limit = radius + beyond;
                AssumedTruth { one, truth, square: limit * limit, far: limit - truth.norm() }
            })
            .collect();
        // A draw needs only the truths that its largest error can take beyond their boundary.
        truths.sort_by(|one, other| one.far.total_cmp(&other.far));
        let largest_errors = self.largest_errors();
        let beyond_in = |draw: usize| {
            // More than rounding.
            let most = largest_errors[draw] * (1.0 + 1e-9);
            let exceeds = |own: &&AssumedTruth<'_>| {
                let error = own.one.noise.in_deviations(self.draws.error(draw, own.one.at));
                (own.truth + error).norm_sqr() >= own.square
            };
            truths.iter().take_while(|own| own.far <= most).filter(exceeds).count()
        };
        let counts: Vec<usize> = (0..count).into_par_iter().map(beyond_in).collect();
        share_with_any(&counts, sum).clamp(largest, sum)
    }

    /// The largest error of each draw over all points, in standard deviations.
    fn largest_errors(&self) -> &[f64] {
        self.largest_errors.get_or_init(|| {
            let of_draw = |draw: usize| {
                let noisy = self.points.iter().enumerate();
                let noisy = noisy.filter(|(_, point)| point.noise().long() > 0.0);
                let squares = noisy.map(|(at, point)| {
                    point.noise().in_deviations(self.draws.error(draw, at)).norm_sqr()
                });
                squares.fold(0.0, f64::max).sqrt()
            };
            (0..self.draws.count()).into_par_iter().map(of_draw).collect()
        })
    }

    /// The evidence of the reading against truths on either side of a limit.
    pub(super) fn against(&self, limit: f64, risk: f64) -> Refutation {
        Refutation {
            misses_read_as_well: self.reads_as_well(limit),
            meets_read_as_badly: self.reads_as_badly(limit, risk),
        }
    }

    /// The minimum and maximum true worst rejection, or worst magnitude, that is not refuted.
    /// `well` is the risk with which a reading may be as good, `badly` the one with which it may be
    /// as bad, for a truth at a distance in standard deviations.
    pub(super) fn truths(&self, well: f64, badly: &dyn Fn(f64) -> f64) -> (f64, f64) {
        let (with_limit, without) = (self.worst_side(well), self.best_side(badly));
        if self.scale.ascends() { (with_limit, without) } else { (without, with_limit) }
    }

    /// The distance from the reading within which truths are searched.
    fn reach(&self) -> f64 {
        let noise = self.points.iter().map(|point| point.noise().long()).fold(0.0, f64::max);
        7.0 * (self.scale.value(0, noise) - self.scale.value(0, 0.0)).abs()
    }

    /// The worst truth that is not refuted.
    fn worst_side(&self, risk: f64) -> f64 {
        let excess = |worst: f64| self.reads_as_well(worst) - allowed(risk);
        let reading = self.worst();
        match self.scale {
            Scale::Rejection(_) => {
                root((reading.min(REJECTIONS_DB.1), REJECTIONS_DB.0), 1e-5, excess)
            }
            Scale::Magnitude(_) => {
                let end = reading + self.reach();
                root((reading, end), 1e-7 * end, excess)
            }
            Scale::Level => root((reading, reading - self.reach()), 1e-6, excess),
            Scale::Ceiling => root((reading, reading + self.reach()), 1e-6, excess),
        }
    }

    /// The best truth that is not refuted.
    fn best_side(&self, risk: &dyn Fn(f64) -> f64) -> f64 {
        let deviations = |worst: f64| {
            let sizes = self.points.iter().enumerate().map(|(at, point)| {
                let (size, noise) = (self.scale.size(at, worst), point.noise().long());
                if noise > 0.0 { size / noise } else { f64::INFINITY }
            });
            sizes.fold(f64::INFINITY, f64::min)
        };
        let excess = |worst: f64| {
            let risk = risk(deviations(worst));
            self.reads_as_badly(worst, risk) - allowed(risk)
        };
        let (reading, perfect) = (self.worst(), self.scale.perfect());
        if excess(perfect) >= 0.0 {
            return perfect;
        }
        match self.scale {
            Scale::Rejection(_) => {
                root((reading.min(REJECTIONS_DB.1), REJECTIONS_DB.1), 1e-5, excess)
            }
            Scale::Magnitude(_) => root((reading, 0.0), 1e-7 * reading, excess),
            Scale::Level => root((reading, reading + self.reach()), 1e-6, excess),
            Scale::Ceiling => root((reading, reading - self.reach()), 1e-6, excess),
        }
    }

    /// The reading of the worst point from which on a limit passes, and the one from which on it
    /// fails, with all points' errors scaled by one factor; computed with the tests themselves.
    /// `None` where no reading is sufficient.
    pub(super) fn acceptance(&self, limit: f64, risk: f64) -> (Option<f64>, Option<f64>) {
        if self.points.iter().all(|point| point.size() == 0.0) {
            let points: Vec<_> = self.points.iter().map(|point| point.of_size(1e-3)).collect();
            return self.acceptance_of(&points, limit, risk);
        }
        self.acceptance_of(&self.points, limit, risk)
    }

    fn acceptance_of(
        &self,
        points: &[PlaneReading],
        limit: f64,
        risk: f64,
    ) -> (Option<f64>, Option<f64>) {
        // The factor with which the worst point is at the limit.
        let factors = points.iter().enumerate();
        let factors = factors.map(|(at, one)| self.scale.size(at, limit) / one.size());
        let at_limit = factors.fold(f64::INFINITY, f64::min).max(1e-12).ln();
        let well = |log: f64| self.scaled_reads_as_well(points, log.exp(), limit) - allowed(risk);
        let badly =
            |log: f64| self.scaled_reads_as_badly(points, log.exp(), limit, risk) - allowed(risk);
        let found = |range: (f64, f64), excess: &dyn Fn(f64) -> f64| {
            (excess(range.1) < 0.0)
                .then(|| self.worst_scaled(points, root(range, 1e-9, excess).exp()))
        };
        (found((at_limit, at_limit - 12.0), &well), found((at_limit, at_limit + 12.0), &badly))
    }
}

/// The probability that at least one point exceeds, from the number of points that do in each draw and
/// its exact mean. The mean is a control variate (R. Y. Rubinstein, Simulation and the Monte Carlo
/// Method, Wiley 1981, from memory): errors of unrelated points and of points that exceed together
/// then hardly depend on the draws.
#[expect(clippy::cast_precision_loss, reason = "thousands of draws")]
fn share_with_any(counts: &[usize], exact_mean: f64) -> f64 {
    let draws = counts.len() as f64;
    let share = counts.iter().filter(|&&count| count > 0).count() as f64 / draws;
    let mean = counts.iter().sum::<usize>() as f64 / draws;
    let variance = counts.iter().map(|&count| (count as f64 - mean).powi(2)).sum::<f64>() / draws;
    // A count times whether it is above zero is the count, so the covariance of both is this.
    let slope = if variance > 0.0 { mean * (1.0 - share) / variance } else { 0.0 };
    share - slope * (mean - exact_mean)
}

/// A point at the assumed worst value, or as far inside as its own reading permits.
struct Assumed {
    at: usize,
    noise: PlaneNoise,
    boundary: Boundary,
    /// The distance inside, in standard deviations.
    inside: f64,
}

/// An assumed truth, as draws are compared with it.
struct AssumedTruth<'a> {
    one: &'a Assumed,
    truth: Complex64,
    /// The square of the size beyond which a reading counts, in standard deviations.
    square: f64,
    /// The smallest error that takes a reading there.
    far: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{RngCore as _, SeedableRng as _};

    /// 30 points that exceed with 0.2 % each: unrelated ones together 1 - 0.998^30, common ones 0.2 %.
    /// Of 4,000 draws the plain share of the former has a standard deviation of 0.37 %, of the latter
    /// 0.07 %.
    #[test]
    fn a_share_hardly_depends_on_the_draws() {
        let (points, alone) = (30, 0.002);
        for seed in 0..20 {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let mut exceeds = || f64::from(random.next_u32()) < alone * f64::from(u32::MAX);
            let unrelated: Vec<usize> =
                (0..4_000).map(|_| (0..points).filter(|_| exceeds()).count()).collect();
            let common: Vec<usize> =
                (0..4_000).map(|_| if exceeds() { points } else { 0 }).collect();
            let want = 1.0 - (1.0 - alone).powi(30);
            assert!((share_with_any(&unrelated, 30.0 * alone) - want).abs() < 2e-3);
            assert!((share_with_any(&common, 30.0 * alone) - alone).abs() < 1e-9);
        }
    }
}
