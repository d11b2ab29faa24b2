//! Interpolation of networks, with the delay removed first and restored afterwards.
//!
//! The transmission phase of a long line turns by many degrees between measured points, but at a
//! constant rate. For each entry the mean delay is estimated from its phase steps and removed. The
//! residual changes slowly; a piecewise cubic through its real and imaginary parts, with slopes
//! from the parabola through three neighbours, follows it. The delay is then restored. Measured
//! points are returned bit for bit; nothing is extrapolated; no piece crosses a duplicate
//! frequency, since a sweep of several segments may jump there.

use super::{FrequencyGrid, Network, NetworkError, ParameterKind, Port, convert};
use crate::units::ShownFrequency;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::fmt;

/// A phase step between neighbouring points too large to interpolate across.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnsafeStep {
    /// The responding port of the entry.
    pub row: Port,
    /// The driven port of the entry.
    pub column: Port,
    /// The lower of the two frequencies.
    pub frequency_hz: f64,
    /// The phase step, 0 to 180 degrees.
    pub step_deg: f64,
}

impl fmt::Display for UnsafeStep {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the phase of S{},{} turns by {:.0} deg between neighbouring points near {}; interpolation is unsafe",
            self.row,
            self.column,
            self.step_deg,
            ShownFrequency(self.frequency_hz)
        )
    }
}

/// A network on another grid, with a flag where the sweep is too coarse for it.
#[derive(Clone, Debug)]
pub struct Interpolated {
    /// The network on the grid that was requested.
    pub network: Network,
    /// The maximum phase step above 90 degrees within the range used, if any: from there on the
    /// sign of a delay is ambiguous.
    pub unsafe_step: Option<UnsafeStep>,
}

/// Above this phase step the direction of rotation is ambiguous.
pub const LARGEST_SAFE_STEP_DEG: f64 = 90.0;
/// Entries below this share of the maximum are too small for a warning about their phase.
const SMALLEST_TELLING_SHARE: f64 = 1e-2;

/// Interpolates a network to the frequencies of `grid`.
///
/// Other parameters than S are interpolated as S, since they may have poles, and converted back.
///
/// # Errors
/// [`NetworkError::OutsideData`] with the first frequency beyond the data, and those of
/// [`convert`].
///
/// # Examples
/// ```
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind, onto_grid};
/// use num_complex::Complex64;
///
/// // A line of one nanosecond, sampled every 100 MHz, evaluated half-way.
/// let grid = FrequencyGrid::linear(1e9, 2e9, 11)?;
/// let s = grid.as_hz().iter().map(|f| Complex64::cis(-std::f64::consts::TAU * f * 1e-9)).collect();
/// let line = Network::new(ParameterKind::Scattering, grid, 1, s, vec![50.0.into()])?;
/// let between = onto_grid(&line, &FrequencyGrid::from_hz(vec![1.25e9])?)?.network;
/// assert!((between.entries()[0] - Complex64::new(0.0, -1.0)).norm() < 1e-12);
/// # Ok::<(), fourphase::network::NetworkError>(())
/// ```
pub fn onto_grid(network: &Network, grid: &FrequencyGrid) -> Result<Interpolated, NetworkError> {
    if grid == network.grid() {
        return Ok(Interpolated { network: network.clone(), unsafe_step: None });
    }
    let known = network.grid();
    if let Some(&frequency_hz) =
        grid.as_hz().iter().find(|&&hz| hz < known.first_hz() || hz > known.last_hz())
    {
        return Err(NetworkError::OutsideData {
            frequency_hz,
            first_hz: known.first_hz(),
            last_hz: known.last_hz(),
        });
    }
    if let Some(network) = picked(network, grid)? {
        return Ok(Interpolated { network, unsafe_step: None });
    }
    if network.kind() != ParameterKind::Scattering {
        let scattering = onto_grid(&convert(network, ParameterKind::Scattering)?, grid)?;
        let network = convert(&scattering.network, network.kind())?;
        return Ok(Interpolated { network, ..scattering });
    }

    let ports = network.ports();
    let size = ports * ports;
    let places: Vec<Place> = grid.as_hz().iter().map(|&hz| Place::of(hz, known.as_hz())).collect();
    let used = places[0].interval..(places[places.len() - 1].interval + 2).min(known.len());
    let largest = network.entries().iter().map(Complex64::norm_sqr).fold(0.0, f64::max).sqrt();

    let mut entries = vec![Complex64::ZERO; grid.len() * size];
    let mut unsafe_step: Option<UnsafeStep> = None;
    let mut curve = Curve::new(known.as_hz(), &places);
    for at in 0..size {
        curve.load(network.entries().iter().skip(at).step_by(size));
        for ((place, &hz), entry) in
            places.iter().zip(grid.as_hz()).zip(entries[at..].iter_mut().step_by(size))
        {
            *entry = curve.value(*place, hz);
        }
        if let Some((index, step_deg)) =
            curve.worst_step(used.clone(), largest * SMALLEST_TELLING_SHARE)
            && step_deg > unsafe_step.map_or(LARGEST_SAFE_STEP_DEG, |worst| worst.step_deg)
        {
            unsafe_step = Some(UnsafeStep {
                row: Port::from_index(at / ports),
                column: Port::from_index(at % ports),
                frequency_hz: known.as_hz()[index],
                step_deg,
            });
        }
    }
    let references_ohm = if network.has_constant_references() {
        network.references_ohm(0).to_vec()
    } else {
        places
            .iter()
            .flat_map(|place| {
                let (low, high) = (
                    network.references_ohm(place.interval),
                    network.references_ohm(place.upper(known.len())),
                );
                low.iter()
                    .zip(high)
                    .map(|(&low, &high)| low * (1.0 - place.share) + high * place.share)
            })
            .collect()
    };
    let made =
        Network::new(ParameterKind::Scattering, grid.clone(), ports, entries, references_ohm)?
            .with_wave_definition(network.wave_definition());
    let network = match network.modes() {
        Some(modes) => made.with_modes(modes.to_vec())?,
        None => made,
    };
    Ok(Interpolated { network, unsafe_step })
}

