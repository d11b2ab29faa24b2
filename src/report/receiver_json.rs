//! The document of a receiver.

use super::json::PlanReport;
use crate::batch::InputFile;
use crate::downconverter::{
    Allocation, Budget, Channel, Contributor, CorrectionPlan, DownconverterResult, LoPoint,
    LoadRing, NoisePathResult, PartKind, PartTaken, PlanPoint, Receiver, ReceiverVerdict,
    RingPlace, Trim, TrimCover, Way, single_sideband_rise_db,
};
use crate::measurement::{Assessment, Decision, ReceiverUncertainty, ToneComparisons};
use crate::network::{Port, Terminal};
use crate::touchstone::ReadOptions;
use crate::units::{db_from_amplitude, db_from_neper};
use serde::Serialize;
use serde_json::{Value, json};

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
    budget: Vec<Value>,
    blocks: Vec<Value>,
    correction: Value,
    load_rings: Vec<Value>,
    allocation: Option<Value>,
    noise: Value,
    frequency_plan: PlanReport,
    ports: Vec<Value>,
    settings: Value,
    inputs: Vec<InputFile>,
    warnings: Vec<String>,
}

impl ReceiverReport {
    /// The same with measured rejections beside the predicted ones.
    #[must_use]
    pub fn with_tones(self, tones: &ToneComparisons) -> Self {
        Self { measured: Some(super::tones::tones_json(tones)), ..self }
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
        let wanted = receiver.plan.wanted;
        Self {
            title: receiver.title.clone(),
            version: env!("CARGO_PKG_VERSION"),
            combine: result.combination.to_lowercase().replace(' ', ""),
            combine_chosen: result.is_chosen,
            wanted_sideband: wanted.to_string(),
            rejected_sideband: wanted.opposite().to_string(),
            summary: summary(receiver, result),
            verdict: verdict(&result.verdict, uncertainty.map(|u| &u.assessment)),
            uncertainty: uncertainty.map(|u| super::uncertainty::receiver_json(u, result)),
            measured: None,
            points: result.points.iter().map(point).collect(),
            lo: result.lo.iter().map(|point| lo(receiver, point)).collect(),
            budget: result.budget.iter().flat_map(budget).collect(),
            blocks: result.budget.iter().flat_map(|budget| &budget.taken).map(block).collect(),
            correction: correction(&result.correction, &receiver.plan.lo_hz),
            load_rings: result.load_rings.iter().map(load_ring).collect(),
            allocation: result.allocation.as_ref().map(allocation),
            noise: noise(receiver, result),
            frequency_plan: PlanReport::from(&result.frequency_plan),
            ports: ports(receiver),
            settings: settings(receiver, reading),
            inputs,
            warnings: warnings.to_vec(),
        }
    }
}

fn summary(receiver: &Receiver, result: &DownconverterResult) -> Value {
    let summary = &result.summary;
    let powers = result.lo.iter().flat_map(|point| &point.mixers).filter_map(|m| m.lo_power_dbm);
    let (lowest, highest) =
        powers.fold((None, None), |(low, high): (Option<f64>, Option<f64>), dbm| {
            (
                Some(low.map_or(dbm, |low| low.min(dbm))),
                Some(high.map_or(dbm, |high| high.max(dbm))),
            )
        });
    let fix_first = result.fix_first().map(|row| row.contributor.to_string());
    let amplitude = &summary.worst_amplitude_imbalance;
    let quadrature = &summary.worst_quadrature_error;
    json!({
        "lo_band_hz": [receiver.plan.lo_hz[0], receiver.plan.lo_hz[receiver.plan.lo_hz.len() - 1]],
        "worst_image_rejection_db": summary.worst.balance.image_rejection_db,
        "worst_at_lo_hz": summary.worst.lo_hz,
        "worst_at_if_hz": summary.worst.if_hz,
        "median_image_rejection_db": summary.median_image_rejection_db,
        "worst_amplitude_imbalance_db": amplitude.balance.wanted().0,
        "worst_amplitude_imbalance_at_lo_hz": amplitude.lo_hz,
        "worst_amplitude_imbalance_at_if_hz": amplitude.if_hz,
        "worst_quadrature_error_deg": quadrature.balance.wanted().1,
        "worst_quadrature_error_at_lo_hz": quadrature.lo_hz,
        "worst_quadrature_error_at_if_hz": quadrature.if_hz,
        "lowest_lo_power_dbm": lowest,
        "highest_lo_power_dbm": highest,
        "leading_output": if summary.q_leads_i_deg > 0.0 { "q" } else { "i" },
        "q_leads_i_deg": summary.q_leads_i_deg,
        "reversed_points": summary.reversed_points,
        "fix_first": fix_first,
    })
}

