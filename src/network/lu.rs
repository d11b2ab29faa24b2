//! LU factors of dense complex matrices, of two rows or of hundreds, in reused buffers.
//!
//! A sweep factors thousands of matrices; the buffers here are allocated once per sweep. Real and
//! imaginary parts are kept in separate buffers, so that inner loops run over plain numbers, several at
//! a time, and four columns are eliminated together, so that every entry behind them is loaded and
//! stored once for four steps. Rows are pivoted by magnitude. Results are refused when the matrix is
//! singular to working precision, judged by the exact 1-norm condition of the factors.

use num_complex::Complex64;
use pulp::{Arch, Simd, WithSimd};

/// The matrix is singular to working precision.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Singular;

/// Above this condition number fewer than three digits are correct.
const WORST_CONDITION: f64 = 1e13;
/// A smaller ratio of pivots may mean an ill-conditioned matrix; only then is the condition
/// computed.
const SUSPICIOUS_PIVOT_RATIO: f64 = 1e-7;
/// Columns that are eliminated together.
const PANEL: usize = 4;
/// From this number of rows on the widest instructions that the processor has pay.
const WIDE_FROM: usize = 24;

/// Real and imaginary parts of numbers, side by side.
#[derive(Clone, Debug, Default)]
struct Parts {
    re: Vec<f64>,
    im: Vec<f64>,
}

impl Parts {
    fn zeros(count: usize) -> Self {
        Self { re: vec![0.0; count], im: vec![0.0; count] }
    }

    fn resize(&mut self, count: usize) {
        for part in [&mut self.re, &mut self.im] {
            part.clear();
            part.resize(count, 0.0);
        }
    }

    fn get(&self, at: usize) -> Complex64 {
        Complex64::new(self.re[at], self.im[at])
    }

    fn set(&mut self, at: usize, value: Complex64) {
        (self.re[at], self.im[at]) = (value.re, value.im);
    }
}

/// LU factors P A = L U of an n by n matrix, row-major.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lu {
    n: usize,
    factors: Parts,
    swaps: Vec<usize>,
    scratch: Vec<Complex64>,
    row: Parts,
    /// The matrix factored last.
    matrix: Parts,
}

impl Lu {
    pub(crate) fn new(n: usize) -> Self {
        Self {
            n,
            factors: Parts::zeros(n * n),
            swaps: vec![0; n],
            scratch: vec![Complex64::ZERO; n],
            row: Parts::zeros(n),
            matrix: Parts::default(),
        }
    }

    /// Changes the number of rows; the entries are zeros then.
    pub(crate) fn resize(&mut self, n: usize) {
        self.n = n;
        self.factors.resize(n * n);
        self.row.resize(n);
        self.swaps.clear();
        self.swaps.resize(n, 0);
        self.scratch.clear();
        self.scratch.resize(n, Complex64::ZERO);
    }

    /// Real and imaginary parts of a row, to be filled before [`factor_filled`](Self::factor_filled).
    pub(crate) fn row_mut(&mut self, row: usize) -> (&mut [f64], &mut [f64]) {
        let own = row * self.n..(row + 1) * self.n;
        (&mut self.factors.re[own.clone()], &mut self.factors.im[own])
    }

    /// The exact 1-norm condition number of the matrix factored last.
    pub(crate) fn condition(&mut self) -> f64 {
        self.one_norm() * self.inverse_norm()
    }

    /// Factors `matrix` (n by n, row-major).
    pub(crate) fn factor(&mut self, matrix: &[Complex64]) -> Result<(), Singular> {
        for (at, entry) in matrix.iter().enumerate() {
            self.factors.set(at, *entry);
        }
        self.factor_filled()
    }

    /// Factors the matrix whose rows were filled.
    pub(crate) fn factor_filled(&mut self) -> Result<(), Singular> {
        let n = self.n;
        self.matrix.re.clone_from(&self.factors.re);
        self.matrix.im.clone_from(&self.factors.im);
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
        if smallest < SUSPICIOUS_PIVOT_RATIO * largest && self.condition() > WORST_CONDITION {
            return Err(Singular);
        }
        Ok(())
    }