/// The network's own points, where the grid has no others and none of them is a duplicate.
fn picked(network: &Network, grid: &FrequencyGrid) -> Result<Option<Network>, NetworkError> {
    let known = network.grid().as_hz();
    if network.grid().repeats() > 0 || !network.has_constant_references() {
        return Ok(None);
    }
    let size = network.ports() * network.ports();
    let mut entries = Vec::with_capacity(grid.len() * size);
    let mut at = 0;
    for &hz in grid.as_hz() {
        while known[at] < hz {
            at += 1;
        }
        if known[at].total_cmp(&hz).is_ne() {
            return Ok(None);
        }
        entries.extend_from_slice(&network.entries()[at * size..(at + 1) * size]);
    }
    let references_ohm = network.references_ohm(0).to_vec();
    let made =
        Network::new(network.kind(), grid.clone(), network.ports(), entries, references_ohm)?;
    let made = made.with_wave_definition(network.wave_definition());
    Ok(Some(match network.modes() {
        Some(modes) => made.with_modes(modes.to_vec())?,
        None => made,
    }))
}

/// The position of a frequency among the known ones.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// Index of the known point at or below.
    interval: usize,
    /// 0 at that point, 1 at the next.
    share: f64,
}

impl Place {
    fn of(frequency_hz: f64, known_hz: &[f64]) -> Self {
        // Of points with equal frequency the first is used.
        let above = known_hz.partition_point(|&hz| hz < frequency_hz);
        if known_hz.get(above).is_some_and(|&hz| hz.total_cmp(&frequency_hz).is_eq()) {
            return Self { interval: above, share: 0.0 };
        }
        let interval = above - 1;
        let (low, high) = (known_hz[interval], known_hz[above]);
        Self { interval, share: (frequency_hz - low) / (high - low) }
    }

    fn upper(self, known: usize) -> usize {
        (self.interval + 1).min(known - 1)
    }
}

/// The phase steps of a sweep. On smooth data a step is nearly that before it, and a short series gives
/// the difference, faster than an arctangent does.
struct Turning {
    /// A step, radians, and the factor that undoes it.
    known: f64,
    undoing: Complex64,
}

impl Default for Turning {
    fn default() -> Self {
        Self { known: 0.0, undoing: Complex64::ONE }
    }
}

impl Turning {
    /// A larger difference to the known step, radians, is computed as an arctangent.
    const LARGEST: f64 = 0.02;

