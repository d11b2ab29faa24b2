//! An N-port from measurements of some of its ports at a time, the others ending in known loads.
//!
//! With reflections Γ at the ports that are not measured, a measurement is
//! M = S_ee + S_ei (1 - Γ S_ii)⁻¹ Γ S_ie. All measurements together are solved for S by least squares:
//! a start by references (in references that equal the terminations a port so ended has no incident
//! wave, and the measured parts simply fill the matrix: J. C. Tippet and R. A. Speciale, IEEE Trans.
//! MTT-30 (1982) 661-666, from memory), then Gauss-Newton steps with the exact derivative
//! dM = B dS A, where A are the waves into all ports for a unit wave into each measured one and B
//! what leaves the measured ones for a unit wave born at each port. Sets that are incomplete but for
//! reciprocity, and terminations that differ between measurements, need nothing more.

use super::error::RebuildError;
use crate::network::{
    Network, NetworkError, ParameterKind, Port, WaveDefinition, convert, interpolate, renormalise,
};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// A measurement of some ports.
#[derive(Clone, Debug)]
pub struct PartialMeasurement {
    /// What was measured, in any references and parameter.
    pub network: Network,
    /// Which port each of its ports is.
    pub ports: Vec<Port>,
    /// What every port of the N-port ends in when it is not measured: reflections in the common
    /// reference, port after port, frequency after frequency. Those of measured ports are not used.
    pub terminations: Vec<Vec<Complex64>>,
}

/// How one reflection came out in several measurements.
#[derive(Clone, Debug, PartialEq)]
pub struct RepeatedReflection {
    /// The port.
    pub port: Port,
    /// In how many measurements.
    pub count: usize,
    /// The largest distance of a measurement from what the rebuilt matrix gives for it.
    pub largest_residual: f64,
    /// Where, Hz.
    pub at_hz: f64,
}

/// An N-port rebuilt.
#[derive(Clone, Debug)]
pub struct Rebuilt {
    /// The network in the common reference.
    pub network: Network,
    /// Root of the mean square of what does not fit.
    pub residual_rms: f64,
    /// The largest that does not fit.
    pub residual_largest: f64,
    /// Where, Hz.
    pub residual_at_hz: f64,
    /// The largest condition number of the equations: by so much relative errors may grow.
    pub condition: f64,
    /// The reflections, which come in several measurements.
    pub repeated: Vec<RepeatedReflection>,
    /// The largest change of an entry if all terminations were taken for matched.
    pub if_terminations_ignored: f64,
}

/// Steps smaller than this no longer matter.
const SETTLED: f64 = 1e-14;
/// Conditions above this leave fewer than four good digits.
const WORST_CONDITION: f64 = 1e12;
const MOST_STEPS: usize = 60;

/// Rebuilds an N-port at the frequencies of the first measurement, in one real reference.
///
/// # Errors
/// [`RebuildError`]: ports that do not fit, entries that nothing tells, measurements that no matrix
/// fits, and errors of [`convert`], [`interpolate`] and [`renormalise`].
pub fn rebuild(
    ports: usize,
    reference_ohm: f64,
    measurements: &[PartialMeasurement],
    is_reciprocal: bool,
) -> Result<Rebuilt, RebuildError> {
    let first = measurements.first().ok_or(NetworkError::NoFrequencies)?;
    let grid = first.network.grid().clone();
    let mut brought = Vec::new();
    for (at, measurement) in measurements.iter().enumerate() {
        let named = &measurement.ports;
        let is_listed_once = (0..named.len())
            .all(|at| !named[..at].contains(&named[at]) && named[at].index() < ports);
        if named.len() != measurement.network.ports() || !is_listed_once {
            return Err(RebuildError::Ports {
                measurement: at + 1,
                named: named.len(),
                ports,
                found: measurement.network.ports(),
            });
        }
        let fits = measurement.terminations.len() == ports
            && measurement.terminations.iter().all(|over| over.len() == grid.len());
        if !fits {
            return Err(RebuildError::Terminations {
                measurement: at + 1,
                ports,
                points: grid.len(),
            });
        }
        let there = interpolate(&measurement.network, &grid)?.network;
        let scattering = convert(&there, ParameterKind::Scattering)?;
        let references = vec![reference_ohm.into(); named.len()];
        brought.push(renormalise(&scattering, references, WaveDefinition::Power)?);
    }
    let unknowns = Unknowns::new(ports, measurements, is_reciprocal)?;
    let mut rebuilt = Rebuilt {
        network: first.network.clone(),
        residual_rms: 0.0,
        residual_largest: 0.0,
        residual_at_hz: grid.first_hz(),
        condition: 0.0,
        repeated: (0..ports)
            .map(|port| RepeatedReflection {
                port: Port::from_index(port),
                count: measurements
                    .iter()
                    .filter(|measurement| measurement.ports.contains(&Port::from_index(port)))
                    .count(),
                largest_residual: 0.0,
                at_hz: grid.first_hz(),
            })
            .collect(),
        if_terminations_ignored: 0.0,
    };
    let mut entries = Vec::with_capacity(grid.len() * ports * ports);
    let (mut squares, mut count) = (0.0, 0.0);
    for (point, &frequency_hz) in grid.as_hz().iter().enumerate() {
        let views: Vec<View> = measurements
            .iter()
            .zip(&brought)
            .map(|(measurement, network)| View::new(measurement, network, point))
            .collect();
        let solved = unknowns.solve(&views).ok_or(RebuildError::NoFit { frequency_hz })?;
        let matched: Vec<View> = views.iter().map(View::with_matched_ends).collect();
        if let Some(ignorant) = unknowns.solve(&matched) {
            let change = (&ignorant.matrix - &solved.matrix).map(Complex64::norm).max();
            rebuilt.if_terminations_ignored = rebuilt.if_terminations_ignored.max(change);
        }
        rebuilt.condition = rebuilt.condition.max(solved.condition);
        for (view, residual) in views.iter().zip(&solved.residuals) {
            squares += residual.norm_squared();
            #[expect(clippy::cast_precision_loss, reason = "few entries")]
            {
                count += residual.len() as f64;
            }
            let largest = residual.map(Complex64::norm).max();
            if largest > rebuilt.residual_largest {
                (rebuilt.residual_largest, rebuilt.residual_at_hz) = (largest, frequency_hz);
            }
            for (at, &port) in view.ports.iter().enumerate() {
                let repeated = &mut rebuilt.repeated[port];
                let own = residual[(at, at)].norm();
                if own > repeated.largest_residual {
                    (repeated.largest_residual, repeated.at_hz) = (own, frequency_hz);
                }
            }
        }
        entries.extend(solved.matrix.transpose().iter().copied());
    }
    rebuilt.residual_rms = if count > 0.0 { (squares / count).sqrt() } else { 0.0 };
    rebuilt.network = Network::new(
        ParameterKind::Scattering,
        grid,
        ports,
        entries,
        vec![reference_ohm.into(); ports],
    )?;
    Ok(rebuilt)
}

