//! Why a measurement or its uncertainty cannot be evaluated.

use crate::downconverter::ReceiverError;
use crate::network::{NetworkError, Port};
use crate::splitter::SplitterError;
use crate::units::{ShownFrequency, shown_band, shown_complex};
use num_complex::Complex64;
use std::fmt;

/// Why a measurement or its uncertainty cannot be evaluated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MeasurementError {
    /// An estimate that is infinite or not a number.
    #[error("a channel error must be finite, found {found}")]
    NotAnEstimate {
        /// Nepers and radians.
        found: Complex64,
    },
    /// Numbers that are no covariance of two values.
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
    /// A stability of 0 or less, which no number of trials reaches.
    #[error("the stability of trials must be above 0, found {found}")]
    NotAStability {
        /// The number given.
        found: f64,
    },
    /// A coverage probability of 0 or 1, or outside.
    #[error("a coverage probability must be above 0 and below 1, found {found}")]
    NotACoverage {
        /// The number given.
        found: f64,
    },
    /// A probability of conformity that lets a requirement be met and not met at once.
    #[error(
        "a probability of conformity must be from 0.5 up to but not including 1, found {found}"
    )]
    NotAConformity {
        /// The number given.
        found: f64,
    },
    /// A guard band that is negative or not finite.
    #[error("a guard band must be 0 or wider, found {found}")]
    NotAGuardBand {
        /// The number given.
        found: f64,
    },
    /// A plan without a point.
    #[error("a requirement needs at least one point to be decided, found none")]
    NoPoints,
    /// A source that parts cannot share.
    #[error("{name}: repeats and covariances are of one part; only stated amounts can be shared")]
    NotShareable {
        /// The source.
        name: String,
    },
    /// Covariances of another number of points.
    #[error("{points} points need as many covariances, found {covariances}")]
    CovarianceCount {
        /// How many points there are.
        points: usize,
        /// How many covariances.
        covariances: usize,
    },
    /// Sources of uncertainty of another number of loads.
    #[error("{loads} loads need as many lists of sources, found {found}")]
    LoadCount {
        /// How many loads there are.
        loads: usize,
        /// How many lists.
        found: usize,
    },
    /// A standard uncertainty that is negative or not finite.
    #[error("a standard uncertainty must be 0 or more, found {found}")]
    NotAnAmount {
        /// The number given.
        found: f64,
    },
    /// Standard uncertainties of another number of frequencies.
    #[error("{points} frequencies need as many standard uncertainties, found {found}")]
    AmountCount {
        /// Frequencies of the network.
        points: usize,
        /// How many standard uncertainties.
        found: usize,
    },
    /// An effective permittivity below 1.
    #[error("an effective permittivity must be 1 or more, found {found}")]
    NotAPermittivity {
        /// The number given.
        found: f64,
    },
    /// Too few repeated measurements for a scatter.
    #[error("a scatter needs two measurements or more, found {found}")]
    Repeats {
        /// How many there are.
        found: usize,
    },
    /// No covariance at all.
    #[error("covariances of entries need at least one frequency, found none")]
    NoCovariances,
    /// A matrix that is no covariance of entries.
    #[error("at {}: {fault}", ShownFrequency(*frequency_hz))]
    EntryCovariance {
        /// Which, from 0.
        point: usize,
        /// Its frequency.
        frequency_hz: f64,
        /// What is wrong with it.
        fault: CovarianceFault,
    },
    /// A frequency that the covariances do not cover.
    #[error(
        "the covariance covers {}, {} is needed; nothing is extrapolated",
        shown_band((*first_hz, *last_hz)), ShownFrequency(*frequency_hz)
    )]
    OutsideCovariances {
        /// The first frequency of the covariances.
        first_hz: f64,
        /// Their last.
        last_hz: f64,
        /// The frequency outside.
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
        /// Its frequencies.
        points: usize,
        /// Ports of the network.
        found_ports: usize,
        /// Its frequencies.
        found_points: usize,
    },
    /// A source that is not the same on both paths.
    #[error("source '{name}' must be of one kind on both paths")]
    PathsDiffer {
        /// Its name.
        name: String,
    },
    /// A measured tone that the plan does not contain.
    #[error(
        "measurement {measurement}: LO {}, IF {} is no point of the plan; add it to lo_ghz and if_ghz",
        ShownFrequency(*lo_hz), ShownFrequency(*if_hz)
    )]
    NotInPlan {
        /// Which, counted from 1.
        measurement: usize,
        /// Its LO.
        lo_hz: f64,
        /// Its IF.
        if_hz: f64,
    },
    /// The analysis of another part.
    #[error(
        "the analysis is not that of this part: its plan or band has {points} points, the analysis {found}"
    )]
    OtherResult {
        /// Points of the part's plan or band.
        points: usize,
        /// Points of the analysis.
        found: usize,
    },
    /// Trials over all sidebands of switched mixers are not made.
    #[error(
        "trials of a receiver with switched mixers are not made: expected multipliers, found switch in \
         [mixing]; leave the uncertainty out, or describe the mixers by lo_amplitude_exponent"
    )]
    SwitchedMixers,
    /// Nothing to rebuild from.
    #[error("an N-port needs at least one measurement, found none")]
    NoMeasurements,
    /// A measurement with other ports than it names, with duplicate ports, or with ports beyond N.
    #[error(
        "measurement {measurement} must name the {found} ports of its network, each once and from 1 to {ports}; \
         found {named} names"
    )]
    Ports {
        /// Which, counted from 1.
        measurement: usize,
        /// How many it names.
        named: usize,
        /// How many there are in all.
        ports: usize,
        /// How many its network has.
        found: usize,
    },
    /// Terminations of another number than ports, or of another number of frequencies.
    #[error(
        "measurement {measurement} needs a reflection coefficient for each of the {ports} ports at each of the \
         {points} frequencies"
    )]
    Terminations {
        /// Which, counted from 1.
        measurement: usize,
        /// How many ports there are.
        ports: usize,
        /// How many frequencies.
        points: usize,
    },
    /// A termination that is no reflection coefficient.
    #[error(
        "measurement {measurement}: the reflection coefficient of the termination of port {port} \
         must be at most 1e9, found {}",
        shown_complex(*found)
    )]
    Termination {
        /// Which, counted from 1.
        measurement: usize,
        /// The terminated port.
        port: Port,
        /// The reflection coefficient.
        found: Complex64,
    },
    /// A symmetry that does not name every port once.
    #[error("a symmetry must list each of the {ports} ports once")]
    Symmetry {
        /// How many there are.
        ports: usize,
    },
    /// A standard uncertainty out of range.
    #[error(
        "measurement {measurement}: a standard uncertainty must be above 0, from 1e-15 to 1e6, \
         found {found:e}"
    )]
    Uncertainty {
        /// Which, counted from 1.
        measurement: usize,
        /// The number given.
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
    /// Measurements that leave some entries free.
    #[error(
        "at {} the measurements do not determine the matrix: condition number {condition:.1e}",
        ShownFrequency(*frequency_hz)
    )]
    Undetermined {
        /// Where.
        frequency_hz: f64,
        /// The condition number of the equations.
        condition: f64,
    },
    /// A resonance of the matrix with its terminations.
    #[error(
        "at {} the terminations and the matrix are in resonance, without a finite answer; check the terminations",
        ShownFrequency(*frequency_hz)
    )]
    Resonance {
        /// Where.
        frequency_hz: f64,
    },
    /// Measurements and terminations that contradict each other.
    #[error("at {} no matrix fits the measurements; check the terminations", ShownFrequency(*frequency_hz))]
    NoFit {
        /// Where.
        frequency_hz: f64,
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

/// What makes a matrix unfit to be a covariance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum CovarianceFault {
    /// The frequency does not lie above the one before.
    NotAscending,
    /// Another number of rows or columns than entries.
    Size,
    /// An entry that is infinite or not a number.
    NotFinite,
    /// An entry that is not the conjugate of its mirror image.
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
                "some variance is negative; a covariance has no negative variance in any direction"
            }
        })
    }
}
