//! The quantities of a splitter at one frequency.

use super::error::SplitterError;
use super::image_rejection::image_rejection_of_error_db;
use super::roles::Roles;
use crate::network::{Network, Port};
use crate::units::{db_from_amplitude, db_from_neper, db_from_power, wrap_deg};
use num_complex::Complex64;

/// The splitter at one frequency. Losses, isolation and return losses are positive dB.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterPoint {
    /// Frequency in hertz.
    pub frequency_hz: f64,
    /// 20 log10 |b| / |a|.
    pub amplitude_imbalance_db: f64,
    /// arg b - arg a, in (-180, 180].
    pub phase_difference_deg: f64,
    /// Phase difference less the nominal, in (-180, 180].
    pub phase_error_deg: f64,
    /// What imbalance and phase error cost: image rejection, or for an antiphase splitter the
    /// rejection of the common mode. Infinite at perfect balance.
    pub rejection_db: f64,
    /// Insertion loss to the first output.
    pub loss_a_db: f64,
    /// Insertion loss to the second output.
    pub loss_b_db: f64,
    /// -10 log10 of the power that reaches both outputs.
    pub excess_loss_db: f64,
    /// From the input to the isolated port, where there is one.
    pub isolation_db: Option<f64>,
    /// Between the two outputs.
    pub output_isolation_db: f64,
    /// Of every port; `None` for a port closed by a load.
    pub return_loss_db: Vec<Option<f64>>,
    /// ln of b/a over its ideal: imbalance in nepers, phase error in radians.
    pub channel_error: Complex64,
}

/// What reaches the outputs.
pub(super) struct OutputWaves {
    a: Complex64,
    b: Complex64,
    pub(super) channel_error: Complex64,
}

pub(super) fn output_waves(
    solved: &Network,
    point: usize,
    roles: &Roles,
) -> Result<OutputWaves, SplitterError> {
    let matrix = solved.matrix(point);
    let frequency_hz = solved.grid().as_hz()[point];
    let [a, b] = roles.outputs;
    let (at_a, at_b) = (matrix.at(a, roles.input), matrix.at(b, roles.input));
    for (port, wave) in [(a, at_a), (b, at_b)] {
        if wave.norm() == 0.0 {
            return Err(SplitterError::NoSignal { port, input: roles.input, frequency_hz });
        }
    }
    let ideal = Complex64::from_polar(1.0, roles.nominal_deg.to_radians());
    // An exact quarter or half turn keeps an ideal part exactly balanced.
    let ideal = match roles.nominal_deg {
        90.0 => Complex64::I,
        -90.0 => -Complex64::I,
        180.0 => -Complex64::ONE,
        0.0 => Complex64::ONE,
        _ => ideal,
    };
    let channel_error = (at_b / at_a / ideal).ln();
    Ok(OutputWaves { a: at_a, b: at_b, channel_error })
}

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
    let loss_db =
        |to: Port, from: Port| positive_zero(-db_from_amplitude(matrix.at(to, from).norm()));
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
        return_loss_db: (0..solved.ports())
            .map(Port::from_index)
            .map(|port| (!closed.contains(&port)).then(|| loss_db(port, port)))
            .collect(),
        channel_error,
    })
}

/// Zero without a sign, so that no table shows a loss of -0.
fn positive_zero(value: f64) -> f64 {
    value + 0.0
}
