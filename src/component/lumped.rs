//! R, L and C, one-ports and bond wires.
//!
//! An impedance is kept as a ratio n/d, so that an open and a short are as good as any other.

use super::{ComponentError, REFERENCE_OHM, at, not_negative, positive, scattering};
use crate::network::{FrequencyGrid, Network, Wiring, join};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Resistor, inductor and capacitor; absent ones play no part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Elements {
    /// Ohms.
    pub resistance_ohm: Option<f64>,
    /// Henry.
    pub inductance_h: Option<f64>,
    /// Farad.
    pub capacitance_f: Option<f64>,
}

/// How the elements stand to one another.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Arrangement {
    /// One after the other.
    #[default]
    Series,
    /// Side by side.
    Parallel,
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

    /// Impedance as (n, d).
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
                // A resistor of zero ohms shorts the rest.
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

/// Elements between the two ports of a two-port.
///
/// # Errors
/// [`ComponentError::Negative`].
pub fn series(
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

/// Elements across the two ports of a two-port.
///
/// # Errors
/// [`ComponentError::Negative`].
pub fn shunt(
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

/// S of an impedance n/d across a two-port.
pub(super) fn shunt_scattering(n: Complex64, d: Complex64) -> [Complex64; 4] {
    let sum = 2.0 * n + REFERENCE_OHM * d;
    let (reflected, passed) = (-REFERENCE_OHM * d / sum, 2.0 * n / sum);
    [reflected, passed, passed, reflected]
}

/// What a one-port is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Terminated {
    /// Nothing but a capacitance, farad.
    Open {
        /// Of the fringe.
        capacitance_f: f64,
    },
    /// Ground through an inductance, henry.
    Short {
        /// Of the way to ground.
        inductance_h: f64,
    },
    /// Elements to ground.
    Load {
        /// Which.
        elements: Elements,
        /// How they stand.
        arrangement: Arrangement,
    },
}

/// A one-port.
///
/// # Errors
/// [`ComponentError::Negative`].
pub fn one_port(grid: &FrequencyGrid, terminated: &Terminated) -> Result<Network, ComponentError> {
    let (elements, arrangement) = match *terminated {
        Terminated::Open { capacitance_f } => (
            Elements { capacitance_f: Some(capacitance_f), ..Elements::default() },
            Arrangement::Series,
        ),
        Terminated::Short { inductance_h } => (
            Elements { inductance_h: Some(inductance_h), ..Elements::default() },
            Arrangement::Series,
        ),
        Terminated::Load { elements, arrangement } => (elements, arrangement),
    };
    elements.check()?;
    let entries = grid.as_hz().iter().map(|&hz| {
        let (n, d) = elements.ratio(arrangement, hz);
        (n - REFERENCE_OHM * d) / (n + REFERENCE_OHM * d)
    });
    scattering(grid, 1, entries.collect())
}

/// A bond wire or ribbon with a pad at each end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bond {
    /// Henry; see [`Bond::wire_inductance_h`].
    pub inductance_h: f64,
    /// Ohms, in series.
    pub resistance_ohm: f64,
    /// Farad, to ground at each end.
    pub pad_capacitance_f: f64,
}

impl Bond {
    /// Inductance of a straight round wire in free space: 0.2 nH per mm times (ln(4 l / d) - 0.75),
    /// F. W. Grover, "Inductance Calculations" (1946), from memory. Ground nearby makes it less.
    ///
    /// # Errors
    /// [`ComponentError::NotPositive`].
    pub fn wire_inductance_h(length_m: f64, diameter_m: f64) -> Result<f64, ComponentError> {
        positive("length_m", length_m)?;
        positive("diameter_m", diameter_m)?;
        positive("inductance_h", 2e-7 * length_m * ((4.0 * length_m / diameter_m).ln() - 0.75))
    }
}

/// A bond between two ports.
///
/// # Errors
/// [`ComponentError::Negative`].
pub fn bond(grid: &FrequencyGrid, bond: &Bond) -> Result<Network, ComponentError> {
    let pad = Elements { capacitance_f: Some(bond.pad_capacitance_f), ..Elements::default() };
    let wire = Elements {
        resistance_ohm: Some(bond.resistance_ohm),
        inductance_h: Some(bond.inductance_h),
        capacitance_f: None,
    };
    let pad = shunt(grid, &pad, Arrangement::Series)?;
    let blocks = [pad.clone(), series(grid, &wire, Arrangement::Series)?, pad];
    let wiring = Wiring {
        joins: vec![vec![at(0, 2), at(1, 1)], vec![at(1, 2), at(2, 1)]],
        outside: vec![at(0, 1), at(2, 2)],
    };
    Ok(join(&blocks, &wiring)?)
}
