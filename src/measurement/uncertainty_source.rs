//! Sources of uncertainty of a network's S-parameters, and errors drawn from them.
//!
//! In:  for one network a stated standard uncertainty of every entry or of every pass through a port
//!      (a connection, a cable, a probe's position), repeated measurements, or a covariance.
//! Out: independent standard deviates for each source, and the resulting errors of the entries.
//! Errors of several sources are added.
//!
//! A source is correlated over frequency, with one deviate for the whole sweep, or independent, with a
//! deviate for each frequency. A stated magnitude in nepers and a phase multiply an entry by
//! exp(x + jy). A linear magnitude adds an error in the entry's own direction; without a phase it adds
//! an error in all directions of the complex plane, which suits reflections near 0.

use super::entry_covariances::EntryCovariances;
use super::error::MeasurementError;
use super::normal::normal_deviate;
use super::stated_amount::{EntryAmount, PassAmount};
use crate::network::{
    Network, NetworkError, ParameterKind, WaveDefinition, change_reference, convert, hermitian,
    onto_grid,
};
use nalgebra::DMatrix;
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};
use statrs::distribution::{ContinuousCDF as _, StudentsT};

/// The relation of errors at different frequencies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OverFrequency {
    /// One deviate for the whole sweep: drift, placement, a connection.
    Correlated,
    /// One for every frequency: trace noise.
    Independent,
}

/// The relation of the errors of Sij and Sji.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ErrorSymmetry {
    /// Both have the same error, as in a reciprocal part.
    Reciprocal,
    /// Each has an independent error.
    Unrelated,
}

/// Standard uncertainties of all entries, with one value for each frequency of a network.
#[derive(Clone, Debug, PartialEq)]
pub struct EntryAmounts {
    /// Uncertainties of entries off the diagonal.
    pub transmission: Vec<EntryAmount>,
    /// Uncertainties of entries on the diagonal.
    pub reflection: Vec<EntryAmount>,
    /// The relation of the errors of Sij and Sji.
    pub symmetry: ErrorSymmetry,
}

/// A source of uncertainty of one network, at that network's frequencies.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    ports: usize,
    points: usize,
    kind: Kind,
    /// Whether each component has an effect.
    acting: Vec<bool>,
}

#[derive(Clone, Debug, PartialEq)]
enum Kind {
    Entries {
        amounts: EntryAmounts,
        over_frequency: OverFrequency,
    },
    /// Sij has the errors of passes through i and through j, Sii those of i twice.
    Passes {
        amounts: Vec<PassAmount>,
        over_frequency: OverFrequency,
    },
    /// For each measurement the deviations of all entries from the mean, each divided by the root
    /// of n (n - 1): their squares add up to the variance of the mean.
    Repeats {
        deviations: Vec<Vec<Complex64>>,
    },
    /// For each parameter of a closed form the change of all entries for its standard uncertainty.
    Changes {
        changes: Vec<Vec<Complex64>>,
    },
    /// Independent from point to point: for each point the matrix that transforms complex standard
    /// deviates, one per entry, to errors.
    Covariances {
        factors: Vec<DMatrix<Complex64>>,
    },
}

/// The sum of the errors of all sources in a network's entries: in all of them, or in those at some
/// positions of each matrix.
#[derive(Clone, Debug, Default)]
pub(crate) struct Errors {
    /// The positions, row-major; `None` for all.
    places: Option<Vec<usize>>,
    multiplied: Vec<Complex64>,
    added: Vec<Complex64>,
}

impl Errors {
    /// Sets zero errors of all entries.
    pub(crate) fn clear(&mut self, entries: usize) {
        self.places = None;
        self.resize(entries);
    }

    /// Sets zero errors of the entries at these positions, at each of `points` points.
    pub(crate) fn clear_at(&mut self, points: usize, places: &[usize]) {
        self.places = Some(places.to_vec());
        self.resize(points * places.len());
    }

    /// The point and the position of an error, in matrices of `size` entries.
    fn position(&self, at: usize, size: usize) -> (usize, usize) {
        match &self.places {
            Some(places) => (at / places.len(), places[at % places.len()]),
            None => (at / size, at % size),
        }
    }

