//! The values of a receiver, which [`Receiver::new`](super::Receiver::new) checks.

use super::frequency_plan::Band;
use super::iq_balance::{Channel, Combination};
use super::iq_correction::CorrectionSteps;
use super::lo_drive_setup::{LoChainSetup, StagePart};
use super::lo_if_plan::ReceiverPlan;
use super::part_model::PartModel;
use super::q_correction::QCorrection;
use super::signal_path::{LoRf, ReceiverPath};
use super::switching_setup::SwitchingSetup;
use crate::network::{Network, Port, Terminal};
use crate::requirement::{Limits, Quantity};
use crate::splitter::SplitterKind;
use num_complex::Complex64;
use std::collections::VecDeque;

/// All values of a receiver.
#[derive(Clone, Debug)]
pub struct ReceiverSetup {
    /// The title.
    pub title: String,
    /// The frequencies at which it is solved.
    pub plan: ReceiverPlan,
    /// The blocks.
    pub parts: Vec<ReceiverPart>,
    /// The joined ports.
    pub joins: Vec<Join>,
    /// One-ports that terminate ports.
    pub loads: Vec<ReceiverLoad>,
    /// The sources of LO and RF power.
    pub inputs: LoRf<PowerInput>,
    /// The source of the LO and the stages up to its input; `None` if the plan's LO power is available
    /// there.
    pub lo_chain: Option<LoChainSetup>,
    /// The impedances in which ideal parts and loads are matched.
    pub references: ReferenceImpedances,
    /// The mixers; at least one for each channel.
    pub mixers: Vec<Mixer>,
    /// k: conversion gain ~ |LO voltage|^k, from 0 (hard-driven switch) to 10; 1 is a multiplier.
    pub lo_amplitude_exponent: f64,
    /// What makes the mixers switches, which load what stands around them; multipliers when absent.
    pub switching: Option<SwitchingSetup>,
    /// From the mixers to the output.
    pub output: OutputStage,
    /// The steps of a quantised correction of Q.
    pub correction_steps: CorrectionSteps,
    /// Magnitudes for the sweep of load reflections.
    pub reflection_sweep: ReflectionSweepSettings,
    /// The limits for the receiver over the whole plan.
    pub limits: Limits,
    /// RF in which spurious responses are limited, Hz: low and high; that of the plan when absent.
    pub spurious_band_hz: Option<Band>,
}

/// The kind of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartKind {
    /// Two outputs towards the mixers.
    Splitter(SplitterKind),
    /// One output towards the mixers.
    Line,
}

/// A block of a receiver.
#[derive(Clone, Debug)]
pub struct ReceiverPart {
    /// Its name.
    pub name: String,
    /// Names of its ports.
    pub ports: Vec<String>,
    /// Its kind; `None` if it is inferred from the data.
    pub kind: Option<PartKind>,
    /// The nominal phase of the second output relative to the first, degrees; `None` if it is
    /// inferred.
    pub nominal_deg: Option<f64>,
    /// Name of its pair: blocks at corresponding places of the I and the Q branch.
    pub pair: Option<String>,
    /// What it does as an amplifier or multiplier inside the LO network: its ports are input and
    /// output, and it needs no network.
    pub stage: Option<StagePart>,
    /// Its network at the frequencies of each path; `None` for a path that does not reach it.
    pub networks: LoRf<Option<Network>>,
    /// What it is made from, for tones and responses beyond those frequencies; its networks alone when
    /// absent.
    pub model: Option<PartModel>,
}

/// Ports joined in one node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Join {
    /// The join as written: `a.x -- b.y`.
    pub text: String,
    /// The ports; two or more.
    pub terminals: Vec<Terminal>,
}

/// A one-port that terminates a port, or is connected to a join.
#[derive(Clone, Debug)]
pub struct ReceiverLoad {
    /// The port.
    pub at: Terminal,
    /// The one-port at the frequencies of each path; `None` for a path that does not reach it.
    pub networks: LoRf<Option<Network>>,
    /// What it is made from, as for a part.
    pub model: Option<PartModel>,
}

/// A mixer: it multiplies its RF voltage with its LO voltage.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixer {
    /// Its name.
    pub name: String,
    /// The channel to which its output belongs.
    pub channel: Channel,
    /// Whether its output is subtracted.
    pub is_subtracted: bool,
    /// The ports of its LO and of its RF voltage.
    pub ports: LoRf<Terminal>,
    /// Its own relative conversion gain, 1e-6 to 1e6 in magnitude.
    pub gain: Complex64,
}

/// The reference impedances of a receiver's nodes, ohm: 50 everywhere by default.
///
/// They are independent of the reference impedances of the files. They determine the ideal of a
/// part and the match of an ideal load or source, and reflections refer to them. The solution
/// itself does not depend on them.
#[derive(Clone, Debug, PartialEq)]
pub struct ReferenceImpedances {
    /// For every node without its own value; above 0.
    pub default_ohm: f64,
    /// For the nodes of these ports; above 0, one per node.
    pub at: Vec<(Terminal, f64)>,
}

impl Default for ReferenceImpedances {
    fn default() -> Self {
        Self { default_ohm: 50.0, at: Vec::new() }
    }
}

impl ReferenceImpedances {
    /// The reference impedance of a node, from its ports.
    pub(super) fn of_node(&self, node: &[Terminal]) -> f64 {
        let own = self.at.iter().find(|(port, _)| node.contains(port));
        own.map_or(self.default_ohm, |(_, ohm)| *ohm)
    }
}

