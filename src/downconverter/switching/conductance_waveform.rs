//! The conductances of all elements together over a period, with the resistance in which the nodes
//! end beyond the sidebands that are kept.
//!
//! In:  g(t) of each element, and the resistance matrix R between the elements' terminals.
//! Out: the Fourier coefficients of h = (1 + g R)⁻¹ g and, for the noise, of h R h and h R' h with
//!      the part R' of R at the RF nodes. Without R, h is g and has no entries off its diagonal.

use super::switch::Switch;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// The Fourier coefficients of a matrix of conductances, orders 0 to the highest.
#[derive(Clone, Debug, Default)]
pub(super) struct Waveform {
    elements: usize,
    is_diagonal: bool,
    /// Order after order: the diagonal, or the matrix row by row.
    coefficients: Vec<Complex64>,
}

impl Waveform {
    fn reset(&mut self, elements: usize, is_diagonal: bool, highest: usize) {
        (self.elements, self.is_diagonal) = (elements, is_diagonal);
        let entries = if is_diagonal { elements } else { elements * elements };
        self.coefficients.clear();
        self.coefficients.resize(entries * (highest + 1), Complex64::ZERO);
    }

    pub(super) fn is_diagonal(&self) -> bool {
        self.is_diagonal
    }

    /// An entry of a coefficient of any sign.
    pub(super) fn at(&self, order: isize, row: usize, column: usize) -> Complex64 {
        let magnitude = order.unsigned_abs();
        let value = if self.is_diagonal {
            if row != column {
                return Complex64::ZERO;
            }
            self.coefficients[magnitude * self.elements + row]
        } else {
            self.coefficients[(magnitude * self.elements + row) * self.elements + column]
        };
        if order < 0 { value.conj() } else { value }
    }
}

/// The waveforms that conversion and noise need.
#[derive(Clone, Debug, Default)]
pub(super) struct Waveforms {
    /// h.
    pub(super) conductance: Waveform,
    /// h R h.
    pub(super) beyond: Waveform,
    /// h R' h.
    pub(super) beyond_rf: Waveform,
    samples: Vec<f64>,
    line: Vec<Complex64>,
    points: Vec<f64>,
    scratch: Joint,
}

/// Buffers for h at one instant.
#[derive(Clone, Debug, Default)]
struct Joint {
    system: Vec<f64>,
    h: Vec<f64>,
    product: Vec<f64>,
    /// h R h and h R' h.
    squares: [Vec<f64>; 2],
}

/// The resistance beyond the sidebands that are kept, between the elements' terminals, ohm: M by M.
#[derive(Clone, Copy, Debug)]
pub(super) struct BeyondElements<'a> {
    /// At both ends.
    pub(super) all_ohm: &'a [f64],
    /// At the RF nodes alone.
    pub(super) rf_ohm: &'a [f64],
}

/// A switch and the peak of its LO voltage as a phasor.
pub(super) type Driven = (Switch, Complex64);

/// Points of the Gauss rule in a panel.
const GAUSS_POINTS: usize = 16;

impl Waveforms {
    /// Makes the coefficients up to an order.
    pub(super) fn fill(
        &mut self,
        driven: &[Driven],
        beyond: Option<BeyondElements<'_>>,
        highest: usize,
    ) {
        let elements = driven.len();
        let beyond = beyond.filter(|own| own.all_ohm.iter().any(|ohm| *ohm != 0.0));
        self.conductance.reset(elements, beyond.is_none(), highest);
        let empty = beyond.is_none();
        self.beyond.reset(if empty { 0 } else { elements }, empty, highest);
        self.beyond_rf.reset(if empty { 0 } else { elements }, empty, highest);
        let Some(beyond) = beyond else {
            self.line.clear();
            self.line.resize(highest + 1, Complex64::ZERO);
            for (at, (switch, peak)) in driven.iter().enumerate() {
                switch.coefficients_into(*peak, &mut self.samples, &mut self.line);
                for (order, value) in self.line.iter().enumerate() {
                    self.conductance.coefficients[order * elements + at] = *value;
                }
            }
            return;
        };
        let hard = driven.iter().filter(|(switch, _)| switch.is_hard()).count();
        if hard == elements {
            self.fill_pieces(driven, beyond);
        } else if hard == 0 {
            self.fill_samples(driven, beyond, highest);
        } else {
            self.fill_panels(driven, beyond, highest);
        }
    }

    /// Whether there is a resistance beyond.
    pub(super) fn has_beyond(&self) -> bool {
        !self.conductance.is_diagonal
    }