    fn resize(&mut self, entries: usize) {
        for list in [&mut self.multiplied, &mut self.added] {
            list.clear();
            list.resize(entries, Complex64::ZERO);
        }
    }

    /// The entries with the errors applied.
    pub(crate) fn applied(&self, entries: &[Complex64]) -> Vec<Complex64> {
        entries.iter().enumerate().map(|(at, entry)| self.applied_to(at, *entry)).collect()
    }

    /// One entry with its error.
    pub(crate) fn applied_to(&self, at: usize, entry: Complex64) -> Complex64 {
        entry * self.multiplied[at].exp() + self.added[at]
    }

    /// The logarithm of the factor of an entry to which nothing is added.
    pub(crate) fn logarithm(&self, at: usize) -> Option<Complex64> {
        (self.added[at] == Complex64::ZERO).then(|| self.multiplied[at])
    }

    /// The places of the errors in each matrix of so many entries.
    fn places(&self, size: usize) -> Vec<usize> {
        self.places.clone().unwrap_or_else(|| (0..size).collect())
    }
}

/// Standard deviates of one source in one trial.
#[derive(Clone, Debug)]
pub(crate) struct Deviates {
    /// One value per component, and per point where they are independent between points.
    values: Vec<f64>,
    components: usize,
    is_independent: bool,
}

impl Deviates {
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

impl EntryAmount {
    /// Logarithm of the factor, and the error in the direction of the entry.
    fn error(&self, deviates: &[f64]) -> (Complex64, Complex64) {
        // A linear magnitude without a phase is uncertain in all directions.
        let across = if self.phase_rad == 0.0 { self.magnitude_linear } else { 0.0 };
        (
            Complex64::new(
                self.magnitude_np * deviates[NEPERS],
                self.phase_rad * deviates[RADIANS],
            ),
            Complex64::new(self.magnitude_linear * deviates[LINEAR], across * deviates[ACROSS]),
        )
    }
}

/// The kinds of components of an entry that have an effect at some frequency.
fn acting_kinds(amounts: &[EntryAmount]) -> [bool; KINDS] {
    let any = |amount: fn(&EntryAmount) -> f64| amounts.iter().any(|one| amount(one) != 0.0);
    let mut acting = [false; KINDS];
    acting[NEPERS] = any(|one| one.magnitude_np);
    acting[RADIANS] = any(|one| one.phase_rad);
    acting[LINEAR] = any(|one| one.magnitude_linear);
    acting[ACROSS] = acting[LINEAR] && !acting[RADIANS];
    acting
}

impl Source {
    /// A stated standard uncertainty of every entry of a network.
    ///
    /// # Errors
    /// [`MeasurementError::AmountCount`] unless there is one value for each frequency, and
    /// [`MeasurementError::NotAnAmount`].
    ///
    /// # Examples
    /// ```
    /// use fourphase::measurement::{
    ///     EntryAmount, EntryAmounts, ErrorSymmetry, OverFrequency, Source,
    /// };
    /// use fourphase::touchstone::{ReadOptions, read};
    ///
    /// let coupler = read("data-demo/coupler.s4p".as_ref(), &ReadOptions::default())?.network;
    /// let points = coupler.grid().len();
    /// let noise = EntryAmount { phase_rad: 0.1_f64.to_radians(), ..EntryAmount::default() };
    /// let amounts = EntryAmounts {
    ///     transmission: vec![noise; points],
    ///     reflection: vec![EntryAmount::default(); points],
    ///     symmetry: ErrorSymmetry::Unrelated,
    /// };
    /// assert!(Source::of_entries(&coupler, amounts, OverFrequency::Independent).is_ok());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn of_entries(
        network: &Network,
        amounts: EntryAmounts,
        over_frequency: OverFrequency,
    ) -> Result<Self, MeasurementError> {
        let ports = network.ports();
        for list in [&amounts.transmission, &amounts.reflection] {
            check_count(network, list.len())?;
            list.iter().try_for_each(EntryAmount::check)?;
        }
        let off_diagonal = acting_kinds(&amounts.transmission);
        let diagonal = acting_kinds(&amounts.reflection);
        let mut acting = Vec::with_capacity(KINDS * ports * ports);
        for (row, column) in (0..ports * ports).map(|place| (place / ports, place % ports)) {
            let has_twin = amounts.symmetry == ErrorSymmetry::Reciprocal && column < row;
            acting.extend(match row == column {
                _ if has_twin => [false; KINDS],
                true => diagonal,
                false => off_diagonal,
            });
        }
        Ok(Self::new(network, Kind::Entries { amounts, over_frequency }, acting))
    }

