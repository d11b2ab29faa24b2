//! A receiver as a whole: its document, and its text of one screen of 80 columns.

use super::plan_report::{PlanReport, cut_words};
use super::receiver_budget_report::{
    allocation_json, blocks_json, budget_json, budget_text, compared_json, interactions_json,
    load_rows_json, mechanisms_json,
};
use super::receiver_correction_report::{correction_json, correction_text};
use super::receiver_lo_chain_report::{lo_chain_json, lo_chain_text};
use super::receiver_loads_report::{loads_text, reflection_sweeps_json};
use super::receiver_noise_report::{noise_json, noise_text};
use super::receiver_points_report::{lo_json, points_json};
use super::receiver_settings_report::{ports_json, settings_json};
use super::receiver_switching_report::{switching_json, switching_text};
use super::receiver_uncertainty_report::{receiver_uncertainty_json, receiver_uncertainty_text};
use super::receiver_verdict_report::{summary_json, verdict_json, verdict_text};
use super::text_table::{filled, fixed};
use super::tones_report::tones_json;
use crate::batch::InputFile;
use crate::diagnostic::printable;
use crate::downconverter::{DownconverterResult, Receiver, Sideband};
use crate::measurement::{ReceiverUncertainty, ToneComparisons};
use crate::touchstone::ReadOptions;
use crate::units::{shown_band, shown_frequencies};
use serde::Serialize;
use serde_json::Value;
use std::fmt::Write as _;

/// The document of `downconverter`.
#[derive(Debug, Serialize)]
pub struct ReceiverReport {
    title: String,
    version: &'static str,
    combine: String,
    combine_chosen: bool,
    wanted_sideband: String,
    rejected_sideband: String,
    summary: Value,
    verdict: Value,
    #[serde(skip_serializing_if = "Option::is_none")]
    uncertainty: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    measured: Option<Value>,
    points: Vec<Value>,
    lo: Vec<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lo_chain: Option<Value>,
    budget: Vec<Value>,
    budget_loads: Vec<Value>,
    budget_mechanisms: Vec<Value>,
    budget_compared: Option<Vec<Value>>,
    budget_interactions: Vec<Value>,
    blocks: Vec<Value>,
    correction: Value,
    load_reflection_sweeps: Vec<Value>,
    allocation: Option<Value>,
    noise: Value,
    #[serde(skip_serializing_if = "Option::is_none")]
    switching: Option<Value>,
    frequency_plan: PlanReport,
    ports: Vec<Value>,
    settings: Value,
    inputs: Vec<InputFile>,
    warnings: Vec<String>,
}

impl ReceiverReport {
    /// The same with measured rejections beside the predicted ones.
    #[must_use]
    pub fn with_tones(self, tones: &ToneComparisons, wanted: Sideband) -> Self {
        Self { measured: Some(tones_json(tones, wanted)), ..self }
    }

    /// Puts together the document; `warnings` are all that were shown.
    #[must_use]
    pub fn new(
        receiver: &Receiver,
        result: &DownconverterResult,
        uncertainty: Option<&ReceiverUncertainty>,
        inputs: Vec<InputFile>,
        reading: &ReadOptions,
        warnings: &[String],
    ) -> Self {
        let wanted = receiver.plan().wanted();
        Self {
            title: receiver.title().to_owned(),
            version: env!("CARGO_PKG_VERSION"),
            combine: result.combination.to_lowercase().replace(' ', ""),
            combine_chosen: result.is_chosen,
            wanted_sideband: wanted.to_string(),
            rejected_sideband: wanted.opposite().to_string(),
            summary: summary_json(receiver, result),
            verdict: verdict_json(&result.compliance, uncertainty.map(|u| &u.assessment)),
            uncertainty: uncertainty.map(|u| receiver_uncertainty_json(u, result)),
            measured: None,
            points: points_json(result),
            lo: lo_json(receiver, result),
            lo_chain: result.lo_chain.as_ref().map(|chain| lo_chain_json(receiver, chain)),
            budget: budget_json(result),
            budget_loads: load_rows_json(result),
            budget_mechanisms: mechanisms_json(result),
            budget_compared: compared_json(result),
            budget_interactions: interactions_json(result),
            blocks: blocks_json(result),
            correction: correction_json(result),
            load_reflection_sweeps: reflection_sweeps_json(result),
            allocation: result.allocation.as_ref().map(allocation_json),
            noise: noise_json(receiver, result),
            switching: result.switching.as_ref().map(|own| switching_json(receiver, own)),
            frequency_plan: PlanReport::from(&result.frequency_plan),
            ports: ports_json(receiver),
            settings: settings_json(receiver, reading),
            inputs,
            warnings: warnings.to_vec(),
        }
    }
}

