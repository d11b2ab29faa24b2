//! Correction of Q by one complex weight for many points of a plan.
//!
//! At each point the combined output is i + w q; it should vanish for the image and not for the
//! wanted sideband. The weight w minimises either the sum of squares of the image, in closed form,
//! or the maximum of image over wanted (minimax).

use super::iq_balance::{NOTHING_WANTED_DB, power_ratio, rejection_db};
use super::q_correction::CorrectionDomain;
use crate::units::{amplitude_from_db, db_from_amplitude, db_from_power, power_from_db};
use num_complex::Complex64;

/// A disk in the plane of complex weights.
#[derive(Clone, Copy, Debug)]
pub(super) struct Disk {
    pub(super) centre: Complex64,
    pub(super) radius: f64,
}

/// I and Q of both sidebands at one point of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CorrectionPoint {
    /// I of the wanted sideband.
    pub wanted_i: Complex64,
    /// Q of the wanted sideband.
    pub wanted_q: Complex64,
    /// I of the image sideband.
    pub image_i: Complex64,
    /// Q of the image sideband.
    pub image_q: Complex64,
}

impl CorrectionPoint {
    /// A point from channel errors (nepers and radians) and the gain of the wanted sideband over
    /// the image sideband before I, dB: I and Q of both sidebands in units of I in the image
    /// sideband.
    pub fn of_errors(
        sideband_gain_db: f64,
        wanted_error: Complex64,
        image_error: Complex64,
    ) -> Self {
        let gain = Complex64::from(amplitude_from_db(sideband_gain_db));
        Self {
            wanted_i: gain,
            wanted_q: gain * wanted_error.exp(),
            image_i: Complex64::ONE,
            image_q: -image_error.exp(),
        }
    }

    /// The point for a weight on Q in the image sideband, for the place where the correction acts.
    /// A correction of the LO's phase rotates Q in the opposite direction in the wanted sideband,
    /// which is conjugated here.
    #[must_use]
    pub fn for_domain(self, acts_on: CorrectionDomain) -> Self {
        match acts_on {
            CorrectionDomain::IfPhase | CorrectionDomain::Digital => self,
            CorrectionDomain::LoPhase => {
                Self { wanted_i: self.wanted_i.conj(), wanted_q: self.wanted_q.conj(), ..self }
            }
        }
    }

    /// Wanted over image power with a weight on Q, dB; infinite without an image.
    pub fn rejection_db(&self, weight: Complex64) -> f64 {
        rejection_db(self.wanted_i + weight * self.wanted_q, self.image_i + weight * self.image_q)
    }

    /// The same as a ratio of powers, for comparisons.
    pub(super) fn power_ratio(&self, weight: Complex64) -> f64 {
        let (wanted, image) =
            (self.wanted_i + weight * self.wanted_q, self.image_i + weight * self.image_q);
        let ratio = power_ratio(wanted, image);
        // What has no number is no rejection.
        if ratio.is_nan() { 0.0 } else { ratio }
    }

    /// The weights that reach a level of rejection. `None` if no weight does or if they are not a
    /// disk, which only happens at levels near 0 dB.
    pub(super) fn disk(&self, level_db: f64) -> Option<Disk> {
        self.disk_of_ratio(power_from_db(-level_db))
    }

    /// The same for |image|² <= allowed |wanted|².
    fn disk_of_ratio(&self, allowed: f64) -> Option<Disk> {
        let square = self.image_q.norm_sqr() - allowed * self.wanted_q.norm_sqr();
        if square <= 0.0 {
            return None;
        }
        let linear =
            self.image_i * self.image_q.conj() - allowed * self.wanted_i * self.wanted_q.conj();
        let constant = self.image_i.norm_sqr() - allowed * self.wanted_i.norm_sqr();
        let centre = -linear / square;
        let radius_squared = centre.norm_sqr() - constant / square;
        (radius_squared >= 0.0).then(|| Disk { centre, radius: radius_squared.sqrt() })
    }

    /// The weight that cancels the image at this point.
    pub fn cancelling_weight(&self) -> Complex64 {
        -self.image_i / self.image_q
    }
}

/// The weight on Q that cancels a channel error, nepers and radians: exp(-error).
#[must_use]
pub fn weight_against(error: Complex64) -> Complex64 {
    (-error).exp()
}

