//! Switched mixers from the check values: elements, nodes, and the network at every sideband.

use crate::check_values::{complex, list, matrix};
use fourphase::downconverter::{
    BeyondSidebands, Channel, ConversionSolver, IF_LOAD_REFERENCE_OHM, IfNode, LoLeakage,
    SidebandData, Switch, SwitchSettings, SwitchedElement, SwitchedMixer, SwitchedMixerSettings,
};
use num_complex::Complex64;
use serde_json::Value;
use std::f64::consts::TAU;

/// A number, or infinity where nothing is given.
fn ohm(value: &Value) -> f64 {
    value.as_f64().unwrap_or(f64::INFINITY)
}

pub(crate) fn switch_of(value: &Value) -> Switch {
    Switch::new(SwitchSettings {
        on_ohm: value["on_ohm"].as_f64().unwrap(),
        off_ohm: ohm(&value["off_ohm"]),
        off_f: 1e-15 * value["off_ff"].as_f64().unwrap_or(0.0),
        threshold_v: value["threshold_v"].as_f64().unwrap(),
        slope_v: value["slope_v"].as_f64().unwrap(),
    })
    .unwrap()
}

/// The peak LO voltage as a phasor.
pub(crate) fn peak_of(value: &Value) -> Complex64 {
    let phase = value["lo_phase_deg"].as_f64().unwrap().to_radians();
    Complex64::from_polar(value["lo_peak_v"].as_f64().unwrap(), phase)
}

/// S-matrices over frequency.
struct Table(Vec<(f64, Vec<Complex64>)>);

impl Table {
    fn of(points: &Value) -> Self {
        let point = |point: &Value| (point["frequency_hz"].as_f64().unwrap(), matrix(&point["s"]));
        Self(points.as_array().into_iter().flatten().map(point).collect())
    }

    fn at(&self, frequency_hz: f64) -> &[Complex64] {
        let is_here = |(own, _): &&(f64, Vec<Complex64>)| (own - frequency_hz.abs()).abs() < 1.0;
        &self.0.iter().find(is_here).unwrap_or_else(|| panic!("no S at {frequency_hz}")).1
    }
}

pub(crate) struct SwitchingCase {
    inputs: Value,
    rf: Table,
    if_load: Table,
    pub(crate) solver: ConversionSolver,
    peaks: Vec<Complex64>,
    pub(crate) if_nodes: Vec<IfNode>,
}

impl SwitchingCase {
    pub(crate) fn of(case: &Value) -> Self {
        let inputs = case["inputs"].clone();
        let names = |key: &str| -> Vec<String> {
            let list = inputs[key].as_array().unwrap().iter();
            list.map(|name| name.as_str().unwrap().to_owned()).collect()
        };
        let (rf_names, if_names) = (names("rf_nodes"), names("if_nodes"));
        let if_nodes: Vec<IfNode> = if_names.iter().map(|name| if_node(name)).collect();
        let elements = inputs["elements"].as_array().unwrap();
        let element = |own: &Value| {
            let text = |key: &str| own[key].as_str().unwrap();
            let if_name = format!("{}{}", text("channel"), text("polarity"));
            SwitchedElement {
                switch: switch_of(&own["switch"]),
                lo_to_rf_f: 1e-15 * own["lo_to_rf_ff"].as_f64().unwrap(),
                lo_to_if_f: 1e-15 * own["lo_to_if_ff"].as_f64().unwrap(),
                rf_node: rf_names.iter().position(|name| name == text("rf_node")).unwrap(),
                if_node: if_names.iter().position(|name| *name == if_name).unwrap(),
            }
        };
        let source = &inputs["rf_source_ohm"];
        let reference_ohm = inputs["rf_network"]["reference_ohm"].as_f64().unwrap();
        let settings = SwitchedMixerSettings {
            elements: elements.iter().map(element).collect(),
            if_nodes: if_nodes.clone(),
            references_ohm: vec![reference_ohm; rf_names.len() + 1],
            source_ohm: source.as_f64().map_or_else(|| complex(source), Complex64::from),
            differential_ohm: inputs["if_load"]["differential_ohm"].as_f64(),
            lo_harmonic: whole(&inputs["lo_harmonic"]),
            temperature_k: inputs["temperature_k"].as_f64().unwrap(),
        };
        Self {
            rf: Table::of(&inputs["rf_network"]["points"]),
            if_load: Table::of(&inputs["if_load"]["points"]),
            solver: ConversionSolver::new(SwitchedMixer::new(settings).unwrap()),
            peaks: elements.iter().map(peak_of).collect(),
            if_nodes,
            inputs,
        }
    }

    pub(crate) fn sidebands(&self) -> usize {
        whole(&self.inputs["sidebands"])
    }