/// A source of power.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerInput {
    /// The port to which it is connected.
    pub at: Terminal,
    /// Its impedance, ohm; positive real part.
    pub source_ohm: Complex64,
}

/// A combination of I and Q.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputChoice {
    /// `I + jQ`, `I - jQ`, or the port of the IF hybrid.
    pub name: String,
    /// The factors of I and Q at each IF, without the correction.
    pub transfers: Vec<Combination>,
    /// The factors without IF paths and with an ideal IF hybrid.
    pub ideal_transfers: Vec<Combination>,
    /// The port by which the wanted sideband leaves an IF hybrid, where one combines I and Q.
    pub hybrid_output: Option<Port>,
}

/// What a part behind the mixers is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IfRole {
    /// Two-port in the path of I: S21 counts.
    PathI,
    /// Two-port in the path of Q: S21 counts.
    PathQ,
    /// The hybrid that combines I and Q, by the ports that they enter.
    Hybrid {
        /// That of I.
        i: Port,
        /// That of Q.
        q: Port,
    },
}

/// A part behind the mixers.
#[derive(Clone, Debug, PartialEq)]
pub struct IfPart {
    /// Its name: `if_path.i`, `if_path.q` or `if_hybrid`.
    pub name: String,
    /// What it is for.
    pub role: IfRole,
    /// Its scattering parameters at the IFs of the plan.
    pub network: Network,
}

/// The stage from the mixers to the output.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputStage {
    /// Possible combinations of I and Q; the one that rejects the image at the centre of the plan
    /// is used for the whole plan.
    pub choices: Vec<OutputChoice>,
    /// The correction of Q.
    pub correction: QCorrection,
    /// What is behind the mixers: IF paths and an IF hybrid, one of each role.
    pub parts: Vec<IfPart>,
}

impl OutputStage {
    /// I + jQ or I - jQ, the one that rejects the image, without IF parts and without a correction,
    /// for `ifs` IFs.
    pub fn without_if_parts(ifs: usize) -> Self {
        let choice = |name: &str, combination| OutputChoice {
            name: name.to_owned(),
            transfers: vec![combination; ifs],
            ideal_transfers: vec![combination; ifs],
            hybrid_output: None,
        };
        Self {
            choices: vec![
                choice("I + jQ", Combination::I_PLUS_JQ),
                choice("I - jQ", Combination::I_MINUS_JQ),
            ],
            correction: QCorrection::default(),
            parts: Vec::new(),
        }
    }
}

/// Magnitudes for the sweep of load reflections over all phases, from 0 to below 1; `None` for
/// those of the loads at the centre of the LO range.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ReflectionSweepSettings {
    /// At the mixers' LO ports.
    pub mixer_reflection: Option<f64>,
    /// At the isolated ports of the LO path.
    pub isolated_reflection: Option<f64>,
}

/// The quantities that can be limited for a receiver.
pub const RECEIVER_QUANTITIES: [Quantity; 10] = [
    Quantity::ImageRejection,
    Quantity::AmplitudeImbalance,
    Quantity::QuadratureError,
    Quantity::LoPower,
    Quantity::ConversionLoss,
    Quantity::NoiseFigure,
    Quantity::LoAtRfPort,
    Quantity::LoPowerMax,
    Quantity::LoTone,
    Quantity::SpuriousResponse,
];

/// Those of them that only a receiver with switched mixers has.
pub const SWITCHING_QUANTITIES: [Quantity; 3] =
    [Quantity::ConversionLoss, Quantity::NoiseFigure, Quantity::LoAtRfPort];

/// For each part the port by which a path first enters it from its input; `None` for parts that the
/// path does not reach. `port_counts` holds the number of ports of each part.
///
/// The search goes from port to port, in the order of the ports: a part joined to a port that is
/// already found is entered there, and left by its other ports if the path continues behind it.
pub(crate) fn entry_ports(
    port_counts: &[usize],
    joins: &[Join],
    input: Terminal,
    goes_on: impl Fn(usize) -> bool,
) -> Vec<Option<Port>> {
    let mut entries: Vec<Option<Port>> = vec![None; port_counts.len()];
    let mut open = VecDeque::from([input]);
    while let Some(terminal) = open.pop_front() {
        for &reached in node_of(joins, &terminal) {
            let entry = &mut entries[reached.block];
            if entry.is_none() {
                *entry = Some(reached.port);
                if goes_on(reached.block) {
                    open.extend(other_ports(port_counts[reached.block], reached));
                }
            }
        }
    }
    entries
}

/// Whether a path goes on behind each part: only the LO passes a stage.
pub(crate) fn whole_path(path: ReceiverPath, is_stage: &[bool]) -> impl Fn(usize) -> bool + '_ {
    move |part| path == ReceiverPath::Lo || !is_stage[part]
}

/// The ports joined to a port, including itself.
pub(super) fn node_of<'a>(joins: &'a [Join], terminal: &'a Terminal) -> &'a [Terminal] {
    let join = joins.iter().find(|join| join.terminals.contains(terminal));
    join.map_or(std::slice::from_ref(terminal), |join| &join.terminals)
}

/// The other ports of a port's part, which has `ports` ports.
pub(super) fn other_ports(ports: usize, of: Terminal) -> impl Iterator<Item = Terminal> {
    (0..ports)
        .map(move |port| Terminal { block: of.block, port: Port::from_index(port) })
        .filter(move |port| *port != of)
}
