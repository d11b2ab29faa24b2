//! LU factors of small dense complex matrices, in reused buffers.
//!
//! A sweep factors thousands of small matrices; the buffers here are allocated once per sweep.
//! Rows are pivoted by magnitude. Results are refused when the matrix is singular to working
//! precision, judged by the exact 1-norm condition of the factors.

use num_complex::Complex64;

/// The matrix is singular to working precision.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Singular;

/// Above this condition number fewer than three digits are correct.
const WORST_CONDITION: f64 = 1e13;
/// A smaller ratio of pivots may mean an ill-conditioned matrix; only then is the condition
/// computed.
const SUSPICIOUS_PIVOT_RATIO: f64 = 1e-7;

/// LU factors P A = L U of an n by n matrix, row-major.
#[derive(Clone, Debug)]
pub(crate) struct Lu {
    n: usize,
    factors: Vec<Complex64>,
    swaps: Vec<usize>,
    scratch: Vec<Complex64>,
    /// The matrix factored last.
    matrix: Vec<Complex64>,
}

impl Lu {
    pub(crate) fn new(n: usize) -> Self {
        Self {
            n,
            factors: vec![Complex64::ZERO; n * n],
            swaps: vec![0; n],
            scratch: vec![Complex64::ZERO; n],
            matrix: vec![Complex64::ZERO; n * n],
        }
    }

    /// The exact 1-norm condition number of the matrix factored last.
    pub(crate) fn condition(&mut self) -> f64 {
        one_norm(&self.matrix, self.n) * self.inverse_norm()
    }

    /// Factors `matrix` (n by n, row-major).
    pub(crate) fn factor(&mut self, matrix: &[Complex64]) -> Result<(), Singular> {
        let n = self.n;
        self.factors.copy_from_slice(matrix);
        self.matrix.copy_from_slice(matrix);
        let (mut smallest, mut largest) = (f64::INFINITY, 0.0_f64);
        for k in 0..n {
            let size_of = |row: usize| self.factors[row * n + k].norm_sqr();
            let larger =
                |a: usize, b: usize| if size_of(b).total_cmp(&size_of(a)).is_ge() { b } else { a };
            let pivot_row = (k + 1..n).fold(k, larger);
            self.swaps[k] = pivot_row;
            if pivot_row != k {
                for column in 0..n {
                    self.factors.swap(k * n + column, pivot_row * n + column);
                }
            }
            let pivot = self.factors[k * n + k];
            let size = magnitude(pivot);
            if size == 0.0 || !size.is_finite() {
                return Err(Singular);
            }
            smallest = smallest.min(size);
            largest = largest.max(size);
            let inverse = pivot.inv();
            let (upper, lower) = self.factors.split_at_mut((k + 1) * n);
            let pivot_tail = &upper[k * n + k + 1..];
            for row in lower.chunks_exact_mut(n) {
                let multiple = row[k] * inverse;
                row[k] = multiple;
                for (entry, &above) in row[k + 1..].iter_mut().zip(pivot_tail) {
                    *entry -= multiple * above;
                }
            }
        }
        if smallest < SUSPICIOUS_PIVOT_RATIO * largest && self.condition() > WORST_CONDITION {
            return Err(Singular);
        }
        Ok(())
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
                let multiple = self.factors[row * n + k];
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
                let multiple = self.factors[row * n + k];
                let below = &tail[(k - row - 1) * columns..(k - row) * columns];
                for (entry, &lower) in current.iter_mut().zip(below) {
                    *entry -= multiple * lower;
                }
            }
            let inverse = self.factors[row * n + row].inv();
            for entry in current {
                *entry *= inverse;
            }
        }
    }

    /// Solves X A = B in place for every row of `rhs` (rows by n, row-major).
    pub(crate) fn solve_right(&mut self, rhs: &mut [Complex64]) {
        let n = self.n;
        for row in rhs.chunks_exact_mut(n) {
            // x P^T L U = b: first y U = b from the left, then z L = y from the right, then the row
            // exchanges are undone.
            for k in 0..n {
                let mut value = row[k];
                for (done, factor) in row[..k].iter().zip(self.factors[k..].iter().step_by(n)) {
                    value -= done * factor;
                }
                row[k] = value / self.factors[k * n + k];
            }
            for k in (0..n).rev() {
                let mut value = row[k];
                let below = self.factors.iter().skip(k).step_by(n).skip(k + 1);
                for (done, factor) in row[k + 1..].iter().zip(below) {
                    value -= done * factor;
                }
                row[k] = value;
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
}

/// The magnitude of a number; squares are faster than `norm`, which is needed where they have no room.
fn magnitude(value: Complex64) -> f64 {
    let square = value.norm_sqr();
    if square.is_normal() { square.sqrt() } else { value.norm() }
}

fn one_norm(matrix: &[Complex64], n: usize) -> f64 {
    (0..n)
        .map(|column| matrix[column..].iter().step_by(n).map(|entry| entry.norm()).sum())
        .fold(0.0, f64::max)
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
        for n in 1..7 {
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
                assert!((got - want).norm() < 1e-11, "{n}: {got} {want}");
            }
        }
    }

    #[test]
    fn a_matrix_of_tenths_with_rank_two_is_refused() {
        let tenths: Vec<_> =
            [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9].map(Complex64::from).to_vec();
        assert_eq!(Lu::new(3).factor(&tenths), Err(Singular));
    }
}
