//! The fit of one scattering matrix to measurements of some of its ports at a time, at one
//! frequency.
//!
//! The start fills the matrix in references that equal the terminations, in which a terminated port has
//! no incident wave (J. C. Tippet and R. A. Speciale, IEEE Trans. MTT-30 (1982) 661-666, from memory).
//! Gauss-Newton steps follow with the exact derivative dM = B dS A, where A are the waves into all
//! ports for a unit wave into each measured one and B the waves out of the measured ones for a unit
//! wave that arises at each port. The covariance of the result is (J^H W J)⁻¹ with the derivative J and
//! the weights W (JCGM 102:2011).

use super::error::MeasurementError;
use super::partial_view::{Matrix, PartialView, Resonance, referred};
use crate::network::{Port, singular_values};
use nalgebra::{DVector, Dyn, QR};
use num_complex::Complex64;

/// Relative steps below this have no effect.
const CONVERGED: f64 = 1e-14;
/// Rounding may keep all steps above that limit; if the last step is above this one, the fit has
/// not converged.
const MAX_LAST_STEP: f64 = 1e-9;
const MAX_STEPS: usize = 60;
/// Entries above this have diverged.
const MAX_ENTRY: f64 = 1e6;
/// Above this condition number fewer than four digits are correct.
const MAX_CONDITION: f64 = 1e12;

/// The assignment of entries of S to unknowns.
pub(super) struct Unknowns {
    ports: usize,
    /// The unknown of each entry, row-major.
    of: Vec<usize>,
    count: usize,
}

/// S at one frequency.
pub(super) struct Fit {
    /// The matrix.
    pub(super) matrix: Matrix,
    /// The condition number of the equations.
    pub(super) condition: f64,
    /// For each measurement its difference to the value of the matrix.
    pub(super) residuals: Vec<Matrix>,
    /// Covariance of the entries, for weights of one over the standard uncertainty.
    pub(super) covariance: Matrix,
}

/// The reason for which the fit has no result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum FitFailure {
    /// Matrix and terminations are in resonance.
    Resonance,
    /// The measurements do not determine all entries.
    Undetermined { condition: f64 },
    /// The steps do not converge.
    NotConverged,
}

impl From<Resonance> for FitFailure {
    fn from(Resonance: Resonance) -> Self {
        Self::Resonance
    }
}

impl FitFailure {
    /// The error that names the frequency.
    pub(super) fn at(self, frequency_hz: f64) -> MeasurementError {
        match self {
            Self::Resonance => MeasurementError::Resonance { frequency_hz },
            Self::Undetermined { condition } => {
                MeasurementError::Undetermined { frequency_hz, condition }
            }
            Self::NotConverged => MeasurementError::NoFit { frequency_hz },
        }
    }
}

impl Unknowns {
    /// The unknowns of an N-port that is the same in each order of `symmetries`, each of which lists
    /// all ports. `measured` gives the ports of each measurement.
    ///
    /// # Errors
    /// [`MeasurementError::Missing`] for an entry that is in no measurement.
    pub(super) fn new(
        ports: usize,
        is_reciprocal: bool,
        symmetries: &[Vec<Port>],
        measured: &[&[Port]],
    ) -> Result<Self, MeasurementError> {
        // Equal entries are represented by the first of them.
        let mut first: Vec<usize> = (0..ports * ports).collect();
        let mut unite = |one: usize, other: usize| {
            let (kept, gone) = (first[one].min(first[other]), first[one].max(first[other]));
            first.iter_mut().filter(|place| **place == gone).for_each(|place| *place = kept);
        };
        for row in 0..ports {
            for column in 0..ports {
                let entry = row * ports + column;
                if is_reciprocal {
                    unite(entry, column * ports + row);
                }
                for order in symmetries {
                    unite(entry, order[row].index() * ports + order[column].index());
                }
            }
        }
        let is_measured = |entry: usize| {
            let [row, column] = [entry / ports, entry % ports].map(Port::from_index);
            measured.iter().any(|listed| listed.contains(&row) && listed.contains(&column))
        };
        let mut numbered: Vec<usize> = first.clone();
        numbered.sort_unstable();
        numbered.dedup();
        for &class in &numbered {
            if !(0..ports * ports).any(|entry| first[entry] == class && is_measured(entry)) {
                let [row, column] = [class / ports, class % ports].map(Port::from_index);
                return Err(MeasurementError::Missing { row, column });
            }
        }
        let of = first.iter().map(|class| numbered.partition_point(|one| one < class)).collect();
        Ok(Self { ports, of, count: numbered.len() })
    }

