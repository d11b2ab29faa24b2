//! Uniform lines and stubs.

use super::lumped::shunt_scattering;
use super::{
    ComponentError, FREE_SPACE_OHM, REFERENCE_OHM, finite, not_negative, positive, scattering,
};
use crate::network::{FrequencyGrid, Network};
use crate::units::SPEED_OF_LIGHT_M_PER_S;
use crate::units::neper_from_db;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// A uniform line, described at a centre frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Characteristic impedance, ohms.
    pub impedance_ohm: f64,
    /// Where the other parameters hold, Hz.
    pub center_hz: f64,
    /// Electrical length at the centre, degrees.
    pub angle_deg: f64,
    /// Loss at the centre, dB; it grows with the root of frequency, as the skin effect has it.
    pub loss_db: f64,
    /// How much more the line turns per octave than in proportion to frequency, percent.
    pub dispersion_percent: f64,
}

impl Line {
    /// A lossless line without dispersion.
    #[must_use]
    pub fn ideal(impedance_ohm: f64, center_hz: f64, angle_deg: f64) -> Self {
        Self { impedance_ohm, center_hz, angle_deg, loss_db: 0.0, dispersion_percent: 0.0 }
    }

    /// Attenuation (neper) and angle (rad) at a frequency: α l + j β l.
    #[must_use]
    pub fn exponent(&self, frequency_hz: f64) -> Complex64 {
        let ratio = frequency_hz / self.center_hz;
        let dispersion =
            if ratio > 0.0 { 1.0 + 0.01 * self.dispersion_percent * ratio.log2() } else { 1.0 };
        Complex64::new(
            neper_from_db(self.loss_db) * ratio.sqrt(),
            self.angle_deg.to_radians() * ratio * dispersion,
        )
    }

    pub(super) fn check(&self) -> Result<(), ComponentError> {
        positive("impedance_ohm", self.impedance_ohm)?;
        positive("center_hz", self.center_hz)?;
        not_negative("angle_deg", self.angle_deg)?;
        finite("dispersion_percent", self.dispersion_percent)?;
        not_negative("loss_db", self.loss_db).map(drop)
    }
}

/// S of a line of impedance Z and exponent γl between references R: with
/// D = 2 Z R cosh γl + (Z² + R²) sinh γl, S11 = (Z² - R²) sinh γl / D and S21 = 2 Z R / D.
pub(super) fn line_scattering(
    impedance_ohm: f64,
    exponent: Complex64,
    reference_ohm: f64,
) -> [Complex64; 2] {
    let (z, r) = (impedance_ohm, reference_ohm);
    // Divided by e^γl, nothing overflows however long and lossy the line is.
    let once = (-exponent).exp();
    let (sinh, cosh) = (1.0 - once * once, 1.0 + once * once);
    let denominator = 2.0 * z * r * cosh + (z * z + r * r) * sinh;
    [(z * z - r * r) * sinh / denominator, 4.0 * z * r * once / denominator]
}

/// A two-port line.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::Negative`], [`ComponentError::NotFinite`].
///
/// # Examples
/// ```
/// use fourphase::component::{Line, line};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let quarter = line(&grid, &Line::ideal(50.0, 29e9, 90.0))?;
/// assert!((quarter.entries()[2].im + 1.0).abs() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn line(grid: &FrequencyGrid, line: &Line) -> Result<Network, ComponentError> {
    line.check()?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        let [reflected, passed] =
            line_scattering(line.impedance_ohm, line.exponent(hz), REFERENCE_OHM);
        [reflected, passed, passed, reflected]
    });
    scattering(grid, 2, entries.collect())
}

/// What a stub ends in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StubEnd {
    /// Nothing.
    Open,
    /// Ground.
    Short,
}

/// A line beside the signal's way, ending in an open or a short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stub {
    /// The line.
    pub line: Line,
    /// Its end.
    pub end: StubEnd,
}

