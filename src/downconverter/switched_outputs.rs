//! I and Q of a receiver with switched mixers, at every point of its plan.
//!
//! In:  LO voltages at the mixers, S of the RF network at the sidebands of the plan, and what stands
//!      around the mixers at all other sidebands.
//! Out: I and Q for one watt available in either sideband, as of multipliers.

use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use super::iq_balance::{Channel, Combination, IqOutputs, IqPair};
use super::joined_path::JoinedPath;
use super::lo_if_plan::LoIfPoint;
use super::lo_side::stage_network;
use super::q_correction::QCorrection;
use super::receiver::Receiver;
use super::sideband_store::SidebandStore;
use super::signal_path::{LoRf, ReceiverPath};
use super::switching::{
    BeyondSidebands, ConversionSolver, SidebandData, Switch, SwitchedMixer, SwitchedMixerSettings,
};
use super::switching_setup::{SidebandSource, SwitchingSetup};
use crate::network::{FrequencyGrid, Load, WaveDefinition, change_reference};
use crate::units::power_from_db;
use num_complex::Complex64;
use rayon::prelude::*;
use std::f64::consts::SQRT_2;

/// LO voltages and RF networks at the plan's frequencies.
pub(super) type SwitchedVoltages<'v> = LoRf<&'v [Complex64]>;

/// Solves the points of a plan one after the other.
#[derive(Clone)]
pub(super) struct SwitchedPlan<'a> {
    receiver: &'a Receiver,
    store: &'a SidebandStore,
    voltages: SwitchedVoltages<'a>,
    pub(super) solver: ConversionSolver,
    peaks_v: Vec<Complex64>,
    pub(super) weights: NodeWeights,
    /// LO power above that of the receiver, dB.
    extra_power_db: f64,
}

impl<'a> SwitchedPlan<'a> {
    /// `has_equal_elements` where all elements are to be the mean of all.
    pub(super) fn new(
        receiver: &'a Receiver,
        store: &'a SidebandStore,
        voltages: SwitchedVoltages<'a>,
        has_equal_elements: bool,
    ) -> Result<Self> {
        let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
        let mixer = receiver.switched_mixer().ok_or_else(missing)?;
        let mixer = if has_equal_elements { with_equal_elements(mixer)? } else { mixer.clone() };
        let solver = ConversionSolver::new(mixer);
        let (peaks_v, weights) = (Vec::new(), NodeWeights::default());
        Ok(Self { receiver, store, voltages, solver, peaks_v, weights, extra_power_db: 0.0 })
    }

    /// Raises the LO power above that of the receiver, dB.
    pub(super) fn set_extra_power_db(&mut self, extra_power_db: f64) {
        self.extra_power_db = extra_power_db;
    }

    /// The mixers' LO voltages at an LO of the plan, as phasors of their peaks.
    pub(super) fn set_lo(&mut self, lo: usize) {
        let mixers = self.receiver.mixers().len();
        // The phase of the carrier is in the voltages already.
        let drive_dbm = self.receiver.lo_drive(lo).unwrap_or_default().power_dbm;
        let power_dbm = drive_dbm + self.extra_power_db;
        let scale = SQRT_2 * (1e-3 * power_from_db(power_dbm)).sqrt();
        self.peaks_v.clear();
        let own = &self.voltages.lo[lo * mixers..(lo + 1) * mixers];
        self.peaks_v.extend(own.iter().map(|volts| scale * volts));
    }

    pub(super) fn peaks_v(&self) -> &[Complex64] {
        &self.peaks_v
    }