type Matrix = DMatrix<Complex64>;

/// A measurement at one frequency.
struct View {
    ports: Vec<usize>,
    measured: Matrix,
    /// Γ of every port; nought at measured ones.
    ends: Vec<Complex64>,
}

impl View {
    fn new(measurement: &PartialMeasurement, network: &Network, point: usize) -> Self {
        let ports: Vec<usize> = measurement.ports.iter().map(|port| port.index()).collect();
        let size = ports.len();
        let ends = (0..measurement.terminations.len())
            .map(|port| match ports.contains(&port) {
                true => Complex64::ZERO,
                false => measurement.terminations[port][point],
            })
            .collect();
        let measured = Matrix::from_row_slice(size, size, network.matrix(point).as_slice());
        Self { ports, measured, ends }
    }

    fn with_matched_ends(&self) -> Self {
        Self {
            ports: self.ports.clone(),
            measured: self.measured.clone(),
            ends: vec![Complex64::ZERO; self.ends.len()],
        }
    }

    /// (1 - Γ S)⁻¹, the waves into all ports for waves born there.
    fn echoes(&self, matrix: &Matrix) -> Option<Matrix> {
        let size = self.ends.len();
        let mut system = Matrix::identity(size, size);
        for row in 0..size {
            for column in 0..size {
                system[(row, column)] -= self.ends[row] * matrix[(row, column)];
            }
        }
        system.try_inverse()
    }

    /// A and B of the module's header.
    fn waves(&self, matrix: &Matrix) -> Option<(Matrix, Matrix)> {
        let size = self.ends.len();
        let echoes = self.echoes(matrix)?;
        let into = echoes.select_columns(&self.ports);
        // B = 1 + S (1 - Γ S)⁻¹ Γ, its rows at the measured ports.
        let mut out = matrix * &echoes;
        for column in 0..size {
            for row in 0..size {
                out[(row, column)] *= self.ends[column];
            }
        }
        let out = out + Matrix::identity(size, size);
        Some((into, out.select_rows(&self.ports)))
    }

    /// What the measurement should be.
    fn expected(&self, matrix: &Matrix, into: &Matrix) -> Matrix {
        (matrix * into).select_rows(&self.ports)
    }
}

/// Which entries of S are one unknown.
struct Unknowns {
    ports: usize,
    /// Row and column to unknown.
    of: Vec<usize>,
    count: usize,
}

/// S at one frequency.
struct Solved {
    matrix: Matrix,
    condition: f64,
    residuals: Vec<Matrix>,
}

impl Unknowns {
    fn new(
        ports: usize,
        measurements: &[PartialMeasurement],
        is_reciprocal: bool,
    ) -> Result<Self, RebuildError> {
        let is_told = |row: usize, column: usize| {
            measurements.iter().any(|measurement| {
                let named = &measurement.ports;
                named.contains(&Port::from_index(row)) && named.contains(&Port::from_index(column))
            })
        };
        let (mut of, mut count) = (vec![0; ports * ports], 0);
        for row in 0..ports {
            for column in 0..ports {
                if !is_told(row, column) {
                    let (row, column) = (Port::from_index(row), Port::from_index(column));
                    return Err(RebuildError::Missing { row, column });
                }
                of[row * ports + column] = if is_reciprocal && column < row {
                    of[column * ports + row]
                } else {
                    count += 1;
                    count - 1
                };
            }
        }
        Ok(Self { ports, of, count })
    }

