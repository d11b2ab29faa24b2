//! What the LO does at each element: phase, magnitude, power, and what a balanced pair sees.

use super::error::ReceiverError;
use super::iq_balance::Channel;
use super::receiver::Receiver;
use super::side::{Endings, Side};
use super::solution::Voltages;
use crate::network::{Network, Port};
use crate::units::{db_from_amplitude, db_from_power, wrap_deg};
use num_complex::Complex64;

/// LO and RF at one element.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixerDrive {
    /// Phase of the LO voltage against the wave available at the input, unwrapped over LO, degrees.
    pub lo_phase_deg: f64,
    /// Volts per square root of a watt available.
    pub lo_magnitude: f64,
    /// What the load at the element's LO port takes, dBm; `None` without a load or without a power
    /// at the source.
    pub lo_power_dbm: Option<f64>,
    /// How far the LO phase, as it counts in mixing, is from the nearest set of phases a quarter
    /// turn apart, degrees; the mean over all elements is taken out.
    pub lo_phase_error_deg: f64,
    /// Phase of the RF voltage at the first IF of the wanted sideband, unwrapped over LO, degrees.
    pub rf_phase_deg: f64,
    /// Volts per square root of a watt available.
    pub rf_magnitude: f64,
}

/// What the two elements of a balanced pair see of the LO.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairDrive {
    /// The pair's channel.
    pub channel: Channel,
    /// Plus less minus: volts per square root of a watt available.
    pub differential_magnitude: f64,
    /// Mean of both.
    pub common_mode_magnitude: f64,
    /// Differential over twice the common part, dB; infinite for a perfect pair.
    pub common_mode_rejection_db: f64,
}

/// The LO side at one LO.
#[derive(Clone, Debug, PartialEq)]
pub struct LoPoint {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// LO at the source, Hz.
    pub lo_input_hz: f64,
    /// One per element.
    pub mixers: Vec<MixerDrive>,
    /// One per channel that has one element of either polarity.
    pub pairs: Vec<PairDrive>,
}

/// The conductance, in siemens, of all one-ports at each element's node: frequency after frequency;
/// `None` where there is none.
pub(super) fn element_conductances(
    receiver: &Receiver,
    side: &Side,
    reduced: &Network,
    endings: &Endings,
) -> Result<Vec<Option<f64>>, ReceiverError> {
    let points = reduced.grid().len();
    let reflections = side.reflections(reduced, endings)?;
    let conductance = |reflection: Complex64, reference_ohm: f64| {
        let denominator = (1.0 + reflection).norm_sqr();
        // A short takes no power.
        if denominator == 0.0 {
            0.0
        } else {
            (1.0 - reflection.norm_sqr()) / (denominator * reference_ohm)
        }
    };
    let mut all = vec![None; points * receiver.mixers.len()];
    for (at, mixer) in receiver.mixers.iter().enumerate() {
        let terminal = mixer.terminal(side.way());
        let loaded: Vec<usize> = side
            .ends_at_node(receiver, terminal)
            .into_iter()
            .filter(|&end| receiver.loads.iter().any(|load| side.end_at(load.at) == Some(end)))
            .collect();
        // A one-port block in the same node takes power like a load.
        let one_ports: Vec<&Network> = receiver
            .joins
            .iter()
            .filter(|node| node.contains(&terminal))
            .flatten()
            .filter_map(|end| {
                let place = side.parts.iter().position(|&part| part == end.block)?;
                Some(&side.blocks[place]).filter(|block| block.ports() == 1)
            })
            .collect();
        if loaded.is_empty() && one_ports.is_empty() {
            continue;
        }
        for point in 0..points {
            let loads = loaded.iter().map(|&end| {
                conductance(
                    reflections[end * points + point],
                    reduced.references_ohm(point)[end].re,
                )
            });
            let blocks = one_ports.iter().map(|block| {
                let first = Port::from_index(0);
                conductance(block.matrix(point).at(first, first), block.references_ohm(point)[0].re)
            });
            all[point * receiver.mixers.len() + at] = Some(loads.chain(blocks).sum());
        }
    }
    Ok(all)
}

