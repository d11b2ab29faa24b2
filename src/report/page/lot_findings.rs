//! Which dies of a lot fail and why, what would raise the yield, and which rows are not part of it.

use super::super::wafer_groups_report::percent;
use super::lot_data::{die_key, quantities};
use super::page_table::PageTable;
use super::page_value::{frequency, number};
use super::report_page::Finding;
use crate::diagnostic::printable;
use crate::requirement::{Limit, Limits};
use crate::units::counted;
use crate::wafer::{
    DieFigures, DieRow, DieStatus, DieSubject, LimitCount, LotHeading, LotResult, NotCounted,
    Quantiles, Retest, Spatial, WhatIf, WhatIfResult, Yield,
};

/// Rows of each of its tables.
const LISTED: usize = 60;

/// What the page says of a lot before its dies and pictures.
pub(super) fn findings(heading: &LotHeading<'_>, result: &LotResult) -> Vec<Finding> {
    let parts = [
        failing(heading, result),
        raising(heading, result),
        not_measured(result),
        failing_but_not_counted(result),
        changed_by_retests(result),
        trends(result),
    ];
    parts.into_iter().flatten().collect()
}

/// Which dies fail, and why.
fn failing(heading: &LotHeading<'_>, result: &LotResult) -> Option<Finding> {
    let limits = result.limits();
    let mut rows: Vec<&DieRow> =
        result.rows().iter().filter(|row| row.counts() && row.status == DieStatus::Fail).collect();
    let (mut sentences, mut worst_die) = (Vec::new(), String::new());
    if let Some(first) = result.all().fails_first() {
        sentences.push(format!(
            "{} fails first on {} of {}.",
            first.limit.quantity().title(),
            first.failing_first,
            counted(rows.len(), "failing die")
        ));
    }
    if rows.is_empty() {
        sentences.push("No measured die fails.".to_owned());
    }
    if let Some(worst) = worst_rejection(result) {
        let figures = worst.1;
        worst_die = die_key(worst.0);
        let unit = heading.rejection().unit();
        sentences.push(format!(
            "Worst curve: {}, {} {} {unit} at {}.",
            die_name(worst.0),
            heading.rejection().label(),
            number(figures.worst_rejection_db, unit),
            at(heading, figures.worst_at_hz, figures.worst_at_if_hz)
        ));
    }
    if rows.is_empty() {
        let heading = "Which dies fail, and why";
        return Some(Finding { heading, sentences, die: worst_die, table: None });
    }
    // The die that misses by most comes first.
    let margin = |row: &DieRow| {
        let first = row.missed(limits).first().copied();
        let figures = row.figures.as_deref();
        first.zip(figures).map_or(f64::NAN, |(limit, figures)| figures.relative_margin(limit))
    };
    rows.sort_by(|one, other| margin(one).total_cmp(&margin(other)));
    let asked = quantities(heading, result);
    let labels: Vec<String> =
        asked.iter().map(|one| format!("{} ({})", one.title(), one.unit())).collect();
    let mut columns = vec![("Die", false), ("Limits missed", false)];
    columns.extend(labels.iter().map(|label| (label.as_str(), true)));
    columns.extend([("Worst rejection at", false), ("Outlier", false)]);
    let mut table = PageTable::of("failing", "Failing dies", &columns);
    table.note =
        "The die and the limit missed by the largest share of the limit are first.".to_owned();
    for row in rows.iter().take(LISTED) {
        let Some(figures) = row.figures.as_deref() else { continue };
        let mut cells = vec![die_name(row), missed(row, limits)];
        cells.extend(asked.iter().map(|one| number(figures.worst(*one), one.unit())));
        cells.push(at(heading, figures.worst_at_hz, figures.worst_at_if_hz));
        cells.push(if row.is_outlier { "yes" } else { "" }.to_owned());
        table.rows.push(cells);
        table.dies.push(die_key(row));
    }
    if rows.len() > LISTED {
        table.note.push_str(&format!(" The first {LISTED} of {}.", rows.len()));
    }
    let heading = "Which dies fail, and why";
    Some(Finding { heading, sentences, die: worst_die, table: Some(table) })
}

/// The limits that a die misses, by their labels.
pub(super) fn missed(row: &DieRow, limits: &Limits) -> String {
    let missed = row.missed(limits);
    missed.iter().map(|limit| limit.quantity().label()).collect::<Vec<_>>().join(", ")
}

/// The counted die with the minimum rejection.
pub(super) fn worst_rejection(result: &LotResult) -> Option<(&DieRow, &DieFigures)> {
    let counted = result.rows().iter().filter_map(|row| Some((row, row.counted_figures()?)));
    counted.min_by(|one, other| one.1.worst_rejection_db.total_cmp(&other.1.worst_rejection_db))
}

