//! Covariances of the S-parameters of an N-port over frequency.

use super::error::{CovarianceFault, MeasurementError};
use crate::network::hermitian;
use nalgebra::DMatrix;
use num_complex::Complex64;

/// The columns of a table of entry covariances: one row for each frequency and pair of entries.
pub const COVARIANCE_COLUMNS: [&str; 7] =
    ["frequency_hz", "row_a", "column_a", "row_b", "column_b", "re", "im"];

/// Negative variances and unequal mirror entries up to this share of the maximum are rounding
/// errors.
const ROUNDING: f64 = 1e-9;

/// Covariances of the entries of an N-port at one or more ascending frequencies.
///
/// Each matrix is Hermitian, has no negative variance in any direction, and has the entries in
/// row-major order. An element is the mean of e_a conj(e_b) / 2, so the diagonal holds the
/// variances of real and imaginary parts.
#[derive(Clone, Debug, PartialEq)]
pub struct EntryCovariances {
    ports: usize,
    at_hz: Vec<f64>,
    matrices: Vec<DMatrix<Complex64>>,
}

impl EntryCovariances {
    /// Checks covariances of the entries of a network with `ports` ports, each with its frequency
    /// in Hz.
    ///
    /// # Errors
    /// [`MeasurementError::NoCovariances`] for an empty list, and
    /// [`MeasurementError::EntryCovariance`] with the first matrix that is not a covariance.
    pub fn new(
        ports: usize,
        points: Vec<(f64, DMatrix<Complex64>)>,
    ) -> Result<Self, MeasurementError> {
        if points.is_empty() {
            return Err(MeasurementError::NoCovariances);
        }
        let mut previous_hz = f64::NEG_INFINITY;
        for (point, (hz, matrix)) in points.iter().enumerate() {
            if let Some(fault) = fault(ports, previous_hz, *hz, matrix) {
                return Err(MeasurementError::EntryCovariance { point, frequency_hz: *hz, fault });
            }
            previous_hz = *hz;
        }
        let (at_hz, matrices) = points.into_iter().unzip();
        Ok(Self { ports, at_hz, matrices })
    }

    /// The covariances of a least-squares fit, at one or more ascending frequencies. Their formula
    /// V Σ⁻² V^H makes them Hermitian without negative variances.
    pub(super) fn of_fit(
        ports: usize,
        at_hz: &[f64],
        matrices: Vec<DMatrix<Complex64>>,
    ) -> Result<Self, MeasurementError> {
        for (point, (matrix, &frequency_hz)) in matrices.iter().zip(at_hz).enumerate() {
            if matrix.iter().any(|entry| !entry.is_finite()) {
                let fault = CovarianceFault::NotFinite;
                return Err(MeasurementError::EntryCovariance { point, frequency_hz, fault });
            }
        }
        Ok(Self { ports, at_hz: at_hz.to_vec(), matrices })
    }

    /// The frequencies, Hz, each with its matrix.
    pub fn points(&self) -> impl Iterator<Item = (f64, &DMatrix<Complex64>)> {
        self.at_hz.iter().copied().zip(&self.matrices)
    }

    /// The maximum standard uncertainty of an entry's real or imaginary part.
    #[must_use]
    pub fn largest_uncertainty(&self) -> f64 {
        let diagonals = self
            .matrices
            .iter()
            .map(|matrix| (0..matrix.nrows()).map(|at| matrix[(at, at)].re).fold(0.0, f64::max));
        diagonals.fold(0.0, f64::max).sqrt()
    }

    /// The number of ports of the network.
    #[must_use]
    pub fn ports(&self) -> usize {
        self.ports
    }

    /// The first and the last frequency, Hz.
    #[must_use]
    pub fn band_hz(&self) -> (f64, f64) {
        (self.at_hz[0], self.at_hz[self.at_hz.len() - 1])
    }

