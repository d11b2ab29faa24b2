//! Ideal parts whose imbalance, phase error, loss and isolation are set.
//!
//! Ports are matched. The errors lie between the two outputs: b over a is the ideal times
//! 10^(imbalance/20) at the phase error, and all power that does not reach an output or the
//! isolated port is lost. A lossless matched four-port cannot be out of quadrature: where no passive
//! part can be as asked, that is an error with the loss that is missing.

use super::{ComponentError, finite, not_negative, positive, scattering};
use crate::network::{FrequencyGrid, Network, assess};
use crate::units::{amplitude_from_db, db_from_amplitude, power_from_db};
use num_complex::Complex64;

/// The errors of an ideal part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IdealSplit {
    /// Second output over first, dB.
    pub imbalance_db: f64,
    /// Phase of second less first output beyond the ideal, degrees.
    pub phase_error_deg: f64,
    /// Power lost, dB.
    pub loss_db: f64,
    /// From the input to the isolated port, or between the outputs of a three-port, dB; infinite
    /// by default.
    pub isolation_db: f64,
}

impl Default for IdealSplit {
    fn default() -> Self {
        Self { imbalance_db: 0.0, phase_error_deg: 0.0, loss_db: 0.0, isolation_db: f64::INFINITY }
    }
}

/// Amplitudes of a split: (a, b, leak).
fn amplitudes(
    split: &IdealSplit,
    leak_takes_power: bool,
) -> Result<(f64, Complex64, f64), ComponentError> {
    let leak = amplitude_from_db(-not_negative_or_infinite("isolation_db", split.isolation_db)?);
    let power = power_from_db(-not_negative("loss_db", split.loss_db)?)
        - if leak_takes_power { leak * leak } else { 0.0 };
    let ratio = amplitude_from_db(finite("imbalance_db", split.imbalance_db)?);
    finite("phase_error_deg", split.phase_error_deg)?;
    let a = (power.max(0.0) / (1.0 + ratio * ratio)).sqrt();
    Ok((a, Complex64::from_polar(a * ratio, split.phase_error_deg.to_radians()), leak))
}

fn not_negative_or_infinite(name: &'static str, value: f64) -> Result<f64, ComponentError> {
    if value >= 0.0 { Ok(value) } else { Err(ComponentError::Negative { name, value }) }
}

fn constant(
    grid: &FrequencyGrid,
    ports: usize,
    matrix: &[Complex64],
) -> Result<Network, ComponentError> {
    let network = scattering(grid, ports, matrix.repeat(grid.len()))?;
    let largest = assess(&network)?.max_singular_value.value;
    // A few rounding errors above 1 are no gain.
    if largest > 1.0 + 1e-9 {
        return Err(ComponentError::NotPassive { missing_db: db_from_amplitude(largest) });
    }
    Ok(network)
}

/// Four ports: input, through, coupled, isolated. The through port leads the coupled one by 90
/// degrees: S21 = -j a, S31 = -b.
///
/// # Errors
/// [`ComponentError::NotPassive`], [`ComponentError::Negative`].
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_quadrature_hybrid};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::linear(27e9, 31e9, 5)?;
/// let hybrid = ideal_quadrature_hybrid(&grid, &IdealSplit { imbalance_db: 0.5, ..IdealSplit::default() })?;
/// assert_eq!(hybrid.ports(), 4);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn ideal_quadrature_hybrid(
    grid: &FrequencyGrid,
    split: &IdealSplit,
) -> Result<Network, ComponentError> {
    let (a, b, leak) = amplitudes(split, true)?;
    let (through, coupled, leak) = (Complex64::new(0.0, -a), -b, Complex64::from(leak));
    let o = Complex64::ZERO;
    #[rustfmt::skip]
    let matrix = [
        o, through, coupled, leak,
        through, o, leak, coupled,
        coupled, leak, o, through,
        leak, coupled, through, o,
    ];
    constant(grid, 4, &matrix)
}

/// Four ports: difference, plus, minus, sum. From the difference port the outputs are opposite,
/// from the sum port equal.
///
/// # Errors
/// [`ComponentError::NotPassive`], [`ComponentError::Negative`].
pub fn ideal_hybrid_180(
    grid: &FrequencyGrid,
    split: &IdealSplit,
) -> Result<Network, ComponentError> {
    let (a, b, leak) = amplitudes(split, true)?;
    let (plus, leak, o) = (Complex64::new(0.0, -a), Complex64::from(leak), Complex64::ZERO);
    let minus = -plus * b / a;
    // From the sum port the shares of the two outputs are exchanged, so that the rows stay
    // orthogonal.
    let (sum_plus, sum_minus) = (-minus, plus);
    #[rustfmt::skip]
    let matrix = [
        o, plus, minus, leak,
        plus, o, leak, sum_plus,
        minus, leak, o, sum_minus,
        leak, sum_plus, sum_minus, o,
    ];
    constant(grid, 4, &matrix)
}

/// Three ports: input, plus, minus, matched at all of them by a resistor inside.
///
/// # Errors
/// [`ComponentError::NotPassive`], [`ComponentError::Negative`].
pub fn ideal_balun(grid: &FrequencyGrid, split: &IdealSplit) -> Result<Network, ComponentError> {
    three_port(grid, split, -1.0)
}

/// Three ports: input and two equal outputs, matched at all of them by a resistor inside.
///
/// # Errors
/// [`ComponentError::NotPassive`], [`ComponentError::Negative`].
pub fn ideal_divider(grid: &FrequencyGrid, split: &IdealSplit) -> Result<Network, ComponentError> {
    three_port(grid, split, 1.0)
}

fn three_port(
    grid: &FrequencyGrid,
    split: &IdealSplit,
    sign: f64,
) -> Result<Network, ComponentError> {
    let (a, b, leak) = amplitudes(split, false)?;
    let (first, o) = (Complex64::new(0.0, -a), Complex64::ZERO);
    let second = first * sign * b / a;
    let leak = Complex64::from(leak);
    constant(grid, 3, &[o, first, second, first, o, leak, second, leak, o])
}

/// A matched pad.
///
/// # Errors
/// [`ComponentError::Negative`].
pub fn attenuator(grid: &FrequencyGrid, loss_db: f64) -> Result<Network, ComponentError> {
    let through = Complex64::from(amplitude_from_db(-not_negative("loss_db", loss_db)?));
    constant(grid, 2, &[Complex64::ZERO, through, through, Complex64::ZERO])
}

/// How a pad's resistors stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PadTopology {
    /// Series, shunt, series.
    Tee,
    /// Shunt, series, shunt.
    Pi,
}

/// (series, shunt) resistors of a matched pad, ohms: any textbook.
///
/// # Errors
/// [`ComponentError::NotPositive`].
pub fn pad_resistors_ohm(
    topology: PadTopology,
    loss_db: f64,
    impedance_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    let k = amplitude_from_db(positive("loss_db", loss_db)?);
    positive("impedance_ohm", impedance_ohm)?;
    Ok(match topology {
        PadTopology::Tee => {
            (impedance_ohm * (k - 1.0) / (k + 1.0), impedance_ohm * 2.0 * k / (k * k - 1.0))
        }
        PadTopology::Pi => {
            (impedance_ohm * (k * k - 1.0) / (2.0 * k), impedance_ohm * (k + 1.0) / (k - 1.0))
        }
    })
}
