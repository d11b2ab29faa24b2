//! Ideal parts with given imbalance, phase error, loss and isolation.
//!
//! All ports are matched. The second output over the first is the ideal ratio times
//! 10^(imbalance/20) with the phase error added; power that reaches neither an output nor the
//! isolated port is lost. Not every set of errors belongs to a passive network: a lossless matched
//! four-port, for example, is always in quadrature. For an impossible set the error names the loss
//! that is missing.
//! instance, is always in quadrature. An impossible set is refused with the loss that is missing.

use super::choice::Choice;
use super::construction::{checked, finite, not_negative, positive, scattering};
use super::error::ComponentError;
use super::parameter_limit::ParameterLimit;
use crate::network::{FrequencyGrid, Network, assess};
use crate::units::{amplitude_from_db, db_from_amplitude, power_from_db};
use num_complex::Complex64;

/// The errors of an ideal part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IdealSplit {
    /// Amplitude of the second output over the first, dB.
    pub imbalance_db: f64,
    /// Phase of the second output minus that of the first, beyond the ideal, degrees.
    pub phase_error_deg: f64,
    /// Power lost, positive dB.
    pub loss_db: f64,
    /// Isolation of the isolated port from the input, or of the outputs of a three-port from one
    /// another, positive dB; infinite by default.
    pub isolation_db: f64,
}

impl Default for IdealSplit {
    fn default() -> Self {
        Self { imbalance_db: 0.0, phase_error_deg: 0.0, loss_db: 0.0, isolation_db: f64::INFINITY }
    }
}

/// The ports between which the isolation is defined.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Isolation {
    /// The input and the isolated port of a four-port; that port receives power from the outputs.
    IsolatedPort,
    /// The outputs of a three-port.
    Outputs,
}

/// Wave amplitudes of a split: first output, second output, isolated port or other output.
fn amplitudes(
    split: &IdealSplit,
    isolation: Isolation,
) -> Result<(f64, Complex64, f64), ComponentError> {
    let isolation_db =
        checked("isolation_db", ParameterLimit::NotNegativeOrInfinite, split.isolation_db)?;
    let loss_db = not_negative("loss_db", split.loss_db)?;
    let leak = amplitude_from_db(-isolation_db);
    let power = match isolation {
        Isolation::IsolatedPort => power_from_db(-loss_db) - leak * leak,
        Isolation::Outputs => power_from_db(-loss_db),
    };
    if power <= 0.0 {
        return Err(ComponentError::NoOutputPower { isolation_db, loss_db });
    }
    let ratio = amplitude_from_db(finite("imbalance_db", split.imbalance_db)?);
    finite("phase_error_deg", split.phase_error_deg)?;
    let a = (power / (1.0 + ratio * ratio)).sqrt();
    Ok((a, Complex64::from_polar(a * ratio, split.phase_error_deg.to_radians()), leak))
}

fn constant(
    grid: &FrequencyGrid,
    ports: usize,
    matrix: &[Complex64],
) -> Result<Network, ComponentError> {
    let network = scattering(grid, ports, matrix.repeat(grid.len()))?;
    let largest = assess(&network)?.max_singular_value.value;
    // Rounding can raise the maximum singular value slightly above 1.
    if largest > 1.0 + 1e-9 {
        return Err(ComponentError::NotPassive { missing_db: db_from_amplitude(largest) });
    }
    Ok(network)
}