    /// Solves a point for conversion and noise.
    pub(super) fn solve(&mut self, point: &LoIfPoint) -> Result<()> {
        self.set_lo(point.lo);
        let plan = self.receiver.plan();
        let (lo_hz, if_hz) = (point.lo_hz, point.if_hz);
        let entries = self.store.ports * self.store.ports;
        let harmonic = i64::from(plan.settings().lo_harmonic);
        let of_plan = |sideband| {
            let point = point.rf_point(sideband);
            &self.voltages.rf[point * entries..(point + 1) * entries]
        };
        let (upper, lower) = (of_plan(Sideband::Upper), of_plan(Sideband::Lower));
        #[expect(clippy::cast_precision_loss, reason = "sidebands are few")]
        let frequency_hz = |k: isize| if_hz + k as f64 * lo_hz;
        let rf = |k: isize| match k as i64 {
            order if order == harmonic => upper,
            order if order == -harmonic => lower,
            _ => self.store.rf_at(frequency_hz(k)),
        };
        let data = SidebandData {
            lo_hz,
            if_hz,
            sidebands: self.store.sidebands,
            rf: &rf,
            if_load: &|k| self.store.if_load_at(frequency_hz(k)),
        };
        self.solver.solve(&data, &self.peaks_v, BeyondSidebands::Resistance)
    }

    /// S of the RF network at an LO and its harmonic, moved by as much as in the mean of both sidebands
    /// of the first IF: parts that vary are known at the plan's RF alone.
    fn rf_at_lo(&self, lo: usize) -> Vec<Complex64> {
        let plan = self.receiver.plan();
        let centre_hz = plan.lo_hz()[lo] * f64::from(plan.settings().lo_harmonic);
        let mut own = self.store.rf_at(centre_hz).to_vec();
        let Some(point) = plan.points().get(plan.points_of_lo(lo).start) else { return own };
        for (sideband, sign) in [(Sideband::Upper, 1.0), (Sideband::Lower, -1.0)] {
            let (at, entries) = (point.rf_point(sideband), own.len());
            let varied = &self.voltages.rf[at * entries..(at + 1) * entries];
            let usual = self.store.rf_at(centre_hz + sign * point.if_hz);
            for ((own, varied), usual) in own.iter_mut().zip(varied).zip(usual) {
                *own += 0.5 * (varied - usual);
            }
        }
        own
    }

    /// Solves for the leakage at an LO.
    pub(super) fn leakage(&mut self, lo: usize) -> Result<super::switching::LoLeakage> {
        self.set_lo(lo);
        let lo_hz = self.receiver.plan().lo_hz()[lo];
        #[expect(clippy::cast_precision_loss, reason = "sidebands are few")]
        let frequency_hz = |k: isize| k as f64 * lo_hz;
        let at_lo = self.rf_at_lo(lo);
        let harmonic = i64::from(self.receiver.plan().settings().lo_harmonic);
        let rf = |k: isize| match k as i64 {
            order if order.abs() == harmonic => &at_lo,
            _ => self.store.rf_at(frequency_hz(k)),
        };
        let data = SidebandData {
            lo_hz,
            if_hz: 0.0,
            sidebands: self.store.sidebands,
            rf: &rf,
            if_load: &|k| self.store.if_load_at(frequency_hz(k)),
        };
        self.solver.leakage(&data, &self.peaks_v, BeyondSidebands::Resistance)
    }

    /// I and Q of the point that was solved last.
    pub(super) fn outputs(&self) -> IqOutputs {
        let pair = |sideband| {
            let mut pair = IqPair::default();
            for (at, node) in self.solver.mixer().if_nodes().iter().enumerate() {
                let volts = self.solver.if_voltage(at, sideband);
                let signed = if node.is_subtracted { -volts } else { volts };
                match node.channel {
                    Channel::I => pair.i += signed,
                    Channel::Q => pair.q += signed,
                }
            }
            pair
        };
        IqOutputs { upper: pair(Sideband::Upper), lower: pair(Sideband::Lower) }
    }
}

