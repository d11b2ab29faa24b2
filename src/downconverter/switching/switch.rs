//! The conductance of one switched mixing element over a period of the LO.
//!
//! With the LO voltage u(t) = Re(û e^{jωt}) the conductance is
//! g(u) = 1/R_off + (1/R_on - 1/R_off) / (1 + exp(-(u - u_th)/u_s)), and g(t) = Σ G_k e^{jkωt}.
//! Without a slope u_s the switch is hard: on where u > u_th, for the part arccos(u_th/|û|)/π of a
//! period, so that G_k = (1/R_on - 1/R_off) sin(kα)/(kπ) e^{jkφ} with α = arccos(u_th/|û|).

use crate::downconverter::error::{ReceiverError, Result};
use num_complex::Complex64;
use std::f64::consts::PI;

/// What a switched element is made from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchSettings {
    /// Resistance when on, ohm; above 0.
    pub on_ohm: f64,
    /// Resistance when off, ohm; above that when on, infinite allowed.
    pub off_ohm: f64,
    /// Capacitance in parallel, F; 0 or above.
    pub off_f: f64,
    /// The LO voltage, against its mean, at which the conductance is half on, V.
    pub threshold_v: f64,
    /// The width of the change from off to on, V; 0 for a hard switch.
    pub slope_v: f64,
}

/// A switched element, checked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Switch(SwitchSettings);

/// A sum over samples of a smooth conductance is exact once terms below this part are left out.
const NEGLIGIBLE_EXPONENT: f64 = 38.0;
/// More samples of half a period than this serve no switch that the checks admit.
const MOST_SAMPLES: usize = 1 << 17;

impl Switch {
    /// Checks the values.
    ///
    /// # Errors
    /// [`ReceiverError::OutOfRange`].
    ///
    /// # Examples
    /// ```
    /// use fourphase::downconverter::{Switch, SwitchSettings};
    /// use num_complex::Complex64;
    ///
    /// let switch = Switch::new(SwitchSettings {
    ///     on_ohm: 10.0,
    ///     off_ohm: f64::INFINITY,
    ///     off_f: 0.0,
    ///     threshold_v: 0.0,
    ///     slope_v: 0.0,
    /// })?;
    /// // On for half a period: the mean is half of the conductance when on, the first coefficient 1/π.
    /// let siemens = switch.coefficients(Complex64::ONE, 1);
    /// assert!((siemens[0].re - 0.05).abs() < 1e-15);
    /// assert!((siemens[1].re - 0.1 / std::f64::consts::PI).abs() < 1e-15);
    /// # Ok::<(), fourphase::downconverter::ReceiverError>(())
    /// ```
    pub fn new(settings: SwitchSettings) -> Result<Self> {
        let refuse =
            |what, expected, found| Err(ReceiverError::OutOfRange { what, expected, found });
        let SwitchSettings { on_ohm, off_ohm, off_f, threshold_v, slope_v } = settings;
        if !(1e-6..=1e9).contains(&on_ohm) {
            return refuse("on_ohm", "from 1e-6 to 1e9", on_ohm);
        }
        if off_ohm.is_nan() || off_ohm < on_ohm {
            return refuse("off_ohm", "at least on_ohm", off_ohm);
        }
        if !(0.0..=1e-6).contains(&off_f) {
            return refuse("off_ff", "from 0 to 1e9", off_f * 1e15);
        }
        if !(-1e3..=1e3).contains(&threshold_v) {
            return refuse("threshold_v", "from -1000 to 1000", threshold_v);
        }
        // A slope that is no hard switch must leave a number of samples that can be summed.
        if !(slope_v == 0.0 || (1e-6..=1e3).contains(&slope_v)) {
            return refuse("slope_v", "0 or from 1e-6 to 1000", slope_v);
        }
        Ok(Self(settings))
    }

    /// The values.
    pub fn settings(&self) -> &SwitchSettings {
        &self.0
    }

    /// Whether it changes at one voltage.
    pub fn is_hard(&self) -> bool {
        self.0.slope_v == 0.0
    }

    /// The conductance at an LO voltage, S.
    pub fn conductance_s(&self, lo_v: f64) -> f64 {
        let above = lo_v - self.0.threshold_v;
        let part = if self.is_hard() {
            f64::from(u8::from(above > 0.0))
        } else {
            let steps = above / self.0.slope_v;
            // Both forms are one function; neither exponent overflows.
            if steps >= 0.0 {
                1.0 / (1.0 + (-steps).exp())
            } else {
                steps.exp() / (1.0 + steps.exp())
            }
        };
        self.off_s() + self.change_s() * part
    }