    /// The number of unknowns.
    pub(super) fn count(&self) -> usize {
        self.count
    }

    /// How many complex products a factorisation of the equations takes at one frequency.
    pub(super) fn products(&self, equations: usize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "an estimate")]
        let products = equations as f64 * (self.count as f64).powi(2);
        products
    }

    /// The matrix as if every termination were matched: each entry measured belongs to one unknown
    /// then, and the fit is a weighted mean.
    pub(super) fn if_matched(&self, views: &[PartialView]) -> Matrix {
        self.matrix(&self.averaged(views))
    }

    /// Fits the matrix to all measurements by weighted least squares.
    pub(super) fn fit(&self, views: &[PartialView]) -> Result<Fit, FitFailure> {
        let mut values = self.start(views);
        let mut steps = 0;
        let last = loop {
            let (derivative, residuals) = self.linearised(views, &values)?;
            let factored = Factored::new(derivative)?;
            // Later steps are near the first one; the last one is checked again.
            if steps == 0 {
                factored.condition()?;
            }
            let step = factored.solve(residuals)?;
            values += &step;
            if !values.iter().all(|value| value.is_finite() && value.norm() < MAX_ENTRY) {
                return Err(FitFailure::NotConverged);
            }
            let relative = step.norm() / (1.0 + values.norm());
            steps += 1;
            if relative <= CONVERGED || steps == MAX_STEPS {
                if relative > MAX_LAST_STEP {
                    return Err(FitFailure::NotConverged);
                }
                break factored;
            }
        };
        let (condition, covariance) = (last.condition()?, last.inverse_square()?);
        let matrix = self.matrix(&values);
        let residuals = views
            .iter()
            .map(|view| Ok(view.residual(&matrix, &view.waves(&matrix)?)))
            .collect::<Result<Vec<Matrix>, Resonance>>()?;
        let covariance = Matrix::from_fn(self.of.len(), self.of.len(), |one, other| {
            covariance[(self.of[one], self.of[other])]
        });
        Ok(Fit { matrix, condition, residuals, covariance })
    }

    fn matrix(&self, values: &DVector<Complex64>) -> Matrix {
        Matrix::from_fn(self.ports, self.ports, |row, column| {
            values[self.of[row * self.ports + column]]
        })
    }

    /// The weighted mean of the measured entries, as if every termination were matched.
    fn averaged(&self, views: &[PartialView]) -> DVector<Complex64> {
        let mut sums = DVector::from_element(self.count, Complex64::ZERO);
        let mut totals = vec![0.0; self.count];
        // Relative to the largest weight, whose square is a finite number.
        let largest = views.iter().map(|view| view.weight).fold(0.0, f64::max);
        for view in views {
            let weight = (view.weight / largest).powi(2).max(f64::MIN_POSITIVE);
            for (row, &to) in view.ports.iter().enumerate() {
                for (column, &from) in view.ports.iter().enumerate() {
                    let unknown = self.of[to * self.ports + from];
                    sums[unknown] += view.measured[(row, column)] * weight;
                    totals[unknown] += weight;
                }
            }
        }
        for (sum, total) in sums.iter_mut().zip(totals) {
            *sum /= total;
        }
        sums
    }

    /// The start of the fit. A resonance is not an error here: without terminations the start is
    /// only less accurate.
    fn start(&self, views: &[PartialView]) -> DVector<Complex64> {
        self.start_by_references(views).unwrap_or_else(|Resonance| self.averaged(views))
    }

    /// Fills the matrix in references in which the terminations reflect nothing, and transforms it
    /// back. Where terminations differ between measurements the first of each port is used.
    fn start_by_references(&self, views: &[PartialView]) -> Result<DVector<Complex64>, Resonance> {
        let terminations: Vec<Complex64> = (0..self.ports)
            .map(|port| {
                let terminated = views.iter().find(|view| !view.ports.contains(&port));
                // The termination of a port that every measurement contains has no effect.
                terminated.map_or(Complex64::ZERO, |view| view.terminations[port])
            })
            .collect();
        let referred_views = views
            .iter()
            .map(|view| view.referred_to(&terminations))
            .collect::<Result<Vec<_>, _>>()?;
        let back: Vec<Complex64> = terminations.iter().map(|end| -end).collect();
        let matrix = referred(&self.matrix(&self.averaged(&referred_views)), &back)?;
        let mut values = DVector::from_element(self.count, Complex64::ZERO);
        for row in 0..self.ports {
            for column in 0..self.ports {
                values[self.of[row * self.ports + column]] = matrix[(row, column)];
            }
        }
        Ok(values)
    }

    /// The weighted derivative of all measurements by the unknowns, and their weighted residuals.
    fn linearised(
        &self,
        views: &[PartialView],
        values: &DVector<Complex64>,
    ) -> Result<(Matrix, DVector<Complex64>), Resonance> {
        let equations: usize = views.iter().map(|view| view.measured.len()).sum();
        let matrix = self.matrix(values);
        let mut derivative = Matrix::zeros(equations, self.count);
        let mut residuals = DVector::from_element(equations, Complex64::ZERO);
        let mut equation = 0;
        for view in views {
            let waves = view.waves(&matrix)?;
            let residual = view.residual(&matrix, &waves);
            for row in 0..view.ports.len() {
                for column in 0..view.ports.len() {
                    residuals[equation] = view.weight * residual[(row, column)];
                    for to in 0..self.ports {
                        for from in 0..self.ports {
                            derivative[(equation, self.of[to * self.ports + from])] +=
                                view.weight * waves.out[(row, to)] * waves.into[(from, column)];
                        }
                    }
                    equation += 1;
                }
            }
        }
        Ok((derivative, residuals))
    }
}

