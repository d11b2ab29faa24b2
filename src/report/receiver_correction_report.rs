//! What a correction of Q can do for a receiver: text, JSON and CSV.

use super::csv_table::CsvTable;
use super::text_table::{filled, fixed, lines, rejection, table};
use crate::downconverter::{
    CorrectionChannels, CorrectionCover, CorrectionDomain, CorrectionPlan, CorrectionSetting,
    DownconverterResult, LoPoint, PlanPoint, QCorrection, Receiver,
};
use crate::requirement::Quantity;
use crate::units::{ShownFrequency, shown_signed};
use serde_json::{Value, json};

pub(super) fn correction_json(result: &DownconverterResult) -> Value {
    let plan = &result.correction;
    let own = |at: &CorrectionSetting| setting(plan, at);
    let per_lo = |all: &[CorrectionSetting]| -> Vec<Value> {
        let with_lo = |(point, at): (&LoPoint, &CorrectionSetting)| {
            let mut value = own(at);
            value["lo_hz"] = json!(point.lo_hz);
            value
        };
        result.lo.iter().zip(all).map(with_lo).collect()
    };
    let per_point = |all: &[CorrectionSetting]| -> Vec<Value> {
        let with_point = |(point, at): (&PlanPoint, &CorrectionSetting)| {
            let mut value = own(at);
            (value["lo_hz"], value["if_hz"]) = (json!(point.lo_hz), json!(point.if_hz));
            value
        };
        result.points.iter().zip(all).map(with_point).collect()
    };
    json!({
        "acts_on": plan.acts_on.name(),
        "settings_are": "absolute: they take the place of those in [correction]",
        "present": {
            "amplitude_db": plan.present.amplitude_db(),
            "phase_deg": plan.present.phase_deg(),
            "matrix": matrix(plan, &plan.present),
            "worst_image_rejection_db": plan.present_db,
        },
        "uncorrected_worst_image_rejection_db": plan.uncorrected_db,
        "amplitude_step_db": plan.steps.amplitude_db(),
        "phase_step_deg": plan.steps.phase_deg(),
        "single": own(&plan.single),
        "single_quantised": own(&plan.single_quantised),
        "per_lo_worst_image_rejection_db": plan.per_lo_db(),
        "per_lo_quantised_worst_image_rejection_db": plan.per_lo_quantised_db(),
        "per_lo_and_if_worst_image_rejection_db": finite(plan.per_lo_and_if_db()),
        "per_lo_and_if_quantised_worst_image_rejection_db": plan.per_lo_and_if_quantised_db(),
        "per_lo": per_lo(&plan.per_lo),
        "per_lo_quantised": per_lo(&plan.per_lo_quantised),
        "per_lo_and_if": per_point(&plan.per_lo_and_if),
        "per_lo_and_if_quantised": per_point(&plan.per_lo_and_if_quantised),
        "requirement": plan.cover.as_ref().map(|cover| cover_json(plan, cover)),
        "if_channels": plan.channels.as_ref().map(channels_json),
    })
}

/// `None`, so null, for a rejection without an image.
fn finite(rejection_db: f64) -> Option<f64> {
    rejection_db.is_finite().then_some(rejection_db)
}