fn verdict(verdict: &ReceiverVerdict, assessment: Option<&Assessment>) -> Value {
    let requirements: Vec<Value> = verdict
        .requirements
        .iter()
        .enumerate()
        .map(|(at, held)| {
            let mut entry = json!({
                "name": held.quantity.name(),
                "limit": held.limit,
                "worst": held.worst,
                "at_lo_hz": held.at_lo_hz,
                "at_if_hz": held.at_if_hz,
                "at_mixer": held.at_mixer,
                "margin": held.margin,
                "pass": held.passes(),
            });
            if let Some(assessment) = assessment {
                super::uncertainty::decided(&mut entry, &assessment.requirements[at]);
            }
            entry
        })
        .collect();
    let bands: Vec<[f64; 2]> =
        verdict.bands_that_pass_hz.iter().map(|&(low, high)| [low, high]).collect();
    let pass = assessment.map_or(verdict.passes(), |a| a.decision == Decision::Pass);
    let mut document =
        json!({ "pass": pass, "requirements": requirements, "bands_that_pass_hz": bands });
    if let Some(assessment) = assessment {
        document["decision"] = json!(assessment.decision.to_string());
    }
    document
}

fn point(point: &PlanPoint) -> Value {
    let (wanted, image) = (point.balance.wanted(), point.balance.image());
    json!({
        "lo_hz": point.lo_hz,
        "if_hz": point.if_hz,
        "image_rejection_db": point.balance.image_rejection_db,
        "sideband_gain_db": point.balance.sideband_gain_db,
        "amplitude_imbalance_db": wanted.0,
        "quadrature_error_deg": wanted.1,
        "image_amplitude_imbalance_db": image.0,
        "image_quadrature_error_deg": image.1,
        "channel_error": { "amplitude_db": image.0, "phase_deg": image.1 },
    })
}

fn lo(receiver: &Receiver, point: &LoPoint) -> Value {
    let mixers: Vec<Value> = receiver
        .mixers
        .iter()
        .zip(&point.mixers)
        .map(|(mixer, drive)| {
            json!({
                "name": mixer.name,
                "lo_phase_deg": drive.lo_phase_deg,
                "lo_phase_error_deg": drive.lo_phase_error_deg,
                "lo_magnitude": drive.lo_magnitude,
                "lo_power_dbm": drive.lo_power_dbm,
                "rf_phase_deg": drive.rf_phase_deg,
                "rf_magnitude": drive.rf_magnitude,
            })
        })
        .collect();
    let pairs: Vec<Value> = point
        .pairs
        .iter()
        .map(|pair| {
            json!({
                "channel": if pair.channel == Channel::I { "i" } else { "q" },
                "differential_magnitude": pair.differential_magnitude,
                "common_mode_magnitude": pair.common_mode_magnitude,
                "common_mode_rejection_db": pair.common_mode_rejection_db,
            })
        })
        .collect();
    json!({
        "lo_hz": point.lo_hz,
        "lo_input_hz": point.lo_input_hz,
        "mixers": mixers,
        "balanced_pairs": pairs,
    })
}

