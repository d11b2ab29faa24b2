//! The RF network and the IF load at every sideband frequency of a plan, and how many sidebands are
//! kept.

use num_complex::Complex64;

/// What stands around the switched mixers of a receiver, at all frequencies at which they need it.
#[derive(Clone, Debug)]
pub(super) struct SidebandStore {
    /// K.
    pub(super) sidebands: usize,
    /// K of comparisons between many cases, which need differences only.
    pub(super) compared: usize,
    /// Whether K was found by convergence and suffices; `None` where it was given.
    pub(super) converged: Option<bool>,
    /// What more sidebands would still move, dB; `None` where K was given.
    pub(super) left_db: Option<f64>,
    /// Ascending, Hz.
    pub(super) frequency_hz: Vec<f64>,
    /// S of the RF network at each of them: its input and the RF nodes.
    pub(super) rf: Vec<Complex64>,
    /// Ports of it.
    pub(super) ports: usize,
    /// Reflection of the IF load at each of them.
    pub(super) if_load: Vec<Complex64>,
    /// Ranges of these frequencies at which some data do not reach, Hz.
    pub(super) outside_hz: Vec<(f64, f64)>,
}

impl SidebandStore {
    /// The same with the sidebands of comparisons.
    pub(super) fn for_comparisons(&self) -> Self {
        Self { sidebands: self.compared, ..self.clone() }
    }

    /// The place of a frequency of any sign: the nearest one.
    fn place(&self, frequency_hz: f64) -> usize {
        let hz = frequency_hz.abs();
        let above = self.frequency_hz.partition_point(|own| *own < hz);
        let last = self.frequency_hz.len().saturating_sub(1);
        if above > last {
            return last;
        }
        let is_below_nearer =
            above > 0 && hz - self.frequency_hz[above - 1] < self.frequency_hz[above] - hz;
        if is_below_nearer { above - 1 } else { above }
    }

    /// S of the RF network, row by row.
    pub(super) fn rf_at(&self, frequency_hz: f64) -> &[Complex64] {
        let entries = self.ports * self.ports;
        let place = self.place(frequency_hz);
        &self.rf[place * entries..(place + 1) * entries]
    }

    /// The reflection of the IF load.
    pub(super) fn if_load_at(&self, frequency_hz: f64) -> Complex64 {
        self.if_load[self.place(frequency_hz)]
    }
}
