//! Checks of probe measurements: the residual of a thru, and drift.

use crate::network::{
    Difference, Network, NetworkError, ParameterKind, Port, WaveDefinition, change_reference,
    compare, convert,
};
use crate::units::{SPEED_OF_LIGHT_M_PER_S, wrap_deg};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Maximum number of steps per port in the decomposition of an equation, far more than needed.
const MAX_STEPS: usize = 100_000;

/// A value with the frequency at which it was found.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ValueAt {
    /// The value.
    pub value: f64,
    /// Frequency, Hz.
    pub at_hz: f64,
}

/// The deviation of a thru from an ideal one of the same length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThruResidual {
    /// The maximum reflection.
    pub reflection: ValueAt,
    /// The maximum | |transmission| - 1 |.
    pub transmission: ValueAt,
    /// The delay of the transmission, seconds.
    pub delay_s: f64,
    /// The maximum deviation of the phase from that delay, degrees.
    pub phase_deg: ValueAt,
}

impl ThruResidual {
    /// The maximum of all deviations, as the magnitude of the error of a complex number of
    /// magnitude 1; the phase counts in radians.
    #[must_use]
    pub fn worst(&self) -> f64 {
        let phase = self.phase_deg.value.to_radians();
        self.reflection.value.max(self.transmission.value).max(phase)
    }
}

/// The change between two measurements of the same part.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// The entry that changed most.
    pub entry: (Port, Port),
    /// The change of this entry, as |difference|.
    pub vector: Difference,
    /// The maximum change of a transmission's magnitude, dB, with its sign.
    pub magnitude_db: ValueAt,
    /// The maximum change of a transmission's phase, degrees, with its sign.
    pub phase_deg: ValueAt,
    /// The change of delay at each port, seconds: the best fit to the phases of the transmissions,
    /// each of which includes the delays of both its ports. A two-port has one value, the sum for
    /// both ports.
    pub delays_s: Vec<f64>,
    /// The common band of both measurements, Hz.
    pub band_hz: (f64, f64),
}

/// The length in micrometres of a line with the delay `delay_s` in seconds: delay times the speed
/// of light, divided by the root of the effective permittivity, which is at least 1.
///
/// # Examples
/// ```
/// // One degree at 29 GHz is a delay of 96 fs: 11 um where the effective permittivity is 7.
/// let um = fourphase::measurement::length_um(1.0 / 360.0 / 29e9, 7.0);
/// assert!((um - 10.85).abs() < 0.01);
/// ```
#[must_use]
pub fn length_um(delay_s: f64, effective_permittivity: f64) -> f64 {
    delay_s * SPEED_OF_LIGHT_M_PER_S / effective_permittivity.sqrt() * 1e6
}

/// The deviation of a two-port from an ideal thru, in 50 ohm.
///
/// # Errors
/// [`NetworkError::PortCount`] for other than two ports, and those of [`convert`] and
/// [`change_reference`].
///
/// # Examples
/// ```
/// use fourphase::measurement::thru_residual;
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind};
/// use num_complex::Complex64;
///
/// // Matched, 0.1 dB of loss: the transmission is 0.0114 below 1.
/// let grid = FrequencyGrid::from_hz(vec![28e9, 29e9])?;
/// let through = Complex64::from(10_f64.powf(-0.1 / 20.0));
/// let entries = [Complex64::ZERO, through, through, Complex64::ZERO].repeat(2);
/// let thru = Network::new(ParameterKind::Scattering, grid, 2, entries, vec![50.0.into()])?;
/// assert!((thru_residual(&thru)?.worst() - 0.0114).abs() < 1e-4);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn thru_residual(network: &Network) -> Result<ThruResidual, NetworkError> {
    if network.ports() != 2 {
        return Err(NetworkError::PortCount { expected: 2, found: network.ports() });
    }
    let scattering = convert(network, ParameterKind::Scattering)?;
    let scattering = change_reference(&scattering, vec![50.0.into()], WaveDefinition::Kurokawa)?;
    let at_hz = scattering.grid().as_hz();
    let mut found = ThruResidual {
        reflection: ValueAt::default(),
        transmission: ValueAt::default(),
        delay_s: 0.0,
        phase_deg: ValueAt::default(),
    };
    let mut forward = Vec::new();
    for (s, &hz) in scattering.entries().chunks_exact(4).zip(at_hz) {
        found.reflection.note(s[0].norm().max(s[3].norm()), hz);
        found.transmission.note((s[1].norm() - 1.0).abs().max((s[2].norm() - 1.0).abs()), hz);
        forward.push(s[2]);
    }
    found.delay_s = delay_of(at_hz, &forward);
    for (transmission, &hz) in forward.iter().zip(at_hz) {
        let rest =
            wrap_deg((transmission * Complex64::cis(TAU * hz * found.delay_s)).arg().to_degrees());
        found.phase_deg.note(rest.abs(), hz);
    }
    Ok(found)
}

