//! What is likely a mistake in a description though it can be solved: numbers in another unit, or in
//! decibels where a ratio is expected.
//!
//! Every remark is a sentence for the user with its place; none stops the work.

use super::component_entry::ComponentEntry;
use super::source::TomlFile;
use crate::component::odd_value;
use crate::units::{amplitude_from_db, db_from_amplitude, db_from_power, shown_complex};
use num_complex::Complex64;
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
        let what = odd_value(entry.kind()?, (key, value), band_hz)?;
        Some(source.remark(span, &format!("block '{block}': {what}")))
    });
    remarks.collect()
}

/// A level that is meant in watts or milliwatts.
pub(super) fn odd_level(key: &str, dbm: f64) -> Option<String> {
    /// A source level is a whole number of dBm or some tenths of one, not some hundredths.
    const SMALLEST_DBM: f64 = 0.1;
    /// 1 W: more than an LO on a die has.
    const LARGEST_DBM: f64 = 30.0;
    if dbm > 0.0 && dbm < SMALLEST_DBM {
        let meant = db_from_power(dbm * 1e3);
        return Some(format!(
            "{key} = {dbm} is in dBm, about 1 mW; if {dbm} W is meant, write {meant:.1}"
        ));
    }
    (dbm > LARGEST_DBM).then(|| {
        format!(
            "{key} = {dbm} is in dBm, above 1 W; if {dbm} mW is meant, write {:.1}",
            db_from_power(dbm)
        )
    })
}