    /// Adds the values at an angle, times factors of each order, to all coefficients.
    fn add(
        &mut self,
        driven: &[Driven],
        beyond: BeyondElements<'_>,
        angle: f64,
        factor: impl Fn(usize) -> Complex64,
    ) {
        self.scratch.evaluate(driven, beyond, angle);
        let entries = driven.len() * driven.len();
        let orders = self.conductance.coefficients.len() / entries;
        for order in 0..orders {
            let factor = factor(order);
            let into = order * entries..(order + 1) * entries;
            let waveforms = [&mut self.conductance, &mut self.beyond, &mut self.beyond_rf];
            let [first, second] = &self.scratch.squares;
            for (waveform, values) in waveforms.into_iter().zip([&self.scratch.h, first, second]) {
                for (entry, value) in waveform.coefficients[into.clone()].iter_mut().zip(values) {
                    *entry += factor * value;
                }
            }
        }
    }

    /// Switching instants of the hard elements in a period, ascending from 0, with 0 and 2π.
    fn collect_instants(&mut self, driven: &[Driven]) {
        self.points.clear();
        self.points.extend([0.0, TAU]);
        for (switch, peak) in driven.iter().filter(|(switch, _)| switch.is_hard()) {
            let angle = switch.on_angle(peak.norm());
            if angle > 0.0 && angle < PI {
                let centre = -peak.arg();
                self.points.extend([centre - angle, centre + angle].map(|at| at.rem_euclid(TAU)));
            }
        }
        self.points.sort_by(f64::total_cmp);
    }

    /// Hard elements only: constant between switching instants, so the integrals are exact.
    fn fill_pieces(&mut self, driven: &[Driven], beyond: BeyondElements<'_>) {
        self.collect_instants(driven);
        let points = std::mem::take(&mut self.points);
        for ends in points.windows(2).filter(|ends| ends[1] > ends[0]) {
            let (from, to) = (ends[0], ends[1]);
            self.add(driven, beyond, 0.5 * (from + to), |order| {
                if order == 0 {
                    return Complex64::from((to - from) / TAU);
                }
                #[expect(clippy::cast_precision_loss, reason = "orders are few")]
                let order = order as f64;
                let turned = |angle: f64| Complex64::from_polar(1.0, -order * angle);
                (turned(from) - turned(to)) / Complex64::new(0.0, TAU * order)
            });
        }
        self.points = points;
    }

    /// Smooth elements only: the trapezoid rule, with twice the samples of the steepest element, as
    /// the resistance moves the poles towards the real axis by a part of a slope.
    fn fill_samples(&mut self, driven: &[Driven], beyond: BeyondElements<'_>, highest: usize) {
        let needed = driven.iter().map(|(switch, peak)| {
            let (nominal, moved) = (peak.norm(), shifted(switch, beyond));
            moved
                .map(|one| one.half_period_samples(nominal, highest))
                .into_iter()
                .fold(switch.half_period_samples(nominal, highest), usize::max)
        });
        let samples = 4 * needed.max().unwrap_or(8);
        #[expect(clippy::cast_precision_loss, reason = "samples are at most a million")]
        let step = TAU / samples as f64;
        for at in 0..samples {
            #[expect(clippy::cast_precision_loss, reason = "samples are at most a million")]
            let angle = step * at as f64;
            self.add(driven, beyond, angle, |order| {
                #[expect(clippy::cast_precision_loss, reason = "orders are few")]
                let turned = -(order as f64) * angle;
                Complex64::from_polar(step / TAU, turned)
            });
        }
    }

    /// Hard and smooth elements together: Gauss panels between the switching instants, narrow enough
    /// for the steepest slope and the highest order.
    fn fill_panels(&mut self, driven: &[Driven], beyond: BeyondElements<'_>, highest: usize) {
        self.collect_instants(driven);
        let steepest = driven
            .iter()
            .filter(|(switch, _)| !switch.is_hard())
            .map(|(switch, peak)| switch.settings().slope_v / peak.norm().max(1e-12));
        #[expect(clippy::cast_precision_loss, reason = "orders are few")]
        let by_order = 4.0 / (highest as f64 + 1.0);
        let width = steepest.fold(by_order, f64::min).max(TAU / 20_000.0);
        let points = std::mem::take(&mut self.points);
        let rule = gauss_rule();
        for ends in points.windows(2).filter(|ends| ends[1] > ends[0]) {
            let panels = ((ends[1] - ends[0]) / width).ceil();
            let half = 0.5 * (ends[1] - ends[0]) / panels;
            let mut centre = ends[0] + half;
            while centre < ends[1] {
                for (place, weight) in rule {
                    let angle = centre + half * place;
                    self.add(driven, beyond, angle, |order| {
                        #[expect(clippy::cast_precision_loss, reason = "orders are few")]
                        let turned = -(order as f64) * angle;
                        Complex64::from_polar(half * weight / TAU, turned)
                    });
                }
                centre += 2.0 * half;
            }
        }
        self.points = points;
    }
}

