//! Many dies as text for people: one screen of 80 columns.

use super::text::{filled, fixed, lines, table};
use crate::diagnostic::printable;
use crate::units::{ShownFrequency, db_from_neper};
use crate::wafer::{
    Counts, DieDecision, DieStatus, GroupResult, LotHeading, LotResult, Trend, WaferResult, Yield,
};

/// Rows shown of a list that may be long; the files have them all.
const ROWS_SHOWN: usize = 8;

/// The report of `wafer`.
#[must_use]
pub fn lot(heading: &LotHeading<'_>, result: &LotResult) -> String {
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
    text.push_str(&counts(heading, &result.all.counts));
    text.push_str(&figures(heading, &result.all));
    text.push('\n');
    text.push_str(&groups(heading, result));
    text.push_str(&space(result));
    text.push_str(&what_if(result));
    text.push_str(&listed(result));
    text
}

fn percent(share: f64) -> String {
    format!("{}%", fixed(100.0 * share, 1))
}

fn yield_text(share: &Yield) -> String {
    match share.share {
        None => "-".to_owned(),
        Some(passing) => {
            let (low, high) = share.interval;
            format!("{} ({} to {})", percent(passing), percent(low), percent(high))
        }
    }
}

fn decibels(value: f64) -> String {
    match value {
        value if value.is_infinite() => "inf".to_owned(),
        // Beyond this all is rounding.
        value if value > 200.0 => "> 200".to_owned(),
        value => fixed(value, 2),
    }
}

