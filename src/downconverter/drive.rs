//! LO and RF at each mixer: phase, magnitude, power, and balance of the two mixers of a pair.

use super::error::Result;
use super::iq_balance::Channel;
use super::joined_path::{JoinedPath, Terminations};
use super::lo_if_plan::ReceiverPlan;
use super::receiver::Receiver;
use super::solution::{SolvedPath, Voltages};
use super::switched_result::SwitchingResult;
use crate::network::{Network, Port};
use crate::requirement::Figure;
use crate::units::{db_from_amplitude, wrap_deg};
use num_complex::Complex64;

/// LO and RF at one mixer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixerDrive {
    /// Phase of the LO voltage relative to the wave available at the input, unwrapped over LO,
    /// degrees.
    pub lo_phase_deg: f64,
    /// LO voltage, volts per square root of a watt available.
    pub lo_magnitude: f64,
    /// Power in the load at the mixer's LO port, dBm; `None` without a load or without a source
    /// power. A load that reflects more than it receives has no level.
    pub lo_power_dbm: Option<Figure>,
    /// Difference between the LO phase, as effective in mixing, and the nearest set of phases in
    /// quadrature for all mixers at the centre of the LO grid, degrees; without the mean over all
    /// mixers.
    pub lo_phase_error_deg: f64,
    /// Phase of the RF voltage at this LO's first IF of the wanted sideband, unwrapped over LO, degrees.
    pub rf_phase_deg: f64,
    /// RF voltage, volts per square root of a watt available.
    pub rf_magnitude: f64,
}

/// The LO at the two mixers of a balanced pair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairDrive {
    /// The pair's channel.
    pub channel: Channel,
    /// Differential voltage, plus minus minus: volts per square root of a watt available.
    pub differential_magnitude: f64,
    /// Common-mode voltage, the mean of both: volts per square root of a watt available.
    pub common_mode_magnitude: f64,
    /// Ratio of differential to twice the common part, dB; infinite for a perfect pair.
    pub common_mode_rejection_db: f64,
}

/// The LO path at one LO.
#[derive(Clone, Debug, PartialEq)]
pub struct LoPoint {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// LO at the source, Hz.
    pub lo_input_hz: f64,
    /// The IF at which RF phases and magnitudes are given, the first that the plan has at this LO, Hz.
    pub rf_if_hz: f64,
    /// One per mixer.
    pub mixers: Vec<MixerDrive>,
    /// The balance of each channel with one mixer of either polarity.
    pub pairs: Vec<PairDrive>,
}

impl LoPoint {
    /// Mean LO voltage over the mixers, volts per square root of a watt available; `None` without
    /// mixers.
    #[must_use]
    pub fn mean_lo_magnitude(&self) -> Option<f64> {
        let sum: f64 = self.mixers.iter().map(|drive| drive.lo_magnitude).sum();
        #[expect(clippy::cast_precision_loss, reason = "a receiver has few mixers")]
        let count = self.mixers.len() as f64;
        (count > 0.0).then(|| sum / count)
    }

    /// The mixer whose LO phase is farthest from its phase in quadrature, with the difference in
    /// degrees.
    #[must_use]
    pub fn largest_phase_error(&self) -> Option<(usize, f64)> {
        let errors = self.mixers.iter().map(|drive| drive.lo_phase_error_deg).enumerate();
        errors.max_by(|one, other| one.1.abs().total_cmp(&other.1.abs()))
    }
}

/// The conductance, in siemens, of all one-ports at each mixer's node, indexed by frequency and
/// mixer; `None` where there is none.
pub(super) fn mixer_conductances(
    receiver: &Receiver,
    own: &SolvedPath,
) -> Result<Vec<Option<f64>>> {
    let path = &own.path;
    conductances_with(receiver, path, &path.blocks, &own.reduced, &own.terminations)
}

