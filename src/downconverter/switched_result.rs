//! What a receiver with switched mixers does at every point: conversion loss, noise figure, LO leakage,
//! offsets, impedances.

use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use super::iq_balance::{Channel, Combination, IqOutputs, rejection_db};
use super::receiver::Receiver;
use super::sideband_store::SidebandStore;
use super::switched_figures::{ConversionLoss, conversion_loss, noise_figure_db};
use super::switched_outputs::{SwitchedPlan, SwitchedVoltages, of_each_lo};
use super::switching::SwitchedElement;
use crate::units::db_from_power;
use num_complex::Complex64;
use rayon::prelude::*;

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
    /// The peak of each element's LO voltage, V.
    pub lo_peak_v: Vec<f64>,
}

/// Switched mixers over a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchingResult {
    /// K, the sidebands on either side of the IF.
    pub sidebands: usize,
    /// Whether more sidebands would move the results by less than 0.001 dB; `None` where K was given.
    pub converged: Option<bool>,
    /// By how much they would still move, dB: from a solution with more sidebands at the points that
    /// need most, and the decay over the numbers before it. `None` where K was given.
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

/// LO powers of the drive sweep against that of the plan, dB.
const DRIVE_FROM_DB: f64 = -12.0;
const DRIVE_STEP_DB: f64 = 1.5;
const DRIVE_POINTS: u32 = 13;

/// A point solved, before the combination of I and Q is chosen.
#[derive(Clone, Debug)]
pub(super) struct SolvedPoint {
    pub(super) outputs: IqOutputs,
    /// Without a noise figure.
    point: SwitchedPoint,
    /// That of each combination.
    noise_figure_db: Vec<Option<f64>>,
}

impl SolvedPoint {
    fn chosen(&self, choice: usize) -> SwitchedPoint {
        let noise_figure_db = self.noise_figure_db.get(choice).copied().flatten();
        SwitchedPoint { noise_figure_db, ..self.point.clone() }
    }
}

/// Every point of a receiver with switched mixers.
pub(super) fn solved_points(
    receiver: &Receiver,
    voltages: SwitchedVoltages<'_>,
) -> Result<Vec<SolvedPoint>> {
    let store = receiver.known_sidebands()?;
    let plan = receiver.plan();
    let solved = SwitchedPlan::new(receiver, store, voltages, false)?;
    let of_lo = of_each_lo(receiver, &solved, |solved, lo| {
        let points = plan.points()[plan.points_of_lo(lo)].iter();
        points
            .map(|own| {
                solved.solve(own)?;
                solved_point(receiver, store, solved, own.intermediate)
            })
            .collect::<Result<Vec<_>>>()
    })?;
    Ok(of_lo.into_iter().flatten().collect())
}

/// The worst levels of switched mixers over a plan. Without a number a level is infinite, so that no
/// limit is met.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchedLevels {
    /// Maximum conversion loss of I and Q together, dB.
    pub conversion_loss_db: f64,
    /// Maximum noise figure, dB.
    pub noise_figure_db: f64,
    /// Maximum LO power that leaves the RF port, dBm.
    pub lo_at_rf_port_dbm: f64,
}

/// LO power that leaves the RF port of a receiver without leakage, dBm: files hold no infinite numbers.
const NO_LEAKAGE_DBM: f64 = -1e3;

impl SwitchedLevels {
    /// Those of a result.
    pub fn of(result: &SwitchingResult) -> Self {
        let points =
            result.points.iter().map(|own| (own.conversion_loss.both_db, own.noise_figure_db));
        Self::of_each(points, result.lo.iter().map(|own| own.lo_at_rf_port_dbm))
    }

    fn of_each(
        points: impl Iterator<Item = (Option<f64>, Option<f64>)>,
        leakage_dbm: impl Iterator<Item = f64>,
    ) -> Self {
        // A maximum ignores what is not a number; this one must not.
        let larger = |one: f64, other: f64| {
            if other.is_nan() { f64::INFINITY } else { one.max(other) }
        };
        let known = |level: Option<f64>| level.unwrap_or(f64::INFINITY);
        let (mut loss_db, mut figure_db) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
        for (loss, figure) in points {
            (loss_db, figure_db) = (larger(loss_db, known(loss)), larger(figure_db, known(figure)));
        }
        Self {
            conversion_loss_db: loss_db,
            noise_figure_db: figure_db,
            lo_at_rf_port_dbm: leakage_dbm.fold(NO_LEAKAGE_DBM, larger),
        }
    }
}

/// I and Q at every point of a plan, with the levels of switched mixers.
pub(super) struct OutputsAndLevels {
    pub(super) outputs: Vec<IqOutputs>,
    /// The conversion loss at each point.
    pub(super) losses: Vec<ConversionLoss>,
    /// The worst levels over the plan.
    pub(super) worst: SwitchedLevels,
}

