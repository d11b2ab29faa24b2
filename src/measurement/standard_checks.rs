//! Whether the standards of a probe station are what they are said to be: an open, a short, a line.
//!
//! An open and a short for pads and interconnects are measured with the same probes as the part, at
//! the ends of the access lines that are taken off before, or without any. An open then is a small
//! capacitance and a short a small inductance: both reflect nearly everything, the open with the
//! smaller admittance, and their phases turn little over the band.

use crate::network::{
    Network, NetworkError, ParameterKind, Port, WaveDefinition, change_reference, convert,
};
use crate::units::ShownFrequency;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Why a standard is not what it is said to be.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StandardFault {
    /// The open conducts better than the short.
    #[error(
        "the open conducts better than the short at port {port}: the two files are exchanged, or \
         their access lines turn one into the other"
    )]
    Exchanged {
        /// The port.
        port: Port,
    },
    /// A standard that should reflect absorbs or transmits.
    #[error(
        "it reflects {magnitude:.2} at port {port} at {}, and an open or a short about 1: it is \
         another standard or has lost contact",
        ShownFrequency(*frequency_hz)
    )]
    NotReflecting {
        /// The port.
        port: Port,
        /// The magnitude of its reflection.
        magnitude: f64,
        /// The frequency, Hz.
        frequency_hz: f64,
    },
    /// A line or thru that transmits nearly nothing.
    #[error(
        "it transmits {magnitude:.3} at {}, and a line or a thru about 1: it is another standard, \
         or its ports are others",
        ShownFrequency(*frequency_hz)
    )]
    NotTransmitting {
        /// The magnitude of its transmission.
        magnitude: f64,
        /// The frequency, Hz.
        frequency_hz: f64,
    },
    /// A network without scattering matrix.
    #[error(transparent)]
    Network(#[from] NetworkError),
}

/// Opens and shorts of probe stations reflect more than this (ours; -6 dB is that of a lossy line of
/// 3 dB).
const SMALLEST_REFLECTION: f64 = 0.5;
/// Lines and thrus transmit more than this (ours).
const SMALLEST_TRANSMISSION: f64 = 0.1;
/// Pads of 50 fF and interconnects of 125 pH turn the phase like 5 ps of line there and back (ours).
const LONGEST_PAD_DELAY_S: f64 = 5e-12;

/// Checks an open or a short alone.
///
/// # Errors
/// [`StandardFault::NotReflecting`] at the port and frequency that reflect the least.
pub fn check_reflecting(standard: &Network) -> Result<(), StandardFault> {
    let scattering = in_50_ohm(standard)?;
    for (point, &frequency_hz) in scattering.grid().as_hz().iter().enumerate() {
        for port in (0..scattering.ports()).map(Port::from_index) {
            let magnitude = scattering.matrix(point).at(port, port).norm();
            if magnitude < SMALLEST_REFLECTION {
                return Err(StandardFault::NotReflecting { port, magnitude, frequency_hz });
            }
        }
    }
    Ok(())
}

/// Checks a line or a thru.
///
/// # Errors
/// [`StandardFault::NotTransmitting`] at the first frequency at which it transmits too little.
pub fn check_transmitting(line: &Network) -> Result<(), StandardFault> {
    if line.ports() != 2 {
        return Err(NetworkError::PortCount { expected: 2, found: line.ports() }.into());
    }
    let scattering = in_50_ohm(line)?;
    for (s, &frequency_hz) in scattering.entries().chunks_exact(4).zip(scattering.grid().as_hz()) {
        let magnitude = s[1].norm().min(s[2].norm());
        if magnitude < SMALLEST_TRANSMISSION {
            return Err(StandardFault::NotTransmitting { magnitude, frequency_hz });
        }
    }
    Ok(())
}