/// J = Q R of the weighted derivative. It takes a fraction of the time of singular vectors, and R has the
/// singular values of J.
struct Factored {
    qr: QR<Complex64, Dyn, Dyn>,
    triangle: Matrix,
}

impl Factored {
    fn new(derivative: Matrix) -> Result<Self, FitFailure> {
        if derivative.iter().any(|entry| !entry.is_finite()) {
            return Err(FitFailure::NotConverged);
        }
        if derivative.nrows() < derivative.ncols() {
            return Err(FitFailure::Undetermined { condition: f64::INFINITY });
        }
        let qr = derivative.qr();
        Ok(Self { triangle: qr.r(), qr })
    }

    /// The condition number of the equations.
    fn condition(&self) -> Result<f64, FitFailure> {
        let values = singular_values(&self.triangle).ok_or(FitFailure::NotConverged)?;
        let condition = values.max() / values.min();
        if condition.is_nan() || condition > MAX_CONDITION {
            return Err(FitFailure::Undetermined { condition });
        }
        Ok(condition)
    }

    /// The least-squares solution.
    fn solve(&self, mut right: DVector<Complex64>) -> Result<DVector<Complex64>, FitFailure> {
        self.qr.q_tr_mul(&mut right);
        let top = right.rows(0, self.triangle.ncols()).into_owned();
        self.triangle.solve_upper_triangular(&top).ok_or(FitFailure::NotConverged)
    }

    /// (J^H J)⁻¹ = R⁻¹ R⁻^H.
    fn inverse_square(&self) -> Result<Matrix, FitFailure> {
        let size = self.triangle.ncols();
        let inverse = self
            .triangle
            .solve_upper_triangular(&Matrix::identity(size, size))
            .ok_or(FitFailure::NotConverged)?;
        Ok(&inverse * inverse.adjoint())
    }
}
