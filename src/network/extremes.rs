//! Extreme values over a sweep: singular value, reciprocity, reflections, phase steps, delay.
//!
//! Values are compared by squares and ratios, which are much faster to compute than roots and angles;
//! the extreme itself is computed exactly. Differences below 1e-150 therefore count as equal.

use super::decomposition::largest_singular_value;
use super::{Network, Port};
use nalgebra::DMatrix;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::ops::Range;

/// The maximum or minimum of a quantity over frequency, with its frequency and entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worst {
    /// The value of the quantity.
    pub value: f64,
    /// Frequency, Hz; for a step between two points, the lower one.
    pub frequency_hz: f64,
    /// The entry it concerns (responding port, driven port), where it concerns one.
    pub entry: Option<(Port, Port)>,
}

/// Transmissions below this (-20 dB) are leakage, whose phase may not follow a delay.
const WEAKEST_TRANSMISSION: f64 = 0.1;

/// Singular values that differ by less count as equal: the factor of a matrix of 64 ports is exact to
/// some 1e-14.
const EQUAL_SINGULAR_VALUES: f64 = 1e-12;

fn ports_of(ports: usize, at: usize) -> Option<(Port, Port)> {
    Some((Port::from_index(at / ports), Port::from_index(at % ports)))
}

/// The maximum singular value above `floor`, to a relative 1e-12. A Cholesky factor shows at most
/// points that no value there is above the largest so far.
///
/// # Errors
/// A point whose singular values cannot be computed.
pub(super) fn largest_singular_value_above(
    scattering: &Network,
    points: Range<usize>,
    floor: f64,
) -> Result<Option<Worst>, usize> {
    let ports = scattering.ports();
    let mut scratch = Vec::new();
    let mut worst: Option<(f64, usize)> = None;
    for point in coarse_to_fine(points) {
        let matrix = scattering.matrix(point).as_slice();
        let bound = worst.map_or(floor, |(value, _)| value);
        let is_below = is_below(matrix, ports, bound * (1.0 + EQUAL_SINGULAR_VALUES), &mut scratch);
        if bound > 0.0 && is_below {
            continue;
        }
        let value = singular_value(matrix, ports).ok_or(point)?;
        if value > bound || (bound <= 0.0 && worst.is_none()) {
            worst = Some((value, point));
        }
    }
    let hz = scattering.grid().as_hz();
    Ok(worst.map(|(value, point)| Worst { value, frequency_hz: hz[point], entry: None }))
}

/// All points of a range, first some that are far apart, then those between: on smooth data the
/// largest value is approached within a few points.
fn coarse_to_fine(points: Range<usize>) -> impl Iterator<Item = usize> {
    let largest = points.len().next_power_of_two();
    let strides =
        std::iter::successors(Some(largest), |&stride| (stride > 1).then_some(stride / 2));
    strides.flat_map(move |stride| {
        let first = if stride == largest { 0 } else { stride };
        (first..points.len()).step_by((2 * stride).max(1)).map({
            let start = points.start;
            move |offset| start + offset
        })
    })
}

/// The maximum singular value of one matrix; `None` where it cannot be computed.
fn singular_value(matrix: &[Complex64], ports: usize) -> Option<f64> {
    if ports == 1 {
        return Some(matrix[0].norm());
    }
    largest_singular_value(&DMatrix::from_row_slice(ports, ports, matrix))
}

/// Whether all singular values are below a bound: bound² I - S Sᴴ has a Cholesky factor.
fn is_below(matrix: &[Complex64], ports: usize, bound: f64, scratch: &mut Vec<Complex64>) -> bool {
    match ports {
        2 => is_below_of::<2, 3>(matrix, bound),
        3 => is_below_of::<3, 6>(matrix, bound),
        4 => is_below_of::<4, 10>(matrix, bound),
        _ => {
            scratch.resize(ports * (ports + 1) / 2, Complex64::ZERO);
            has_factor(matrix, ports, bound, scratch)
        }
    }
}

/// The same for a size that the compiler knows: the loops are unrolled.
fn is_below_of<const PORTS: usize, const TRIANGLE: usize>(
    matrix: &[Complex64],
    bound: f64,
) -> bool {
    let mut triangle = [Complex64::ZERO; TRIANGLE];
    matrix.len() == PORTS * PORTS && has_factor(matrix, PORTS, bound, &mut triangle)
}

