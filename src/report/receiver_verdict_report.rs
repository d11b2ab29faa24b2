//! How the requirements on a receiver fare, and its worst points: text and JSON.

use super::assessment_report::{add_decision, judged};
use super::text_table::{filled, shown_rejection, telling};
use crate::diagnostic::printable;
use crate::downconverter::{DownconverterResult, Receiver};
use crate::measurement::{Assessment, ReceiverUncertainty};
use crate::requirement::{Compliance, Quantity, RequirementResult, Verdict};
use crate::units::{ShownFrequency, shown_band};
use serde_json::{Value, json};
use std::fmt::Write as _;

pub(super) fn summary_json(receiver: &Receiver, result: &DownconverterResult) -> Value {
    let summary = &result.summary;
    let powers_dbm = result.lo_power_range_dbm();
    let fix_first = result.fix_first().map(|row| row.contributor.to_string());
    let amplitude = &summary.worst_amplitude_imbalance;
    let quadrature = &summary.worst_quadrature_error;
    json!({
        "lo_band_hz": [receiver.plan().lo_hz()[0], receiver.plan().lo_hz()[receiver.plan().lo_hz().len() - 1]],
        "worst_image_rejection_db": summary.worst.balance.image_rejection_db,
        "worst_at_lo_hz": summary.worst.lo_hz,
        "worst_at_if_hz": summary.worst.if_hz,
        "median_image_rejection_db": summary.median_image_rejection_db,
        "worst_amplitude_imbalance_db": amplitude.balance.wanted().amplitude_db,
        "worst_amplitude_imbalance_at_lo_hz": amplitude.lo_hz,
        "worst_amplitude_imbalance_at_if_hz": amplitude.if_hz,
        "worst_quadrature_error_deg": quadrature.balance.wanted().phase_deg,
        "worst_quadrature_error_at_lo_hz": quadrature.lo_hz,
        "worst_quadrature_error_at_if_hz": quadrature.if_hz,
        "min_lo_power_dbm": powers_dbm.map(|range| range.0),
        "max_lo_power_dbm": powers_dbm.map(|range| range.1),
        "leading_output": if summary.q_leads_i_deg > 0.0 { "q" } else { "i" },
        "q_leads_i_deg": summary.q_leads_i_deg,
        "reversed_points": summary.reversed_points,
        "fix_first": fix_first,
    })
}

pub(super) fn verdict_json(compliance: &Compliance, assessment: Option<&Assessment>) -> Value {
    let requirements: Vec<Value> = compliance
        .requirements
        .iter()
        .enumerate()
        .map(|(at, held)| {
            let location = &held.location;
            let mut entry = json!({
                "name": held.limit.quantity().name(),
                "sideband": sideband(held.limit.quantity()),
                "limit": held.limit.value(),
                "worst": held.worst,
                "at_lo_hz": location.frequency_hz,
                "at_if_hz": location.if_hz,
                "at_mixer": location.mixer.as_deref(),
                "margin": held.margin(),
                "pass": held.passes(),
            });
            if let Some(assessment) = assessment {
                add_decision(&mut entry, &assessment.requirements[at]);
            }
            entry
        })
        .collect();
    let listed = |bands: Vec<(f64, f64)>| -> Vec<[f64; 2]> {
        bands.into_iter().map(|(low, high)| [low, high]).collect()
    };
    let bands = listed(assessment.map_or_else(
        || compliance.bands_that_pass_hz.clone(),
        |assessment| assessment.bands_hz(Verdict::Pass),
    ));
    let pass = assessment.map_or(compliance.passes(), |a| a.decision.passes());
    let mut document =
        json!({ "pass": pass, "requirements": requirements, "bands_that_pass_hz": bands });
    if let Some(assessment) = assessment {
        document["decision"] = json!(assessment.decision.to_string());
        document["bands_undecided_hz"] = json!(listed(assessment.bands_hz(Verdict::Undecided)));
    }
    document
}

pub(super) fn verdict_text(
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
) -> String {
    let mut text = String::new();
    for (at, held) in result.compliance.requirements.iter().enumerate() {
        let assessment = uncertainty.map(|known| &known.assessment);
        let (word, probability) =
            judged(held.passes(), assessment, at, held.limit.quantity().unit());
        let probability =
            if probability.is_empty() { probability } else { format!("; {probability}") };
        text.push_str(&filled(&requirement(held, &word, &probability)));
    }
    let summary = &result.summary;
    let worst = &summary.worst;
    text.push_str(&filled(&format!(
        "Worst image rejection {} dB (LO {}, IF {}), median {} dB.",
        shown_rejection(worst.balance.image_rejection_db),
        ShownFrequency(worst.lo_hz),
        ShownFrequency(worst.if_hz),
        shown_rejection(summary.median_image_rejection_db),
    )));
    if !result.compliance.requirements.is_empty() {
        let shown = |bands: &[(f64, f64)]| {
            bands.iter().map(|&range_hz| shown_band(range_hz)).collect::<Vec<_>>().join(", ")
        };
        let assessment = uncertainty.map(|known| &known.assessment);
        let passing = assessment.map_or_else(
            || result.compliance.bands_that_pass_hz.clone(),
            |assessment| assessment.bands_hz(Verdict::Pass),
        );
        text.push_str(&filled(&if passing.is_empty() {
            "No LO passes at every IF.".to_owned()
        } else {
            format!("LOs that pass at every IF: {}.", shown(&passing))
        }));
        let undecided = assessment.map_or_else(Vec::new, |own| own.bands_hz(Verdict::Undecided));
        if !undecided.is_empty() {
            text.push_str(&filled(&format!("Undecided LOs: {}.", shown(&undecided))));
        }
    }
    text
}

/// The sideband in which a quantity is judged; `None` for those of both or of none.
fn sideband(quantity: Quantity) -> Option<&'static str> {
    match quantity {
        Quantity::AmplitudeImbalance | Quantity::QuadratureError => Some("wanted"),
        _ => None,
    }
}

fn requirement(held: &RequirementResult, word: &str, probability: &str) -> String {
    let quantity = held.limit.quantity();
    let unit = quantity.unit();
    let location = &held.location;
    let mut place = format!(" at LO {}", ShownFrequency(location.frequency_hz));
    if let Some(if_hz) = location.if_hz {
        let _ = write!(place, ", IF {}", ShownFrequency(if_hz));
    }
    if let Some(mixer) = &location.mixer {
        let _ = write!(place, ", {}", printable(mixer));
    }
    // A level without power has no figure in dB.
    let worst = match quantity {
        // Nothing to limit anywhere has no place.
        Quantity::LoTone | Quantity::SpuriousResponse if held.worst.is_infinite() => {
            place.clear();
            "none within the data".to_owned()
        }
        _ if held.worst == f64::NEG_INFINITY => "worst: no power".to_owned(),
        Quantity::ImageRejection => format!("worst {} {unit}", shown_rejection(held.worst)),
        _ => format!("worst {} {unit}", telling(held.worst)),
    };
    format!(
        "{word} {}{} {} {} {unit}: {worst}{place}{probability}",
        quantity.limited(),
        sideband(quantity).map_or_else(String::new, |own| format!(" ({own} sideband)")),
        quantity.direction().sign(),
        held.limit.value(),
    )
}