/// The conductances with other networks of the path's parts and other terminations.
pub(super) fn conductances_with(
    receiver: &Receiver,
    path: &JoinedPath,
    blocks: &[Network],
    reduced: &Network,
    terminations: &Terminations,
) -> Result<Vec<Option<f64>>> {
    let points = reduced.grid().len();
    let reflections = path.reflections(reduced, terminations)?;
    let mixers = receiver.mixers().len();
    let mut all = vec![None; points * mixers];
    for (at, mixer) in receiver.mixers().iter().enumerate() {
        let terminal = *mixer.ports.get(path.path());
        let loaded = path.loads_at_node(receiver, terminal);
        // A one-port block in the same node absorbs power like a load.
        let others = receiver.node_of(&terminal).iter().filter_map(|end| path.part(end.block));
        let one_ports: Vec<&Network> =
            others.map(|own| &blocks[own.block]).filter(|block| block.ports() == 1).collect();
        if loaded.is_empty() && one_ports.is_empty() {
            continue;
        }
        for point in 0..points {
            let loads = loaded.iter().map(|&end| {
                let reference_ohm = reduced.references_ohm(point)[end].re;
                conductance(reflections[end * points + point], reference_ohm)
            });
            let blocks = one_ports.iter().map(|block| {
                let first = Port::from_index(0);
                conductance(block.matrix(point).at(first, first), block.references_ohm(point)[0].re)
            });
            all[point * mixers + at] = Some(loads.chain(blocks).sum());
        }
    }
    Ok(all)
}

/// The conductance, in siemens, of a one-port: (1 - |Γ|²) / (|1 + Γ|² R).
fn conductance(reflection: Complex64, reference_ohm: f64) -> f64 {
    let denominator = (1.0 + reflection).norm_sqr();
    // A short absorbs no power.
    if denominator == 0.0 {
        0.0
    } else {
        (1.0 - reflection.norm_sqr()) / (denominator * reference_ohm)
    }
}

/// LO and RF at the mixers over the plan.
pub(super) fn lo_points(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    conductances: &[Option<f64>],
) -> Vec<LoPoint> {
    let plan = receiver.plan();
    let mixers = receiver.mixers().len();
    let errors_deg = lo_phase_errors_deg(receiver, voltages.lo);
    let rf_v = receiver.switching().is_none().then_some(voltages.rf);
    let mut points: Vec<LoPoint> = Vec::with_capacity(plan.lo_hz().len());
    for (at, &lo_hz) in plan.lo_hz().iter().enumerate() {
        let before = points.last();
        let unwrapped_deg = |value: Complex64, previous_deg: Option<f64>| {
            let angle_deg = value.arg().to_degrees();
            previous_deg
                .map_or(angle_deg, |previous_deg| previous_deg + wrap_deg(angle_deg - previous_deg))
        };
        let first = plan.points()[plan.points_of_lo(at).start];
        let rf_point = first.rf_point(plan.wanted());
        let drive_dbm = receiver.lo_drive(at).map(|drive| drive.power_dbm);
        let drives = (0..mixers).map(|mixer| {
            let lo = voltages.lo[at * mixers + mixer];
            let rf = match &rf_v {
                // Switched mixers load the RF path: their voltages come with their own results.
                None => Complex64::ZERO,
                Some(rf) => rf[rf_point * mixers + mixer],
            };
            let power = drive_dbm.zip(conductances[at * mixers + mixer]);
            MixerDrive {
                lo_phase_deg: unwrapped_deg(lo, before.map(|p| p.mixers[mixer].lo_phase_deg)),
                lo_magnitude: lo.norm(),
                lo_power_dbm: power
                    .map(|(dbm, siemens)| Figure::power_db(lo.norm_sqr() * siemens).plus(dbm)),
                lo_phase_error_deg: errors_deg[at * mixers + mixer],
                rf_phase_deg: unwrapped_deg(rf, before.map(|p| p.mixers[mixer].rf_phase_deg)),
                rf_magnitude: rf.norm(),
            }
        });
        let mixers_here: Vec<MixerDrive> = drives.collect();
        let lo = &voltages.lo[at * mixers..(at + 1) * mixers];
        let channels = [Channel::I, Channel::Q].into_iter();
        points.push(LoPoint {
            lo_hz,
            lo_input_hz: plan.lo_input_hz(lo_hz),
            rf_if_hz: first.if_hz,
            mixers: mixers_here,
            pairs: channels.filter_map(|channel| pair_drive(receiver, lo, channel)).collect(),
        });
    }
    points
}

