//! How uncertain a network's S-parameters are, and networks drawn from that.
//!
//! Sources of uncertainty add up. Each is a set of independent standard deviates and what they do to
//! the entries: a stated standard uncertainty of every entry, or of every pass through a port (a
//! connection, a cable, where a probe touches down), repeated measurements, or a covariance. A
//! source is correlated over frequency, one deviate for the whole sweep, or independent from point to
//! point.
//!
//! With a stated magnitude in dB and a phase an entry is multiplied by exp(x + jy); with a linear
//! magnitude something is added to it in its own direction, or without a phase alike in all
//! directions of the complex plane, which suits reflections near nought.

use crate::network::{FrequencyGrid, Network, NetworkError, ParameterKind, WaveDefinition};
use crate::network::{change_reference, convert, onto_grid};
use nalgebra::{DMatrix, SymmetricEigen};
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};

/// How errors at one frequency hang together with those at another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OverFrequency {
    /// One deviate for the whole sweep: drift, placement, a connection.
    Correlated,
    /// One for every point: trace noise.
    Independent,
}

/// Standard uncertainties at each frequency of a network; nothing where a list is empty.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Amounts {
    /// Of the magnitude, relative: nepers.
    pub magnitude_np: Vec<f64>,
    /// Of the magnitude, absolute.
    pub magnitude_linear: Vec<f64>,
    /// Of the phase, radians.
    pub phase_rad: Vec<f64>,
}

/// A source of uncertainty of one network, at that network's frequencies.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// Stated for every entry.
    Entries {
        /// Of entries off the diagonal.
        transmission: Amounts,
        /// Of entries on it.
        reflection: Amounts,
        /// Whether Sij and Sji have the same error.
        is_reciprocal: bool,
        /// Over frequency.
        over_frequency: OverFrequency,
    },
    /// Stated for one pass through a port: Sij takes that of i and that of j, Sii its own twice.
    Ports {
        /// Relative magnitude and phase; a linear magnitude has no meaning here.
        pass: Amounts,
        /// Over frequency.
        over_frequency: OverFrequency,
    },
    /// Told from measurements of the same part: their deviations from the mean, each divided by the
    /// root of n (n - 1), so that their squares add up to the variance of the mean.
    Repeats {
        /// For each measurement, all entries.
        deviations: Vec<Vec<Complex64>>,
    },
    /// A covariance of the entries, independent from point to point: for each point the matrix that
    /// turns standard deviates, as many complex ones as entries, into errors.
    Covariance {
        /// Roots of the covariances.
        factors: Vec<DMatrix<Complex64>>,
    },
}

/// Errors of all entries of a network, gathered from its sources.
#[derive(Clone, Debug, Default)]
pub struct Errors {
    multiplied: Vec<Complex64>,
    added: Vec<Complex64>,
}

impl Errors {
    /// None yet.
    pub fn clear(&mut self, entries: usize) {
        for list in [&mut self.multiplied, &mut self.added] {
            list.clear();
            list.resize(entries, Complex64::ZERO);
        }
    }

    /// The entries with their errors.
    #[must_use]
    pub fn applied(&self, entries: &[Complex64]) -> Vec<Complex64> {
        let errors = self.multiplied.iter().zip(&self.added);
        entries
            .iter()
            .zip(errors)
            .map(|(entry, (multiplied, added))| entry * multiplied.exp() + added)
            .collect()
    }
}

/// Standard deviates of one source in one trial.
#[derive(Clone, Debug, Default)]
pub struct Deviates {
    /// Component after component, for each point where they differ from point to point.
    values: Vec<f64>,
    /// How many components there are.
    components: usize,
    is_independent: bool,
}

impl Deviates {
    /// One component alone, at one standard deviation, at every point.
    #[must_use]
    pub fn unit(components: usize, at: usize, size: f64) -> Self {
        let mut values = vec![0.0; components];
        values[at] = size;
        Self { values, components, is_independent: false }
    }

    fn of(&self, point: usize) -> &[f64] {
        let start = if self.is_independent { point * self.components } else { 0 };
        &self.values[start..start + self.components]
    }
}

// The components of an entry or port, in this order.
const NEPERS: usize = 0;
const RADIANS: usize = 1;
const LINEAR: usize = 2;
const ACROSS: usize = 3;
const KINDS: usize = 4;

impl Amounts {
    fn at(list: &[f64], point: usize) -> f64 {
        list.get(point).copied().unwrap_or(0.0)
    }

