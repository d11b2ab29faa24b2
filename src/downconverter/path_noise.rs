//! Loss and noise figure of the passive ways from the RF input to the elements.
//!
//! A passive network at 290 K, sources and loads included, has the noise factor 1 / G with G its
//! available gain: what it makes available is thermal noise whatever it does, while the signal
//! shrinks by G.

use super::drive::element_conductances;
use super::error::ReceiverError;
use super::receiver::Receiver;
use super::side::Side;
use super::solution::Voltages;
use crate::network::{Load, Network, Port, single_sideband_noise_factor};
use crate::units::{db_from_power, power_from_db};

/// One way from the RF input to an element, division included.
#[derive(Clone, Debug, PartialEq)]
pub struct NoisePathResult {
    /// The element.
    pub mixer: String,
    /// From the power available at the input to that in the load at the element's RF port, dB, at
    /// each LO with the first IF of the wanted sideband; `None` without a load.
    pub loss_db: Vec<Option<f64>>,
    /// Noise figure at 290 K, dB, likewise; `None` for an element at the RF input itself.
    pub noise_figure_db: Vec<Option<f64>>,
}

/// The noise figures of all ways.
pub(super) fn noise_paths(
    receiver: &Receiver,
    rf: &Side,
    reduced: &Network,
    voltages: &Voltages,
) -> Result<Vec<NoisePathResult>, ReceiverError> {
    let plan = &receiver.plan;
    let mixers = receiver.mixers.len();
    let endings = rf.endings(receiver);
    let conductances = element_conductances(receiver, rf, reduced, &endings)?;
    let wanted: Vec<usize> =
        (0..plan.lo_hz.len()).map(|lo| plan.rf_point(lo, 0, plan.wanted)).collect();
    let mut paths: Vec<NoisePathResult> = Vec::new();
    for (at, mixer) in receiver.mixers.iter().enumerate() {
        let loss_db = wanted
            .iter()
            .map(|point| {
                let place = point * mixers + at;
                conductances[place]
                    .map(|siemens| -db_from_power(voltages.rf[place].norm_sqr() * siemens))
            })
            .collect();
        // Elements at one port share its way.
        let twin = receiver.mixers[..at].iter().position(|other| other.rf == mixer.rf);
        let noise_figure_db = match twin {
            Some(twin) => paths[twin].noise_figure_db.clone(),
            None => {
                let gains = available_gains(receiver, rf, reduced, at)?;
                wanted
                    .iter()
                    .map(|&point| gains.as_ref().map(|gains| -db_from_power(gains[point])))
                    .collect()
            }
        };
        paths.push(NoisePathResult { mixer: mixer.name.clone(), loss_db, noise_figure_db });
    }
    Ok(paths)
}

/// Power available at an element's RF port over that of the source, at each RF frequency.
fn available_gains(
    receiver: &Receiver,
    rf: &Side,
    reduced: &Network,
    mixer: usize,
) -> Result<Option<Vec<f64>>, ReceiverError> {
    let end = rf.end_at(receiver.mixers[mixer].rf).unwrap_or(0);
    if end == rf.source(receiver) {
        return Ok(None);
    }
    let mut endings = rf.endings(receiver);
    let wave = rf.source_wave(receiver, reduced, &endings);
    // Into the port's own reference: what then leaves is the port's wave source.
    endings[end] = Load::Impedance(reduced.references_ohm(0)[end]);
    let closed = rf.close(reduced, &endings)?;
    let (port, source) = (Port::from_index(end), Port::from_index(rf.source(receiver)));
    let gains = (0..reduced.grid().len()).map(|point| {
        let matrix = closed.matrix(point);
        let sent = (matrix.at(port, source) * wave).norm_sqr();
        sent / (1.0 - matrix.at(port, port).norm_sqr())
    });
    Ok(Some(gains.collect()))
}

/// By how much the noise figure of a receiver with this image rejection lies above that of one with
/// perfect rejection, dB.
#[must_use]
pub fn single_sideband_rise_db(image_rejection_db: f64) -> f64 {
    db_from_power(single_sideband_noise_factor(1.0, power_from_db(image_rejection_db)))
}
