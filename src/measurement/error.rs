//! Errors in the evaluation of a measurement or its uncertainty.

use crate::downconverter::ReceiverError;
use crate::network::{NetworkError, Port};
use crate::splitter::SplitterError;
use crate::units::{ShownFrequency, shown_band, shown_complex};
use num_complex::Complex64;
use std::fmt;

/// The reason for which a measurement or its uncertainty cannot be evaluated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MeasurementError {
    /// An estimate that is infinite or not a number.
    #[error("a channel error must be finite, found {found}")]
    NotAnEstimate {
        /// The estimate found, nepers and radians.
        found: Complex64,
    },
    /// Numbers that are not a covariance of two values.
    #[error(
        "variances must be 0 or more and the correlation from -1 to 1: found variances \
         {amplitude_variance} and {phase_variance} with the covariance {covariance}"
    )]
    NotACovariance {
        /// Variance of the amplitude imbalance, Np².
        amplitude_variance: f64,
        /// Variance of the phase error, rad².
        phase_variance: f64,
        /// Covariance of both, Np rad.
        covariance: f64,
    },
    /// A stability of 0 or less.
    #[error("the stability of trials must be above 0, found {found}")]
    NotAStability {
        /// The number found.
        found: f64,
    },
    /// A coverage probability that is not between 0 and 1.
    #[error("a coverage probability must be above 0 and below 1, found {found}")]
    NotACoverage {
        /// The number found.
        found: f64,
    },
    /// A probability of conformity with which a requirement could pass and fail at once.
    #[error(
        "a probability of conformity must be from 0.5 up to but not including 1, found {found}"
    )]
    NotAConformity {
        /// The number found.
        found: f64,
    },
    /// A guard band that is negative or not finite.
    #[error("a guard band must be 0 or wider, found {found}")]
    NotAGuardBand {
        /// The number found.
        found: f64,
    },
    /// A plan without a point.
    #[error("a requirement needs at least one point to be decided, found none")]
    NoPoints,
    /// A source that several parts cannot share.
    #[error("{name}: repeats and covariances are of one part; only stated amounts can be shared")]
    NotShareable {
        /// The source.
        name: String,
    },
    /// A number of covariances that is not the number of points.
    #[error("{points} points need as many covariances, found {covariances}")]
    CovarianceCount {
        /// The number of points.
        points: usize,
        /// The number of covariances.
        covariances: usize,
    },
    /// A number of lists of sources that is not the number of loads.
    #[error("{loads} loads need as many lists of sources, found {found}")]
    LoadCount {
        /// The number of loads.
        loads: usize,
        /// The number of lists.
        found: usize,
    },
    /// A standard uncertainty that is negative or not finite.
    #[error("a standard uncertainty must be 0 or more, found {found}")]
    NotAnAmount {
        /// The number found.
        found: f64,
    },
    /// A number of standard uncertainties that is not the number of frequencies.
    #[error("{points} frequencies need as many standard uncertainties, found {found}")]
    AmountCount {
        /// Frequencies of the network.
        points: usize,
        /// The number of standard uncertainties.
        found: usize,
    },
    /// An effective permittivity below 1.
    #[error("an effective permittivity must be 1 or more, found {found}")]
    NotAPermittivity {
        /// The number found.
        found: f64,
    },
    /// Too few repeated measurements for a standard deviation.
    #[error("a standard deviation needs two measurements or more, found {found}")]
    Repeats {
        /// The number of measurements.
        found: usize,
    },
    /// An empty list of covariances.
    #[error("covariances of entries need at least one frequency, found none")]
    NoCovariances,
    /// A matrix that is not a covariance of entries.
    #[error("at {}: {fault}", ShownFrequency(*frequency_hz))]
    EntryCovariance {
        /// Index of the matrix, from 0.
        point: usize,
        /// Frequency, Hz.
        frequency_hz: f64,
        /// The property that the matrix lacks.
        fault: CovarianceFault,
    },
    /// A frequency that the covariances do not cover.
    #[error(
        "the covariance covers {}, expected data at {}; data are not extrapolated",
        shown_band((*first_hz, *last_hz)), ShownFrequency(*frequency_hz)
    )]
    OutsideCovariances {
        /// The first frequency of the covariances, Hz.
        first_hz: f64,
        /// The last frequency of the covariances, Hz.
        last_hz: f64,
        /// The frequency outside the covariances, Hz.
        frequency_hz: f64,
    },
    /// A source of uncertainty of another network.
    #[error(
        "a source of uncertainty of a {ports}-port at {points} frequencies does not fit a \
         {found_ports}-port at {found_points} frequencies"
    )]
    OtherNetwork {
        /// Ports of the source's network.
        ports: usize,
        /// Number of frequencies of the source's network.
        points: usize,
        /// Ports of the network.
        found_ports: usize,
        /// Number of frequencies of the network.
        found_points: usize,
    },
    /// A source of different kinds on the two paths.
    #[error("source '{name}' must be of one kind on both paths")]
    PathsDiffer {
        /// The name of the source.
        name: String,
    },
    /// A measured tone that the plan does not contain.
    #[error(
        "measurement {measurement}: LO {}, IF {} is no point of the plan; {}",
        ShownFrequency(*lo_hz), ShownFrequency(*if_hz), remedy_of_tone(*lo_hz, *if_hz)
    )]
    NotInPlan {
        /// The number of the measurement, from 1.
        measurement: usize,
        /// The LO frequency, Hz.
        lo_hz: f64,
        /// The IF frequency, Hz.
        if_hz: f64,
    },
    /// An analysis of another part.
    #[error(
        "the analysis is not that of this part: its plan or band has {points} points, the analysis {found}"
    )]
    OtherResult {
        /// Points of the part's plan or band.
        points: usize,
        /// Points of the analysis.
        found: usize,
    },
    /// An empty list of measurements.
    #[error("an N-port needs at least one measurement, found none")]
    NoMeasurements,
    /// A measurement whose list of ports does not match its network, has duplicates, or has ports
    /// beyond N.
    #[error(
        "measurement {measurement} must name the {found} ports of its network, each once and from 1 to {ports}; \
         found {named} names"
    )]
    Ports {
        /// The number of the measurement, from 1.
        measurement: usize,
        /// The number of ports named.
        named: usize,
        /// The number of ports of the N-port.
        ports: usize,
        /// The number of ports of the measured network.
        found: usize,
    },
    /// A number of terminations that is not the number of ports or of frequencies.
    #[error(
        "measurement {measurement} needs a reflection coefficient for each of the {ports} ports at each of the \
         {points} frequencies"
    )]
    Terminations {
        /// The number of the measurement, from 1.
        measurement: usize,
        /// The number of ports.
        ports: usize,
        /// The number of frequencies.
        points: usize,
    },
    /// A termination whose reflection coefficient is out of range.
    #[error(
        "measurement {measurement}: the reflection coefficient of the termination of port {port} \
         must be at most 1e9, found {}",
        shown_complex(*found)
    )]
    Termination {
        /// The number of the measurement, from 1.
        measurement: usize,
        /// The terminated port.
        port: Port,
        /// The reflection coefficient.
        found: Complex64,
    },
    /// A symmetry that does not name every port once.
    #[error("a symmetry must list each of the {ports} ports once")]
    Symmetry {
        /// The number of ports.
        ports: usize,
    },
    /// A standard uncertainty out of range.
    #[error(
        "measurement {measurement}: a standard uncertainty must be above 0, from 1e-15 to 1e6, \
         found {found:e}"
    )]
    Uncertainty {
        /// The number of the measurement, from 1.
        measurement: usize,
        /// The number found.
        found: f64,
    },
    /// An entry that no measurement contains.
    #[error(
        "S{row},{column} is in no measurement and does not follow from reciprocity or symmetry"
    )]
    Missing {
        /// Its row.
        row: Port,
        /// Its column.
        column: Port,
    },
    /// Measurements that do not determine all entries.
    #[error(
        "at {} the measurements do not determine the matrix: condition number {condition:.1e}",
        ShownFrequency(*frequency_hz)
    )]
    Undetermined {
        /// Frequency, Hz.
        frequency_hz: f64,
        /// The condition number of the equations.
        condition: f64,
    },
    /// A resonance of the matrix with its terminations.
    #[error(
        "at {} the terminations and the matrix are in resonance, without a finite result; check the terminations",
        ShownFrequency(*frequency_hz)
    )]
    Resonance {
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// Measurements and terminations that contradict each other.
    #[error("at {} no matrix fits the measurements; check the terminations", ShownFrequency(*frequency_hz))]
    NoFit {
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// More than a rebuild may take: hours, or gigabytes of covariances.
    #[error(
        "expected at most {most} frequencies for a rebuild of {ports} ports from these measurements, \
         found {points}; bring the first file to fewer frequencies"
    )]
    TooMuchWork {
        /// Ports of the result.
        ports: usize,
        /// Frequencies found.
        points: usize,
        /// Frequencies that it may have.
        most: usize,
    },
    /// A receiver that cannot be solved.
    #[error(transparent)]
    Receiver(#[from] ReceiverError),
    /// A splitter that cannot be analysed.
    #[error(transparent)]
    Splitter(#[from] SplitterError),
    /// A network that cannot be made or changed.
    #[error(transparent)]
    Network(#[from] NetworkError),
}

/// The reason for which a matrix is not a covariance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum CovarianceFault {
    /// The frequency is not above the one before.
    NotAscending,
    /// The number of rows or columns is not that of the entries.
    Size,
    /// An entry that is infinite or not a number.
    NotFinite,
    /// An entry is not the conjugate of its mirror image.
    NotHermitian,
    /// A negative variance in some direction.
    NegativeVariance,
}

impl fmt::Display for CovarianceFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotAscending => "the frequency must be above the one before",
            Self::Size => "the covariance must have a row and a column for each entry",
            Self::NotFinite => "the covariance must be finite",
            Self::NotHermitian => "the covariance must be Hermitian",
            Self::NegativeVariance => {
                "a variance is negative; a covariance must have no negative variance in any direction"
            }
        })
    }
}

/// The likely mistake of a tone that is no point of the plan.
fn remedy_of_tone(lo_hz: f64, if_hz: f64) -> &'static str {
    /// No LO of this kind of receiver is higher.
    const HIGHEST_HZ: f64 = 2e12;
    if lo_hz > HIGHEST_HZ {
        "lo_ghz and if_ghz are in GHz"
    } else if if_hz > lo_hz {
        "are lo_ghz and if_ghz exchanged?"
    } else {
        "lo_ghz is the LO at the mixers; add the point to lo_ghz and if_ghz of the plan, or widen rf_ghz \
         where it leaves the point out"
    }
}
