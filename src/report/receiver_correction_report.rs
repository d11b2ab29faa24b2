//! What a correction of Q can do for a receiver: text and JSON.

use super::text_table::{filled, lines, rejection, table};
use crate::downconverter::{CorrectionCover, CorrectionPlan, DownconverterResult, IqCorrection};
use crate::units::{ShownFrequency, shown_signed};
use serde_json::{Value, json};

pub(super) fn correction_json(plan: &CorrectionPlan, lo_hz: &[f64]) -> Value {
    let per_lo = |trims: &[IqCorrection]| -> Vec<Value> {
        lo_hz
            .iter()
            .zip(trims)
            .map(|(lo_hz, at)| {
                let mut value = trim(at);
                value["lo_hz"] = json!(lo_hz);
                value
            })
            .collect()
    };
    let cover = plan.cover.as_ref().map(|cover| match cover {
        CorrectionCover::Holds(segments) => json!({
            "corrections_needed": segments.len(),
            "segments": segments
                .iter()
                .map(|segment| {
                    let mut value = trim(&segment.correction);
                    value["lo_band_hz"] = json!([segment.lo_hz.0, segment.lo_hz.1]);
                    value
                })
                .collect::<Vec<_>>(),
        }),
        CorrectionCover::Impossible { lo_hz, best_db } => json!({
            "corrections_needed": null,
            "impossible_at_lo_hz": lo_hz,
            "best_image_rejection_db": best_db,
        }),
    });
    json!({
        "uncorrected_worst_image_rejection_db": plan.uncorrected_db,
        "amplitude_step_db": plan.steps.amplitude_db(),
        "phase_step_deg": plan.steps.phase_deg(),
        "single": trim(&plan.single),
        "single_quantised": trim(&plan.single_quantised),
        "per_lo_worst_image_rejection_db": plan.per_lo_db(),
        "per_lo_quantised_worst_image_rejection_db": plan.per_lo_quantised_db(),
        "per_lo": per_lo(&plan.per_lo),
        "per_lo_quantised": per_lo(&plan.per_lo_quantised),
        "requirement": cover,
    })
}

fn trim(trim: &IqCorrection) -> Value {
    json!({
        "amplitude_db": trim.amplitude_db,
        "phase_deg": trim.phase_deg,
        "worst_image_rejection_db": trim.worst_db,
    })
}

pub(super) fn correction_text(result: &DownconverterResult) -> String {
    let plan = &result.correction;
    let of = |trim: &IqCorrection| {
        format!(
            "{} dB, {} deg",
            shown_signed(trim.amplitude_db, 2),
            shown_signed(trim.phase_deg, 2)
        )
    };
    let steps = format!("{} dB, {} deg", plan.steps.amplitude_db(), plan.steps.phase_deg());
    let mut table = table(&["trim of Q", "free, worst dB", &format!("steps of {steps}")]);
    table.add_row([
        format!("one for all ({})", of(&plan.single)),
        rejection(plan.single.worst_db),
        rejection(plan.single_quantised.worst_db),
    ]);
    table.add_row([
        "one per LO".to_owned(),
        rejection(plan.per_lo_db()),
        rejection(plan.per_lo_quantised_db()),
    ]);
    let mut text = format!("\n{}\n", lines(&table));
    if !plan.single.is_useful() {
        text.push_str("No single trim is of use: the errors over the plan differ too much.\n");
    }
    if let (Some(cover), Some(allocation)) = (&plan.cover, &result.allocation) {
        text.push_str(&filled(&match cover {
            _ if plan.holds_uncorrected(allocation.required_db) => {
                format!("{} dB needs no trim.", allocation.required_db)
            }
            CorrectionCover::Holds(segments) => format!(
                "{} trim{} over LO hold{} {} dB.",
                segments.len(),
                if segments.len() == 1 { "" } else { "s" },
                if segments.len() == 1 { "s" } else { "" },
                allocation.required_db
            ),
            CorrectionCover::Impossible { lo_hz, best_db } => format!(
                "No trim holds {} dB at LO {}: its IFs differ, {} dB is the best there.",
                allocation.required_db,
                ShownFrequency(*lo_hz),
                rejection(*best_db)
            ),
        }));
    }
    text
}
