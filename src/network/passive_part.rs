//! Checks whether the data of a network can be those of a passive part, over the frequencies used.
//!
//! A Cholesky factorisation decides passivity at each point; singular values are computed only where
//! it fails. [`assess`](super::assess) gives the figures of quality of a whole file.

use super::extremes::{
    Worst, largest_difference_of_repeats, largest_reciprocity_error, largest_singular_value_above,
    largest_transmission_step, smallest_mean_delay,
};
use super::quality::{EARLIEST_DELAY_S, Quality};
use super::reference_change::power_scattering;
use super::{
    LARGEST_SAFE_STEP_DEG, Network, NetworkError, PASSIVITY_TOLERANCE, Port, RECIPROCITY_TOLERANCE,
};
use crate::units::{ShownFrequency, db_from_amplitude, db_from_power};
use std::fmt;
use std::ops::RangeInclusive;

/// A maximum singular value above this is gain that no measurement error of a passive part
/// explains: 0.5 dB (own choice; calibrated measurements stay within some tenths of a decibel).
pub const LARGEST_PASSIVE_GAIN: f64 = 1.06;

/// A property that a passive part does not have; its text is a sentence for the user.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum PassivePartFinding {
    /// More power leaves the network than enters it.
    Gain(Worst),
    /// Forward and reverse transmission differ.
    NotReciprocal(Worst),
    /// The mean delay of a transmission, in seconds, is negative.
    NegativeDelay(Worst),
    /// The phase turns too far between two points: its direction is ambiguous.
    CoarseSweep(Worst),
    /// All angles of a file with angles are so small that they may not be degrees.
    SmallAngles {
        /// Maximum angle, degrees.
        largest_deg: f64,
    },
    /// Every level of a file written in dB is above 0 dB.
    LevelsAboveZero {
        /// Minimum level, dB.
        smallest_db: f64,
        /// Maximum level, dB.
        largest_db: f64,
    },
    /// Two different matrices at one frequency.
    TwoValues(Worst),
    /// The magnitudes from every port add up to about 1, as powers do.
    PowerRatios {
        /// Minimum loss over all ports and points: -10 log10 of the sum of |S|^2 from a port, dB.
        loss_db: f64,
    },
    /// The reference impedance of a port is far from that of any measurement or simulation.
    UnusualReference {
        /// The reference impedance, ohm.
        ohm: f64,
    },
}

impl PassivePartFinding {
    /// Whether [`Quality`](super::Quality) shows it too.
    #[must_use]
    pub fn is_figure_of_quality(&self) -> bool {
        !matches!(
            self,
            Self::SmallAngles { .. }
                | Self::LevelsAboveZero { .. }
                | Self::TwoValues(_)
                | Self::PowerRatios { .. }
                | Self::UnusualReference { .. }
        )
    }

    /// Whether no measurement error explains the finding, so that the file is not of a passive part.
    #[must_use]
    pub fn is_excluded(&self) -> bool {
        /// Reflections of a calibrated analyser are wrong by some hundredths of a decibel, and not to
        /// one side over a whole sweep.
        const LARGEST_LEVEL_ERROR_DB: f64 = 0.1;
        match self {
            Self::Gain(worst) => worst.value.is_nan() || worst.value > LARGEST_PASSIVE_GAIN,
            Self::LevelsAboveZero { smallest_db, .. } => *smallest_db > LARGEST_LEVEL_ERROR_DB,
            _ => false,
        }
    }
}

impl fmt::Display for PassivePartFinding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let at = |worst: &Worst| ShownFrequency(worst.frequency_hz);
        let entry = |worst: &Worst| match worst.entry {
            Some((row, column)) => format!("S({row},{column})"),
            None => "S".to_owned(),
        };
        match self {
            Self::Gain(worst) => write!(
                f,
                "gain of {:.2} dB at {}: more power leaves the part than enters it",
                db_from_amplitude(worst.value),
                at(worst)
            ),
            Self::NotReciprocal(worst) => {
                write!(f, "not reciprocal: ")?;
                if let Some((row, column)) = worst.entry {
                    write!(f, "S({row},{column}) and S({column},{row}) ")?;
                }
                write!(f, "differ by {:.3} at {}", worst.value, at(worst))
            }
            Self::NegativeDelay(worst) => write!(
                f,
                "{} has a mean delay of {:.2} ps, but that of a passive part is positive; check the sign of the \
                 phases and the reference planes",
                entry(worst),
                worst.value * 1e12
            ),
            Self::SmallAngles { largest_deg } => write!(
                f,
                "no angle exceeds {largest_deg:.places$} deg over the whole sweep: are the angles \
                 imaginary parts (RI labelled MA or DB) or radians?",
                places = if *largest_deg < 0.01 { 4 } else { 2 }
            ),
            Self::LevelsAboveZero { smallest_db, largest_db } => write!(
                f,
                "every level is above 0 dB, from {smallest_db:.2} to {largest_db:.2} dB: are they \
                 magnitudes (MA labelled DB) or losses, which are written as negative dB?"
            ),
            Self::TwoValues(worst) => write!(
                f,
                "{} has two values at {}, which differ by {:.3}: is another sweep appended?",
                entry(worst),
                at(worst),
                worst.value
            ),
            Self::PowerRatios { loss_db } => write!(
                f,
                "the magnitudes from each port add up to about 1, as powers do, and at least \
                 {loss_db:.1} dB is lost: are they power ratios |S|^2, of which a \
                 magnitude is the square root? A resistive divider has both too"
            ),
            Self::UnusualReference { ohm } => write!(
                f,
                "the reference impedance is {ohm} ohm, where 50 ohm is usual: check the option line"
            ),
            Self::CoarseSweep(worst) => write!(
                f,
                "the phase of {} turns by {:.0} deg between two points at {}: the sweep is too \
                 coarse to know delays, or to interpolate",
                entry(worst),
                worst.value,
                at(worst)
            ),
        }
    }
}