    pub(crate) fn if_hz(&self) -> f64 {
        self.inputs["if_hz"].as_f64().unwrap()
    }

    /// Reflection of the IF load at a frequency.
    pub(crate) fn if_load_at(&self, frequency_hz: f64) -> Complex64 {
        let load = &self.inputs["if_load"];
        if !load["points"].is_null() {
            return self.if_load.at(frequency_hz)[0];
        }
        let farad = 1e-15 * load["ff"].as_f64().unwrap_or(0.0);
        let siemens = Complex64::new(1.0 / ohm(&load["ohm"]), TAU * frequency_hz.abs() * farad);
        (1.0 - IF_LOAD_REFERENCE_OHM * siemens) / (1.0 + IF_LOAD_REFERENCE_OHM * siemens)
    }

    fn with_data<T>(
        &mut self,
        if_hz: f64,
        sidebands: usize,
        call: impl FnOnce(&mut ConversionSolver, &SidebandData<'_>, &[Complex64]) -> T,
    ) -> T {
        let lo_hz = self.inputs["lo_hz"].as_f64().unwrap();
        let mut solver = self.solver.clone();
        let at = |k: isize| if_hz + k as f64 * lo_hz;
        let result = call(
            &mut solver,
            &SidebandData {
                lo_hz,
                if_hz,
                sidebands,
                rf: &|k| self.rf.at(at(k)),
                if_load: &|k| self.if_load_at(at(k)),
            },
            &self.peaks,
        );
        self.solver = solver;
        result
    }

    pub(crate) fn solve(&mut self, sidebands: usize, beyond: BeyondSidebands<'_>) {
        let if_hz = self.if_hz();
        self.with_data(if_hz, sidebands, |solver, data, peaks| solver.solve(data, peaks, beyond))
            .unwrap();
    }

    pub(crate) fn leakage(&mut self, sidebands: usize, beyond: BeyondSidebands<'_>) -> LoLeakage {
        self.with_data(0.0, sidebands, |solver, data, peaks| solver.leakage(data, peaks, beyond))
            .unwrap()
    }

    /// The weights of the IF nodes in z = I ± jQ behind IF paths and correction.
    pub(crate) fn weights(&self) -> Vec<Complex64> {
        let turn = match self.inputs["combine"].as_str().unwrap() {
            "i+jq" => Complex64::I,
            _ => -Complex64::I,
        };
        let factor = |key: &str| complex(&self.inputs[key]);
        let weight = |node: &IfNode| {
            let sign = if node.is_subtracted { -1.0 } else { 1.0 };
            sign * match node.channel {
                Channel::I => factor("if_path_i"),
                Channel::Q => turn * factor("if_path_q") * factor("correction_of_q"),
            }
        };
        self.if_nodes.iter().map(weight).collect()
    }

    /// W in the loads of a channel, or of both.
    pub(crate) fn if_power_w(&self, volts: &[Complex64], channel: Option<Channel>) -> f64 {
        let reflection = self.if_load_at(self.if_hz());
        let siemens =
            (1.0 - reflection.norm_sqr()) / ((1.0 + reflection).norm_sqr() * IF_LOAD_REFERENCE_OHM);
        let nodes = || self.if_nodes.iter().zip(volts);
        let is_own = |node: &IfNode| channel.is_none_or(|channel| node.channel == channel);
        let ground: f64 =
            nodes().filter(|(node, _)| is_own(node)).map(|(_, v)| v.norm_sqr() * siemens).sum();
        let across = |channel: Channel| -> f64 {
            let sum: Complex64 = nodes()
                .filter(|(node, _)| node.channel == channel)
                .map(|(node, v)| if node.is_subtracted { -v } else { *v })
                .sum();
            self.inputs["if_load"]["differential_ohm"]
                .as_f64()
                .map_or(0.0, |ohm| sum.norm_sqr() / ohm)
        };
        let channels = [Channel::I, Channel::Q].into_iter();
        ground
            + channels.filter(|own| channel.is_none_or(|all| all == *own)).map(across).sum::<f64>()
    }
}

fn if_node(name: &str) -> IfNode {
    IfNode {
        channel: if name.starts_with('i') { Channel::I } else { Channel::Q },
        is_subtracted: name.ends_with('-'),
    }
}

/// Complex numbers against a list with the tolerance of the case.
pub(crate) fn check_list(case: &Value, what: &str, got: &[Complex64], want: &Value) {
    let want = list(want);
    assert_eq!(got.len(), want.len(), "{} {what}", case["id"]);
    for (got, want) in got.iter().zip(&want) {
        crate::check_values::check(case, what, got.re, want.re);
        crate::check_values::check(case, what, got.im, want.im);
    }
}

/// A whole number.
pub(crate) fn whole(value: &Value) -> usize {
    usize::try_from(value.as_u64().unwrap()).unwrap()
}
