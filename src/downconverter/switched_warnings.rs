//! What a user of switched mixers should check: elements that do not switch, sums that have not
//! converged, and data that do not reach.

use super::receiver::Receiver;
use super::switched_result::SwitchingResult;
use super::switching::{SwitchSettings, SwitchedMixer};
use crate::units::{ShownFrequency, shown_band};
use std::ops::RangeInclusive;

/// Temperatures that are more likely of a receiver in degrees Celsius than of one in kelvin.
const LIKELY_CELSIUS: RangeInclusive<f64> = 15.0..=70.0;
const ZERO_CELSIUS_K: f64 = 273.15;

/// Warnings of mixers that are never or always on, those of one LO together.
fn stuck_warnings(receiver: &Receiver, switching: &SwitchingResult) -> Vec<String> {
    let mut warnings = Vec::new();
    for (state, part) in [("never", 0.0), ("always", 1.0)] {
        let is_stuck = |own: f64| (own - part).abs() < f64::EPSILON;
        let mut known = vec![false; receiver.mixers().len()];
        for (own, lo_hz) in switching.lo.iter().zip(receiver.plan().lo_hz()) {
            let is_new = |at: &usize| !known[*at] && is_stuck(own.on_part[*at]);
            let stuck: Vec<usize> = (0..known.len()).filter(is_new).collect();
            let Some(&first) = stuck.first() else { continue };
            stuck.iter().for_each(|at| known[*at] = true);
            let names: Vec<String> =
                stuck.iter().map(|at| format!("'{}'", receiver.mixers()[*at].name)).collect();
            let (mixers, of_first) = match &*names {
                [only] => (format!("mixer {only} is"), "its LO voltage".to_owned()),
                [first, ..] => {
                    let all = format!("mixers {} are", names.join(", "));
                    (all, format!("the LO voltage of {first}"))
                }
                [] => continue,
            };
            let threshold_v = switch_of(receiver, first).map_or(0.0, |own| own.threshold_v);
            warnings.push(format!(
                "{mixers} {state} on at LO {}: the peak of {of_first}, {:.3} V, does not cross the \
                 threshold, {threshold_v} V; check lo_power_dbm and threshold_v",
                ShownFrequency(*lo_hz),
                own.lo_peak_v[first]
            ));
        }
    }
    warnings
}

/// A warning of a switch whose transition is wider than its LO voltage at every LO.
fn slope_warning(receiver: &Receiver, switching: &SwitchingResult) -> Option<String> {
    let peak_v = |at: usize| switching.lo.iter().map(|own| own.lo_peak_v[at]).fold(0.0, f64::max);
    let mut mixers = receiver.mixers().iter().enumerate();
    mixers.find_map(|(at, mixer)| {
        let slope_v = switch_of(receiver, at)?.slope_v;
        (slope_v > peak_v(at)).then(|| {
            format!(
                "mixer '{}' hardly switches: its slope_v, {slope_v} V, is above the peak of its LO \
                 voltage, {:.3} V; slope_v is in volt",
                mixer.name,
                peak_v(at)
            )
        })
    })
}

fn switch_of(receiver: &Receiver, mixer: usize) -> Option<&SwitchSettings> {
    Some(receiver.switched_mixer()?.elements().get(mixer)?.switch.settings())
}

/// Warnings for the results of a receiver.
pub(super) fn switching_warnings(receiver: &Receiver, switching: &SwitchingResult) -> Vec<String> {
    let mut warnings = stuck_warnings(receiver, switching);
    warnings.extend(slope_warning(receiver, switching));
    if let Some(own) = receiver.switching()
        && LIKELY_CELSIUS.contains(&own.temperature_k)
    {
        let kelvin = own.temperature_k;
        warnings.push(format!(
            "temperature_k = {kelvin} is {:.0} degrees Celsius: it is in kelvin",
            kelvin - ZERO_CELSIUS_K
        ));
    }
    if let (Some(false), Some(left_db)) = (switching.converged, switching.left_db) {
        warnings.push(format!(
            "with {} sidebands the results are {left_db:.1e} dB from those of more: capacitances at the nodes, \
             a slope of the switches or temperature_k = 290 make the sum converge faster, and \
             sidebands = K takes as many as are given",
            switching.sidebands
        ));
    }
    // Without a capacitance to the LO nothing acts at 0 Hz.
    let mut elements = receiver.switched_mixer().into_iter().flat_map(SwitchedMixer::elements);
    let leaks = elements.any(|own| own.lo_to_rf_f > 0.0 || own.lo_to_if_f > 0.0);
    let acts = |range: &&(f64, f64)| leaks || range.1 > 0.0;
    let outside_hz: Vec<&(f64, f64)> = switching.outside_hz.iter().filter(acts).collect();
    if !outside_hz.is_empty() {
        let shown: Vec<String> =
            outside_hz.iter().take(3).map(|range| shown_band(**range)).collect();
        let more = outside_hz.len().saturating_sub(3);
        let others = if more > 0 { format!(" and {more} more ranges") } else { String::new() };
        let ends = receiver.switching().map_or("reference", |own| own.outside.name());
        warnings.push(format!(
            "sidebands at {}{others} lie outside some data: ports of those parts end in '{ends}' there",
            shown.join(", ")
        ));
    }
    warnings
}