    /// A stated standard uncertainty of every pass through a port of a network: Sij has the errors
    /// of a pass through i and of a pass through j.
    ///
    /// # Errors
    /// [`MeasurementError::AmountCount`] unless there is one value for each frequency, and
    /// [`MeasurementError::NotAnAmount`].
    pub fn of_passes(
        network: &Network,
        amounts: Vec<PassAmount>,
        over_frequency: OverFrequency,
    ) -> Result<Self, MeasurementError> {
        check_count(network, amounts.len())?;
        amounts.iter().try_for_each(PassAmount::check)?;
        let mut kinds = [false; KINDS];
        kinds[NEPERS] = amounts.iter().any(|amount| amount.magnitude_np != 0.0);
        kinds[RADIANS] = amounts.iter().any(|amount| amount.phase_rad != 0.0);
        let acting = kinds.repeat(network.ports());
        Ok(Self::new(network, Kind::Passes { amounts, over_frequency }, acting))
    }

    /// The mean of repeated measurements of a part, and its uncertainty from their standard
    /// deviation, at the frequencies and in the reference impedances of `network`.
    ///
    /// # Errors
    /// [`MeasurementError::Repeats`] for fewer than two measurements,
    /// [`NetworkError::PortCount`] for measurements of other parts, and those of [`onto_grid`],
    /// [`convert`] and [`change_reference`].
    pub fn of_repeats(
        network: &Network,
        measurements: &[Network],
    ) -> Result<(Network, Self), MeasurementError> {
        if measurements.len() < 2 {
            return Err(MeasurementError::Repeats { found: measurements.len() });
        }
        let (grid, references_ohm) = (network.grid(), network.references_ohm(0));
        let mut alike = Vec::with_capacity(measurements.len());
        for measurement in measurements {
            let (expected, found) = (network.ports(), measurement.ports());
            if expected != found {
                return Err(NetworkError::PortCount { expected, found }.into());
            }
            let on_grid = onto_grid(measurement, grid)?.network;
            let scattering = convert(&on_grid, ParameterKind::Scattering)?;
            let references = references_ohm.to_vec();
            alike.push(change_reference(&scattering, references, WaveDefinition::Kurokawa)?);
        }
        #[expect(clippy::cast_precision_loss, reason = "few measurements")]
        let count = alike.len() as f64;
        let mean: Vec<Complex64> = (0..alike[0].entries().len())
            .map(|at| alike.iter().map(|one| one.entries()[at]).sum::<Complex64>() / count)
            .collect();
        let scale = (count * (count - 1.0)).sqrt();
        let deviations: Vec<Vec<Complex64>> = alike
            .iter()
            .map(|one| one.entries().iter().zip(&mean).map(|(x, m)| (x - m) / scale).collect())
            .collect();
        let acting = vec![true; deviations.len()];
        let kind = ParameterKind::Scattering;
        let mean =
            Network::new(kind, grid.clone(), network.ports(), mean, references_ohm.to_vec())?;
        let source = Self::new(&mean, Kind::Repeats { deviations }, acting);
        Ok((mean, source))
    }

    /// A source from covariances, independent from point to point: linear between the frequencies of
    /// the covariances.
    ///
    /// # Errors
    /// [`NetworkError::PortCount`] for covariances of another number of ports, and
    /// [`MeasurementError::OutsideCovariances`] where they do not cover the network's frequencies.
    pub fn of_covariances(
        network: &Network,
        covariances: &EntryCovariances,
    ) -> Result<Self, MeasurementError> {
        let (expected, found) = (network.ports(), covariances.ports());
        if expected != found {
            return Err(NetworkError::PortCount { expected, found }.into());
        }
        let factor = |&hz: &f64| {
            let none = NetworkError::NoSingularValues { frequency_hz: hz };
            root(covariances.at(hz)?).ok_or(MeasurementError::from(none))
        };
        let factors = network.grid().as_hz().iter().map(factor).collect::<Result<_, _>>()?;
        let acting = vec![true; 2 * expected * expected];
        Ok(Self::new(network, Kind::Covariances { factors }, acting))
    }

