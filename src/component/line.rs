//! Uniform lines and stubs.

use super::choice::Choice;
use super::construction::{REFERENCE_OHM, finite, not_negative, positive, scattering};
use super::error::ComponentError;
use super::lumped::shunt_scattering;
use crate::network::{FrequencyGrid, Network};
use crate::units::neper_from_db;
use num_complex::Complex64;

/// A uniform line, described at a centre frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Characteristic impedance, ohms.
    pub impedance_ohm: f64,
    /// The frequency at which angle and loss hold, Hz.
    pub center_hz: f64,
    /// Electrical length at the centre, degrees.
    pub angle_deg: f64,
    /// Loss at the centre, dB; it grows with the square root of frequency, after the skin effect.
    pub loss_db: f64,
    /// Excess electrical length per octave above the centre, percent of the length of a line
    /// without dispersion. Below the centre it is negative.
    pub dispersion_percent: f64,
}

impl Line {
    /// A lossless line without dispersion: impedance in ohms, centre in Hz, electrical length in
    /// degrees.
    #[must_use]
    pub fn ideal(impedance_ohm: f64, center_hz: f64, angle_deg: f64) -> Self {
        Self { impedance_ohm, center_hz, angle_deg, loss_db: 0.0, dispersion_percent: 0.0 }
    }

    /// Attenuation (neper) and electrical length (rad) at a frequency in Hz, α l + j β l.
    ///
    /// With the centre f0: α l = loss √(f / f0) and
    /// β l = angle (f / f0) (1 + dispersion log2(f / f0)).
    ///
    /// # Errors
    /// [`ComponentError::OutOfRange`] for a parameter of the line or a frequency out of range.
    ///
    /// # Examples
    /// ```
    /// use fourphase::component::Line;
    ///
    /// let quarter = Line::ideal(50.0, 29e9, 90.0);
    /// assert!((quarter.exponent(14.5e9)?.im.to_degrees() - 45.0).abs() < 1e-12);
    /// # Ok::<(), fourphase::component::ComponentError>(())
    /// ```
    pub fn exponent(&self, frequency_hz: f64) -> Result<Complex64, ComponentError> {
        self.check()?;
        not_negative("frequency_hz", frequency_hz)?;
        Ok(self.exponent_of_checked(frequency_hz))
    }

    /// The exponent of a line that has passed [`Line::check`].
    pub(super) fn exponent_of_checked(&self, frequency_hz: f64) -> Complex64 {
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

/// [S11, S21] of a line of impedance Z and exponent γl between references R, ohms: with
/// D = 2 Z R cosh γl + (Z² + R²) sinh γl, S11 = (Z² - R²) sinh γl / D and S21 = 2 Z R / D.
pub(super) fn line_scattering(
    impedance_ohm: f64,
    exponent: Complex64,
    reference_ohm: f64,
) -> [Complex64; 2] {
    let (z, r) = (impedance_ohm, reference_ohm);
    // Division by e^γl avoids overflow for a long or lossy line.
    let once = (-exponent).exp();
    let (sinh, cosh) = (1.0 - once * once, 1.0 + once * once);
    let denominator = 2.0 * z * r * cosh + (z * z + r * r) * sinh;
    [(z * z - r * r) * sinh / denominator, 4.0 * z * r * once / denominator]
}

/// The two-port of a line, in 50 ohm.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a parameter of the line out of range.
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
        let exponent = line.exponent_of_checked(hz);
        let [reflected, passed] = line_scattering(line.impedance_ohm, exponent, REFERENCE_OHM);
        [reflected, passed, passed, reflected]
    });
    scattering(grid, 2, entries.collect())
}

/// A two-port of zero length, with its ports connected.
///
/// # Errors
/// [`ComponentError::Network`] if the network cannot be made.
///
/// # Examples
/// ```
/// use fourphase::component::zero_length_line;
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// assert_eq!(zero_length_line(&grid)?.entries()[2].re, 1.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn zero_length_line(grid: &FrequencyGrid) -> Result<Network, ComponentError> {
    let (zero, one) = (Complex64::ZERO, Complex64::ONE);
    scattering(grid, 2, [zero, one, one, zero].repeat(grid.len()))
}

/// The termination of a stub.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StubEnd {
    /// An open end.
    Open,
    /// A short to ground.
    Short,
}

impl Choice for StubEnd {
    const WORDS: &'static [(&'static str, Self)] = &[("open", Self::Open), ("short", Self::Short)];
}

/// A line in shunt to the signal path, terminated by an open or a short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stub {
    /// The line.
    pub line: Line,
    /// Its termination.
    pub end: StubEnd,
}

/// The two-port of a stub from its connected ports to ground, in 50 ohm.
///
/// The stub's impedance is Z coth γl with an open end and Z tanh γl with a shorted end.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a parameter of the line out of range.
///
/// # Examples
/// ```
/// use fourphase::component::{Line, Stub, StubEnd, stub};
/// use fourphase::network::FrequencyGrid;
///
/// // A quarter wave of open stub shorts the path.
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let trap = Stub { line: Line::ideal(70.0, 29e9, 90.0), end: StubEnd::Open };
/// assert!(stub(&grid, &trap)?.entries()[2].norm() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn stub(grid: &FrequencyGrid, stub: &Stub) -> Result<Network, ComponentError> {
    stub.line.check()?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        // Division by e^γl, as in `line_scattering`.
        let twice = (-2.0 * stub.line.exponent_of_checked(hz)).exp();
        let (sinh, cosh) = (1.0 - twice, 1.0 + twice);
        let impedance_ohm = stub.line.impedance_ohm;
        match stub.end {
            StubEnd::Open => shunt_scattering(impedance_ohm * cosh, sinh),
            StubEnd::Short => shunt_scattering(impedance_ohm * sinh, cosh),
        }
    });
    scattering(grid, 2, entries.collect())
}