/// The minimum rejection over points with one weight on Q, dB; infinite without points.
pub fn worst_rejection_db(points: &[CorrectionPoint], weight: Complex64) -> f64 {
    let lower = |one: f64, other: f64| if other < one { other } else { one };
    let worst = points.iter().map(|point| point.power_ratio(weight)).fold(f64::INFINITY, lower);
    db_from_power(worst).max(NOTHING_WANTED_DB)
}

/// The weight with the minimum sum of |image|²; `None` where Q has no image at all.
///
/// # Examples
/// ```
/// use fourphase::downconverter::{CorrectionPoint, least_squares_weight};
/// use num_complex::Complex64;
///
/// let point = CorrectionPoint {
///     wanted_i: Complex64::ONE,
///     wanted_q: Complex64::ONE,
///     image_i: Complex64::ONE,
///     image_q: Complex64::new(-1.25, 0.0),
/// };
/// assert_eq!(least_squares_weight(&[point]), Some(Complex64::new(0.8, 0.0)));
/// ```
pub fn least_squares_weight(points: &[CorrectionPoint]) -> Option<Complex64> {
    let cross: Complex64 = points.iter().map(|point| point.image_q.conj() * point.image_i).sum();
    let power: f64 = points.iter().map(|point| point.image_q.norm_sqr()).sum();
    (power > 0.0).then(|| -cross / power)
}

/// The weight whose worst rejection over the points is the best; `None` if no point has an image
/// through Q.
///
/// The rejection is accurate to 1e-9 dB, the weight to the square root of that, since the optimum
/// is flat.
///
/// # Method
/// For a level of rejection the weights that reach it at one point are a disk; all points can reach
/// it if their disks have a common point. The level is bisected over a few points, to which the
/// worst of the others is added until none is worse.
///
/// # Examples
/// ```
/// use fourphase::downconverter::{CorrectionPoint, minimax_weight, worst_rejection_db};
/// use num_complex::Complex64;
///
/// // Q is 5 % too large at one point and 5 % too small at the other.
/// let points = [1.05, 0.95].map(|q| CorrectionPoint {
///     wanted_i: Complex64::ONE,
///     wanted_q: Complex64::from(q),
///     image_i: Complex64::ONE,
///     image_q: Complex64::from(-q),
/// });
/// let weight = minimax_weight(&points).ok_or("no image through Q")?;
/// assert!((worst_rejection_db(&points, weight) - 32.03).abs() < 0.01);
/// # Ok::<(), &str>(())
/// ```
pub fn minimax_weight(points: &[CorrectionPoint]) -> Option<Complex64> {
    let start = least_squares_weight(points)?;
    // There is a point, or there would be no start.
    let worst = |weight: Complex64| -> usize {
        let ratios = points.iter().map(|point| point.power_ratio(weight)).enumerate();
        let lower =
            |one: (usize, f64), other: (usize, f64)| if other.1 < one.1 { other } else { one };
        ratios.reduce(lower).map_or(0, |(at, _)| at)
    };
    let mut chosen = vec![worst(start)];
    let mut weight = start;
    // Each round adds a point, so there are at most as many rounds as points.
    for _ in 0..points.len() {
        let subset: Vec<CorrectionPoint> = chosen.iter().map(|&at| points[at]).collect();
        weight = minimax_of_few(&subset)?;
        let offender = worst(weight);
        let held_db = worst_rejection_db(&subset, weight);
        if chosen.contains(&offender) || points[offender].rejection_db(weight) >= held_db - 1e-10 {
            break;
        }
        chosen.push(offender);
    }
    Some(weight)
}