    /// Known changes of all entries, point after point, by one standard uncertainty of each of several
    /// independent quantities: parameters of a closed form.
    ///
    /// # Errors
    /// [`MeasurementError::AmountCount`] unless there is a change for every entry.
    pub fn of_changes(
        network: &Network,
        changes: Vec<Vec<Complex64>>,
    ) -> Result<Self, MeasurementError> {
        let points = network.entries().len();
        if let Some(found) = changes.iter().map(Vec::len).find(|found| *found != points) {
            return Err(MeasurementError::AmountCount { points, found });
        }
        let acting = vec![true; changes.len()];
        Ok(Self::new(network, Kind::Changes { changes }, acting))
    }

    /// The source at more frequencies: those for which `is_own` holds are its own, and there is no error
    /// at the others.
    ///
    /// # Errors
    /// [`MeasurementError::AmountCount`] unless `is_own` holds for as many frequencies as it has.
    pub(crate) fn spread(self, is_own: &[bool]) -> Result<Self, MeasurementError> {
        let (points, found) = (self.points, is_own.iter().filter(|is_own| **is_own).count());
        if points != found {
            return Err(MeasurementError::AmountCount { points, found });
        }
        let size = self.ports * self.ports;
        let of_entries = |lists: Vec<Vec<Complex64>>| {
            lists.into_iter().map(|own| spread(own, is_own, size, &Complex64::ZERO)).collect()
        };
        let kind = match self.kind {
            Kind::Entries { amounts, over_frequency } => {
                let list = |own| spread(own, is_own, 1, &EntryAmount::default());
                let EntryAmounts { transmission, reflection, symmetry } = amounts;
                let (transmission, reflection) = (list(transmission), list(reflection));
                let amounts = EntryAmounts { transmission, reflection, symmetry };
                Kind::Entries { amounts, over_frequency }
            }
            Kind::Passes { amounts, over_frequency } => Kind::Passes {
                amounts: spread(amounts, is_own, 1, &PassAmount::default()),
                over_frequency,
            },
            Kind::Repeats { deviations } => Kind::Repeats { deviations: of_entries(deviations) },
            Kind::Changes { changes } => Kind::Changes { changes: of_entries(changes) },
            Kind::Covariances { factors } => Kind::Covariances {
                factors: spread(factors, is_own, 1, &DMatrix::zeros(size, size)),
            },
        };
        Ok(Self { points: is_own.len(), kind, ..self })
    }

    fn new(network: &Network, kind: Kind, acting: Vec<bool>) -> Self {
        Self { ports: network.ports(), points: network.grid().len(), kind, acting }
    }

    /// Checks that a network has the number of ports and frequencies of the source.
    pub(crate) fn check_network(&self, network: &Network) -> Result<(), MeasurementError> {
        let found = (network.ports(), network.grid().len());
        if found == (self.ports, self.points) {
            return Ok(());
        }
        Err(MeasurementError::OtherNetwork {
            ports: self.ports,
            points: self.points,
            found_ports: found.0,
            found_points: found.1,
        })
    }

    /// Whether the same deviates can be used for another source.
    pub(crate) fn is_like(&self, other: &Self) -> bool {
        self.components() == other.components() && self.is_independent() == other.is_independent()
    }

    /// The number of independent deviates, per point if they differ from point to point.
    pub(crate) fn components(&self) -> usize {
        self.acting.len()
    }

    /// Whether a component has an effect.
    pub(crate) fn has_effect(&self, component: usize) -> bool {
        self.acting[component]
    }