/// I and Q at every point, with the levels; `transfers` are the factors of I and Q at each IF.
pub(super) fn outputs_with_levels(
    receiver: &Receiver,
    voltages: SwitchedVoltages<'_>,
    transfers: &[Combination],
) -> Result<OutputsAndLevels> {
    let store = receiver.known_sidebands()?;
    let (plan, correction) = (receiver.plan(), receiver.output().correction);
    let solved = SwitchedPlan::new(receiver, store, voltages, false)?;
    let of_lo = of_each_lo(receiver, &solved, |solved, lo| {
        let mut points = Vec::new();
        for point in &plan.points()[plan.points_of_lo(lo)] {
            solved.solve(point)?;
            let outputs = solved.outputs();
            let loss = conversion_loss(receiver, store, solved, point.if_hz);
            let combination = &transfers[point.intermediate];
            let figure_db = noise_figure_db(receiver, solved, combination, &correction);
            points.push((outputs, loss, figure_db));
        }
        let leakage = solved.leakage(lo)?;
        Ok((points, db_from_power(1e3 * leakage.rf_port_w)))
    })?;
    let points = of_lo.iter().flat_map(|(points, _)| points);
    let worst = SwitchedLevels::of_each(
        points.clone().map(|(_, loss, figure_db)| (loss.both_db, *figure_db)),
        of_lo.iter().map(|(_, leakage_dbm)| *leakage_dbm),
    );
    let losses = points.clone().map(|(_, loss, _)| *loss).collect();
    Ok(OutputsAndLevels { outputs: points.map(|own| own.0).collect(), losses, worst })
}

/// Everything about the switched mixers over the plan; `None` for multipliers. `points` are those of
/// [`solved_points`], `choice` is the combination of I and Q.
pub(super) fn switching_result(
    receiver: &Receiver,
    voltages: SwitchedVoltages<'_>,
    points: &[SolvedPoint],
    choice: usize,
) -> Result<Option<SwitchingResult>> {
    if receiver.switching().is_none() {
        return Ok(None);
    }
    let store = receiver.known_sidebands()?;
    let solved = SwitchedPlan::new(receiver, store, voltages, false)?;
    let lo = of_each_lo(receiver, &solved, at_lo)?;
    let fewer = store.for_comparisons();
    let compared = SwitchedPlan::new(receiver, &fewer, voltages, false)?;
    let drive_sweep = drive_sweep(receiver, &fewer, &compared, choice)?;
    let nodes = solved.solver.mixer().if_nodes().iter();
    Ok(Some(SwitchingResult {
        sidebands: store.count.sidebands,
        converged: store.count.converged,
        left_db: store.count.left_db,
        outside_hz: store.outside_hz.clone(),
        if_nodes: nodes.map(|node| (node.channel, node.is_subtracted)).collect(),
        points: points.iter().map(|point| point.chosen(choice)).collect(),
        lo,
        drive_sweep,
        waveforms: waveforms(receiver, solved),
    }))
}

/// Conductances over a period at the centre LO, every two degrees.
fn waveforms(receiver: &Receiver, mut solved: SwitchedPlan<'_>) -> Vec<Vec<(f64, f64)>> {
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
        lo_peak_v: solved.peaks_v().iter().map(|peak| peak.norm()).collect(),
    })
}

/// The results over LO power, which is what sets a passive mixer.
fn drive_sweep(
    receiver: &Receiver,
    store: &SidebandStore,
    solved: &SwitchedPlan<'_>,
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
    let at_step = |solved: &mut SwitchedPlan<'_>, step: u32| {
        let extra_power_db = DRIVE_FROM_DB + DRIVE_STEP_DB * f64::from(step);
        solved.set_extra_power_db(extra_power_db);
        solved.solve(centre)?;
        let outputs = output.correction.applied(&solved.outputs(), &combination, turns);
        let z = |sideband| combination.apply(outputs.of_sideband(sideband));
        Ok(DrivePoint {
            lo_power_dbm: planned_dbm + extra_power_db,
            image_rejection_db: rejection_db(z(plan.wanted()), z(plan.wanted().opposite())),
            point: solved_point(receiver, store, solved, centre.intermediate)?.chosen(choice),
            lo: at_lo(solved, centre.lo)?,
        })
    };
    (0..DRIVE_POINTS).into_par_iter().map_init(|| solved.clone(), at_step).collect()
}

/// What a point that was solved gives.
fn solved_point(
    receiver: &Receiver,
    store: &SidebandStore,
    solved: &mut SwitchedPlan<'_>,
    intermediate: usize,
) -> Result<SolvedPoint> {
    let (output, plan) = (receiver.output(), receiver.plan());
    let elements = receiver.mixers().len();
    let mut rf_v = Vec::with_capacity(elements);
    let mut return_loss_db = |sideband| -> Result<f64> {
        let missing = || ReceiverError::NoSuch { what: "sideband of the RF signal".to_owned() };
        let response = solved.solver.rf_response(sideband).ok_or_else(missing)?;
        if sideband == plan.wanted() {
            rf_v.extend_from_slice(&response.node_v);
        }
        Ok(-2.0 * db_from_power(response.reflection))
    };
    let upper_return_loss_db = return_loss_db(Sideband::Upper)?;
    let lower_return_loss_db = return_loss_db(Sideband::Lower)?;
    let mixer = solved.solver.mixer();
    let if_nodes = 0..mixer.if_nodes().len();
    Ok(SolvedPoint {
        outputs: solved.outputs(),
        point: SwitchedPoint {
            conversion_loss: conversion_loss(receiver, store, solved, plan.if_hz()[intermediate]),
            upper_return_loss_db,
            lower_return_loss_db,
            if_impedance_ohm: if_nodes.map(|node| solved.solver.if_impedance_ohm(node)).collect(),
            rf_v: mixer.elements().iter().map(|own| rf_v[own.rf_node]).collect(),
            noise_figure_db: None,
        },
        noise_figure_db: output
            .choices
            .iter()
            .map(|choice| {
                let combination = &choice.transfers[intermediate];
                noise_figure_db(receiver, solved, combination, &output.correction)
            })
            .collect(),
    })
}
