//! Reconstruction of an N-port from measurements of some of its ports at a time, with known
//! terminations at the others.
//!
//! S is solved from all measurements together by least squares, see `scattering_fit`. Sets that are
//! complete only by reciprocity or symmetry, and terminations that differ between measurements,
//! need no special treatment.
//!
//! Weights are the inverse squares of the measurements' standard uncertainties, which are assumed
//! to be equal in all directions of the complex plane and independent from entry to entry. Without
//! uncertainties the weights are equal, and the fit residuals estimate one variance for all entries
//! and frequencies.

use super::entry_covariances::EntryCovariances;
use super::error::MeasurementError;
use super::partial_view::{Matrix, PartialView};
use super::scattering_fit::{Fit, Unknowns};
use crate::network::{
    FrequencyGrid, Network, PASSIVITY_TOLERANCE, ParameterKind, Port, Quality, WaveDefinition,
    assess, change_reference, convert, onto_grid,
};
use num_complex::Complex64;
use rayon::prelude::{
    IndexedParallelIterator as _, IntoParallelRefIterator as _, ParallelIterator as _,
};
use std::fmt;
use std::ops::RangeInclusive;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A measurement of some ports.
#[derive(Clone, Debug)]
pub struct PartialMeasurement {
    /// The measured network, in any reference impedances and parameter.
    pub network: Network,
    /// For each of its ports the port of the N-port.
    pub ports: Vec<Port>,
    /// The termination of every port of the N-port while it is not measured: reflection
    /// coefficients in the common reference impedance, indexed by port and frequency. Those of
    /// measured ports are not used.
    pub terminations: Vec<Vec<Complex64>>,
    /// Standard uncertainty of the real and of the imaginary part of its entries, above 0; `None`
    /// if not known.
    pub standard_uncertainty: Option<f64>,
}

/// The N-port to be rebuilt, with its known properties.
#[derive(Clone, Debug, PartialEq)]
pub struct RebuildSettings {
    /// The number of its ports.
    pub ports: usize,
    /// The real reference impedance of the result, ohm.
    pub reference_ohm: f64,
    /// Whether the part is reciprocal: Sij = Sji.
    pub is_reciprocal: bool,
    /// Each symmetry lists all ports in an order in which the part is the same: entry k is the port
    /// that can replace port k.
    pub symmetries: Vec<Vec<Port>>,
}

/// A reflection coefficient that is in several measurements.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RepeatedReflection {
    /// The port.
    pub port: Port,
    /// The number of measurements.
    pub count: usize,
    /// The maximum distance of a measurement from the value of the rebuilt matrix.
    pub largest_residual: f64,
    /// Frequency of the maximum, Hz.
    pub at_hz: f64,
}

/// A measurement that disagrees with the others.
#[derive(Clone, Debug, PartialEq)]
pub struct DeviatingMeasurement {
    /// Its number in the set, from 1.
    pub number: usize,
    /// Its ports.
    pub ports: Vec<Port>,
    /// Root of the mean square of its fit residuals.
    pub residual_rms: f64,
}

/// The origin of covariances.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CovarianceOrigin {
    /// The standard uncertainties of the measurements.
    Measurements,
    /// The fit residuals, which estimate one variance from this number of degrees of freedom:
    /// measured real numbers minus unknown real numbers.
    Residuals {
        /// The number of degrees of freedom.
        degrees_of_freedom: usize,
    },
}

/// Covariances of the entries of a rebuilt network.
#[derive(Clone, Debug, PartialEq)]
pub struct RebuiltCovariances {
    /// The covariances at each frequency of the network.
    pub entries: EntryCovariances,
    /// Their origin.
    pub origin: CovarianceOrigin,
}

/// A rebuilt N-port.
#[derive(Clone, Debug)]
pub struct Rebuilt {
    /// The network in the common reference impedance.
    pub network: Network,
    /// Figures of its passivity and reciprocity.
    pub quality: Quality,
    /// Root mean square of the fit residuals.
    pub residual_rms: f64,
    /// The maximum fit residual.
    pub residual_largest: f64,
    /// Frequency of the maximum, Hz.
    pub residual_at_hz: f64,
    /// The maximum condition number of the equations: the factor by which relative errors may grow.
    pub condition: f64,
    /// The measurement that disagrees most with the others; `None` where none does.
    pub most_deviating: Option<DeviatingMeasurement>,
    /// The reflection coefficients that are in several measurements.
    pub repeated: Vec<RepeatedReflection>,
    /// The maximum change of an entry if all terminations were assumed to be matched.
    pub if_terminations_ignored: f64,
    /// The fit residuals divided by those expected from the measurements' uncertainties, both as
    /// root mean squares; `None` without uncertainties, or without redundant measurements.
    pub residual_ratio: Option<f64>,
    /// The covariances of the entries; `None` without both redundant measurements and
    /// uncertainties.
    pub covariances: Option<RebuiltCovariances>,
}

