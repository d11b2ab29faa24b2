//! A planar balun of two coupled sections (N. Marchand, Electronics 17 (1944) 142-145).

use super::coupled_line::{CoupledLineCoupler, CoupledPair, coupled_pair};
use super::lumped::{Terminated, one_port};
use super::{ComponentError, at, positive};
use crate::network::{FrequencyGrid, Network, Wiring, join};
use crate::units::db_from_amplitude;

/// The primary line runs past both sections to an open end; each secondary is grounded at its
/// outer end and feeds its output at the inner one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanarBalun {
    /// The section next to the input.
    pub first: CoupledPair,
    /// The section at the open end.
    pub second: CoupledPair,
}

impl PlanarBalun {
    /// Two equal quarter-wave sections that match a source to two loads: coupling
    /// C = 1 / √(2 Z_load / Z_source + 1), K. S. Ang, I. D. Robertson, IEEE Trans. MTT 49 (2001)
    /// 402-406 (from memory; the tests show the match), in sections that match the source.
    ///
    /// # Errors
    /// [`ComponentError::NotPositive`].
    pub fn matched(
        source_ohm: f64,
        load_ohm: f64,
        center_hz: f64,
        loss_db: f64,
        odd_faster_percent: f64,
    ) -> Result<Self, ComponentError> {
        positive("source_ohm", source_ohm)?;
        positive("load_ohm", load_ohm)?;
        let coupling = 1.0 / (2.0 * load_ohm / source_ohm + 1.0).sqrt();
        let section = CoupledLineCoupler {
            coupling_db: -db_from_amplitude(coupling),
            impedance_ohm: source_ohm,
            center_hz,
            loss_db,
            odd_faster_percent,
        };
        let pair = section.pair()?;
        Ok(Self { first: pair, second: pair })
    }
}

/// Three ports: 1 unbalanced, 2 and 3 balanced.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::Negative`].
pub fn planar_balun(grid: &FrequencyGrid, balun: &PlanarBalun) -> Result<Network, ComponentError> {
    let ground = one_port(grid, &Terminated::Short { inductance_h: 0.0 })?;
    let open = one_port(grid, &Terminated::Open { capacitance_f: 0.0 })?;
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
