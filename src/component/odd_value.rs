//! Values of components that are likely in another unit: sentences for the user.

use super::far_centre;
use crate::units::check_prefix;
use std::f64::consts::PI;
use std::ops::RangeInclusive;

/// A sentence where the value of a component's parameter is far from anything that is used in a band;
/// `None` where it is usual.
///
/// # Examples
/// ```
/// use fourphase::component::odd_value;
///
/// let text = odd_value("shunt_element", ("capacitance_ff", 0.05), &(24e9..=34e9)).unwrap();
/// assert!(text.contains("if 0.05 pF is meant, write 50"));
/// assert_eq!(odd_value("shunt_element", ("capacitance_ff", 12.0), &(24e9..=34e9)), None);
/// ```
#[must_use]
pub fn odd_value(
    kind: &str,
    (key, value): (&str, f64),
    band_hz: &RangeInclusive<f64>,
) -> Option<String> {
    match key {
        "center_ghz" => far_centre(kind, value, band_hz),
        "loss_tangent" => large_loss_tangent(value),
        "relative_permittivity" => large_permittivity(key, value),
        _ if key.ends_with("_deg") => angle_in_radians(key, value),
        _ if key.ends_with("_um") => small_dimension(key, value),
        _ => small_element(key, value).or_else(|| small_impedance(key, value)),
    }
}

/// A permittivity beyond those of substrates.
pub(crate) fn large_permittivity(key: &str, value: f64) -> Option<String> {
    /// Semiconductors have 13, ceramics for lines up to some 40.
    const LARGEST: f64 = 45.0;
    (value > LARGEST).then(|| {
        format!("{key} = {value} is above that of any substrate: is a decimal point missing?")
    })
}

/// A dimension that is meant in millimetres.
fn small_dimension(key: &str, um: f64) -> Option<String> {
    /// Lines and gaps on chips and boards are wider (ours); metals and roughness are thinner.
    const SMALLEST_UM: f64 = 1.0;
    let is_thin = key.contains("thickness") || key.contains("rough") || key.contains("metal");
    (!is_thin && um > 0.0 && um < SMALLEST_UM)
        .then(|| format!("{key} = {um} is in micrometres; if {um} mm is meant, write {}", um * 1e3))
}

/// An element that is too small to matter: meant with another prefix.
pub(crate) fn small_element(key: &str, value: f64) -> Option<String> {
    // A tenth of a femtofarad and a picohenry are below what any chip's stray elements are (ours).
    let (unit, larger, smallest) = match key.rsplit('_').next() {
        Some("ff") => ("fF", "pF", 0.1),
        Some("ph") => ("pH", "nH", 1.0),
        _ => return None,
    };
    (value > 0.0 && value < smallest && check_prefix(key, value).is_ok()).then(|| {
        format!(
            "{key} = {value} is in {unit}, which is next to nothing; if {value} {larger} is meant, \
             write {}",
            value * 1e3
        )
    })
}

/// A loss tangent that is meant in percent or thousandths.
fn large_loss_tangent(value: f64) -> Option<String> {
    /// Substrates of this kind of circuit are below 0.03, lossy ones below 0.1 (ours).
    const LARGEST: f64 = 0.1;
    (value > LARGEST).then(|| {
        format!(
            "loss_tangent = {value} is above that of any substrate; it is a ratio: if {value} % is \
             meant, write {}",
            value / 100.0
        )
    })
}

/// An angle that is a simple part of pi to four digits: meant in radians.
fn angle_in_radians(key: &str, value: f64) -> Option<String> {
    let parts = [1.0 / 6.0, 0.25, 1.0 / 3.0, 0.5, 2.0 / 3.0, 0.75, 1.0, 1.5, 2.0];
    let turned = parts.iter().find(|part| (value.abs() - *part * PI).abs() < 5e-4 * value.abs());
    turned.map(|part| {
        let degrees = (180.0 * part).copysign(value);
        format!("{key} = {value} is in degrees; if {value} rad is meant, write {degrees:.0}")
    })
}

/// An impedance of a line or a reference that is meant in kilohms.
pub(crate) fn small_impedance(key: &str, ohm: f64) -> Option<String> {
    // Lines from 5 to 200 ohm are made.
    const SMALLEST_OHM: f64 = 1.0;
    let is_line = matches!(
        key,
        "impedance_ohm"
            | "load_ohm"
            | "even_ohm"
            | "odd_ohm"
            | "reference_ohm"
            | "lo_source_ohm"
            | "rf_source_ohm"
    );
    (is_line && ohm > 0.0 && ohm < SMALLEST_OHM).then(|| small_resistance(key, ohm))
}

/// The sentence for a resistance that is next to an open, for which there is a key.
pub(crate) fn large_resistance(key: &str, ohm: f64) -> Option<String> {
    /// No port is as high (ours).
    const LARGEST_OHM: f64 = 1e4;
    (ohm >= LARGEST_OHM).then(|| {
        format!(
            "{key} = {ohm} is in ohm, next to an open; if {ohm} mohm is meant, write {}; an open is \
             open = true",
            ohm / 1e3
        )
    })
}

/// The sentence for a resistance that is next to a short.
pub(crate) fn small_resistance(key: &str, ohm: f64) -> String {
    format!("{key} = {ohm} is in ohm, next to a short; if {ohm} kohm is meant, write {}", ohm * 1e3)
}