/// What `solve` gives for each LO of the plan, one after the other; several at a time.
pub(super) fn of_each_lo<T: Send>(
    receiver: &Receiver,
    solved: &SwitchedPlan<'_>,
    solve: impl Fn(&mut SwitchedPlan<'_>, usize) -> Result<T> + Send + Sync,
) -> Result<Vec<T>> {
    let all = 0..receiver.plan().lo_hz().len();
    if all.len() == 1 {
        let mut solved = solved.clone();
        return all.map(|lo| solve(&mut solved, lo)).collect();
    }
    all.into_par_iter().map_init(|| solved.clone(), solve).collect()
}

/// I and Q at every point: for each LO, for each IF.
pub(super) fn switched_outputs(
    receiver: &Receiver,
    store: &SidebandStore,
    voltages: SwitchedVoltages<'_>,
    has_real_elements: bool,
) -> Result<Vec<IqOutputs>> {
    let plan = receiver.plan();
    let solved = SwitchedPlan::new(receiver, store, voltages, !has_real_elements)?;
    let of_lo = of_each_lo(receiver, &solved, |solved, lo| {
        let points = plan.points()[plan.points_of_lo(lo)].iter();
        points
            .map(|point| {
                solved.solve(point)?;
                Ok(solved.outputs())
            })
            .collect::<Result<Vec<_>>>()
    })?;
    Ok(of_lo.into_iter().flatten().collect())
}

/// Weights of the IF nodes in the combined output, for signals from above the LO, from below it, and
/// at the IF itself.
#[derive(Clone, Debug, Default)]
pub(super) struct NodeWeights {
    pub(super) above: Vec<Complex64>,
    pub(super) below: Vec<Complex64>,
    pub(super) at_if: Vec<Complex64>,
}

impl NodeWeights {
    pub(super) fn fill(
        &mut self,
        mixer: &SwitchedMixer,
        combination: &Combination,
        correction: &QCorrection,
        lo_turns: i32,
    ) {
        let of = |channel: Channel| {
            let (i, q) = match channel {
                Channel::I => (Complex64::ONE, Complex64::ZERO),
                Channel::Q => (Complex64::ZERO, Complex64::ONE),
            };
            let pair = IqPair { i, q };
            let made = IqOutputs { upper: pair, lower: pair };
            let made = correction.applied(&made, combination, lo_turns);
            (combination.apply(made.upper), combination.apply(made.lower))
        };
        let (i, q) = (of(Channel::I), of(Channel::Q));
        for part in [&mut self.above, &mut self.below, &mut self.at_if] {
            part.clear();
        }
        for node in mixer.if_nodes() {
            let sign = if node.is_subtracted { -1.0 } else { 1.0 };
            let (above, below) = if node.channel == Channel::I { i } else { q };
            self.above.push(sign * above);
            self.below.push(sign * below);
            // A correction of the LO's phase has no side at the IF: the mean of both.
            self.at_if.push(sign * 0.5 * (above + below));
        }
    }
}

/// The mixers with every element the mean of all: mean conductances, capacitances and voltages.
fn with_equal_elements(mixer: &SwitchedMixer) -> Result<SwitchedMixer> {
    let settings = mixer.settings();
    #[expect(clippy::cast_precision_loss, reason = "a receiver has few mixers")]
    let count = settings.elements.len() as f64;
    let mean = |value: &dyn Fn(&super::switching::SwitchedElement) -> f64| {
        settings.elements.iter().map(value).sum::<f64>() / count
    };
    let mut own = *settings.elements[0].switch.settings();
    own.on_ohm = 1.0 / mean(&|element| 1.0 / element.switch.settings().on_ohm);
    own.off_ohm = 1.0 / mean(&|element| 1.0 / element.switch.settings().off_ohm);
    own.off_f = mean(&|element| element.switch.settings().off_f);
    own.threshold_v = mean(&|element| element.switch.settings().threshold_v);
    own.slope_v = mean(&|element| element.switch.settings().slope_v);
    let switch = Switch::new(own)?;
    let (lo_to_rf_f, lo_to_if_f) =
        (mean(&|element| element.lo_to_rf_f), mean(&|element| element.lo_to_if_f));
    let equal = |element: &super::switching::SwitchedElement| super::switching::SwitchedElement {
        switch,
        lo_to_rf_f,
        lo_to_if_f,
        ..*element
    };
    SwitchedMixer::new(SwitchedMixerSettings {
        elements: settings.elements.iter().map(equal).collect(),
        ..settings.clone()
    })
}

/// What stands around the mixers at every sideband of some points, with so many sidebands.
pub(super) fn make_store(
    receiver: &Receiver,
    sidebands: usize,
    points: &[LoIfPoint],
) -> Result<SidebandStore> {
    let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
    let switching = receiver.switching().ok_or_else(missing)?;
    let grid = FrequencyGrid::from_hz(sideband_frequencies_hz(points, sidebands))?;
    let mut is_outside = vec![false; grid.len()];
    let mut note = |outside: &[bool]| {
        is_outside.iter_mut().zip(outside).for_each(|(all, own)| *all |= own);
    };
    let mut networks = Vec::new();
    for (part, own) in receiver.parts_on(ReceiverPath::Rf) {
        if let Some(stage) = receiver.stage(part) {
            networks.push(stage_network(&grid, [stage.input_ohm, stage.output_ohm])?);
            continue;
        }
        let made = switching.parts[part].onto(&grid, own.ports(), switching.outside)?;
        note(&made.is_outside);
        networks.push(made.network);
    }
    let path = JoinedPath::with_networks(receiver, ReceiverPath::Rf, &networks, &grid)?;
    let reduced = path.reduce(receiver, &path.blocks)?;
    let mut terminations = path.terminations(receiver)?;
    for (load, source) in switching.loads.iter().enumerate() {
        let Some(end) = path.load_port(load) else { continue };
        let made = source.onto(&grid, 1, switching.outside)?;
        note(&made.is_outside);
        let reference = vec![reduced.references_ohm(0)[end]];
        let there = change_reference(&made.network, reference, WaveDefinition::Kurokawa)?;
        terminations[end] = Load::OnePort(there);
    }
    let rf = path.node_scattering(receiver, &reduced, &terminations)?;
    let mixer = receiver.switched_mixer().ok_or_else(missing)?;
    let if_load = switching.if_load.reflections(&grid, switching.outside)?;
    note(&if_load_outside(switching, &grid));
    Ok(SidebandStore {
        sidebands,
        compared: sidebands,
        converged: None,
        left_db: None,
        outside_hz: runs_hz(grid.as_hz(), &is_outside),
        frequency_hz: grid.as_hz().to_vec(),
        rf,
        ports: mixer.rf_nodes() + 1,
        if_load,
    })
}

fn if_load_outside(switching: &SwitchingSetup, grid: &FrequencyGrid) -> Vec<bool> {
    match &switching.if_load.to_ground {
        super::switching_setup::IfLoadToGround::OnePort(network) => {
            let source = SidebandSource::Samples(network.clone());
            grid.as_hz().iter().map(|&hz| !source.covers(hz)).collect()
        }
        super::switching_setup::IfLoadToGround::Elements { .. } => vec![false; grid.len()],
    }
}

/// The frequencies of all sidebands of conversion and leakage, each once, ascending.
fn sideband_frequencies_hz(points: &[LoIfPoint], sidebands: usize) -> Vec<f64> {
    let mut all_hz = Vec::with_capacity(3 * points.len() * (sidebands + 1));
    for LoIfPoint { lo_hz, if_hz, .. } in points {
        let mut order = 0.0;
        for _ in 0..=sidebands {
            let tone_hz = order * lo_hz;
            all_hz.extend([tone_hz, tone_hz + if_hz, (if_hz - tone_hz).abs()]);
            order += 1.0;
        }
    }
    all_hz.sort_unstable_by(f64::total_cmp);
    all_hz.dedup();
    all_hz
}

/// Runs of frequencies with the mark set, by their ends.
fn runs_hz(frequency_hz: &[f64], marks: &[bool]) -> Vec<(f64, f64)> {
    let mut runs: Vec<(f64, f64)> = Vec::new();
    let mut is_open = false;
    for (&hz, &mark) in frequency_hz.iter().zip(marks) {
        match runs.last_mut() {
            Some(run) if mark && is_open => run.1 = hz,
            _ if mark => runs.push((hz, hz)),
            _ => {}
        }
        is_open = mark;
    }
    runs
}
