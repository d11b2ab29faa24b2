//! The resistance in which nodes end beyond the sidebands that are kept.
//!
//! A hard switch makes voltage and current jump together, and a product of two jumps is poorly given
//! by a few sidebands. With j = Y(t) v the currents of all elements, j = H (v + R j) and
//! H = (1 + Y R)⁻¹ Y; where R is the resistance that the nodes see far above the LO, v + R j is
//! smooth. R is zero at nodes with a capacitance, which hold their voltage.

use super::fixed_sideband::{FixedSideband, pairs, signed_ends};
use super::switched_mixer::SwitchedMixer;
use crate::network::Lu;
use num_complex::Complex64;
use std::ops::Range;

const ZERO: Complex64 = Complex64::ZERO;

/// R between the nodes, ohm, and its forms between the elements' terminals.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct BeyondResistance {
    /// N by N.
    pub(super) nodes_ohm: Vec<f64>,
    /// M by M.
    pub(super) elements_ohm: Vec<f64>,
    /// M by M, of the RF nodes alone.
    pub(super) elements_rf_ohm: Vec<f64>,
}

impl BeyondResistance {
    /// None: the nodes are shorted beyond.
    pub(super) fn set_none(&mut self, mixer: &SwitchedMixer) {
        let (n, elements) = (mixer.nodes(), mixer.elements().len());
        for (part, count) in [
            (&mut self.nodes_ohm, n * n),
            (&mut self.elements_ohm, elements * elements),
            (&mut self.elements_rf_ohm, elements * elements),
        ] {
            part.clear();
            part.resize(count, 0.0);
        }
    }

    /// A matrix between the nodes, RF nodes first, ohm; nothing where it is of another size.
    pub(super) fn set_given(&mut self, mixer: &SwitchedMixer, nodes_ohm: &[f64]) {
        self.set_none(mixer);
        if nodes_ohm.len() == self.nodes_ohm.len() {
            self.nodes_ohm.copy_from_slice(nodes_ohm);
            self.fill_elements(mixer);
        }
    }

    /// From what the nodes see at the last sideband, whose network is in `last`.
    pub(super) fn set_from(
        &mut self,
        mixer: &SwitchedMixer,
        last: &FixedSideband,
        buffers: &mut Termination,
    ) {
        self.set_none(mixer);
        let (n, rf_nodes) = (mixer.nodes(), mixer.rf_nodes());
        let Termination { holds, block } = buffers;
        holds.clear();
        holds.resize(n, false);
        for (at, element) in mixer.elements().iter().enumerate() {
            let [rf, intermediate] = mixer.ends(at);
            let across = element.switch.settings().off_f > 0.0;
            holds[rf] |= across || element.lo_to_rf_f > 0.0;
            holds[intermediate] |= across || element.lo_to_if_f > 0.0;
        }
        for (first, count) in [(0, rf_nodes), (rf_nodes, n - rf_nodes)] {
            let own = first..first + count;
            if holds[own.clone()].iter().all(|held| *held) {
                continue;
            }
            block.fill(mixer, last, own.clone());
            // Where there is no Z nothing can be said of the nodes.
            if !block.find_impedance(&[]) {
                continue;
            }
            for node in own.clone() {
                let at_node = block.ohm(node - first, node - first);
                holds[node] |= -at_node.im > at_node.re;
            }
            if !block.find_impedance(&holds[own]) {
                continue;
            }
            for (one, other) in pairs(count) {
                let (from, to) = (first + one, first + other);
                if !holds[from] && !holds[to] {
                    let both = block.ohm(one, other) + block.ohm(other, one);
                    self.nodes_ohm[from * n + to] = 0.5 * both.re;
                }
            }
        }
        self.fill_elements(mixer);
    }

    fn fill_elements(&mut self, mixer: &SwitchedMixer) {
        let (n, elements) = (mixer.nodes(), mixer.elements().len());
        for (one, other) in pairs(elements) {
            let at = one * elements + other;
            for (row, sign) in signed_ends(mixer, one) {
                for (column, other_sign) in signed_ends(mixer, other) {
                    let ohm = sign * other_sign * self.nodes_ohm[row * n + column];
                    self.elements_ohm[at] += ohm;
                    if row < mixer.rf_nodes() {
                        self.elements_rf_ohm[at] += ohm;
                    }
                }
            }
        }
    }

    /// Whether every node holds its voltage.
    pub(super) fn is_none(&self) -> bool {
        self.nodes_ohm.iter().all(|ohm| *ohm == 0.0)
    }

    /// Takes the values of another without a new buffer.
    pub(super) fn copy_from(&mut self, other: &Self) {
        self.nodes_ohm.clone_from(&other.nodes_ohm);
        self.elements_ohm.clone_from(&other.elements_ohm);
        self.elements_rf_ohm.clone_from(&other.elements_rf_ohm);
    }
}

/// Buffers for finding in what the nodes end.
#[derive(Clone, Debug, Default)]
pub(super) struct Termination {
    /// Which nodes hold their voltage.
    holds: Vec<bool>,
    block: Block,
}

/// Some nodes of the fixed network, without the elements.
#[derive(Clone, Debug, Default)]
struct Block {
    size: usize,
    /// Currents into the nodes and voltages at them, for waves into the network.
    current: Vec<Complex64>,
    voltage: Vec<Complex64>,
    system: Vec<Complex64>,
    waves: Vec<Complex64>,
    lu: Lu,
}

impl Block {
    fn fill(&mut self, mixer: &SwitchedMixer, last: &FixedSideband, nodes: Range<usize>) {
        let (n, size, first) = (mixer.nodes(), nodes.len(), nodes.start);
        self.size = size;
        self.lu.resize(size);
        for part in [&mut self.current, &mut self.voltage] {
            part.clear();
            part.resize(size * size, ZERO);
        }
        for (row, column) in pairs(size) {
            let rho = mixer.node_reference_ohm(first + row).sqrt();
            let own = f64::from(u8::from(row == column));
            let s = last.s[(first + row) * n + first + column];
            self.current[row * size + column] = (own - s) / rho;
            self.voltage[row * size + column] = (own + s) * rho;
        }
        let Some(ohm) = mixer.settings().differential_ohm else { return };
        for [plus, minus] in mixer.differential_pairs() {
            if !(nodes.contains(&plus) && nodes.contains(&minus)) {
                continue;
            }
            let (plus, minus) = (plus - first, minus - first);
            for column in 0..size {
                let across =
                    self.voltage[plus * size + column] - self.voltage[minus * size + column];
                self.current[plus * size + column] += across / ohm;
                self.current[minus * size + column] -= across / ohm;
            }
        }
    }

    /// Finds the waves of a current into each node, those with a mark grounded; whether they exist.
    fn find_impedance(&mut self, grounded: &[bool]) -> bool {
        let size = self.size;
        self.system.clone_from(&self.current);
        self.waves.clear();
        self.waves.resize(size * size, ZERO);
        for node in 0..size {
            if grounded.get(node).copied().unwrap_or(false) {
                let row = node * size..(node + 1) * size;
                self.system[row.clone()].copy_from_slice(&self.voltage[row]);
            } else {
                self.waves[node * size + node] = Complex64::ONE;
            }
        }
        if self.lu.factor(&self.system).is_err() {
            return false;
        }
        self.lu.solve(&mut self.waves, size);
        true
    }

    /// An entry of Z, zero for nodes that are grounded.
    fn ohm(&self, row: usize, column: usize) -> Complex64 {
        let size = self.size;
        (0..size).map(|k| self.voltage[row * size + k] * self.waves[k * size + column]).sum()
    }
}