fn budget(budget: &Budget) -> Vec<Value> {
    budget
        .rows
        .iter()
        .map(|row| {
            json!({
                "block": row.contributor.to_string(),
                "is_block": matches!(row.contributor, Contributor::Block(_)),
                "amplitude_db": db_from_neper(row.error.re),
                "phase_deg": row.error.im.to_degrees(),
                "image_rejection_alone_db": row.alone_db,
                "image_rejection_if_ideal_db": row.if_ideal_db,
                "worst_image_rejection_if_ideal_db": row.plan_if_ideal_db,
            })
        })
        .collect()
}

fn block(taken: &PartTaken) -> Value {
    json!({
        "block": taken.name,
        "way": if taken.way == Way::Lo { "lo" } else { "rf" },
        "kind": taken.kind.map(|kind| match kind {
            PartKind::Splitter(kind) => kind.to_string(),
            PartKind::Line => "line".to_owned(),
        }),
        "input": taken.input,
        "outputs": taken.outputs,
        "nominal_deg": taken.nominal_deg,
    })
}

fn trim(trim: &Trim) -> Value {
    json!({
        "amplitude_db": trim.amplitude_db,
        "phase_deg": trim.phase_deg,
        "worst_image_rejection_db": trim.worst_db,
    })
}

fn correction(plan: &CorrectionPlan, lo_hz: &[f64]) -> Value {
    let per_lo = |trims: &[Trim]| -> Vec<Value> {
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
        TrimCover::Holds(segments) => json!({
            "trims_needed": segments.len(),
            "segments": segments
                .iter()
                .map(|segment| {
                    let mut value = trim(&segment.trim);
                    value["lo_band_hz"] = json!([segment.lo_hz.0, segment.lo_hz.1]);
                    value
                })
                .collect::<Vec<_>>(),
        }),
        TrimCover::Impossible { lo_hz, best_db } => json!({
            "trims_needed": null,
            "impossible_at_lo_hz": lo_hz,
            "best_there_db": best_db,
        }),
    });
    json!({
        "uncorrected_worst_image_rejection_db": plan.uncorrected_db,
        "amplitude_step_db": plan.steps.amplitude_db,
        "phase_step_deg": plan.steps.phase_deg,
        "single": trim(&plan.single),
        "single_in_steps": trim(&plan.single_in_steps),
        "per_lo_worst_image_rejection_db": plan.per_lo_db(),
        "per_lo_in_steps_worst_image_rejection_db": plan.per_lo_in_steps_db(),
        "per_lo": per_lo(&plan.per_lo),
        "per_lo_in_steps": per_lo(&plan.per_lo_in_steps),
        "requirement": cover,
    })
}

