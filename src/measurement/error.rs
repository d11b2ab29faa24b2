//! Why an N-port cannot be rebuilt.

use crate::network::{NetworkError, Port};
use crate::units::ShownFrequency;

/// Why an N-port cannot be rebuilt.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RebuildError {
    /// A measurement with other ports than it names, with ports twice, or with ports beyond N.
    #[error(
        "measurement {measurement} names {named} ports, each once and from 1 to {ports}; its network has {found}"
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
        "measurement {measurement} needs a reflection for each of the {ports} ports at each of the {points} frequencies"
    )]
    Terminations {
        /// Which, counted from 1.
        measurement: usize,
        /// How many ports there are.
        ports: usize,
        /// How many frequencies.
        points: usize,
    },
    /// A symmetry that does not name every port once.
    #[error("a symmetry lists each of the {ports} ports once")]
    Symmetry {
        /// How many there are.
        ports: usize,
    },
    /// No measurement tells an entry.
    #[error("no measurement tells S{row},{column}, nor does reciprocity or symmetry")]
    Missing {
        /// Its row.
        row: Port,
        /// Its column.
        column: Port,
    },
    /// The measurements contradict the terminations, or tell too little.
    #[error("at {} no matrix fits the measurements: check the terminations", ShownFrequency(*frequency_hz))]
    NoFit {
        /// Where.
        frequency_hz: f64,
    },
    /// The networks.
    #[error(transparent)]
    Network(#[from] NetworkError),
}

/// Why values and their uncertainties cannot be taken together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum MeasurementError {
    /// No point at all.
    #[error("a requirement is decided from at least one point, found none")]
    NoPoints,
    /// Covariances of another number of points.
    #[error("{points} points need as many covariances, found {covariances}")]
    CovarianceCount {
        /// How many points there are.
        points: usize,
        /// How many covariances.
        covariances: usize,
    },
}