/// The report of `downconverter`.
#[must_use]
pub fn receiver_text(
    receiver: &Receiver,
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
) -> String {
    let mut text = heading(receiver, result);
    text.push('\n');
    text.push_str(&verdict_text(result, uncertainty));
    if let Some(uncertainty) = uncertainty {
        text.push_str(&receiver_uncertainty_text(uncertainty, result));
    }
    text.push_str(&budget_text(result, receiver.plan().wanted().opposite()));
    text.push_str(&correction_text(result));
    text.push('\n');
    text.push_str(&loads_text(result));
    match &result.switching {
        Some(switching) => text.push_str(&switching_text(receiver, switching)),
        None => text.push_str(&noise_text(receiver, result)),
    }
    text.push_str(&lo_chain_text(receiver, result.lo_chain.as_ref()));
    text
}

fn heading(receiver: &Receiver, result: &DownconverterResult) -> String {
    let plan = receiver.plan();
    let rejected = plan.wanted().opposite();
    let mut text = filled(&printable(receiver.title()));
    text.push_str(&filled(&format!(
        "LO {}, IF {}",
        shown_frequencies(plan.lo_hz()),
        shown_frequencies(plan.if_hz())
    )));
    if let Some(band) = plan.settings().rf_hz {
        let all = plan.points().len() + plan.points_left_out();
        text.push_str(&filled(&match plan.points_left_out() {
            0 => format!("RF band {}: all {all} points are in it.", shown_band(band)),
            left_out => format!(
                "RF band {}: {left_out} of {all} points of LO and IF are outside and not judged.",
                shown_band(band)
            ),
        }));
    }
    text.push_str(&bands(result, plan.wanted()));
    let lead = result.summary.q_leads_i_deg;
    let (leading, other) = if lead > 0.0 { ("Q", "I") } else { ("I", "Q") };
    let chosen = if result.is_chosen { " (chosen)" } else { "" };
    let lead = format!(
        "in the {} sideband {leading} leads {other} by {} deg",
        plan.wanted(),
        fixed(lead.abs(), 1)
    );
    let (name, wanted) = (&result.combination, plan.wanted());
    text.push_str(&filled(&match result.summary.reversed_points {
        0 => format!("{name}{chosen} keeps the {wanted} sideband, not the {rejected}; {lead}."),
        points => format!(
            "{name}{chosen} should keep the {wanted} sideband, but the {rejected} is as strong or \
             stronger at {points} of {} points; {lead}.",
            result.points.len()
        ),
    }));
    text
}

/// RF, image and LO input, and harmonics of the LO input that fall in.
fn bands(result: &DownconverterResult, wanted: Sideband) -> String {
    let plan = &result.frequency_plan;
    let Some(side) = plan.sidebands.iter().find(|side| side.sideband == wanted) else {
        return String::new();
    };
    let mut text = format!("RF {}, image {}", shown_band(side.rf_hz), shown_band(side.image_hz));
    let times = plan.settings.multiplication;
    if times > 1 {
        let _ = write!(text, "; LO input {} x {times}", shown_band(side.lo_input_hz));
    }
    let mut text = filled(&text);
    // That the LO itself sweeps through the RF band is no news.
    let mut strays: Vec<u32> =
        side.harmonics.iter().map(|hit| hit.harmonic).filter(|&number| number != times).collect();
    strays.dedup();
    if !strays.is_empty() {
        let list: Vec<String> = strays.iter().map(ToString::to_string).collect();
        text.push_str(&filled(&format!(
            "Harmonics of the LO input in the RF, image or IF band: {}.",
            list.join(", ")
        )));
    }
    if let Some(last) = side.harmonics_cut_after {
        text.push_str(&cut_words(last));
    }
    text
}
