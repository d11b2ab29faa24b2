//! Phase noise of the source and floors of stages, carried to the end of a chain.

use crate::units::{db_from_power, power_from_db};

/// What a stage does to phase noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseStage {
    /// Its order: phase noise rises by 20 log10 of it.
    pub order: u32,
    /// Phase noise that it adds at its output, dBc/Hz.
    pub floor_dbc_hz: Option<f64>,
}

/// Phase noise behind a chain of stages, for each row of the source: offset in Hz and dBc/Hz.
///
/// A floor is at its stage's output, adds in power, and rises with the multipliers after it. Source and
/// floors are phase noise; of additive white noise that is half.
///
/// # Examples
/// ```
/// use fourphase::downconverter::{NoiseStage, phase_noise_dbc_hz};
///
/// let stages = [NoiseStage { order: 6, floor_dbc_hz: None }];
/// let behind = phase_noise_dbc_hz(&[(1e4, -110.0)], &stages);
/// assert!((behind[0].1 - -94.437).abs() < 1e-3);
/// ```
#[must_use]
pub fn phase_noise_dbc_hz(source: &[(f64, f64)], stages: &[NoiseStage]) -> Vec<(f64, f64)> {
    let behind = |&(offset_hz, dbc_hz): &(f64, f64)| {
        let power = stages.iter().fold(power_from_db(dbc_hz), |power, stage| {
            let floor = stage.floor_dbc_hz.map_or(0.0, power_from_db);
            power * f64::from(stage.order).powi(2) + floor
        });
        (offset_hz, db_from_power(power))
    };
    source.iter().map(behind).collect()
}
