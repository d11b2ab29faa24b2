//! An N-port from measurements of some of its ports at a time, the others ending in known loads.
//!
//! With reflections Γ at the ports that are not measured, a measurement is
//! M = S_ee + S_ei (1 - Γ S_ii)⁻¹ Γ S_ie. All measurements together are solved for S by least squares:
//! a start by references (in references that equal the terminations a port so ended has no incident
//! wave, and the measured parts simply fill the matrix: J. C. Tippet and R. A. Speciale, IEEE Trans.
//! MTT-30 (1982) 661-666, from memory), then Gauss-Newton steps with the exact derivative
//! dM = B dS A, where A are the waves into all ports for a unit wave into each measured one and B
//! what leaves the measured ones for a unit wave born at each port. Sets that are incomplete but for
//! reciprocity or symmetry, and terminations that differ between measurements, need nothing more.
//!
//! Weights are the inverse squares of the measurements' standard uncertainties, which are taken to be
//! alike in all directions of the complex plane and independent from entry to entry. Then the
//! covariance of the result is (J^H W J)^-1 with the derivative J, as the law of propagation of JCGM
//! 102:2011 has it for least squares. Without uncertainties the weights are equal and what does not
//! fit estimates one for all.

use super::error::MeasurementError;
use crate::network::{
    FrequencyGrid, Network, ParameterKind, Port, WaveDefinition, change_reference, convert,
    onto_grid,
};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// The columns of [`entry_covariance`].
pub const COVARIANCE_COLUMNS: [&str; 7] =
    ["frequency_hz", "row_a", "column_a", "row_b", "column_b", "re", "im"];

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
    /// Standard uncertainty of the real and of the imaginary part of its entries, where it is known.
    pub standard_uncertainty: Option<f64>,
}

/// What is to be rebuilt, and what is known of it beforehand.
#[derive(Clone, Debug, PartialEq)]
pub struct RebuildSettings {
    /// How many ports it has.
    pub ports: usize,
    /// The real reference of the result.
    pub reference_ohm: f64,
    /// Whether Sij = Sji.
    pub is_reciprocal: bool,
    /// Each lists all ports in an order in which the part is the same: entry k is the port that can
    /// stand in the place of port k.
    pub symmetries: Vec<Vec<Port>>,
}

/// Covariance of the entries, at one frequency after the other.
#[derive(Clone, Debug, PartialEq)]
pub struct EntryCovariance {
    /// Ports of the network.
    pub ports: usize,
    /// For each frequency a matrix over the entries in row-major order: the mean of
    /// e_a conj(e_b) / 2, so that its diagonal holds the variances of real and imaginary parts.
    pub points: Vec<DMatrix<Complex64>>,
    /// How many real numbers tell it beyond those sought, where what does not fit estimates it.
    pub degrees_of_freedom: Option<usize>,
}

/// Where a covariance comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CovarianceSource {
    /// The standard uncertainties that are stated for the measurements.
    Measurements,
    /// The residual of the fit.
    Residual,
}

impl EntryCovariance {
    /// Where it comes from.
    #[must_use]
    pub fn source(&self) -> CovarianceSource {
        match self.degrees_of_freedom {
            Some(_) => CovarianceSource::Residual,
            None => CovarianceSource::Measurements,
        }
    }

    /// The largest standard uncertainty of an entry's real or imaginary part.
    #[must_use]
    pub fn largest(&self) -> f64 {
        let variances = self
            .points
            .iter()
            .flat_map(|matrix| matrix.diagonal().iter().copied().collect::<Vec<_>>());
        variances.map(|variance| variance.re).fold(0.0, f64::max).sqrt()
    }
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
    /// What does not fit over what the measurements' uncertainties allow, both as root mean squares;
    /// `None` without those, or where nothing is left over to tell.
    pub misfit_ratio: Option<f64>,
    /// What the measurements' uncertainties, or else what does not fit, come to in the entries; `None`
    /// where nothing tells it.
    pub covariance: Option<EntryCovariance>,
}