/// A warning about a rebuilt network.
#[derive(Clone, Debug, PartialEq)]
pub enum RebuildWarning {
    /// The network is not passive.
    NotPassive,
    /// The fit residuals exceed the stated uncertainties by this factor.
    LargeResiduals(f64),
    /// Without stated uncertainties the fit residuals are above what measurements repeat to.
    PoorFit {
        /// Root of the mean square of the fit residuals.
        residual_rms: f64,
    },
    /// One measurement disagrees most with the others.
    Deviates(DeviatingMeasurement),
}

impl fmt::Display for RebuildWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotPassive => {
                f.write_str("the rebuilt network is not passive; check the terminations")
            }
            Self::LargeResiduals(ratio) => write!(
                f,
                "the fit residuals are {ratio:.1} times what the stated uncertainties allow; the \
                 covariance is too small by about that factor"
            ),
            Self::PoorFit { residual_rms } => write!(
                f,
                "the measurements contradict one another: the fit residuals are {residual_rms:.1e} rms, \
                 and measurements of one part repeat to some thousandths"
            ),
            Self::Deviates(own) => {
                let ports: Vec<String> = own.ports.iter().map(Port::to_string).collect();
                write!(
                    f,
                    "measurement {} (ports {}) disagrees most, by {:.1e} rms: check its file, the order \
                     of its ports and the terminations",
                    own.number,
                    ports.join(", "),
                    own.residual_rms
                )
            }
        }
    }
}

/// With correct uncertainties the ratio of the residuals is near 1 and rarely above this.
const MAX_RESIDUAL_RATIO: f64 = 1.5;

/// Measurements of one part, connected anew each time, repeat to some thousandths (ours).
const MAX_RESIDUAL_RMS: f64 = 0.01;

/// The valid standard uncertainties of a measurement: their inverse squares are weights.
const UNCERTAINTIES: RangeInclusive<f64> = 1e-15..=1e6;
/// Complex products of one factorisation over all frequencies: an hour on two processors.
const MAX_PRODUCTS: f64 = 2e11;
/// Numbers in the covariances of all frequencies: 2 GiB.
const MAX_COVARIANCES: f64 = 134_217_728.0;
/// The largest magnitude of a reflection coefficient of a termination.
const MAX_REFLECTION: f64 = 1e9;

impl Rebuilt {
    /// Warnings about the result.
    #[must_use]
    pub fn warnings(&self) -> Vec<RebuildWarning> {
        let passive = self.quality.passive_within(PASSIVITY_TOLERANCE);
        let residuals = self.residual_ratio.filter(|ratio| *ratio > MAX_RESIDUAL_RATIO);
        let not_passive = (!passive).then_some(RebuildWarning::NotPassive);
        let residual_rms = self.residual_rms;
        let is_poor = self.residual_ratio.is_none() && residual_rms > MAX_RESIDUAL_RMS;
        let poor = is_poor.then_some(RebuildWarning::PoorFit { residual_rms });
        let deviating = self.most_deviating.clone().filter(|_| is_poor || residuals.is_some());
        not_passive
            .into_iter()
            .chain(residuals.map(RebuildWarning::LargeResiduals))
            .chain(poor)
            .chain(deviating.map(RebuildWarning::Deviates))
            .collect()
    }
}

