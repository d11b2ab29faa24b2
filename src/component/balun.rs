//! A planar balun of two coupled sections.

use super::construction::{at, positive};
use super::coupled_line::{CoupledLineCoupler, CoupledPair, coupled_pair};
use super::error::ComponentError;
use super::lumped::{open_end, shorted_end};
use crate::network::{FrequencyGrid, Network, Wiring, join};
use crate::units::db_from_amplitude;

/// A planar balun: the primary line passes both sections and has an open end; each secondary is
/// grounded at its outer end and connected to its output at the inner end.
///
/// Source: N. Marchand, Electronics 17 (1944) 142-145.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanarBalun {
    /// The section at the input.
    pub first: CoupledPair,
    /// The section at the open end.
    pub second: CoupledPair,
}

impl PlanarBalun {
    /// Two equal quarter-wave sections that match a source to two loads.
    ///
    /// Impedances in ohms, centre in Hz; `loss_db` is the loss of each mode of a section at the
    /// centre, and the last argument has the meaning that it has in [`CoupledLineCoupler`].
    ///
    /// # Method
    /// The sections match the source and have the coupling C = 1 / √(2 Z_load / Z_source + 1).
    /// Source: K. S. Ang, I. D. Robertson, IEEE Trans. MTT 49 (2001) 402-406, from memory; a test
    /// shows the match.
    ///
    /// # Errors
    /// [`ComponentError::OutOfRange`] for an impedance or the velocity excess.
    ///
    /// # Examples
    /// ```
    /// use fourphase::component::PlanarBalun;
    ///
    /// let balun = PlanarBalun::matched(50.0, 50.0, 29e9, 0.2, 0.0)?;
    /// assert_eq!(balun.first, balun.second);
    /// # Ok::<(), fourphase::component::ComponentError>(())
    /// ```
    pub fn matched(
        source_ohm: f64,
        load_ohm: f64,
        center_hz: f64,
        loss_db: f64,
        odd_mode_velocity_excess_percent: f64,
    ) -> Result<Self, ComponentError> {
        positive("source_ohm", source_ohm)?;
        positive("load_ohm", load_ohm)?;
        let coupling = 1.0 / (2.0 * load_ohm / source_ohm + 1.0).sqrt();
        let section = CoupledLineCoupler {
            coupling_db: -db_from_amplitude(coupling),
            impedance_ohm: source_ohm,
            center_hz,
            loss_db,
            odd_mode_velocity_excess_percent,
        };
        let pair = section.pair()?;
        Ok(Self { first: pair, second: pair })
    }
}

/// The three-port of a planar balun, in 50 ohm: 1 unbalanced, 2 and 3 balanced.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a parameter of a section out of range.
///
/// # Examples
/// ```
/// use fourphase::component::{PlanarBalun, planar_balun};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let balun = planar_balun(&grid, &PlanarBalun::matched(50.0, 50.0, 29e9, 0.0, 0.0)?)?;
/// // The outputs are opposite, and the input is matched.
/// assert!((balun.entries()[3] + balun.entries()[6]).norm() < 1e-9);
/// assert!(balun.entries()[0].norm() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn planar_balun(grid: &FrequencyGrid, balun: &PlanarBalun) -> Result<Network, ComponentError> {
    let ground = shorted_end(grid, 0.0)?;
    let open = open_end(grid, 0.0)?;
    let blocks = [
        coupled_pair(grid, &balun.first)?,
        coupled_pair(grid, &balun.second)?,
        open,
        ground.clone(),
        ground,
    ];
    let joins = vec![
        vec![at(0, 2), at(1, 1)],
        vec![at(1, 2), at(2, 1)],
        vec![at(0, 3), at(3, 1)],
        vec![at(1, 4), at(4, 1)],
    ];
    let outside = vec![at(0, 1), at(0, 4), at(1, 3)];
    Ok(join(&blocks, &Wiring { joins, outside })?)
}
