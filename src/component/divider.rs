//! In-phase dividers with isolation resistors (E. J. Wilkinson, IRE Trans. MTT 8 (1960) 116-118).

use super::line::{Line, line};
use super::lumped::{Arrangement, Elements, series};
use super::{ComponentError, at, positive};
use crate::network::{FrequencyGrid, Network, Terminal, Wiring, join};
use num_complex::Complex64;

/// One stage, from the input: two quarter-wave arms and a resistor between their ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    /// Impedance of each arm, ohms.
    pub impedance_ohm: f64,
    /// The resistor, ohms.
    pub resistance_ohm: f64,
}

/// A divider of one or more stages.
#[derive(Clone, Debug, PartialEq)]
pub struct WilkinsonDivider {
    /// The stages, from the input.
    pub stages: Vec<Stage>,
    /// Where the arms are a quarter wave, Hz.
    pub center_hz: f64,
    /// Loss of each arm at the centre, dB.
    pub loss_db: f64,
}

/// Stages for a match of all ports to an impedance: √2 Z and 2 Z for one; for two the maximally
/// flat transformer, with resistors that isolate perfectly at the centre and best at 0.75 and 1.25
/// of it.
///
/// # Errors
/// [`ComponentError::Stages`] for another number; [`ComponentError::NotPositive`].
pub fn default_stages(count: usize, impedance_ohm: f64) -> Result<Vec<Stage>, ComponentError> {
    positive("impedance_ohm", impedance_ohm)?;
    let stage = |impedance: f64, resistance: f64| Stage {
        impedance_ohm: impedance * impedance_ohm,
        resistance_ohm: resistance * impedance_ohm,
    };
    match count {
        1 => Ok(vec![stage(std::f64::consts::SQRT_2, 2.0)]),
        2 => {
            // Each arm steps from 2 Z down to Z: impedances 2^(3/4) and 2^(1/4).
            let (first, second) = (2_f64.powf(0.75), 2_f64.powf(0.25));
            let (inner, outer) = two_stage_resistors(first, second);
            Ok(vec![stage(first, inner), stage(second, outer)])
        }
        stages => Err(ComponentError::Stages { stages }),
    }
}

/// Resistors in units of the impedance. In the odd mode each arm, shorted at the input, must look
/// like 1 together with half of each resistor. At the centre that ties the two resistors together;
/// what is left free is chosen by the reflection away from it.
fn two_stage_resistors(first: f64, second: f64) -> (f64, f64) {
    // Seen from the output at the centre: the inner half resistor through a quarter wave of the
    // second arm, beside the outer half resistor.
    let outer_for = |inner: f64| 2.0 / (1.0 - 0.5 * inner / (second * second));
    let reflection = |inner: f64, angle: f64| {
        let tangent = Complex64::new(0.0, angle.tan());
        let short = 1.0 / (first * tangent);
        let beside = short + 2.0 / inner;
        let through = (beside * second + tangent) / (1.0 + beside * second * tangent) / second;
        let all = through + 2.0 / outer_for(inner);
        ((1.0 - all) / (1.0 + all)).norm()
    };
    let edge = 0.75 * std::f64::consts::FRAC_PI_2;
    // One minimum between the resistors that would leave the other without a value.
    let (mut low, mut high) = (1e-3, 2.0 * second * second - 1e-3);
    for _ in 0..200 {
        let (left, right) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if reflection(left, edge) < reflection(right, edge) { high = right } else { low = left }
    }
    let inner = 0.5 * (low + high);
    (inner, outer_for(inner))
}

/// Three ports: 1 input, 2 and 3 outputs.
///
/// # Errors
/// [`ComponentError::Stages`] without stages; [`ComponentError::NotPositive`],
/// [`ComponentError::Negative`].
pub fn wilkinson_divider(
    grid: &FrequencyGrid,
    divider: &WilkinsonDivider,
) -> Result<Network, ComponentError> {
    if divider.stages.is_empty() {
        return Err(ComponentError::Stages { stages: 0 });
    }
    // Blocks of stage s: arms 3 s and 3 s + 1, resistor 3 s + 2.
    let mut blocks = Vec::new();
    let mut joins: Vec<Vec<Terminal>> = vec![vec![at(0, 1), at(1, 1)]];
    for (number, stage) in divider.stages.iter().enumerate() {
        positive("resistance_ohm", stage.resistance_ohm)?;
        let arm = Line {
            loss_db: divider.loss_db,
            ..Line::ideal(stage.impedance_ohm, divider.center_hz, 90.0)
        };
        let arm = line(grid, &arm)?;
        let resistor =
            Elements { resistance_ohm: Some(stage.resistance_ohm), ..Elements::default() };
        blocks.extend([arm.clone(), arm, series(grid, &resistor, Arrangement::Series)?]);
        for side in 0..2 {
            let mut node = vec![at(3 * number + side, 2), at(3 * number + 2, side + 1)];
            if number + 1 < divider.stages.len() {
                node.push(at(3 * (number + 1) + side, 1));
            }
            joins.push(node);
        }
    }
    let last = 3 * (divider.stages.len() - 1);
    let outside = vec![at(0, 1), at(last, 2), at(last + 1, 2)];
    Ok(join(&blocks, &Wiring { joins, outside })?)
}
