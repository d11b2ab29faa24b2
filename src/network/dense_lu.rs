//! LU factors of a dense complex matrix of some tens to hundreds of rows, real and imaginary parts
//! apart: the inner loops then run over plain numbers, several at a time.
//!
//! Four columns are eliminated together, so that every entry behind them is loaded and stored once
//! for four steps. Rows are pivoted by magnitude.

use super::lu::Singular;
use num_complex::Complex64;

/// Columns that are eliminated together.
const PANEL: usize = 4;
/// A pivot below this part of the largest leaves no good digit.
const SMALLEST_PIVOT_RATIO: f64 = 1e-15;

/// A square matrix and, once factored, its factors P A = L U.
#[derive(Clone, Debug, Default)]
pub(crate) struct DenseLu {
    n: usize,
    re: Vec<f64>,
    im: Vec<f64>,
    swaps: Vec<usize>,
    row: (Vec<f64>, Vec<f64>),
}

impl DenseLu {
    /// Starts anew with the unit matrix of `n` rows.
    pub(crate) fn reset_to_unit(&mut self, n: usize) {
        self.n = n;
        for part in [&mut self.re, &mut self.im] {
            part.clear();
            part.resize(n * n, 0.0);
        }
        for at in 0..n {
            self.re[at * n + at] = 1.0;
        }
        self.swaps.clear();
        self.swaps.resize(n, 0);
        for part in [&mut self.row.0, &mut self.row.1] {
            part.clear();
            part.resize(n, 0.0);
        }
    }

    /// Adds to an entry, before factoring.
    pub(crate) fn add(&mut self, row: usize, column: usize, value: Complex64) {
        self.re[row * self.n + column] += value.re;
        self.im[row * self.n + column] += value.im;
    }

    /// Factors the matrix in place.
    pub(crate) fn factor(&mut self) -> Result<(), Singular> {
        let n = self.n;
        let (mut smallest, mut largest) = (f64::INFINITY, 0.0_f64);
        for start in (0..n).step_by(PANEL) {
            let end = (start + PANEL).min(n);
            for k in start..end {
                let size = self.eliminate_in_panel(k, end)?;
                smallest = smallest.min(size);
                largest = largest.max(size);
            }
            self.update_behind(start, end);
        }
        if smallest < SMALLEST_PIVOT_RATIO * largest { Err(Singular) } else { Ok(()) }
    }

    /// Chooses the pivot of column `k` and eliminates it in the columns of its panel; the magnitude of
    /// the pivot.
    fn eliminate_in_panel(&mut self, k: usize, end: usize) -> Result<f64, Singular> {
        let n = self.n;
        let size_of = |row: usize| {
            let (re, im) = (self.re[row * n + k], self.im[row * n + k]);
            re * re + im * im
        };
        let (mut pivot_row, mut size) = (k, size_of(k));
        for row in k + 1..n {
            let own = size_of(row);
            if own > size || size.is_nan() {
                (pivot_row, size) = (row, own);
            }
        }
        if size == 0.0 || !size.is_finite() {
            return Err(Singular);
        }
        self.swaps[k] = pivot_row;
        if pivot_row != k {
            for part in [&mut self.re, &mut self.im] {
                let (upper, lower) = part.split_at_mut(pivot_row * n);
                upper[k * n..(k + 1) * n].swap_with_slice(&mut lower[..n]);
            }
        }
        let inverse = Complex64::new(self.re[k * n + k], self.im[k * n + k]).inv();
        for row in k + 1..n {
            let entry = row * n + k;
            let multiple = Complex64::new(self.re[entry], self.im[entry]) * inverse;
            (self.re[entry], self.im[entry]) = (multiple.re, multiple.im);
            for column in k + 1..end {
                let above = Complex64::new(self.re[k * n + column], self.im[k * n + column]);
                let change = multiple * above;
                self.re[row * n + column] -= change.re;
                self.im[row * n + column] -= change.im;
            }
        }
        Ok(size.sqrt())
    }

    /// Applies the steps of a panel to the columns behind it.
    fn update_behind(&mut self, start: usize, end: usize) {
        let n = self.n;
        for row in start + 1..end {
            let (upper_re, lower_re) = self.re.split_at_mut(row * n);
            let (upper_im, lower_im) = self.im.split_at_mut(row * n);
            for k in start..row {
                let multiple = (lower_re[k], lower_im[k]);
                let from = k * n + end..(k + 1) * n;
                let own = end..n;
                let above = (&upper_re[from.clone()], &upper_im[from]);
                subtract(multiple, above, &mut lower_re[own.clone()], &mut lower_im[own]);
            }
        }
        let (upper_re, lower_re) = self.re.split_at_mut(end * n);
        let (upper_im, lower_im) = self.im.split_at_mut(end * n);
        let above = |k: usize| {
            let from = k * n + end..(k + 1) * n;
            (&upper_re[from.clone()], &upper_im[from])
        };
        for (row_re, row_im) in lower_re.chunks_exact_mut(n).zip(lower_im.chunks_exact_mut(n)) {
            let (head_re, tail_re) = row_re.split_at_mut(end);
            let (head_im, tail_im) = row_im.split_at_mut(end);
            if end - start == PANEL {
                let multiples = std::array::from_fn(|k| (head_re[start + k], head_im[start + k]));
                let rows = std::array::from_fn(|k| above(start + k));
                subtract_panel(&multiples, &rows, tail_re, tail_im);
            } else {
                for k in start..end {
                    subtract((head_re[k], head_im[k]), above(k), tail_re, tail_im);
                }
            }
        }
    }

