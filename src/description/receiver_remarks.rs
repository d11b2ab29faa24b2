//! What is likely a mistake in a description though it can be solved: numbers in another unit, or in
//! decibels where a ratio is expected.
//!
//! Every remark is a sentence for the user with its place; none stops the work.

use super::component_entry::ComponentEntry;
use super::source::TomlFile;
use crate::component::far_centre;
use crate::units::{
    amplitude_from_db, check_prefix, db_from_amplitude, db_from_power, shown_complex,
};
use num_complex::Complex64;
use std::f64::consts::PI;
use std::ops::{Range, RangeInclusive};

/// A gain that a mixer is given, and its place; the gain of a mixer without one has no place.
pub(super) struct GivenGain<'a> {
    pub(super) mixer: &'a str,
    pub(super) gain: Complex64,
    pub(super) span: Option<Range<usize>>,
}

/// Gains that turn an output over or that differ as only decibels or degrees do.
pub(super) fn gain_remarks(source: &TomlFile, gains: &[GivenGain<'_>]) -> Vec<String> {
    /// 10 dB: mixers of one receiver are alike within some decibels (ours).
    const MOST_UNEQUAL: f64 = 3.2;
    let mut remarks = Vec::new();
    for (at, own) in gains.iter().enumerate() {
        let Some(span) = &own.span else { continue };
        let others = gains.iter().enumerate().filter(|(other, _)| *other != at);
        let norms: Vec<f64> = others.map(|(_, other)| other.gain.norm()).collect();
        let norm = own.gain.norm();
        let is_unequal =
            norms.iter().any(|other| norm > MOST_UNEQUAL * other || MOST_UNEQUAL * norm < *other);
        let what = if own.gain.re < 0.0 {
            format!("turns its output by {:.0} deg", own.gain.arg().to_degrees())
        } else if is_unequal {
            format!("is {:.1} dB, more than 10 dB from another mixer's", db_from_amplitude(norm))
        } else {
            continue;
        };
        let text = format!(
            "gain = {} of mixer '{}' {what}: a gain is a ratio or its parts [re, im], neither dB \
             nor magnitude and degrees (-6 dB is {:.3}); polarity = \"-\" subtracts an output",
            shown_complex(own.gain),
            own.mixer,
            amplitude_from_db(-6.0)
        );
        remarks.push(source.remark(span.clone(), &text));
    }
    remarks
}

/// Parameters of a closed-form block that are far from anything at the frequencies where it is used.
pub(super) fn component_remarks(
    source: &TomlFile,
    block: &str,
    entry: &ComponentEntry,
    band_hz: &RangeInclusive<f64>,
) -> Vec<String> {
    let numbers = entry.numbers();
    let remarks = numbers.filter_map(|(key, value, span)| {
        let what = match key {
            "center_ghz" => far_centre(entry.kind()?, value, band_hz)?,
            "loss_tangent" => large_loss_tangent(value)?,
            _ if key.ends_with("_deg") => angle_in_radians(key, value)?,
            _ => small_element(key, value).or_else(|| small_impedance(key, value))?,
        };
        Some(source.remark(span, &format!("block '{block}': {what}")))
    });
    remarks.collect()
}

/// An element that is too small to matter: meant with another prefix.
pub(super) fn small_element(key: &str, value: f64) -> Option<String> {
    /// A tenth of a femtofarad or picohenry is below what any chip's stray elements are (ours).
    const SMALLEST: f64 = 0.1;
    let (unit, larger) = match key.rsplit('_').next() {
        Some("ff") => ("fF", "pF"),
        Some("ph") => ("pH", "nH"),
        _ => return None,
    };
    (value > 0.0 && value < SMALLEST && check_prefix(key, value).is_ok()).then(|| {
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
pub(super) fn small_impedance(key: &str, ohm: f64) -> Option<String> {
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

/// A level that is meant in watts.
pub(super) fn small_level(key: &str, dbm: f64) -> Option<String> {
    /// A source level is a whole number of dBm or some tenths of one, not some hundredths.
    const SMALLEST_DBM: f64 = 0.1;
    (dbm > 0.0 && dbm < SMALLEST_DBM).then(|| {
        format!(
            "{key} = {dbm} is in dBm, about 1 mW; if {dbm} W is meant, write {:.1}",
            db_from_power(dbm * 1e3)
        )
    })
}

/// The sentence for a resistance that is next to an open, for which there is a key.
pub(super) fn large_resistance(key: &str, ohm: f64) -> Option<String> {
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
pub(super) fn small_resistance(key: &str, ohm: f64) -> String {
    format!("{key} = {ohm} is in ohm, next to a short; if {ohm} kohm is meant, write {}", ohm * 1e3)
}
