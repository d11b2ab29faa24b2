//! Noise of switched mixers at their combined output.
//!
//! Waves of a network at temperature T have the correlation k T (1 - S Sᴴ) per hertz (H. Bosma,
//! Philips Res. Repts. Suppl. 10 (1967)), without correlation between sidebands. A conductance g(t) at
//! temperature T has noise currents with <i_k i_l*> = 4 k T G_(k-l) (C. Dragone, Bell Syst. Tech. J. 47
//! (1968) 1883, from memory). With a resistance R beyond the sidebands that are kept these become
//! 4 k T (T(h) - T(h R h)), and 4 k T (T(h R h) - T(h) R T(h)) comes in from beyond; T(.) is the block
//! Toeplitz matrix of all sidebands. Noise of the IF loads is not counted.

use super::conductance_waveform::Waveform;
use super::sideband_conversion::ConversionSolver;
use crate::downconverter::frequency_plan::Sideband;
use crate::network::REFERENCE_TEMPERATURE_K;
use num_complex::Complex64;

const ZERO: Complex64 = Complex64::ZERO;

/// What the output's noise is made of, in units of what the source makes in the wanted sideband at
/// 290 K. Their sum is the single-sideband noise factor.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct NoiseShares {
    /// The source in the wanted sideband: 1.
    pub source_wanted: f64,
    /// The source in the image sideband.
    pub source_image: f64,
    /// The source in all other sidebands.
    pub source_other: f64,
    /// The RF network and its loads.
    pub rf_network: f64,
    /// The elements.
    pub elements: f64,
    /// What comes in from beyond the sidebands that are kept.
    pub beyond: f64,
}

impl NoiseShares {
    /// The single-sideband noise factor.
    pub fn factor(&self) -> f64 {
        let Self { source_wanted, source_image, source_other, rf_network, elements, beyond } = self;
        source_wanted + source_image + source_other + rf_network + elements + beyond
    }
}

/// Weights of the IF nodes in the output: for signals and noise from sidebands above the LO, from
/// below it, and at f_IF itself. They differ where a correction acts on the LO's phase.
#[derive(Clone, Copy, Debug)]
pub struct OutputWeights<'a> {
    /// For k > 0.
    pub above: &'a [Complex64],
    /// For k < 0.
    pub below: &'a [Complex64],
    /// For k = 0.
    pub at_if: &'a [Complex64],
}

impl<'a> OutputWeights<'a> {
    /// The same for all sidebands.
    pub fn same(weights: &'a [Complex64]) -> Self {
        Self { above: weights, below: weights, at_if: weights }
    }
}

impl ConversionSolver {
    /// The noise of an output that is a sum of IF node voltages, after
    /// [`solve`](ConversionSolver::solve); `None` where nothing of the wanted sideband comes through.
    pub fn noise(&mut self, weights: OutputWeights<'_>, wanted: Sideband) -> Option<NoiseShares> {
        let (rf_nodes, elements) = (self.mixer.rf_nodes(), self.mixer.elements().len());
        let relative = self.mixer.settings().temperature_k / REFERENCE_TEMPERATURE_K;
        let (wanted, image) = (self.tone(wanted)?, self.tone(wanted.opposite())?);
        let mut shares = NoiseShares::default();
        let mut element_rows = std::mem::take(&mut self.scratch);
        element_rows.clear();
        let mut noise = 0.0;
        for place in 0..self.fixed.len() {
            let weights = match place.cmp(&self.count) {
                std::cmp::Ordering::Less => weights.below,
                std::cmp::Ordering::Equal => weights.at_if,
                std::cmp::Ordering::Greater => weights.above,
            };
            let fixed = &self.fixed[place];
            let transfer = |at: usize| -> Complex64 {
                let nodes = weights.iter().enumerate();
                nodes.map(|(node, weight)| weight * self.transfer(node, place, at)).sum()
            };
            let source: Complex64 = (0..rf_nodes).map(|at| transfer(at) * fixed.source[at]).sum();
            let into = if place == wanted {
                &mut shares.source_wanted
            } else if place == image {
                &mut shares.source_image
            } else {
                &mut shares.source_other
            };
            *into += source.norm_sqr();
            noise += self.network_noise(place, transfer) - source.norm_sqr();
            for element in 0..elements {
                let nodes = weights.iter().enumerate();
                let value: Complex64 = nodes
                    .map(|(node, weight)| weight * self.element_transfer(node, place, element))
                    .sum();
                element_rows.push(value);
            }
        }
        shares.rf_network = relative * noise;
        self.add_element_noise(&element_rows, relative, &mut shares);
        self.scratch = element_rows;
        let unit = shares.source_wanted;
        if unit.is_nan() || unit <= 0.0 {
            return None;
        }
        for share in [
            &mut shares.source_wanted,
            &mut shares.source_image,
            &mut shares.source_other,
            &mut shares.rf_network,
            &mut shares.elements,
            &mut shares.beyond,
        ] {
            *share /= unit;
        }
        Some(shares)
    }