#[inline(always)]
fn has_factor(matrix: &[Complex64], ports: usize, bound: f64, triangle: &mut [Complex64]) -> bool {
    // The lower triangle is stored row after row, and becomes its factor in place.
    let at = |row: usize, column: usize| row * (row + 1) / 2 + column;
    for row in 0..ports {
        let own = &matrix[row * ports..(row + 1) * ports];
        for column in 0..=row {
            let other = &matrix[column * ports..(column + 1) * ports];
            let product: Complex64 =
                own.iter().zip(other).map(|(one, other)| one * other.conj()).sum();
            let diagonal = if row == column { bound * bound } else { 0.0 };
            triangle[at(row, column)] = diagonal - product;
        }
    }
    for column in 0..ports {
        let mut own = triangle[at(column, column)].re;
        for k in 0..column {
            own -= triangle[at(column, k)].norm_sqr();
        }
        // NaN is not below the bound.
        if !(own > 0.0 && own.is_finite()) {
            return false;
        }
        let scale = own.sqrt().recip();
        for row in column + 1..ports {
            let mut sum = triangle[at(row, column)];
            for k in 0..column {
                sum -= triangle[at(row, k)] * triangle[at(column, k)].conj();
            }
            triangle[at(row, column)] = sum * scale;
        }
    }
    true
}

/// Maximum |Sij - Sji|; `None` for a one-port.
pub(super) fn largest_reciprocity_error(
    scattering: &Network,
    points: Range<usize>,
) -> Option<Worst> {
    largest_difference(scattering, points, |ports, row, column| {
        [row * ports + column, column * ports + row]
    })
}

/// Maximum |Sii - Sjj|; `None` for a one-port.
pub(super) fn largest_reflection_asymmetry(
    scattering: &Network,
    points: Range<usize>,
) -> Option<Worst> {
    largest_difference(scattering, points, |ports, row, column| {
        [row, column].map(|port| port * (ports + 1))
    })
}

/// The maximum difference between two entries that belong to each pair of ports.
fn largest_difference(
    scattering: &Network,
    points: Range<usize>,
    entries_of: impl Fn(usize, usize, usize) -> [usize; 2],
) -> Option<Worst> {
    let ports = scattering.ports();
    let mut largest: Option<(f64, usize, usize)> = None;
    for point in points {
        let matrix = scattering.matrix(point).as_slice();
        for row in 1..ports {
            for column in 0..row {
                let [one, other] = entries_of(ports, row, column);
                let square = (matrix[one] - matrix[other]).norm_sqr();
                if largest.is_none_or(|(most, ..)| square > most) {
                    largest = Some((square, point, row * ports + column));
                }
            }
        }
    }
    largest.map(|(_, point, at)| {
        let matrix = scattering.matrix(point).as_slice();
        let [one, other] = entries_of(ports, at / ports, at % ports);
        Worst {
            value: (matrix[one] - matrix[other]).norm(),
            frequency_hz: scattering.grid().as_hz()[point],
            entry: ports_of(ports, at),
        }
    })
}

/// The maximum difference between entries of two points with one frequency; `None` where no frequency
/// is repeated.
pub(super) fn largest_difference_of_repeats(scattering: &Network) -> Option<Worst> {
    let (ports, hz) = (scattering.ports(), scattering.grid().as_hz());
    let repeated = (1..hz.len()).filter(|&at| hz[at - 1].total_cmp(&hz[at]).is_eq());
    let differences = repeated.flat_map(|at| {
        let [before, after] = [at - 1, at].map(|point| scattering.matrix(point).as_slice());
        before.iter().zip(after).enumerate().map(move |(entry, (one, other))| Worst {
            value: (one - other).norm(),
            frequency_hz: hz[at],
            entry: ports_of(ports, entry),
        })
    });
    differences.max_by(|one, other| one.value.total_cmp(&other.value))
}