    /// Chooses the pivot of column `k` and eliminates it in the columns of its panel; the magnitude of
    /// the pivot.
    fn eliminate_in_panel(&mut self, k: usize, end: usize) -> Result<f64, Singular> {
        let n = self.n;
        let size_of = |row: usize| self.factors.get(row * n + k).norm_sqr();
        let (mut pivot_row, mut largest) = (k, size_of(k));
        for row in k + 1..n {
            let own = size_of(row);
            if own.total_cmp(&largest).is_ge() {
                (pivot_row, largest) = (row, own);
            }
        }
        let size = magnitude(self.factors.get(pivot_row * n + k));
        if size == 0.0 || !size.is_finite() {
            return Err(Singular);
        }
        self.swaps[k] = pivot_row;
        if pivot_row != k {
            for part in [&mut self.factors.re, &mut self.factors.im] {
                let (upper, lower) = part.split_at_mut(pivot_row * n);
                upper[k * n..(k + 1) * n].swap_with_slice(&mut lower[..n]);
            }
        }
        let inverse = self.factors.get(k * n + k).inv();
        for row in k + 1..n {
            let multiple = self.factors.get(row * n + k) * inverse;
            self.factors.set(row * n + k, multiple);
            for column in k + 1..end {
                let change = multiple * self.factors.get(k * n + column);
                self.factors.re[row * n + column] -= change.re;
                self.factors.im[row * n + column] -= change.im;
            }
        }
        Ok(size)
    }

    /// Applies the steps of a panel to the columns behind it.
    fn update_behind(&mut self, start: usize, end: usize) {
        let n = self.n;
        for row in start + 1..end {
            let (upper_re, lower_re) = self.factors.re.split_at_mut(row * n);
            let (upper_im, lower_im) = self.factors.im.split_at_mut(row * n);
            for k in start..row {
                let multiple = (lower_re[k], lower_im[k]);
                let from = k * n + end..(k + 1) * n;
                let own = end..n;
                let above = (&upper_re[from.clone()], &upper_im[from]);
                subtract(multiple, above, &mut lower_re[own.clone()], &mut lower_im[own]);
            }
        }
        let (upper_re, lower_re) = self.factors.re.split_at_mut(end * n);
        let (upper_im, lower_im) = self.factors.im.split_at_mut(end * n);
        let above = |k: usize| {
            let from = k * n + end..(k + 1) * n;
            (&upper_re[from.clone()], &upper_im[from])
        };
        if end - start == PANEL {
            let rows = std::array::from_fn(|k| above(start + k));
            let update = PanelUpdate { n, start, rows, lower: (lower_re, lower_im) };
            if n < WIDE_FROM {
                update.apply();
            } else {
                Arch::new().dispatch(update);
            }
            return;
        }
        for (row_re, row_im) in lower_re.chunks_exact_mut(n).zip(lower_im.chunks_exact_mut(n)) {
            let (head_re, tail_re) = row_re.split_at_mut(end);
            let (head_im, tail_im) = row_im.split_at_mut(end);
            for k in start..end {
                subtract((head_re[k], head_im[k]), above(k), tail_re, tail_im);
            }
        }
    }

    /// Solves A X = B in place; `rhs` is n by `columns`, row-major.
    pub(crate) fn solve(&self, rhs: &mut [Complex64], columns: usize) {
        let n = self.n;
        for (k, &other) in self.swaps.iter().enumerate() {
            if other != k {
                for column in 0..columns {
                    rhs.swap(k * columns + column, other * columns + column);
                }
            }
        }
        for row in 1..n {
            let (done, rest) = rhs.split_at_mut(row * columns);
            let current = &mut rest[..columns];
            for k in 0..row {
                let multiple = self.factors.get(row * n + k);
                for (entry, &above) in current.iter_mut().zip(&done[k * columns..(k + 1) * columns])
                {
                    *entry -= multiple * above;
                }
            }
        }
        for row in (0..n).rev() {
            let (head, tail) = rhs.split_at_mut((row + 1) * columns);
            let current = &mut head[row * columns..];
            for k in row + 1..n {
                let multiple = self.factors.get(row * n + k);
                let below = &tail[(k - row - 1) * columns..(k - row) * columns];
                for (entry, &lower) in current.iter_mut().zip(below) {
                    *entry -= multiple * lower;
                }
            }
            let inverse = self.factors.get(row * n + row).inv();
            for entry in current {
                *entry *= inverse;
            }
        }
    }

