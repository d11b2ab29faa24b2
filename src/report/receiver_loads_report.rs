//! What reflections of a receiver's loads do to its rejection: text and JSON.

use super::text_table::{filled, fixed, rejection};
use crate::downconverter::{
    DownconverterResult, LoadReflectionSweep, ReflectionOrigin, SweptPorts, WorstReturnLoss,
};
use crate::units::{ShownFrequency, db_from_amplitude};
use serde_json::{Value, json};

/// The sweeps of the document, one per group of loads.
pub(super) fn reflection_sweeps_json(result: &DownconverterResult) -> Vec<Value> {
    result.load_reflection_sweeps.iter().map(sweep_json).collect()
}

fn sweep_json(sweep: &LoadReflectionSweep) -> Value {
    json!({
        "loads": match sweep.ports {
            SweptPorts::Mixers => "mixers",
            SweptPorts::Isolated => "isolated",
        },
        "reflection": sweep.reflection,
        "return_loss_db": -db_from_amplitude(sweep.reflection),
        "reflection_from": match sweep.origin {
            ReflectionOrigin::Given => "given",
            ReflectionOrigin::Loads => "loads",
            ReflectionOrigin::Assumed => "assumed",
        },
        "worst_image_rejection_db": sweep.worst_db,
        "worst_at_angle_deg": sweep.worst_angle_deg,
        "worst_at_lo_hz": sweep.worst_at_lo_hz,
        "worst_at_if_hz": sweep.worst_at_if_hz,
        "worst_loads": sweep
            .worst_loads_ohm
            .iter()
            .map(|(at, ohm)| json!({"at": at, "ohm": [ohm.re, ohm.im]}))
            .collect::<Vec<_>>(),
        "best_image_rejection_db": sweep.best_db,
        "best_at_angle_deg": sweep.best_angle_deg,
    })
}

/// A sentence for each sweep, and one for the return losses that the requirement needs.
pub(super) fn loads_text(result: &DownconverterResult) -> String {
    let mut text = String::new();
    for at in &result.load_reflection_sweeps {
        text.push_str(&filled(&sweep_text(at)));
    }
    if let Some(losses) = result.allocation.as_ref().and_then(|all| all.return_losses) {
        let worst = |own: WorstReturnLoss| {
            format!("{} dB at LO {}", fixed(own.db, 1), ShownFrequency(own.at_lo_hz))
        };
        text.push_str(&filled(&format!(
            "Worst return losses over LO: mixers {}, isolated {}; at LO {} their sum is {} dB, and the \
             loads' share needs {}.",
            worst(losses.worst_mixers),
            worst(losses.worst_isolated),
            ShownFrequency(losses.at_lo_hz),
            fixed(losses.mixers_db + losses.isolated_db, 1),
            fixed(losses.needed_sum_db, 1),
        )));
    }
    text
}

fn sweep_text(sweep: &LoadReflectionSweep) -> String {
    /// Less than this is no dependence on the angle.
    const SMALLEST_SPREAD_DB: f64 = 0.05;
    let what = match sweep.ports {
        SweptPorts::Mixers => "Mixers' LO ports",
        SweptPorts::Isolated => "Isolated ports",
    };
    let worst = rejection(sweep.worst_db);
    let origin = match sweep.origin {
        ReflectionOrigin::Given => " (given)",
        ReflectionOrigin::Assumed => " (assumed: the loads match)",
        ReflectionOrigin::Loads => "",
    };
    let reflection = format!("|{}|{origin}", fixed(sweep.reflection, 3));
    if sweep.best_db - sweep.worst_db < SMALLEST_SPREAD_DB {
        return format!("{what} {reflection}: worst {worst} dB at every angle.");
    }
    format!(
        "{what} {reflection} at any angle: worst {worst} dB at {} deg, best {} dB.",
        fixed(sweep.worst_angle_deg, 0),
        rejection(sweep.best_db),
    )
}