/// Rebuilds an N-port at the frequencies of the first measurement.
///
/// # Errors
/// [`MeasurementError::Terminations`] and [`MeasurementError::Uncertainty`] for an inconsistent
/// measurement; [`MeasurementError::Symmetry`]; [`MeasurementError::Missing`] for an entry that
/// is in no measurement; [`MeasurementError::Resonance`], [`MeasurementError::Undetermined`] and
/// [`MeasurementError::NoFit`] with the frequency; [`MeasurementError::TooMuchWork`]; errors of [`convert`], [`onto_grid`] and
/// [`change_reference`].
///
/// # Examples
/// ```
/// use fourphase::measurement::{PartialMeasurement, RebuildSettings, rebuild};
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind, Port};
/// use num_complex::Complex64;
///
/// // Three pairs of ports of a reciprocal three-port, the third port matched each time: an ideal
/// // reactive divider with reflections of -1/3 and transmissions of 2/3.
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let (reflection, transmission) = (Complex64::from(-1.0 / 3.0), Complex64::from(2.0 / 3.0));
/// let pair = vec![reflection, transmission, transmission, reflection];
/// let measured = |ports: [usize; 2]| -> Result<PartialMeasurement, Box<dyn std::error::Error>> {
///     Ok(PartialMeasurement {
///         network: Network::new(
///             ParameterKind::Scattering, grid.clone(), 2, pair.clone(), vec![50.0.into()])?,
///         ports: ports.map(Port::from_index).to_vec(),
///         terminations: vec![vec![Complex64::ZERO]; 3],
///         standard_uncertainty: None,
///     })
/// };
/// let settings = RebuildSettings {
///     ports: 3, reference_ohm: 50.0, is_reciprocal: true, symmetries: Vec::new() };
/// let set = [measured([0, 1])?, measured([0, 2])?, measured([1, 2])?];
/// let rebuilt = rebuild(&settings, &set)?;
/// let entry = rebuilt.network.matrix(0).at(Port::from_index(2), Port::from_index(0));
/// assert!((entry - transmission).norm() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn rebuild(
    settings: &RebuildSettings,
    measurements: &[PartialMeasurement],
) -> Result<Rebuilt, MeasurementError> {
    rebuild_with_progress(settings, measurements, &|_, _| {})
}

/// The same; `on_progress` gets how many frequencies are done and how many there are, from several
/// threads.
///
/// # Errors
/// As [`rebuild`].
pub fn rebuild_with_progress(
    settings: &RebuildSettings,
    measurements: &[PartialMeasurement],
    on_progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Rebuilt, MeasurementError> {
    let ports = settings.ports;
    let first = measurements.first().ok_or(MeasurementError::NoMeasurements)?;
    let grid = first.network.grid().clone();
    let networks = measurements
        .iter()
        .enumerate()
        .map(|(at, measurement)| on_common_terms(settings, at, measurement, &grid))
        .collect::<Result<Vec<_>, _>>()?;
    for order in &settings.symmetries {
        if (0..ports).any(|port| !order.contains(&Port::from_index(port))) || order.len() != ports {
            return Err(MeasurementError::Symmetry { ports });
        }
    }
    let measured: Vec<&[Port]> = measurements.iter().map(|one| one.ports.as_slice()).collect();
    let unknowns = Unknowns::new(ports, settings.is_reciprocal, &settings.symmetries, &measured)?;
    // Weights are used only if every measurement has an uncertainty.
    let uncertainties: Option<Vec<f64>> =
        measurements.iter().map(|one| one.standard_uncertainty).collect();
    let weights: Vec<f64> = match &uncertainties {
        Some(uncertainties) => uncertainties.iter().map(|u| 1.0 / u).collect(),
        None => vec![1.0; measurements.len()],
    };
    let equations: usize = networks.iter().map(|network| network.ports().pow(2)).sum();
    check_work(ports, &unknowns, equations, grid.len())?;
    let done = AtomicUsize::new(0);
    let fit = |(point, &frequency_hz): (usize, &f64)| {
        let views: Vec<PartialView> = measurements
            .iter()
            .zip(networks.iter().zip(&weights))
            .map(|(measurement, (network, weight))| view(measurement, network, point, *weight))
            .collect();
        let fitted = FittedPoint::new(&unknowns, &views, frequency_hz);
        on_progress(done.fetch_add(1, Ordering::Relaxed) + 1, grid.len());
        fitted
    };
    on_progress(0, grid.len());
    let fitted: Vec<_> = grid.as_hz().par_iter().enumerate().map(fit).collect();
    // The first frequency without a result is told, whatever the order of the work.
    let points = fitted.into_iter().collect::<Result<Vec<FittedPoint>, _>>()?;
    // Two real numbers to each complex one.
    let degrees_of_freedom = 2 * equations.saturating_sub(unknowns.count()) * grid.len();
    let residuals = Residuals::of(&points, &weights);
    let entries = points.iter().flat_map(|point| row_major(&point.fit.matrix)).collect();
    let references = vec![settings.reference_ohm.into(); ports];
    let network =
        Network::new(ParameterKind::Scattering, grid.clone(), ports, entries, references)?;
    let condition = points.iter().map(|point| point.fit.condition).fold(0.0, f64::max);
    let most_deviating = most_deviating(&points, &measured);
    let repeated = (0..ports).map(|port| repeated(port, &points, &measured)).collect();
    let changes = points.iter().map(|point| point.change_if_matched);
    let if_terminations_ignored = changes.fold(0.0, f64::max);
    let is_weighted = uncertainties.is_some();
    let ratio = residuals.weighted_ratio(degrees_of_freedom).filter(|_| is_weighted);
    let squares = residuals.squares;
    let covariances = covariances(ports, &grid, points, is_weighted, squares, degrees_of_freedom)?;
    Ok(Rebuilt {
        quality: assess(&network)?,
        network,
        residual_rms: residuals.rms,
        residual_largest: residuals.largest.0,
        residual_at_hz: residuals.largest.1,
        condition,
        most_deviating,
        repeated,
        if_terminations_ignored,
        residual_ratio: ratio,
        covariances,
    })
}

/// Refuses what would take hours, or more memory than there is.
fn check_work(
    ports: usize,
    unknowns: &Unknowns,
    equations: usize,
    points: usize,
) -> Result<(), MeasurementError> {
    #[expect(clippy::cast_precision_loss, reason = "estimates")]
    let (per_point, numbers) = (unknowns.products(equations), (ports as f64).powi(4));
    let most = (MAX_PRODUCTS / per_point).min(MAX_COVARIANCES / numbers);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "it is bounded")]
    let most = most.min(1e9) as usize;
    if points > most.max(1) {
        return Err(MeasurementError::TooMuchWork { ports, points, most: most.max(1) });
    }
    Ok(())
}

