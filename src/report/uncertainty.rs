//! How sure one can be: as JSON, CSV and text, for a splitter and for a receiver.

use super::csv::{Table, optional};
use super::text::{filled, fixed, lines, table};
use crate::downconverter::DownconverterResult;
use crate::measurement::{
    Assessment, Contribution, DecidedRequirement, Decision, DecisionRule, ReceiverUncertainty,
    SplitterUncertainty, Spread,
};
use crate::splitter::{SplitterKind, SplitterResult};
use crate::units::db_from_neper;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// A name, its unit as in names of fields, and what it came to.
struct Quantity<'u> {
    name: &'static str,
    words: &'static str,
    unit: &'static str,
    measured: f64,
    spread: &'u Spread,
}

/// A receiver's uncertainty as a part of its document.
#[must_use]
pub fn receiver_json(uncertainty: &ReceiverUncertainty, result: &DownconverterResult) -> Value {
    let points = uncertainty.points.iter().map(|point| {
        let (low, high) = (point.rejection.low, point.rejection.high);
        json!({
            "lo_hz": point.lo_hz,
            "if_hz": point.if_hz,
            "image_rejection_low_db": low,
            "image_rejection_median_db": point.rejection.median,
            "image_rejection_high_db": high.is_finite().then_some(high),
            "u_amplitude_imbalance_db": point.u_imbalance_db,
            "u_quadrature_error_deg": point.u_quadrature_deg,
            "channel_error_covariance": point.channel_error.covariance,
        })
    });
    let budget = uncertainty.budget.iter().map(|row| {
        json!({
            "block": row.contributor.to_string(),
            "u_amplitude_db": db_from_neper(row.u_amplitude),
            "u_phase_deg": row.u_phase.to_degrees(),
        })
    });
    let advice = uncertainty.advice.as_ref().map(|advice| {
        json!({
            "part": advice.part,
            "share": advice.share,
            "must_shrink_to": advice.must_shrink_to,
            "all_must_shrink_to": advice.all_must_shrink_to,
        })
    });
    let mut document = assessment(&uncertainty.assessment);
    document["may_be_perfect"] = json!(uncertainty.worst_rejection.high.is_infinite());
    document["summary"] = summary(&receiver_quantities(uncertainty, result));
    document["contributions"] = uncertainty.contributions.iter().map(contribution).collect();
    document["budget"] = budget.collect();
    document["advice"] = json!(advice);
    document["points"] = points.collect();
    document
}

fn receiver_quantities<'u>(
    uncertainty: &'u ReceiverUncertainty,
    result: &DownconverterResult,
) -> Vec<Quantity<'u>> {
    let summary = &result.summary;
    let mut quantities = vec![
        Quantity {
            name: "worst_image_rejection_db",
            words: "image rejection",
            unit: "dB",
            measured: summary.worst.balance.image_rejection_db,
            spread: &uncertainty.worst_rejection,
        },
        Quantity {
            name: "worst_amplitude_imbalance_db",
            words: "amplitude imbalance",
            unit: "dB",
            measured: summary.worst_amplitude_imbalance.balance.wanted().0.abs(),
            spread: &uncertainty.largest_imbalance,
        },
        Quantity {
            name: "worst_quadrature_error_deg",
            words: "quadrature error",
            unit: "deg",
            measured: summary.worst_quadrature_error.balance.wanted().1.abs(),
            spread: &uncertainty.largest_quadrature,
        },
    ];
    let powers = result.lo.iter().flat_map(|point| &point.mixers);
    let measured = powers.filter_map(|mixer| mixer.lo_power_dbm).reduce(f64::min);
    if let (Some(spread), Some(measured)) = (&uncertainty.least_power, measured) {
        quantities.push(Quantity {
            name: "lowest_lo_power_dbm",
            words: "LO power",
            unit: "dBm",
            measured,
            spread,
        });
    }
    quantities
}

/// A splitter's uncertainty as a part of its document.
#[must_use]
pub fn splitter_json(uncertainty: &SplitterUncertainty, result: &SplitterResult) -> Value {
    let rejection = rejection_prefix(result);
    let points = uncertainty.points.iter().map(|point| {
        let [[amplitude, mixed], [_, phase]] = point.channel_error.covariance;
        let (u_amplitude, u_phase) = (amplitude.sqrt(), phase.sqrt());
        let correlation = mixed / (u_amplitude * u_phase);
        let (low, high) = point.interval_db;
        let mut row = json!({ "frequency_hz": point.frequency_hz });
        row[format!("{rejection}_rejection_low_db")] = json!(low);
        row[format!("{rejection}_rejection_median_db")] = json!(point.median_db);
        row[format!("{rejection}_rejection_high_db")] = json!(high.is_finite().then_some(high));
        row["u_amplitude_imbalance_db"] = json!(db_from_neper(u_amplitude));
        row["u_phase_error_deg"] = json!(u_phase.to_degrees());
        row["correlation"] = json!(correlation.is_finite().then_some(correlation));
        row
    });
    let mut document = assessment(&uncertainty.assessment);
    document["may_be_perfect"] = json!(uncertainty.worst_rejection.high.is_infinite());
    document["summary"] = summary(&splitter_quantities(uncertainty, result));
    document["points"] = points.collect();
    document
}

