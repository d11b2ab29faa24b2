//! Coupled lines and couplers made of them.
//!
//! A symmetric pair carries an even and an odd mode, each a line of its own; a four-port matrix is
//! the half sum and half difference of the modes' two-port matrices. Ports:
//!
//! ```text
//! 1 ========== 2     first line
//! 3 ========== 4     second line
//! ```

use super::construction::{REFERENCE_OHM, checked, positive, scattering};
use super::error::ComponentError;
use super::line::{Line, line_scattering};
use super::parameter_limit::ParameterLimit;
use crate::network::{FrequencyGrid, Network};
use crate::units::{amplitude_from_db, db_from_amplitude};

/// A symmetric pair of coupled lines by its modes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoupledPair {
    /// The even mode: equal voltages on both lines.
    pub even: Line,
    /// The odd mode: opposite voltages on the lines.
    pub odd: Line,
}

/// The four-port of a coupled pair, in 50 ohm: 1 input, 2 through, 3 coupled, 4 isolated.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a parameter of a mode out of range.
///
/// # Examples
/// ```
/// use fourphase::component::{CoupledPair, Line, coupled_pair};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let even = Line::ideal(70.0, 29e9, 92.0);
/// let odd = Line::ideal(36.0, 29e9, 88.0);
/// let network = coupled_pair(&grid, &CoupledPair { even, odd })?;
/// assert_eq!(network.ports(), 4);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn coupled_pair(grid: &FrequencyGrid, pair: &CoupledPair) -> Result<Network, ComponentError> {
    pair.even.check()?;
    pair.odd.check()?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        let mode = |line: &Line| {
            line_scattering(line.impedance_ohm, line.exponent_of_checked(hz), REFERENCE_OHM)
        };
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

/// Even- and odd-mode impedances in ohms of a coupler of one section, from its coupling in positive
/// dB and the impedance Z that it matches in ohms: Ze = Z √((1+C)/(1-C)), Zo = Z √((1-C)/(1+C)).
///
/// # Errors
/// [`ComponentError::Coupling`], [`ComponentError::OutOfRange`] for the impedance.
///
/// # Examples
/// ```
/// use fourphase::component::mode_impedances_ohm;
///
/// let (even_ohm, odd_ohm) = mode_impedances_ohm(10.0, 50.0)?;
/// assert!((even_ohm - 69.37).abs() < 0.01 && (odd_ohm - 36.04).abs() < 0.01);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
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
    // After rounding, a coupling too near to 0 dB is 1.
    if coupling_db > 0.0 && coupling_db <= 1000.0 && coupling < 1.0 {
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
    /// The impedance that the coupler matches, ohms.
    pub impedance_ohm: f64,
    /// The frequency at which the coupler is a quarter wave long, Hz.
    pub center_hz: f64,
    /// Loss of each mode over its length at the centre, dB.
    pub loss_db: f64,
    /// The velocity of the odd mode above that of the even mode, percent of the odd mode's
    /// velocity: the odd mode's electrical length is shorter by this share. It is 0 in a
    /// homogeneous medium and must be below 100.
    pub odd_mode_velocity_excess_percent: f64,
}

impl CoupledLineCoupler {
    /// The pair of lines of the coupler. The mean of the modes' electrical lengths is a quarter
    /// wave.
    ///
    /// # Errors
    /// [`ComponentError::Coupling`], [`ComponentError::OutOfRange`].
    ///
    /// # Examples
    /// ```
    /// use fourphase::component::CoupledLineCoupler;
    ///
    /// let coupler = CoupledLineCoupler {
    ///     coupling_db: 10.0,
    ///     impedance_ohm: 50.0,
    ///     center_hz: 29e9,
    ///     loss_db: 0.0,
    ///     odd_mode_velocity_excess_percent: 5.0,
    /// };
    /// let pair = coupler.pair()?;
    /// assert!((0.5 * (pair.even.angle_deg + pair.odd.angle_deg) - 90.0).abs() < 1e-12);
    /// # Ok::<(), fourphase::component::ComponentError>(())
    /// ```
    pub fn pair(&self) -> Result<CoupledPair, ComponentError> {
        let (even_ohm, odd_ohm) = mode_impedances_ohm(self.coupling_db, self.impedance_ohm)?;
        let excess_percent = checked(
            "odd_mode_velocity_excess_percent",
            ParameterLimit::BelowHundred,
            self.odd_mode_velocity_excess_percent,
        )?;
        let half = 0.5 * (100.0 - excess_percent) / 100.0;
        let (even_deg, odd_deg) = (90.0 / (0.5 + half), 90.0 * 2.0 * half / (0.5 + half));
        let mode = |impedance_ohm, angle_deg| Line {
            loss_db: self.loss_db,
            ..Line::ideal(impedance_ohm, self.center_hz, angle_deg)
        };
        Ok(CoupledPair { even: mode(even_ohm, even_deg), odd: mode(odd_ohm, odd_deg) })
    }
}