    /// The phase from one value to the next, in (-π, π].
    #[inline]
    fn step(&mut self, before: Complex64, after: Complex64) -> f64 {
        let between = after * before.conj();
        let beside = between * self.undoing;
        let tangent = beside.im / beside.re;
        if beside.re > 0.0 && tangent.abs() < Self::LARGEST {
            let square = tangent * tangent;
            // The first term left out is below 1e-18.
            let series =
                1.0 - square * (1.0 / 3.0 - square * (0.2 - square * (1.0 / 7.0 - square / 9.0)));
            let step = self.known + tangent * series;
            if step.abs() < PI {
                return step;
            }
        }
        let step = between.arg();
        if step.is_finite() {
            (self.known, self.undoing) = (step, Complex64::cis(-step));
        }
        step
    }
}

/// One entry over the known frequencies, its delay separated.
struct Curve<'a> {
    known_hz: &'a [f64],
    values: Vec<Complex64>,
    /// The phase step from each value to the next, radians.
    steps: Vec<f64>,
    /// Marks the points where residuals and slopes are needed: around frequencies that are not
    /// known ones.
    needs_residual: Vec<bool>,
    needs_slope: Vec<bool>,
    residuals: Vec<Complex64>,
    slopes: Vec<Complex64>,
    delay_s: f64,
}

impl<'a> Curve<'a> {
    fn new(known_hz: &'a [f64], places: &[Place]) -> Self {
        let known = known_hz.len();
        let (mut needs_residual, mut needs_slope) = (vec![false; known], vec![false; known]);
        for place in places.iter().filter(|place| place.share != 0.0) {
            let low = place.interval;
            needs_slope[low..=low + 1].fill(true);
            // A slope at an end uses two points into the data.
            needs_residual[low.saturating_sub(2)..(low + 4).min(known)].fill(true);
        }
        Self {
            known_hz,
            values: Vec::new(),
            steps: Vec::new(),
            needs_residual,
            needs_slope,
            residuals: vec![Complex64::ZERO; known],
            slopes: vec![Complex64::ZERO; known],
            delay_s: 0.0,
        }
    }

    fn load<'v>(&mut self, values: impl Iterator<Item = &'v Complex64>) {
        self.values.clear();
        self.values.extend(values);
        self.steps.clear();
        let mut turning = Turning::default();
        self.steps.extend(self.values.windows(2).map(|pair| turning.step(pair[0], pair[1])));
        self.delay_s = mean_delay_s(self.known_hz, &self.values, &self.steps);
        for at in (0..self.known_hz.len()).filter(|&at| self.needs_residual[at]) {
            let turn = Complex64::cis(TAU * self.known_hz[at] * self.delay_s);
            self.residuals[at] = self.values[at] * turn;
        }
        for at in (0..self.known_hz.len()).filter(|&at| self.needs_slope[at]) {
            self.slopes[at] = slope(self.known_hz, &self.residuals, at);
        }
    }

    fn value(&self, place: Place, frequency_hz: f64) -> Complex64 {
        let (low, t) = (place.interval, place.share);
        if t == 0.0 {
            return self.values[low];
        }
        let width_hz = self.known_hz[low + 1] - self.known_hz[low];
        let (t2, t3) = (t * t, t * t * t);
        let residual = self.residuals[low] * (2.0 * t3 - 3.0 * t2 + 1.0)
            + self.slopes[low] * (width_hz * (t3 - 2.0 * t2 + t))
            + self.residuals[low + 1] * (3.0 * t2 - 2.0 * t3)
            + self.slopes[low + 1] * (width_hz * (t3 - t2));
        residual * Complex64::cis(-TAU * frequency_hz * self.delay_s)
    }

    /// Whether an entry passes near zero between two points: its phase then turns by up to half a
    /// turn although the curve is smooth, and without its delay it continues in the same direction.
    /// An entry that rotates by an angle θ a step deviates from its direction by 2 sin(θ/2) of a
    /// step.
    fn passes_zero(&self, at: usize) -> bool {
        let value =
            |at: usize| self.values[at] * Complex64::cis(TAU * self.known_hz[at] * self.delay_s);
        let secant = |low: usize| {
            let width_hz = self.known_hz.get(low + 1)? - self.known_hz[low];
            (width_hz > 0.0).then(|| (value(low + 1) - value(low)) / width_hz)
        };
        let Some(own) = secant(at) else { return false };
        let width_hz = self.known_hz[at + 1] - self.known_hz[at];
        let delay_step_deg = (TAU * self.delay_s * width_hz).to_degrees().abs();
        let beside = [at.checked_sub(1).and_then(secant), secant(at + 1)];
        let mut changes = beside.iter().flatten().map(|other| (*other - own).norm()).peekable();
        delay_step_deg <= LARGEST_SAFE_STEP_DEG
            && changes.peek().is_some()
            && changes.all(|change| change < own.norm())
    }

    /// Index and size of the maximum phase step among points of sufficient magnitude.
    fn worst_step(&self, used: std::ops::Range<usize>, floor: f64) -> Option<(usize, f64)> {
        let is_telling = |at: usize| self.values[at].norm_sqr() > floor * floor;
        (used.start..used.end.saturating_sub(1))
            .filter(|&at| is_telling(at) && is_telling(at + 1))
            .map(|at| (at, self.steps[at].to_degrees().abs()))
            .filter(|&(at, step_deg)| step_deg <= LARGEST_SAFE_STEP_DEG || !self.passes_zero(at))
            .max_by(|one, other| one.1.total_cmp(&other.1))
    }
}