fn verdict(result: &LotResult) -> String {
    let share = result.all.counts.yield_of_tested();
    let word = match result.decision() {
        DieDecision::Pass => "PASS",
        DieDecision::Fail => "FAIL",
        DieDecision::Undecided => "OPEN",
    };
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

fn counts(heading: &LotHeading<'_>, counts: &Counts) -> String {
    let mut parts = vec![format!("{} pass", counts.pass), format!("{} fail", counts.fail)];
    for (count, word) in [(counts.incomplete, "incomplete"), (counts.error, "error")] {
        if count > 0 {
            parts.push(format!("{count} {word} (not counted)"));
        }
    }
    if counts.edge_excluded > 0 {
        parts.push(format!("{} on the excluded rim", counts.edge_excluded));
    }
    let mut sentence = format!("{} rows: {}", counts.rows, parts.join(", "));
    if counts.superseded > 0 {
        sentence.push_str(&format!(", {} superseded ({})", counts.superseded, heading.retests()));
    }
    sentence.push('.');
    let mut text = filled(&sentence);
    if let Some(decided) = counts.decided {
        text.push_str(&filled(&format!(
            "Within the uncertainty {} pass, {} fail and {} are undecided; {} passing are to be \
             expected.",
            decided.pass,
            decided.fail,
            decided.undecided,
            fixed(decided.expected, 1),
        )));
    }
    text
}

fn figures(heading: &LotHeading<'_>, group: &GroupResult) -> String {
    let mut text = String::new();
    if let Some(quantiles) = &group.rejection {
        text.push_str(&filled(&format!(
            "Worst {} of a die: median {} dB, 5 to 95 % of dies {} to {} dB, least {} dB.",
            heading.rejection_word,
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
            "Channel error, mean and spread over dies: {}{} dB, {}{} deg.",
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
            first.limit.quantity.words().0,
            first.failing_first,
            group.counts.fail
        ));
    }
    if let Some(place) = group.worst_place {
        ends.push(format!(
            "worst {} most often {} ({} of dies)",
            heading.frequency_word,
            ShownFrequency(place.most_often_hz),
            percent(place.share)
        ));
    }
    if let Some(capability) = group.capability {
        ends.push(format!("capability index {}", fixed(capability, 2)));
    }
    if !ends.is_empty() {
        let sentence = ends.join("; ") + ".";
        let mut letters = sentence.chars();
        let capital: String =
            letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
        text.push_str(&filled(&(capital + letters.as_str())));
    }
    text
}

fn groups(heading: &LotHeading<'_>, result: &LotResult) -> String {
    let mut shown: Vec<&GroupResult> = Vec::new();
    if result.lots.len() > 1 {
        shown.extend(&result.lots);
    }
    shown.extend(result.wafers.iter().map(|wafer| &wafer.group));
    let mut rows = table(&["lot", "wafer", "tested", "pass", "yield (95 %)", "median", "least dB"]);
    for group in shown.iter().take(ROWS_SHOWN) {
        let name = |name: &Option<String>| {
            name.as_ref().map_or_else(|| "all".to_owned(), |name| shortened(name))
        };
        let decibel = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), decibels);
        rows.add_row(vec![
            name(&group.lot),
            name(&group.wafer),
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
    if let [one] = result
        .yield_by_policy
        .iter()
        .filter(|(policy, _)| *policy == heading.recipe.retests)
        .collect::<Vec<_>>()
        .as_slice()
        && !result.retests.is_empty()
    {
        let others: Vec<String> = result
            .yield_by_policy
            .iter()
            .filter(|(policy, _)| policy != &one.0)
            .map(|(policy, share)| {
                let share = share.share.map_or_else(|| "-".to_owned(), percent);
                format!("{} {share}", policy.name())
            })
            .collect();
        text.push_str(&filled(&format!(
            "{} several touchdowns; yield if another counted: {}.",
            match result.retests.len() {
                1 => "1 die has".to_owned(),
                count => format!("{count} dies have"),
            },
            others.join(", ")
        )));
    }
    text
}

/// A name that may be long.
fn shortened(name: &str) -> String {
    let name = printable(name);
    if name.chars().count() <= 12 {
        return name.into_owned();
    }
    let start: String = name.chars().take(11).collect();
    start + "…"
}

/// The strongest trend over a wafer.
fn space(result: &LotResult) -> String {
    let explained = |trend: &Option<Trend>| trend.as_ref().map_or(0.0, |trend| trend.explained);
    let strongest = |wafer: &WaferResult| {
        explained(&wafer.amplitude_db.trend).max(explained(&wafer.phase_deg.trend))
    };
    let Some(wafer) =
        result.wafers.iter().max_by(|one, other| strongest(one).total_cmp(&strongest(other)))
    else {
        return String::new();
    };
    let parts: Vec<String> = [
        ("amplitude imbalance", "dB", &wafer.amplitude_db),
        ("phase error", "deg", &wafer.phase_deg),
    ]
    .into_iter()
    .filter_map(|(word, unit, spatial)| {
        let trend = spatial.trend.as_ref()?;
        Some(format!(
            "{word} {} {unit} right, {} up, {} all round ({} of its spread)",
            signed(trend.slope_x),
            signed(trend.slope_y),
            signed(trend.bowl),
            percent(trend.explained),
        ))
    })
    .collect();
    if parts.is_empty() {
        return String::new();
    }
    let name = wafer.group.wafer.as_deref().unwrap_or_default();
    filled(&format!("From centre to rim of wafer {}: {}.", shortened(name), parts.join("; ")))
}

fn signed(value: f64) -> String {
    let text = fixed(value, 2);
    if text.starts_with('-') { text } else { format!("+{text}") }
}

fn what_if(result: &LotResult) -> String {
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

/// Dies that people should look at.
fn listed(result: &LotResult) -> String {
    let mut text = String::new();
    let found: Vec<String> = result
        .rows
        .iter()
        .filter_map(|row| {
            let place = format!(
                "{} {} ({}, {})",
                shortened(&row.key.lot),
                shortened(&row.key.wafer),
                row.key.die_x,
                row.key.die_y
            );
            match row.status {
                DieStatus::Incomplete | DieStatus::Error => {
                    Some(format!("{place} {}: {}", row.status.name(), printable(&row.message)))
                }
                _ if row.counts() && row.is_outlier => {
                    Some(format!("{place} stands apart from its wafer ({})", row.status.name()))
                }
                _ => None,
            }
        })
        .collect();
    if !found.is_empty() {
        text.push('\n');
    }
    for line in found.iter().take(ROWS_SHOWN) {
        text.push_str(&filled(line));
    }
    if found.len() > ROWS_SHOWN {
        text.push_str(&format!("and {} more in dies.csv\n", found.len() - ROWS_SHOWN));
    }
    text
}