/// The four-port of a coupled-line coupler, in 50 ohm: 1 input, 2 through, 3 coupled, 4 isolated.
/// The coupled port leads the through port by 90 degrees.
///
/// # Errors
/// [`ComponentError::Coupling`], [`ComponentError::OutOfRange`].
///
/// # Examples
/// ```
/// use fourphase::component::{CoupledLineCoupler, coupled_line_coupler};
/// use fourphase::network::FrequencyGrid;
/// use fourphase::units::db_from_amplitude;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let coupler = CoupledLineCoupler {
///     coupling_db: 10.0,
///     impedance_ohm: 50.0,
///     center_hz: 29e9,
///     loss_db: 0.0,
///     odd_mode_velocity_excess_percent: 0.0,
/// };
/// let s31 = coupled_line_coupler(&grid, &coupler)?.entries()[8];
/// assert!((db_from_amplitude(s31.norm()) + 10.0).abs() < 1e-9);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn coupled_line_coupler(
    grid: &FrequencyGrid,
    coupler: &CoupledLineCoupler,
) -> Result<Network, ComponentError> {
    coupled_pair(grid, &coupler.pair()?)
}

/// A coupler of interdigitated strips; alternate strips are connected to each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InterdigitatedCoupler {
    /// The number of strips, which is even.
    pub strips: usize,
    /// The coupler as a whole; its modes are those of the connected strips.
    pub coupler: CoupledLineCoupler,
}

/// Even- and odd-mode impedances in ohms of two neighbouring strips of an interdigitated coupler,
/// from the number n of strips, the coupling C of the whole in positive dB and the impedance Z that
/// it matches in ohms. For two strips they are those of [`mode_impedances_ohm`].
///
/// # Method
/// With q = √(C² + (1 - C²)(n - 1)²),
/// Zo = Z √((1-C)/(1+C)) (n-1)(1+q) / ((C+q) + (n-1)(1-C)) and Ze = Zo (C+q) / ((n-1)(1-C)).
/// Source: W. P. Ou, IEEE Trans. MTT 23 (1975) 253-255, inverted in closed form; a test evaluates
/// the published form.
///
/// # Errors
/// [`ComponentError::Strips`], [`ComponentError::Coupling`], [`ComponentError::OutOfRange`] for the
/// impedance.
///
/// # Examples
/// ```
/// use fourphase::component::strip_impedances_ohm;
///
/// let (even_ohm, odd_ohm) = strip_impedances_ohm(4, 3.0, 50.0)?;
/// assert!((even_ohm - 176.4).abs() < 0.1 && (odd_ohm - 52.5).abs() < 0.1);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
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

/// Coupling in positive dB and matched impedance in ohms of an interdigitated coupler, from the
/// number n of strips and the even- and odd-mode impedances of two neighbours in ohms. It is the
/// inverse of [`strip_impedances_ohm`].
///
/// # Method
/// Half the strips are connected on each side; the whole has
/// Ze' = Ze (Ze + Zo) / (Zo (n - 1) + Ze) and Zo' = Zo (Ze + Zo) / (Ze (n - 1) + Zo).
/// Source: W. P. Ou, IEEE Trans. MTT 23 (1975) 253-255.
///
/// # Errors
/// [`ComponentError::Strips`], [`ComponentError::OutOfRange`], and [`ComponentError::ModeOrder`] for
/// an even-mode impedance that is not above the odd-mode impedance.
///
/// # Examples
/// ```
/// use fourphase::component::coupling_of_strips;
///
/// let (coupling_db, impedance_ohm) = coupling_of_strips(2, 69.37, 36.04)?;
/// assert!((coupling_db - 10.0).abs() < 0.01 && (impedance_ohm - 50.0).abs() < 0.01);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn coupling_of_strips(
    strips: usize,
    even_ohm: f64,
    odd_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    let n = strip_count(strips)?;
    positive("odd_ohm", odd_ohm)?;
    positive("even_ohm", even_ohm)?;
    if even_ohm <= odd_ohm {
        return Err(ComponentError::ModeOrder { even_ohm, odd_ohm });
    }
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

/// The four-port of an interdigitated coupler, in 50 ohm, with the ports of
/// [`coupled_line_coupler`].
///
/// The connected strips are one coupled pair: the number of strips changes the strips' impedances
/// ([`strip_impedances_ohm`]) but not the network.
///
/// # Limits of the model
/// Where all modes of the strips have one velocity, the pair is exact for coupling between
/// neighbours. With `odd_mode_velocity_excess_percent` the two modes of the connected strips have
/// different velocities; n separate strips have n modes with up to n velocities, and the wires
/// between strips are not modelled. Above two strips, isolation, return loss and phase are then
/// estimates, which a field simulation or a measurement must confirm.
///
/// # Errors
/// [`ComponentError::Strips`], [`ComponentError::Coupling`], [`ComponentError::OutOfRange`].
///
/// # Examples
/// ```
/// use fourphase::component::{CoupledLineCoupler, InterdigitatedCoupler, interdigitated_coupler};
/// use fourphase::network::FrequencyGrid;
///
/// let coupler = CoupledLineCoupler {
///     coupling_db: 3.0,
///     impedance_ohm: 50.0,
///     center_hz: 29e9,
///     loss_db: 0.2,
///     odd_mode_velocity_excess_percent: 4.0,
/// };
/// let grid = FrequencyGrid::linear(24e9, 34e9, 11)?;
/// let network = interdigitated_coupler(&grid, &InterdigitatedCoupler { strips: 4, coupler })?;
/// assert_eq!(network.ports(), 4);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn interdigitated_coupler(
    grid: &FrequencyGrid,
    coupler: &InterdigitatedCoupler,
) -> Result<Network, ComponentError> {
    strip_count(coupler.strips)?;
    coupled_line_coupler(grid, &coupler.coupler)
}
