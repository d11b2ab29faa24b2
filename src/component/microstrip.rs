//! Microstrip on a substrate: impedance and speed from width and gap, and back.
//!
//! Single strip: E. Hammerstad, O. Jensen, IEEE MTT-S Digest 1980, 407-409, with their correction
//! for thickness; dispersion: M. Kirschning, R. H. Jansen, Electronics Letters 18 (1982) 272-273.
//! Coupled strips: M. Kirschning, R. H. Jansen, IEEE Trans. MTT 32 (1984) 83-90, static, without
//! thickness. All from memory; the tests hold the static values against a field solution made
//! independently. Losses: the usual first approximations (common practice).

use super::{ComponentError, FREE_SPACE_OHM, not_negative, positive};
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
    /// Thickness of the strip's metal, m; zero is allowed.
    pub thickness_m: f64,
    /// Loss tangent.
    pub loss_tangent: f64,
    /// Conductivity of the metal, S/m; infinite for none of its loss.
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
        positive("relative_permittivity less 1", self.relative_permittivity - 1.0)?;
        positive("height_m", self.height_m)?;
        not_negative("thickness_m", self.thickness_m)?;
        not_negative("loss_tangent", self.loss_tangent)?;
        if self.conductivity_s_per_m > 0.0 {
            Ok(())
        } else {
            Err(ComponentError::NotPositive {
                name: "conductivity_s_per_m",
                value: self.conductivity_s_per_m,
            })
        }
    }
}

/// What a strip is as a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strip {
    /// Characteristic impedance at zero frequency, ohms.
    pub impedance_ohm: f64,
    /// Effective relative permittivity.
    pub effective_permittivity: f64,
}

/// What a coupled pair of strips is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StripPair {
    /// Both strips alike.
    pub even: Strip,
    /// Both strips opposite.
    pub odd: Strip,
}

/// A single strip of a width.
///
/// # Errors
/// [`ComponentError::NotPositive`], [`ComponentError::Negative`].
///
/// # Examples
/// ```
/// use fourphase::component::microstrip::{Substrate, strip};
/// // About 70 um make 50 ohm on 100 um of gallium arsenide.
/// let line = strip(&Substrate::gallium_arsenide_100_um(), 70e-6)?;
/// assert!((line.impedance_ohm - 50.0).abs() < 2.0);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn strip(substrate: &Substrate, width_m: f64) -> Result<Strip, ComponentError> {
    substrate.check()?;
    positive("width_m", width_m)?;
    let er = substrate.relative_permittivity;
    let (u, t) = (width_m / substrate.height_m, substrate.thickness_m / substrate.height_m);
    // Thickness makes the strip look wider, more so in air than on the substrate.
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
    Ok(Strip { impedance_ohm, effective_permittivity })
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

/// Effective permittivity of a single strip at a frequency.
///
/// # Errors
/// Those of [`strip`].
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

/// Two equal strips beside each other.
///
/// # Errors
/// [`ComponentError::NotPositive`].
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
    Ok(StripPair {
        even: Strip {
            impedance_ohm: mode_ohm(even_permittivity, q4),
            effective_permittivity: even_permittivity,
        },
        odd: Strip {
            impedance_ohm: mode_ohm(odd_permittivity, q10),
            effective_permittivity: odd_permittivity,
        },
    })
}

/// Loss of a single strip in dB/m: of the dielectric, and of the metal with a uniform current on
/// the strip's lower face (common practice; good to some ten percent for strips of 50 ohm).
///
/// # Errors
/// Those of [`strip`].
pub fn loss_db_per_m(
    substrate: &Substrate,
    width_m: f64,
    frequency_hz: f64,
) -> Result<f64, ComponentError> {
    let line = strip(substrate, width_m)?;
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

/// Strips narrower or wider than these shares of the height are not made.
const NARROWEST: f64 = 1e-3;
const WIDEST: f64 = 1e2;
/// The formulas for coupled strips hold for gaps between these shares of the height.
const SMALLEST_GAP: f64 = 0.1;
const LARGEST_GAP: f64 = 10.0;

/// The width of a strip of an impedance, m.
///
/// # Errors
/// [`ComponentError::NoGeometry`] beyond what the substrate allows; those of [`strip`].
pub fn width_m(substrate: &Substrate, impedance_ohm: f64) -> Result<f64, ComponentError> {
    positive("impedance_ohm", impedance_ohm)?;
    let ohm = |u: f64| strip(substrate, u * substrate.height_m).map(|line| line.impedance_ohm);
    // Wider is lower.
    if !(ohm(WIDEST)?..=ohm(NARROWEST)?).contains(&impedance_ohm) {
        return Err(ComponentError::NoGeometry { what: "a strip", value_ohm: impedance_ohm });
    }
    let u = bisect_log(NARROWEST, WIDEST, |u| Ok(ohm(u)? > impedance_ohm))?;
    Ok(u * substrate.height_m)
}

/// The width and gap of a coupled pair with two mode impedances, m.
///
/// # Errors
/// [`ComponentError::NoGeometry`] beyond what the substrate and the formulas allow; those of
/// [`coupled_strips`].
pub fn width_and_gap_m(
    substrate: &Substrate,
    even_ohm: f64,
    odd_ohm: f64,
) -> Result<(f64, f64), ComponentError> {
    positive("odd_ohm", odd_ohm)?;
    positive("even_ohm less odd_ohm", even_ohm - odd_ohm)?;
    let h = substrate.height_m;
    let modes = |u: f64, g: f64| coupled_strips(substrate, u * h, g * h);
    let mean = |pair: &StripPair| (pair.even.impedance_ohm * pair.odd.impedance_ohm).sqrt();
    let wanted_mean = (even_ohm * odd_ohm).sqrt();
    // For any gap one width gives the mean; wider gaps couple less.
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

/// The value at which a condition turns from true to false between two positive bounds.
fn bisect_log(
    low: f64,
    high: f64,
    holds: impl Fn(f64) -> Result<bool, ComponentError>,
) -> Result<f64, ComponentError> {
    let (mut low, mut high) = (low.ln(), high.ln());
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if holds(middle.exp())? { low = middle } else { high = middle }
    }
    Ok((0.5 * (low + high)).exp())
}

/// The length of an electrical angle at a frequency, m.
#[must_use]
pub fn length_m(effective_permittivity: f64, angle_deg: f64, frequency_hz: f64) -> f64 {
    angle_deg / 360.0 * SPEED_OF_LIGHT_M_PER_S / (frequency_hz * effective_permittivity.sqrt())
}