    /// The factor by which its errors count more than their standard deviations in a decision with
    /// this probability: Student's factor divided by the normal one (JCGM 100:2008, G.3).
    pub(crate) fn widening(&self, probability: f64) -> f64 {
        let Kind::Repeats { deviations } = &self.kind else { return 1.0 };
        #[expect(clippy::cast_precision_loss, reason = "few measurements")]
        let freedom = (deviations.len().max(2) - 1) as f64;
        let student = StudentsT::new(0.0, 1.0, freedom);
        student.map_or(1.0, |own| own.inverse_cdf(probability) / normal_deviate(probability))
    }

    /// Whether each point has independent deviates.
    pub(crate) fn is_independent(&self) -> bool {
        match self.kind {
            Kind::Entries { over_frequency, .. } | Kind::Passes { over_frequency, .. } => {
                over_frequency == OverFrequency::Independent
            }
            Kind::Repeats { .. } | Kind::Changes { .. } => false,
            Kind::Covariances { .. } => true,
        }
    }

    /// One component alone, at `size` standard deviations, at every point.
    pub(crate) fn only(&self, component: usize, size: f64) -> Deviates {
        let mut values = vec![0.0; self.components()];
        values[component] = size;
        Deviates { values, components: self.components(), is_independent: false }
    }

    /// The deviates of this source from those of another source of the same kind, of a part with at
    /// least as many ports: the error of Sij, or of a port, is that of the same ports there.
    pub(crate) fn shared(&self, deviates: &Deviates, other: &Self) -> Deviates {
        let components = self.components();
        if (self.ports, components) == (other.ports, other.components()) {
            return deviates.clone();
        }
        let there = |component: usize| match &self.kind {
            Kind::Entries { .. } => {
                let (entry, kind) = (component / KINDS, component % KINDS);
                KINDS * (entry / self.ports * other.ports + entry % self.ports) + kind
            }
            _ => component,
        };
        let sets = deviates.values.chunks(deviates.components.max(1));
        let values = sets.flat_map(|set| {
            (0..components).map(move |component| set.get(there(component)).copied().unwrap_or(0.0))
        });
        let is_independent = deviates.is_independent;
        Deviates { values: values.collect(), components, is_independent }
    }

    /// Whether several parts can share its errors.
    pub(crate) fn can_be_shared(&self) -> bool {
        matches!(self.kind, Kind::Entries { .. } | Kind::Passes { .. })
    }

    /// The number of ports of its part.
    pub(crate) fn ports(&self) -> usize {
        self.ports
    }

    /// Draws the deviates of one trial.
    pub(crate) fn draw(&self, random: &mut ChaCha8Rng) -> Deviates {
        self.draw_of(&self.acting, random)
    }

    /// The same for a calculation that uses some entries of each matrix alone, by their positions: the
    /// errors of the others are not drawn.
    pub(crate) fn draw_at(&self, places: &[usize], random: &mut ChaCha8Rng) -> Deviates {
        let Kind::Entries { amounts, .. } = &self.kind else { return self.draw(random) };
        let mut needed = vec![false; self.components()];
        for &place in places {
            let first = KINDS * own_place(place, self.ports, amounts.symmetry);
            needed[first..first + KINDS].copy_from_slice(&self.acting[first..first + KINDS]);
        }
        self.draw_of(&needed, random)
    }

    fn draw_of(&self, drawn: &[bool], random: &mut ChaCha8Rng) -> Deviates {
        let components = self.components();
        let is_independent = self.is_independent();
        let sets = if is_independent { self.points } else { 1 };
        let mut values = vec![0.0; sets * components];
        // Deviates without an effect are not drawn.
        let drawn: Vec<usize> = (0..components).filter(|&at| drawn[at]).collect();
        // A source without components has no sets.
        for set in values.chunks_exact_mut(components.max(1)) {
            for &at in &drawn {
                set[at] = StandardNormal.sample(random);
            }
        }
        if let Kind::Repeats { deviations } = &self.kind {
            let widening = student_widening(deviations.len(), random);
            values.iter_mut().for_each(|value| *value *= widening);
        }
        Deviates { values, components, is_independent }
    }

