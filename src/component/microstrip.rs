//! Microstrip on a substrate: impedance and permittivity from width and gap, and the inverse.
//!
//! Single strip: E. Hammerstad, O. Jensen, IEEE MTT-S Digest 1980, 407-409, with their correction
//! for thickness; dispersion: M. Kirschning, R. H. Jansen, Electronics Letters 18 (1982) 272-273.
//! Coupled strips: M. Kirschning, R. H. Jansen, IEEE Trans. MTT 32 (1984) 83-90, static, without
//! thickness. All from memory; tests compare the static values with an independent field solution.
//! Losses: the usual first approximations (common practice).

use super::construction::{FREE_SPACE_OHM, checked, finite, not_negative, positive};
use super::error::ComponentError;
use super::parameter_limit::ParameterLimit;
use super::search::bisect_log;
use crate::units::SPEED_OF_LIGHT_M_PER_S;
use std::f64::consts::PI;

const VACUUM_PERMEABILITY: f64 = 4e-7 * PI;

/// A substrate with metal on both sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Substrate {
    /// Relative permittivity.
    pub relative_permittivity: f64,
    /// Height, m.
    pub height_m: f64,
    /// Thickness of the strip's metal, m; 0 is allowed.
    pub thickness_m: f64,
    /// Loss tangent of the dielectric.
    pub loss_tangent: f64,
    /// Conductivity of the metal, S/m; infinite for metal without loss.
    pub conductivity_s_per_m: f64,
}

impl Substrate {
    /// Gallium arsenide of 100 um with 3 um of gold.
    #[must_use]
    pub fn gallium_arsenide_100_um() -> Self {
        Self {
            relative_permittivity: 12.9,
            height_m: 100e-6,
            thickness_m: 3e-6,
            loss_tangent: 6e-4,
            conductivity_s_per_m: 4.1e7,
        }
    }

    fn check(&self) -> Result<(), ComponentError> {
        checked("relative_permittivity", ParameterLimit::AboveOne, self.relative_permittivity)?;
        positive("height_m", self.height_m)?;
        not_negative("thickness_m", self.thickness_m)?;
        not_negative("loss_tangent", self.loss_tangent)?;
        checked(
            "conductivity_s_per_m",
            ParameterLimit::PositiveOrInfinite,
            self.conductivity_s_per_m,
        )?;
        Ok(())
    }
}

/// A strip as a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strip {
    /// Characteristic impedance at zero frequency, ohms.
    pub impedance_ohm: f64,
    /// Effective relative permittivity.
    pub effective_permittivity: f64,
}

impl Strip {
    /// Whether impedance and permittivity are finite and above 0, as they are inside the range of
    /// the formulas.
    fn is_positive(&self) -> bool {
        [self.impedance_ohm, self.effective_permittivity]
            .iter()
            .all(|value| *value > 0.0 && value.is_finite())
    }
}

/// A coupled pair of strips by its modes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StripPair {
    /// The even mode: equal voltages on both strips.
    pub even: Strip,
    /// The odd mode: opposite voltages on the strips.
    pub odd: Strip,
}

