//! Frequencies along an axis, in GHz.

use std::ops::Range;

pub(super) const LO_LABEL: &str = "LO at the mixers (GHz)";

pub(super) const FREQUENCY_LABEL: &str = "Frequency (GHz)";

pub(super) fn ghz(frequency_hz: f64) -> f64 {
    frequency_hz / 1e9
}

/// The range of an axis from the first frequency to the last, Hz; a single one still needs an axis.
pub(super) fn frequency_range(hz: &[f64]) -> Range<f64> {
    let (low, high) = ends_ghz(hz);
    if low < high { low..high } else { 0.98 * low..1.02 * high.max(f64::MIN_POSITIVE) }
}

/// The first and the last of ascending frequencies, GHz; 0 without any.
pub(super) fn ends_ghz(hz: &[f64]) -> (f64, f64) {
    match hz {
        [] => (0.0, 0.0),
        [low, .., high] => (ghz(*low), ghz(*high)),
        [only] => (ghz(*only), ghz(*only)),
    }
}