    /// Adds the errors that these deviates cause in a network's entries, point after point. The
    /// entries are those of `errors`: all, or those at its positions.
    pub(crate) fn add(&self, entries: &[Complex64], deviates: &Deviates, errors: &mut Errors) {
        match &self.kind {
            Kind::Entries { amounts, .. } => {
                self.add_of_entries(amounts, entries, deviates, errors);
            }
            Kind::Passes { amounts, .. } => self.add_of_passes(amounts, deviates, errors),
            Kind::Repeats { deviations } | Kind::Changes { changes: deviations } => {
                for (deviation, deviate) in deviations.iter().zip(deviates.of(0)) {
                    let size = self.ports * self.ports;
                    for at in 0..errors.added.len() {
                        let (point, place) = errors.position(at, size);
                        errors.added[at] += deviation[point * size + place] * deviate;
                    }
                }
            }
            Kind::Covariances { factors } => self.add_of_factors(factors, deviates, errors),
        }
    }

    fn add_of_entries(
        &self,
        amounts: &EntryAmounts,
        entries: &[Complex64],
        deviates: &Deviates,
        errors: &mut Errors,
    ) {
        let ports = self.ports;
        // For each place its list of amounts and where its deviates are.
        let places: Vec<(&[EntryAmount], usize)> = errors
            .places(ports * ports)
            .into_iter()
            .map(|place| {
                let (row, column) = (place / ports, place % ports);
                let list = if row == column { &amounts.reflection } else { &amounts.transmission };
                (list.as_slice(), KINDS * own_place(place, ports, amounts.symmetry))
            })
            .collect();
        for (point, matrix) in entries.chunks_exact(places.len()).enumerate() {
            let (values, first) = (deviates.of(point), point * places.len());
            for (at, (entry, (list, own))) in matrix.iter().zip(&places).enumerate() {
                let (multiplied, added) = list[point].error(&values[*own..own + KINDS]);
                errors.multiplied[first + at] += multiplied;
                if added != Complex64::ZERO {
                    let length = entry.norm();
                    let direction = if length > 0.0 { entry / length } else { Complex64::ONE };
                    errors.added[first + at] += added * direction;
                }
            }
        }
    }

    fn add_of_passes(&self, amounts: &[PassAmount], deviates: &Deviates, errors: &mut Errors) {
        let (ports, size) = (self.ports, self.ports * self.ports);
        for at in 0..errors.multiplied.len() {
            let (point, place) = errors.position(at, size);
            let (amount, values) = (&amounts[point], deviates.of(point));
            for port in [place / ports, place % ports] {
                errors.multiplied[at] += Complex64::new(
                    amount.magnitude_np * values[KINDS * port + NEPERS],
                    amount.phase_rad * values[KINDS * port + RADIANS],
                );
            }
        }
    }

    fn add_of_factors(
        &self,
        factors: &[DMatrix<Complex64>],
        deviates: &Deviates,
        errors: &mut Errors,
    ) {
        let size = self.ports * self.ports;
        for at in 0..errors.added.len() {
            let (point, row) = errors.position(at, size);
            let (factor, values) = (&factors[point], deviates.of(point));
            for column in 0..size {
                let deviate = Complex64::new(values[2 * column], values[2 * column + 1]);
                errors.added[at] += factor[(row, column)] * deviate;
            }
        }
    }
}

/// The entry whose error an entry has: of a reciprocal pair the one above the diagonal.
fn own_place(place: usize, ports: usize, symmetry: ErrorSymmetry) -> usize {
    let (row, column) = (place / ports, place % ports);
    let has_twin = symmetry == ErrorSymmetry::Reciprocal && column < row;
    if has_twin { column * ports + row } else { place }
}

/// A list of `each` values for each frequency at which `is_own` holds, with `none` at the others.
fn spread<T: Clone>(own: Vec<T>, is_own: &[bool], each: usize, none: &T) -> Vec<T> {
    let mut own = own.into_iter();
    let mut all = Vec::with_capacity(is_own.len() * each);
    for is_own in is_own {
        if *is_own {
            all.extend(own.by_ref().take(each));
        } else {
            all.extend(std::iter::repeat_n(none.clone(), each));
        }
    }
    all
}