/// A single strip of a width in m: impedance in ohms and effective permittivity, both static.
///
/// Source: Hammerstad and Jensen (1980), who state 0.2 % for the permittivity and 0.03 % for the
/// impedance in air.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for the substrate or the width;
/// [`ComponentError::OutsideFormulas`] for a width that the formulas do not cover.
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, strip};
///
/// // A width of about 70 um gives 50 ohm on 100 um of gallium arsenide.
/// let line = strip(&Substrate::gallium_arsenide_100_um(), 70e-6)?;
/// assert!((line.impedance_ohm - 50.0).abs() < 2.0);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn strip(substrate: &Substrate, width_m: f64) -> Result<Strip, ComponentError> {
    substrate.check()?;
    positive("width_m", width_m)?;
    let er = substrate.relative_permittivity;
    let (u, t) = (width_m / substrate.height_m, substrate.thickness_m / substrate.height_m);
    // The thickness of the metal increases the effective width, in air more than on the substrate.
    let wider = if t > 0.0 {
        let coth = 1.0 / (6.517 * u).sqrt().tanh();
        t / PI * (1.0 + 4.0 * std::f64::consts::E / (t * coth * coth)).ln()
    } else {
        0.0
    };
    let (in_air, on_substrate) =
        (u + wider, u + 0.5 * wider * (1.0 + 1.0 / (er - 1.0).sqrt().cosh()));
    let effective_permittivity = thin_permittivity(er, on_substrate)
        * (thin_air_ohm(in_air) / thin_air_ohm(on_substrate)).powi(2);
    let impedance_ohm = thin_air_ohm(on_substrate) / thin_permittivity(er, on_substrate).sqrt();
    let strip = Strip { impedance_ohm, effective_permittivity };
    if strip.is_positive() {
        Ok(strip)
    } else {
        Err(ComponentError::OutsideFormulas { width_to_height: u, gap_to_height: None })
    }
}

/// Impedance of a thin strip in air.
fn thin_air_ohm(u: f64) -> f64 {
    let f = 6.0 + (2.0 * PI - 6.0) * (-(30.666 / u).powf(0.7528)).exp();
    FREE_SPACE_OHM / (2.0 * PI) * (f / u + (1.0 + 4.0 / (u * u)).sqrt()).ln()
}

fn width_exponent(u: f64) -> f64 {
    let u4 = u.powi(4);
    1.0 + ((u4 + (u / 52.0).powi(2)) / (u4 + 0.432)).ln() / 49.0
        + (1.0 + (u / 18.1).powi(3)).ln() / 18.7
}

fn permittivity_exponent(er: f64) -> f64 {
    0.564 * ((er - 0.9) / (er + 3.0)).powf(0.053)
}

fn thin_permittivity(er: f64, u: f64) -> f64 {
    0.5 * (er + 1.0)
        + 0.5 * (er - 1.0) * (1.0 + 10.0 / u).powf(-width_exponent(u) * permittivity_exponent(er))
}

/// Effective permittivity of a single strip of a width in m at a frequency in Hz.
///
/// Source: Kirschning and Jansen (1982).
///
/// # Errors
/// Those of [`strip`]; [`ComponentError::OutOfRange`] for a negative frequency.
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, dispersed_permittivity};
///
/// let substrate = Substrate::gallium_arsenide_100_um();
/// let at = |hz| dispersed_permittivity(&substrate, 70e-6, hz);
/// assert!(at(60e9)? > at(30e9)?);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn dispersed_permittivity(
    substrate: &Substrate,
    width_m: f64,
    frequency_hz: f64,
) -> Result<f64, ComponentError> {
    let still = strip(substrate, width_m)?.effective_permittivity;
    not_negative("frequency_hz", frequency_hz)?;
    let (er, u) = (substrate.relative_permittivity, width_m / substrate.height_m);
    // GHz times mm.
    let fh = frequency_hz * 1e-9 * substrate.height_m * 1e3;
    let p1 = 0.27488 + (0.6315 + 0.525 / (1.0 + 0.0157 * fh).powi(20)) * u
        - 0.065_683 * (-8.7513 * u).exp();
    let p2 = 0.33622 * (1.0 - (-0.03442 * er).exp());
    let p3 = 0.0363 * (-4.6 * u).exp() * (1.0 - (-(fh / 38.7).powf(4.97)).exp());
    let p4 = 1.0 + 2.751 * (1.0 - (-(er / 15.916).powi(8)).exp());
    let p = p1 * p2 * ((0.1844 + p3 * p4) * fh).powf(1.5763);
    Ok(er - (er - still) / (1.0 + p))
}

