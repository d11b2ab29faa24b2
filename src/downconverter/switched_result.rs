//! What a receiver with switched mixers does at every point: conversion loss, noise figure, LO leakage,
//! offsets, impedances; and how many sidebands that takes.

use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use super::iq_balance::{Channel, Combination, rejection_db};
use super::q_correction::QCorrection;
use super::receiver::Receiver;
use super::sideband_store::SidebandStore;
use super::switched_outputs::{NodeWeights, SwitchedPlan, SwitchedVoltages, make_store};
use super::switching::{IF_LOAD_REFERENCE_OHM, OutputWeights, SwitchedElement};
use crate::units::db_from_power;
use num_complex::Complex64;
use std::sync::Arc;

/// Conversion loss from the available RF power to the power in the IF loads, dB; `None` where the
/// loads have no resistance, or the channel does not exist.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ConversionLoss {
    /// Of I alone.
    pub i_db: Option<f64>,
    /// Of Q alone.
    pub q_db: Option<f64>,
    /// Of both together.
    pub both_db: Option<f64>,
}

/// Switched mixers at one LO and IF.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchedPoint {
    /// In the wanted sideband.
    pub conversion_loss: ConversionLoss,
    /// Single-sideband noise figure of the combined output, dB; `None` without an output.
    pub noise_figure_db: Option<f64>,
    /// Return loss of the RF input as the source sees it, dB, at n LO + IF.
    pub upper_return_loss_db: f64,
    /// The same at n LO - IF.
    pub lower_return_loss_db: f64,
    /// Impedance of each IF node with everything in place, ohm.
    pub if_impedance_ohm: Vec<Complex64>,
    /// Volts at each mixer's RF node per square root of a watt in the wanted sideband.
    pub rf_v: Vec<Complex64>,
}

/// Switched mixers at one LO.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchedLo {
    /// LO power that leaves the RF port, dBm; minus infinity without leakage.
    pub lo_at_rf_port_dbm: f64,
    /// DC offset of I, V; `None` where nothing holds it.
    pub offset_i_v: Option<f64>,
    /// DC offset of Q, V.
    pub offset_q_v: Option<f64>,
    /// The part of a period for which each element is on: above its threshold.
    pub on_part: Vec<f64>,
}

/// Switched mixers over a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchingResult {
    /// K, the sidebands on either side of the IF.
    pub sidebands: usize,
    /// Whether doubling K moved the results by less than the limit; `None` where K was given.
    pub converged: Option<bool>,
    /// By how much the last doubling moved them, dB; `None` where K was given.
    pub left_db: Option<f64>,
    /// Sideband frequencies at which data of blocks or loads do not reach, by ranges, Hz.
    pub outside_hz: Vec<(f64, f64)>,
    /// The IF nodes: channel, and whether they are subtracted.
    pub if_nodes: Vec<(Channel, bool)>,
    /// One for each point of the plan.
    pub points: Vec<SwitchedPoint>,
    /// For each LO.
    pub lo: Vec<SwitchedLo>,
    /// All of it over the power of the LO source, ascending, at the centre LO and the first IF.
    pub drive_sweep: Vec<DrivePoint>,
    /// For each mixer its conductance over a period at the centre LO: LO phase in degrees, S.
    pub waveforms: Vec<Vec<(f64, f64)>>,
}

/// Switched mixers at another power of the LO source.
#[derive(Clone, Debug, PartialEq)]
pub struct DrivePoint {
    /// Power available from the LO source, dBm.
    pub lo_power_dbm: f64,
    /// Image rejection, dB.
    pub image_rejection_db: f64,
    /// Losses, noise figure and impedances.
    pub point: SwitchedPoint,
    /// Leakage and offsets.
    pub lo: SwitchedLo,
}

/// Results that move by less than this when K doubles have converged, dB.
const CONVERGED_DB: f64 = 1e-3;
/// So have images whose amplitude moves by less than this part of the wanted signal.
const CONVERGED_IMAGE: f64 = 1e-6;
/// K of the first attempt, and the largest that is tried.
const FIRST_SIDEBANDS: usize = 4;
const LAST_SIDEBANDS: usize = 64;

/// LO powers of the drive sweep against that of the plan, dB.
const DRIVE_FROM_DB: f64 = -12.0;
const DRIVE_STEP_DB: f64 = 1.5;
const DRIVE_POINTS: u32 = 13;

/// Sidebands of comparisons between many cases, which need differences only.
const COMPARED_SIDEBANDS: usize = 8;

