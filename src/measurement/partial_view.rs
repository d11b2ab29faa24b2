//! One measurement of some ports of an N-port at one frequency, the other ports terminated.
//!
//! With the reflection coefficients Γ of the terminations a measurement is
//! M = S_ee + S_ei (1 - Γ S_ii)⁻¹ Γ S_ie, for measured ports e and terminated ports i.

use crate::network::Lu;
use nalgebra::DMatrix;
use num_complex::Complex64;

pub(super) type Matrix = DMatrix<Complex64>;

/// Matrix and terminations are in resonance: 1 - Γ S is singular to working precision.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Resonance;

/// One measurement at one frequency.
#[derive(Clone)]
pub(super) struct PartialView {
    /// The measured ports, from 0, in the order of the measurement.
    pub(super) ports: Vec<usize>,
    /// The measured scattering matrix.
    pub(super) measured: Matrix,
    /// Reflection coefficients of the terminations of all ports; 0 at measured ports.
    pub(super) terminations: Vec<Complex64>,
    /// One divided by the standard uncertainty of the entries, or 1 where the measurements have
    /// none.
    pub(super) weight: f64,
}

/// The waves between the measured ports and all ports of the terminated N-port.
pub(super) struct PassedWaves {
    /// Waves into all ports for a unit wave into each measured port; N rows.
    pub(super) into: Matrix,
    /// Waves out of the measured ports for a unit wave that arises at each port; N columns.
    pub(super) out: Matrix,
}

impl PartialView {
    /// The waves in an N-port of this matrix.
    pub(super) fn waves(&self, matrix: &Matrix) -> Result<PassedWaves, Resonance> {
        let size = self.terminations.len();
        let repeated = repeated_reflections(matrix, &self.terminations)?;
        let into = repeated.select_columns(&self.ports);
        // The matrix 1 + S (1 - Γ S)⁻¹ Γ, reduced to the rows of the measured ports.
        let mut out = matrix * &repeated;
        for column in 0..size {
            for row in 0..size {
                out[(row, column)] *= self.terminations[column];
            }
        }
        let out = out + Matrix::identity(size, size);
        Ok(PassedWaves { into, out: out.select_rows(&self.ports) })
    }

    /// The measurement minus that of an N-port with this matrix.
    pub(super) fn residual(&self, matrix: &Matrix, waves: &PassedWaves) -> Matrix {
        &self.measured - (matrix * &waves.into).select_rows(&self.ports)
    }

    /// The measurement in references in which the terminations reflect nothing.
    pub(super) fn referred_to(&self, terminations: &[Complex64]) -> Result<Self, Resonance> {
        let own: Vec<Complex64> = self.ports.iter().map(|&port| terminations[port]).collect();
        let matched = vec![Complex64::ZERO; self.terminations.len()];
        let measured = referred(&self.measured, &own)?;
        Ok(Self { measured, ports: self.ports.clone(), terminations: matched, ..*self })
    }
}

/// The matrix (1 - Γ S)⁻¹: the waves into all ports for waves that arise there.
fn repeated_reflections(matrix: &Matrix, terminations: &[Complex64]) -> Result<Matrix, Resonance> {
    let size = terminations.len();
    // Row-major, as the solver needs it.
    let system: Vec<Complex64> = (0..size * size)
        .map(|at| {
            let (row, column) = (at / size, at % size);
            let one = if row == column { Complex64::ONE } else { Complex64::ZERO };
            one - terminations[row] * matrix[(row, column)]
        })
        .collect();
    let mut lu = Lu::new(size);
    lu.factor(&system).map_err(|_| Resonance)?;
    let mut inverse: Vec<Complex64> = Matrix::identity(size, size).iter().copied().collect();
    lu.solve(&mut inverse, size);
    Ok(Matrix::from_row_slice(size, size, &inverse))
}

/// S in the waves a - Γ b and b: S (1 - Γ S)⁻¹. A port terminated in Γ has no incident wave then.
/// With -Γ it is the inverse transformation.
pub(super) fn referred(matrix: &Matrix, terminations: &[Complex64]) -> Result<Matrix, Resonance> {
    Ok(matrix * repeated_reflections(matrix, terminations)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(at: usize, size: f64) -> Complex64 {
        #[expect(clippy::cast_precision_loss, reason = "small numbers")]
        Complex64::from_polar(size, at as f64)
    }

    #[test]
    fn references_there_and_back() {
        let matrix = Matrix::from_fn(3, 3, |row, column| number(3 * row + column, 0.3));
        let terminations: Vec<Complex64> = (0..3).map(|at| number(at + 7, 0.4)).collect();
        let back: Vec<Complex64> = terminations.iter().map(|end| -end).collect();
        let there = referred(&matrix, &terminations).unwrap();
        // A few rounding errors of numbers of size one.
        assert!((referred(&there, &back).unwrap() - matrix).norm() < 1e-14);
    }

    #[test]
    fn a_short_on_a_shorted_line_is_a_resonance() {
        let short = -Complex64::ONE;
        let matrix = Matrix::from_element(1, 1, short);
        assert_eq!(referred(&matrix, &[short]), Err(Resonance));
    }
}