fn load_ring(ring: &LoadRing) -> Value {
    json!({
        "loads": match ring.place {
            RingPlace::Mixers => "mixers",
            RingPlace::Isolated => "isolated",
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

fn allocation(allocation: &Allocation) -> Value {
    let shares: Vec<Value> = allocation
        .shares
        .iter()
        .map(|share| {
            json!({
                "block": share.contributor.to_string(),
                "present_amplitude_db": db_from_neper(share.present),
                "allowed_amplitude_db": share.allowed_amplitude_db(),
                "allowed_phase_deg": share.allowed_phase_deg(),
            })
        })
        .collect();
    json!({
        "image_rejection_db": allocation.required_db,
        "allowed_total_amplitude_db": db_from_neper(allocation.allowed_total),
        "allowed_total_phase_deg": allocation.allowed_total.to_degrees(),
        "factor": allocation.factor,
        "shares": shares,
        "return_losses": allocation.return_losses.map(|losses| json!({
            "needed_sum_db": losses.needed_sum_db,
            "mixers_db": losses.mixers_db,
            "mixers_needed_db": losses.mixers_needed_db,
            "isolated_db": losses.isolated_db,
            "isolated_needed_db": losses.isolated_needed_db,
        })),
    })
}

fn noise(receiver: &Receiver, result: &DownconverterResult) -> Value {
    let paths: Vec<Value> = result
        .noise
        .iter()
        .map(|path: &NoisePathResult| {
            let rows: Vec<Value> = receiver
                .plan
                .lo_hz
                .iter()
                .zip(path.loss_db.iter().zip(&path.noise_figure_db))
                .map(|(lo_hz, (loss_db, figure_db))| {
                    json!({ "lo_hz": lo_hz, "loss_db": loss_db, "noise_figure_db": figure_db })
                })
                .collect();
            json!({ "mixer": path.mixer, "points": rows })
        })
        .collect();
    let summary = &result.summary;
    json!({
        "temperature_k": crate::network::REFERENCE_TEMPERATURE_K,
        "if_hz": receiver.plan.if_hz[0],
        "paths": paths,
        "single_sideband_rise_db": {
            "worst": single_sideband_rise_db(summary.worst.balance.image_rejection_db),
            "median": single_sideband_rise_db(summary.median_image_rejection_db),
            "without_rejection": single_sideband_rise_db(0.0),
        },
    })
}

/// Every port once: what it is.
fn ports(receiver: &Receiver) -> Vec<Value> {
    let mut rows = Vec::new();
    for (block, part) in receiver.parts.iter().enumerate() {
        for index in 0..part.ports.len() {
            let terminal = Terminal { block, port: Port::from_index(index) };
            let join = receiver.joins.iter().position(|node| node.contains(&terminal));
            rows.push(json!({
                "port": receiver.port_name(terminal),
                "joined": join.map(|at| receiver.join_texts[at].clone()),
                "loaded": receiver.loads.iter().any(|load| load.at == terminal),
                "input": Way::BOTH
                    .into_iter()
                    .find(|&way| receiver.input(way).at == terminal)
                    .map(|way| if way == Way::Lo { "lo" } else { "rf" }),
            }));
        }
    }
    rows
}

fn settings(receiver: &Receiver, reading: &ReadOptions) -> Value {
    let plan = &receiver.plan;
    let ohm = |way: Way| {
        let value = receiver.input(way).source_ohm;
        [value.re, value.im]
    };
    let correction = receiver.output.correction;
    json!({
        "lo_hz": plan.lo_hz,
        "if_hz": plan.if_hz,
        "lo_multiplication": plan.lo_multiplication,
        "lo_multiplication_after_split": plan.lo_multiplication_after_split,
        "lo_harmonic": plan.lo_harmonic,
        "lo_amplitude_exponent": receiver.mixing.lo_amplitude_exponent,
        "lo_power_dbm": plan.lo_power_dbm,
        "limits": {
            "image_rejection_db": receiver.limits.image_rejection_db,
            "amplitude_imbalance_db": receiver.limits.amplitude_imbalance_db,
            "quadrature_error_deg": receiver.limits.quadrature_error_deg,
            "lo_power_dbm_min": receiver.limits.lo_power_dbm_min,
        },
        "load_ring": {
            "mixer_reflection": receiver.ring.mixer_reflection,
            "isolated_reflection": receiver.ring.isolated_reflection,
        },
        "strict": reading.strict,
        "option_line": reading.option_line.as_ref().map(ToString::to_string),
        "lo_source_ohm": ohm(Way::Lo),
        "rf_source_ohm": ohm(Way::Rf),
        "correction": {
            "amplitude_db": db_from_amplitude(correction.norm()),
            "phase_deg": correction.arg().to_degrees(),
        },
        "mixers": receiver
            .mixers
            .iter()
            .map(|mixer| json!({
                "name": mixer.name,
                "channel": if mixer.channel == Channel::I { "i" } else { "q" },
                "polarity": if mixer.is_subtracted { "-" } else { "+" },
                "lo": receiver.port_name(mixer.lo),
                "rf": receiver.port_name(mixer.rf),
                "gain": [mixer.gain.re, mixer.gain.im],
            }))
            .collect::<Vec<_>>(),
    })
}