/// What must settle at a point.
#[derive(Clone, Copy, Debug)]
struct Settling {
    rejection_db: f64,
    image: Complex64,
    levels_db: [Option<f64>; 4],
}

/// What stands around the switched mixers, with as many sidebands as the results need; the first call
/// for a receiver finds it.
pub(super) fn sideband_store(
    receiver: &Receiver,
    voltages: SwitchedVoltages<'_>,
) -> Result<Arc<SidebandStore>> {
    if let Some(store) = receiver.sideband_store() {
        return Ok(Arc::clone(store));
    }
    let store = Arc::new(found_store(receiver, voltages)?);
    receiver.keep_sideband_store(Arc::clone(&store));
    Ok(store)
}

fn found_store(receiver: &Receiver, voltages: SwitchedVoltages<'_>) -> Result<SidebandStore> {
    if let Some(sidebands) = receiver.switching().and_then(|own| own.sidebands) {
        return make_store(receiver, sidebands);
    }
    let harmonic = usize::try_from(receiver.mixing().lo_harmonic()).unwrap_or(1);
    let mut sidebands = FIRST_SIDEBANDS.max(harmonic.next_power_of_two());
    let mut store = make_store(receiver, sidebands)?;
    let choice = favourable_choice(receiver, &store, voltages)?;
    let mut before = settling(receiver, &store, voltages, choice)?;
    while 2 * sidebands <= LAST_SIDEBANDS.max(4 * harmonic) {
        sidebands *= 2;
        store = make_store(receiver, sidebands)?;
        let now = settling(receiver, &store, voltages, choice)?;
        let moved = before.iter().zip(&now).map(|(one, other)| one.moved_db(other));
        let left_db = moved.fold(0.0, f64::max);
        store.left_db = Some(left_db);
        store.converged = Some(left_db < CONVERGED_DB);
        if left_db < CONVERGED_DB {
            break;
        }
        before = now;
    }
    Ok(store)
}

impl Settling {
    /// The largest move to another solution, dB.
    fn moved_db(&self, other: &Self) -> f64 {
        let image_moved = (self.image - other.image).norm() >= CONVERGED_IMAGE;
        let mut moved_db = 0.0_f64;
        if image_moved {
            moved_db = (self.rejection_db - other.rejection_db).abs();
        }
        for (one, other) in self.levels_db.iter().zip(&other.levels_db) {
            if let (Some(one), Some(other)) = (one, other) {
                moved_db = moved_db.max((one - other).abs());
            }
        }
        moved_db
    }
}

/// The combination with the better rejection at the centre of the plan.
fn favourable_choice(
    receiver: &Receiver,
    store: &SidebandStore,
    voltages: SwitchedVoltages<'_>,
) -> Result<usize> {
    let mut solved = SwitchedPlan::new(receiver, store, voltages, false)?;
    let centre = &receiver.plan().points()[receiver.plan().centre_point()];
    solved.solve(centre)?;
    let outputs = solved.outputs();
    let wanted = receiver.plan().wanted();
    let rejection = |choice: usize| {
        let combination = receiver.output().choices[choice].transfers[centre.intermediate];
        let pair = |sideband| combination.apply(outputs.of_sideband(sideband));
        rejection_db(pair(wanted), pair(wanted.opposite()))
    };
    let better = |best, choice| if rejection(choice) > rejection(best) { choice } else { best };
    Ok((0..receiver.output().choices.len()).reduce(better).unwrap_or(0))
}

fn settling(
    receiver: &Receiver,
    store: &SidebandStore,
    voltages: SwitchedVoltages<'_>,
    choice: usize,
) -> Result<Vec<Settling>> {
    let plan = receiver.plan();
    let (wanted, correction) = (plan.wanted(), receiver.output().correction);
    let mut solved = SwitchedPlan::new(receiver, store, voltages, false)?;
    let mut all = Vec::with_capacity(plan.points().len());
    for point in plan.points() {
        solved.solve(point)?;
        let combination = receiver.output().choices[choice].transfers[point.intermediate];
        let turns = receiver.mixing().lo_harmonic();
        let outputs = correction.applied(&solved.outputs(), &combination, turns);
        let z = |sideband| combination.apply(outputs.of_sideband(sideband));
        let (kept, image) = (z(wanted), z(wanted.opposite()));
        let loss = conversion_loss(receiver, store, &solved, point.if_hz);
        let figure_db = noise_figure_db(receiver, &mut solved, &combination, &correction);
        all.push(Settling {
            rejection_db: rejection_db(kept, image),
            image: image / kept,
            levels_db: [loss.i_db, loss.q_db, loss.both_db, figure_db],
        });
    }
    Ok(all)
}

