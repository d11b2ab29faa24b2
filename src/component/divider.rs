//! In-phase dividers with isolation resistors.

use super::construction::{at, positive};
use super::error::ComponentError;
use super::line::{Line, line};
use super::lumped::{Arrangement, Elements, series_element};
use super::search::minimum_between;
use crate::network::{FrequencyGrid, Network, Terminal, Wiring, join};
use num_complex::Complex64;

/// A stage of a divider: two quarter-wave arms and a resistor between their ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    /// Impedance of each arm, ohms.
    pub impedance_ohm: f64,
    /// Resistance of the resistor, ohms.
    pub resistance_ohm: f64,
}

/// An in-phase divider of one or more stages.
///
/// Source: E. J. Wilkinson, IRE Trans. MTT 8 (1960) 116-118.
#[derive(Clone, Debug, PartialEq)]
pub struct WilkinsonDivider {
    /// The stages, from the input.
    pub stages: Vec<Stage>,
    /// The frequency at which the arms are a quarter wave long, Hz.
    pub center_hz: f64,
    /// Loss of each arm at the centre, dB.
    pub loss_db: f64,
}

/// The stages of a divider with all ports matched to an impedance Z in ohms.
///
/// # Method
/// One stage: arms of √2 Z and a resistor of 2 Z. Two stages: the maximally flat transformer, with
/// resistors that isolate perfectly at the centre and best at 0.75 and 1.25 of it.
///
/// # Errors
/// [`ComponentError::Stages`] for a count other than 1 and 2; [`ComponentError::OutOfRange`] for the
/// impedance.
///
/// # Examples
/// ```
/// use fourphase::component::default_stages;
///
/// let stages = default_stages(1, 50.0)?;
/// assert_eq!(stages[0].resistance_ohm, 100.0);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn default_stages(count: usize, impedance_ohm: f64) -> Result<Vec<Stage>, ComponentError> {
    positive("impedance_ohm", impedance_ohm)?;
    let stage = |impedance: f64, resistance: f64| Stage {
        impedance_ohm: impedance * impedance_ohm,
        resistance_ohm: resistance * impedance_ohm,
    };
    match count {
        1 => Ok(vec![stage(std::f64::consts::SQRT_2, 2.0)]),
        2 => {
            // Each arm transforms 2 Z to Z: impedances 2^(3/4) and 2^(1/4).
            let (first, second) = (2_f64.powf(0.75), 2_f64.powf(0.25));
            let (inner, outer) = two_stage_resistors(first, second);
            Ok(vec![stage(first, inner), stage(second, outer)])
        }
        stages => Err(ComponentError::Stages { stages }),
    }
}

/// Resistors in units of the impedance. In the odd mode each arm, shorted at the input, together
/// with half of each resistor must have the impedance 1. At the centre that gives the outer resistor
/// from the inner one; the inner one minimises the reflection away from the centre.
fn two_stage_resistors(first: f64, second: f64) -> (f64, f64) {
    // Seen from the output at the centre: the inner half resistor through a quarter wave of the
    // second arm, in parallel with the outer half resistor.
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
    // There is one minimum between the values at which the outer resistor vanishes or is infinite.
    let inner =
        minimum_between(1e-3, 2.0 * second * second - 1e-3, |inner| reflection(inner, edge));
    (inner, outer_for(inner))
}

/// The stages of a divider from its parameters: a number of stages, or an impedance and a resistor
/// in ohms for each stage. Without lists they are those of [`default_stages`]; without a number
/// there is one stage.
pub(super) fn given_stages(
    count: Option<usize>,
    impedances_ohm: Option<&[f64]>,
    resistors_ohm: Option<&[f64]>,
    impedance_ohm: f64,
) -> Result<Vec<Stage>, ComponentError> {
    match (impedances_ohm, resistors_ohm) {
        (None, None) => default_stages(count.unwrap_or(1), impedance_ohm),
        (Some(impedances), Some(resistors))
            if impedances.len() == resistors.len()
                && count.is_none_or(|count| count == impedances.len()) =>
        {
            let stage = |(&impedance_ohm, &resistance_ohm)| Stage { impedance_ohm, resistance_ohm };
            Ok(impedances.iter().zip(resistors).map(stage).collect())
        }
        (impedances, resistors) => Err(ComponentError::StageLists {
            stages: count,
            impedances: impedances.map_or(0, <[f64]>::len),
            resistors: resistors.map_or(0, <[f64]>::len),
        }),
    }
}

/// The three-port of a divider, in 50 ohm: 1 input, 2 and 3 outputs.
///
/// # Errors
/// [`ComponentError::Stages`] without stages; [`ComponentError::OutOfRange`] for a parameter out of
/// range.
///
/// # Examples
/// ```
/// use fourphase::component::{WilkinsonDivider, default_stages, wilkinson_divider};
/// use fourphase::network::FrequencyGrid;
///
/// let stages = default_stages(1, 50.0)?;
/// let divider = WilkinsonDivider { stages, center_hz: 29e9, loss_db: 0.0 };
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let network = wilkinson_divider(&grid, &divider)?;
/// // The outputs are isolated from one another at the centre.
/// assert!(network.entries()[5].norm() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
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
        blocks.extend([arm.clone(), arm, series_element(grid, &resistor, Arrangement::Series)?]);
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
