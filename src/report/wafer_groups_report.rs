//! Counts, yield and statistics of dies, of a lot and of a wafer: text and JSON.

use super::text_table::{abbreviated, capitalised, filled, fixed, lines, table};
use crate::units::{ShownFrequency, counted, db_from_neper};
use crate::wafer::{
    ChannelStatistics, Counts, GroupResult, LotHeading, LotResult, Quantiles, Yield,
};
use serde_json::{Map, Value, json};

/// A group behind the names of its lot and wafer, where it is of one.
pub(super) fn group_json(
    names: &[(&str, &str)],
    group: &GroupResult,
    rejection: &str,
) -> Map<String, Value> {
    let mut made = Map::new();
    for (key, name) in names {
        made.insert((*key).to_owned(), (*name).into());
    }
    made.insert("counts".to_owned(), counts(&group.counts));
    made.insert("yield".to_owned(), yield_json(&group.counts.yield_of_tested()));
    made.insert(
        format!("worst_{rejection}"),
        group.rejection.as_ref().map_or(Value::Null, quantiles_json),
    );
    made.insert("channel_error".to_owned(), group.channel.as_ref().map_or(Value::Null, channel));
    made.insert("ppk".to_owned(), group.capability.into());
    let limits = group.limits.iter().map(|count| {
        json!({
            "name": count.limit.quantity().name(),
            "limit": count.limit.value(),
            "failing": count.failing,
            "failing_first": count.failing_first,
            "failing_alone": count.failing_alone,
        })
    });
    made.insert("requirements".to_owned(), limits.collect());
    let first = group.fails_first().map(|count| count.limit.quantity().name());
    made.insert("fails_first".to_owned(), first.into());
    let place = group.worst_place.map_or(Value::Null, |place| {
        json!({
            "mode_hz": place.most_often_hz,
            "share": place.share,
            "median_hz": place.median_hz,
        })
    });
    made.insert("worst_frequency".to_owned(), place);
    made
}

pub(super) fn yield_json(share: &Yield) -> Value {
    json!({
        "passed": share.passed,
        "tested": share.tested,
        "share": share.share,
        "interval_95": [share.interval.0, share.interval.1],
    })
}

fn counts(counts: &Counts) -> Value {
    json!({
        "rows": counts.rows,
        "superseded": counts.superseded,
        "edge_excluded": counts.edge_excluded,
        "tested": counts.tested(),
        "pass": counts.pass,
        "fail": counts.fail,
        "incomplete": counts.incomplete,
        "error": counts.error,
        "outliers": counts.outliers,
        "within_uncertainty": counts.decided.map(|decided| json!({
            "pass": decided.pass,
            "fail": decided.fail,
            "undecided": decided.undecided,
            "expected_pass": decided.expected,
        })),
    })
}

pub(super) fn quantiles_json(quantiles: &Quantiles) -> Value {
    json!({
        "min": quantiles.least,
        "p05": quantiles.p05,
        "p25": quantiles.p25,
        "median": quantiles.median,
        "p75": quantiles.p75,
        "p95": quantiles.p95,
        "max": quantiles.largest,
    })
}

fn channel(channel: &ChannelStatistics) -> Value {
    json!({
        "dies": channel.count,
        "amplitude_mean_db": db_from_neper(channel.mean.re),
        "amplitude_deviation_db": channel.amplitude_deviation.map(db_from_neper),
        "phase_mean_deg": channel.mean.im.to_degrees(),
        "phase_deviation_deg": channel.phase_deviation.map(f64::to_degrees),
        "correlation": channel.correlation,
    })
}

pub(super) fn counts_text(heading: &LotHeading<'_>, counts: &Counts) -> String {
    let mut parts = vec![format!("{} pass", counts.pass), format!("{} fail", counts.fail)];
    for (count, word) in [(counts.incomplete, "incomplete"), (counts.error, "error")] {
        if count > 0 {
            parts.push(format!("{count} {word} (not counted)"));
        }
    }
    if counts.edge_excluded > 0 {
        parts.push(format!("{} in the edge exclusion", counts.edge_excluded));
    }
    let mut sentence = format!("{}: {}", counted(counts.rows, "row"), parts.join(", "));
    if counts.superseded > 0 {
        sentence.push_str(&format!(", {} superseded ({})", counts.superseded, heading.retests()));
    }
    sentence.push('.');
    let mut text = filled(&sentence);
    if let Some(decided) = counts.decided {
        text.push_str(&filled(&format!(
            "With the stated uncertainty {} pass, {} fail and {} are undecided; expected to pass: \
             {}.",
            decided.pass,
            decided.fail,
            decided.undecided,
            fixed(decided.expected, 1),
        )));
    }
    text
}