/// A stub across a two-port.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::Negative`], [`ComponentError::NotFinite`].
pub fn stub(grid: &FrequencyGrid, stub: &Stub) -> Result<Network, ComponentError> {
    stub.line.check()?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        // Z coth γl with an open end, Z tanh γl with a short; divided by e^γl as in the line.
        let twice = (-2.0 * stub.line.exponent(hz)).exp();
        let (sinh, cosh) = (1.0 - twice, 1.0 + twice);
        let impedance_ohm = stub.line.impedance_ohm;
        match stub.end {
            StubEnd::Open => shunt_scattering(impedance_ohm * cosh, sinh),
            StubEnd::Short => shunt_scattering(impedance_ohm * sinh, cosh),
        }
    });
    scattering(grid, 2, entries.collect())
}

/// A sector of metal beside the signal's way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RadialStub {
    /// Radius where it meets the line, m.
    pub inner_radius_m: f64,
    /// Its outer radius, m.
    pub outer_radius_m: f64,
    /// Angle of the sector, degrees.
    pub sector_deg: f64,
    /// Height of the substrate, m.
    pub height_m: f64,
    /// Effective relative permittivity.
    pub effective_permittivity: f64,
}

impl RadialStub {
    /// Input reactance in ohms, from the Bessel functions of a radial line with an open edge:
    /// X = (h Z / (r θ)) (J0(ka) N1(kb) - N0(ka) J1(kb)) / (J1(ka) N1(kb) - N1(ka) J1(kb)).
    ///
    /// N. Marcuvitz, "Waveguide Handbook" (1951), section 1.7, from memory; the tests hold it
    /// against a chain of short lines of growing width.
    fn reactance_ohm(&self, frequency_hz: f64) -> f64 {
        let root = self.effective_permittivity.sqrt();
        let k = TAU * frequency_hz * root / SPEED_OF_LIGHT_M_PER_S;
        let (inner, outer) = (k * self.inner_radius_m, k * self.outer_radius_m);
        let wave_ohm = FREE_SPACE_OHM / root;
        let (j0, j1) = (bessel(0, inner), bessel(1, inner));
        let (n0, n1) = (neumann(0, inner), neumann(1, inner));
        let (j1_outer, n1_outer) = (bessel(1, outer), neumann(1, outer));
        let scale = wave_ohm * self.height_m / (self.inner_radius_m * self.sector_deg.to_radians());
        scale * (j0 * n1_outer - n0 * j1_outer) / (j1 * n1_outer - n1 * j1_outer)
    }
}

/// A radial stub across a two-port.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::TooLarge`].
pub fn radial_stub(grid: &FrequencyGrid, stub: &RadialStub) -> Result<Network, ComponentError> {
    positive("inner_radius_m", stub.inner_radius_m)?;
    positive("outer_radius_m less inner_radius_m", stub.outer_radius_m - stub.inner_radius_m)?;
    if positive("sector_deg", stub.sector_deg)? > 360.0 {
        let (name, value) = ("sector_deg", stub.sector_deg);
        return Err(ComponentError::TooLarge { name, value, limit: 360.0 });
    }
    positive("height_m", stub.height_m)?;
    positive("effective_permittivity", stub.effective_permittivity)?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        // At zero frequency it is an open.
        let (n, d) = if hz > 0.0 {
            (Complex64::new(0.0, stub.reactance_ohm(hz)), Complex64::ONE)
        } else {
            (Complex64::ONE, Complex64::ZERO)
        };
        shunt_scattering(n, d)
    });
    scattering(grid, 2, entries.collect())
}

/// J_n(x) for n = 0 or 1, from its integral (1/π) ∫ cos(n t - x sin t) dt over half a turn. The
/// trapezoidal rule converges geometrically for a periodic integrand.
fn bessel(order: i32, x: f64) -> f64 {
    let points = quadrature_points(x);
    let step = PI / f64::from(points);
    let value = |t: f64| (f64::from(order) * t - x * t.sin()).cos();
    let inner: f64 = (1..points).map(|at| value(f64::from(at) * step)).sum();
    (inner + 0.5 * (value(0.0) + value(PI))) * step / PI
}

fn quadrature_points(x: f64) -> u32 {
    // Half the argument in points is the bare minimum; this leaves rounding only.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
    let needed = (40.0 + 2.0 * x.abs()).min(1e6) as u32;
    needed
}

