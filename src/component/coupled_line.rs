//! Coupled lines and couplers made of them.
//!
//! A symmetric pair carries an even and an odd mode, each a line of its own; a four-port matrix is
//! the half sum and half difference of the modes'. Ports: 1 and 2 are the ends of the first line,
//! 3 and 4 those of the second, 3 beside 1.

use super::line::{Line, line_scattering};
use super::{ComponentError, REFERENCE_OHM, positive, scattering};
use crate::network::{FrequencyGrid, Network};
use crate::units::{amplitude_from_db, db_from_amplitude};

/// A symmetric pair by its modes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoupledPair {
    /// The even mode: both lines alike.
    pub even: Line,
    /// The odd mode: both lines opposite.
    pub odd: Line,
}

/// The four-port of a coupled pair: 1 in, 2 through, 3 coupled (beside 1), 4 isolated.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::Negative`].
pub fn coupled_pair(grid: &FrequencyGrid, pair: &CoupledPair) -> Result<Network, ComponentError> {
    pair.even.check()?;
    pair.odd.check()?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        let mode =
            |line: &Line| line_scattering(line.impedance_ohm, line.exponent(hz), REFERENCE_OHM);
        let ([even_back, even_on], [odd_back, odd_on]) = (mode(&pair.even), mode(&pair.odd));
        let (same, beside) = (0.5 * (even_back + odd_back), 0.5 * (even_back - odd_back));
        let (through, across) = (0.5 * (even_on + odd_on), 0.5 * (even_on - odd_on));
        #[rustfmt::skip]
        let matrix = [
            same, through, beside, across,
            through, same, across, beside,
            beside, across, same, through,
            across, beside, through, same,
        ];
        matrix
    });
    scattering(grid, 4, entries.collect())
}

/// Even- and odd-mode impedances for a coupling: Ze = Z √((1+C)/(1-C)), Zo = Z √((1-C)/(1+C)).
///
/// # Errors
/// [`ComponentError::Coupling`], [`ComponentError::NotPositive`].
pub fn mode_impedances_ohm(
    coupling_db: f64,
    impedance_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    positive("impedance_ohm", impedance_ohm)?;
    let coupling = coupling_ratio(coupling_db)?;
    let ratio = ((1.0 + coupling) / (1.0 - coupling)).sqrt();
    Ok((impedance_ohm * ratio, impedance_ohm / ratio))
}

fn coupling_ratio(coupling_db: f64) -> Result<f64, ComponentError> {
    let coupling = amplitude_from_db(-coupling_db);
    if coupling > 0.0 && coupling < 1.0 {
        Ok(coupling)
    } else {
        Err(ComponentError::Coupling { coupling_db })
    }
}

/// A quarter-wave coupler of one section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoupledLineCoupler {
    /// Coupling at the centre, positive dB.
    pub coupling_db: f64,
    /// Impedance it matches, ohms.
    pub impedance_ohm: f64,
    /// Where it is a quarter wave long, Hz.
    pub center_hz: f64,
    /// Loss of each mode over its length at the centre, dB.
    pub loss_db: f64,
    /// How much faster the odd mode is than the even one, percent; zero in a homogeneous medium.
    pub odd_faster_percent: f64,
}

impl CoupledLineCoupler {
    /// The pair of lines it is made of.
    ///
    /// # Errors
    /// [`ComponentError::Coupling`], [`ComponentError::NotPositive`].
    pub fn pair(&self) -> Result<CoupledPair, ComponentError> {
        let (even_ohm, odd_ohm) = mode_impedances_ohm(self.coupling_db, self.impedance_ohm)?;
        // The mean of both angles is a quarter wave.
        let half =
            0.5 * positive("100 less odd_faster_percent", 100.0 - self.odd_faster_percent)? / 100.0;
        let (even_deg, odd_deg) = (90.0 / (0.5 + half), 90.0 * 2.0 * half / (0.5 + half));
        let mode = |impedance_ohm, angle_deg| Line {
            loss_db: self.loss_db,
            ..Line::ideal(impedance_ohm, self.center_hz, angle_deg)
        };
        Ok(CoupledPair { even: mode(even_ohm, even_deg), odd: mode(odd_ohm, odd_deg) })
    }
}

