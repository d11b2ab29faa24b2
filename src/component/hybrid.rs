//! Hybrids joined from lines: branch-line hybrid and ring hybrid.

use super::construction::{at, scattering};
use super::error::ComponentError;
use super::line::{Line, line};
use crate::network::{FrequencyGrid, Network, NetworkError, Wiring, join};
use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2};

/// A branch-line hybrid of one section: two arms of Z/√2 and two branches of Z, each a quarter
/// wave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BranchLine {
    /// The impedance Z that it matches, ohms.
    pub impedance_ohm: f64,
    /// The frequency at which its lines are a quarter wave long, Hz.
    pub center_hz: f64,
    /// Loss of a quarter wave of line at the centre, dB.
    pub loss_db: f64,
}

impl BranchLine {
    /// Impedance of the arms between input and through port, and between coupled and isolated
    /// port, ohms.
    pub(super) fn arm_ohm(&self) -> f64 {
        self.impedance_ohm * FRAC_1_SQRT_2
    }
}

/// The four-port of a branch-line hybrid, in 50 ohm: 1 input, 2 through, 3 coupled, 4 isolated. The
/// through port leads the coupled port by 90 degrees.
///
/// Source: D. M. Pozar, "Microwave Engineering", quadrature hybrids.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a parameter out of range.
///
/// # Examples
/// ```
/// use fourphase::component::{BranchLine, branch_line};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let hybrid = BranchLine { impedance_ohm: 50.0, center_hz: 29e9, loss_db: 0.0 };
/// let network = branch_line(&grid, &hybrid)?;
/// let (through, coupled) = (network.entries()[4], network.entries()[8]);
/// assert!(((through / coupled).arg().to_degrees() - 90.0).abs() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn branch_line(grid: &FrequencyGrid, hybrid: &BranchLine) -> Result<Network, ComponentError> {
    past_trapped_waves(grid, hybrid.center_hz, |grid| square(grid, hybrid))
}

fn square(grid: &FrequencyGrid, hybrid: &BranchLine) -> Result<Network, ComponentError> {
    let quarter = |impedance_ohm: f64| {
        line(
            grid,
            &Line { loss_db: hybrid.loss_db, ..Line::ideal(impedance_ohm, hybrid.center_hz, 90.0) },
        )
    };
    let (arm, branch) = (quarter(hybrid.arm_ohm())?, quarter(hybrid.impedance_ohm)?);
    // Around the square: arm 1-2, branch 2-3, arm 3-4, branch 4-1.
    let blocks = [arm.clone(), branch.clone(), arm, branch];
    let joins = vec![
        vec![at(3, 2), at(0, 1)],
        vec![at(0, 2), at(1, 1)],
        vec![at(1, 2), at(2, 1)],
        vec![at(2, 2), at(3, 1)],
    ];
    let outside = vec![at(0, 1), at(1, 1), at(2, 1), at(3, 1)];
    Ok(join(&blocks, &Wiring { joins, outside })?)
}

/// A ring hybrid of one and a half waves of line of √2 Z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatRace {
    /// The impedance Z that it matches, ohms.
    pub impedance_ohm: f64,
    /// The frequency at which its short arcs are a quarter wave long, Hz.
    pub center_hz: f64,
    /// Loss of a quarter wave of line at the centre, dB.
    pub loss_db: f64,
}

impl RatRace {
    /// Impedance of the ring, ohms.
    pub(super) fn ring_ohm(&self) -> f64 {
        self.impedance_ohm * SQRT_2
    }
}

/// The four-port of a ring hybrid, in 50 ohm: 1 sum, 2 and 3 outputs, 4 difference. The arcs 1-2,
/// 1-3 and 3-4 are a quarter wave long, 2-4 three quarters.
///
/// Source: D. M. Pozar, "Microwave Engineering", the 180-degree hybrid.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a parameter out of range.
///
/// # Examples
/// ```
/// use fourphase::component::{RatRace, rat_race};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let ring = RatRace { impedance_ohm: 50.0, center_hz: 29e9, loss_db: 0.0 };
/// let network = rat_race(&grid, &ring)?;
/// // From the sum port the outputs are equal, from the difference port opposite.
/// assert!((network.entries()[4] - network.entries()[8]).norm() < 1e-12);
/// assert!((network.entries()[7] + network.entries()[11]).norm() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn rat_race(grid: &FrequencyGrid, hybrid: &RatRace) -> Result<Network, ComponentError> {
    past_trapped_waves(grid, hybrid.center_hz, |grid| ring(grid, hybrid))
}

fn ring(grid: &FrequencyGrid, ring: &RatRace) -> Result<Network, ComponentError> {
    let arc = |quarters: f64| {
        let ideal = Line::ideal(ring.ring_ohm(), ring.center_hz, 90.0 * quarters);
        line(grid, &Line { loss_db: ring.loss_db * quarters, ..ideal })
    };
    // Around the ring: 3-1, 1-2, 2-4 (long), 4-3.
    let blocks = [arc(1.0)?, arc(1.0)?, arc(3.0)?, arc(1.0)?];
    let joins = vec![
        vec![at(0, 2), at(1, 1)],
        vec![at(1, 2), at(2, 1)],
        vec![at(3, 2), at(0, 1)],
        vec![at(2, 2), at(3, 1)],
    ];
    let outside = vec![at(1, 1), at(2, 1), at(0, 1), at(3, 1)];
    Ok(join(&blocks, &Wiring { joins, outside })?)
}

/// Where the lines are whole half waves, as at zero frequency, a wave that no port excites or
/// receives may circulate in the ring, and joining is singular. The scattering matrix has a finite
/// limit there, which is computed at a frequency offset by this fraction of the centre. The offset
/// changes the entries by about as much.
const BESIDE: f64 = 1e-8;

fn past_trapped_waves(
    grid: &FrequencyGrid,
    center_hz: f64,
    build: impl Fn(&FrequencyGrid) -> Result<Network, ComponentError>,
) -> Result<Network, ComponentError> {
    let built = build(grid);
    let Err(ComponentError::Network(NetworkError::SingularLoop { .. })) = built else {
        return built;
    };
    let beside = |&hz: &f64| {
        let half_waves = hz / (2.0 * center_hz);
        let is_trapped = (half_waves - half_waves.round()).abs() < BESIDE;
        if is_trapped { (half_waves.round() * 2.0 + BESIDE) * center_hz } else { hz }
    };
    let mut moved_hz: Vec<f64> = grid.as_hz().iter().map(beside).collect();
    moved_hz.sort_by(f64::total_cmp);
    let moved = build(&FrequencyGrid::from_hz(moved_hz)?)?;
    scattering(grid, moved.ports(), moved.entries().to_vec())
}