/// Compares two measurements of the same part, one before and one after, over their common band.
///
/// # Errors
/// Those of [`compare`].
#[expect(clippy::missing_panics_doc, reason = "a decomposition with both sets of vectors solves")]
pub fn drift(before: &Network, after: &Network) -> Result<Drift, NetworkError> {
    let comparison = compare(before, after)?;
    let worst = comparison.worst();
    let (mut magnitude_db, mut phase_deg) = (ValueAt::default(), ValueAt::default());
    let larger = |kept: &mut ValueAt, difference: &Difference| {
        if difference.worst.abs() > kept.value.abs() {
            *kept = ValueAt { value: difference.worst, at_hz: difference.worst_at_hz };
        }
    };
    for entry in comparison.entries().iter().filter(|entry| entry.row != entry.column) {
        if let (Some(magnitude), Some(phase)) = (&entry.magnitude_db, &entry.phase_deg) {
            larger(&mut magnitude_db, magnitude);
            larger(&mut phase_deg, phase);
        }
    }
    // Minus phase over angular frequency, fitted through the origin over all transmissions, each weighted
    // by its magnitude: one unknown for each port, or one for both ports of a two-port.
    let ports = comparison.first.ports();
    let unknowns = if ports > 2 { ports } else { 1 };
    let mut squares = DMatrix::<f64>::zeros(unknowns, unknowns);
    let mut products = DVector::<f64>::zeros(unknowns);
    // Frequencies are divided by the highest one: squares of hertz may exceed the range of numbers.
    let last_hz = comparison.first.grid().last_hz();
    let scale_hz = if last_hz > 0.0 { last_hz } else { 1.0 };
    let entries = comparison.first.entries().iter().zip(comparison.second.entries());
    for (at, (first, second)) in entries.enumerate() {
        let (point, place) = (at / (ports * ports), at % (ports * ports));
        if place / ports == place % ports {
            continue;
        }
        let omega = TAU * comparison.first.grid().as_hz()[point] / scale_hz;
        let weight = (first.norm() * second.norm()).min(1.0);
        let turned = second * first.conj();
        let ends = if ports > 2 { vec![place / ports, place % ports] } else { vec![0] };
        for &one in &ends {
            products[one] -= weight * omega * turned.arg();
            for &other in &ends {
                squares[(one, other)] += weight * omega * omega;
            }
        }
    }
    // Without transmissions the equations are zero, and their minimum-norm solution is no change of
    // delay.
    let delays = squares
        .try_svd(true, true, f64::EPSILON, MAX_STEPS)
        .ok_or(NetworkError::NoSingularValues { frequency_hz: comparison.band_hz.0 })?
        .solve(&products, f64::MIN_POSITIVE)
        .expect("a decomposition with both sets of vectors solves");
    Ok(Drift {
        entry: (worst.row, worst.column),
        vector: worst.vector,
        magnitude_db,
        phase_deg,
        delays_s: delays.iter().map(|delay| delay / scale_hz).collect(),
        band_hz: comparison.band_hz,
    })
}

impl ValueAt {
    fn note(&mut self, value: f64, at_hz: f64) {
        if value > self.value {
            *self = Self { value, at_hz };
        }
    }
}

/// The delay that fits the phase of a transmission best, through phase 0 at frequency 0.
fn delay_of(at_hz: &[f64], transmission: &[Complex64]) -> f64 {
    // As shares of the highest frequency, whose square would not be finite everywhere.
    let highest_hz = at_hz.iter().copied().fold(0.0, f64::max);
    let mut phase = 0.0;
    let (mut products, mut squares) = (0.0, 0.0);
    for (at, (value, hz)) in transmission.iter().zip(at_hz).enumerate() {
        let before = at.checked_sub(1).map(|before| transmission[before]);
        phase = match before {
            Some(before) => phase + (value * before.conj()).arg(),
            None => value.arg(),
        };
        let share = hz / highest_hz;
        products -= share * phase;
        squares += share * share;
    }
    let delay_s = products / squares / highest_hz / TAU;
    // Next to 0 Hz a phase determines no delay.
    if delay_s.is_finite() { delay_s } else { 0.0 }
}
