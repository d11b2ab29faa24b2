//! Yield against a limit, yield of what-ifs, and the curve over frequency: text and JSON.

use super::text_table::{lines, table};
use super::wafer_groups_report::{decibels, quantiles_json, yield_json, yield_text};
use crate::diagnostic::printable;
use crate::wafer::{GroupResult, LotHeading, LotResult, WhatIfResult, yield_at_limits};
use serde_json::{Value, json};

/// The answers of the document, one per what-if.
pub(super) fn what_ifs_json(result: &LotResult, rejection: &str) -> Vec<Value> {
    result.what_ifs.iter().map(|answer| what_if(answer, rejection)).collect()
}

fn what_if(answer: &WhatIfResult, rejection: &str) -> Value {
    json!({
        "name": answer.name,
        "label": answer.words,
        "yield_by_rejection_alone": answer.passing.as_ref().map(yield_json),
        format!("worst_{rejection}"): answer.rejection.as_ref().map(quantiles_json),
    })
}

pub(super) fn what_if_text(result: &LotResult) -> String {
    if result.what_ifs.is_empty() {
        return String::new();
    }
    let mut rows = table(&["what if (rejection alone)", "yield (95 %)", "median", "least dB"]);
    for answer in &result.what_ifs {
        let decibel = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), decibels);
        rows.add_row(vec![
            printable(&answer.words).into_owned(),
            answer.passing.as_ref().map_or_else(|| "-".to_owned(), yield_text),
            decibel(answer.rejection.map(|quantiles| quantiles.median)),
            decibel(answer.rejection.map(|quantiles| quantiles.least)),
        ]);
    }
    format!("\n{}\n", lines(&rows))
}

/// Limits at every half dB that dies reach.
pub(super) fn yield_against_limit_json(group: &GroupResult, rejection: &str) -> Vec<Value> {
    let finite = || group.rejections_db.iter().copied().filter(|db| db.is_finite());
    let (Some(low), Some(high)) = (finite().next(), finite().next_back()) else {
        return Vec::new();
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "rejections are some hundred dB at most"
    )]
    let steps = (((high - low.floor()) / 0.5).ceil() as usize).min(2000);
    let limits: Vec<f64> =
        (0_u32..).take(steps + 1).map(|step| low.floor() + 0.5 * f64::from(step)).collect();
    let shares = yield_at_limits(&group.rejections_db, &limits);
    limits
        .iter()
        .zip(shares)
        .map(|(limit, share)| json!({rejection: limit, "share": share}))
        .collect()
}

pub(super) fn curve_json(heading: &LotHeading<'_>, result: &LotResult) -> Value {
    let curves = &result.curves;
    let points = curves.bands.iter().map(|band| {
        json!({
            "frequency_hz": band.frequency_hz,
            "p05": band.p05_db,
            "median": band.median_db,
            "p95": band.p95_db,
        })
    });
    json!({
        "quantity": heading.rejection.name(),
        "frequency": heading.frequency_word,
        "dies": curves.dies,
        "left_out": curves.left_out,
        "rounded_to_db": 0.05,
        "points": points.collect::<Vec<_>>(),
    })
}