/// Two equal strips side by side, of a width and gap in m, by their modes; static, without
/// thickness.
///
/// Source: Kirschning and Jansen (1984), for widths and gaps from 0.1 to 10 heights of the substrate
/// and permittivities up to 18.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for the substrate, the width or the gap;
/// [`ComponentError::OutsideFormulas`] where the formulas give no impedance.
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, coupled_strips};
///
/// let pair = coupled_strips(&Substrate::gallium_arsenide_100_um(), 60e-6, 20e-6)?;
/// assert!(pair.even.impedance_ohm > pair.odd.impedance_ohm);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn coupled_strips(
    substrate: &Substrate,
    width_m: f64,
    gap_m: f64,
) -> Result<StripPair, ComponentError> {
    substrate.check()?;
    positive("width_m", width_m)?;
    positive("gap_m", gap_m)?;
    let er = substrate.relative_permittivity;
    let (u, g) = (width_m / substrate.height_m, gap_m / substrate.height_m);
    let single_permittivity = thin_permittivity(er, u);
    let single_ohm = thin_air_ohm(u) / single_permittivity.sqrt();

    let v = u * (20.0 + g * g) / (10.0 + g * g) + g * (-g).exp();
    let even_permittivity = 0.5 * (er + 1.0)
        + 0.5 * (er - 1.0) * (1.0 + 10.0 / v).powf(-width_exponent(v) * permittivity_exponent(er));
    let a = 0.7287 * (single_permittivity - 0.5 * (er + 1.0)) * (1.0 - (-0.179 * u).exp());
    let b = 0.747 * er / (0.15 + er);
    let c = b - (b - 0.207) * (-0.414 * u).exp();
    let d = 0.593 + 0.694 * (-0.562 * u).exp();
    let odd_permittivity =
        (0.5 * (er + 1.0) + a - single_permittivity) * (-c * g.powf(d)).exp() + single_permittivity;

    let q1 = 0.8695 * u.powf(0.194);
    let q2 = 1.0 + 0.7519 * g + 0.189 * g.powf(2.31);
    let q3 = 0.1975
        + (16.6 + (8.4 / g).powi(6)).powf(-0.387)
        + (g.powi(10) / (1.0 + (g / 3.4).powi(10))).ln() / 241.0;
    let q4 = 2.0 * q1 / q2 / ((-g).exp() * u.powf(q3) + (2.0 - (-g).exp()) * u.powf(-q3));
    let q5 = 1.794 + 1.14 * (1.0 + 0.638 / (g + 0.517 * g.powf(2.43))).ln();
    let q6 = 0.2305
        + (g.powi(10) / (1.0 + (g / 5.8).powi(10))).ln() / 281.3
        + (1.0 + 0.598 * g.powf(1.154)).ln() / 5.1;
    let q7 = (10.0 + 190.0 * g * g) / (1.0 + 82.3 * g.powi(3));
    let q8 = (-6.5 - 0.95 * g.ln() - (g / 0.15).powi(5)).exp();
    let q9 = q7.ln() * (q8 + 1.0 / 16.5);
    let q10 = (q2 * q4 - q5 * (u.ln() * q6 * u.powf(-q9)).exp()) / q2;
    let mode_ohm = |permittivity: f64, q: f64| {
        let ratio = single_ohm / FREE_SPACE_OHM * single_permittivity.sqrt();
        single_ohm * (single_permittivity / permittivity).sqrt() / (1.0 - ratio * q)
    };
    let pair = StripPair {
        even: Strip {
            impedance_ohm: mode_ohm(even_permittivity, q4),
            effective_permittivity: even_permittivity,
        },
        odd: Strip {
            impedance_ohm: mode_ohm(odd_permittivity, q10),
            effective_permittivity: odd_permittivity,
        },
    };
    if pair.even.is_positive() && pair.odd.is_positive() {
        Ok(pair)
    } else {
        Err(ComponentError::OutsideFormulas { width_to_height: u, gap_to_height: Some(g) })
    }
}