fn is_antiphase(result: &SplitterResult) -> bool {
    result.roles.kind == SplitterKind::Antiphase
}

fn rejection_prefix(result: &SplitterResult) -> &'static str {
    if is_antiphase(result) { "common_mode" } else { "image" }
}

fn splitter_quantities<'u>(
    uncertainty: &'u SplitterUncertainty,
    result: &SplitterResult,
) -> Vec<Quantity<'u>> {
    let summary = &result.summary;
    let (name, words) = if is_antiphase(result) {
        ("worst_common_mode_rejection_db", "common-mode rejection")
    } else {
        ("worst_image_rejection_db", "image rejection")
    };
    vec![
        Quantity {
            name,
            words,
            unit: "dB",
            measured: summary.worst_rejection.value,
            spread: &uncertainty.worst_rejection,
        },
        Quantity {
            name: "worst_amplitude_imbalance_db",
            words: "amplitude imbalance",
            unit: "dB",
            measured: summary.worst_amplitude_imbalance_db.value.abs(),
            spread: &uncertainty.largest_imbalance,
        },
        Quantity {
            name: "worst_phase_error_deg",
            words: "phase error",
            unit: "deg",
            measured: summary.worst_phase_error_deg.value.abs(),
            spread: &uncertainty.largest_phase_error,
        },
    ]
}

fn assessment(assessment: &Assessment) -> Value {
    json!({
        "coverage_percent": 100.0 * assessment.coverage,
        "seed": assessment.seed,
        "trials": assessment.trials,
        "stability_db": assessment.stability_db,
        "decision": assessment.decision.to_string(),
        "probability": assessment.probability,
        "highest_distinguishable_rejection_db": assessment.highest_distinguishable_db,
        "guard_band_db": assessment.guard_band_db.filter(|width| width.is_finite()),
    })
}

/// What a requirement's decision adds to its entry in a verdict.
pub(super) fn decided(entry: &mut Value, decided: &DecidedRequirement) {
    entry["pass"] = json!(decided.decision == Decision::Pass);
    entry["probability"] = json!(decided.probability);
    entry["decision"] = json!(decided.decision.to_string());
    entry["rule"] = json!(match decided.rule {
        DecisionRule::Conformity(_) => "conformity",
        DecisionRule::GuardBand(_) => "guard_band",
    });
}

fn summary(quantities: &[Quantity<'_>]) -> Value {
    let mut all = json!({});
    for quantity in quantities {
        let high = quantity.spread.high;
        all[quantity.name] = json!({
            "measured": quantity.measured,
            "median": quantity.spread.median,
            "bias": quantity.measured - quantity.spread.median,
            "low": quantity.spread.low,
            "high": high.is_finite().then_some(high),
            "standard_uncertainty": quantity.spread.standard_uncertainty,
        });
    }
    all
}

fn contribution(contribution: &Contribution) -> Value {
    let [[amplitude, _], [_, phase]] = contribution.covariance;
    json!({
        "part": contribution.part,
        "source": contribution.source,
        "u_amplitude_db": db_from_neper(amplitude.sqrt()),
        "u_phase_deg": phase.sqrt().to_degrees(),
        "share": contribution.share,
    })
}

/// The points of a receiver, one row per LO and IF.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn receiver_csv(uncertainty: &ReceiverUncertainty) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row([
        "lo_hz",
        "if_hz",
        "image_rejection_low_db",
        "image_rejection_median_db",
        "image_rejection_high_db",
        "u_amplitude_imbalance_db",
        "u_quadrature_error_deg",
    ])?;
    for point in &uncertainty.points {
        let row = [
            point.lo_hz,
            point.if_hz,
            point.rejection.low,
            point.rejection.median,
            point.rejection.high,
            point.u_imbalance_db,
            point.u_quadrature_deg,
        ];
        table.row(row.map(|value| optional(Some(value))))?;
    }
    table.finish()
}