/// Findings that contradict a passive, reciprocal part over a range of frequencies.
///
/// The points inside `band_hz` and the nearest one on either side are checked; all points where the
/// band has none. There is at most one finding of each kind, gain first.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] with the frequency at which the network has no S.
///
/// # Examples
/// ```
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind, passive_part_findings};
///
/// // A divider whose file has -3 dB as the number -3.
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let s: Vec<_> = [-40.0, -3.0, -3.0, -40.0].iter().map(|&re: &f64| re.into()).collect();
/// let network = Network::new(ParameterKind::Scattering, grid, 2, s, vec![50.0.into()])?;
/// let findings = passive_part_findings(&network, 27e9..=31e9)?;
/// assert!(findings[0].is_excluded());
/// # Ok::<(), fourphase::network::NetworkError>(())
/// ```
pub fn passive_part_findings(
    network: &Network,
    band_hz: RangeInclusive<f64>,
) -> Result<Vec<PassivePartFinding>, NetworkError> {
    let scattering = &*power_scattering(network)?;
    let points = points_of(scattering.grid().as_hz(), &band_hz);
    let gain = largest_gain(scattering, points.clone());
    let reciprocity = largest_reciprocity_error(scattering, points.clone())
        .filter(|worst| worst.value.is_nan() || worst.value > RECIPROCITY_TOLERANCE);
    let step = largest_transmission_step(scattering, points.clone());
    // Where the direction of rotation is ambiguous, the sign of the delay is too.
    let (coarse, early) = match step.filter(|step| step.value > LARGEST_SAFE_STEP_DEG) {
        Some(step) => (Some(step), None),
        None => (None, smallest_mean_delay(scattering, points)),
    };
    let early = early.filter(|worst| gain.is_none() && worst.value < EARLIEST_DELAY_S);
    Ok([
        gain.map(PassivePartFinding::Gain),
        reciprocity.map(PassivePartFinding::NotReciprocal),
        early.map(PassivePartFinding::NegativeDelay),
        coarse.map(PassivePartFinding::CoarseSweep),
        two_values(largest_difference_of_repeats(scattering)),
        power_ratios(scattering, points_of(scattering.grid().as_hz(), &band_hz)),
    ]
    .into_iter()
    .flatten()
    .collect())
}

/// The points within a band and one point on either side.
fn points_of(hz: &[f64], band_hz: &RangeInclusive<f64>) -> std::ops::Range<usize> {
    let first = hz.partition_point(|hz| hz < band_hz.start());
    let end = hz.partition_point(|hz| hz <= band_hz.end());
    if first >= end { 0..hz.len() } else { first.saturating_sub(1)..(end + 1).min(hz.len()) }
}

/// The maximum singular value, where it is above that of a passive part.
fn largest_gain(scattering: &Network, points: std::ops::Range<usize>) -> Option<Worst> {
    // A value at the bound itself is rounding, not gain.
    let largest = largest_singular_value_above(scattering, points, 1.0 + PASSIVITY_TOLERANCE);
    largest.unwrap_or_else(|point| {
        // A matrix whose singular values cannot be computed is not that of a passive part.
        let frequency_hz = scattering.grid().as_hz()[point];
        Some(Worst { value: f64::INFINITY, frequency_hz, entry: None })
    })
}

fn gain(largest: Worst) -> Option<PassivePartFinding> {
    (largest.value > 1.0 + PASSIVITY_TOLERANCE).then_some(PassivePartFinding::Gain(largest))
}

/// The maximum gain of a network over its whole sweep, where a passive part has none.
pub(crate) fn gain_finding(network: &Network) -> Result<Option<PassivePartFinding>, NetworkError> {
    let scattering = &*power_scattering(network)?;
    let largest = largest_gain(scattering, 0..scattering.grid().len());
    Ok(largest.map(PassivePartFinding::Gain))
}