/// Checks an open against its short, on one grid. Gives the delay there and back that both have in
/// excess of pads, in seconds, where their access lines are likely still on.
///
/// # Errors
/// [`StandardFault::Exchanged`] where the open conducts better than the short.
///
/// # Examples
/// ```
/// use fourphase::measurement::{StandardFault, check_open_and_short};
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind};
///
/// let one_port = |reflection: f64| {
///     let grid = FrequencyGrid::from_hz(vec![28e9, 29e9])?;
///     let entries = vec![reflection.into(); 2];
///     Network::new(ParameterKind::Scattering, grid, 1, entries, vec![50.0.into()])
/// };
/// let (open, short) = (one_port(0.99)?, one_port(-0.99)?);
/// assert_eq!(check_open_and_short(&open, &short), Ok(None));
/// assert!(matches!(check_open_and_short(&short, &open), Err(StandardFault::Exchanged { .. })));
/// # Ok::<(), fourphase::network::NetworkError>(())
/// ```
pub fn check_open_and_short(open: &Network, short: &Network) -> Result<Option<f64>, StandardFault> {
    if open.ports() != short.ports() || open.grid() != short.grid() {
        // The removal says what does not fit.
        return Ok(None);
    }
    let both = [in_50_ohm(open)?, in_50_ohm(short)?];
    let hz = open.grid().as_hz();
    let mut least_delay_s = f64::INFINITY;
    for port in (0..open.ports()).map(Port::from_index) {
        let reflections = both.each_ref().map(|standard| -> Vec<Complex64> {
            (0..hz.len()).map(|point| standard.matrix(point).at(port, port)).collect()
        });
        let [open_admittance, short_admittance] =
            reflections.each_ref().map(|reflections| mean_admittance(reflections));
        if open_admittance > short_admittance {
            return Err(StandardFault::Exchanged { port });
        }
        for reflections in &reflections {
            least_delay_s = least_delay_s.min(group_delay_s(hz, reflections));
        }
    }
    Ok((hz.len() > 1 && least_delay_s > LONGEST_PAD_DELAY_S).then_some(least_delay_s))
}

fn in_50_ohm(network: &Network) -> Result<Network, NetworkError> {
    let scattering = convert(network, ParameterKind::Scattering)?;
    change_reference(&scattering, vec![50.0.into()], WaveDefinition::Kurokawa)
}

/// The mean group delay, from the turns between neighbouring points: the phase itself is that of an
/// open or a short.
fn group_delay_s(hz: &[f64], reflections: &[Complex64]) -> f64 {
    let turned: f64 = reflections.windows(2).map(|pair| (pair[1] * pair[0].conj()).arg()).sum();
    -turned / (TAU * (hz[hz.len() - 1] - hz[0]))
}

/// The geometric mean of |y| = |1 - Γ| / |1 + Γ|, as its logarithm.
fn mean_admittance(reflections: &[Complex64]) -> f64 {
    let logarithm = |reflection: &Complex64| {
        ((1.0 - reflection).norm().max(f64::MIN_POSITIVE)
            / (1.0 + reflection).norm().max(f64::MIN_POSITIVE))
        .ln()
    };
    reflections.iter().map(logarithm).sum()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::network::FrequencyGrid;

    fn reflecting(reflection: f64, delay_s: f64) -> Network {
        let grid = FrequencyGrid::linear(20e9, 30e9, 21).unwrap();
        let entries =
            grid.as_hz().iter().map(|hz| reflection * Complex64::cis(-TAU * hz * delay_s));
        let entries = entries.collect();
        Network::new(ParameterKind::Scattering, grid, 1, entries, vec![50.0.into()]).unwrap()
    }

    #[test]
    fn access_lines_that_are_still_on_are_told_by_their_delay() {
        let with = |delay_s| {
            check_open_and_short(&reflecting(0.95, delay_s), &reflecting(-0.95, delay_s)).unwrap()
        };
        assert_eq!(with(2e-12), None);
        // Twice one full turn, so that open and short stay what they are at the mean.
        let found = with(100e-12).unwrap();
        // Rounding of twenty turns of a twentieth each.
        assert!((found - 100e-12).abs() < 1e-24, "{found}");
    }

    #[test]
    fn another_standard_is_told_by_its_magnitude() {
        assert!(check_reflecting(&reflecting(-0.9, 1e-12)).is_ok());
        let fault = check_reflecting(&reflecting(0.1, 1e-12)).unwrap_err();
        assert!(fault.to_string().starts_with("it reflects 0.10 at port 1 at 20 GHz"), "{fault}");
    }
}