fn noise_figure_db(
    receiver: &Receiver,
    solved: &mut SwitchedPlan<'_>,
    combination: &Combination,
    correction: &QCorrection,
) -> Option<f64> {
    let turns = receiver.mixing().lo_harmonic();
    let weights = NodeWeights::new(solved.solver.mixer(), combination, correction, turns);
    let weights =
        OutputWeights { above: &weights.above, below: &weights.below, at_if: &weights.at_if };
    let shares = solved.solver.noise(weights, receiver.plan().wanted())?;
    Some(db_from_power(shares.factor())).filter(|db| db.is_finite())
}

fn conversion_loss(
    receiver: &Receiver,
    store: &SidebandStore,
    solved: &SwitchedPlan<'_>,
    if_hz: f64,
) -> ConversionLoss {
    let reflection = store.if_load_at(if_hz);
    let through = (1.0 + reflection).norm_sqr() * IF_LOAD_REFERENCE_OHM;
    let taken = 1.0 - reflection.norm_sqr();
    // Rounding is no resistance.
    let siemens = if through > 0.0 && taken > 1e-12 { taken / through } else { 0.0 };
    let differential = solved.solver.mixer().settings().differential_ohm;
    let wanted = receiver.plan().wanted();
    let mut power_w = [0.0, 0.0];
    let mut across = [Complex64::ZERO; 2];
    for (at, node) in solved.solver.mixer().if_nodes().iter().enumerate() {
        let volts = solved.solver.if_voltage(at, wanted);
        let own = usize::from(node.channel == Channel::Q);
        power_w[own] += siemens * volts.norm_sqr();
        across[own] += if node.is_subtracted { -volts } else { volts };
    }
    if let Some(ohm) = differential {
        for (power, across) in power_w.iter_mut().zip(across) {
            *power += across.norm_sqr() / ohm;
        }
    }
    let loss_db =
        |watt: f64| (watt > 0.0).then(|| -db_from_power(watt)).filter(|db| db.is_finite());
    ConversionLoss {
        i_db: loss_db(power_w[0]),
        q_db: loss_db(power_w[1]),
        both_db: loss_db(power_w[0] + power_w[1]),
    }
}

/// With how many sidebands parts, load reflections and LO powers are compared.
pub(super) fn compared_sidebands(receiver: &Receiver) -> usize {
    COMPARED_SIDEBANDS.max(usize::try_from(receiver.mixing().lo_harmonic()).unwrap_or(0))
}

/// Everything about the switched mixers over the plan; `None` for multipliers. `choice` is the
/// combination of I and Q.
pub(super) fn switching_result(
    receiver: &Receiver,
    voltages: SwitchedVoltages<'_>,
    choice: usize,
) -> Result<Option<SwitchingResult>> {
    if receiver.switching().is_none() {
        return Ok(None);
    }
    let store = sideband_store(receiver, voltages)?;
    let plan = receiver.plan();
    let mut solved = SwitchedPlan::new(receiver, &store, voltages, false)?;
    let mut points = Vec::with_capacity(plan.points().len());
    let mut lo_values = Vec::with_capacity(plan.lo_hz().len());
    for lo in 0..plan.lo_hz().len() {
        for own in &plan.points()[plan.points_of_lo(lo)] {
            solved.solve(own)?;
            points.push(point(receiver, &store, &mut solved, own.intermediate, choice)?);
        }
        lo_values.push(at_lo(&mut solved, lo)?);
    }
    let fewer = store.with_sidebands_at_most(compared_sidebands(receiver));
    let mut compared = SwitchedPlan::new(receiver, &fewer, voltages, false)?;
    let drive_sweep = drive_sweep(receiver, &fewer, &mut compared, choice)?;
    let nodes = solved.solver.mixer().if_nodes().iter();
    Ok(Some(SwitchingResult {
        sidebands: store.sidebands,
        converged: store.converged,
        left_db: store.left_db,
        outside_hz: store.outside_hz.clone(),
        if_nodes: nodes.map(|node| (node.channel, node.is_subtracted)).collect(),
        points,
        lo: lo_values,
        drive_sweep,
        waveforms: waveforms(receiver, &mut solved),
    }))
}

