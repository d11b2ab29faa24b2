//! The linear time-varying solution: all sidebands of all elements at one LO and IF.
//!
//! In:  the network around the elements at every sideband, and the LO voltages.
//! Out: voltages at the IF nodes for one watt in either sideband, and the transfer from every sideband
//!      to them, from which noise follows.
//!
//! u_k = u_k(sources) - P_k w_k and w_k = Σ h_(k-l) u_l over l ≠ k give (1 + P T) u = u(sources): as
//! many unknowns as elements times sidebands. What is wanted at the IF nodes is few, so rows of the
//! inverse are solved for, and every source then costs a product. A. A. M. Saleh, Theory of Resistive
//! Mixers (1971); D. N. Held and A. R. Kerr, IEEE Trans. MTT 26 (1978) 49-61, both from memory.

use super::beyond_resistance::BeyondResistance;
use super::conductance_waveform::{BeyondElements, Driven, Waveforms};
use super::fixed_sideband::{FixedSideband, NoSolution, SidebandReducer};
use super::switched_mixer::{SidebandData, SwitchedMixer};
use crate::downconverter::error::{ReceiverError, Result};
use crate::downconverter::frequency_plan::Sideband;
use crate::network::DenseLu;
use num_complex::Complex64;

const ZERO: Complex64 = Complex64::ZERO;

/// How the nodes end beyond the sidebands that are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BeyondSidebands {
    /// Shorted: the admittance form.
    Shorted,
    /// In the resistance that they see at the last sideband, which converges fast with hard switches.
    Resistance,
}

/// What one watt in a sideband does at the RF side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RfResponse {
    /// Impedance of the RF input with the elements at work, ohm.
    pub input_ohm: Complex64,
    /// Magnitude of the reflection that the source sees, |(Z - Z_s*) / (Z + Z_s)|.
    pub reflection: f64,
    /// Volts at each RF node.
    pub node_v: Vec<Complex64>,
}

/// Solves switched mixers at one point after the other; buffers are kept.
#[derive(Clone, Debug)]
pub struct ConversionSolver {
    pub(super) mixer: SwitchedMixer,
    pub(super) reducer: SidebandReducer,
    pub(super) waveforms: Waveforms,
    pub(super) beyond: BeyondResistance,
    /// What the waveforms were made from.
    made_from: Option<(Vec<Driven>, BeyondResistance, usize)>,
    /// K.
    pub(super) count: usize,
    /// From -K to K.
    pub(super) fixed: Vec<FixedSideband>,
    pub(super) lu: DenseLu,
    /// For each IF node the transfer from u of every sideband.
    pub(super) rows: Vec<Vec<Complex64>>,
    pub(super) scratch: Vec<Complex64>,
}

impl ConversionSolver {
    /// Prepares a solver.
    pub fn new(mixer: SwitchedMixer) -> Self {
        Self {
            reducer: SidebandReducer::new(&mixer),
            waveforms: Waveforms::default(),
            beyond: BeyondResistance::none(&mixer),
            made_from: None,
            count: 0,
            fixed: Vec::new(),
            lu: DenseLu::default(),
            rows: vec![Vec::new(); mixer.if_nodes().len()],
            scratch: Vec::new(),
            mixer,
        }
    }

    /// The mixers.
    pub fn mixer(&self) -> &SwitchedMixer {
        &self.mixer
    }

    /// Solves a point for conversion and noise. `lo_peak_v` holds the peak LO voltage of each element
    /// as a phasor.
    ///
    /// # Errors
    /// [`ReceiverError::NoConversion`] where the circuit has no solution at some sideband.
    pub fn solve(
        &mut self,
        data: &SidebandData<'_>,
        lo_peak_v: &[Complex64],
        beyond: BeyondSidebands,
    ) -> Result<()> {
        self.factor(data, lo_peak_v, beyond, |sideband| sideband == 0)?;
        self.solve_rows();
        Ok(())
    }

    /// Reduces every sideband and factors the system. `with_currents` says at which sidebands currents
    /// are injected.
    pub(super) fn factor(
        &mut self,
        data: &SidebandData<'_>,
        lo_peak_v: &[Complex64],
        beyond: BeyondSidebands,
        with_currents: impl Fn(isize) -> bool,
    ) -> Result<()> {
        let no_solution = |error: NoSolution| ReceiverError::NoConversion {
            lo_hz: data.lo_hz,
            if_hz: data.if_hz,
            frequency_hz: error.frequency_hz.abs(),
        };
        self.count = data.sidebands;
        self.fixed.resize_with(2 * self.count + 1, FixedSideband::default);
        let last = self.count.cast_signed();
        self.beyond = BeyondResistance::none(&self.mixer);
        if beyond == BeyondSidebands::Resistance {
            self.make_waveforms(lo_peak_v);
            self.reducer.set(&self.mixer, &self.waveforms.conductance, &self.beyond.nodes_ohm);
            let place = 2 * self.count;
            self.reducer
                .close(&self.mixer, data, last, &mut self.fixed[place])
                .map_err(no_solution)?;
            self.beyond = BeyondResistance::of(&self.mixer, &self.fixed[place]);
        }
        self.make_waveforms(lo_peak_v);
        self.reducer.set(&self.mixer, &self.waveforms.conductance, &self.beyond.nodes_ohm);
        for (place, sideband) in (-last..=last).enumerate() {
            let asked = with_currents(sideband);
            self.reducer
                .reduce(&self.mixer, data, sideband, asked, &mut self.fixed[place])
                .map_err(no_solution)?;
        }
        self.fill_system();
        self.lu.factor().map_err(|_| no_solution(NoSolution { frequency_hz: data.if_hz }))
    }

