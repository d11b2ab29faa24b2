//! Bond wires and ribbons.

use super::construction::{at, positive};
use super::error::ComponentError;
use super::lumped::{Arrangement, Elements, series_element, shunt_element};
use crate::network::{FrequencyGrid, Network, Wiring, join};

/// A bond wire or ribbon with a pad at each end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bond {
    /// Inductance, H; [`wire_inductance_h`] gives that of a straight wire.
    pub inductance_h: f64,
    /// Resistance in series with the inductance, ohms.
    pub resistance_ohm: f64,
    /// Capacitance to ground of each pad, F.
    pub pad_capacitance_f: f64,
}

/// Inductance in H of a straight round wire in free space, from its length and diameter in m:
/// 0.2 uH per m times l (ln(4 l / d) - 0.75). Ground nearby lowers it.
///
/// Source: F. W. Grover, "Inductance Calculations" (1946), from memory.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a length or diameter that is not positive;
/// [`ComponentError::ShortWire`] where the formula gives no positive inductance, about half a
/// diameter.
///
/// # Examples
/// ```
/// use fourphase::component::wire_inductance_h;
///
/// // The usual estimate is 0.8 nH per mm of a 25 um wire.
/// let inductance_h = wire_inductance_h(1e-3, 25e-6)?;
/// assert!((0.8e-9..0.9e-9).contains(&inductance_h));
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn wire_inductance_h(length_m: f64, diameter_m: f64) -> Result<f64, ComponentError> {
    positive("length_m", length_m)?;
    positive("diameter_m", diameter_m)?;
    let inductance_h = 2e-7 * length_m * ((4.0 * length_m / diameter_m).ln() - 0.75);
    if inductance_h > 0.0 {
        Ok(inductance_h)
    } else {
        Err(ComponentError::ShortWire { length_m, diameter_m })
    }
}

/// The two-port of a bond, in 50 ohm: a pad, the wire, a pad.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite value.
///
/// # Examples
/// ```
/// use fourphase::component::{Bond, bond};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let wire = Bond { inductance_h: 200e-12, resistance_ohm: 0.3, pad_capacitance_f: 15e-15 };
/// assert_eq!(bond(&grid, &wire)?.ports(), 2);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn bond(grid: &FrequencyGrid, bond: &Bond) -> Result<Network, ComponentError> {
    let pad = Elements { capacitance_f: Some(bond.pad_capacitance_f), ..Elements::default() };
    let wire = Elements {
        resistance_ohm: Some(bond.resistance_ohm),
        inductance_h: Some(bond.inductance_h),
        capacitance_f: None,
    };
    let pad = shunt_element(grid, &pad, Arrangement::Series)?;
    let blocks = [pad.clone(), series_element(grid, &wire, Arrangement::Series)?, pad];
    let wiring = Wiring {
        joins: vec![vec![at(0, 2), at(1, 1)], vec![at(1, 2), at(2, 1)]],
        outside: vec![at(0, 1), at(2, 2)],
    };
    Ok(join(&blocks, &wiring)?)
}
