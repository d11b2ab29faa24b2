//! Hybrids joined from lines: branch-line and ring.

use super::line::{Line, line};
use super::{ComponentError, at, scattering};
use crate::network::{FrequencyGrid, Network, NetworkError, Wiring, join};
use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2};

/// A branch-line hybrid of one section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BranchLine {
    /// Impedance it matches, ohms.
    pub impedance_ohm: f64,
    /// Where its lines are a quarter wave, Hz.
    pub center_hz: f64,
    /// Loss of a quarter wave of line at the centre, dB.
    pub loss_db: f64,
}

/// Four ports: 1 in, 2 through, 3 coupled, 4 isolated; the through port leads by 90 degrees.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::Negative`].
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
    let (arm, branch) =
        (quarter(hybrid.impedance_ohm * FRAC_1_SQRT_2)?, quarter(hybrid.impedance_ohm)?);
    // Round the square: arm 1-2, branch 2-3, arm 3-4, branch 4-1.
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

/// A ring of one and a half waves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatRace {
    /// Impedance it matches, ohms.
    pub impedance_ohm: f64,
    /// Where its arcs are quarter waves, Hz.
    pub center_hz: f64,
    /// Loss of a quarter wave of line at the centre, dB.
    pub loss_db: f64,
}

/// Four ports: 1 sum, 2 and 3 outputs, 4 difference. The arcs 1-2, 1-3 and 3-4 are a quarter wave,
/// 2-4 three quarters.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::Negative`].
pub fn rat_race(grid: &FrequencyGrid, hybrid: &RatRace) -> Result<Network, ComponentError> {
    past_trapped_waves(grid, hybrid.center_hz, |grid| ring(grid, hybrid))
}

fn ring(grid: &FrequencyGrid, ring: &RatRace) -> Result<Network, ComponentError> {
    let arc = |quarters: f64| {
        let ideal = Line::ideal(ring.impedance_ohm * SQRT_2, ring.center_hz, 90.0 * quarters);
        line(grid, &Line { loss_db: ring.loss_db * quarters, ..ideal })
    };
    // Round the ring: 3-1, 1-2, 2-4 (long), 4-3.
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

/// Where the lines are whole half waves, as at zero frequency, a wave may run round the ring that
/// no port feeds or hears. The ports' own answer is finite there, and is taken as the limit: from
/// a frequency this much of the centre beside it, which changes entries by no more than about as
/// much.
const BESIDE: f64 = 1e-8;

fn past_trapped_waves(
    grid: &FrequencyGrid,
    center_hz: f64,
    build: impl Fn(&FrequencyGrid) -> Result<Network, ComponentError>,
) -> Result<Network, ComponentError> {
    let built = build(grid);
    let Err(ComponentError::Network(NetworkError::RingingJoin { .. })) = built else {
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
