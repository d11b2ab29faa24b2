//! Yield against a limit, yield of what-ifs, and the curve over frequency: text and JSON.

use super::text_table::{lines, table};
use super::wafer_groups_report::{decibels, percent, quantiles_json, yield_json};
use crate::diagnostic::printable;
use crate::wafer::{
    CURVE_STEP_DB, GroupResult, LotHeading, LotResult, WhatIfResult, Yield, yield_against_limit,
};
use serde_json::{Value, json};

/// The answers of the document, one per what-if.
pub(super) fn what_ifs_json(heading: &LotHeading<'_>, result: &LotResult) -> Vec<Value> {
    let answer = |answer: &WhatIfResult| {
        json!({
            "name": answer.what_if.name(),
            "label": heading.what_if(&answer.what_if),
            "yield_by_rejection_alone": answer.passing.as_ref().map(yield_json),
            "yield_by_all_limits": answer.passing_all.as_ref().map(yield_json),
            format!("worst_{}", heading.rejection().name()):
                answer.rejection.as_ref().map(quantiles_json),
        })
    };
    result.what_ifs.iter().map(answer).collect()
}

pub(super) fn what_if_text(heading: &LotHeading<'_>, result: &LotResult) -> String {
    if result.what_ifs.is_empty() {
        return String::new();
    }
    let mut rows =
        table(&["what if", "yield by\nall limits", "by rejection\nalone", "median\ndB", "min\ndB"]);
    for answer in &result.what_ifs {
        let decibel = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), decibels);
        let share = |own: &Option<Yield>| {
            own.as_ref().and_then(|own| own.share).map_or_else(|| "-".to_owned(), percent)
        };
        rows.add_row(vec![
            printable(&heading.what_if(&answer.what_if)).into_owned(),
            share(&answer.passing_all),
            share(&answer.passing),
            decibel(answer.rejection.map(|quantiles| quantiles.median)),
            decibel(answer.rejection.map(|quantiles| quantiles.least)),
        ]);
    }
    format!("\n{}\n", lines(&rows))
}

/// The share of dies that hold a limit, every half dB.
pub(super) fn yield_against_limit_json(group: &GroupResult, rejection: &str) -> Vec<Value> {
    yield_against_limit(&group.rejections_db)
        .into_iter()
        .map(|(limit_db, share)| json!({rejection: limit_db, "share": share}))
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
        "quantity": heading.rejection().name(),
        "frequency": heading.frequency_word(),
        "dies": curves.dies,
        "left_out": curves.left_out,
        "rounded_to_db": CURVE_STEP_DB,
        "points": points.collect::<Vec<_>>(),
    })
}
