//! Resistors, inductors and capacitors: in series, in shunt, and as one-ports.
//!
//! An impedance is a ratio n/d, which represents an open (d = 0) and a short (n = 0) exactly.

use super::choice::Choice;
use super::construction::{REFERENCE_OHM, not_negative, scattering};
use super::error::ComponentError;
use crate::network::{FrequencyGrid, Network};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A resistor, an inductor and a capacitor; each may be absent.
///
/// Without any of them a series arrangement is a short and a parallel arrangement is an open.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Elements {
    /// Resistance, ohms.
    pub resistance_ohm: Option<f64>,
    /// Inductance, H.
    pub inductance_h: Option<f64>,
    /// Capacitance, F.
    pub capacitance_f: Option<f64>,
}

/// The connection of the elements to each other.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Arrangement {
    /// In series.
    #[default]
    Series,
    /// In parallel.
    Parallel,
}

impl Choice for Arrangement {
    const WORDS: &'static [(&'static str, Self)] =
        &[("series", Self::Series), ("parallel", Self::Parallel)];
}

impl Elements {
    fn check(&self) -> Result<(), ComponentError> {
        for (name, value) in [
            ("resistance_ohm", self.resistance_ohm),
            ("inductance_h", self.inductance_h),
            ("capacitance_f", self.capacitance_f),
        ] {
            if let Some(value) = value {
                not_negative(name, value)?;
            }
        }
        Ok(())
    }

    /// Impedance in ohms as (n, d).
    fn ratio(&self, arrangement: Arrangement, frequency_hz: f64) -> (Complex64, Complex64) {
        let reactive = |value: f64| Complex64::new(0.0, TAU * frequency_hz * value);
        let (zero, one) = (Complex64::ZERO, Complex64::ONE);
        match arrangement {
            Arrangement::Series => {
                let sum = self.resistance_ohm.map_or(zero, Complex64::from)
                    + self.inductance_h.map_or(zero, reactive);
                match self.capacitance_f.map(reactive) {
                    Some(capacitor) => (sum * capacitor + one, capacitor),
                    None => (sum, one),
                }
            }
            Arrangement::Parallel => {
                // A resistor of 0 ohms shorts the elements in parallel.
                if self.resistance_ohm.is_some_and(|ohm| ohm == 0.0) {
                    return (zero, one);
                }
                let sum = self.resistance_ohm.map_or(zero, |ohm| Complex64::from(1.0 / ohm))
                    + self.capacitance_f.map_or(zero, reactive);
                match self.inductance_h.map(reactive) {
                    Some(inductor) => (inductor, inductor * sum + one),
                    None => (one, sum),
                }
            }
        }
    }
}

/// A two-port with elements between its two ports, in 50 ohm.
///
/// S11 = Z / (Z + 2 R) and S21 = 2 R / (Z + 2 R), with the impedance Z of the elements and R = 50
/// ohms.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite element.
///
/// # Examples
/// ```
/// use fourphase::component::{Arrangement, Elements, series_element};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// let resistor = Elements { resistance_ohm: Some(100.0), ..Elements::default() };
/// let network = series_element(&grid, &resistor, Arrangement::Series)?;
/// assert_eq!(network.entries()[2].re, 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn series_element(
    grid: &FrequencyGrid,
    elements: &Elements,
    arrangement: Arrangement,
) -> Result<Network, ComponentError> {
    elements.check()?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        let (n, d) = elements.ratio(arrangement, hz);
        let sum = n + 2.0 * REFERENCE_OHM * d;
        let (reflected, passed) = (n / sum, 2.0 * REFERENCE_OHM * d / sum);
        [reflected, passed, passed, reflected]
    });
    scattering(grid, 2, entries.collect())
}

/// A two-port with elements from its connected ports to ground, in 50 ohm.
///
/// S11 = -R / (2 Z + R) and S21 = 2 Z / (2 Z + R), with the impedance Z of the elements and R = 50
/// ohms.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite element.
///
/// # Examples
/// ```
/// use fourphase::component::{Arrangement, Elements, shunt_element};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// let resistor = Elements { resistance_ohm: Some(25.0), ..Elements::default() };
/// let network = shunt_element(&grid, &resistor, Arrangement::Series)?;
/// assert_eq!(network.entries()[2].re, 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn shunt_element(
    grid: &FrequencyGrid,
    elements: &Elements,
    arrangement: Arrangement,
) -> Result<Network, ComponentError> {
    elements.check()?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        let (n, d) = elements.ratio(arrangement, hz);
        shunt_scattering(n, d)
    });
    scattering(grid, 2, entries.collect())
}

/// S of an impedance n/d in ohms across a two-port.
pub(super) fn shunt_scattering(n: Complex64, d: Complex64) -> [Complex64; 4] {
    let sum = 2.0 * n + REFERENCE_OHM * d;
    let (reflected, passed) = (-REFERENCE_OHM * d / sum, 2.0 * n / sum);
    [reflected, passed, passed, reflected]
}

/// A one-port with elements to ground, in 50 ohm: S11 = (Z - R) / (Z + R).
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite element.
///
/// # Examples
/// ```
/// use fourphase::component::{Arrangement, Elements, termination};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// let resistor = Elements { resistance_ohm: Some(75.0), ..Elements::default() };
/// let network = termination(&grid, &resistor, Arrangement::Series)?;
/// assert_eq!(network.entries()[0].re, 0.2);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn termination(
    grid: &FrequencyGrid,
    elements: &Elements,
    arrangement: Arrangement,
) -> Result<Network, ComponentError> {
    elements.check()?;
    let entries = grid.as_hz().iter().map(|&hz| {
        let (n, d) = elements.ratio(arrangement, hz);
        (n - REFERENCE_OHM * d) / (n + REFERENCE_OHM * d)
    });
    scattering(grid, 1, entries.collect())
}

/// A one-port that is open except for a fringing capacitance, F.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite capacitance.
///
/// # Examples
/// ```
/// use fourphase::component::open_end;
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// assert_eq!(open_end(&grid, 0.0)?.entries()[0].re, 1.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn open_end(grid: &FrequencyGrid, capacitance_f: f64) -> Result<Network, ComponentError> {
    let fringe = Elements { capacitance_f: Some(capacitance_f), ..Elements::default() };
    termination(grid, &fringe, Arrangement::Series)
}

/// A one-port that is shorted to ground through an inductance, H.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite inductance.
///
/// # Examples
/// ```
/// use fourphase::component::shorted_end;
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// assert_eq!(shorted_end(&grid, 0.0)?.entries()[0].re, -1.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn shorted_end(grid: &FrequencyGrid, inductance_h: f64) -> Result<Network, ComponentError> {
    let ground = Elements { inductance_h: Some(inductance_h), ..Elements::default() };
    termination(grid, &ground, Arrangement::Series)
}