    /// Solves X A = B in place for every row of `rhs` (rows by n, row-major).
    pub(crate) fn solve_right(&mut self, rhs: &mut [Complex64]) {
        let n = self.n;
        let Parts { re, im } = &mut self.row;
        for row in rhs.chunks_exact_mut(n) {
            for (k, value) in row.iter().enumerate() {
                (re[k], im[k]) = (value.re, value.im);
            }
            // x P^T L U = b: first y U = b from the left, then z L = y from the right, then the row
            // exchanges are undone.
            for k in 0..n {
                let value = Complex64::new(re[k], im[k]) / self.factors.get(k * n + k);
                (re[k], im[k]) = (value.re, value.im);
                let behind = k * n + k + 1..(k + 1) * n;
                let above = (&self.factors.re[behind.clone()], &self.factors.im[behind]);
                subtract((value.re, value.im), above, &mut re[k + 1..], &mut im[k + 1..]);
            }
            for k in (1..n).rev() {
                let before = k * n..k * n + k;
                let above = (&self.factors.re[before.clone()], &self.factors.im[before]);
                let multiple = (re[k], im[k]);
                subtract(multiple, above, &mut re[..k], &mut im[..k]);
            }
            for (k, value) in row.iter_mut().enumerate() {
                *value = Complex64::new(re[k], im[k]);
            }
            for (k, &other) in self.swaps.iter().enumerate().rev() {
                row.swap(k, other);
            }
        }
    }

    /// The exact 1-norm of the inverse: the largest column sum.
    fn inverse_norm(&mut self) -> f64 {
        let n = self.n;
        let mut worst = 0.0_f64;
        let mut column = std::mem::take(&mut self.scratch);
        for k in 0..n {
            column.fill(Complex64::ZERO);
            column[k] = Complex64::ONE;
            self.solve(&mut column, 1);
            worst = worst.max(column.iter().map(|entry| entry.norm()).sum());
        }
        self.scratch = column;
        worst
    }

    /// The 1-norm of the matrix factored last: the largest column sum.
    fn one_norm(&mut self) -> f64 {
        let sums = &mut self.row.re;
        sums.fill(0.0);
        let rows = self.matrix.re.chunks_exact(self.n.max(1));
        for (re, im) in rows.zip(self.matrix.im.chunks_exact(self.n.max(1))) {
            for (sum, (re, im)) in sums.iter_mut().zip(re.iter().zip(im)) {
                *sum += magnitude(Complex64::new(*re, *im));
            }
        }
        sums.iter().copied().fold(0.0, f64::max)
    }
}

/// The magnitude of a number; squares are faster than `norm`, which is needed where they have no room.
fn magnitude(value: Complex64) -> f64 {
    let square = value.norm_sqr();
    if square.is_normal() { square.sqrt() } else { value.norm() }
}

/// `into` -= multiple * above.
fn subtract(multiple: (f64, f64), above: (&[f64], &[f64]), re: &mut [f64], im: &mut [f64]) {
    let both = re.iter_mut().zip(im).zip(above.0.iter().zip(above.1));
    for ((re, im), (above_re, above_im)) in both {
        *re -= multiple.0 * above_re - multiple.1 * above_im;
        *im -= multiple.0 * above_im + multiple.1 * above_re;
    }
}

/// The steps of a whole panel for all rows below it.
struct PanelUpdate<'a> {
    n: usize,
    start: usize,
    /// Real and imaginary parts of the panel's rows, behind the panel.
    rows: [(&'a [f64], &'a [f64]); PANEL],
    /// The rows below, whole.
    lower: (&'a mut [f64], &'a mut [f64]),
}

impl PanelUpdate<'_> {
    fn apply(self) {
        let Self { n, start, rows, lower } = self;
        for (re, im) in lower.0.chunks_exact_mut(n).zip(lower.1.chunks_exact_mut(n)) {
            let (head_re, re) = re.split_at_mut(start + PANEL);
            let (head_im, im) = im.split_at_mut(start + PANEL);
            for (k, row) in rows.iter().enumerate() {
                subtract((head_re[start + k], head_im[start + k]), *row, re, im);
            }
        }
    }
}

