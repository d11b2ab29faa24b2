//! Noise of switched mixers at their combined output.
//!
//! Waves of a network at temperature T have the correlation k T (1 - S Sᴴ) per hertz (H. Bosma,
//! Philips Res. Repts. Suppl. 10 (1967)), without correlation between sidebands. A conductance g(t) at
//! temperature T has noise currents with <i_k i_l*> = 4 k T G_(k-l) (C. Dragone, Bell Syst. Tech. J. 47
//! (1968) 1883, from memory). With a resistance R beyond the sidebands that are kept these become
//! 4 k T (T(h) - T(h R h)), and 4 k T (T(h R h) - T(h) R T(h)) comes in from beyond; T(.) is the block
//! Toeplitz matrix of all sidebands. Noise of the IF loads is not counted.

use super::conductance_waveform::Waveforms;
use super::sideband_conversion::{Buffers, ConversionSolver};
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
        let (wanted, image) = (self.tone(wanted)?, self.tone(wanted.opposite())?);
        let elements = self.mixer.elements().len();
        let relative = self.mixer.settings().temperature_k / REFERENCE_TEMPERATURE_K;
        let mut shares = NoiseShares::default();
        let mut buffers = std::mem::take(&mut self.buffers);
        buffers.element_rows.clear();
        let mut noise = 0.0;
        for place in 0..self.fixed.len() {
            let weights = match place.cmp(&self.count) {
                std::cmp::Ordering::Less => weights.below,
                std::cmp::Ordering::Equal => weights.at_if,
                std::cmp::Ordering::Greater => weights.above,
            };
            self.fill_transfers(place, weights, &mut buffers);
            let fixed = &self.fixed[place];
            let both = buffers.transfers.iter().zip(&fixed.source);
            let source: Complex64 = both.map(|(transfer, wave)| transfer * wave).sum();
            let into = if place == wanted {
                &mut shares.source_wanted
            } else if place == image {
                &mut shares.source_image
            } else {
                &mut shares.source_other
            };
            *into += source.norm_sqr();
            noise += self.network_noise(place, &buffers.transfers) - source.norm_sqr();
            for element in 0..elements {
                let through =
                    buffers.output.iter().zip(fixed.p[element..].iter().step_by(elements));
                let mut value = -through.map(|(y, p)| y * p).sum::<Complex64>();
                if place == self.count {
                    value += weighted(weights, |node| self.if_v_of_w(node, element));
                }
                buffers.element_rows.push(value);
            }
        }
        shares.rf_network = relative * noise;
        self.add_element_noise(&mut buffers, relative, &mut shares);
        self.buffers = buffers;
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

    /// The transfers of a sideband to the output: from u, and from waves out of the RF nodes.
    fn fill_transfers(&self, place: usize, weights: &[Complex64], buffers: &mut Buffers) {
        let (rf_nodes, elements) = (self.mixer.rf_nodes(), self.mixer.elements().len());
        let Buffers { output, transfers, .. } = buffers;
        output.clear();
        output.extend(
            (0..elements).map(|element| weighted(weights, |node| self.row(node, place)[element])),
        );
        let u = &self.fixed[place].u_of_c;
        transfers.clear();
        transfers.extend((0..rf_nodes).map(|at| {
            let of_u = output.iter().zip(u[at..].iter().step_by(rf_nodes));
            let mut transfer = of_u.map(|(y, u)| y * u).sum::<Complex64>();
            if place == self.count {
                transfer += weighted(weights, |node| self.if_v_of_c(node, at));
            }
            transfer
        }));
    }

    /// x (1 - S Sᴴ) xᴴ over the RF nodes.
    fn network_noise(&self, place: usize, transfers: &[Complex64]) -> f64 {
        let n = self.mixer.nodes();
        let s = &self.fixed[place].s;
        let own: f64 = transfers.iter().map(Complex64::norm_sqr).sum();
        let reflected: f64 = (0..transfers.len())
            .map(|column| {
                let rows = transfers.iter().enumerate();
                rows.map(|(row, transfer)| transfer * s[row * n + column])
                    .sum::<Complex64>()
                    .norm_sqr()
            })
            .sum();
        own - reflected
    }

    /// 4 q (T(h) - T(h R h)) qᴴ and what comes from beyond, in units of k 290 K.
    fn add_element_noise(&self, buffers: &mut Buffers, relative: f64, shares: &mut NoiseShares) {
        let Waveforms { conductance, beyond, beyond_rf, .. } = &self.waveforms;
        let Buffers { element_rows: q, w: currents, .. } = buffers;
        shares.elements = 4.0 * relative * conductance.form(q);
        if !self.waveforms.has_beyond() {
            return;
        }
        shares.elements -= 4.0 * relative * beyond.form(q);
        let elements = self.mixer.elements().len();
        let mut kept = 0.0;
        for l in 0..self.fixed.len() {
            currents.clear();
            currents.resize(elements, ZERO);
            for (k, row) in q.chunks_exact(elements).enumerate() {
                let order = k.cast_signed() - l.cast_signed();
                for (own, q) in row.iter().enumerate() {
                    for (m, current) in currents.iter_mut().enumerate() {
                        *current += q * conductance.at(order, own, m);
                    }
                }
            }
            for (row, one) in currents.iter().enumerate() {
                for (column, other) in currents.iter().enumerate() {
                    let ohm = self.beyond.elements_rf_ohm[row * elements + column];
                    kept += (one * ohm * other.conj()).re;
                }
            }
        }
        shares.beyond = 4.0 * relative * (beyond_rf.form(q) - kept);
    }
}

/// The sum of what the IF nodes have, with their weights.
fn weighted(weights: &[Complex64], of_node: impl Fn(usize) -> Complex64) -> Complex64 {
    weights.iter().enumerate().map(|(node, weight)| weight * of_node(node)).sum()
}