    /// The conductance at a phase ωt of the LO whose voltage is the real part of `lo_peak_v` e^{jωt}.
    pub fn conductance_at_s(&self, lo_peak_v: Complex64, phase: f64) -> f64 {
        self.conductance_s((lo_peak_v * Complex64::from_polar(1.0, phase)).re)
    }

    /// The part of a period for which the LO voltage is above the threshold.
    pub fn on_part(&self, lo_peak_v: Complex64) -> f64 {
        self.on_angle(lo_peak_v.norm()) / PI
    }

    /// G_0 to G_`highest`, S: the Fourier coefficients of the conductance with the LO voltage
    /// Re(û e^{jωt}). G_-k is the conjugate of G_k.
    pub fn coefficients(&self, lo_peak_v: Complex64, highest: usize) -> Vec<Complex64> {
        let mut coefficients = vec![Complex64::ZERO; highest + 1];
        let mut cosines = Vec::new();
        self.coefficients_into(lo_peak_v, &mut cosines, &mut coefficients);
        coefficients
    }

    /// The same into a slice, G_0 first; `samples` is a buffer.
    pub(super) fn coefficients_into(
        &self,
        lo_peak_v: Complex64,
        samples: &mut Vec<f64>,
        into: &mut [Complex64],
    ) {
        let peak_v = lo_peak_v.norm();
        let turn = if peak_v > 0.0 { lo_peak_v / peak_v } else { Complex64::ONE };
        if self.is_hard() {
            self.hard_coefficients(peak_v, into);
        } else {
            self.smooth_coefficients(peak_v, samples, into);
        }
        let mut power = Complex64::ONE;
        for coefficient in into {
            *coefficient *= power;
            power *= turn;
        }
    }

    fn hard_coefficients(&self, peak_v: f64, into: &mut [Complex64]) {
        let angle = self.on_angle(peak_v);
        let mut order = 0.0;
        for coefficient in into {
            let part = if order == 0.0 { angle } else { (order * angle).sin() / order };
            let fixed = if order == 0.0 { self.off_s() } else { 0.0 };
            *coefficient = Complex64::from(fixed + self.change_s() * part / PI);
            order += 1.0;
        }
    }

    /// The trapezoid rule over half a period, exact for periodic functions up to what aliases.
    fn smooth_coefficients(&self, peak_v: f64, samples: &mut Vec<f64>, into: &mut [Complex64]) {
        let steps = self.half_period_samples(peak_v, into.len());
        samples.clear();
        #[expect(clippy::cast_precision_loss, reason = "at most 2^17 samples")]
        let angle = |at: usize| PI * at as f64 / steps as f64;
        #[expect(clippy::cast_precision_loss, reason = "at most 2^17 samples")]
        let weight = 1.0 / steps as f64;
        into.fill(Complex64::ZERO);
        for at in 0..=steps {
            let cosine = angle(at).cos();
            let end = if at == 0 || at == steps { 0.5 } else { 1.0 };
            let value = self.conductance_s(peak_v * cosine) * weight * end;
            // cos kx by its three-term recurrence.
            let (mut before, mut current) = (cosine, 1.0);
            for coefficient in into.iter_mut() {
                coefficient.re += value * current;
                (before, current) = (current, 2.0 * cosine * current - before);
            }
        }
    }

    /// Samples of half a period after which the spectrum is empty: the logistic function has its
    /// nearest poles where u = u_th ± jπ u_s, and G_k falls as the exponential of their distance.
    pub(super) fn half_period_samples(&self, peak_v: f64, orders: usize) -> usize {
        let pole = Complex64::new(self.0.threshold_v, PI * self.0.slope_v) / peak_v.max(1e-12);
        let decay = pole.acos().im.abs().max(1e-6);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a positive number, limited afterwards"
        )]
        let empty_at = (NEGLIGIBLE_EXPONENT / decay).ceil() as usize;
        // Orders up to `orders` must not meet those from the other end of the spectrum.
        (empty_at / 2 + orders).clamp(8, MOST_SAMPLES)
    }

    /// Half of the angle for which the switch is on.
    pub(super) fn on_angle(&self, peak_v: f64) -> f64 {
        let threshold_v = self.0.threshold_v;
        if threshold_v >= peak_v {
            0.0
        } else if threshold_v <= -peak_v {
            PI
        } else {
            (threshold_v / peak_v).acos()
        }
    }

    fn off_s(&self) -> f64 {
        1.0 / self.0.off_ohm
    }

    fn change_s(&self) -> f64 {
        1.0 / self.0.on_ohm - self.off_s()
    }
}
