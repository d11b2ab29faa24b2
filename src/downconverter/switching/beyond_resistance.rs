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
    pub(super) fn none(mixer: &SwitchedMixer) -> Self {
        let (n, elements) = (mixer.nodes(), mixer.elements().len());
        Self {
            nodes_ohm: vec![0.0; n * n],
            elements_ohm: vec![0.0; elements * elements],
            elements_rf_ohm: vec![0.0; elements * elements],
        }
    }

    /// From what the nodes see at the last sideband, whose network is in `last`.
    pub(super) fn of(mixer: &SwitchedMixer, last: &FixedSideband) -> Self {
        let mut found = Self::none(mixer);
        let (n, rf_nodes) = (mixer.nodes(), mixer.rf_nodes());
        let mut holds = vec![false; n];
        for (at, element) in mixer.elements().iter().enumerate() {
            let [rf, intermediate] = mixer.ends(at);
            let across = element.switch.settings().off_f > 0.0;
            holds[rf] |= across || element.lo_to_rf_f > 0.0;
            holds[intermediate] |= across || element.lo_to_if_f > 0.0;
        }
        for nodes in [0..rf_nodes, rf_nodes..n] {
            let nodes: Vec<usize> = nodes.collect();
            let Some(own) = Block::new(mixer, last, &nodes) else { continue };
            for (place, &node) in nodes.iter().enumerate() {
                match own.impedance(&vec![false; nodes.len()]) {
                    Some(ohm) => {
                        let at_node = ohm[place * nodes.len() + place];
                        holds[node] |= -at_node.im > at_node.re;
                    }
                    // Where there is no Z nothing can be said of the node.
                    None => holds[node] = true,
                }
            }
            let held: Vec<bool> = nodes.iter().map(|&node| holds[node]).collect();
            let Some(ohm) = own.impedance(&held) else { continue };
            for (one, other) in pairs(nodes.len()) {
                if !held[one] && !held[other] {
                    let both = ohm[one * nodes.len() + other] + ohm[other * nodes.len() + one];
                    found.nodes_ohm[nodes[one] * n + nodes[other]] = 0.5 * both.re;
                }
            }
        }
        found.fill_elements(mixer);
        found
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
}

/// Some nodes of the fixed network, without the elements.
struct Block {
    size: usize,
    /// Currents into the nodes and voltages at them, for waves into the network.
    current: Vec<Complex64>,
    voltage: Vec<Complex64>,
}

impl Block {
    fn new(mixer: &SwitchedMixer, last: &FixedSideband, nodes: &[usize]) -> Option<Self> {
        let (n, size) = (mixer.nodes(), nodes.len());
        let rho = |at: usize| mixer.node_reference_ohm(nodes[at]).sqrt();
        let entry = |row: usize, column: usize| last.s[nodes[row] * n + nodes[column]];
        let one = |row: usize, column: usize| f64::from(u8::from(row == column));
        let mut current = vec![ZERO; size * size];
        let mut voltage = vec![ZERO; size * size];
        for (row, column) in pairs(size) {
            let s = entry(row, column);
            current[row * size + column] = (one(row, column) - s) / rho(row);
            voltage[row * size + column] = (one(row, column) + s) * rho(row);
        }
        let place = |node: usize| nodes.iter().position(|own| *own == node);
        if let Some(ohm) = mixer.settings().differential_ohm {
            for [plus, minus] in mixer.differential_pairs() {
                let (Some(plus), Some(minus)) = (place(plus), place(minus)) else { continue };
                for column in 0..size {
                    let across = voltage[plus * size + column] - voltage[minus * size + column];
                    current[plus * size + column] += across / ohm;
                    current[minus * size + column] -= across / ohm;
                }
            }
        }
        (size > 0).then_some(Self { size, current, voltage })
    }

    /// Z of the nodes that are not grounded, zero elsewhere; `None` where it does not exist.
    fn impedance(&self, grounded: &[bool]) -> Option<Vec<Complex64>> {
        let size = self.size;
        let mut system = self.current.clone();
        let mut waves = vec![ZERO; size * size];
        for (node, &is_grounded) in grounded.iter().enumerate() {
            if is_grounded {
                let row = node * size..(node + 1) * size;
                system[row.clone()].copy_from_slice(&self.voltage[row]);
            } else {
                waves[node * size + node] = Complex64::ONE;
            }
        }
        let mut lu = Lu::new(size);
        lu.factor(&system).ok()?;
        lu.solve(&mut waves, size);
        let mut ohm = vec![ZERO; size * size];
        for (row, column) in pairs(size) {
            ohm[row * size + column] =
                (0..size).map(|k| self.voltage[row * size + k] * waves[k * size + column]).sum();
        }
        Some(ohm)
    }
}
