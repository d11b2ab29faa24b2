//! Loss and noise figure of the passive RF path from the input to each mixer.
//!
//! A passive network at 290 K, including sources and loads, has the noise factor 1 / G with its
//! available gain G: its output noise is thermal for any loss, while the signal decreases by G.

use super::drive::mixer_conductances;
use super::error::Result;
use super::receiver::Receiver;
use super::solution::SolvedPath;
use crate::network::{Load, Port, single_sideband_noise_factor};
use crate::requirement::Figure;
use crate::units::{db_from_power, power_from_db};

/// The RF path from the input to one mixer, including the division.
#[derive(Clone, Debug, PartialEq)]
pub struct NoisePathResult {
    /// The mixer.
    pub mixer: String,
    /// From the power available at the input to that in the load at the mixer's RF port, dB, at each
    /// LO with its first IF of the wanted sideband; `None` without a load, or with one that reflects more than it
    /// receives.
    pub loss_db: Vec<Option<f64>>,
    /// Noise figure at 290 K, dB, at the same points; `None` for a mixer at the RF input itself,
    /// and where a source of noise is not passive.
    pub noise_figure_db: Vec<Option<f64>>,
}

/// Loss and noise figure of the RF path to every mixer.
pub(super) fn noise_paths(receiver: &Receiver, own: &SolvedPath) -> Result<Vec<NoisePathResult>> {
    let plan = receiver.plan();
    let mixers = receiver.mixers().len();
    let conductances = mixer_conductances(receiver, own)?;
    let first_of_lo = (0..plan.lo_hz().len()).map(|lo| plan.points()[plan.points_of_lo(lo).start]);
    let wanted: Vec<usize> = first_of_lo.map(|point| point.rf_point(plan.wanted())).collect();
    let mut paths: Vec<NoisePathResult> = Vec::new();
    for (at, mixer) in receiver.mixers().iter().enumerate() {
        let loss_db = wanted
            .iter()
            .map(|point| {
                let place = point * mixers + at;
                let power = own.voltages[place].norm_sqr() * conductances[place]?;
                Figure::power_db(power).value().map(|db| -db)
            })
            .collect();
        // Mixers at one port share its path.
        let twin =
            receiver.mixers()[..at].iter().position(|other| other.ports.rf == mixer.ports.rf);
        let noise_figure_db = match twin {
            Some(twin) => paths[twin].noise_figure_db.clone(),
            None => {
                let gains = available_gains(receiver, own, at)?;
                wanted
                    .iter()
                    .map(|&point| {
                        let gain = gains.as_ref()?[point];
                        Figure::power_db(gain).value().map(|db| -db)
                    })
                    .collect()
            }
        };
        paths.push(NoisePathResult { mixer: mixer.name.clone(), loss_db, noise_figure_db });
    }
    Ok(paths)
}

/// Power available at a mixer's RF port over that of the source, at each RF frequency; `None` at the
/// RF input itself.
fn available_gains(
    receiver: &Receiver,
    own: &SolvedPath,
    mixer: usize,
) -> Result<Option<Vec<f64>>> {
    let (path, reduced) = (&own.path, &own.reduced);
    let (end, source) = (path.mixer_port(mixer), path.source());
    if end == source {
        return Ok(None);
    }
    let mut terminations = own.terminations.clone();
    let wave = path.source_wave(receiver, reduced, &terminations);
    // Terminated in the port's own reference impedance, the outgoing wave is the port's wave
    // source.
    terminations[end] = Load::Impedance(reduced.references_ohm(0)[end]);
    let terminated = path.terminated(reduced, &terminations)?;
    let (port, source) = (Port::from_index(end), Port::from_index(source));
    let gains = (0..reduced.grid().len()).map(|point| {
        let matrix = terminated.matrix(point);
        let sent = (matrix.at(port, source) * wave).norm_sqr();
        sent / (1.0 - matrix.at(port, port).norm_sqr())
    });
    Ok(Some(gains.collect()))
}

/// The increase of a receiver's noise figure, dB, relative to perfect image rejection, by the noise
/// of the image sideband: 10 log10(1 + 1/rejection).
///
/// # Examples
/// ```
/// use fourphase::downconverter::single_sideband_rise_db;
///
/// // Without any rejection the image adds as much noise as the wanted sideband.
/// assert!((single_sideband_rise_db(0.0) - 3.0103).abs() < 1e-4);
/// assert!(single_sideband_rise_db(30.0) < 0.005);
/// ```
pub fn single_sideband_rise_db(image_rejection_db: f64) -> f64 {
    db_from_power(single_sideband_noise_factor(1.0, power_from_db(image_rejection_db)))
}