/// The LO side over the plan.
pub(super) fn lo_points(
    receiver: &Receiver,
    voltages: &Voltages,
    conductances: &[Option<f64>],
) -> Vec<LoPoint> {
    let plan = &receiver.plan;
    let mixers = receiver.mixers.len();
    let turns = f64::from(receiver.mixing.lo_harmonic);
    let effective_deg =
        |point: usize, mixer: usize| turns * voltages.lo[point * mixers + mixer].arg().to_degrees();
    let centre = plan.centre();
    // The quarter turn next to each element's phase at the centre.
    let ideal_deg: Vec<f64> = (0..mixers)
        .map(|mixer| {
            let from_first = effective_deg(centre, mixer) - effective_deg(centre, 0);
            90.0 * (wrap_deg(from_first) / 90.0).round()
        })
        .collect();
    let wanted_rf = |lo: usize| plan.rf_point(lo, 0, plan.wanted);
    let mut points: Vec<LoPoint> = Vec::with_capacity(plan.lo_hz.len());
    for (at, &lo_hz) in plan.lo_hz.iter().enumerate() {
        let errors: Vec<f64> = (0..mixers)
            .map(|mixer| {
                wrap_deg(effective_deg(at, mixer) - effective_deg(at, 0) - ideal_deg[mixer])
            })
            .collect();
        #[expect(clippy::cast_precision_loss, reason = "a receiver has few elements")]
        let mean = errors.iter().sum::<f64>() / mixers as f64;
        let before = points.last();
        let unwrapped = |value: Complex64, previous: Option<f64>| {
            let angle = value.arg().to_degrees();
            previous.map_or(angle, |previous| previous + wrap_deg(angle - previous))
        };
        let drives = (0..mixers).map(|mixer| {
            let lo = voltages.lo[at * mixers + mixer];
            let rf = voltages.rf[wanted_rf(at) * mixers + mixer];
            let conductance = conductances[at * mixers + mixer];
            MixerDrive {
                lo_phase_deg: unwrapped(lo, before.map(|p| p.mixers[mixer].lo_phase_deg)),
                lo_magnitude: lo.norm(),
                lo_power_dbm: plan
                    .lo_power_dbm
                    .zip(conductance)
                    .map(|(dbm, siemens)| dbm + db_from_power(lo.norm_sqr() * siemens)),
                lo_phase_error_deg: errors[mixer] - mean,
                rf_phase_deg: unwrapped(rf, before.map(|p| p.mixers[mixer].rf_phase_deg)),
                rf_magnitude: rf.norm(),
            }
        });
        let drives: Vec<MixerDrive> = drives.collect();
        let lo = &voltages.lo[at * mixers..(at + 1) * mixers];
        points.push(LoPoint {
            lo_hz,
            lo_input_hz: plan.lo_input_hz(lo_hz),
            mixers: drives,
            pairs: [Channel::I, Channel::Q]
                .into_iter()
                .filter_map(|channel| pair_drive(receiver, lo, channel))
                .collect(),
        });
    }
    points
}

fn pair_drive(receiver: &Receiver, lo: &[Complex64], channel: Channel) -> Option<PairDrive> {
    let of_polarity = |is_subtracted: bool| -> Vec<Complex64> {
        let members = receiver.mixers.iter().zip(lo);
        members
            .filter(|(mixer, _)| mixer.channel == channel && mixer.is_subtracted == is_subtracted)
            .map(|(_, lo)| *lo)
            .collect()
    };
    let (plus, minus) = (of_polarity(false), of_polarity(true));
    let ([plus], [minus]) = (plus.as_slice(), minus.as_slice()) else { return None };
    let (differential, common) = ((plus - minus).norm(), 0.5 * (plus + minus).norm());
    Some(PairDrive {
        channel,
        differential_magnitude: differential,
        common_mode_magnitude: common,
        common_mode_rejection_db: db_from_amplitude(differential / (2.0 * common)),
    })
}
