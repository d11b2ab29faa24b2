//! Couplers of a synthetic wafer: one design with process variation.
//!
//! Gaps widen towards the edge, which weakens the coupling there; the film is thicker on one side,
//! which shifts the centre frequency and the length of an interconnect; every die has small random
//! deviations.
//! random deviations of its own.

use super::construction::at;
use super::coupled_line::{CoupledLineCoupler, coupled_line_coupler};
use super::error::ComponentError;
use super::line::{Line, line};
use crate::network::{FrequencyGrid, Network, Wiring, join};

/// A coupler on one die of the synthetic wafer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadCoupler {
    /// Coupling at the centre, positive dB.
    pub coupling_db: f64,
    /// The frequency at which it is a quarter wave long, Hz.
    pub center_hz: f64,
    /// Loss of each mode, dB.
    pub loss_db: f64,
    /// Excess electrical length of the coupled port's interconnect over the others at 29 GHz,
    /// degrees.
    pub interconnect_deg: f64,
    /// Loss of that interconnect, dB.
    pub interconnect_loss_db: f64,
}

const DESIGN_HZ: f64 = 29e9;

impl SpreadCoupler {
    /// The coupler at a position (x, y) in units of the wafer's radius, with four standard normal
    /// deviates for the deviations of the die.
    ///
    /// # Examples
    /// ```
    /// use fourphase::component::SpreadCoupler;
    ///
    /// let centre = SpreadCoupler::on_wafer((0.0, 0.0), [0.0; 4]);
    /// let edge = SpreadCoupler::on_wafer((0.7, 0.7), [0.0; 4]);
    /// assert!(edge.coupling_db > centre.coupling_db);
    /// ```
    #[must_use]
    pub fn on_wafer((x, y): (f64, f64), own: [f64; 4]) -> Self {
        Self {
            coupling_db: 2.85 + 0.42 * (x * x + y * y) + 0.05 * own[0],
            center_hz: DESIGN_HZ * (1.0 + 0.010 * x + 0.003 * own[1]),
            loss_db: 0.25 + 0.02 * own[2].abs(),
            interconnect_deg: 1.2 + 1.3 * x - 0.8 * y + 0.45 * own[3],
            interconnect_loss_db: 0.03,
        }
    }

    /// The four-port of the coupler with its interconnects, in 50 ohm: 1 input, 2 through,
    /// 3 coupled, 4 isolated. The coupled port leads the through port by about 90 degrees.
    ///
    /// # Errors
    /// [`ComponentError::Coupling`], [`ComponentError::OutOfRange`].
    ///
    /// # Examples
    /// ```
    /// use fourphase::component::SpreadCoupler;
    /// use fourphase::network::FrequencyGrid;
    ///
    /// let grid = FrequencyGrid::linear(24e9, 34e9, 11)?;
    /// let network = SpreadCoupler::on_wafer((0.0, 0.0), [0.0; 4]).network(&grid)?;
    /// assert_eq!(network.ports(), 4);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn network(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
        let coupler = coupled_line_coupler(
            grid,
            &CoupledLineCoupler {
                coupling_db: self.coupling_db,
                impedance_ohm: 49.0,
                center_hz: self.center_hz,
                loss_db: self.loss_db,
                odd_mode_velocity_excess_percent: 4.0,
            },
        )?;
        // Every port has an interconnect; that of the coupled port differs from the others.
        let interconnect = |excess_deg: f64, loss_db: f64| {
            line(grid, &Line { loss_db, ..Line::ideal(52.0, DESIGN_HZ, 12.0 + excess_deg) })
        };
        let blocks = [
            coupler,
            interconnect(0.0, 0.03)?,
            interconnect(0.0, 0.03)?,
            interconnect(self.interconnect_deg, self.interconnect_loss_db)?,
            interconnect(0.0, 0.03)?,
        ];
        let joins = (1..=4).map(|port| vec![at(0, port), at(port, 1)]).collect();
        let outside = (1..=4).map(|port| at(port, 2)).collect();
        Ok(join(&blocks, &Wiring { joins, outside })?)
    }
}
