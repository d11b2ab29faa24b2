//! Couplers of an invented wafer: one design, and how a process spreads it.
//!
//! Gaps widen towards the rim, where the coupling is then weaker; the film is thicker on one side,
//! which shifts the centre and the length of a lead; and every die has small deviations of its own.

use super::coupled_line::{CoupledLineCoupler, coupled_line_coupler};
use super::line::{Line, line};
use super::{ComponentError, at};
use crate::network::{FrequencyGrid, Network, Wiring, join};

/// A coupler as it came out on one die.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadCoupler {
    /// Coupling at the centre, positive dB.
    pub coupling_db: f64,
    /// Where it is a quarter wave long, Hz.
    pub center_hz: f64,
    /// Loss of each mode, dB.
    pub loss_db: f64,
    /// What the lead of the coupled port turns more than the others at 29 GHz, degrees.
    pub lead_deg: f64,
    /// Loss of that lead, dB.
    pub lead_loss_db: f64,
}

const DESIGN_HZ: f64 = 29e9;

impl SpreadCoupler {
    /// The coupler at a place, in units of the wafer's radius, with four standard normal deviates
    /// for what is the die's own.
    ///
    /// # Examples
    /// ```
    /// use fourphase::component::SpreadCoupler;
    ///
    /// let centre = SpreadCoupler::on_wafer((0.0, 0.0), [0.0; 4]);
    /// let rim = SpreadCoupler::on_wafer((0.7, 0.7), [0.0; 4]);
    /// assert!(rim.coupling_db > centre.coupling_db);
    /// ```
    #[must_use]
    pub fn on_wafer((x, y): (f64, f64), own: [f64; 4]) -> Self {
        Self {
            coupling_db: 2.85 + 0.42 * (x * x + y * y) + 0.05 * own[0],
            center_hz: DESIGN_HZ * (1.0 + 0.010 * x + 0.003 * own[1]),
            loss_db: 0.25 + 0.02 * own[2].abs(),
            lead_deg: 1.2 + 1.3 * x - 0.8 * y + 0.45 * own[3],
            lead_loss_db: 0.03,
        }
    }

    /// 1 in, 2 through, 3 coupled, 4 isolated; the coupled port leads by about 90 degrees.
    ///
    /// # Errors
    /// [`ComponentError`] for values that no coupler has.
    pub fn network(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
        let coupler = coupled_line_coupler(
            grid,
            &CoupledLineCoupler {
                coupling_db: self.coupling_db,
                impedance_ohm: 49.0,
                center_hz: self.center_hz,
                loss_db: self.loss_db,
                odd_faster_percent: 4.0,
            },
        )?;
        // Every port has a lead of the same length, the coupled one a little more or less.
        let lead = |more_deg: f64, loss_db: f64| {
            line(grid, &Line { loss_db, ..Line::ideal(52.0, DESIGN_HZ, 12.0 + more_deg) })
        };
        let blocks = [
            coupler,
            lead(0.0, 0.03)?,
            lead(0.0, 0.03)?,
            lead(self.lead_deg, self.lead_loss_db)?,
            lead(0.0, 0.03)?,
        ];
        let joins = (1..=4).map(|port| vec![at(0, port), at(port, 1)]).collect();
        let outside = (1..=4).map(|port| at(port, 2)).collect();
        Ok(join(&blocks, &Wiring { joins, outside })?)
    }
}