    /// The covariance at a frequency, linear between its neighbours.
    ///
    /// # Errors
    /// [`MeasurementError::OutsideCovariances`] for a frequency outside the band; nothing is
    /// extrapolated.
    pub(super) fn at(&self, frequency_hz: f64) -> Result<DMatrix<Complex64>, MeasurementError> {
        let (first_hz, last_hz) = self.band_hz();
        let rounding_hz = 1e-12 * last_hz;
        if frequency_hz < first_hz - rounding_hz || frequency_hz > last_hz + rounding_hz {
            return Err(MeasurementError::OutsideCovariances { first_hz, last_hz, frequency_hz });
        }
        let above = self.at_hz.partition_point(|known| *known < frequency_hz);
        let last = self.matrices.len() - 1;
        if above == 0 || above > last {
            return Ok(self.matrices[above.min(last)].clone());
        }
        let (from_hz, to_hz) = (self.at_hz[above - 1], self.at_hz[above]);
        let share = (frequency_hz - from_hz) / (to_hz - from_hz);
        Ok(&self.matrices[above - 1] * Complex64::from(1.0 - share)
            + &self.matrices[above] * Complex64::from(share))
    }
}

fn fault(
    ports: usize,
    previous_hz: f64,
    hz: f64,
    matrix: &DMatrix<Complex64>,
) -> Option<CovarianceFault> {
    let size = ports * ports;
    if !(hz > previous_hz && hz.is_finite()) {
        return Some(CovarianceFault::NotAscending);
    }
    if size == 0 || matrix.shape() != (size, size) {
        return Some(CovarianceFault::Size);
    }
    if matrix.iter().any(|entry| !entry.is_finite()) {
        return Some(CovarianceFault::NotFinite);
    }
    let largest = matrix.iter().map(|entry| entry.norm()).fold(0.0, f64::max);
    let differs = |row: usize, column: usize| {
        (matrix[(row, column)] - matrix[(column, row)].conj()).norm() > ROUNDING * largest
    };
    if (0..size).any(|row| (0..=row).any(|column| differs(row, column))) {
        return Some(CovarianceFault::NotHermitian);
    }
    let Some(split) = hermitian(matrix.clone()) else { return Some(CovarianceFault::NotFinite) };
    let variances = split.eigenvalues;
    let is_negative = variances.min() < -ROUNDING * variances.max().max(f64::MIN_POSITIVE);
    is_negative.then_some(CovarianceFault::NegativeVariance)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn one(value: f64) -> DMatrix<Complex64> {
        DMatrix::from_element(1, 1, value.into())
    }

    fn fault_of(points: Vec<(f64, DMatrix<Complex64>)>) -> CovarianceFault {
        match EntryCovariances::new(1, points).unwrap_err() {
            MeasurementError::EntryCovariance { fault, .. } => fault,
            other => panic!("{other}"),
        }
    }

    #[test]
    fn what_is_no_covariance_is_refused() {
        assert_eq!(EntryCovariances::new(1, vec![]), Err(MeasurementError::NoCovariances));
        let good = || (1e9, one(1.0));
        assert_eq!(fault_of(vec![good(), good()]), CovarianceFault::NotAscending);
        assert_eq!(fault_of(vec![(1e9, DMatrix::zeros(2, 2))]), CovarianceFault::Size);
        assert_eq!(fault_of(vec![(1e9, one(f64::NAN))]), CovarianceFault::NotFinite);
        assert_eq!(fault_of(vec![(1e9, one(-1.0))]), CovarianceFault::NegativeVariance);
        let turned = DMatrix::from_element(1, 1, Complex64::I);
        assert_eq!(fault_of(vec![(1e9, turned)]), CovarianceFault::NotHermitian);
    }

    #[test]
    fn between_two_frequencies_a_covariance_is_linear_and_beyond_them_there_is_none() {
        let two = EntryCovariances::new(1, vec![(1e9, one(1.0)), (2e9, one(3.0))]).unwrap();
        assert_eq!(two.at(1.25e9).unwrap(), one(1.5));
        assert_eq!(two.at(2e9).unwrap(), one(3.0));
        assert!(matches!(two.at(2.1e9), Err(MeasurementError::OutsideCovariances { .. })));
    }
}