/// Steps smaller than this, relatively, no longer matter.
const SETTLED: f64 = 1e-14;
/// Rounding may keep steps larger than that for ever; beyond this the fit has not settled.
const LARGEST_LAST_STEP: f64 = 1e-9;
/// Conditions above this leave fewer than four good digits.
const WORST_CONDITION: f64 = 1e12;
const MOST_STEPS: usize = 60;

/// Rebuilds an N-port at the frequencies of the first measurement.
///
/// # Errors
/// [`MeasurementError`]: ports that do not fit, entries that nothing tells, measurements that no matrix
/// fits, and errors of [`convert`], [`onto_grid`] and [`change_reference`].
pub fn rebuild(
    settings: &RebuildSettings,
    measurements: &[PartialMeasurement],
) -> Result<Rebuilt, MeasurementError> {
    let RebuildSettings { ports, reference_ohm, .. } = *settings;
    let first = measurements.first().ok_or(MeasurementError::NoMeasurements)?;
    let grid = first.network.grid().clone();
    let brought = measurements
        .iter()
        .enumerate()
        .map(|(at, measurement)| brought(settings, at, measurement, &grid))
        .collect::<Result<Vec<_>, _>>()?;
    for order in &settings.symmetries {
        if (0..ports).any(|port| !order.contains(&Port::from_index(port))) || order.len() != ports {
            return Err(MeasurementError::Symmetry { ports });
        }
    }
    let unknowns = Unknowns::new(settings, measurements)?;
    let is_weighted = measurements.iter().all(|m| m.standard_uncertainty.is_some());
    let mut covariances = Vec::with_capacity(grid.len());
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
        misfit_ratio: None,
        covariance: None,
    };
    let mut entries = Vec::with_capacity(grid.len() * ports * ports);
    let (mut squares, mut weighted, mut count) = (0.0, 0.0, 0.0);
    for (point, &frequency_hz) in grid.as_hz().iter().enumerate() {
        let views: Vec<View> = measurements
            .iter()
            .zip(&brought)
            .map(|(measurement, network)| View::new(measurement, network, point, is_weighted))
            .collect();
        let solved = unknowns.solve(&views).ok_or(MeasurementError::NoFit { frequency_hz })?;
        let matched: Vec<View> = views.iter().map(View::with_matched_ends).collect();
        if let Some(ignorant) = unknowns.solve(&matched) {
            let change = (&ignorant.matrix - &solved.matrix).map(Complex64::norm).max();
            rebuilt.if_terminations_ignored = rebuilt.if_terminations_ignored.max(change);
        }
        rebuilt.condition = rebuilt.condition.max(solved.condition);
        for (view, residual) in views.iter().zip(&solved.residuals) {
            squares += residual.norm_squared();
            weighted += view.weight * view.weight * residual.norm_squared();
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
        covariances.push(unknowns.spread(&solved.covariance));
    }
    // Two real numbers to each complex one.
    let equations: usize = brought.iter().map(|network| network.ports().pow(2)).sum();
    let left_over = 2 * equations.saturating_sub(unknowns.count);
    if is_weighted {
        #[expect(clippy::cast_precision_loss, reason = "few equations")]
        let expected = (left_over * grid.len()) as f64;
        rebuilt.misfit_ratio = (expected > 0.0).then(|| (weighted / expected).sqrt());
        rebuilt.covariance =
            Some(EntryCovariance { ports, points: covariances, degrees_of_freedom: None });
    } else if left_over > 0 {
        // One variance for all frequencies: each alone tells little.
        #[expect(clippy::cast_precision_loss, reason = "few equations")]
        let variance = squares / (left_over * grid.len()) as f64;
        for covariance in &mut covariances {
            *covariance *= Complex64::from(variance);
        }
        let degrees_of_freedom = Some(left_over * grid.len());
        rebuilt.covariance =
            Some(EntryCovariance { ports, points: covariances, degrees_of_freedom });
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

/// A measurement in the common reference, at the common frequencies.
fn brought(
    settings: &RebuildSettings,
    at: usize,
    measurement: &PartialMeasurement,
    grid: &FrequencyGrid,
) -> Result<Network, MeasurementError> {
    let (ports, named) = (settings.ports, &measurement.ports);
    let is_listed_once =
        (0..named.len()).all(|at| !named[..at].contains(&named[at]) && named[at].index() < ports);
    if named.len() != measurement.network.ports() || !is_listed_once {
        return Err(MeasurementError::Ports {
            measurement: at + 1,
            named: named.len(),
            ports,
            found: measurement.network.ports(),
        });
    }
    let ends = &measurement.terminations;
    if ends.len() != ports || ends.iter().any(|over| over.len() != grid.len()) {
        return Err(MeasurementError::Terminations {
            measurement: at + 1,
            ports,
            points: grid.len(),
        });
    }
    let there = onto_grid(&measurement.network, grid)?.network;
    let scattering = convert(&there, ParameterKind::Scattering)?;
    let references = vec![settings.reference_ohm.into(); named.len()];
    Ok(change_reference(&scattering, references, WaveDefinition::Kurokawa)?)
}

type Matrix = DMatrix<Complex64>;

/// A measurement at one frequency.
#[derive(Clone)]
struct View {
    ports: Vec<usize>,
    measured: Matrix,
    /// Γ of every port; nought at measured ones.
    ends: Vec<Complex64>,
    /// One over the standard uncertainty.
    weight: f64,
}

impl View {
    fn new(
        measurement: &PartialMeasurement,
        network: &Network,
        point: usize,
        is_weighted: bool,
    ) -> Self {
        let ports: Vec<usize> = measurement.ports.iter().map(|port| port.index()).collect();
        let size = ports.len();
        let ends = (0..measurement.terminations.len())
            .map(|port| match ports.contains(&port) {
                true => Complex64::ZERO,
                false => measurement.terminations[port][point],
            })
            .collect();
        let measured = Matrix::from_row_slice(size, size, network.matrix(point).as_slice());
        let uncertainty = measurement.standard_uncertainty.filter(|_| is_weighted);
        Self { ports, measured, ends, weight: 1.0 / uncertainty.unwrap_or(1.0) }
    }

    fn with_matched_ends(&self) -> Self {
        Self { ends: vec![Complex64::ZERO; self.ends.len()], ..self.clone() }
    }

    /// A and B of the module's header.
    fn waves(&self, matrix: &Matrix) -> Option<(Matrix, Matrix)> {
        let size = self.ends.len();
        let echoes = echoes(matrix, &self.ends)?;
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
    /// Of the unknowns, for weights of one over the standard uncertainty.
    covariance: Matrix,
}

impl Unknowns {
    fn new(
        settings: &RebuildSettings,
        measurements: &[PartialMeasurement],
    ) -> Result<Self, MeasurementError> {
        let ports = settings.ports;
        // Entries that are one, by the first of them.
        let mut first: Vec<usize> = (0..ports * ports).collect();
        let mut unite = |one: usize, other: usize| {
            let (kept, gone) = (first[one].min(first[other]), first[one].max(first[other]));
            first.iter_mut().filter(|place| **place == gone).for_each(|place| *place = kept);
        };
        for row in 0..ports {
            for column in 0..ports {
                let entry = row * ports + column;
                if settings.is_reciprocal {
                    unite(entry, column * ports + row);
                }
                for order in &settings.symmetries {
                    if let (Some(to), Some(from)) = (order.get(row), order.get(column)) {
                        unite(entry, to.index() * ports + from.index());
                    }
                }
            }
        }
        let is_told = |entry: usize| {
            let [row, column] = [entry / ports, entry % ports].map(Port::from_index);
            measurements.iter().any(|measurement| {
                measurement.ports.contains(&row) && measurement.ports.contains(&column)
            })
        };
        let mut numbered: Vec<usize> = first.clone();
        numbered.sort_unstable();
        numbered.dedup();
        for &class in &numbered {
            if !(0..ports * ports).any(|entry| first[entry] == class && is_told(entry)) {
                let [row, column] = [class / ports, class % ports].map(Port::from_index);
                return Err(MeasurementError::Missing { row, column });
            }
        }
        let of = first.iter().map(|class| numbered.partition_point(|one| one < class)).collect();
        Ok(Self { ports, of, count: numbered.len() })
    }

    /// A covariance of unknowns as one of entries.
    fn spread(&self, covariance: &Matrix) -> Matrix {
        Matrix::from_fn(self.of.len(), self.of.len(), |one, other| {
            covariance[(self.of[one], self.of[other])]
        })
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
                    weight: view.weight,
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
        let mut steps = 0;
        let (condition, covariance) = loop {
            let (derivative, missing) = self.linearised(views, &values)?;
            let decomposed = derivative.svd(true, true);
            let condition = decomposed.singular_values.max() / decomposed.singular_values.min();
            if condition.is_nan() || condition > WORST_CONDITION {
                return None;
            }
            let step = decomposed.solve(&missing, 0.0).ok()?;
            values += &step;
            if !values.iter().all(|value| value.is_finite() && value.norm() < 1e6) {
                return None;
            }
            let relative = step.norm() / (1.0 + values.norm());
            steps += 1;
            if relative <= SETTLED || steps == MOST_STEPS {
                if relative > LARGEST_LAST_STEP {
                    return None;
                }
                break (condition, inverse_square(&decomposed)?);
            }
        };
        let matrix = self.matrix(&values);
        let residuals = views
            .iter()
            .map(|view| {
                let (into, _) = view.waves(&matrix)?;
                Some(&view.measured - view.expected(&matrix, &into))
            })
            .collect::<Option<Vec<Matrix>>>()?;
        Some(Solved { matrix, condition, residuals, covariance })
    }

    /// The weighted derivative of all measurements by the unknowns, and what they miss.
    fn linearised(
        &self,
        views: &[View],
        values: &DVector<Complex64>,
    ) -> Option<(Matrix, DVector<Complex64>)> {
        let equations: usize = views.iter().map(|view| view.measured.len()).sum();
        let matrix = self.matrix(values);
        let mut derivative = Matrix::zeros(equations, self.count);
        let mut missing = DVector::from_element(equations, Complex64::ZERO);
        let mut equation = 0;
        for view in views {
            let (into, out) = view.waves(&matrix)?;
            let difference = &view.measured - view.expected(&matrix, &into);
            for row in 0..view.ports.len() {
                for column in 0..view.ports.len() {
                    missing[equation] = view.weight * difference[(row, column)];
                    for to in 0..self.ports {
                        for from in 0..self.ports {
                            derivative[(equation, self.of[to * self.ports + from])] +=
                                view.weight * out[(row, to)] * into[(from, column)];
                        }
                    }
                    equation += 1;
                }
            }
        }
        Some((derivative, missing))
    }
}

/// (J^H J)⁻¹ = V Σ⁻² V^H.
fn inverse_square(
    decomposed: &nalgebra::SVD<Complex64, nalgebra::Dyn, nalgebra::Dyn>,
) -> Option<Matrix> {
    let mut scaled = decomposed.v_t.as_ref()?.adjoint();
    for (mut column, value) in scaled.column_iter_mut().zip(&decomposed.singular_values) {
        column.unscale_mut(*value);
    }
    Some(&scaled * scaled.adjoint())
}

/// (1 - Γ S)⁻¹, the waves into all ports for waves born there.
fn echoes(matrix: &Matrix, ends: &[Complex64]) -> Option<Matrix> {
    let system = Matrix::from_fn(ends.len(), ends.len(), |row, column| {
        let one = if row == column { Complex64::ONE } else { Complex64::ZERO };
        one - ends[row] * matrix[(row, column)]
    });
    system.try_inverse()
}

/// S in waves a - Γ b and b, of which a port that ends in Γ has none coming in: S (1 - Γ S)⁻¹. With -Γ
/// back again.
fn moved(matrix: &Matrix, ends: &[Complex64]) -> Option<Matrix> {
    Some(matrix * echoes(matrix, ends)?)
}