    fn make_waveforms(&mut self, lo_peak_v: &[Complex64]) {
        let driven =
            || self.mixer.elements().iter().map(|own| own.switch).zip(lo_peak_v.iter().copied());
        let is_made = self.made_from.as_ref().is_some_and(|(made, beyond, count)| {
            *count == self.count && *beyond == self.beyond && made.iter().copied().eq(driven())
        });
        if is_made {
            return;
        }
        let driven: Vec<Driven> = driven().collect();
        let beyond = (!self.beyond.is_none()).then_some(BeyondElements {
            all_ohm: &self.beyond.elements_ohm,
            rf_ohm: &self.beyond.elements_rf_ohm,
        });
        self.waveforms.fill(&driven, beyond, 2 * self.count);
        self.made_from = Some((driven, self.beyond.clone(), self.count));
    }

    /// The unit matrix plus P T, sideband after sideband, element after element.
    fn fill_system(&mut self) {
        let (elements, sidebands) = (self.mixer.elements().len(), self.fixed.len());
        self.lu.reset_to_unit(elements * sidebands);
        let conductance = &self.waveforms.conductance;
        for (k, fixed) in self.fixed.iter().enumerate() {
            for l in (0..sidebands).filter(|l| *l != k) {
                let order = k.cast_signed() - l.cast_signed();
                for row in 0..elements {
                    for column in 0..elements {
                        let value = if conductance.is_diagonal() {
                            fixed.p[row * elements + column] * conductance.at(order, column, column)
                        } else {
                            (0..elements)
                                .map(|m| {
                                    fixed.p[row * elements + m] * conductance.at(order, m, column)
                                })
                                .sum()
                        };
                        self.lu.add(k * elements + row, l * elements + column, value);
                    }
                }
            }
        }
    }

    /// The transfers to the IF nodes.
    fn solve_rows(&mut self) {
        let (elements, sidebands) = (self.mixer.elements().len(), self.fixed.len());
        for at in 0..self.mixer.if_nodes().len() {
            let mut row = std::mem::take(&mut self.rows[at]);
            row.clear();
            row.resize(elements * sidebands, ZERO);
            for l in (0..sidebands).filter(|l| *l != self.count) {
                let order = self.count.cast_signed() - l.cast_signed();
                for column in 0..elements {
                    row[l * elements + column] = (0..elements)
                        .map(|m| {
                            self.if_v_of_w(at, m) * self.waveforms.conductance.at(order, m, column)
                        })
                        .sum();
                }
            }
            self.lu.solve_right(&mut row);
            self.rows[at] = row;
        }
    }

    /// Volts at an IF node for each w of its own sideband.
    pub(super) fn if_v_of_w(&self, if_node: usize, element: usize) -> Complex64 {
        let columns = self.mixer.elements().len();
        self.if_v(if_node, &self.fixed[self.count].waves_of_w, columns, element)
    }

    /// Volts at an IF node for each wave out of an RF node at f_IF.
    pub(super) fn if_v_of_c(&self, if_node: usize, rf_node: usize) -> Complex64 {
        let columns = self.mixer.rf_nodes();
        self.if_v(if_node, &self.fixed[self.count].waves_of_c, columns, rf_node)
    }

    fn if_v(
        &self,
        if_node: usize,
        waves: &[Complex64],
        columns: usize,
        column: usize,
    ) -> Complex64 {
        let node = self.mixer.rf_nodes() + if_node;
        self.node_v(self.count, node, |k| waves[k * columns + column])
    }

    /// ρ (1 + S) a at a node.
    pub(super) fn node_v(
        &self,
        place: usize,
        node: usize,
        wave: impl Fn(usize) -> Complex64,
    ) -> Complex64 {
        let n = self.mixer.nodes();
        let s = &self.fixed[place].s[node * n..(node + 1) * n];
        let out: Complex64 = s.iter().enumerate().map(|(k, s)| s * wave(k)).sum();
        self.mixer.node_reference_ohm(node).sqrt() * (wave(node) + out)
    }

    /// The place of a sideband of the RF signal.
    pub(super) fn tone(&self, sideband: Sideband) -> Option<usize> {
        let harmonic = self.mixer.settings().lo_harmonic;
        match sideband {
            Sideband::Upper => (harmonic <= self.count).then_some(self.count + harmonic),
            Sideband::Lower => self.count.checked_sub(harmonic),
        }
    }

