//! Many dies as a whole: their document, and their text of one screen of 80 columns.

use super::text_table::filled;
use super::wafer_corrections_report::CorrectionsJson;
use super::wafer_dies_report::{ListedRows, dies_text};
use super::wafer_groups_report::{
    counts_text, figures_text, group_json, groups_text, percent, yield_json, yield_text,
};
use super::wafer_settings_report::settings_json;
use super::wafer_trend_report::{trend_text, wafer_json};
use super::wafer_yield_report::{
    curve_json, what_if_text, what_ifs_json, yield_against_limit_json,
};
use crate::batch::{InputFile, LotJob};
use crate::diagnostic::printable;
use crate::wafer::{LotHeading, LotResult};
use serde::Serialize;
use serde_json::{Map, Value, json};

/// The document of `wafer`: `summary.json`.
#[derive(Debug, Serialize)]
pub struct LotReport<'r> {
    title: String,
    version: &'static str,
    #[serde(flatten)]
    all: Map<String, Value>,
    verdict: Value,
    lots: Vec<Value>,
    wafers: Vec<Value>,
    what_if: Vec<Value>,
    corrections: CorrectionsJson<'r>,
    yield_by_retest_policy: Value,
    yield_against_limit: Vec<Value>,
    curve: Value,
    #[serde(flatten)]
    rows: ListedRows,
    settings: Value,
    inputs: Vec<InputFile>,
    pub(super) warnings: Vec<String>,
}

/// The document of a lot.
#[must_use]
pub fn lot_report<'r>(job: &LotJob, result: &'r LotResult) -> LotReport<'r> {
    let heading = &job.heading();
    let name = heading.rejection().name();
    LotReport {
        title: heading.title(),
        version: env!("CARGO_PKG_VERSION"),
        all: group_json(&[], &result.all, name),
        verdict: json!({
            "pass": result.passes(),
            "required_yield": result.required_yield,
            "yield": result.all.counts.yield_of_tested().share,
        }),
        lots: result
            .lots
            .iter()
            .map(|lot| group_json(&[("lot", lot.lot.as_str())], &lot.group, name).into())
            .collect(),
        wafers: result.wafers.iter().map(|one| wafer_json(one, name)).collect(),
        what_if: what_ifs_json(heading, result),
        corrections: CorrectionsJson(Some(result)),
        yield_by_retest_policy: result
            .yield_by_policy
            .iter()
            .map(|(policy, share)| (policy.name().to_owned(), yield_json(share)))
            .collect::<Map<_, _>>()
            .into(),
        yield_against_limit: yield_against_limit_json(&result.all, name),
        curve: curve_json(heading, result),
        rows: ListedRows::of(result),
        settings: settings_json(job, result),
        inputs: job.digests().to_vec(),
        warnings: job
            .warnings()
            .iter()
            .cloned()
            .chain(job.warnings_of(result).iter().map(ToString::to_string))
            .collect(),
    }
}

impl LotReport<'_> {
    /// The document without the corrections of all dies.
    pub(super) fn without_corrections(self) -> Self {
        Self { corrections: CorrectionsJson(None), ..self }
    }
}

/// The report of `wafer`.
#[must_use]
pub fn wafer_text(heading: &LotHeading<'_>, result: &LotResult) -> String {
    let mut text = filled(&printable(&heading.title()));
    text.push_str(&filled(&heading.frequencies(result)));
    if let Some(name) = heading.combination {
        text.push_str(&filled(&format!("{name} on every die.")));
    }
    let limits = heading.limits(result);
    text.push_str(&filled(&if limits.is_empty() {
        "No limit is set, so every die that could be measured passes.".to_owned()
    } else {
        format!("Required: {limits}.")
    }));
    text.push('\n');
    text.push_str(&verdict(result));
    text.push_str(&counts_text(heading, &result.all.counts));
    text.push_str(&figures_text(heading, &result.all));
    text.push('\n');
    text.push_str(&groups_text(heading, result));
    text.push_str(&trend_text(heading, result));
    text.push_str(&what_if_text(heading, result));
    text.push_str(&dies_text(result));
    text
}

fn verdict(result: &LotResult) -> String {
    let share = result.all.counts.yield_of_tested();
    let word = result.decision().capitals();
    let sentence = match (result.required_yield, share.share) {
        (_, None) => "No die could be judged.".to_owned(),
        (Some(required), Some(_)) => {
            format!("{word} yield {}, required {}", yield_text(&share), percent(required))
        }
        (None, Some(_)) => format!(
            "{word} yield {}: {} of {} dies pass",
            yield_text(&share),
            share.passed,
            share.tested
        ),
    };
    filled(&sentence)
}