/// The points of a splitter, one row per frequency.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn splitter_csv(
    uncertainty: &SplitterUncertainty,
    result: &SplitterResult,
) -> Result<String, csv::Error> {
    let rejection = rejection_prefix(result);
    let mut table = Table::new();
    let of = |what: &str| format!("{rejection}_rejection_{what}_db");
    table.row([
        "frequency_hz".to_owned(),
        of("low"),
        of("median"),
        of("high"),
        "u_amplitude_imbalance_db".to_owned(),
        "u_phase_error_deg".to_owned(),
    ])?;
    for point in &uncertainty.points {
        let [[amplitude, _], [_, phase]] = point.channel_error.covariance;
        let row = [
            point.frequency_hz,
            point.interval_db.0,
            point.median_db,
            point.interval_db.1,
            db_from_neper(amplitude.sqrt()),
            phase.sqrt().to_degrees(),
        ];
        table.row(row.map(|value| optional(Some(value))))?;
    }
    table.finish()
}

/// The section of a receiver's report.
#[must_use]
pub fn receiver_text(uncertainty: &ReceiverUncertainty, result: &DownconverterResult) -> String {
    let mut text = head(&uncertainty.assessment, &receiver_quantities(uncertainty, result));
    let mut rows = table(&["uncertainty of", "source", "amplitude\ndB", "phase\ndeg", "share\n%"]);
    for one in uncertainty.contributions.iter().take(SHOWN) {
        let [[amplitude, _], [_, phase]] = one.covariance;
        rows.add_row([
            crate::diagnostic::printable(&one.part).into_owned(),
            crate::diagnostic::printable(&one.source).into_owned(),
            fixed(db_from_neper(amplitude.sqrt()), 3),
            fixed(phase.sqrt().to_degrees(), 2),
            fixed(100.0 * one.share, 1),
        ]);
    }
    let _ = writeln!(text, "\n{}", lines(&rows));
    let left = uncertainty.contributions.len().saturating_sub(SHOWN);
    if left > 0 {
        let _ = writeln!(text, "and {left} smaller ones");
    }
    if let Some(advice) = &uncertainty.advice {
        let percent = |share: f64| format!("{:.0} %", 100.0 * share);
        let all = match advice.all_must_shrink_to {
            Some(size) => format!("all uncertainties together must shrink to {}", percent(size)),
            None => "not even exact data would decide".to_owned(),
        };
        let own = match advice.must_shrink_to {
            Some(size) => format!("its uncertainty must shrink to {} of itself", percent(size)),
            None => "even exact data of it alone would not decide".to_owned(),
        };
        text.push_str(&filled(&format!(
            "To decide the rejection, about: {} contributes most ({} of the variance); {own}. \
             Otherwise {all}.",
            crate::diagnostic::printable(&advice.part),
            percent(advice.share),
        )));
    }
    text
}

/// Contributions shown; the document has them all.
const SHOWN: usize = 8;

/// The section of a splitter's report.
#[must_use]
pub fn splitter_text(uncertainty: &SplitterUncertainty, result: &SplitterResult) -> String {
    head(&uncertainty.assessment, &splitter_quantities(uncertainty, result))
}

fn percent(share: f64) -> String {
    fixed(100.0 * share, 1).trim_end_matches(".0").to_owned()
}

fn head(assessment: &Assessment, quantities: &[Quantity<'_>]) -> String {
    let mut text = format!(
        "\nUncertainty: {} % intervals from {} trials{}\n",
        percent(assessment.coverage),
        assessment.trials,
        assessment
            .stability_db
            .map_or_else(String::new, |db| format!(", stable to {} dB", fixed(db, 3)))
    );
    let mut rows = table(&["worst, no sign", "measured", "median", "from", "to", "unit"]);
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
    if quantities.first().is_some_and(|rejection| rejection.spread.high.is_infinite()) {
        text.push_str("Nowhere can it be told from perfect balance.\n");
    }
    text.push_str(&filled(&format!(
        "At the worst point only readings below {} dB can be told from perfect ({} %).",
        fixed(assessment.highest_distinguishable_db, 1),
        percent(assessment.coverage),
    )));
    text
}

/// `PASS`, `FAIL` or `OPEN` for a requirement by its place, and the probability behind it.
pub(super) fn judged(
    passes: bool,
    assessment: Option<&Assessment>,
    place: usize,
    unit: &str,
) -> (&'static str, String) {
    let Some(decided) = assessment.and_then(|assessment| assessment.requirements.get(place)) else {
        return (if passes { "PASS" } else { "FAIL" }, String::new());
    };
    let word = match decided.decision {
        Decision::Pass => "PASS",
        Decision::Fail => "FAIL",
        Decision::Undecided => "OPEN",
    };
    let percent = match 100.0 * decided.probability {
        percent if percent > 99.95 => "over 99.9".to_owned(),
        percent if percent < 0.05 => "under 0.1".to_owned(),
        percent => fixed(percent, 1),
    };
    let guard = match decided.rule {
        DecisionRule::GuardBand(width) => format!(", guard band {width} {unit}"),
        DecisionRule::Conformity(_) => String::new(),
    };
    (word, format!("met with {percent} % probability{guard}"))
}
