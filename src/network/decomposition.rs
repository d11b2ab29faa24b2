//! Singular values and eigenvalues by iterations of bounded length.
//!
//! The iterations of nalgebra have no bound unless one is given, and do not end for numbers that
//! are not finite. For finite numbers a few steps per row are enough.

use nalgebra::{DMatrix, DVector, Dyn, SVD, SymmetricEigen};
use num_complex::Complex64;

/// Maximum number of steps for a matrix, far above what finite matrices need.
fn max_steps(matrix: &DMatrix<Complex64>) -> usize {
    1000 + 100 * matrix.nrows().max(matrix.ncols())
}

fn is_finite(matrix: &DMatrix<Complex64>) -> bool {
    matrix.iter().all(|entry| entry.is_finite())
}

/// The result of an iteration; `None` where it has numbers that are not finite. Values are not
/// ordered, because nalgebra's sorting panics on NaN.
fn found(
    matrix: &DMatrix<Complex64>,
    iterate: impl FnOnce(DMatrix<Complex64>) -> Option<SVD<Complex64, Dyn, Dyn>>,
) -> Option<SVD<Complex64, Dyn, Dyn>> {
    let found = is_finite(matrix).then(|| iterate(matrix.clone())).flatten()?;
    found.singular_values.iter().all(|value| value.is_finite()).then_some(found)
}

/// Singular values with both sets of vectors; `None` for a matrix that is not finite, or where the
/// iteration does not converge.
pub(crate) fn decomposed(matrix: &DMatrix<Complex64>) -> Option<SVD<Complex64, Dyn, Dyn>> {
    let steps = max_steps(matrix);
    found(matrix, |matrix| SVD::try_new_unordered(matrix, true, true, f64::EPSILON, steps))
}

/// Singular values, in no order; `None` as [`decomposed`].
pub(crate) fn singular_values(matrix: &DMatrix<Complex64>) -> Option<DVector<f64>> {
    let steps = max_steps(matrix);
    let found =
        found(matrix, |matrix| SVD::try_new_unordered(matrix, false, false, f64::EPSILON, steps))?;
    Some(found.singular_values)
}

/// The largest singular value; `None` as [`decomposed`].
pub(crate) fn largest_singular_value(matrix: &DMatrix<Complex64>) -> Option<f64> {
    Some(singular_values(matrix)?.iter().copied().fold(0.0, f64::max))
}

/// Eigenvalues and eigenvectors of a Hermitian matrix; `None` as for [`decomposed`].
pub(crate) fn hermitian(matrix: DMatrix<Complex64>) -> Option<SymmetricEigen<Complex64, Dyn>> {
    let steps = max_steps(&matrix);
    is_finite(&matrix).then(|| SymmetricEigen::try_new(matrix, f64::EPSILON, steps)).flatten()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn every_matrix_comes_to_an_end() {
        let sizes = [0.0, 5e-324, 1e-310, 1e-160, 1.0, 1e9, 1e155, 1e308, f64::NAN, f64::INFINITY];
        for one in sizes {
            for other in sizes {
                let matrix = DMatrix::from_fn(3, 3, |row, column| {
                    Complex64::new(if row < column { one } else { other }, one)
                });
                let largest = largest_singular_value(&matrix);
                let both = decomposed(&matrix);
                let split = hermitian(&matrix + matrix.adjoint());
                if !(one.is_finite() && other.is_finite()) {
                    assert!(largest.is_none() && both.is_none() && split.is_none());
                }
            }
        }
        let ordinary = DMatrix::from_diagonal_element(2, 2, Complex64::new(0.0, 3.0));
        assert!((largest_singular_value(&ordinary).unwrap() - 3.0).abs() < 1e-15);
    }
}
