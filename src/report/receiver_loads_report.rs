//! What reflections of a receiver's loads do to its rejection: text and JSON.

use super::text_table::{filled, fixed, rejection};
use crate::downconverter::{DownconverterResult, LoadReflectionSweep, SweptPorts};
use crate::units::db_from_amplitude;
use serde_json::{Value, json};

/// The sweeps of the document, one per group of loads.
pub(super) fn load_rings_json(result: &DownconverterResult) -> Vec<Value> {
    result.load_reflection_sweeps.iter().map(load_ring).collect()
}

fn load_ring(ring: &LoadReflectionSweep) -> Value {
    json!({
        "loads": match ring.ports {
            SweptPorts::Mixers => "mixers",
            SweptPorts::Isolated => "isolated",
        },
        "reflection": ring.reflection,
        "return_loss_db": -db_from_amplitude(ring.reflection),
        "given": ring.is_given,
        "worst_image_rejection_db": ring.worst_db,
        "worst_at_angle_deg": ring.worst_angle_deg,
        "worst_at_lo_hz": ring.worst_at_lo_hz,
        "worst_at_if_hz": ring.worst_at_if_hz,
        "best_image_rejection_db": ring.best_db,
        "best_at_angle_deg": ring.best_angle_deg,
    })
}

/// A sentence for each sweep, and one for the return losses that the requirement needs.
pub(super) fn loads_text(result: &DownconverterResult) -> String {
    let mut text = String::new();
    for at in &result.load_reflection_sweeps {
        text.push_str(&filled(&ring(at)));
    }
    if let Some(losses) = result.allocation.as_ref().and_then(|all| all.return_losses) {
        text.push_str(&filled(&format!(
            "Return losses: mixers {}, isolated {} dB; their share asks for a sum of {}.",
            fixed(losses.mixers_db, 1),
            fixed(losses.isolated_db, 1),
            fixed(losses.needed_sum_db, 1),
        )));
    }
    text
}

fn ring(ring: &LoadReflectionSweep) -> String {
    /// Less than this is no dependence on the angle.
    const SMALLEST_SPREAD_DB: f64 = 0.05;
    let what = match ring.ports {
        SweptPorts::Mixers => "Mixers' LO ports",
        SweptPorts::Isolated => "Isolated ports",
    };
    let (reflection, worst) = (fixed(ring.reflection, 3), rejection(ring.worst_db));
    if ring.best_db - ring.worst_db < SMALLEST_SPREAD_DB {
        return format!("{what} |{reflection}|: worst {worst} dB whatever the angle.");
    }
    format!(
        "{what} |{reflection}| at any angle: worst {worst} dB at {} deg, best {} dB.",
        fixed(ring.worst_angle_deg, 0),
        rejection(ring.best_db),
    )
}
