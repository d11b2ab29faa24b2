//! LO power out of the RF port, and DC offsets from the LO that mixes with itself.
//!
//! The capacitances from an LO node carry j 2π f C U into the RF and the IF node of its element, with
//! U_±1 = û e^{±j arg L}/2. The system of the conversion with f_IF = 0 then has the LO at k = ±1 and
//! the offsets at k = 0.

use super::sideband_conversion::{BeyondSidebands, ConversionSolver};
use super::switched_mixer::SidebandData;
use crate::downconverter::error::Result;
use crate::downconverter::iq_balance::Channel;
use num_complex::Complex64;
use std::f64::consts::TAU;

const ZERO: Complex64 = Complex64::ZERO;

/// What the LO does outside its own path.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LoLeakage {
    /// Power at f_LO that leaves the RF port into the source, W.
    pub rf_port_w: f64,
    /// DC voltage of I, plus nodes minus minus nodes, V; `None` where no way to ground holds it, and
    /// where the channel does not exist.
    pub offset_i_v: Option<f64>,
    /// The same of Q.
    pub offset_q_v: Option<f64>,
}

impl ConversionSolver {
    /// Solves a point at an IF of 0 Hz for the leakage of the LO.
    ///
    /// # Errors
    /// [`ReceiverError::NoConversion`](crate::downconverter::ReceiverError::NoConversion) where the
    /// circuit has no solution.
    pub fn leakage(
        &mut self,
        data: &SidebandData<'_>,
        lo_peak_v: &[Complex64],
        beyond: BeyondSidebands<'_>,
    ) -> Result<LoLeakage> {
        let data = SidebandData { if_hz: 0.0, ..*data };
        self.factor(&data, lo_peak_v, beyond, |sideband| sideband.abs() == 1)?;
        let (n, elements) = (self.mixer.nodes(), self.mixer.elements().len());
        let mut buffers = std::mem::take(&mut self.buffers);
        buffers.u.clear();
        buffers.u.resize(elements * self.fixed.len(), ZERO);
        let places = [self.count.saturating_sub(1), self.count + 1];
        for (sign, place) in [-1.0, 1.0].into_iter().zip(places) {
            self.fill_currents(sign, data.lo_hz, lo_peak_v, &mut buffers.transfers);
            for m in 0..elements {
                let row = &self.fixed[place].u_of_current[m * n..(m + 1) * n];
                let driven = row.iter().zip(&buffers.transfers).map(|(u, j)| u * j);
                buffers.u[place * elements + m] = driven.sum();
            }
        }
        self.lu.solve(&mut buffers.u, 1);
        let fixed = &self.fixed[places[1]];
        self.fill_waves_of_elements(places[1], &mut buffers);
        let out: Complex64 = (0..self.mixer.rf_nodes())
            .map(|node| {
                let row = &fixed.waves_of_current[node * n..(node + 1) * n];
                let own = row.iter().zip(&buffers.transfers).map(|(wave, j)| wave * j);
                fixed.out[node] * (own.sum::<Complex64>() + buffers.waves[node])
            })
            .sum();
        let taken = 1.0 - fixed.source_reflection.norm_sqr();
        self.fill_waves_of_elements(self.count, &mut buffers);
        let leakage = LoLeakage {
            rf_port_w: 2.0 * out.norm_sqr() * taken,
            offset_i_v: self.offset_v(Channel::I, &buffers.waves),
            offset_q_v: self.offset_v(Channel::Q, &buffers.waves),
        };
        self.buffers = buffers;
        Ok(leakage)
    }

    /// The currents of the LO into the nodes at k = 1 or -1.
    fn fill_currents(
        &self,
        sign: f64,
        lo_hz: f64,
        lo_peak_v: &[Complex64],
        into: &mut Vec<Complex64>,
    ) {
        into.clear();
        into.resize(self.mixer.nodes(), ZERO);
        for (at, (peak, own)) in lo_peak_v.iter().zip(self.mixer.elements()).enumerate() {
            let [rf, intermediate] = self.mixer.ends(at);
            let half = 0.5 * if sign < 0.0 { peak.conj() } else { *peak };
            let through = Complex64::new(0.0, sign * TAU * lo_hz) * half;
            into[rf] += through * own.lo_to_rf_f;
            into[intermediate] += through * own.lo_to_if_f;
        }
    }

    fn offset_v(&self, channel: Channel, waves: &[Complex64]) -> Option<f64> {
        let mut offset_v = None;
        // What floats has a value only where the signs within its island add up to zero.
        let mut floating: Vec<(usize, i32)> = Vec::new();
        for (at, node) in self.mixer.if_nodes().iter().enumerate() {
            if node.channel != channel {
                continue;
            }
            let place = self.mixer.rf_nodes() + at;
            let sign = if node.is_subtracted { -1 } else { 1 };
            let volts = self.node_v(self.count, place, |k| waves[k]).re;
            *offset_v.get_or_insert(0.0) += f64::from(sign) * volts;
            if let Some(Some(island)) = self.fixed[self.count].island.get(place) {
                match floating.iter_mut().find(|(own, _)| own == island) {
                    Some((_, sum)) => *sum += sign,
                    None => floating.push((*island, sign)),
                }
            }
        }
        offset_v.filter(|_| floating.iter().all(|(_, sum)| *sum == 0))
    }
}
