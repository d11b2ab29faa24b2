//! The conductances of all elements together over a period, with the resistance in which the nodes
//! end beyond the sidebands that are kept.
//!
//! In:  g(t) of each element, and the resistance matrix R between the elements' terminals.
//! Out: the Fourier coefficients of h = (1 + g R)⁻¹ g and, for the noise, of h R h and h R' h with
//!      the part R' of R at the RF nodes. Without R, h is g and has no entries off its diagonal.

use super::switch::Switch;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// The Fourier coefficients of a matrix of conductances, from the highest order to its negative: in a
/// row of the block Toeplitz matrix of all sidebands they then follow one another.
#[derive(Clone, Debug, Default)]
pub(super) struct Waveform {
    elements: usize,
    is_diagonal: bool,
    highest: usize,
    /// Order after order: the diagonal, or the matrix row by row.
    re: Vec<f64>,
    im: Vec<f64>,
}

impl Waveform {
    fn reset(&mut self, elements: usize, is_diagonal: bool, highest: usize) {
        (self.elements, self.is_diagonal, self.highest) = (elements, is_diagonal, highest);
        let count = self.entries() * (2 * highest + 1);
        for part in [&mut self.re, &mut self.im] {
            part.clear();
            part.resize(count, 0.0);
        }
    }

    /// Numbers of an order.
    fn entries(&self) -> usize {
        if self.is_diagonal { self.elements } else { self.elements * self.elements }
    }

    pub(super) fn is_diagonal(&self) -> bool {
        self.is_diagonal
    }

    /// An entry of a coefficient of any sign.
    pub(super) fn at(&self, order: isize, row: usize, column: usize) -> Complex64 {
        if self.is_diagonal && row != column {
            return Complex64::ZERO;
        }
        let entry = if self.is_diagonal { row } else { row * self.elements + column };
        let place = self.highest.wrapping_add_signed(-order) * self.entries() + entry;
        Complex64::new(self.re[place], self.im[place])
    }

    fn add(&mut self, order: usize, entry: usize, value: Complex64) {
        let place = (self.highest - order) * self.entries() + entry;
        self.re[place] += value.re;
        self.im[place] += value.im;
    }

    /// The coefficients of negative orders, from those of positive ones.
    fn mirror(&mut self) {
        let entries = self.entries();
        for order in 1..=self.highest {
            let from = (self.highest - order) * entries;
            let to = (self.highest + order) * entries;
            for entry in 0..entries {
                self.re[to + entry] = self.re[from + entry];
                self.im[to + entry] = -self.im[from + entry];
            }
        }
    }

    /// A row of P T: `p` times the coefficients h_(k-l) at all sidebands l, of which there are half as
    /// many as orders; sideband k itself is left out, for its mean conductances are in P.
    pub(super) fn product_row(&self, k: usize, p: &[Complex64], into: (&mut [f64], &mut [f64])) {
        let (elements, entries) = (self.elements, self.entries());
        let (into_re, into_im) = into;
        let from = (self.highest - k) * entries;
        let blocks = into_re.chunks_exact_mut(elements).zip(into_im.chunks_exact_mut(elements));
        let coefficients =
            self.re[from..].chunks_exact(entries).zip(self.im[from..].chunks_exact(entries));
        for ((re, im), (h_re, h_im)) in blocks.zip(coefficients) {
            if self.is_diagonal {
                for (at, p) in p.iter().enumerate() {
                    re[at] = p.re * h_re[at] - p.im * h_im[at];
                    im[at] = p.re * h_im[at] + p.im * h_re[at];
                }
                continue;
            }
            re.fill(0.0);
            im.fill(0.0);
            let rows = h_re.chunks_exact(elements).zip(h_im.chunks_exact(elements));
            for (p, (h_re, h_im)) in p.iter().zip(rows) {
                for at in 0..elements {
                    re[at] += p.re * h_re[at] - p.im * h_im[at];
                    im[at] += p.re * h_im[at] + p.im * h_re[at];
                }
            }
        }
        let own = k * elements..(k + 1) * elements;
        into_re[own.clone()].fill(0.0);
        into_im[own].fill(0.0);
    }

    /// q T(h) qᴴ for a row q over all sidebands and elements. The coefficients of real, symmetric
    /// waveforms make it real, and those of opposite orders contribute the same.
    pub(super) fn form(&self, q: &[Complex64]) -> f64 {
        let elements = self.elements;
        if elements == 0 {
            return 0.0;
        }
        let sidebands = q.len() / elements;
        let (mut mean, mut others) = (0.0, 0.0);
        for order in 0..sidebands {
            let shifted = &q[order * elements..];
            let mut sum = 0.0;
            for row in 0..elements {
                for column in 0..elements {
                    if self.is_diagonal && row != column {
                        continue;
                    }
                    let ones = shifted[row..].iter().step_by(elements);
                    let product: Complex64 = ones
                        .zip(q[column..].iter().step_by(elements))
                        .map(|(one, other)| one * other.conj())
                        .sum();
                    sum += (self.at(order.cast_signed(), row, column) * product).re;
                }
            }
            if order == 0 { mean = sum } else { others += sum }
        }
        mean + 2.0 * others
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
                    self.conductance.add(order, at, *value);
                }
            }
            self.conductance.mirror();
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
        for waveform in [&mut self.conductance, &mut self.beyond, &mut self.beyond_rf] {
            waveform.mirror();
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
        mut factor: impl FnMut(usize) -> Complex64,
    ) {
        self.scratch.evaluate(driven, beyond, angle);
        for order in 0..=self.conductance.highest {
            let factor = factor(order);
            let waveforms = [&mut self.conductance, &mut self.beyond, &mut self.beyond_rf];
            let [first, second] = &self.scratch.squares;
            for (waveform, values) in waveforms.into_iter().zip([&self.scratch.h, first, second]) {
                for (entry, value) in values.iter().enumerate() {
                    waveform.add(order, entry, factor * value);
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
        self.points.sort_unstable_by(f64::total_cmp);
    }

    /// Hard elements only: constant between switching instants, so the integrals are exact.
    fn fill_pieces(&mut self, driven: &[Driven], beyond: BeyondElements<'_>) {
        self.collect_instants(driven);
        let points = std::mem::take(&mut self.points);
        for ends in points.windows(2).filter(|ends| ends[1] > ends[0]) {
            let (from, to) = (ends[0], ends[1]);
            let (mut start, mut end) = (powers(from), powers(to));
            self.add(driven, beyond, 0.5 * (from + to), |order| {
                let change = start() - end();
                if order == 0 {
                    return Complex64::from((to - from) / TAU);
                }
                #[expect(clippy::cast_precision_loss, reason = "orders are few")]
                let order = order as f64;
                change / Complex64::new(0.0, TAU * order)
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
            let mut turned = powers(angle);
            self.add(driven, beyond, angle, |_| turned() * (step / TAU));
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
                    let mut turned = powers(angle);
                    self.add(driven, beyond, angle, |_| turned() * (half * weight / TAU));
                }
                centre += 2.0 * half;
            }
        }
        self.points = points;
    }
}

/// The powers of e^(-j angle), from the power 0 on.
fn powers(angle: f64) -> impl FnMut() -> Complex64 {
    let step = Complex64::from_polar(1.0, -angle);
    let mut next = Complex64::ONE;
    move || {
        let power = next;
        next *= step;
        power
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