/// The coupler: 1 in, 2 through, 3 coupled, 4 isolated; the coupled port leads by 90 degrees.
///
/// # Errors
/// [`ComponentError::Coupling`], [`ComponentError::NotPositive`], [`ComponentError::Negative`].
pub fn coupled_line_coupler(
    grid: &FrequencyGrid,
    coupler: &CoupledLineCoupler,
) -> Result<Network, ComponentError> {
    coupled_pair(grid, &coupler.pair()?)
}

/// A coupler of interdigitated strips, alternate ones tied together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InterdigitatedCoupler {
    /// Strips, an even number.
    pub strips: usize,
    /// The coupler as a whole; its modes are those of the tied strips.
    pub coupler: CoupledLineCoupler,
}

/// Even- and odd-mode impedances of two neighbouring strips of an interdigitated coupler of n
/// strips, from those of the whole: W. P. Ou, IEEE Trans. MTT 23 (1975) 253-255, inverted in closed
/// form; the tests run it forwards. For two strips they are those of the plain pair.
///
/// # Errors
/// [`ComponentError::Strips`], [`ComponentError::Coupling`], [`ComponentError::NotPositive`].
///
/// # Method
/// With q = √(C² + (1 - C²)(n - 1)²),
/// Zo = Z √((1-C)/(1+C)) (n-1)(1+q) / ((C+q) + (n-1)(1-C)) and Ze = Zo (C+q) / ((n-1)(1-C)).
pub fn strip_impedances_ohm(
    strips: usize,
    coupling_db: f64,
    impedance_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    let n = strip_count(strips)?;
    positive("impedance_ohm", impedance_ohm)?;
    let c = coupling_ratio(coupling_db)?;
    let q = (c * c + (1.0 - c * c) * (n - 1.0) * (n - 1.0)).sqrt();
    let odd_ohm = impedance_ohm * ((1.0 - c) / (1.0 + c)).sqrt() * (n - 1.0) * (1.0 + q)
        / ((c + q) + (n - 1.0) * (1.0 - c));
    let even_ohm = odd_ohm * (c + q) / ((n - 1.0) * (1.0 - c));
    Ok((even_ohm, odd_ohm))
}

/// (coupling dB, impedance ohms) of n strips from the modes of two neighbours, the forward form:
/// the tied strips have Ze' = Ze (Ze + Zo) / (Zo (n - 1) + Ze) and
/// Zo' = Zo (Ze + Zo) / (Ze (n - 1) + Zo), half the strips on each side.
///
/// # Errors
/// [`ComponentError::Strips`].
pub fn coupling_of_strips(
    strips: usize,
    even_ohm: f64,
    odd_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    let n = strip_count(strips)?;
    let sum = even_ohm + odd_ohm;
    let whole_even = even_ohm * sum / (odd_ohm * (n - 1.0) + even_ohm);
    let whole_odd = odd_ohm * sum / (even_ohm * (n - 1.0) + odd_ohm);
    let coupling = (whole_even - whole_odd) / (whole_even + whole_odd);
    Ok((-db_from_amplitude(coupling), (whole_even * whole_odd).sqrt()))
}

fn strip_count(strips: usize) -> Result<f64, ComponentError> {
    let count =
        u32::try_from(strips).ok().filter(|&strips| strips >= 2 && strips.is_multiple_of(2));
    count.map(f64::from).ok_or(ComponentError::Strips { strips })
}

/// The four-port of an interdigitated coupler: ports as [`coupled_line_coupler`].
///
/// # Errors
/// [`ComponentError::Strips`], [`ComponentError::Coupling`], [`ComponentError::NotPositive`].
pub fn interdigitated_coupler(
    grid: &FrequencyGrid,
    coupler: &InterdigitatedCoupler,
) -> Result<Network, ComponentError> {
    // Tied strips are one pair again; how many there are shows in their impedances alone.
    strip_count(coupler.strips)?;
    coupled_line_coupler(grid, &coupler.coupler)
}