    /// Volts (rms) at an IF node for one watt available in a sideband; nothing where that sideband is
    /// not among those kept.
    pub fn if_voltage(&self, if_node: usize, sideband: Sideband) -> Complex64 {
        let Some(place) = self.tone(sideband) else { return ZERO };
        self.if_v_of_waves(if_node, place, &self.fixed[place].source)
    }

    /// Volts at an IF node for waves out of the RF nodes at a sideband.
    pub(super) fn if_v_of_waves(
        &self,
        if_node: usize,
        place: usize,
        waves: &[Complex64],
    ) -> Complex64 {
        waves.iter().enumerate().map(|(at, wave)| wave * self.transfer(if_node, place, at)).sum()
    }

    /// Volts at an IF node for a wave out of an RF node at a sideband.
    pub(super) fn transfer(&self, if_node: usize, place: usize, rf_node: usize) -> Complex64 {
        let (elements, rf_nodes) = (self.mixer.elements().len(), self.mixer.rf_nodes());
        let row = &self.rows[if_node][place * elements..(place + 1) * elements];
        let u = &self.fixed[place].u_of_c;
        let through: Complex64 =
            row.iter().enumerate().map(|(m, y)| y * u[m * rf_nodes + rf_node]).sum();
        let direct = if place == self.count { self.if_v_of_c(if_node, rf_node) } else { ZERO };
        through + direct
    }

    /// Impedance between an IF node and ground at f_IF with everything in place, ohm.
    pub fn if_impedance_ohm(&self, if_node: usize) -> Complex64 {
        let (n, elements) = (self.mixer.nodes(), self.mixer.elements().len());
        let node = self.mixer.rf_nodes() + if_node;
        let fixed = &self.fixed[self.count];
        let row = &self.rows[if_node][self.count * elements..(self.count + 1) * elements];
        let through: Complex64 =
            row.iter().enumerate().map(|(m, y)| y * fixed.u_of_current[m * n + node]).sum();
        through + self.node_v(self.count, node, |k| fixed.waves_of_current[k * n + node])
    }

    /// What one watt in a sideband meets at the RF side; `None` where that sideband is not kept.
    pub fn rf_response(&mut self, sideband: Sideband) -> Option<RfResponse> {
        let place = self.tone(sideband)?;
        let (elements, rf_nodes) = (self.mixer.elements().len(), self.mixer.rf_nodes());
        let mut u = std::mem::take(&mut self.scratch);
        u.clear();
        u.resize(elements * self.fixed.len(), ZERO);
        let fixed = &self.fixed[place];
        for m in 0..elements {
            u[place * elements + m] =
                (0..rf_nodes).map(|at| fixed.u_of_c[m * rf_nodes + at] * fixed.source[at]).sum();
        }
        self.lu.solve(&mut u);
        let wave = |node: usize| {
            let own = (0..rf_nodes)
                .map(|at| fixed.waves_of_c[node * rf_nodes + at] * fixed.source[at])
                .sum::<Complex64>();
            own + self.waves_of_elements(place, node, &u)
        };
        let waves: Vec<Complex64> = (0..self.mixer.nodes()).map(wave).collect();
        let node_v = (0..rf_nodes).map(|node| {
            let own = self.mixer.node_reference_ohm(node).sqrt() * fixed.source[node];
            let volts = self.node_v(place, node, |k| waves[k]) + own;
            if fixed.frequency_hz < 0.0 { volts.conj() } else { volts }
        });
        let node_v = node_v.collect();
        let leaving: Complex64 =
            fixed.own_out + (0..rf_nodes).map(|at| fixed.out[at] * waves[at]).sum::<Complex64>();
        let entering = fixed.source_reflection * leaving + fixed.source_wave;
        let reference_ohm = self.mixer.settings().references_ohm[0];
        let input_ohm = reference_ohm * (entering + leaving) / (entering - leaving);
        let source_ohm =
            reference_ohm * (1.0 + fixed.source_reflection) / (1.0 - fixed.source_reflection);
        // In waves the limit of an open input has a value too.
        let (volts, amperes) = (entering + leaving, (entering - leaving) / reference_ohm);
        let reflection =
            ((volts - source_ohm.conj() * amperes) / (volts + source_ohm * amperes)).norm();
        let input_ohm = if fixed.frequency_hz < 0.0 { input_ohm.conj() } else { input_ohm };
        self.scratch = u;
        Some(RfResponse { input_ohm, reflection, node_v })
    }

    /// The wave into a node that the elements make at a sideband, from u at all sidebands.
    pub(super) fn waves_of_elements(
        &self,
        place: usize,
        node: usize,
        u: &[Complex64],
    ) -> Complex64 {
        let elements = self.mixer.elements().len();
        let fixed = &self.fixed[place];
        let mut wave = ZERO;
        for m in 0..elements {
            let mut w = ZERO;
            for l in (0..self.fixed.len()).filter(|l| *l != place) {
                let order = place.cast_signed() - l.cast_signed();
                for column in 0..elements {
                    w += self.waveforms.conductance.at(order, m, column) * u[l * elements + column];
                }
            }
            wave += fixed.waves_of_w[node * elements + m] * w;
        }
        wave
    }
}
