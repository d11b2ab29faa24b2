//! What the elements meet at one sideband: RF network with its source, IF loads, capacitances, and
//! the mean conductances of the elements themselves.
//!
//! With waves a into and b = S a + c out of the fixed network at its nodes, references r, ρ = √r and
//! shunt admittances Y the voltages are v = ρ((1 + S) a + p) and the element currents at the nodes
//! ρ A i = -B a + s with B = (1 - S) + ρYρ (1 + S); a source wave c counts as p = c and
//! s = (1 - ρYρ) c, an injected current j as p = 0 and s = ρ j. The elements are i = h0 u + w with
//! u = Aᵀ(v + R A i), h0 the mean and w what the LO makes of all other sidebands. So
//!
//! X a = (1 - Ĥ R̂) s - Ĥ p - ρ A w,  X = B + Ĥ F,  F = (1 + S) - R̂ B,
//! u = (ρA)ᵀ (F a + p + R̂ s),  Ĥ = ρ A h0 Aᵀ ρ,  R̂ = ρ⁻¹ R ρ⁻¹.
//!
//! Neither Z nor Y of the network need exist: X is singular only where the circuit with its mean
//! conductances has no solution.

use super::conductance_waveform::Waveform;
use super::switched_mixer::{IF_LOAD_REFERENCE_OHM, SidebandData, SwitchedMixer};
use crate::network::Lu;
use num_complex::Complex64;
use std::f64::consts::TAU;

const ZERO: Complex64 = Complex64::ZERO;

/// A sideband at which the circuit with its mean conductances has no solution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct NoSolution {
    pub(super) frequency_hz: f64,
}

/// The fixed part at one sideband, in numbers of nodes N, RF nodes N_r and elements M.
#[derive(Clone, Debug, Default)]
pub(super) struct FixedSideband {
    /// Negative for a conjugate.
    pub(super) frequency_hz: f64,
    /// S of the nodes with the source in place: N by N.
    pub(super) s: Vec<Complex64>,
    /// The wave at each RF node that one watt available from the source sends out.
    pub(super) source: Vec<Complex64>,
    /// The wave out of the RF input for each wave into an RF node, and for the source itself.
    pub(super) out: Vec<Complex64>,
    pub(super) own_out: Complex64,
    /// Reflection of the source and its wave, in the reference of the input.
    pub(super) source_reflection: Complex64,
    pub(super) source_wave: Complex64,
    /// u = u of the sources - P w: M by M.
    pub(super) p: Vec<Complex64>,
    /// Waves into the nodes for each w, with their sign: N by M.
    pub(super) waves_of_w: Vec<Complex64>,
    /// Waves into the nodes, and u, for each wave c out of an RF node: N by N_r and M by N_r.
    pub(super) waves_of_c: Vec<Complex64>,
    pub(super) u_of_c: Vec<Complex64>,
    /// The same for each injected current, where asked: N by N and M by N.
    pub(super) waves_of_current: Vec<Complex64>,
    pub(super) u_of_current: Vec<Complex64>,
    /// Nodes that float at 0 Hz, by the number of their island.
    pub(super) island: Vec<Option<usize>>,
}

/// Buffers and what is the same at all sidebands.
#[derive(Clone, Debug)]
pub(super) struct SidebandReducer {
    n: usize,
    lu: Lu,
    rho: Vec<f64>,
    shunt: Vec<Complex64>,
    b: Vec<Complex64>,
    f: Vec<Complex64>,
    x: Vec<Complex64>,
    /// Ĥ, R̂ and Ĥ R̂: N by N, real.
    h: Vec<f64>,
    r: Vec<f64>,
    hr: Vec<f64>,
    rhs: Vec<Complex64>,
}

impl SidebandReducer {
    pub(super) fn new(mixer: &SwitchedMixer) -> Self {
        let n = mixer.nodes();
        let complex = || vec![ZERO; n * n];
        let real = || vec![0.0; n * n];
        Self {
            n,
            lu: Lu::new(n),
            rho: (0..n).map(|node| mixer.node_reference_ohm(node).sqrt()).collect(),
            shunt: complex(),
            b: complex(),
            f: complex(),
            x: complex(),
            h: real(),
            r: real(),
            hr: real(),
            rhs: Vec::new(),
        }
    }