/// A difference above the repeatability of measured files.
fn two_values(largest: Option<Worst>) -> Option<PassivePartFinding> {
    largest.filter(|worst| worst.value > RECIPROCITY_TOLERANCE).map(PassivePartFinding::TwoValues)
}

/// Magnitudes that are the squares of those of a splitter: their sums from each port are those of powers.
/// A resistive divider has both, a splitter of three or more ports that divides without resistors has
/// neither.
fn power_ratios(
    scattering: &Network,
    points: std::ops::Range<usize>,
) -> Option<PassivePartFinding> {
    /// Splitters lose up to a fifth of the power; rounding and ripple add some hundredths.
    const SUM_OF_POWERS: RangeInclusive<f64> = 0.75..=1.03;
    /// 2.2 dB: no usual splitter loses as much from every port (ours).
    const LARGEST_KEPT: f64 = 0.6;
    if scattering.ports() < 3 {
        return None;
    }
    let mut largest = 0.0_f64;
    for point in points {
        let matrix = scattering.matrix(point);
        for column in 0..scattering.ports() {
            let from = Port::from_index(column);
            let powers = (0..scattering.ports())
                .map(|row| matrix.at(Port::from_index(row), from).norm_sqr());
            let (sum, kept) =
                powers.fold((0.0, 0.0), |(sum, kept), power| (sum + power.sqrt(), kept + power));
            if !SUM_OF_POWERS.contains(&sum) || kept > LARGEST_KEPT {
                return None;
            }
            largest = largest.max(kept);
        }
    }
    let loss_db = -db_from_power(largest);
    (largest > 0.0).then_some(PassivePartFinding::PowerRatios { loss_db })
}

/// The findings over a whole sweep that may exclude a passive part or that the report on the figures
/// of quality does not show; gain first.
pub(crate) fn findings_of_quality(
    network: &Network,
    quality: &Quality,
) -> Result<Vec<PassivePartFinding>, NetworkError> {
    let scattering = &*power_scattering(network)?;
    let found = [
        gain(quality.max_singular_value),
        two_values(quality.max_repeat_difference),
        power_ratios(scattering, 0..scattering.grid().len()),
    ];
    Ok(found.into_iter().flatten().collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::network::{FrequencyGrid, ParameterKind};
    use num_complex::Complex64;

    /// A line with a loss and a delay as a two-port; the reverse transmission may differ.
    fn line(gain: f64, delay_s: f64, reverse: f64) -> Network {
        let grid = FrequencyGrid::linear(27e9, 31e9, 9).unwrap();
        let entries = grid.as_hz().iter().flat_map(|hz| {
            let s21 = Complex64::from_polar(gain, -std::f64::consts::TAU * hz * delay_s);
            [0.01.into(), s21 * reverse, s21, 0.01.into()]
        });
        let entries: Vec<Complex64> = entries.collect();
        Network::new(ParameterKind::Scattering, grid, 2, entries, vec![50.0.into()]).unwrap()
    }

    fn words(network: &Network) -> Vec<String> {
        let findings = passive_part_findings(network, 27e9..=31e9).unwrap();
        findings.iter().map(PassivePartFinding::to_string).collect()
    }

    #[test]
    fn a_passive_line_has_no_findings() {
        assert_eq!(words(&line(0.9, 20e-12, 1.0)), Vec::<String>::new());
    }

    #[test]
    fn each_fault_is_found_and_the_others_are_not() {
        for (network, start) in [
            (line(1.02, 20e-12, 1.0), "gain of 0.2"),
            (line(0.9, 20e-12, 0.9), "not reciprocal: S(2,1) and S(1,2) differ by 0.090"),
            (line(0.9, -20e-12, 1.0), "S(1,2) has a mean delay of -20.00 ps"),
            (line(0.9, 600e-12, 1.0), "the phase of S(1,2) turns by 108 deg"),
        ] {
            let found = words(&network);
            assert!(found.len() == 1 && found[0].starts_with(start), "{start}: {found:?}");
        }
    }

    #[test]
    fn only_the_band_counts() {
        let grid = FrequencyGrid::from_hz(vec![1e9, 2e9, 3e9, 4e9]).unwrap();
        let entries = [2.0, 0.5, 0.5, 0.5].map(Complex64::from).to_vec();
        let network =
            Network::new(ParameterKind::Scattering, grid, 1, entries, vec![50.0.into()]).unwrap();
        assert!(passive_part_findings(&network, 3e9..=4e9).unwrap().is_empty());
        // The point below the band is used for interpolation.
        let found = passive_part_findings(&network, 1.5e9..=4e9).unwrap();
        assert!(found[0].is_excluded());
    }
}