/// The four-port of an ideal quadrature hybrid with set errors, in 50 ohm: 1 input, 2 through,
/// 3 coupled, 4 isolated. The through port leads the coupled port by 90 degrees: S21 = -j a,
/// S31 = -b.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for an error out of range; [`ComponentError::NotPassive`] for a
/// set that no passive network has.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_quadrature_hybrid};
/// use fourphase::network::FrequencyGrid;
/// use fourphase::units::db_from_amplitude;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let split = IdealSplit { imbalance_db: 0.5, ..IdealSplit::default() };
/// let hybrid = ideal_quadrature_hybrid(&grid, &split)?;
/// let ratio = hybrid.entries()[8] / hybrid.entries()[4];
/// assert!((db_from_amplitude(ratio.norm()) - 0.5).abs() < 1e-9);
/// assert!((ratio.arg().to_degrees() + 90.0).abs() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn ideal_quadrature_hybrid(
    grid: &FrequencyGrid,
    split: &IdealSplit,
) -> Result<Network, ComponentError> {
    let (a, b, leak) = amplitudes(split, Isolation::IsolatedPort)?;
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

/// The four-port of an ideal 180-degree hybrid with set errors, in 50 ohm: 1 difference, 2 plus,
/// 3 minus, 4 sum. From the difference port the outputs are opposite, from the sum port equal.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for an error out of range; [`ComponentError::NotPassive`] for a
/// set that no passive network has.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_hybrid_180};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let hybrid = ideal_hybrid_180(&grid, &IdealSplit::default())?;
/// assert!((hybrid.entries()[4] + hybrid.entries()[8]).norm() < 1e-15);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn ideal_hybrid_180(
    grid: &FrequencyGrid,
    split: &IdealSplit,
) -> Result<Network, ComponentError> {
    let (a, b, leak) = amplitudes(split, Isolation::IsolatedPort)?;
    let (plus, leak, o) = (Complex64::new(0.0, -a), Complex64::from(leak), Complex64::ZERO);
    let minus = -plus * b / a;
    // From the sum port the amplitudes of the two outputs are exchanged, which keeps the rows
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

/// The three-port of an ideal balun with set errors, in 50 ohm: 1 input, 2 plus, 3 minus. An
/// internal resistor matches all ports.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for an error out of range; [`ComponentError::NotPassive`] for a
/// set that no passive network has.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_balun};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let network = ideal_balun(&grid, &IdealSplit::default())?;
/// assert!((network.entries()[3] + network.entries()[6]).norm() < 1e-15);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn ideal_balun(grid: &FrequencyGrid, split: &IdealSplit) -> Result<Network, ComponentError> {
    three_port(grid, split, -1.0)
}

/// The three-port of an ideal in-phase divider with set errors, in 50 ohm: 1 input, 2 and 3
/// outputs. An internal resistor matches all ports.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for an error out of range; [`ComponentError::NotPassive`] for a
/// set that no passive network has.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_divider};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let network = ideal_divider(&grid, &IdealSplit::default())?;
/// assert!((network.entries()[3] - network.entries()[6]).norm() < 1e-15);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn ideal_divider(grid: &FrequencyGrid, split: &IdealSplit) -> Result<Network, ComponentError> {
    three_port(grid, split, 1.0)
}

fn three_port(
    grid: &FrequencyGrid,
    split: &IdealSplit,
    sign: f64,
) -> Result<Network, ComponentError> {
    let (a, b, leak) = amplitudes(split, Isolation::Outputs)?;
    let (first, o) = (Complex64::new(0.0, -a), Complex64::ZERO);
    let second = first * sign * b / a;
    let leak = Complex64::from(leak);
    constant(grid, 3, &[o, first, second, first, o, leak, second, leak, o])
}

/// The two-port of a matched attenuator, in 50 ohm, from its loss in positive dB.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite loss.
///
/// # Examples
/// ```
/// use fourphase::component::attenuator;
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// assert!((attenuator(&grid, 20.0)?.entries()[2].re - 0.1).abs() < 1e-15);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn attenuator(grid: &FrequencyGrid, loss_db: f64) -> Result<Network, ComponentError> {
    let through = Complex64::from(amplitude_from_db(-not_negative("loss_db", loss_db)?));
    constant(grid, 2, &[Complex64::ZERO, through, through, Complex64::ZERO])
}

/// The topology of an attenuator's resistors.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PadTopology {
    /// Series, shunt, series.
    Tee,
    /// Shunt, series, shunt.
    Pi,
}

impl Choice for PadTopology {
    const WORDS: &'static [(&'static str, Self)] = &[("tee", Self::Tee), ("pi", Self::Pi)];
}

/// The series and the shunt resistors of a matched attenuator in ohms, from its loss in positive dB
/// and the impedance that it matches in ohms. Both series resistors of a tee are equal, and both
/// shunt resistors of a pi.
///
/// Source: D. M. Pozar, "Microwave Engineering", attenuators.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a loss or impedance that is not positive.
///
/// # Examples
/// ```
/// use fourphase::component::{PadTopology, pad_resistors_ohm};
///
/// let (series_ohm, shunt_ohm) = pad_resistors_ohm(PadTopology::Tee, 6.0, 50.0)?;
/// assert!((series_ohm - 16.6).abs() < 0.1 && (shunt_ohm - 66.9).abs() < 0.1);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn pad_resistors_ohm(
    topology: PadTopology,
    loss_db: f64,
    impedance_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    // The reciprocal of the loss has no overflow.
    let k = amplitude_from_db(-positive("loss_db", loss_db)?);
    positive("impedance_ohm", impedance_ohm)?;
    Ok(match topology {
        PadTopology::Tee => {
            (impedance_ohm * (1.0 - k) / (1.0 + k), impedance_ohm * 2.0 * k / (1.0 - k * k))
        }
        PadTopology::Pi => {
            (impedance_ohm * (1.0 - k * k) / (2.0 * k), impedance_ohm * (1.0 + k) / (1.0 - k))
        }
    })
}
