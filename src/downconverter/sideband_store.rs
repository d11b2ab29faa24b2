//! The frequencies of all sidebands of a plan, the IF load there, and how many sidebands are kept.

use crate::network::FrequencyGrid;
use num_complex::Complex64;

/// How many sidebands a receiver's switched mixers take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SidebandCount {
    /// K.
    pub(super) sidebands: usize,
    /// K of comparisons between many cases, which need differences only.
    pub(super) compared: usize,
    /// Whether K was found by convergence and suffices; `None` where it was given.
    pub(super) converged: Option<bool>,
    /// What more sidebands would still move, dB; `None` where K was given.
    pub(super) left_db: Option<f64>,
}

impl SidebandCount {
    /// The same with the sidebands of comparisons.
    pub(super) fn for_comparisons(self) -> Self {
        Self { sidebands: self.compared, ..self }
    }
}

/// The sidebands of a receiver's plan. The RF path of switched mixers is solved at these frequencies, so
/// that its points are known by them.
#[derive(Clone, Debug)]
pub(super) struct SidebandStore {
    pub(super) count: SidebandCount,
    /// All sidebands of conversion and of leakage.
    pub(super) grid: FrequencyGrid,
    /// Ports of the RF network: its input and the RF nodes.
    pub(super) ports: usize,
    /// Reflection of the IF load at each frequency.
    pub(super) if_load: Vec<Complex64>,
    /// Ranges of these frequencies at which some data do not reach, Hz.
    pub(super) outside_hz: Vec<(f64, f64)>,
}

impl SidebandStore {
    /// The same with the sidebands of comparisons.
    pub(super) fn for_comparisons(&self) -> Self {
        Self { count: self.count.for_comparisons(), ..self.clone() }
    }

    /// The place of a frequency of any sign: the nearest one.
    pub(super) fn place(&self, frequency_hz: f64) -> usize {
        let (hz, own_hz) = (frequency_hz.abs(), self.grid.as_hz());
        let above = own_hz.partition_point(|own| *own < hz);
        let last = own_hz.len().saturating_sub(1);
        if above > last {
            return last;
        }
        let is_below_nearer = above > 0 && hz - own_hz[above - 1] < own_hz[above] - hz;
        if is_below_nearer { above - 1 } else { above }
    }

    /// S of the RF network at a frequency of any sign, row by row, from those at all sidebands.
    pub(super) fn rf_at<'s>(&self, rf: &'s [Complex64], frequency_hz: f64) -> &'s [Complex64] {
        let entries = self.ports * self.ports;
        let place = self.place(frequency_hz);
        &rf[place * entries..(place + 1) * entries]
    }

    /// The reflection of the IF load.
    pub(super) fn if_load_at(&self, frequency_hz: f64) -> Complex64 {
        self.if_load[self.place(frequency_hz)]
    }
}
