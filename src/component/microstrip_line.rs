//! Networks of microstrip: a single strip and a coupled pair of a given geometry.

use super::construction::{REFERENCE_OHM, not_negative, scattering};
use super::coupled_line::{CoupledPair, coupled_pair};
use super::error::ComponentError;
use super::line::{Line, line_scattering};
use super::microstrip::{
    self, Strip, Substrate, coupled_strips, dispersed_permittivity, length_m, loss_db_per_m,
};
use crate::network::{FrequencyGrid, Network};

/// At zero frequency the strip is computed at this frequency in Hz, because the wavelength is
/// infinite.
const LOWEST_HZ: f64 = 1.0;

/// A single strip on a substrate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MicrostripLine {
    /// The substrate.
    pub substrate: Substrate,
    /// Width, m.
    pub width_m: f64,
    /// Length, m.
    pub length_m: f64,
}

/// The two-port of a strip, in 50 ohm, with dispersion and losses.
///
/// The impedance is the static one; permittivity and loss are those of each frequency.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for the substrate, the width or the length;
/// [`ComponentError::OutsideFormulas`] for a width that the formulas do not cover.
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::Substrate;
/// use fourphase::component::{MicrostripLine, microstrip_line};
/// use fourphase::network::FrequencyGrid;
///
/// let substrate = Substrate::gallium_arsenide_100_um();
/// let strip = MicrostripLine { substrate, width_m: 70e-6, length_m: 900e-6 };
/// let network = microstrip_line(&FrequencyGrid::linear(24e9, 34e9, 11)?, &strip)?;
/// assert!(network.entries()[2].norm() > 0.97);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn microstrip_line(
    grid: &FrequencyGrid,
    strip: &MicrostripLine,
) -> Result<Network, ComponentError> {
    let MicrostripLine { substrate, width_m, length_m: strip_length_m } = *strip;
    not_negative("length_m", strip_length_m)?;
    let impedance_ohm = microstrip::strip(&substrate, width_m)?.impedance_ohm;
    let mut entries = Vec::with_capacity(4 * grid.len());
    for &hz in grid.as_hz() {
        // Each frequency has its own line, described at that frequency.
        let center_hz = hz.max(LOWEST_HZ);
        let permittivity = dispersed_permittivity(&substrate, width_m, center_hz)?;
        let wavelength_m = length_m(permittivity, 360.0, center_hz)?;
        let line = Line {
            loss_db: loss_db_per_m(&substrate, width_m, center_hz)? * strip_length_m,
            ..Line::ideal(impedance_ohm, center_hz, 360.0 * strip_length_m / wavelength_m)
        };
        let [reflected, passed] = line_scattering(impedance_ohm, line.exponent(hz)?, REFERENCE_OHM);
        entries.extend([reflected, passed, passed, reflected]);
    }
    scattering(grid, 2, entries)
}

/// Two equal coupled strips on a substrate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoupledMicrostrip {
    /// The substrate; its losses and the thickness of its metal are neglected.
    pub substrate: Substrate,
    /// Width of each strip, m.
    pub width_m: f64,
    /// Gap between the strips, m.
    pub gap_m: f64,
    /// Length, m.
    pub length_m: f64,
}

/// The four-port of two coupled strips, in 50 ohm, without loss, with the ports of
/// [`coupled_pair`]. The permittivities are the static ones.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for the substrate, the width, the gap or the length;
/// [`ComponentError::OutsideFormulas`] where the formulas give no impedance.
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::Substrate;
/// use fourphase::component::{CoupledMicrostrip, coupled_microstrip};
/// use fourphase::network::FrequencyGrid;
///
/// let substrate = Substrate::gallium_arsenide_100_um();
/// let pair = CoupledMicrostrip { substrate, width_m: 60e-6, gap_m: 20e-6, length_m: 900e-6 };
/// let network = coupled_microstrip(&FrequencyGrid::linear(24e9, 34e9, 11)?, &pair)?;
/// assert_eq!(network.ports(), 4);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn coupled_microstrip(
    grid: &FrequencyGrid,
    pair: &CoupledMicrostrip,
) -> Result<Network, ComponentError> {
    not_negative("length_m", pair.length_m)?;
    let strips = coupled_strips(&pair.substrate, pair.width_m, pair.gap_m)?;
    let center_hz = grid.last_hz().max(LOWEST_HZ);
    let mode = |strip: Strip| -> Result<Line, ComponentError> {
        let wavelength_m = length_m(strip.effective_permittivity, 360.0, center_hz)?;
        Ok(Line::ideal(strip.impedance_ohm, center_hz, 360.0 * pair.length_m / wavelength_m))
    };
    coupled_pair(grid, &CoupledPair { even: mode(strips.even)?, odd: mode(strips.odd)? })
}