    /// Takes the mean conductances and the resistance beyond, ohm between nodes.
    pub(super) fn set(
        &mut self,
        mixer: &SwitchedMixer,
        conductance: &Waveform,
        beyond_ohm: &[f64],
    ) {
        let n = self.n;
        for row in 0..n {
            for column in 0..n {
                let scale = self.rho[row] * self.rho[column];
                self.r[row * n + column] = beyond_ohm[row * n + column] / scale;
            }
        }
        self.h.fill(0.0);
        for (one, other) in pairs(mixer.elements().len()) {
            let mean = conductance.at(0, one, other).re;
            for (row, sign) in signed_ends(mixer, one) {
                for (column, other_sign) in signed_ends(mixer, other) {
                    self.h[row * n + column] +=
                        sign * other_sign * mean * self.rho[row] * self.rho[column];
                }
            }
        }
        for row in 0..n {
            for column in 0..n {
                self.hr[row * n + column] =
                    (0..n).map(|k| self.h[row * n + k] * self.r[k * n + column]).sum();
            }
        }
    }

    /// Solves one sideband; `with_currents` where injected currents are needed too.
    pub(super) fn reduce(
        &mut self,
        mixer: &SwitchedMixer,
        data: &SidebandData<'_>,
        sideband: isize,
        with_currents: bool,
        into: &mut FixedSideband,
    ) -> Result<(), NoSolution> {
        self.close(mixer, data, sideband, into)?;
        self.fill_shunts(mixer, TAU * into.frequency_hz);
        into.island.clear();
        if into.frequency_hz == 0.0 {
            self.ground_islands(into);
        }
        self.fill_system(&into.s);
        let failed = NoSolution { frequency_hz: into.frequency_hz };
        self.lu.factor(&self.x).map_err(|_| failed)?;
        self.solve_columns(mixer, with_currents, into);
        Ok(())
    }

    /// S of the nodes at a sideband, with source and IF loads in place.
    pub(super) fn close(
        &self,
        mixer: &SwitchedMixer,
        data: &SidebandData<'_>,
        sideband: isize,
        into: &mut FixedSideband,
    ) -> Result<(), NoSolution> {
        let frequency_hz = data.frequency_hz(sideband);
        into.frequency_hz = frequency_hz;
        let as_there = |value: Complex64| if frequency_hz < 0.0 { value.conj() } else { value };
        close_with_source(mixer, (data.rf)(sideband), &as_there, into)
            .ok_or(NoSolution { frequency_hz })?;
        let load = as_there((data.if_load)(sideband));
        for node in mixer.rf_nodes()..self.n {
            into.s[node * self.n + node] = load;
        }
        Ok(())
    }

    /// ρYρ: capacitances of the elements, and the resistances between the nodes of a channel.
    fn fill_shunts(&mut self, mixer: &SwitchedMixer, radians_per_s: f64) {
        self.shunt.fill(ZERO);
        for (at, element) in mixer.elements().iter().enumerate() {
            let [rf, intermediate] = mixer.ends(at);
            let across = element.switch.settings().off_f;
            self.add_between([rf, intermediate], Complex64::new(0.0, radians_per_s * across));
            self.add_to_ground(rf, Complex64::new(0.0, radians_per_s * element.lo_to_rf_f));
            self.add_to_ground(
                intermediate,
                Complex64::new(0.0, radians_per_s * element.lo_to_if_f),
            );
        }
        if let Some(ohm) = mixer.settings().differential_ohm {
            for pair in mixer.differential_pairs() {
                self.add_between(pair, Complex64::from(1.0 / ohm));
            }
        }
    }

    fn add_to_ground(&mut self, node: usize, siemens: Complex64) {
        self.shunt[node * self.n + node] += siemens * self.rho[node] * self.rho[node];
    }

    fn add_between(&mut self, [one, other]: [usize; 2], siemens: Complex64) {
        self.add_to_ground(one, siemens);
        self.add_to_ground(other, siemens);
        let mutual = siemens * self.rho[one] * self.rho[other];
        self.shunt[one * self.n + other] -= mutual;
        self.shunt[other * self.n + one] -= mutual;
    }