/// Takes the RF voltages that switched mixers have while they load the path, at the first IF.
pub(super) fn set_rf_voltages(
    points: &mut [LoPoint],
    switching: &SwitchingResult,
    plan: &ReceiverPlan,
) {
    let mut before: Option<Vec<f64>> = None;
    for (lo, point) in points.iter_mut().enumerate() {
        let solved = &switching.points[plan.points_of_lo(lo).start];
        for (at, (drive, volts)) in point.mixers.iter_mut().zip(&solved.rf_v).enumerate() {
            let angle_deg = volts.arg().to_degrees();
            let previous_deg = before.as_ref().map(|all| all[at]);
            drive.rf_phase_deg =
                previous_deg.map_or(angle_deg, |last| last + wrap_deg(angle_deg - last));
            drive.rf_magnitude = volts.norm();
        }
        before = Some(point.mixers.iter().map(|drive| drive.rf_phase_deg).collect());
    }
}

/// The phase error of each mixer's LO, degrees: LO after LO, mixer after mixer.
fn lo_phase_errors_deg(receiver: &Receiver, lo: &[Complex64]) -> Vec<f64> {
    let mixers = receiver.mixers().len();
    let turns = f64::from(receiver.mixing().lo_harmonic());
    let from_first_deg = |point: usize, mixer: usize| {
        let effective_deg = |mixer: usize| turns * lo[point * mixers + mixer].arg().to_degrees();
        effective_deg(mixer) - effective_deg(0)
    };
    let centre = receiver.plan().centre();
    let at_centre_deg: Vec<f64> =
        (0..mixers).map(|mixer| wrap_deg(from_first_deg(centre, mixer))).collect();
    let ideal_deg = nearest_quarter_turns_deg(&at_centre_deg);
    let mut errors_deg = Vec::with_capacity(lo.len());
    for point in 0..receiver.plan().lo_hz().len() {
        let start = errors_deg.len();
        errors_deg.extend(
            (0..mixers).map(|mixer| wrap_deg(from_first_deg(point, mixer) - ideal_deg[mixer])),
        );
        let here: &mut [f64] = &mut errors_deg[start..];
        #[expect(clippy::cast_precision_loss, reason = "a receiver has few mixers")]
        let mean_deg = here.iter().sum::<f64>() / mixers as f64;
        here.iter_mut().for_each(|error_deg| *error_deg -= mean_deg);
    }
    errors_deg
}

/// The set of phases in steps of 90 degrees, with one phase common to all, that is nearest by least
/// squares, without the common phase.
fn nearest_quarter_turns_deg(phases_deg: &[f64]) -> Vec<f64> {
    let folded_deg: Vec<f64> = phases_deg.iter().map(|deg| deg.rem_euclid(90.0)).collect();
    #[expect(clippy::cast_precision_loss, reason = "a receiver has few mixers")]
    let count = phases_deg.len().max(1) as f64;
    // Phases modulo 90 degrees are on a circle, which is cut before each of them in turn.
    let common = |cut_deg: f64| {
        let cut =
            || folded_deg.iter().map(move |deg| deg + if *deg < cut_deg { 90.0 } else { 0.0 });
        let mean_deg = cut().sum::<f64>() / count;
        (mean_deg, cut().map(|deg| (deg - mean_deg).powi(2)).sum::<f64>())
    };
    let commons = folded_deg.iter().map(|&cut_deg| common(cut_deg));
    let nearest = commons.min_by(|one, other| one.1.total_cmp(&other.1));
    let common_deg = nearest.map_or(0.0, |(common_deg, _)| common_deg);
    phases_deg.iter().map(|deg| 90.0 * ((deg - common_deg) / 90.0).round()).collect()
}

fn pair_drive(receiver: &Receiver, lo: &[Complex64], channel: Channel) -> Option<PairDrive> {
    let of_polarity = |is_subtracted: bool| -> Vec<Complex64> {
        let members = receiver.mixers().iter().zip(lo);
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