fn cover_json(plan: &CorrectionPlan, cover: &CorrectionCover) -> Value {
    match cover {
        CorrectionCover::Holds(segments) => json!({
            "corrections_needed": segments.len(),
            "segments": segments
                .iter()
                .map(|segment| {
                    let mut value = setting(plan, &segment.correction);
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
    }
}

fn channels_json(channels: &CorrectionChannels) -> Value {
    match channels {
        CorrectionChannels::Holds(channels) => json!({
            "channels_needed": channels.len(),
            "channels": channels
                .iter()
                .map(|channel| json!({
                    "if_band_hz": [channel.if_hz.0, channel.if_hz.1],
                    "worst_image_rejection_db": finite(channel.worst_db),
                }))
                .collect::<Vec<_>>(),
        }),
        CorrectionChannels::Impossible { lo_hz, if_hz, best_db } => json!({
            "channels_needed": null,
            "impossible_at_lo_hz": lo_hz,
            "impossible_at_if_hz": if_hz,
            "best_image_rejection_db": best_db,
        }),
    }
}

fn setting(plan: &CorrectionPlan, at: &CorrectionSetting) -> Value {
    let correction = QCorrection::new(plan.acts_on, at.amplitude_db, at.phase_deg).ok();
    json!({
        "amplitude_db": at.amplitude_db,
        "phase_deg": at.phase_deg,
        "matrix": correction.and_then(|correction| matrix(plan, &correction)),
        "worst_image_rejection_db": finite(at.worst_db),
        "worst_amplitude_imbalance_db": at.worst_amplitude_imbalance_db,
        "worst_quadrature_error_deg": at.worst_quadrature_error_deg,
    })
}

/// The real numbers of a digital correction.
fn matrix(plan: &CorrectionPlan, correction: &QCorrection) -> Option<[[f64; 2]; 2]> {
    correction.matrix(plan.turn?)
}

/// The settings per LO and IF, continuous and quantised.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn receiver_corrections_csv(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<String, csv::Error> {
    let plan = &result.correction;
    let mut table = CsvTable::new();
    table.row([
        "lo_hz",
        "if_hz",
        "acts_on",
        "per_lo_amplitude_db",
        "per_lo_phase_deg",
        "per_lo_quantised_amplitude_db",
        "per_lo_quantised_phase_deg",
        "amplitude_db",
        "phase_deg",
        "quantised_amplitude_db",
        "quantised_phase_deg",
        "quantised_image_rejection_db",
    ])?;
    for (at, point) in receiver.plan().points().iter().enumerate() {
        let (free, stepped) = (&plan.per_lo_and_if[at], &plan.per_lo_and_if_quantised[at]);
        let (of_lo, of_lo_stepped) = (&plan.per_lo[point.lo], &plan.per_lo_quantised[point.lo]);
        let mut row =
            vec![point.lo_hz.to_string(), point.if_hz.to_string(), plan.acts_on.name().to_owned()];
        for own in [of_lo, of_lo_stepped, free, stepped] {
            row.extend([own.amplitude_db.to_string(), own.phase_deg.to_string()]);
        }
        row.push(stepped.worst_db.to_string());
        table.row(row)?;
    }
    table.finish()
}

/// What amplitude and phase of a correction mean.
fn meaning(acts_on: CorrectionDomain) -> &'static str {
    match acts_on {
        CorrectionDomain::IfPhase => "Q turned at IF",
        CorrectionDomain::LoPhase => "Q's amplitude, and Q's LO turned",
        CorrectionDomain::Digital => "real numbers on I and Q, in the JSON",
    }
}

pub(super) fn correction_text(result: &DownconverterResult) -> String {
    let plan = &result.correction;
    let of = |own: &CorrectionSetting| {
        format!("{} dB, {} deg", shown_signed(own.amplitude_db, 2), shown_signed(own.phase_deg, 2))
    };
    let steps =
        format!("steps of\n{} dB, {} deg", plan.steps.amplitude_db(), plan.steps.phase_deg());
    let mut table = table(&["I/Q correction", "continuous\nworst dB", &steps]);
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
    table.add_row([
        "one per LO and IF".to_owned(),
        rejection(plan.per_lo_and_if_db()),
        rejection(plan.per_lo_and_if_quantised_db()),
    ]);
    let mut text = format!("\n{}\n", lines(&table));
    text.push_str(&filled(&format!(
        "Settings for [correction] with acts_on = \"{}\" ({}). {}",
        plan.acts_on,
        meaning(plan.acts_on),
        wanted_after(result),
    )));
    if !plan.single.is_useful() {
        text.push_str(
            "No single correction is of use: the errors over the plan differ too much.\n",
        );
    }
    if let Some(allocation) = &result.allocation {
        text.push_str(&filled(&needed(plan, allocation.required_db)));
    }
    text
}

/// The wanted sideband with the single correction, and which limits it then misses.
fn wanted_after(result: &DownconverterResult) -> String {
    let single = &result.correction.single;
    let missed = [
        (Quantity::AmplitudeImbalance, single.worst_amplitude_imbalance_db),
        (Quantity::QuadratureError, single.worst_quadrature_error_deg),
    ]
    .into_iter()
    .filter_map(|(quantity, worst)| {
        let limits = result.compliance.limits();
        let limit = limits.iter().find(|limit| limit.quantity() == quantity)?;
        (!limit.is_kept_by(worst)).then(|| format!("{} misses its limit", quantity.label()))
    });
    let missed: Vec<String> = missed.collect();
    format!(
        "With the first one the wanted sideband has at most {} dB and {} deg of error{}{}.",
        shown_signed(single.worst_amplitude_imbalance_db, 2),
        shown_signed(single.worst_quadrature_error_deg, 2),
        if missed.is_empty() { "" } else { ": " },
        missed.join(", "),
    )
}

/// How many corrections a required rejection takes.
fn needed(plan: &CorrectionPlan, required_db: f64) -> String {
    if plan.holds_as_it_is(required_db) {
        return format!("{required_db} dB needs no other correction.");
    }
    let plural = |count: usize| if count == 1 { "" } else { "s" };
    let over_lo = match &plan.cover {
        None => return String::new(),
        Some(CorrectionCover::Holds(segments)) => format!(
            "{} correction{} over LO hold{} {required_db} dB.",
            segments.len(),
            plural(segments.len()),
            if segments.len() == 1 { "s" } else { "" },
        ),
        Some(CorrectionCover::Impossible { lo_hz, best_db }) => format!(
            "No correction for all IFs holds {required_db} dB at LO {}: its IFs differ, {} dB is the \
             best there.",
            ShownFrequency(*lo_hz),
            rejection(*best_db)
        ),
    };
    match &plan.channels {
        Some(CorrectionChannels::Holds(channels)) => format!(
            "{over_lo} With one per LO and IF channel, {} channel{} of these IFs hold{} it.",
            channels.len(),
            plural(channels.len()),
            if channels.len() == 1 { "s" } else { "" },
        ),
        Some(CorrectionChannels::Impossible { lo_hz, if_hz, best_db }) => format!(
            "{over_lo} Not even one per LO and IF holds it: {} dB at LO {}, IF {}.",
            fixed(*best_db, 2),
            ShownFrequency(*lo_hz),
            ShownFrequency(*if_hz)
        ),
        None => over_lo,
    }
}