    /// x (1 - S Sᴴ) xᴴ over the RF nodes.
    fn network_noise(&self, place: usize, transfer: impl Fn(usize) -> Complex64) -> f64 {
        let (n, rf_nodes) = (self.mixer.nodes(), self.mixer.rf_nodes());
        let s = &self.fixed[place].s;
        let own: f64 = (0..rf_nodes).map(|at| transfer(at).norm_sqr()).sum();
        let reflected: f64 = (0..rf_nodes)
            .map(|column| {
                let wave: Complex64 =
                    (0..rf_nodes).map(|row| transfer(row) * s[row * n + column]).sum();
                wave.norm_sqr()
            })
            .sum();
        own - reflected
    }

    /// Volts at an IF node for a noise current of an element at a sideband.
    fn element_transfer(&self, if_node: usize, place: usize, element: usize) -> Complex64 {
        let elements = self.mixer.elements().len();
        let row = &self.rows[if_node][place * elements..(place + 1) * elements];
        let p = &self.fixed[place].p;
        let through: Complex64 =
            row.iter().enumerate().map(|(m, y)| y * p[m * elements + element]).sum();
        let direct = if place == self.count { self.if_v_of_w(if_node, element) } else { ZERO };
        direct - through
    }

    /// 4 q (T(h) - T(h R h)) qᴴ and what comes from beyond, in units of k 290 K.
    fn add_element_noise(&self, q: &[Complex64], relative: f64, shares: &mut NoiseShares) {
        let (elements, sidebands) = (self.mixer.elements().len(), self.fixed.len());
        let waveforms = &self.waveforms;
        let form = |waveform: &Waveform| -> f64 {
            let mut sum = 0.0;
            for (k, one) in q.chunks_exact(elements).enumerate() {
                for (l, other) in q.chunks_exact(elements).enumerate() {
                    let order = k.cast_signed() - l.cast_signed();
                    for (row, from) in one.iter().enumerate() {
                        if waveform.is_diagonal() {
                            let value = waveform.at(order, row, row);
                            sum += (from * value * other[row].conj()).re;
                            continue;
                        }
                        for (column, to) in other.iter().enumerate() {
                            let value = waveform.at(order, row, column);
                            sum += (from * value * to.conj()).re;
                        }
                    }
                }
            }
            sum
        };
        shares.elements = 4.0 * relative * form(&waveforms.conductance);
        if !waveforms.has_beyond() {
            return;
        }
        shares.elements -= 4.0 * relative * form(&waveforms.beyond);
        let mut kept = 0.0;
        for l in 0..sidebands {
            let at = |m: usize| -> Complex64 {
                let all = q.chunks_exact(elements).enumerate();
                all.map(|(k, row)| {
                    let order = k.cast_signed() - l.cast_signed();
                    (0..elements)
                        .map(|own| row[own] * waveforms.conductance.at(order, own, m))
                        .sum::<Complex64>()
                })
                .sum()
            };
            let currents: Vec<Complex64> = (0..elements).map(at).collect();
            for (row, one) in currents.iter().enumerate() {
                for (column, other) in currents.iter().enumerate() {
                    let ohm = self.beyond.elements_rf_ohm[row * elements + column];
                    kept += (one * ohm * other.conj()).re;
                }
            }
        }
        shares.beyond = 4.0 * relative * (form(&waveforms.beyond_rf) - kept);
    }
}