/// Loss in dB/m of a single strip of a width in m at a frequency in Hz: of the dielectric, and of the
/// metal with a uniform current on the strip's lower face. Common practice; it holds to some ten
/// percent for strips of 50 ohm.
///
/// # Errors
/// Those of [`strip`]; [`ComponentError::OutOfRange`] for a negative frequency.
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, loss_db_per_m};
///
/// // Some tenths of a dB per mm at 29 GHz are usual on gallium arsenide.
/// let db_per_mm = 1e-3 * loss_db_per_m(&Substrate::gallium_arsenide_100_um(), 70e-6, 29e9)?;
/// assert!((0.03..0.3).contains(&db_per_mm));
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn loss_db_per_m(
    substrate: &Substrate,
    width_m: f64,
    frequency_hz: f64,
) -> Result<f64, ComponentError> {
    let line = strip(substrate, width_m)?;
    not_negative("frequency_hz", frequency_hz)?;
    let er = substrate.relative_permittivity;
    let effective = line.effective_permittivity;
    let wavelength_m = SPEED_OF_LIGHT_M_PER_S / frequency_hz;
    let neper_to_db = 20.0 / std::f64::consts::LN_10;
    let dielectric = neper_to_db * PI * er / (er - 1.0) * (effective - 1.0) / effective.sqrt()
        * substrate.loss_tangent
        / wavelength_m;
    let sheet_ohm =
        (PI * frequency_hz * VACUUM_PERMEABILITY / substrate.conductivity_s_per_m).sqrt();
    Ok(dielectric + neper_to_db * sheet_ohm / (line.impedance_ohm * width_m))
}

/// The range of widths for the search, in heights of the substrate.
const NARROWEST: f64 = 1e-3;
const WIDEST: f64 = 1e2;
/// The range of gaps for which the formulas of coupled strips are valid, in heights of the
/// substrate.
const SMALLEST_GAP: f64 = 0.1;
const LARGEST_GAP: f64 = 10.0;

/// The width in m of a strip of an impedance in ohms.
///
/// # Errors
/// [`ComponentError::NoGeometry`] for an impedance that no width from 0.001 to 100 heights of the
/// substrate has; those of [`strip`].
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, width_m};
///
/// let width_m = width_m(&Substrate::gallium_arsenide_100_um(), 50.0)?;
/// assert!((width_m - 70e-6).abs() < 2e-6);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn width_m(substrate: &Substrate, impedance_ohm: f64) -> Result<f64, ComponentError> {
    positive("impedance_ohm", impedance_ohm)?;
    let ohm = |u: f64| strip(substrate, u * substrate.height_m).map(|line| line.impedance_ohm);
    // The impedance falls with the width.
    if !(ohm(WIDEST)?..=ohm(NARROWEST)?).contains(&impedance_ohm) {
        return Err(ComponentError::NoGeometry { what: "a strip", value_ohm: impedance_ohm });
    }
    let u = bisect_log(NARROWEST, WIDEST, |u| Ok(ohm(u)? > impedance_ohm))?;
    Ok(u * substrate.height_m)
}

