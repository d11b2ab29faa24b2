//! The nodes of a receiver's switched mixers: RF nodes by joins, IF nodes by channel and polarity.

use super::error::{ReceiverError, Result};
use super::receiver_setup::{ReceiverSetup, node_of};
use super::switching::{IfNode, SwitchedElement, SwitchedMixer, SwitchedMixerSettings};
use crate::network::Terminal;

/// The switched mixers of a receiver; `has_lo_power` whether the plan or an LO chain gives the LO power.
///
/// # Errors
/// [`ReceiverError`] for a setup without switches, for values outside their range, for one without LO
/// power, and for a mixer at the RF input itself.
pub(super) fn switched_mixer(setup: &ReceiverSetup, has_lo_power: bool) -> Result<SwitchedMixer> {
    let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
    let switching = setup.switching.as_ref().ok_or_else(missing)?;
    switching.check(setup.mixers.len(), setup.parts.len(), setup.loads.len())?;
    let plan = setup.plan.settings();
    if !has_lo_power {
        return Err(ReceiverError::NoSwitchPower);
    }
    let found = plan.lo_multiplication_after_split;
    if found != 1 {
        let what = "lo_multiplication_after_split of switched mixers";
        return Err(ReceiverError::OutOfRange { what, expected: "1", found: f64::from(found) });
    }
    let harmonic = usize::try_from(plan.lo_harmonic).unwrap_or(usize::MAX);
    let sidebands = switching.sidebands.unwrap_or(super::switching_setup::MOST_SIDEBANDS);
    if harmonic > sidebands {
        return Err(ReceiverError::TooFewSidebands { harmonic, sidebands });
    }
    let input = setup.inputs.rf.at;
    let mut rf_nodes: Vec<Terminal> = Vec::new();
    let mut if_nodes: Vec<IfNode> = Vec::new();
    let mut elements = Vec::new();
    for (mixer, own) in setup.mixers.iter().zip(&switching.elements) {
        if mixer.ports.rf == input {
            return Err(ReceiverError::MixerAtInput { mixer: mixer.name.clone() });
        }
        let node = IfNode { channel: mixer.channel, is_subtracted: mixer.is_subtracted };
        elements.push(SwitchedElement {
            switch: own.switch,
            lo_to_rf_f: own.lo_to_rf_f,
            lo_to_if_f: own.lo_to_if_f,
            rf_node: rf_node(setup, &mut rf_nodes, mixer.ports.rf),
            if_node: if_nodes.iter().position(|other| *other == node).unwrap_or_else(|| {
                if_nodes.push(node);
                if_nodes.len() - 1
            }),
        });
    }
    let reference_ohm =
        |terminal: &Terminal| setup.references.of_node(node_of(&setup.joins, terminal));
    SwitchedMixer::new(SwitchedMixerSettings {
        elements,
        if_nodes,
        references_ohm: std::iter::once(&input).chain(&rf_nodes).map(reference_ohm).collect(),
        source_ohm: setup.inputs.rf.source_ohm,
        differential_ohm: switching.if_load.differential_ohm,
        lo_harmonic: harmonic,
        temperature_k: switching.temperature_k,
    })
}

/// The place of a port's node among the RF nodes, to which it is added if it is new.
fn rf_node(setup: &ReceiverSetup, nodes: &mut Vec<Terminal>, port: Terminal) -> usize {
    let node = node_of(&setup.joins, &port);
    nodes.iter().position(|known| node.contains(known)).unwrap_or_else(|| {
        nodes.push(port);
        nodes.len() - 1
    })
}