    /// B, F and X from S and the shunts.
    fn fill_system(&mut self, s: &[Complex64]) {
        let n = self.n;
        for row in 0..n {
            for column in 0..n {
                let at = row * n + column;
                let own = f64::from(u8::from(row == column));
                let shunted: Complex64 =
                    (0..n).map(|k| self.shunt[row * n + k] * s[k * n + column]).sum();
                self.b[at] = own - s[at] + self.shunt[at] + shunted;
            }
        }
        for row in 0..n {
            for column in 0..n {
                let at = row * n + column;
                let own = f64::from(u8::from(row == column));
                let beyond: Complex64 =
                    (0..n).map(|k| self.r[row * n + k] * self.b[k * n + column]).sum();
                self.f[at] = own + s[at] - beyond;
            }
        }
        for row in 0..n {
            for column in 0..n {
                let mean: Complex64 =
                    (0..n).map(|k| self.h[row * n + k] * self.f[k * n + column]).sum();
                self.x[row * n + column] = self.b[row * n + column] + mean;
            }
        }
    }

    /// The right sides for w, c and currents, solved together.
    fn solve_columns(
        &mut self,
        mixer: &SwitchedMixer,
        with_currents: bool,
        into: &mut FixedSideband,
    ) {
        let (n, elements, rf_nodes) = (self.n, mixer.elements().len(), mixer.rf_nodes());
        let currents = if with_currents { n } else { 0 };
        let columns = elements + rf_nodes + currents;
        self.rhs.clear();
        self.rhs.resize(n * columns, ZERO);
        for element in 0..elements {
            for (node, sign) in signed_ends(mixer, element) {
                self.rhs[node * columns + element] -= sign * self.rho[node];
            }
        }
        for row in 0..n {
            for node in 0..rf_nodes {
                let mut value = -Complex64::from(self.h[row * n + node]);
                for k in 0..n {
                    let s = self.wave_as_current(k, node);
                    value += (f64::from(u8::from(row == k)) - self.hr[row * n + k]) * s;
                }
                self.rhs[row * columns + elements + node] = value;
            }
            for node in 0..currents {
                let own = f64::from(u8::from(row == node)) - self.hr[row * n + node];
                self.rhs[row * columns + elements + rf_nodes + node] =
                    Complex64::from(own * self.rho[node]);
            }
        }
        self.lu.solve(&mut self.rhs, columns);
        let part = |start: usize, count: usize, into: &mut Vec<Complex64>| {
            into.clear();
            for row in self.rhs.chunks_exact(columns) {
                into.extend(&row[start..start + count]);
            }
        };
        part(0, elements, &mut into.waves_of_w);
        part(elements, rf_nodes, &mut into.waves_of_c);
        part(elements + rf_nodes, currents, &mut into.waves_of_current);
        self.branch_values(mixer, &into.waves_of_w, elements, |_, _| ZERO, &mut into.p);
        into.p.iter_mut().for_each(|value| *value = -*value);
        let direct = |node: usize, column: usize| {
            let own = f64::from(u8::from(node == column));
            let beyond: Complex64 =
                (0..n).map(|k| self.r[node * n + k] * self.wave_as_current(k, column)).sum();
            own + beyond
        };
        self.branch_values(mixer, &into.waves_of_c, rf_nodes, direct, &mut into.u_of_c);
        let direct = |node: usize, column: usize| {
            Complex64::from(self.r[node * n + column] * self.rho[column])
        };
        self.branch_values(mixer, &into.waves_of_current, currents, direct, &mut into.u_of_current);
    }

    /// s of a wave c out of an RF node: (1 - ρYρ) c.
    fn wave_as_current(&self, node: usize, column: usize) -> Complex64 {
        f64::from(u8::from(node == column)) - self.shunt[node * self.n + column]
    }

    /// (ρA)ᵀ (F a + direct), for columns of a.
    fn branch_values(
        &self,
        mixer: &SwitchedMixer,
        waves: &[Complex64],
        columns: usize,
        direct: impl Fn(usize, usize) -> Complex64,
        into: &mut Vec<Complex64>,
    ) {
        let n = self.n;
        into.clear();
        for element in 0..mixer.elements().len() {
            for column in 0..columns {
                let mut sum = ZERO;
                for (node, sign) in signed_ends(mixer, element) {
                    let row = &self.f[node * n..(node + 1) * n];
                    let driven: Complex64 =
                        row.iter().enumerate().map(|(k, f)| f * waves[k * columns + column]).sum();
                    sum += sign * self.rho[node] * (driven + direct(node, column));
                }
                into.push(sum);
            }
        }
    }