impl WithSimd for PanelUpdate<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { n, start, rows, lower } = self;
        let wide = rows.map(|(re, im)| (S::as_simd_f64s(re), S::as_simd_f64s(im)));
        for (re, im) in lower.0.chunks_exact_mut(n).zip(lower.1.chunks_exact_mut(n)) {
            let (head_re, re) = re.split_at_mut(start + PANEL);
            let (head_im, im) = im.split_at_mut(start + PANEL);
            let multiples: [(f64, f64); PANEL] =
                std::array::from_fn(|k| (head_re[start + k], head_im[start + k]));
            let splats = multiples
                .map(|(re, im)| (simd.splat_f64s(-re), simd.splat_f64s(-im), simd.splat_f64s(im)));
            let (re, re_rest) = S::as_mut_simd_f64s(re);
            let (im, im_rest) = S::as_mut_simd_f64s(im);
            // Slices of one length need no checks inside the loop.
            let length = re.len().min(im.len());
            let (re, im) = (&mut re[..length], &mut im[..length]);
            let whole: [_; PANEL] =
                std::array::from_fn(|k| (&wide[k].0.0[..length], &wide[k].1.0[..length]));
            for at in 0..length {
                let (mut sum_re, mut sum_im) = (re[at], im[at]);
                for k in 0..PANEL {
                    let (minus_re, minus_im, plus_im) = splats[k];
                    let (x, y) = (whole[k].0[at], whole[k].1[at]);
                    sum_re = simd.mul_add_e_f64s(minus_re, x, sum_re);
                    sum_re = simd.mul_add_e_f64s(plus_im, y, sum_re);
                    sum_im = simd.mul_add_e_f64s(minus_re, y, sum_im);
                    sum_im = simd.mul_add_e_f64s(minus_im, x, sum_im);
                }
                (re[at], im[at]) = (sum_re, sum_im);
            }
            for (multiple, ((_, row_re), (_, row_im))) in multiples.iter().zip(&wide) {
                subtract(*multiple, (row_re, row_im), re_rest, im_rest);
            }
        }
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

    #[test]
    fn left_and_right_solves_undo_the_product() {
        // With whole panels, and with one, two and three columns over.
        for n in (1..10).chain([11, 14, 16, 17, 24, 31]) {
            let a = sample(n);
            let mut lu = Lu::new(n);
            lu.factor(&a).unwrap();
            let x: Vec<_> =
                (0..n * n).map(|at| Complex64::new(at as f64, 1.0 - at as f64)).collect();
            let product = |left: &[Complex64], right: &[Complex64]| -> Vec<Complex64> {
                (0..n * n)
                    .map(|at| (0..n).map(|k| left[at / n * n + k] * right[k * n + at % n]).sum())
                    .collect()
            };
            let mut left = product(&a, &x);
            lu.solve(&mut left, n);
            let mut right = product(&x, &a);
            lu.solve_right(&mut right);
            for (got, want) in left.iter().chain(&right).zip(x.iter().chain(&x)) {
                assert!((got - want).norm() < 1e-10, "{n}: {got} {want}");
            }
        }
    }

    #[test]
    fn a_matrix_of_tenths_with_rank_two_is_refused() {
        let tenths: Vec<_> =
            [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9].map(Complex64::from).to_vec();
        assert_eq!(Lu::new(3).factor(&tenths), Err(Singular));
    }

    #[test]
    fn rows_that_are_filled_are_factored_like_a_matrix() {
        let n = 9;
        let a = sample(n);
        let (mut whole, mut filled) = (Lu::new(n), Lu::default());
        whole.factor(&a).unwrap();
        filled.resize(n);
        for row in 0..n {
            let (re, im) = filled.row_mut(row);
            for column in 0..n {
                (re[column], im[column]) = (a[row * n + column].re, a[row * n + column].im);
            }
        }
        filled.factor_filled().unwrap();
        assert_eq!(whole.condition().to_bits(), filled.condition().to_bits());
        assert!(whole.condition() > 1.0);
    }
}