/// The maximum phase step between neighbouring points in degrees, over the entries of which
/// `has_phase` is true and whose square magnitude is at least `weakest` at both points.
pub(super) fn largest_phase_step(
    scattering: &Network,
    points: Range<usize>,
    weakest: f64,
    has_phase: impl Fn(usize) -> bool,
) -> Option<Worst> {
    let ports = scattering.ports();
    let hz = scattering.grid().as_hz();
    let mut largest: Option<(f64, usize, usize)> = None;
    for point in points.start..points.end.saturating_sub(1) {
        if hz[point] >= hz[point + 1] {
            continue;
        }
        let [before, after] = [point, point + 1].map(|point| scattering.matrix(point).as_slice());
        for (at, (before, after)) in before.iter().zip(after).enumerate() {
            let key = turn(after * before.conj());
            if largest.is_none_or(|(most, ..)| key > most)
                && before.norm_sqr().min(after.norm_sqr()) >= weakest
                && has_phase(at)
            {
                largest = Some((key, point, at));
            }
        }
    }
    largest.map(|(_, point, at)| {
        let [before, after] = [point, point + 1].map(|one| scattering.matrix(one).as_slice()[at]);
        Worst {
            value: (after * before.conj()).arg().to_degrees().abs(),
            frequency_hz: hz[point],
            entry: ports_of(ports, at),
        }
    })
}

/// The maximum phase step of a transmission that is no leakage, degrees.
pub(super) fn largest_transmission_step(
    scattering: &Network,
    points: Range<usize>,
) -> Option<Worst> {
    let ports = scattering.ports();
    let weakest = WEAKEST_TRANSMISSION * WEAKEST_TRANSMISSION;
    largest_phase_step(scattering, points, weakest, |at| at / ports != at % ports)
}

/// A number that grows with the magnitude of an angle, from 0 to 2 at 180 degrees.
#[inline]
fn turn(value: Complex64) -> f64 {
    let part = value.im.abs() / (value.re.abs() + value.im.abs());
    if value.re < 0.0 { 2.0 - part } else { part }
}

/// The minimum mean delay of a transmission, from the phase steps between neighbouring points.
pub(super) fn smallest_mean_delay(scattering: &Network, points: Range<usize>) -> Option<Worst> {
    let ports = scattering.ports();
    let hz = &scattering.grid().as_hz()[points.clone()];
    if hz.len() < 2 || hz[hz.len() - 1] <= hz[0] {
        return None;
    }
    let is_strong =
        |value: Complex64| value.norm_sqr() > WEAKEST_TRANSMISSION * WEAKEST_TRANSMISSION;
    let first = scattering.matrix(points.start).as_slice();
    // Entries that were strong at all points so far, with the whole turns of their phase.
    let mut strong: Vec<(usize, i64)> = (0..ports * ports)
        .filter(|&at| at / ports != at % ports && is_strong(first[at]))
        .map(|at| (at, 0))
        .collect();
    let mut before = first;
    for point in points.clone().skip(1) {
        let after = scattering.matrix(point).as_slice();
        strong.retain_mut(|(at, turns)| {
            *turns += whole_turns(before[*at], after[*at]);
            is_strong(after[*at])
        });
        before = after;
    }
    let delays = strong.into_iter().map(|(at, turns)| {
        #[expect(clippy::cast_precision_loss, reason = "at most one turn per point")]
        let turned = principal(before[at]) - principal(first[at]) + TAU * turns as f64;
        (at, -turned / (TAU * (hz[hz.len() - 1] - hz[0])))
    });
    let smallest = delays.min_by(|(_, one), (_, other)| one.total_cmp(other));
    smallest.map(|(at, value)| Worst { value, frequency_hz: hz[0], entry: ports_of(ports, at) })
}

/// The angle in (-180, 180] degrees, in radians; that of a negative number is positive.
fn principal(value: Complex64) -> f64 {
    if value.im == 0.0 && value.re < 0.0 { PI } else { value.arg() }
}

