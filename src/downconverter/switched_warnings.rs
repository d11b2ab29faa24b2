//! What a user of switched mixers should check: elements that do not switch, sums that have not
//! converged, and data that do not reach.

use super::receiver::Receiver;
use super::switched_result::SwitchingResult;
use crate::units::{ShownFrequency, shown_band};

/// Warnings for the results of a receiver.
pub(super) fn switching_warnings(receiver: &Receiver, switching: &SwitchingResult) -> Vec<String> {
    let mut warnings = Vec::new();
    for (at, mixer) in receiver.mixers().iter().enumerate() {
        let first = |is_stuck: fn(f64) -> bool| {
            switching.lo.iter().position(|own| is_stuck(own.on_part[at]))
        };
        let never = first(|part| part <= 0.0);
        let always = first(|part| part >= 1.0);
        for (state, found) in [("never", never), ("always", always)] {
            if let Some(lo) = found {
                let at_lo = ShownFrequency(receiver.plan().lo_hz()[lo]);
                warnings.push(format!(
                    "mixer '{}' is {state} on at LO {at_lo}: the peak of its LO voltage does not \
                     cross its threshold; check lo_power_dbm and threshold_v",
                    mixer.name
                ));
            }
        }
    }
    if let (Some(false), Some(left_db)) = (switching.converged, switching.left_db) {
        warnings.push(format!(
            "with {} sidebands the results are {left_db:.1e} dB from those of more: capacitances at the nodes \
             or a slope of the switches make the sum converge, and sidebands = K takes as many as are \
             given",
            switching.sidebands
        ));
    }
    if !switching.outside_hz.is_empty() {
        let shown: Vec<String> =
            switching.outside_hz.iter().take(3).map(|range| shown_band(*range)).collect();
        let more = switching.outside_hz.len().saturating_sub(3);
        let others = if more > 0 { format!(" and {more} more ranges") } else { String::new() };
        let ends = receiver.switching().map_or("reference", |own| own.outside.name());
        warnings.push(format!(
            "sidebands at {}{others} lie outside some data: ports of those parts end in '{ends}' there",
            shown.join(", ")
        ));
    }
    warnings
}