    /// Whether there is nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        [&self.magnitude_np, &self.magnitude_linear, &self.phase_rad]
            .iter()
            .all(|list| list.iter().all(|amount| *amount == 0.0))
    }

    /// Logarithm of the factor, and what is added in the entry's own direction.
    fn error(&self, point: usize, deviates: &[f64]) -> (Complex64, Complex64) {
        let linear = Self::at(&self.magnitude_linear, point);
        let phase = Self::at(&self.phase_rad, point);
        // A linear magnitude without a phase is uncertain in all directions.
        let across = if phase == 0.0 { linear } else { 0.0 };
        (
            Complex64::new(
                Self::at(&self.magnitude_np, point) * deviates[NEPERS],
                phase * deviates[RADIANS],
            ),
            Complex64::new(linear * deviates[LINEAR], across * deviates[ACROSS]),
        )
    }
}

impl Source {
    /// How many independent deviates it has, at each point if they differ from point to point.
    #[must_use]
    pub fn components(&self, ports: usize) -> usize {
        match self {
            Self::Entries { .. } => KINDS * ports * ports,
            Self::Ports { .. } => KINDS * ports,
            Self::Repeats { deviations } => deviations.len(),
            Self::Covariance { .. } => 2 * ports * ports,
        }
    }

    /// Whether a component can do anything.
    #[must_use]
    pub fn has_effect(&self, ports: usize, component: usize) -> bool {
        let kind = component % KINDS;
        let stated = |amounts: &Amounts| {
            let list = match kind {
                NEPERS => &amounts.magnitude_np,
                RADIANS => &amounts.phase_rad,
                LINEAR => &amounts.magnitude_linear,
                _ if amounts.phase_rad.iter().all(|amount| *amount == 0.0) => {
                    &amounts.magnitude_linear
                }
                _ => return false,
            };
            list.iter().any(|amount| *amount != 0.0)
        };
        match self {
            Self::Entries { transmission, reflection, is_reciprocal, .. } => {
                let (row, column) = (component / KINDS / ports, component / KINDS % ports);
                let is_twin = *is_reciprocal && column < row;
                !is_twin && stated(if row == column { reflection } else { transmission })
            }
            Self::Ports { pass, .. } => kind < LINEAR && stated(pass),
            Self::Repeats { .. } | Self::Covariance { .. } => true,
        }
    }

    /// Whether points have deviates of their own.
    #[must_use]
    pub fn is_independent(&self) -> bool {
        match self {
            Self::Entries { over_frequency, .. } | Self::Ports { over_frequency, .. } => {
                *over_frequency == OverFrequency::Independent
            }
            Self::Repeats { .. } => false,
            Self::Covariance { .. } => true,
        }
    }

    /// Draws the deviates of one trial for a sweep of so many points.
    pub fn draw(&self, ports: usize, points: usize, random: &mut ChaCha8Rng) -> Deviates {
        let components = self.components(ports);
        let is_independent = self.is_independent();
        let sets = if is_independent { points } else { 1 };
        // Deviates that do nothing are not drawn.
        let acts: Vec<bool> =
            (0..components).map(|component| self.has_effect(ports, component)).collect();
        let mut values = vec![0.0; sets * components];
        for (at, value) in values.iter_mut().enumerate() {
            if acts[at % components] {
                *value = StandardNormal.sample(random);
            }
        }
        if let Self::Repeats { deviations } = self {
            // A mean of few measurements is known as Student has it (JCGM 101:2008, 6.4.9).
            #[expect(clippy::cast_precision_loss, reason = "few measurements")]
            let freedom = deviations.len().saturating_sub(1).max(1) as f64;
            let widened = match ChiSquared::new(freedom) {
                Ok(squares) => (freedom / squares.sample(random)).sqrt(),
                Err(_) => 1.0,
            };
            values.iter_mut().for_each(|value| *value *= widened);
        }
        Deviates { values, components, is_independent }
    }

