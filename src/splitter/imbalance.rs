//! The quantities of a splitter at one frequency.

use super::error::SplitterError;
use super::image_rejection::image_rejection_of_error_db;
use super::roles::Roles;
use crate::network::{Network, Port};
use crate::units::{db_from_amplitude, db_from_neper, db_from_power, wrap_deg};
use num_complex::Complex64;

/// A splitter at one frequency, with outputs a and b. Losses, isolation and return losses are positive
/// dB.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterPoint {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Amplitude imbalance 20 log10 |b| / |a|, dB.
    pub amplitude_imbalance_db: f64,
    /// Phase difference arg b - arg a in (-180, 180], degrees.
    pub phase_difference_deg: f64,
    /// Phase difference minus the nominal one in (-180, 180], degrees.
    pub phase_error_deg: f64,
    /// The rejection that results from imbalance and phase error, dB: of the image, or for an
    /// antiphase splitter of the common mode. Infinite at perfect balance.
    pub rejection_db: f64,
    /// Insertion loss to the first output, dB.
    pub loss_a_db: f64,
    /// Insertion loss to the second output, dB.
    pub loss_b_db: f64,
    /// Excess loss: -10 log10 of the power at both outputs together, dB.
    pub excess_loss_db: f64,
    /// Isolation of the isolated port from the input where there is one, dB.
    pub isolation_db: Option<f64>,
    /// Isolation of the second output from the first, dB.
    pub output_isolation_db: f64,
    /// Return loss of the input, dB.
    pub input_return_loss_db: f64,
    /// Return loss of each port, dB; `None` for a port that is terminated by a load.
    pub return_loss_db: Vec<Option<f64>>,
    /// Channel error, ln of b/a divided by its ideal: amplitude imbalance in nepers, phase error in
    /// radians.
    pub channel_error: Complex64,
}

/// A wave below this, -2000 dB, is not a signal: quotients of smaller ones lose their digits.
const MIN_WAVE: f64 = 1e-100;

/// The waves at the outputs for a wave at the input, with their channel error.
pub(super) struct OutputWaves {
    a: Complex64,
    b: Complex64,
    pub(super) channel_error: Complex64,
}

impl OutputWaves {
    /// The loss from the input to each output, dB.
    pub(super) fn losses_db(&self) -> [f64; 2] {
        [self.a, self.b].map(loss_db)
    }
}

/// The loss of a transmission, dB.
fn loss_db(wave: Complex64) -> f64 {
    positive_zero(-db_from_amplitude(wave.norm()))
}

/// The waves at the outputs at a frequency point.
pub(super) fn output_waves(
    solved: &Network,
    point: usize,
    roles: &Roles,
) -> Result<OutputWaves, SplitterError> {
    let matrix = solved.matrix(point);
    let frequency_hz = solved.grid().as_hz()[point];
    let waves = roles.outputs.map(|output| matrix.at(output, roles.input));
    let channel_error = channel_error_of_waves(waves, roles, frequency_hz)?;
    let [a, b] = waves;
    Ok(OutputWaves { a, b, channel_error })
}

/// The channel error of the waves at the outputs: b over a divided by the ideal ratio.
pub(crate) fn channel_error_of_waves(
    [at_a, at_b]: [Complex64; 2],
    roles: &Roles,
    frequency_hz: f64,
) -> Result<Complex64, SplitterError> {
    let [a, b] = roles.outputs;
    for (port, wave) in [(a, at_a), (b, at_b)] {
        if wave.norm() < MIN_WAVE {
            return Err(SplitterError::NoSignal { port, input: roles.input, frequency_hz });
        }
    }
    let ideal = Complex64::from_polar(1.0, roles.nominal_deg.to_radians());
    // With an exact factor for 90 and 180 degrees an ideal splitter is exactly balanced.
    let ideal = match roles.nominal_deg {
        90.0 => Complex64::I,
        -90.0 => -Complex64::I,
        180.0 => -Complex64::ONE,
        0.0 => Complex64::ONE,
        _ => ideal,
    };
    Ok((at_b / at_a / ideal).ln())
}

/// All quantities at a frequency point of the solved scattering matrices; `closed` are the ports
/// that are terminated by loads.
pub(super) fn read_point(
    solved: &Network,
    point: usize,
    roles: &Roles,
    closed: &[Port],
) -> Result<SplitterPoint, SplitterError> {
    let matrix = solved.matrix(point);
    let frequency_hz = solved.grid().as_hz()[point];
    let [a, b] = roles.outputs;
    let OutputWaves { a: at_a, b: at_b, channel_error } = output_waves(solved, point, roles)?;
    let phase_error_deg = wrap_deg(channel_error.im.to_degrees());
    let loss_db = |to: Port, from: Port| loss_db(matrix.at(to, from));
    Ok(SplitterPoint {
        frequency_hz,
        amplitude_imbalance_db: db_from_neper(channel_error.re),
        phase_difference_deg: wrap_deg(roles.nominal_deg + phase_error_deg),
        phase_error_deg,
        rejection_db: image_rejection_of_error_db(channel_error),
        loss_a_db: loss_db(a, roles.input),
        loss_b_db: loss_db(b, roles.input),
        excess_loss_db: positive_zero(-db_from_power(at_a.norm_sqr() + at_b.norm_sqr())),
        isolation_db: roles.isolated.map(|port| loss_db(port, roles.input)),
        output_isolation_db: loss_db(b, a),
        input_return_loss_db: loss_db(roles.input, roles.input),
        return_loss_db: (0..solved.ports())
            .map(Port::from_index)
            .map(|port| (!closed.contains(&port)).then(|| loss_db(port, port)))
            .collect(),
        channel_error,
    })
}

/// Zero without a sign: no table shows a loss of -0.
fn positive_zero(value: f64) -> f64 {
    value + 0.0
}