pub(super) fn figures_text(heading: &LotHeading<'_>, group: &GroupResult) -> String {
    let mut text = String::new();
    if let Some(quantiles) = &group.rejection {
        text.push_str(&filled(&format!(
            "Worst {} of a die: median {} dB, 5 to 95 % of dies {} to {} dB, minimum {} dB.",
            heading.rejection().label(),
            decibels(quantiles.median),
            decibels(quantiles.p05),
            decibels(quantiles.p95),
            decibels(quantiles.least),
        )));
    }
    if let Some(channel) = &group.channel {
        let spread = |deviation: Option<f64>| {
            deviation.map_or_else(String::new, |deviation| format!(" +- {}", fixed(deviation, 2)))
        };
        text.push_str(&filled(&format!(
            "I/Q channel error (the two outputs against their ideal ratio), mean and standard \
             deviation over dies: {}{} dB, {}{} deg.",
            fixed(db_from_neper(channel.mean.re), 2),
            spread(channel.amplitude_deviation.map(db_from_neper)),
            fixed(channel.mean.im.to_degrees(), 2),
            spread(channel.phase_deviation.map(f64::to_degrees)),
        )));
    }
    let mut ends: Vec<String> = Vec::new();
    if let Some(first) = group.fails_first() {
        ends.push(format!(
            "{} fails first on {} of {} failing dies",
            first.limit.quantity().label(),
            first.failing_first,
            group.counts.fail
        ));
    }
    if let Some(place) = group.worst_place {
        ends.push(format!(
            "worst {} most often {} ({} of dies)",
            heading.frequency_word(),
            ShownFrequency(place.most_often_hz),
            percent(place.share)
        ));
    }
    if let Some(capability) = group.capability {
        ends.push(format!(
            "Ppk {} (median - limit over median - 0.135 % quantile)",
            fixed(capability, 2)
        ));
    }
    if !ends.is_empty() {
        let sentence = ends.join("; ") + ".";
        text.push_str(&filled(&capitalised(&sentence)));
    }
    text
}

/// Wafers and lots shown; `summary.json` has them all.
const ROWS_SHOWN: usize = 8;
/// Longer names of lots and wafers are cut.
pub(super) const LONGEST_NAME: usize = 12;

pub(super) fn groups_text(heading: &LotHeading<'_>, result: &LotResult) -> String {
    let mut shown: Vec<(String, String, &GroupResult)> = Vec::new();
    let name = |name: &str| abbreviated(name, LONGEST_NAME);
    if result.lots.len() > 1 {
        let lots = result.lots.iter();
        shown.extend(lots.map(|lot| (name(&lot.lot), "all".to_owned(), &lot.group)));
    }
    let wafers = result.wafers.iter();
    shown.extend(wafers.map(|wafer| (name(&wafer.lot), name(&wafer.wafer), &wafer.group)));
    let mut rows = table(&["lot", "wafer", "tested", "pass", "yield (95 %)", "median", "min dB"]);
    for (lot, wafer, group) in shown.iter().take(ROWS_SHOWN) {
        let decibel = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), decibels);
        rows.add_row(vec![
            lot.clone(),
            wafer.clone(),
            group.counts.tested().to_string(),
            group.counts.pass.to_string(),
            yield_text(&group.counts.yield_of_tested()),
            decibel(group.rejection.map(|quantiles| quantiles.median)),
            decibel(group.rejection.map(|quantiles| quantiles.least)),
        ]);
    }
    let mut text = lines(&rows) + "\n";
    if shown.len() > ROWS_SHOWN {
        text.push_str(&format!("and {} more in summary.json\n", shown.len() - ROWS_SHOWN));
    }
    if !result.retests.is_empty() {
        let others: Vec<String> = result
            .yield_by_policy
            .iter()
            .filter(|(policy, _)| *policy != heading.settings.retests())
            .map(|(policy, share)| {
                let share = share.share.map_or_else(|| "-".to_owned(), percent);
                format!("{} {share}", policy.name())
            })
            .collect();
        text.push_str(&filled(&format!(
            "{} several measurements; yield if another counted: {}.",
            match result.retests.len() {
                1 => "1 die has".to_owned(),
                count => format!("{} have", counted(count, "die")),
            },
            others.join(", ")
        )));
    }
    text
}

pub(super) fn percent(share: f64) -> String {
    format!("{}%", fixed(100.0 * share, 1))
}

pub(super) fn yield_text(share: &Yield) -> String {
    match share.share {
        None => "-".to_owned(),
        Some(passing) => {
            let (low, high) = share.interval;
            format!("{} ({} to {})", percent(passing), percent(low), percent(high))
        }
    }
}

pub(super) fn decibels(value: f64) -> String {
    match value {
        value if value.is_infinite() => "inf".to_owned(),
        // Beyond this all is rounding.
        value if value > 200.0 => "> 200".to_owned(),
        value => fixed(value, 2),
    }
}