/// The switch with its threshold where the resistance moves it by at most: for g/(1 + g R) the
/// logistic function is shifted by the slope times the logarithm of (1 + R/R_on)/(1 + R/R_off).
fn shifted(switch: &Switch, beyond: BeyondElements<'_>) -> Option<Switch> {
    let largest_ohm = beyond.all_ohm.iter().fold(0.0_f64, |largest, ohm| largest.max(ohm.abs()));
    let mut settings = *switch.settings();
    settings.threshold_v -= settings.slope_v * (1.0 + largest_ohm / settings.on_ohm).ln();
    Switch::new(settings).ok()
}

impl Joint {
    /// h, h R h and h R' h at an angle of the LO.
    fn evaluate(&mut self, driven: &[Driven], beyond: BeyondElements<'_>, angle: f64) {
        let n = driven.len();
        for buffer in [&mut self.system, &mut self.h, &mut self.product] {
            buffer.clear();
            buffer.resize(n * n, 0.0);
        }
        for (row, (switch, peak)) in driven.iter().enumerate() {
            let siemens = switch.conductance_at_s(*peak, angle);
            for column in 0..n {
                let own = f64::from(u8::from(row == column));
                self.system[row * n + column] = own + siemens * beyond.all_ohm[row * n + column];
            }
            self.h[row * n + row] = siemens;
        }
        solve_real(&mut self.system, &mut self.h, n);
        for (square, ohm) in self.squares.iter_mut().zip([beyond.all_ohm, beyond.rf_ohm]) {
            multiply_real(&self.h, ohm, n, &mut self.product);
            square.clear();
            square.resize(n * n, 0.0);
            multiply_real(&self.product, &self.h, n, square);
        }
    }
}

fn multiply_real(left: &[f64], right: &[f64], n: usize, into: &mut [f64]) {
    for row in 0..n {
        for column in 0..n {
            into[row * n + column] =
                (0..n).map(|k| left[row * n + k] * right[k * n + column]).sum();
        }
    }
}

/// Solves A X = B by elimination with pivots; the matrices 1 + g R of passive parts are regular.
fn solve_real(system: &mut [f64], rhs: &mut [f64], n: usize) {
    for k in 0..n {
        let size = |row: usize| system[row * n + k].abs();
        let pivot = (k..n).fold(k, |best, row| if size(row) > size(best) { row } else { best });
        for column in 0..n {
            system.swap(k * n + column, pivot * n + column);
            rhs.swap(k * n + column, pivot * n + column);
        }
        for row in (0..n).filter(|row| *row != k) {
            let multiple = system[row * n + k] / system[k * n + k];
            if multiple != 0.0 {
                for column in 0..n {
                    system[row * n + column] -= multiple * system[k * n + column];
                    rhs[row * n + column] -= multiple * rhs[k * n + column];
                }
            }
        }
    }
    for row in 0..n {
        for column in 0..n {
            rhs[row * n + column] /= system[row * n + row];
        }
    }
}

/// Places and weights of the Gauss-Legendre rule on -1 to 1, by Newton's method on the polynomial.
fn gauss_rule() -> [(f64, f64); GAUSS_POINTS] {
    #[expect(clippy::cast_precision_loss, reason = "16 points")]
    let order = GAUSS_POINTS as f64;
    std::array::from_fn(|at| {
        #[expect(clippy::cast_precision_loss, reason = "16 points")]
        let mut x = (PI * (at as f64 + 0.75) / (order + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..50 {
            let (mut before, mut value) = (1.0, x);
            let mut degree = 1.0;
            while degree < order {
                let next = ((2.0 * degree + 1.0) * x * value - degree * before) / (degree + 1.0);
                (before, value) = (value, next);
                degree += 1.0;
            }
            slope = order * (x * value - before) / (x * x - 1.0);
            x -= value / slope;
        }
        (x, 2.0 / ((1.0 - x * x) * slope * slope))
    })
}