    /// Solves A x = b in place.
    pub(crate) fn solve(&self, x: &mut [Complex64]) {
        let n = self.n;
        for (k, &other) in self.swaps.iter().enumerate() {
            x.swap(k, other);
        }
        let entry = |row: usize, column: usize| {
            Complex64::new(self.re[row * n + column], self.im[row * n + column])
        };
        for row in 1..n {
            let known: Complex64 = (0..row).map(|k| entry(row, k) * x[k]).sum();
            x[row] -= known;
        }
        for row in (0..n).rev() {
            let known: Complex64 = (row + 1..n).map(|k| entry(row, k) * x[k]).sum();
            x[row] = (x[row] - known) / entry(row, row);
        }
    }

    /// Solves x A = b in place.
    pub(crate) fn solve_right(&mut self, x: &mut [Complex64]) {
        let n = self.n;
        let (re, im) = (&mut self.row.0, &mut self.row.1);
        for (k, value) in x.iter().enumerate() {
            (re[k], im[k]) = (value.re, value.im);
        }
        for k in 0..n {
            let own = k * n..(k + 1) * n;
            let (row_re, row_im) = (&self.re[own.clone()], &self.im[own]);
            let value = Complex64::new(re[k], im[k]) / Complex64::new(row_re[k], row_im[k]);
            (re[k], im[k]) = (value.re, value.im);
            let above = (&row_re[k + 1..], &row_im[k + 1..]);
            subtract((value.re, value.im), above, &mut re[k + 1..], &mut im[k + 1..]);
        }
        for k in (1..n).rev() {
            let above = (&self.re[k * n..k * n + k], &self.im[k * n..k * n + k]);
            let multiple = (re[k], im[k]);
            subtract(multiple, above, &mut re[..k], &mut im[..k]);
        }
        for (k, value) in x.iter_mut().enumerate() {
            *value = Complex64::new(re[k], im[k]);
        }
        for (k, &other) in self.swaps.iter().enumerate().rev() {
            x.swap(k, other);
        }
    }
}

/// `into` -= multiple * above.
fn subtract(multiple: (f64, f64), above: (&[f64], &[f64]), re: &mut [f64], im: &mut [f64]) {
    let both = re.iter_mut().zip(im).zip(above.0.iter().zip(above.1));
    for ((re, im), (above_re, above_im)) in both {
        *re -= multiple.0 * above_re - multiple.1 * above_im;
        *im -= multiple.0 * above_im + multiple.1 * above_re;
    }
}

/// The same for the four rows of a panel at once.
fn subtract_panel(
    multiples: &[(f64, f64); PANEL],
    above: &[(&[f64], &[f64]); PANEL],
    re: &mut [f64],
    im: &mut [f64],
) {
    let length = re.len();
    let im = &mut im[..length];
    let rows: [(&[f64], &[f64]); PANEL] =
        std::array::from_fn(|k| (&above[k].0[..length], &above[k].1[..length]));
    for at in 0..length {
        let (mut sum_re, mut sum_im) = (0.0, 0.0);
        for (multiple, row) in multiples.iter().zip(&rows) {
            sum_re += multiple.0 * row.0[at] - multiple.1 * row.1[at];
            sum_im += multiple.0 * row.1[at] + multiple.1 * row.0[at];
        }
        re[at] -= sum_re;
        im[at] -= sum_im;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(n: usize) -> Vec<Complex64> {
        // Arbitrary, well-conditioned, with pivoting needed.
        (0..n * n)
            .map(|at| {
                let x = at as f64;
                let bump = if at % n == (at / n + 1) % n { 3.0 } else { 0.0 };
                Complex64::new((x * 1.7).sin() + bump, (x * 0.9).cos())
            })
            .collect()
    }

    fn factored(n: usize) -> (Vec<Complex64>, DenseLu) {
        let a = sample(n);
        let mut lu = DenseLu::default();
        lu.reset_to_unit(n);
        for (at, value) in a.iter().enumerate() {
            let unit = if at / n == at % n { 1.0 } else { 0.0 };
            lu.add(at / n, at % n, value - unit);
        }
        lu.factor().unwrap();
        (a, lu)
    }

    #[test]
    fn solutions_of_both_sides_undo_the_product() {
        // With whole panels, and with one, two and three columns over.
        for n in [1, 2, 3, 4, 5, 8, 11, 14, 17] {
            let (a, mut lu) = factored(n);
            let x: Vec<_> = (0..n).map(|at| Complex64::new(at as f64, 1.0 - at as f64)).collect();
            let mut left: Vec<Complex64> =
                (0..n).map(|row| (0..n).map(|k| a[row * n + k] * x[k]).sum()).collect();
            let mut right: Vec<Complex64> =
                (0..n).map(|column| (0..n).map(|k| x[k] * a[k * n + column]).sum()).collect();
            lu.solve(&mut left);
            lu.solve_right(&mut right);
            for (got, want) in left.iter().chain(&right).zip(x.iter().chain(&x)) {
                assert!((got - want).norm() < 1e-11, "{n}: {got} {want}");
            }
        }
    }

    #[test]
    fn a_matrix_without_an_inverse_is_refused() {
        let mut lu = DenseLu::default();
        lu.reset_to_unit(2);
        lu.add(0, 1, Complex64::ONE);
        lu.add(1, 0, Complex64::ONE);
        assert_eq!(lu.factor(), Err(Singular));
    }
}