/// Conductances over a period at the centre LO, every two degrees.
fn waveforms(receiver: &Receiver, solved: &mut SwitchedPlan<'_>) -> Vec<Vec<(f64, f64)>> {
    solved.set_lo(receiver.plan().centre());
    let elements = solved.solver.mixer().elements().iter().zip(solved.peaks_v());
    let waveform = |(own, peak): (&SwitchedElement, &Complex64)| {
        let degrees = (0..=180_u32).map(|step| 2.0 * f64::from(step));
        degrees.map(|deg| (deg, own.switch.conductance_at_s(*peak, deg.to_radians()))).collect()
    };
    elements.map(waveform).collect()
}

/// Leakage, offsets and on times at an LO.
fn at_lo(solved: &mut SwitchedPlan<'_>, lo: usize) -> Result<SwitchedLo> {
    let leakage = solved.leakage(lo)?;
    let elements = solved.solver.mixer().elements().iter().zip(solved.peaks_v());
    Ok(SwitchedLo {
        lo_at_rf_port_dbm: db_from_power(1e3 * leakage.rf_port_w),
        offset_i_v: leakage.offset_i_v,
        offset_q_v: leakage.offset_q_v,
        on_part: elements.map(|(own, peak)| own.switch.on_part(*peak)).collect(),
    })
}

/// The results over LO power, which is what sets a passive mixer.
fn drive_sweep(
    receiver: &Receiver,
    store: &SidebandStore,
    solved: &mut SwitchedPlan<'_>,
    choice: usize,
) -> Result<Vec<DrivePoint>> {
    let (plan, output) = (receiver.plan(), receiver.output());
    let centre = &plan.points()[plan.centre_point()];
    // Stages inside the LO network do not follow the power at its input in proportion.
    if (0..receiver.parts().len()).any(|part| receiver.stage(part).is_some()) {
        return Ok(Vec::new());
    }
    let planned_dbm = receiver.lo_drive(centre.lo).unwrap_or_default().power_dbm;
    let combination = output.choices[choice].transfers[centre.intermediate];
    let turns = receiver.mixing().lo_harmonic();
    let mut points = Vec::new();
    for step in 0..DRIVE_POINTS {
        let extra_power_db = DRIVE_FROM_DB + DRIVE_STEP_DB * f64::from(step);
        let lo_power_dbm = planned_dbm + extra_power_db;
        solved.set_extra_power_db(extra_power_db);
        solved.solve(centre)?;
        let outputs = output.correction.applied(&solved.outputs(), &combination, turns);
        let z = |sideband| combination.apply(outputs.of_sideband(sideband));
        points.push(DrivePoint {
            lo_power_dbm,
            image_rejection_db: rejection_db(z(plan.wanted()), z(plan.wanted().opposite())),
            point: point(receiver, store, solved, centre.intermediate, choice)?,
            lo: at_lo(solved, centre.lo)?,
        });
    }
    solved.set_extra_power_db(0.0);
    Ok(points)
}

fn point(
    receiver: &Receiver,
    store: &SidebandStore,
    solved: &mut SwitchedPlan<'_>,
    intermediate: usize,
    choice: usize,
) -> Result<SwitchedPoint> {
    let (output, plan) = (receiver.output(), receiver.plan());
    let combination = output.choices[choice].transfers[intermediate];
    let missing = || ReceiverError::NoSuch { what: "sideband of the RF signal".to_owned() };
    let upper = solved.solver.rf_response(Sideband::Upper).ok_or_else(missing)?;
    let lower = solved.solver.rf_response(Sideband::Lower).ok_or_else(missing)?;
    let node_v = match plan.wanted() {
        Sideband::Upper => &upper.node_v,
        Sideband::Lower => &lower.node_v,
    };
    let mixer = solved.solver.mixer();
    let if_nodes = 0..mixer.if_nodes().len();
    Ok(SwitchedPoint {
        conversion_loss: conversion_loss(receiver, store, solved, plan.if_hz()[intermediate]),
        upper_return_loss_db: -2.0 * db_from_power(upper.reflection),
        lower_return_loss_db: -2.0 * db_from_power(lower.reflection),
        if_impedance_ohm: if_nodes.map(|node| solved.solver.if_impedance_ohm(node)).collect(),
        rf_v: mixer.elements().iter().map(|own| node_v[own.rf_node]).collect(),
        noise_figure_db: noise_figure_db(receiver, solved, &combination, &output.correction),
    })
}