/// A measurement in the common reference impedance, at the common frequencies.
fn on_common_terms(
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
        let points = grid.len();
        return Err(MeasurementError::Terminations { measurement: at + 1, ports, points });
    }
    let is_reflection = |found: Complex64| found.is_finite() && found.norm() <= MAX_REFLECTION;
    for (port, over) in ends.iter().enumerate() {
        if let Some(&found) = over.iter().find(|found| !is_reflection(**found)) {
            let port = Port::from_index(port);
            return Err(MeasurementError::Termination { measurement: at + 1, port, found });
        }
    }
    if let Some(found) = measurement.standard_uncertainty
        && !UNCERTAINTIES.contains(&found)
    {
        return Err(MeasurementError::Uncertainty { measurement: at + 1, found });
    }
    let there = onto_grid(&measurement.network, grid)?.network;
    let scattering = convert(&there, ParameterKind::Scattering)?;
    let references = vec![settings.reference_ohm.into(); named.len()];
    Ok(change_reference(&scattering, references, WaveDefinition::Kurokawa)?)
}

/// A measurement at one frequency.
fn view(
    measurement: &PartialMeasurement,
    network: &Network,
    point: usize,
    weight: f64,
) -> PartialView {
    let ports: Vec<usize> = measurement.ports.iter().map(|port| port.index()).collect();
    let size = ports.len();
    let terminations = measurement
        .terminations
        .iter()
        .enumerate()
        .map(|(port, over)| if ports.contains(&port) { Complex64::ZERO } else { over[point] });
    PartialView {
        terminations: terminations.collect(),
        measured: Matrix::from_row_slice(size, size, network.matrix(point).as_slice()),
        ports,
        weight,
    }
}

/// The result at one frequency.
struct FittedPoint {
    frequency_hz: f64,
    fit: Fit,
    /// The largest change of an entry if all terminations were matched.
    change_if_matched: f64,
}

impl FittedPoint {
    fn new(
        unknowns: &Unknowns,
        views: &[PartialView],
        frequency_hz: f64,
    ) -> Result<Self, MeasurementError> {
        let fit = unknowns.fit(views).map_err(|failure| failure.at(frequency_hz))?;
        let matched = unknowns.if_matched(views);
        let change_if_matched = (matched - &fit.matrix).map(Complex64::norm).max();
        Ok(Self { frequency_hz, fit, change_if_matched })
    }
}