fn not_measured(result: &LotResult) -> Option<Finding> {
    let rows: Vec<&DieRow> = result
        .rows()
        .iter()
        .filter(|row| matches!(row.status, DieStatus::Incomplete | DieStatus::Error))
        .collect();
    let columns = [("Die", false), ("Status", false), ("Reason", false)];
    let mut table = PageTable::of("not-measured", "Dies that were not measured", &columns);
    for row in rows.iter().take(LISTED) {
        table.rows.push(vec![
            die_name(row),
            row.status.name().to_owned(),
            printable(&row.message).into_owned(),
        ]);
        table.dies.push(die_key(row));
    }
    if rows.len() > LISTED {
        table.note = format!("The first {LISTED} of {}.", rows.len());
    }
    let heading = "Which dies were not measured";
    (!rows.is_empty()).then(|| Finding { heading, table: Some(table), ..Finding::default() })
}

/// Rows that miss a limit and are not part of the yield, with the reason.
fn failing_but_not_counted(result: &LotResult) -> Option<Finding> {
    let rows: Vec<(&DieRow, NotCounted)> = result
        .rows()
        .iter()
        .filter(|row| row.status == DieStatus::Fail)
        .filter_map(|row| Some((row, row.not_counted()?)))
        .collect();
    let columns = [("Die", false), ("Limits missed", false), ("Not counted because", false)];
    let mut table = PageTable::of("not-counted", "Failing rows that are not counted", &columns);
    for (row, reason) in rows.iter().take(LISTED) {
        table.rows.push(vec![
            die_name(row),
            missed(row, result.limits()),
            reason.words().to_owned(),
        ]);
        table.dies.push(die_key(row));
    }
    if rows.len() > LISTED {
        table.note = format!("The first {LISTED} of {}.", rows.len());
    }
    let heading = "Which rows fail and are not counted";
    (!rows.is_empty()).then(|| Finding { heading, table: Some(table), ..Finding::default() })
}

/// Dies of which one measurement passes and another fails.
fn changed_by_retests(result: &LotResult) -> Option<Finding> {
    let rows = result.rows();
    let has = |retest: &Retest, status| retest.rows.iter().any(|&at| rows[at].status == status);
    let changed: Vec<&Retest> = result
        .retests()
        .iter()
        .filter(|retest| has(retest, DieStatus::Pass) && has(retest, DieStatus::Fail))
        .collect();
    let columns = [("Die", false), ("Verdicts in order of measurement", false), ("Counted", false)];
    let mut table = PageTable::of("retests", "Dies with different verdicts", &columns);
    for retest in changed.iter().take(LISTED) {
        let own = || retest.rows.iter().map(|&at| &rows[at]);
        let counted: Vec<&DieRow> = own().filter(|row| row.not_counted().is_none()).collect();
        let Some(shown) = counted.last().copied().or_else(|| own().next_back()) else { continue };
        let numbers: Vec<String> = counted.iter().map(|row| row.touchdown.to_string()).collect();
        table.rows.push(vec![
            plain_name(shown),
            own().map(|row| row.status.name()).collect::<Vec<_>>().join(", "),
            match numbers.as_slice() {
                [] => "none".to_owned(),
                numbers => format!("measurement {}", numbers.join(", ")),
            },
        ]);
        table.dies.push(die_key(shown));
    }
    if changed.len() > LISTED {
        table.note = format!("The first {LISTED} of {}.", changed.len());
    }
    let heading = "Which verdicts a retest changed";
    (!changed.is_empty()).then(|| Finding { heading, table: Some(table), ..Finding::default() })
}

/// What would raise the yield.
fn raising(heading: &LotHeading<'_>, result: &LotResult) -> Option<Finding> {
    let columns = [
        ("Change", false),
        ("Yield by all limits (%)", true),
        ("95 % interval (%)", false),
        ("Yield by rejection alone (%)", true),
        ("Median rejection (dB)", true),
        ("Minimum rejection (dB)", true),
    ];
    let mut table = PageTable::of("what-if", "Yield with each change", &columns);
    let is_known = |asked: &&WhatIfResult| asked.passing.is_some() || asked.passing_all.is_some();
    for asked in result.what_ifs().iter().filter(is_known) {
        let percent = |share: f64| super::super::text_table::fixed(100.0 * share, 1);
        let share = |own: &Option<Yield>| {
            own.as_ref().and_then(|own| own.share).map_or_else(|| "not known".to_owned(), percent)
        };
        let interval = asked.passing_all.as_ref().map(|own| own.interval);
        let decibels = |of: fn(&Quantiles) -> f64| {
            asked.rejection.as_ref().map_or_else(String::new, |own| number(of(own), "dB"))
        };
        table.rows.push(vec![
            change(heading, &asked.what_if),
            share(&asked.passing_all),
            interval.map_or_else(String::new, |(low, high)| {
                format!("{} to {}", percent(low), percent(high))
            }),
            share(&asked.passing),
            decibels(|own| own.median),
            decibels(|own| own.least),
        ]);
    }
    if result.what_ifs().iter().any(|asked| asked.passing_all.is_none()) {
        table.note =
            "Of ideal parts and assembled receivers only the rejection is known.".to_owned();
    }
    if heading.settings.subject() != DieSubject::Receiver {
        table.note =
            "A correction acts behind the splitter: its own imbalance and phase error, which the \
                      other limits are on, stay as they are."
                .to_owned();
    }
    let mut sentences = Vec::from_iter(gains(heading, result));
    sentences.extend(limits_alone(result));
    let has_answer = !table.rows.is_empty();
    (has_answer || !sentences.is_empty()).then(|| Finding {
        heading: "What would raise the yield",
        sentences,
        table: has_answer.then_some(table),
        ..Finding::default()
    })
}