/// How often a step of less than 180 degrees passes the negative real axis: the difference between
/// the step and that of the principal angles, in turns.
#[inline]
fn whole_turns(before: Complex64, after: Complex64) -> i64 {
    if (before.im >= 0.0) == (after.im >= 0.0) {
        return 0;
    }
    let is_left = before.re * after.im - before.im * after.re > 0.0;
    match (is_left, after.im >= 0.0) {
        (true, false) => 1,
        (false, true) => -1,
        _ => 0,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::network::{FrequencyGrid, ParameterKind};

    /// Numbers in (-0.5, 0.5) without a pattern.
    fn numbers(count: usize) -> Vec<f64> {
        let mut state = 7_u64;
        let mut draw = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
        };
        (0..count).map(|_| draw()).collect()
    }

    fn network(ports: usize, points: usize) -> Network {
        let grid = FrequencyGrid::linear(1e9, 2e9, points).unwrap();
        let entries = numbers(2 * ports * ports * points);
        let entries: Vec<Complex64> =
            entries.chunks_exact(2).map(|pair| Complex64::new(pair[0], pair[1])).collect();
        Network::new(ParameterKind::Scattering, grid, ports, entries, vec![50.0.into()]).unwrap()
    }

    #[test]
    fn every_point_is_visited_once() {
        for (start, end) in [(0, 0), (0, 1), (3, 4), (2, 9), (0, 64), (5, 70)] {
            let mut seen: Vec<usize> = coarse_to_fine(start..end).collect();
            seen.sort_unstable();
            assert_eq!(seen, (start..end).collect::<Vec<_>>(), "{start}..{end}");
        }
    }

    /// By singular values at every point, by angles at every step.
    #[test]
    fn extremes_are_those_of_every_point() {
        for ports in [1, 2, 3, 4, 5] {
            let network = network(ports, 90);
            let all = 0..90;
            let values = all
                .clone()
                .map(|point| singular_value(network.matrix(point).as_slice(), ports).unwrap());
            let largest = values.fold(0.0, f64::max);
            let found = largest_singular_value_above(&network, all.clone(), 0.0).unwrap().unwrap();
            // The documented resolution.
            assert!((found.value / largest - 1.0).abs() < 2e-12, "{ports}");
            let above = largest_singular_value_above(&network, all.clone(), 1.01 * largest);
            assert_eq!(above, Ok(None));

            let mut steps = 0.0_f64;
            for point in 0..89 {
                let [one, other] = [point, point + 1].map(|at| network.matrix(at).as_slice());
                for (one, other) in one.iter().zip(other) {
                    if one.norm().min(other.norm()) >= 0.1 {
                        steps = steps.max((other / one).arg().to_degrees().abs());
                    }
                }
            }
            let found = largest_phase_step(&network, all, 0.01, |_| true).unwrap();
            // Rounding of a product and a quotient.
            assert!((found.value - steps).abs() < 1e-12, "{ports}");
        }
    }

    /// Against the sum of all steps, through many turns in both directions.
    #[test]
    fn delays_follow_the_phase_through_whole_turns() {
        for delay_s in [-3e-9, -0.2e-9, 0.0, 0.01e-9, 1.7e-9, 6e-9] {
            let grid = FrequencyGrid::linear(0.0, 4e9, 81).unwrap();
            let wobble = numbers(81);
            let entries: Vec<Complex64> = grid
                .as_hz()
                .iter()
                .zip(&wobble)
                .flat_map(|(hz, wobble)| {
                    let s21 = Complex64::from_polar(0.8, -TAU * hz * delay_s + 0.4 * wobble);
                    [Complex64::ZERO, s21, s21.conj(), Complex64::ZERO]
                })
                .collect();
            let network =
                Network::new(ParameterKind::Scattering, grid, 2, entries, vec![50.0.into()])
                    .unwrap();
            let turned = |at: usize| -> f64 {
                let value = |point: usize| network.matrix(point).as_slice()[at];
                (1..81).map(|point| (value(point) * value(point - 1).conj()).arg()).sum()
            };
            let want =
                [1, 2].map(|at| -turned(at) / (TAU * 4e9)).into_iter().fold(f64::MAX, f64::min);
            let found = smallest_mean_delay(&network, 0..81).unwrap();
            // 80 roundings of a step of at most pi, over a turn of 4 GHz.
            assert!((found.value - want).abs() < 1e-22, "{delay_s}: {} {want}", found.value);
        }
    }

    #[test]
    fn no_point_has_a_value_above_nothing() {
        let grid = FrequencyGrid::linear(1e9, 2e9, 3).unwrap();
        let entries = vec![Complex64::ZERO; 12];
        let network =
            Network::new(ParameterKind::Scattering, grid, 2, entries, vec![50.0.into()]).unwrap();
        let found = largest_singular_value_above(&network, 0..3, 0.0).unwrap().unwrap();
        assert_eq!((found.value, found.frequency_hz), (0.0, 1e9));
        assert_eq!(largest_phase_step(&network, 0..3, 1e-6, |_| true), None);
        assert_eq!(smallest_mean_delay(&network, 0..3), None);
    }
}
