//! What is solved: switched elements between RF nodes and IF nodes, and what stands around them.

use super::switch::Switch;
use crate::downconverter::error::{ReceiverError, Result};
use crate::downconverter::iq_balance::Channel;
use num_complex::Complex64;

/// The reference in which the reflection of the IF load is given, ohm.
pub const IF_LOAD_REFERENCE_OHM: f64 = 50.0;

/// A switched element and the nodes it joins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchedElement {
    /// The element itself.
    pub switch: Switch,
    /// Capacitance from its LO node to its RF node, F.
    pub lo_to_rf_f: f64,
    /// Capacitance from its LO node to its IF node, F.
    pub lo_to_if_f: f64,
    /// The place of its RF node among the RF nodes.
    pub rf_node: usize,
    /// The place of its IF node among the IF nodes.
    pub if_node: usize,
}

/// An IF node: the elements of one channel and polarity share it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct IfNode {
    /// The channel.
    pub channel: Channel,
    /// Whether its voltage is subtracted.
    pub is_subtracted: bool,
}

/// Everything about switched mixers that does not change with frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchedMixerSettings {
    /// The elements; at least one.
    pub elements: Vec<SwitchedElement>,
    /// The IF nodes, each once.
    pub if_nodes: Vec<IfNode>,
    /// Reference impedances of the RF network, ohm: of its input, then of each RF node.
    pub references_ohm: Vec<f64>,
    /// Impedance of the RF source, ohm.
    pub source_ohm: Complex64,
    /// Resistance between the two IF nodes of a channel, ohm.
    pub differential_ohm: Option<f64>,
    /// n: RF = n LO ± IF.
    pub lo_harmonic: usize,
    /// Temperature of the RF network, its loads and the elements, K; the source is at 290 K.
    pub temperature_k: f64,
}

/// Switched mixers, checked: every element's nodes exist, and every node has an element.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchedMixer(SwitchedMixerSettings);

impl SwitchedMixer {
    /// Checks the settings.
    ///
    /// # Errors
    /// [`ReceiverError::NoSuch`] for a node that does not exist, [`ReceiverError::OutOfRange`] for a
    /// value outside its range.
    pub fn new(settings: SwitchedMixerSettings) -> Result<Self> {
        let rf_nodes = settings.references_ohm.len().saturating_sub(1);
        let missing = |what: String| Err(ReceiverError::NoSuch { what });
        if settings.elements.is_empty() {
            return missing("switched element".to_owned());
        }
        for element in &settings.elements {
            if element.rf_node >= rf_nodes {
                return missing(format!("RF node {}", element.rf_node + 1));
            }
            if element.if_node >= settings.if_nodes.len() {
                return missing(format!("IF node {}", element.if_node + 1));
            }
        }
        let refuse =
            |what, expected, found| Err(ReceiverError::OutOfRange { what, expected, found });
        let capacitances =
            settings.elements.iter().flat_map(|own| [own.lo_to_rf_f, own.lo_to_if_f]);
        if let Some(found) = capacitances.into_iter().find(|farad| !(0.0..=1e-6).contains(farad)) {
            return refuse("the capacitance from an LO node", "from 0 to 1e9 fF", found * 1e15);
        }
        let mut references = settings.references_ohm.iter();
        if let Some(&found) = references.find(|ohm| !(1e-3..=1e6).contains(*ohm)) {
            return refuse("a reference impedance", "from 0.001 to 1e6 ohm", found);
        }
        if !(settings.source_ohm.re > 0.0 && settings.source_ohm.is_finite()) {
            return refuse("the resistance of the RF source", "above 0", settings.source_ohm.re);
        }
        if let Some(found) = settings.differential_ohm.filter(|ohm| !(1e-3..=1e12).contains(ohm)) {
            return refuse("differential_ohm", "from 0.001 to 1e12", found);
        }
        if !(0.0..=1e6).contains(&settings.temperature_k) {
            return refuse("temperature_k", "from 0 to 1e6", settings.temperature_k);
        }
        if !(1..=1000).contains(&settings.lo_harmonic) {
            #[expect(clippy::cast_precision_loss, reason = "shown in a message")]
            let found = settings.lo_harmonic as f64;
            return refuse("lo_harmonic", "from 1 to 1000", found);
        }
        Ok(Self(settings))
    }

    /// The settings.
    pub fn settings(&self) -> &SwitchedMixerSettings {
        &self.0
    }

    /// The elements.
    pub fn elements(&self) -> &[SwitchedElement] {
        &self.0.elements
    }

    /// The IF nodes.
    pub fn if_nodes(&self) -> &[IfNode] {
        &self.0.if_nodes
    }

    /// The number of RF nodes.
    pub fn rf_nodes(&self) -> usize {
        self.0.references_ohm.len() - 1
    }

    /// The number of all nodes: RF nodes, then IF nodes.
    pub(super) fn nodes(&self) -> usize {
        self.rf_nodes() + self.0.if_nodes.len()
    }

    /// The reference of a node, ohm.
    pub(super) fn node_reference_ohm(&self, node: usize) -> f64 {
        self.0.references_ohm.get(node + 1).copied().unwrap_or(IF_LOAD_REFERENCE_OHM)
    }

    /// The two nodes that an element joins.
    pub(super) fn ends(&self, element: usize) -> [usize; 2] {
        let own = &self.0.elements[element];
        [own.rf_node, self.rf_nodes() + own.if_node]
    }

    /// Pairs of IF nodes with the resistance between them, counted among all nodes.
    pub(super) fn differential_pairs(&self) -> impl Iterator<Item = [usize; 2]> + '_ {
        let has = self.0.differential_ohm.is_some();
        let nodes = self.0.if_nodes.iter().enumerate().filter(move |_| has);
        nodes.filter_map(|(at, node)| {
            let partner = self.0.if_nodes[at + 1..].iter().position(|other| {
                other.channel == node.channel && other.is_subtracted != node.is_subtracted
            })?;
            let first = self.rf_nodes() + at;
            Some([first, first + 1 + partner])
        })
    }
}

/// What stands around the elements at the sidebands of one LO and IF.
///
/// Sidebands are numbered from -K to K, at f_IF + k f_LO; what stands at a negative frequency is
/// given at the positive one and conjugated by the solver.
pub struct SidebandData<'a> {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz; 0 for LO leakage.
    pub if_hz: f64,
    /// K.
    pub sidebands: usize,
    /// S of the RF network, row by row, at |f_k|: its input, then the RF nodes, with everything that
    /// stands at them but the source and the elements.
    pub rf: &'a dyn Fn(isize) -> &'a [Complex64],
    /// Reflection of the load of an IF node at |f_k|, in [`IF_LOAD_REFERENCE_OHM`].
    pub if_load: &'a dyn Fn(isize) -> Complex64,
}

impl SidebandData<'_> {
    /// The frequency of a sideband, Hz; negative for one that stands for a conjugate.
    pub fn frequency_hz(&self, sideband: isize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "sidebands are few")]
        let order = sideband as f64;
        self.if_hz + order * self.lo_hz
    }
}