/// The delay that flattens the phase best, by weighted least squares over the steps; the weight is
/// the magnitude.
fn mean_delay_s(known_hz: &[f64], values: &[Complex64], steps: &[f64]) -> f64 {
    let (mut turned, mut width) = (0.0, 0.0);
    for ((hz, pair), step) in known_hz.windows(2).zip(values.windows(2)).zip(steps) {
        let step_hz = hz[1] - hz[0];
        let weight = (pair[0].norm_sqr() * pair[1].norm_sqr()).sqrt();
        turned -= weight * step * step_hz;
        width += weight * step_hz * step_hz;
    }
    if width > 0.0 { turned / (TAU * width) } else { 0.0 }
}

/// The slope at a point of the parabola through it and its neighbours, one-sided at the ends.
fn slope(known_hz: &[f64], values: &[Complex64], at: usize) -> Complex64 {
    let secant = |low: usize| {
        let width_hz = known_hz[low + 1] - known_hz[low];
        (width_hz > 0.0).then(|| (width_hz, (values[low + 1] - values[low]) / width_hz))
    };
    let before = at.checked_sub(1).and_then(secant);
    let after = if at + 1 < known_hz.len() { secant(at) } else { None };
    match (before, after) {
        (Some((left_hz, left)), Some((right_hz, right))) => {
            (left * right_hz + right * left_hz) / (left_hz + right_hz)
        }
        (Some((near_hz, near)), None) => {
            let far = at.checked_sub(2).and_then(secant);
            far.map_or(near, |(far_hz, far)| near + (near - far) * (near_hz / (near_hz + far_hz)))
        }
        (None, Some((near_hz, near))) => {
            let far = if at + 2 < known_hz.len() { secant(at + 1) } else { None };
            far.map_or(near, |(far_hz, far)| near + (near - far) * (near_hz / (near_hz + far_hz)))
        }
        (None, None) => Complex64::ZERO,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one_port(grid: &FrequencyGrid, value: impl Fn(f64) -> Complex64) -> Network {
        let entries = grid.as_hz().iter().map(|&hz| value(hz)).collect();
        Network::new(ParameterKind::Scattering, grid.clone(), 1, entries, vec![50.0.into()])
            .unwrap()
    }

    fn worst_error(points: usize, value: impl Fn(f64) -> Complex64) -> f64 {
        let coarse = FrequencyGrid::linear(26e9, 32e9, points).unwrap();
        let fine = FrequencyGrid::linear(26e9, 32e9, 997).unwrap();
        let got = onto_grid(&one_port(&coarse, &value), &fine).unwrap().network;
        got.entries()
            .iter()
            .zip(fine.as_hz())
            .map(|(entry, &hz)| (entry - value(hz)).norm())
            .fold(0.0, f64::max)
    }

    /// Steps that change slowly, jump, pass a half turn and rest.
    #[test]
    fn phase_steps_are_those_of_the_arctangent() {
        let mut turning = Turning::default();
        let (mut before, mut angle) = (Complex64::from_polar(0.7, 0.3), 0.3);
        for at in 0..2000 {
            let slow = 3.1 + 0.1 * (f64::from(at) * 0.01).sin();
            angle += if at % 37 == 0 { 0.9 } else { slow };
            let after = if at % 101 == 5 {
                Complex64::ZERO
            } else {
                Complex64::from_polar(0.5 + 0.4 * (f64::from(at) * 0.3).cos(), angle)
            };
            let found = turning.step(before, after);
            let want = (after * before.conj()).arg();
            // Three roundings of numbers up to pi.
            assert!((found - want).abs() < 2e-15, "{at}: {found} {want}");
            before = after;
        }
    }

    #[test]
    fn measured_points_come_back_bit_for_bit() {
        let grid = FrequencyGrid::linear(1e9, 2e9, 7).unwrap();
        let network = one_port(&grid, |hz| Complex64::cis(hz * 3.3e-9) * 0.7);
        let half =
            FrequencyGrid::from_hz(grid.as_hz().iter().copied().step_by(2).collect()).unwrap();
        let got = onto_grid(&network, &half).unwrap().network;
        let want: Vec<_> = network.entries().iter().copied().step_by(2).collect();
        assert_eq!(got.entries(), want);
    }

    #[test]
    fn a_line_is_exact_and_a_resonator_converges() {
        // 0.35 ns turns 75.6 degrees from point to point on 11 points: only the delay is large.
        assert!(worst_error(11, |hz| Complex64::cis(-TAU * hz * 0.35e-9)) < 1e-12);
        // A series resonance at 29 GHz with a loaded Q of 10: third order in the step.
        let resonator = |hz: f64| {
            let detuning = 10.0 * (hz / 29e9 - 29e9 / hz);
            Complex64::new(1.0, detuning).inv()
        };
        let (coarse, fine) = (worst_error(41, resonator), worst_error(81, resonator));
        assert!(coarse < 2e-3 && fine < coarse / 6.0, "{coarse:e} {fine:e}");
    }

    #[test]
    fn nothing_is_extrapolated_and_wide_steps_warn() {
        let grid = FrequencyGrid::linear(1e9, 2e9, 11).unwrap();
        let network = one_port(&grid, |hz| Complex64::cis(-TAU * hz * 3e-9));
        let outside = FrequencyGrid::from_hz(vec![2.000_001e9]).unwrap();
        assert!(matches!(onto_grid(&network, &outside), Err(NetworkError::OutsideData { .. })));
        let inside = FrequencyGrid::from_hz(vec![1.55e9]).unwrap();
        let step = onto_grid(&network, &inside).unwrap().unsafe_step.unwrap();
        assert!((step.step_deg - 108.0).abs() < 1e-6);
    }

    /// The reflection of a match that is best within the band, behind a line or not, passes near
    /// zero: no warning. A reflection that rotates too fast gives a warning at any magnitude.
    #[test]
    fn an_entry_that_passes_zero_gives_no_alarm() {
        let grid = FrequencyGrid::linear(27e9, 31e9, 41).unwrap();
        let between = FrequencyGrid::linear(27.05e9, 30.95e9, 40).unwrap();
        let alarm = |value: &dyn Fn(f64) -> Complex64| {
            onto_grid(&one_port(&grid, value), &between).unwrap().unsafe_step
        };
        for (delay_s, least) in [(0.0, 0.004), (0.0, -0.004), (1e-9, 0.004)] {
            let dip = |hz: f64| {
                let detuning = (hz - 29.05e9) / 29e9;
                Complex64::new(least, 3.0 * detuning) * Complex64::cis(-TAU * hz * delay_s)
            };
            assert_eq!(alarm(&dip), None, "{delay_s:e} {least}");
        }
        let fast = |hz: f64| 0.05 * Complex64::cis(-TAU * hz * 3e-9);
        assert!((alarm(&fast).unwrap().step_deg - 108.0).abs() < 1e-6);
        let loop_of_two =
            |hz: f64| Complex64::cis(-TAU * hz * 3e-9) + 0.5 * Complex64::cis(-TAU * hz * 1e-9);
        assert!(alarm(&loop_of_two).is_some());
    }

    #[test]
    fn a_repeated_frequency_parts_the_curve() {
        let grid = FrequencyGrid::from_hz(vec![1.0, 2.0, 2.0, 3.0]).unwrap();
        let jump = [0.0, 0.0, 0.5, 0.5].map(Complex64::from).to_vec();
        let network =
            Network::new(ParameterKind::Scattering, grid, 1, jump, vec![50.0.into()]).unwrap();
        let asked = FrequencyGrid::from_hz(vec![1.5, 2.0, 2.5]).unwrap();
        let got = onto_grid(&network, &asked).unwrap().network;
        assert_eq!(got.entries(), [0.0, 0.0, 0.5].map(Complex64::from));
    }
}
