//! I and Q of a receiver with switched mixers, at every point of its plan.
//!
//! In:  LO voltages at the mixers, S of the RF network at the sidebands of the plan, and what stands
//!      around the mixers at all other sidebands.
//! Out: I and Q for one watt available in either sideband, as of multipliers.

use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use super::iq_balance::{Channel, Combination, IqOutputs, IqPair};
use super::joined_path::JoinedPath;
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
use std::f64::consts::SQRT_2;

/// LO voltages and RF networks at the plan's frequencies.
pub(super) type SwitchedVoltages<'v> = LoRf<&'v [Complex64]>;

/// Solves the points of a plan one after the other.
pub(super) struct SwitchedPlan<'a> {
    receiver: &'a Receiver,
    store: &'a SidebandStore,
    voltages: SwitchedVoltages<'a>,
    pub(super) solver: ConversionSolver,
    peaks_v: Vec<Complex64>,
    /// Power available from the LO source, dBm.
    power_dbm: f64,
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
        let power_dbm = receiver.plan().settings().lo_power_dbm.unwrap_or(0.0);
        Ok(Self { receiver, store, voltages, solver, peaks_v: Vec::new(), power_dbm })
    }

    /// Takes another power of the LO source, dBm.
    pub(super) fn set_power_dbm(&mut self, power_dbm: f64) {
        self.power_dbm = power_dbm;
    }

    /// The mixers' LO voltages at an LO of the plan, as phasors of their peaks.
    pub(super) fn set_lo(&mut self, lo: usize) {
        let mixers = self.receiver.mixers().len();
        let scale = SQRT_2 * (1e-3 * power_from_db(self.power_dbm)).sqrt();
        self.peaks_v.clear();
        let own = &self.voltages.lo[lo * mixers..(lo + 1) * mixers];
        self.peaks_v.extend(own.iter().map(|volts| scale * volts));
    }

    pub(super) fn peaks_v(&self) -> &[Complex64] {
        &self.peaks_v
    }

    /// Solves a point for conversion and noise.
    pub(super) fn solve(&mut self, lo: usize, intermediate: usize) -> Result<()> {
        self.set_lo(lo);
        let plan = self.receiver.plan();
        let (lo_hz, if_hz) = (plan.lo_hz()[lo], plan.if_hz()[intermediate]);
        let entries = self.store.ports * self.store.ports;
        let harmonic = i64::from(plan.settings().lo_harmonic);
        let of_plan = |sideband| {
            let point = plan.rf_point(lo, intermediate, sideband);
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

    /// Solves for the leakage at an LO.
    pub(super) fn leakage(&mut self, lo: usize) -> Result<super::switching::LoLeakage> {
        self.set_lo(lo);
        let lo_hz = self.receiver.plan().lo_hz()[lo];
        #[expect(clippy::cast_precision_loss, reason = "sidebands are few")]
        let frequency_hz = |k: isize| k as f64 * lo_hz;
        let data = SidebandData {
            lo_hz,
            if_hz: 0.0,
            sidebands: self.store.sidebands,
            rf: &|k| self.store.rf_at(frequency_hz(k)),
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

/// I and Q at every point: for each LO, for each IF.
pub(super) fn switched_outputs(
    receiver: &Receiver,
    store: &SidebandStore,
    voltages: SwitchedVoltages<'_>,
    has_real_elements: bool,
) -> Result<Vec<IqOutputs>> {
    let plan = receiver.plan();
    let mut solved = SwitchedPlan::new(receiver, store, voltages, !has_real_elements)?;
    let mut outputs = Vec::with_capacity(plan.lo_hz().len() * plan.if_hz().len());
    for lo in 0..plan.lo_hz().len() {
        for intermediate in 0..plan.if_hz().len() {
            solved.solve(lo, intermediate)?;
            outputs.push(solved.outputs());
        }
    }
    Ok(outputs)
}

/// Weights of the IF nodes in the combined output, for signals from above the LO, from below it, and
/// at the IF itself.
pub(super) struct NodeWeights {
    pub(super) above: Vec<Complex64>,
    pub(super) below: Vec<Complex64>,
    pub(super) at_if: Vec<Complex64>,
}

impl NodeWeights {
    pub(super) fn new(
        mixer: &SwitchedMixer,
        combination: &Combination,
        correction: &QCorrection,
        lo_turns: i32,
    ) -> Self {
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
        let nodes = || {
            mixer.if_nodes().iter().map(|node| {
                let sign = if node.is_subtracted { -1.0 } else { 1.0 };
                let (above, below) = if node.channel == Channel::I { i } else { q };
                (sign * above, sign * below)
            })
        };
        Self {
            above: nodes().map(|(above, _)| above).collect(),
            below: nodes().map(|(_, below)| below).collect(),
            // A correction of the LO's phase has no side at the IF: the mean of both.
            at_if: nodes().map(|(above, below)| 0.5 * (above + below)).collect(),
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

/// What stands around the mixers at every sideband of a plan, with so many sidebands.
pub(super) fn make_store(receiver: &Receiver, sidebands: usize) -> Result<SidebandStore> {
    let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
    let switching = receiver.switching().ok_or_else(missing)?;
    let grid = FrequencyGrid::from_hz(sideband_frequencies_hz(receiver, sidebands))?;
    let mut is_outside = vec![false; grid.len()];
    let mut note = |outside: &[bool]| {
        is_outside.iter_mut().zip(outside).for_each(|(all, own)| *all |= own);
    };
    let mut networks = Vec::new();
    for (part, own) in receiver.parts_on(ReceiverPath::Rf) {
        let made = switching.parts[part].onto(&grid, own.ports(), switching.outside)?;
        note(&made.is_outside);
        networks.push(made.network);
    }
    let path = JoinedPath::with_networks(receiver, ReceiverPath::Rf, &networks)?;
    let reduced = path.reduce(receiver, &path.blocks)?;
    let mut terminations = path.terminations(receiver);
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
fn sideband_frequencies_hz(receiver: &Receiver, sidebands: usize) -> Vec<f64> {
    let plan = receiver.plan();
    let mut all_hz = Vec::new();
    for &lo_hz in plan.lo_hz() {
        let mut order = 0.0;
        for _ in 0..=sidebands {
            all_hz.push(order * lo_hz);
            for &if_hz in plan.if_hz() {
                all_hz.extend([order * lo_hz + if_hz, (if_hz - order * lo_hz).abs()]);
            }
            order += 1.0;
        }
    }
    all_hz.sort_by(f64::total_cmp);
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
