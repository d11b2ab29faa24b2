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

use super::beyond_resistance::{BeyondResistance, Termination};
use super::conductance_waveform::{BeyondElements, Driven, Waveforms};
use super::fixed_sideband::{FixedSideband, NoSolution, SidebandReducer};
use super::switched_mixer::{SidebandData, SwitchedMixer};
use crate::downconverter::error::{ReceiverError, Result};
use crate::downconverter::frequency_plan::Sideband;
use crate::network::Lu;
use num_complex::Complex64;

const ZERO: Complex64 = Complex64::ZERO;

/// How the nodes end beyond the sidebands that are kept.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BeyondSidebands<'a> {
    /// Shorted: the admittance form.
    Shorted,
    /// In the resistance that they see at the last sideband, which converges fast with hard switches.
    Resistance,
    /// In this resistance matrix, RF nodes first, ohm, row by row. Without end of sidebands every
    /// matrix gives the same.
    Given(&'a [f64]),
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

/// What waveforms were made from.
#[derive(Clone, Debug, Default)]
struct MadeFrom {
    driven: Vec<Driven>,
    beyond: BeyondResistance,
    highest: usize,
}

/// Solves switched mixers at one point after the other; buffers are kept.
#[derive(Clone, Debug)]
pub struct ConversionSolver {
    pub(super) mixer: SwitchedMixer,
    pub(super) reducer: SidebandReducer,
    pub(super) waveforms: Waveforms,
    pub(super) beyond: BeyondResistance,
    termination: Termination,
    made_from: MadeFrom,
    /// K.
    pub(super) count: usize,
    /// From -K to K.
    pub(super) fixed: Vec<FixedSideband>,
    pub(super) lu: Lu,
    /// For each IF node the transfer from u of every sideband, one after the other.
    rows: Vec<Complex64>,
    /// One row of them, real and imaginary parts.
    row: (Vec<f64>, Vec<f64>),
    pub(super) buffers: Buffers,
    response: RfResponse,
}

/// Buffers of what is taken from a solution.
#[derive(Clone, Debug, Default)]
pub(super) struct Buffers {
    /// u of all sidebands.
    pub(super) u: Vec<Complex64>,
    /// w of one sideband, and the waves that it makes.
    pub(super) w: Vec<Complex64>,
    pub(super) waves: Vec<Complex64>,
    /// For an output: the transfer from u, from waves, and from currents of the elements.
    pub(super) output: Vec<Complex64>,
    pub(super) transfers: Vec<Complex64>,
    pub(super) element_rows: Vec<Complex64>,
}

impl ConversionSolver {
    /// Prepares a solver.
    pub fn new(mixer: SwitchedMixer) -> Self {
        Self {
            reducer: SidebandReducer::new(&mixer),
            waveforms: Waveforms::default(),
            beyond: BeyondResistance::default(),
            termination: Termination::default(),
            made_from: MadeFrom::default(),
            count: 0,
            fixed: Vec::new(),
            lu: Lu::default(),
            rows: Vec::new(),
            row: (Vec::new(), Vec::new()),
            buffers: Buffers::default(),
            response: RfResponse::default(),
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
        beyond: BeyondSidebands<'_>,
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
        beyond: BeyondSidebands<'_>,
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
        match beyond {
            BeyondSidebands::Shorted => self.beyond.set_none(&self.mixer),
            BeyondSidebands::Given(ohm) => self.beyond.set_given(&self.mixer, ohm),
            BeyondSidebands::Resistance => {
                let at_last = &mut self.fixed[2 * self.count];
                self.reducer.close(&self.mixer, data, last, at_last).map_err(no_solution)?;
                self.beyond.set_from(&self.mixer, at_last, &mut self.termination);
            }
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
        self.lu.factor_filled().map_err(|_| no_solution(NoSolution { frequency_hz: data.if_hz }))
    }

    fn make_waveforms(&mut self, lo_peak_v: &[Complex64]) {
        let highest = 2 * self.count;
        let driven =
            || self.mixer.elements().iter().map(|own| own.switch).zip(lo_peak_v.iter().copied());
        let made = &mut self.made_from;
        if made.highest == highest
            && made.beyond == self.beyond
            && made.driven.iter().copied().eq(driven())
        {
            return;
        }
        made.driven.clear();
        made.driven.extend(driven());
        made.beyond.copy_from(&self.beyond);
        made.highest = highest;
        let beyond = (!self.beyond.is_none()).then_some(BeyondElements {
            all_ohm: &self.beyond.elements_ohm,
            rf_ohm: &self.beyond.elements_rf_ohm,
        });
        self.waveforms.fill(&made.driven, beyond, highest);
    }

    /// The unit matrix plus P T, sideband after sideband, element after element.
    fn fill_system(&mut self) {
        let elements = self.mixer.elements().len();
        self.lu.resize(elements * self.fixed.len());
        for (k, fixed) in self.fixed.iter().enumerate() {
            for (element, p) in fixed.p.chunks_exact(elements).enumerate() {
                let row = k * elements + element;
                let (re, im) = self.lu.row_mut(row);
                self.waveforms.conductance.product_row(k, p, (&mut *re, im));
                re[row] += 1.0;
            }
        }
    }

    /// The transfers to the IF nodes.
    fn solve_rows(&mut self) {
        let (elements, unknowns) = (self.mixer.elements().len(), self.unknowns());
        self.rows.clear();
        for part in [&mut self.row.0, &mut self.row.1] {
            part.clear();
            part.resize(unknowns, 0.0);
        }
        let mut own = std::mem::take(&mut self.buffers.w);
        for if_node in 0..self.mixer.if_nodes().len() {
            own.clear();
            own.extend((0..elements).map(|element| self.if_v_of_w(if_node, element)));
            let into = (&mut self.row.0[..], &mut self.row.1[..]);
            self.waveforms.conductance.product_row(self.count, &own, into);
            let both = self.row.0.iter().zip(&self.row.1);
            self.rows.extend(both.map(|(re, im)| Complex64::new(*re, *im)));
        }
        self.buffers.w = own;
        self.lu.solve_right(&mut self.rows);
    }

    fn unknowns(&self) -> usize {
        self.mixer.elements().len() * self.fixed.len()
    }

    /// The transfer from u of a sideband to an IF node.
    pub(super) fn row(&self, if_node: usize, place: usize) -> &[Complex64] {
        let elements = self.mixer.elements().len();
        let start = if_node * self.unknowns() + place * elements;
        &self.rows[start..start + elements]
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
        let rf_nodes = self.mixer.rf_nodes();
        let row = self.row(if_node, place);
        let u = &self.fixed[place].u_of_c;
        let through: Complex64 =
            row.iter().enumerate().map(|(m, y)| y * u[m * rf_nodes + rf_node]).sum();
        let direct = if place == self.count { self.if_v_of_c(if_node, rf_node) } else { ZERO };
        through + direct
    }

    /// Impedance between an IF node and ground at f_IF with everything in place, ohm.
    pub fn if_impedance_ohm(&self, if_node: usize) -> Complex64 {
        let n = self.mixer.nodes();
        let node = self.mixer.rf_nodes() + if_node;
        let fixed = &self.fixed[self.count];
        let row = self.row(if_node, self.count);
        let through: Complex64 =
            row.iter().enumerate().map(|(m, y)| y * fixed.u_of_current[m * n + node]).sum();
        through + self.node_v(self.count, node, |k| fixed.waves_of_current[k * n + node])
    }

    /// What one watt in a sideband meets at the RF side; `None` where that sideband is not kept.
    pub fn rf_response(&mut self, sideband: Sideband) -> Option<&RfResponse> {
        let place = self.tone(sideband)?;
        let (elements, rf_nodes) = (self.mixer.elements().len(), self.mixer.rf_nodes());
        let mut buffers = std::mem::take(&mut self.buffers);
        let mut response = std::mem::take(&mut self.response);
        buffers.u.clear();
        buffers.u.resize(self.unknowns(), ZERO);
        let fixed = &self.fixed[place];
        let of_source = |row: &[Complex64]| -> Complex64 {
            row.iter().zip(&fixed.source).map(|(of_c, wave)| of_c * wave).sum()
        };
        for m in 0..elements {
            buffers.u[place * elements + m] =
                of_source(&fixed.u_of_c[m * rf_nodes..(m + 1) * rf_nodes]);
        }
        self.lu.solve(&mut buffers.u, 1);
        self.fill_waves_of_elements(place, &mut buffers);
        let waves = &mut buffers.waves;
        for (node, wave) in waves.iter_mut().enumerate() {
            *wave += of_source(&fixed.waves_of_c[node * rf_nodes..(node + 1) * rf_nodes]);
        }
        let as_there = |own: Complex64| if fixed.frequency_hz < 0.0 { own.conj() } else { own };
        let node_v = (0..rf_nodes).map(|node| {
            let own = self.mixer.node_reference_ohm(node).sqrt() * fixed.source[node];
            as_there(self.node_v(place, node, |k| waves[k]) + own)
        });
        response.node_v.clear();
        response.node_v.extend(node_v);
        let leaving: Complex64 =
            fixed.own_out + (0..rf_nodes).map(|at| fixed.out[at] * waves[at]).sum::<Complex64>();
        let entering = fixed.source_reflection * leaving + fixed.source_wave;
        let reference_ohm = self.mixer.settings().references_ohm[0];
        let input_ohm = reference_ohm * (entering + leaving) / (entering - leaving);
        let source_ohm =
            reference_ohm * (1.0 + fixed.source_reflection) / (1.0 - fixed.source_reflection);
        // In waves the limit of an open input has a value too.
        let (volts, amperes) = (entering + leaving, (entering - leaving) / reference_ohm);
        response.reflection =
            ((volts - source_ohm.conj() * amperes) / (volts + source_ohm * amperes)).norm();
        response.input_ohm = as_there(input_ohm);
        (self.buffers, self.response) = (buffers, response);
        Some(&self.response)
    }

    /// The waves into the nodes that the elements make at a sideband, from u at all sidebands.
    pub(super) fn fill_waves_of_elements(&self, place: usize, buffers: &mut Buffers) {
        let elements = self.mixer.elements().len();
        let Buffers { u, w, waves, .. } = buffers;
        w.clear();
        w.resize(elements, ZERO);
        for (l, u) in u.chunks_exact(elements).enumerate().filter(|(l, _)| *l != place) {
            let order = place.cast_signed() - l.cast_signed();
            let conductance = &self.waveforms.conductance;
            for (m, w) in w.iter_mut().enumerate() {
                if conductance.is_diagonal() {
                    *w += conductance.at(order, m, m) * u[m];
                    continue;
                }
                for (column, u) in u.iter().enumerate() {
                    *w += conductance.at(order, m, column) * u;
                }
            }
        }
        let rows = self.fixed[place].waves_of_w.chunks_exact(elements);
        waves.clear();
        waves.extend(
            rows.map(|row| row.iter().zip(&*w).map(|(wave, w)| wave * w).sum::<Complex64>()),
        );
    }
}