/// N_n(x) for n = 0 or 1 and x > 0, by the power series with the harmonic numbers for small and
/// the expansion for large arguments (Abramowitz and Stegun, 9.1.11 and 9.2.28 to 9.2.31).
fn neumann(order: i32, x: f64) -> f64 {
    const EULER: f64 = 0.577_215_664_901_532_9;
    const SERIES_END: f64 = 12.0;
    if x > SERIES_END {
        // Asymptotic: M sin(x - (n/2 + 1/4) π) + ..., through the P and Q series.
        let mu = 4.0 * f64::from(order * order);
        let (mut p, mut q, mut term) = (1.0, 0.0, 1.0);
        for k in 1..30_i32 {
            let odd = f64::from(2 * k - 1);
            let next = term * (mu - odd * odd) / (f64::from(k) * 8.0 * x);
            if next.abs() > f64::abs(term) {
                break;
            }
            term = next;
            match k % 4 {
                1 => q += term,
                2 => p -= term,
                3 => q -= term,
                _ => p += term,
            }
        }
        let phase = x - (0.5 * f64::from(order) + 0.25) * PI;
        return (2.0 / (PI * x)).sqrt() * (p * phase.sin() + q * phase.cos());
    }
    let half = 0.5 * x;
    let quarter = half * half;
    let (mut sum, mut term, mut harmonic) = (0.0, 1.0, 0.0);
    for k in 0..60_i32 {
        if k > 0 {
            term *= -quarter / f64::from(k * (k + order));
            harmonic += 1.0 / f64::from(k);
        }
        let pair =
            if order == 0 { 2.0 * harmonic } else { 2.0 * harmonic + 1.0 / f64::from(k + 1) };
        sum += term * pair;
    }
    let log = 2.0 / PI * (half.ln() + EULER) * bessel(order, x);
    if order == 0 { log - sum / PI } else { log - 2.0 / (PI * x) - half * sum / PI }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cylinder_functions_match_the_tables() {
        // Abramowitz and Stegun, tables 9.1 (from memory, 7 digits), and the Wronskian
        // J1 N0 - J0 N1 = 2 / (π x), which ties both kinds together.
        for (got, want) in [
            (bessel(0, 1.0), 0.765_197_69),
            (bessel(1, 1.0), 0.440_050_59),
            (neumann(0, 1.0), 0.088_256_96),
            (neumann(1, 1.0), -0.781_212_82),
        ] {
            assert!((got - want).abs() < 1e-7, "{got} {want}");
        }
        for x in [1e-3, 0.1, 0.9, 3.0, 7.0, 11.9, 12.1, 20.0, 60.0] {
            let wronskian = bessel(1, x) * neumann(0, x) - bessel(0, x) * neumann(1, x);
            let want = 2.0 / (PI * x);
            assert!((wronskian / want - 1.0).abs() < 1e-9, "{x}: {wronskian} {want}");
        }
    }

    #[test]
    fn a_radial_stub_is_a_chain_of_widening_lines() {
        let stub = RadialStub {
            inner_radius_m: 40e-6,
            outer_radius_m: 600e-6,
            sector_deg: 60.0,
            height_m: 100e-6,
            effective_permittivity: 9.0,
        };
        let hz = 29e9;
        // Backwards from the open edge: short parallel-plate lines of the local width.
        let (steps, root) = (20_000, stub.effective_permittivity.sqrt());
        let width = (stub.outer_radius_m - stub.inner_radius_m) / f64::from(steps);
        let mut admittance = Complex64::ZERO;
        for step in (0..steps).rev() {
            let radius = stub.inner_radius_m + (f64::from(step) + 0.5) * width;
            let local_ohm =
                376.730_313_668 / root * stub.height_m / (radius * stub.sector_deg.to_radians());
            let tangent =
                Complex64::new(0.0, (TAU * hz * root / SPEED_OF_LIGHT_M_PER_S * width).tan());
            let normal = admittance * local_ohm;
            admittance = (normal + tangent) / (1.0 + normal * tangent) / local_ohm;
        }
        let want = (1.0 / admittance).im;
        assert!(
            (stub.reactance_ohm(hz) / want - 1.0).abs() < 1e-5,
            "{} {want}",
            stub.reactance_ohm(hz)
        );
    }
}