/// Sums over all fit residuals.
struct Residuals {
    /// The sum of their squares.
    squares: f64,
    /// The same, each over its standard uncertainty.
    weighted: f64,
    rms: f64,
    /// The maximum residual and its frequency, Hz.
    largest: (f64, f64),
}

impl Residuals {
    fn of(points: &[FittedPoint], weights: &[f64]) -> Self {
        let (mut squares, mut weighted, mut count) = (0.0, 0.0, 0.0);
        let mut largest = (0.0, points[0].frequency_hz);
        for point in points {
            for (residual, weight) in point.fit.residuals.iter().zip(weights) {
                squares += residual.norm_squared();
                weighted += weight * weight * residual.norm_squared();
                #[expect(clippy::cast_precision_loss, reason = "few entries")]
                {
                    count += residual.len() as f64;
                }
                let own = residual.map(Complex64::norm).max();
                if own > largest.0 {
                    largest = (own, point.frequency_hz);
                }
            }
        }
        Self { squares, weighted, rms: (squares / count).sqrt(), largest }
    }

    /// The ratio of the weighted residuals to those expected; `None` where none are expected.
    fn weighted_ratio(&self, degrees_of_freedom: usize) -> Option<f64> {
        #[expect(clippy::cast_precision_loss, reason = "few equations")]
        let expected = degrees_of_freedom as f64;
        (degrees_of_freedom > 0).then(|| (self.weighted / expected).sqrt())
    }
}

/// The covariances of the entries from the measurements' uncertainties, or else from the residuals.
fn covariances(
    ports: usize,
    grid: &FrequencyGrid,
    points: Vec<FittedPoint>,
    is_weighted: bool,
    squares: f64,
    degrees_of_freedom: usize,
) -> Result<Option<RebuiltCovariances>, MeasurementError> {
    let own = points.into_iter().map(|point| point.fit.covariance);
    let (matrices, origin) = if is_weighted {
        (own.collect(), CovarianceOrigin::Measurements)
    } else if degrees_of_freedom > 0 {
        // One variance is used for all frequencies: a single frequency has too few residuals for an
        // estimate.
        #[expect(clippy::cast_precision_loss, reason = "few equations")]
        let variance = Complex64::from(squares / degrees_of_freedom as f64);
        let origin = CovarianceOrigin::Residuals { degrees_of_freedom };
        (own.map(|matrix| matrix * variance).collect(), origin)
    } else {
        return Ok(None);
    };
    let entries = EntryCovariances::of_fit(ports, grid.as_hz(), matrices)?;
    Ok(Some(RebuiltCovariances { entries, origin }))
}

/// The measurement with the largest fit residuals; `None` where there are none at all.
fn most_deviating(points: &[FittedPoint], measured: &[&[Port]]) -> Option<DeviatingMeasurement> {
    let each = measured.iter().enumerate().map(|(at, ports)| {
        let residuals = points.iter().filter_map(|point| point.fit.residuals.get(at));
        let (squares, count) = residuals.fold((0.0, 0.0), |(squares, count), own| {
            #[expect(clippy::cast_precision_loss, reason = "few entries")]
            let entries = own.len() as f64;
            (squares + own.norm_squared(), count + entries)
        });
        let residual_rms = (squares / f64::max(count, 1.0)).sqrt();
        DeviatingMeasurement { number: at + 1, ports: ports.to_vec(), residual_rms }
    });
    let largest = each.max_by(|one, other| one.residual_rms.total_cmp(&other.residual_rms));
    largest.filter(|own| own.residual_rms > 0.0)
}

/// The reflection coefficient of a port, from 0, in all measurements.
fn repeated(port: usize, points: &[FittedPoint], measured: &[&[Port]]) -> RepeatedReflection {
    let port = Port::from_index(port);
    let mut found = RepeatedReflection {
        port,
        count: measured.iter().filter(|listed| listed.contains(&port)).count(),
        largest_residual: 0.0,
        at_hz: points[0].frequency_hz,
    };
    for point in points {
        for (residual, listed) in point.fit.residuals.iter().zip(measured) {
            let Some(at) = listed.iter().position(|one| *one == port) else { continue };
            let own = residual[(at, at)].norm();
            if own > found.largest_residual {
                (found.largest_residual, found.at_hz) = (own, point.frequency_hz);
            }
        }
    }
    found
}

fn row_major(matrix: &Matrix) -> Vec<Complex64> {
    matrix.transpose().iter().copied().collect()
}