fn check_count(network: &Network, found: usize) -> Result<(), MeasurementError> {
    let points = network.grid().len();
    if points == found { Ok(()) } else { Err(MeasurementError::AmountCount { points, found }) }
}

/// The matrix that transforms standard deviates to errors of this covariance; `None` if its
/// eigenvalues cannot be computed.
fn root(covariance: DMatrix<Complex64>) -> Option<DMatrix<Complex64>> {
    let split = hermitian(covariance)?;
    let roots = split.eigenvalues.map(|value| Complex64::from(value.max(0.0).sqrt()));
    Some(&split.eigenvectors * DMatrix::from_diagonal(&roots))
}

/// A factor that transforms normal deviates to deviates of Student's distribution, which the mean
/// of few measurements has (JCGM 101:2008, 6.4.9).
fn student_widening(measurements: usize, random: &mut ChaCha8Rng) -> f64 {
    // There are at least two measurements.
    #[expect(clippy::cast_precision_loss, reason = "few measurements")]
    let freedom = (measurements - 1) as f64;
    let squares = ChiSquared::new(freedom).expect("one degree of freedom or more");
    (freedom / squares.sample(random)).sqrt()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::network::FrequencyGrid;

    /// JCGM 100:2008, H.2 (resistance and reactance from five sets of voltage, current and phase, from
    /// memory): R 127.732 ohm with u 0.071, X 219.847 with u 0.295, correlated by -0.588.
    #[test]
    fn repeated_measurements_of_the_guide() {
        let volts = [5.007, 4.994, 5.005, 4.990, 4.999];
        let milliamps = [19.663, 19.639, 19.640, 19.685, 19.678];
        let radians = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
        let grid = FrequencyGrid::from_hz(vec![1e3]).unwrap();
        let sets: Vec<Network> = (0..5)
            .map(|at| {
                // The entry may be any complex number: kiloohms here.
                let value = Complex64::from_polar(volts[at] / milliamps[at], radians[at]);
                let reference = vec![50.0.into()];
                Network::new(ParameterKind::Scattering, grid.clone(), 1, vec![value], reference)
                    .unwrap()
            })
            .collect();
        let (mean, source) = Source::of_repeats(&sets[0], &sets).unwrap();
        let found = mean.entries()[0] * 1e3;
        assert!(
            (found.re - 127.732).abs() < 0.0005 && (found.im - 219.847).abs() < 0.0005,
            "{found}"
        );
        let Kind::Repeats { deviations } = &source.kind else { panic!() };
        let sum = |of: &dyn Fn(Complex64) -> f64| -> f64 {
            deviations.iter().map(|deviation| of(deviation[0] * 1e3)).sum()
        };
        let (u_r, u_x) = (sum(&|d| d.re * d.re).sqrt(), sum(&|d| d.im * d.im).sqrt());
        assert!((u_r - 0.071).abs() < 0.0005 && (u_x - 0.295).abs() < 0.0005, "{u_r} {u_x}");
        let correlation = sum(&|d| d.re * d.im) / (u_r * u_x);
        assert!((correlation + 0.588).abs() < 0.0005, "{correlation}");
    }

    #[test]
    fn lists_of_another_length_and_too_few_repeats_are_refused() {
        let grid = FrequencyGrid::from_hz(vec![1e9, 2e9]).unwrap();
        let (kind, zeros) = (ParameterKind::Scattering, vec![Complex64::ZERO; 2]);
        let network = Network::new(kind, grid, 1, zeros, vec![50.0.into()]).unwrap();
        let one = vec![PassAmount::default()];
        assert_eq!(
            Source::of_passes(&network, one, OverFrequency::Correlated),
            Err(MeasurementError::AmountCount { points: 2, found: 1 })
        );
        let negative = vec![PassAmount { magnitude_np: -1.0, phase_rad: 0.0 }; 2];
        assert_eq!(
            Source::of_passes(&network, negative, OverFrequency::Correlated),
            Err(MeasurementError::NotAnAmount { found: -1.0 })
        );
        assert_eq!(
            Source::of_repeats(&network, std::slice::from_ref(&network)),
            Err(MeasurementError::Repeats { found: 1 })
        );
    }
}