/// A change in words that need no other row.
fn change(heading: &LotHeading<'_>, what_if: &WhatIf) -> String {
    let label = printable(&heading.what_if(what_if)).into_owned();
    match what_if {
        WhatIf::CorrectionPerWaferAndFrequency
        | WhatIf::CorrectionPerDie
        | WhatIf::CorrectionPerDieAndFrequency => {
            label.replacen("one for", "one I/Q correction for", 1)
        }
        _ => label,
    }
}

/// The change with the highest yield by all limits, against the yield as measured.
fn gains(heading: &LotHeading<'_>, result: &LotResult) -> Option<String> {
    let share = |asked: &WhatIfResult| asked.passing_all.as_ref().and_then(|own| own.share);
    let (measured, changes) = result.what_ifs().split_first()?;
    let before = share(measured)?;
    let known = changes.iter().filter_map(|asked| Some((asked, share(asked)?)));
    let most = known.clone().map(|(_, after)| after).fold(0.0, f64::max);
    // Of equal yields the change that is named first is the simplest.
    let (best, after) = known.clone().find(|(_, after)| *after >= most)?;
    let label = change(heading, &best.what_if);
    Some(if after > before {
        format!(
            "Highest yield by all limits: {} instead of {}, with {label}.",
            percent(after),
            percent(before)
        )
    } else {
        format!(
            "No change of which the yield by all limits is known raises it above {}.",
            percent(before)
        )
    })
}

/// What single limits cost: dies that miss no other.
fn limits_alone(result: &LotResult) -> Option<String> {
    let mut alone: Vec<&LimitCount> =
        result.all().limits.iter().filter(|count| count.failing_alone > 0).collect();
    alone.sort_by_key(|count| std::cmp::Reverse(count.failing_alone));
    let parts: Vec<String> = alone
        .iter()
        .map(|count| format!("{} {}", count.limit.quantity().label(), count.failing_alone))
        .collect();
    (!parts.is_empty())
        .then(|| format!("Failing dies that miss one limit alone: {}.", parts.join(", ")))
}

/// How imbalance and phase error change over each wafer.
fn trends(result: &LotResult) -> Option<Finding> {
    let columns = [
        ("Wafer", false),
        ("Quantity", false),
        ("x tilt", true),
        ("y tilt", true),
        ("Radial", true),
        ("Share of the variance (%)", true),
    ];
    let mut table = PageTable::of("trends", "Trends from centre to edge", &columns);
    for wafer in result.wafers() {
        let name = format!("{} {}", printable(&wafer.lot), printable(&wafer.wafer));
        let parts: [(&str, &Spatial); 2] = [
            ("Amplitude imbalance (dB)", &wafer.amplitude_db),
            ("Phase error (deg)", &wafer.phase_deg),
        ];
        for (quantity, spatial) in parts {
            let Some(trend) = &spatial.trend else { continue };
            let value = |value: f64| number(value, "dB");
            table.rows.push(vec![
                name.clone(),
                quantity.to_owned(),
                value(trend.tilt_x),
                value(trend.tilt_y),
                value(trend.radial),
                super::super::text_table::fixed(100.0 * trend.explained, 1),
            ]);
        }
    }
    let heading = "How the errors change over the wafer";
    (!table.rows.is_empty()).then_some(Finding {
        heading,
        table: Some(table),
        ..Finding::default()
    })
}

/// A limit in words, as a title.
pub(super) fn required(limit: Limit) -> String {
    let quantity = limit.quantity();
    format!(
        "{} {} {} {}",
        quantity.limited_title(),
        quantity.direction().sign(),
        limit.value(),
        quantity.unit()
    )
}

/// The name of a row's die; of several measurements with the number of this one.
pub(super) fn die_name(row: &DieRow) -> String {
    match (row.stands, row.touchdown) {
        (true, 1) => plain_name(row),
        (_, number) => format!("{}, measurement {number}", plain_name(row)),
    }
}

fn plain_name(row: &DieRow) -> String {
    let key = &row.key;
    // A line does not end within the position.
    let (lot, wafer) = (printable(&key.lot), printable(&key.wafer));
    format!("{lot} {wafer} ({},\u{a0}{})", key.die_x, key.die_y)
}

/// A frequency, or LO and IF, in words.
pub(super) fn at(heading: &LotHeading<'_>, hz: f64, if_hz: Option<f64>) -> String {
    let name = if heading.if_hz.is_empty() { "" } else { "LO " };
    let if_part = if_hz.map_or_else(String::new, |hz| format!(", IF {}", frequency(hz)));
    format!("{name}{}{if_part}", frequency(hz))
}