    /// At 0 Hz, a node of every island without a way to ground is grounded by a resistance. No current
    /// flows there, so voltages within the island and everything else stay as they are.
    fn ground_islands(&mut self, into: &mut FixedSideband) {
        let n = self.n;
        let mut island: Vec<usize> = (0..n).collect();
        for row in 0..n {
            for column in 0..n {
                let is_joined = into.s[row * n + column].norm() > 1e-12
                    || self.shunt[row * n + column].norm() > 0.0
                    || self.h[row * n + column] != 0.0;
                if is_joined && row != column {
                    let (from, to) = (island[row], island[column]);
                    island.iter_mut().filter(|own| **own == from).for_each(|own| *own = to);
                }
            }
        }
        into.island.resize(n, None);
        for (first, &own) in island.iter().enumerate() {
            if own != first {
                continue;
            }
            let inside = |node: usize| island[node] == first;
            // One volt at all its nodes drives no current: the waves in and out are equal.
            let wave = |node: usize| 1.0 / self.rho[node];
            let floats = (0..n).filter(|node| inside(*node)).all(|row| {
                let out: Complex64 =
                    (0..n).filter(|k| inside(*k)).map(|k| into.s[row * n + k] * wave(k)).sum();
                (out - wave(row)).norm() < 1e-9 * wave(row)
            });
            if floats {
                self.add_to_ground(first, Complex64::from(1.0 / IF_LOAD_REFERENCE_OHM));
                (0..n)
                    .filter(|node| inside(*node))
                    .for_each(|node| into.island[node] = Some(first));
            }
        }
    }
}

/// The nodes of an element with the sign of its current out of them.
pub(super) fn signed_ends(mixer: &SwitchedMixer, element: usize) -> [(usize, f64); 2] {
    let [rf, intermediate] = mixer.ends(element);
    [(rf, 1.0), (intermediate, -1.0)]
}

/// All ordered pairs of numbers below `count`.
pub(super) fn pairs(count: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..count).flat_map(move |one| (0..count).map(move |other| (one, other)))
}

/// Closes the RF network at its input; `None` where that has no solution.
fn close_with_source(
    mixer: &SwitchedMixer,
    full: &[Complex64],
    as_there: &impl Fn(Complex64) -> Complex64,
    into: &mut FixedSideband,
) -> Option<()> {
    let (n, rf_nodes) = (mixer.nodes(), mixer.rf_nodes());
    let ports = rf_nodes + 1;
    let is_direct = into.frequency_hz == 0.0;
    let value = |row: usize, column: usize| {
        let own = as_there(full[row * ports + column]);
        if is_direct { Complex64::from(own.re) } else { own }
    };
    let reference_ohm = mixer.settings().references_ohm[0];
    let source_ohm = match is_direct {
        true => Complex64::from(mixer.settings().source_ohm.re),
        false => as_there(mixer.settings().source_ohm),
    };
    let reflection = (source_ohm - reference_ohm) / (source_ohm + reference_ohm);
    let wave = 2.0 * (source_ohm.re * reference_ohm).sqrt() / (source_ohm + reference_ohm);
    let loop_gain = 1.0 - value(0, 0) * reflection;
    if loop_gain.norm() < 1e-14 {
        return None;
    }
    (into.source_reflection, into.source_wave) = (reflection, wave);
    into.own_out = value(0, 0) * wave / loop_gain;
    into.out.clear();
    into.out.extend((0..rf_nodes).map(|node| value(0, node + 1) / loop_gain));
    into.source.clear();
    into.source.extend((0..rf_nodes).map(|node| value(node + 1, 0) * wave / loop_gain));
    into.s.clear();
    into.s.resize(n * n, ZERO);
    for (row, column) in pairs(rf_nodes) {
        into.s[row * n + column] =
            value(row + 1, column + 1) + value(row + 1, 0) * reflection * into.out[column];
    }
    Some(())
}
