//! Checks at the probe station: is the through one, did anything drift, where does a probe stand.

use crate::network::{
    Difference, Network, NetworkError, ParameterKind, Port, WaveDefinition, change_reference,
    compare, convert,
};
use crate::units::{SPEED_OF_LIGHT_M_PER_S, wrap_deg};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A value and where it stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ValueAt {
    /// The value.
    pub value: f64,
    /// Hz.
    pub at_hz: f64,
}

/// How far a through is from one, apart from its length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThroughResidual {
    /// The largest reflection.
    pub reflection: ValueAt,
    /// The largest | |transmission| - 1 |.
    pub transmission: ValueAt,
    /// The delay of its transmission, seconds.
    pub delay_s: f64,
    /// The largest departure of its phase from that delay, degrees.
    pub phase_deg: ValueAt,
}

impl ThroughResidual {
    /// The largest of all, as the size of a complex number near one.
    #[must_use]
    pub fn worst(&self) -> f64 {
        let phase = self.phase_deg.value.to_radians();
        self.reflection.value.max(self.transmission.value).max(phase)
    }
}

/// What changed between two measurements of the same thing.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// The entry that changed most.
    pub entry: (Port, Port),
    /// By how much, as |difference|.
    pub vector: Difference,
    /// The largest change of a transmission's magnitude, dB, with its sign.
    pub magnitude_db: ValueAt,
    /// The largest change of a transmission's phase, degrees, with its sign.
    pub phase_deg: ValueAt,
    /// The changes of delay at the ports that fit the transmissions' phases best, seconds: a
    /// transmission takes those of both its ports. A two-port tells only their sum, which stands
    /// alone here.
    pub delays_s: Vec<f64>,
    /// The frequencies that both cover, Hz.
    pub band_hz: (f64, f64),
}

/// How long a line of this effective permittivity is that delays by so much, in micrometres.
///
/// ```
/// // One degree at 29 GHz is a delay of 96 fs: 11 um where the effective permittivity is 7.
/// let um = fourphase::measurement::length_um(1.0 / 360.0 / 29e9, 7.0);
/// assert!((um - 10.85).abs() < 0.01);
/// ```
#[must_use]
pub fn length_um(delay_s: f64, effective_permittivity: f64) -> f64 {
    delay_s * SPEED_OF_LIGHT_M_PER_S / effective_permittivity.sqrt() * 1e6
}

/// Looks at a two-port that should be a through, in 50 ohm.
///
/// # Errors
/// [`NetworkError::PortCount`] for other than two ports, and those of [`convert`].
pub fn through_residual(network: &Network) -> Result<ThroughResidual, NetworkError> {
    if network.ports() != 2 {
        return Err(NetworkError::PortCount { expected: 2, found: network.ports() });
    }
    let scattering = convert(network, ParameterKind::Scattering)?;
    let scattering = change_reference(&scattering, vec![50.0.into()], WaveDefinition::Kurokawa)?;
    let at_hz = scattering.grid().as_hz();
    let mut found = ThroughResidual {
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

/// Compares two measurements of the same thing, taken before and after.
///
/// # Errors
/// Those of [`compare`].
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
    // Minus phase over angular frequency, fitted through nought over all transmissions, each weighted by
    // its size: one unknown for each port, or for the one pair of a two-port.
    let ports = comparison.first.ports();
    let unknowns = if ports > 2 { ports } else { 1 };
    let mut squares = DMatrix::<f64>::zeros(unknowns, unknowns);
    let mut products = DVector::<f64>::zeros(unknowns);
    let entries = comparison.first.entries().iter().zip(comparison.second.entries());
    for (at, (first, second)) in entries.enumerate() {
        let (point, place) = (at / (ports * ports), at % (ports * ports));
        if place / ports == place % ports {
            continue;
        }
        let omega = TAU * comparison.first.grid().as_hz()[point];
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
    let delays = squares.svd(true, true).solve(&products, f64::MIN_POSITIVE);
    Ok(Drift {
        entry: (worst.row, worst.column),
        vector: worst.vector,
        magnitude_db,
        phase_deg,
        delays_s: delays
            .map_or_else(|_| vec![0.0; unknowns], |delays| delays.iter().copied().collect()),
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

/// The delay that fits a transmission's phase best, taken to run through nought at nought.
fn delay_of(at_hz: &[f64], transmission: &[Complex64]) -> f64 {
    let mut phase = 0.0;
    let (mut products, mut squares) = (0.0, 0.0);
    for (at, (value, hz)) in transmission.iter().zip(at_hz).enumerate() {
        let before = at.checked_sub(1).map(|before| transmission[before]);
        phase = match before {
            Some(before) => phase + (value * before.conj()).arg(),
            None => value.arg(),
        };
        products -= TAU * hz * phase;
        squares += (TAU * hz).powi(2);
    }
    if squares > 0.0 { products / squares } else { 0.0 }
}