    /// Adds what these deviates do to a network's entries, point after point.
    pub fn add(
        &self,
        ports: usize,
        entries: &[Complex64],
        deviates: &Deviates,
        errors: &mut Errors,
    ) {
        let size = ports * ports;
        match self {
            Self::Entries { transmission, reflection, is_reciprocal, .. } => {
                for (at, entry) in entries.iter().enumerate() {
                    let (point, place) = (at / size, at % size);
                    let (row, column) = (place / ports, place % ports);
                    let amounts = if row == column { reflection } else { transmission };
                    let own =
                        if *is_reciprocal && column < row { column * ports + row } else { place };
                    let (multiplied, added) =
                        amounts.error(point, &deviates.of(point)[KINDS * own..KINDS * (own + 1)]);
                    errors.multiplied[at] += multiplied;
                    if added != Complex64::ZERO {
                        let length = entry.norm();
                        let direction = if length > 0.0 { entry / length } else { Complex64::ONE };
                        errors.added[at] += added * direction;
                    }
                }
            }
            Self::Ports { pass, .. } => {
                for (at, multiplied) in errors.multiplied.iter_mut().enumerate() {
                    let (point, place) = (at / size, at % size);
                    let values = deviates.of(point);
                    for port in [place / ports, place % ports] {
                        *multiplied +=
                            pass.error(point, &values[KINDS * port..KINDS * (port + 1)]).0;
                    }
                }
            }
            Self::Repeats { deviations } => {
                for (deviation, deviate) in deviations.iter().zip(deviates.of(0)) {
                    for (added, error) in errors.added.iter_mut().zip(deviation) {
                        *added += error * deviate;
                    }
                }
            }
            Self::Covariance { factors } => {
                for (point, factor) in factors.iter().enumerate() {
                    let values = deviates.of(point);
                    for column in 0..size {
                        let deviate = Complex64::new(values[2 * column], values[2 * column + 1]);
                        if deviate != Complex64::ZERO {
                            for row in 0..size {
                                errors.added[point * size + row] += factor[(row, column)] * deviate;
                            }
                        }
                    }
                }
            }
        }
    }

    /// The mean of repeated measurements of one part, and the source that their scatter is: at the
    /// frequencies of `grid`, in these references.
    ///
    /// # Errors
    /// Those of [`onto_grid`], [`convert`] and [`change_reference`], and
    /// [`NetworkError::PortCount`] for measurements of different parts.
    pub fn repeats(
        measurements: &[Network],
        grid: &FrequencyGrid,
        references_ohm: &[Complex64],
    ) -> Result<(Network, Self), NetworkError> {
        let first = measurements.first().ok_or(NetworkError::NoFrequencies)?;
        let mut brought = Vec::new();
        for measurement in measurements {
            if measurement.ports() != first.ports() {
                let (expected, found) = (first.ports(), measurement.ports());
                return Err(NetworkError::PortCount { expected, found });
            }
            let scattering =
                convert(&onto_grid(measurement, grid)?.network, ParameterKind::Scattering)?;
            brought.push(change_reference(
                &scattering,
                references_ohm.to_vec(),
                WaveDefinition::Kurokawa,
            )?);
        }
        #[expect(clippy::cast_precision_loss, reason = "few measurements")]
        let count = brought.len() as f64;
        let mean: Vec<Complex64> = (0..brought[0].entries().len())
            .map(|at| brought.iter().map(|one| one.entries()[at]).sum::<Complex64>() / count)
            .collect();
        let scale = (count * (count - 1.0).max(1.0)).sqrt();
        let deviations = brought
            .iter()
            .map(|one| one.entries().iter().zip(&mean).map(|(x, m)| (x - m) / scale).collect())
            .collect();
        let network = Network::new(
            ParameterKind::Scattering,
            grid.clone(),
            first.ports(),
            mean,
            references_ohm.to_vec(),
        )?;
        Ok((network, Self::Repeats { deviations }))
    }

    /// A source from covariances at other frequencies: between two of them the covariance runs
    /// straight, beyond the ends it stays.
    #[must_use]
    pub fn covariance(
        at_hz: &[f64],
        covariances: &[DMatrix<Complex64>],
        grid: &FrequencyGrid,
    ) -> Self {
        let root = |matrix: DMatrix<Complex64>| {
            let split = SymmetricEigen::new(matrix);
            let roots = split.eigenvalues.map(|value| Complex64::from(value.max(0.0).sqrt()));
            &split.eigenvectors * DMatrix::from_diagonal(&roots)
        };
        let factors = grid.as_hz().iter().map(|&hz| {
            let above = at_hz.partition_point(|known| *known < hz);
            let last = covariances.len() - 1;
            if above == 0 || above > last {
                return root(covariances[above.min(last)].clone());
            }
            let share = (hz - at_hz[above - 1]) / (at_hz[above] - at_hz[above - 1]);
            root(
                &covariances[above - 1] * Complex64::from(1.0 - share)
                    + &covariances[above] * Complex64::from(share),
            )
        });
        Self::Covariance { factors: factors.collect() }
    }
}
