//! What an uncertainty comes to, whatever was measured: text and JSON for splitter and receiver alike.

use super::text_table::{filled, fixed, lines, table, telling};
use crate::measurement::{Assessment, DecidedRequirement, DecisionRule, Spread};
use crate::requirement::Verdict;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// A name, its unit as in names of fields, and what it came to.
pub(super) struct Estimate<'u> {
    pub(super) name: &'static str,
    pub(super) words: &'static str,
    pub(super) unit: &'static str,
    pub(super) measured: f64,
    pub(super) spread: &'u Spread,
}

/// What a probability of conformity takes as known beforehand.
const PRIOR: &str = "every error of every point equally likely";

pub(super) fn assessment_json(assessment: &Assessment) -> Value {
    json!({
        "coverage_percent": 100.0 * assessment.coverage,
        "seed": assessment.seed,
        "trials": assessment.trials,
        "stability_db": assessment.stability_db,
        "decision": assessment.decision.to_string(),
        "probability": assessment.probability,
        "probability_prior": PRIOR,
        "highest_distinguishable_rejection_db": assessment.highest_distinguishable_db,
        "guard_band_db": assessment.guard_band_db.filter(|width| width.is_finite()),
    })
}

pub(super) fn estimates_json(quantities: &[Estimate<'_>]) -> Value {
    let mut all = json!({});
    for quantity in quantities {
        let high = quantity.spread.high;
        all[quantity.name] = json!({
            "estimate": quantity.measured,
            "median": quantity.spread.median,
            "bias": quantity.spread.bias_of(quantity.measured),
            "low": quantity.spread.low,
            "high": high.is_finite().then_some(high),
            "standard_uncertainty": quantity.spread.standard_uncertainty,
        });
    }
    all
}

/// What a requirement's decision adds to its entry in a verdict.
pub(super) fn add_decision(entry: &mut Value, decided: &DecidedRequirement) {
    entry["pass"] = json!(decided.decision.passes());
    entry["probability"] = json!(decided.probability);
    let finite = |value: f64| value.is_finite().then_some(value);
    entry["lowest_truth"] = json!(finite(decided.truths.0));
    entry["highest_truth"] = json!(finite(decided.truths.1));
    entry["accepted_from"] = json!(decided.accepted_from);
    entry["refused_from"] = json!(decided.refused_from);
    entry["decision"] = json!(decided.decision.to_string());
    entry["rule"] = json!(match decided.rule {
        DecisionRule::Conformity(_) => "conformity",
        DecisionRule::GuardBand(_) => "guard_band",
    });
}

pub(super) fn assessment_text(assessment: &Assessment, quantities: &[Estimate<'_>]) -> String {
    let mut text = format!(
        "\nUncertainty: {} % intervals from {} trials{}\n",
        percent(assessment.coverage),
        assessment.trials,
        assessment
            .stability_db
            .map_or_else(String::new, |db| format!(", stable to {} dB", fixed(db, 3)))
    );
    let mut rows = table(&["worst magnitude", "estimate", "median", "from", "to", "unit"]);
    for quantity in quantities {
        let digits = if quantity.unit == "dB" && quantity.measured < 10.0 { 3 } else { 2 };
        rows.add_row([
            quantity.words.to_owned(),
            fixed(quantity.measured, digits),
            fixed(quantity.spread.median, digits),
            fixed(quantity.spread.low, digits),
            fixed(quantity.spread.high, digits),
            quantity.unit.to_owned(),
        ]);
    }
    let _ = writeln!(text, "{}", lines(&rows));
    if quantities.first().is_some_and(|rejection| rejection.spread.is_unbounded()) {
        text.push_str("No point can be distinguished from perfect balance.\n");
    }
    text.push_str(&filled(&format!(
        "Highest distinguishable rejection at the worst point: {} dB; of a perfect part {} % of \
         readings are above it.",
        fixed(assessment.highest_distinguishable_db, 1),
        percent(assessment.coverage),
    )));
    if !assessment.requirements.is_empty() {
        text.push_str(&filled(&format!(
            "Probabilities of conformity (JCGM 106) take {PRIOR} beforehand; they do not decide."
        )));
    }
    text
}

fn percent(share: f64) -> String {
    fixed(100.0 * share, 1).trim_end_matches(".0").to_owned()
}

/// `PASS`, `FAIL` or `UNDECIDED` for a requirement by its place, and the probability behind it.
pub(super) fn judged(
    passes: bool,
    assessment: Option<&Assessment>,
    place: usize,
    unit: &str,
) -> (String, String) {
    let Some(decided) = assessment.and_then(|assessment| assessment.requirements.get(place)) else {
        return (Verdict::of(passes).capitals(), String::new());
    };
    let percent = match 100.0 * decided.probability {
        percent if percent > 99.95 => "over 99.9".to_owned(),
        percent if percent < 0.05 => "under 0.1".to_owned(),
        percent => fixed(percent, 1),
    };
    let (low, high) = decided.truths;
    let truth = match decided.rule {
        DecisionRule::GuardBand(width) => format!("guard band {width} {unit}"),
        DecisionRule::Conformity(needed) => {
            let risk = fixed(100.0 * (1.0 - needed), 1);
            let risk = risk.trim_end_matches(".0");
            format!(
                "true values not refuted (risk {risk} % on each side): {} to {} {unit}",
                telling(low),
                telling(high)
            )
        }
    };
    let accepted = match decided.accepted_from {
        Some(from) => format!("PASS from {} {unit}", telling(from)),
        None => "no reading would PASS".to_owned(),
    };
    let told = format!("{truth}; {accepted}; probability of conformity {percent} %");
    (decided.decision.capitals(), told)
}