    fn matrix(&self, values: &DVector<Complex64>) -> Matrix {
        Matrix::from_fn(self.ports, self.ports, |row, column| {
            values[self.of[row * self.ports + column]]
        })
    }

    /// The mean of what measurements say directly, as if every end were matched.
    fn averaged(&self, views: &[View]) -> DVector<Complex64> {
        let mut sums = DVector::from_element(self.count, Complex64::ZERO);
        let mut counts = vec![0.0; self.count];
        for view in views {
            for (row, &to) in view.ports.iter().enumerate() {
                for (column, &from) in view.ports.iter().enumerate() {
                    let unknown = self.of[to * self.ports + from];
                    sums[unknown] += view.measured[(row, column)];
                    counts[unknown] += 1.0;
                }
            }
        }
        for (sum, count) in sums.iter_mut().zip(counts) {
            *sum /= f64::max(count, 1.0);
        }
        sums
    }

    /// Fills the matrix in references in which the ends reflect nothing, and comes back. Where ends
    /// differ between measurements the first of each port counts; it is only a start.
    fn start(&self, views: &[View]) -> DVector<Complex64> {
        let ends: Vec<Complex64> = (0..self.ports)
            .map(|port| {
                let unmeasured = views.iter().find(|view| !view.ports.contains(&port));
                unmeasured.map_or(Complex64::ZERO, |view| view.ends[port])
            })
            .collect();
        let moved_views: Option<Vec<View>> = views
            .iter()
            .map(|view| {
                let own: Vec<Complex64> = view.ports.iter().map(|&port| ends[port]).collect();
                Some(View {
                    ports: view.ports.clone(),
                    measured: moved(&view.measured, &own)?,
                    ends: vec![Complex64::ZERO; self.ports],
                })
            })
            .collect();
        let filled = moved_views.map(|moved_views| self.matrix(&self.averaged(&moved_views)));
        let back: Vec<Complex64> = ends.iter().map(|end| -end).collect();
        match filled.and_then(|filled| moved(&filled, &back)) {
            Some(matrix) => {
                let mut values = DVector::from_element(self.count, Complex64::ZERO);
                for row in 0..self.ports {
                    for column in 0..self.ports {
                        values[self.of[row * self.ports + column]] = matrix[(row, column)];
                    }
                }
                values
            }
            None => self.averaged(views),
        }
    }

    fn solve(&self, views: &[View]) -> Option<Solved> {
        let mut values = self.start(views);
        let equations: usize = views.iter().map(|view| view.measured.len()).sum();
        let mut condition = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            let matrix = self.matrix(&values);
            let mut derivative = Matrix::zeros(equations, self.count);
            let mut missing = DVector::from_element(equations, Complex64::ZERO);
            let mut equation = 0;
            for view in views {
                let (into, out) = view.waves(&matrix)?;
                let expected = view.expected(&matrix, &into);
                for row in 0..view.ports.len() {
                    for column in 0..view.ports.len() {
                        missing[equation] = view.measured[(row, column)] - expected[(row, column)];
                        for to in 0..self.ports {
                            for from in 0..self.ports {
                                derivative[(equation, self.of[to * self.ports + from])] +=
                                    out[(row, to)] * into[(from, column)];
                            }
                        }
                        equation += 1;
                    }
                }
            }
            let decomposed = derivative.svd(true, true);
            let (largest, least) =
                (decomposed.singular_values.max(), decomposed.singular_values.min());
            condition = largest / least;
            if condition.is_nan() || condition > WORST_CONDITION {
                return None;
            }
            let step = decomposed.solve(&missing, 0.0).ok()?;
            values += &step;
            if step.norm() <= SETTLED * (1.0 + values.norm()) {
                break;
            }
            if !values.iter().all(|value| value.is_finite() && value.norm() < 1e6) {
                return None;
            }
        }
        let matrix = self.matrix(&values);
        let residuals = views
            .iter()
            .map(|view| {
                let (into, _) = view.waves(&matrix)?;
                Some(&view.measured - view.expected(&matrix, &into))
            })
            .collect::<Option<Vec<Matrix>>>()?;
        Some(Solved { matrix, condition, residuals })
    }
}

/// S in waves a - Γ b and b, of which a port that ends in Γ has none coming in: S (1 - Γ S)⁻¹. With -Γ
/// back again.
fn moved(matrix: &Matrix, ends: &[Complex64]) -> Option<Matrix> {
    let size = ends.len();
    let system = Matrix::from_fn(size, size, |row, column| {
        let one = if row == column { Complex64::ONE } else { Complex64::ZERO };
        one - ends[row] * matrix[(row, column)]
    });
    Some(matrix * system.try_inverse()?)
}