/// The width and gap in m of a coupled pair with an even- and an odd-mode impedance in ohms.
///
/// # Errors
/// [`ComponentError::NoGeometry`] for impedances that no gap from 0.1 to 10 heights of the substrate
/// has; [`ComponentError::ModeOrder`] for an even-mode impedance that is not above the odd-mode
/// impedance; those of [`coupled_strips`].
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, coupled_strips, width_and_gap_m};
///
/// let substrate = Substrate::gallium_arsenide_100_um();
/// let (width_m, gap_m) = width_and_gap_m(&substrate, 70.0, 36.0)?;
/// let pair = coupled_strips(&substrate, width_m, gap_m)?;
/// assert!((pair.even.impedance_ohm - 70.0).abs() < 1e-6);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn width_and_gap_m(
    substrate: &Substrate,
    even_ohm: f64,
    odd_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    positive("odd_ohm", odd_ohm)?;
    positive("even_ohm", even_ohm)?;
    if even_ohm <= odd_ohm {
        return Err(ComponentError::ModeOrder { even_ohm, odd_ohm });
    }
    let h = substrate.height_m;
    let modes = |u: f64, g: f64| coupled_strips(substrate, u * h, g * h);
    let mean = |pair: &StripPair| (pair.even.impedance_ohm * pair.odd.impedance_ohm).sqrt();
    let wanted_mean = (even_ohm * odd_ohm).sqrt();
    // For each gap one width gives the geometric mean, and the ratio decreases with the gap.
    let width_at =
        |g: f64| bisect_log(NARROWEST, WIDEST, |u| Ok(mean(&modes(u, g)?) > wanted_mean));
    let ratio_at = |g: f64| -> Result<f64, ComponentError> {
        let pair = modes(width_at(g)?, g)?;
        Ok(pair.even.impedance_ohm / pair.odd.impedance_ohm)
    };
    let wanted_ratio = even_ohm / odd_ohm;
    if !(ratio_at(LARGEST_GAP)?..=ratio_at(SMALLEST_GAP)?).contains(&wanted_ratio) {
        return Err(ComponentError::NoGeometry { what: "an even mode", value_ohm: even_ohm });
    }
    let g = bisect_log(SMALLEST_GAP, LARGEST_GAP, |g| Ok(ratio_at(g)? > wanted_ratio))?;
    Ok((width_at(g)? * h, g * h))
}

/// The extension of an open end of a strip: the equivalent length, m.
///
/// Source: M. Kirschning, R. H. Jansen, N. H. L. Koster, Electronics Letters 17 (1981), 123-125, from
/// memory: within 2.5 % for widths of 0.01 to 100 heights and permittivities to 50.
///
/// # Errors
/// Those of [`strip`].
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, open_end_extension_m, width_m};
///
/// // About 0.3 heights of alumina.
/// let alumina = Substrate {
///     relative_permittivity: 9.8,
///     height_m: 254e-6,
///     thickness_m: 0.0,
///     loss_tangent: 0.0,
///     conductivity_s_per_m: f64::INFINITY,
/// };
/// let extension_m = open_end_extension_m(&alumina, width_m(&alumina, 50.0)?)?;
/// assert!((76e-6..82e-6).contains(&extension_m));
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn open_end_extension_m(substrate: &Substrate, width_m: f64) -> Result<f64, ComponentError> {
    let effective = strip(substrate, width_m)?.effective_permittivity;
    let (u, er) = (width_m / substrate.height_m, substrate.relative_permittivity);
    let power = effective.powf(0.81);
    let first = 0.434_907 * (power + 0.26) / (power - 0.189) * (u.powf(0.8544) + 0.236)
        / (u.powf(0.8544) + 0.87);
    let second = 1.0 + u.powf(0.371) / (2.358 * er + 1.0);
    let third = 1.0 + 0.5274 * (0.084 * u.powf(1.9413 / second)).atan() / effective.powf(0.9236);
    let fourth =
        1.0 + 0.0377 * (0.067 * u.powf(1.456)).atan() * (6.0 - 5.0 * (0.036 * (1.0 - er)).exp());
    let fifth = 1.0 - 0.218 * (-7.5 * u).exp();
    Ok(substrate.height_m * first * third * fifth / fourth)
}

/// The length in m of an electrical length in degrees at a frequency in Hz.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a permittivity or frequency that is not positive, or an angle
/// that is not finite.
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::length_m;
///
/// // A full wave at 29 GHz in air.
/// assert!((length_m(1.0, 360.0, 29e9)? - 10.34e-3).abs() < 0.01e-3);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn length_m(
    effective_permittivity: f64,
    angle_deg: f64,
    frequency_hz: f64,
) -> Result<f64, ComponentError> {
    positive("effective_permittivity", effective_permittivity)?;
    finite("angle_deg", angle_deg)?;
    positive("frequency_hz", frequency_hz)?;
    Ok(angle_deg / 360.0 * SPEED_OF_LIGHT_M_PER_S / (frequency_hz * effective_permittivity.sqrt()))
}