/// The minimax weight of a few points, by bisection of the level.
fn minimax_of_few(points: &[CorrectionPoint]) -> Option<Complex64> {
    if let [only] = points {
        return Some(only.cancelling_weight());
    }
    let start = least_squares_weight(points)?;
    let mut held = (worst_rejection_db(points, start), start);
    // No receiver needs more than 400 dB.
    let (mut low_db, mut high_db) = (held.0, 400.0_f64.max(held.0));
    let mut disks = Vec::with_capacity(points.len());
    let pairs = (1..points.len()).flat_map(|at| (0..at).map(move |other| (at, other)));
    let touching_db =
        pairs.filter_map(|(at, other)| touching_level_db(&points[at], &points[other], low_db));
    high_db = touching_db.fold(high_db, f64::min).max(low_db);
    // Usually two points determine the level, and their disks touch in one point.
    if high_db - 1e-11 > low_db
        && let Some(weight) = common_point(points, high_db - 1e-11, &mut disks)
    {
        return Some(weight);
    }
    for _ in 0..100 {
        let middle_db = 0.5 * (low_db + high_db);
        match common_point(points, middle_db, &mut disks) {
            Some(weight) => {
                low_db = middle_db;
                held = (middle_db, weight);
            }
            None => high_db = middle_db,
        }
        if high_db - low_db < 1e-11 {
            break;
        }
    }
    Some(held.1)
}

/// The level at which the disks of two points touch, by the method of false position, with the Illinois
/// rule (Dowell and Jarratt 1971), in 10^(-level/20): radii are nearly proportional to it. `None` where the
/// disks do not overlap at `low_db`, or coincide.
fn touching_level_db(one: &CorrectionPoint, other: &CorrectionPoint, low_db: f64) -> Option<f64> {
    let overlap = |amplitude: f64| {
        let (first, second) = (
            one.disk_of_ratio(amplitude * amplitude)?,
            other.disk_of_ratio(amplitude * amplitude)?,
        );
        Some(first.radius + second.radius - (first.centre - second.centre).norm())
    };
    // Disks of no radius are as far apart as the weights that cancel.
    let apart = (one.cancelling_weight() - other.cancelling_weight()).norm();
    let (mut inside, mut outside) = (amplitude_from_db(-low_db), 0.0);
    let (mut overlapping, mut missing) = (overlap(inside)?, -apart);
    if !(overlapping > 0.0 && missing < 0.0) {
        return None;
    }
    let mut last_was_inside = None;
    for _ in 0..60 {
        let next = (inside * missing - outside * overlapping) / (missing - overlapping);
        let found = overlap(next)?;
        let is_inside = found >= 0.0;
        let is_repeated = last_was_inside == Some(is_inside);
        if is_inside {
            (inside, overlapping) = (next, found);
            missing *= if is_repeated { 0.5 } else { 1.0 };
        } else {
            (outside, missing) = (next, found);
            overlapping *= if is_repeated { 0.5 } else { 1.0 };
        }
        last_was_inside = Some(is_inside);
        if inside - outside < 1e-13 * inside || found == 0.0 {
            break;
        }
    }
    Some(-db_from_amplitude(outside.max(f64::MIN_POSITIVE)).min(400.0))
}

/// A weight that reaches a level at every point, if there is one. `disks` is room for its work.
fn common_point(
    points: &[CorrectionPoint],
    level_db: f64,
    disks: &mut Vec<Disk>,
) -> Option<Complex64> {
    let allowed = power_from_db(-level_db);
    disks.clear();
    for point in points {
        disks.push(point.disk_of_ratio(allowed)?);
    }
    // If the disks have a common point, a centre or a crossing of two edges is one.
    let sizes = disks.iter().map(|disk| disk.centre.norm() + disk.radius);
    let slack = 1e-13 * sizes.fold(0.0, f64::max);
    let in_all = |weight: Complex64| {
        let is_in =
            |disk: &Disk| (weight - disk.centre).norm_sqr() <= (disk.radius + slack).powi(2);
        disks.iter().all(is_in)
    };
    let crossings = disks
        .iter()
        .enumerate()
        .flat_map(|(at, one)| disks[..at].iter().flat_map(|other| crossings(one, other)));
    disks.iter().map(|disk| disk.centre).chain(crossings).find(|&weight| in_all(weight))
}

/// The crossing or touching points of the edges of two disks.
fn crossings(one: &Disk, other: &Disk) -> [Complex64; 2] {
    let between = other.centre - one.centre;
    let distance = between.norm();
    if distance == 0.0 {
        return [one.centre; 2];
    }
    let along = (distance * distance + one.radius * one.radius - other.radius * other.radius)
        / (2.0 * distance);
    let across = (one.radius * one.radius - along * along).max(0.0).sqrt();
    let unit = between / distance;
    [1.0, -1.0].map(|sign| one.centre + unit * Complex64::new(along, sign * across))
}
