//! The page of a lot of dies.

use super::super::files_error::FilesError;
use super::super::publish::ReportFile;
use super::super::wafer_groups_report::{percent, yield_text};
use super::lot_data::{MOST_DIES, lot_data, quantities};
use super::page_picture::{NamedPicture, PagePicture};
use super::page_table::PageTable;
use super::page_value::{Document, frequency, number};
use super::report_page::{Finding, ReportPage, listed_tables};
use super::requirement_rows::PageVerdict;
use crate::batch::LotJob;
use crate::diagnostic::printable;
use crate::requirement::{Limit, Quantity};
use crate::wafer::{DieRow, DieStatus, LotHeading, LotResult, Spatial};
use serde_json::Value;

/// Failing dies, and dies that were not measured, that the first part lists.
const LISTED: usize = 60;
/// Rows of the table of dies.
const ROWS: usize = 1500;
/// Bytes of the vectors of all pictures.
const MOST_VECTORS: usize = 4_000_000;

/// The page of a lot, from its result, its document, its other files and its pictures.
pub(in super::super) fn lot_page(
    job: &LotJob,
    result: &LotResult,
    document: &Value,
    files: &[ReportFile],
    pictures: &[NamedPicture],
    command: &str,
) -> Result<Vec<u8>, FilesError> {
    let heading = &job.heading();
    let document = Document(document);
    let (pictures, left_out) = fitting(pictures, heading, result);
    let mut warnings = document.texts("/warnings");
    warnings.extend(left_out);
    let has_choice = result.rows().len() <= MOST_DIES && result.all().counts.tested() > 0;
    if result.rows().len() > MOST_DIES {
        warnings.push(format!("This page offers no choice of single dies beyond {MOST_DIES} rows; all are in dies.csv."));
    }
    let mut tables = vec![dies_table(heading, result)];
    tables.extend(listed_tables(&[("corrections.csv", "I/Q corrections")], files)?);
    let page = ReportPage {
        subject: "Lot of dies: yield and its causes",
        title: printable(&heading.title()).into_owned(),
        about: about(heading, result),
        verdict: verdict(result),
        requirements: requirements(heading, result),
        findings: findings(heading, result),
        dies: has_choice.then(|| lot_data(heading, result)),
        pictures,
        tables,
        warnings,
        ..ReportPage::of_files(document, files, command)
    };
    Ok(page.html()?.into_bytes())
}

fn about(heading: &LotHeading<'_>, result: &LotResult) -> Vec<String> {
    let counts = &result.all().counts;
    let mut lines =
        vec![super::super::text_table::capitalised(&format!("{}.", heading.frequencies(result)))];
    let wafers = result.wafers().len();
    lines.push(format!(
        "{} rows on {wafers} {}: {} pass, {} fail; not counted: {} incomplete, {} error, {} in the edge exclusion, {} superseded ({}).",
        counts.rows,
        if wafers == 1 { "wafer" } else { "wafers" },
        counts.pass,
        counts.fail,
        counts.incomplete,
        counts.error,
        counts.edge_excluded,
        counts.superseded,
        heading.retests(),
    ));
    lines
}

fn verdict(result: &LotResult) -> PageVerdict {
    let share = result.all().counts.yield_of_tested();
    let (word, sentence) = match (result.required_yield(), share.share) {
        (_, None) => ("FAIL".to_owned(), "No die could be judged.".to_owned()),
        (Some(required), Some(_)) => (
            result.decision().capitals(),
            format!(
                "Yield {} of {} measured dies; required {}.",
                yield_text(&share),
                share.tested,
                percent(required)
            ),
        ),
        (None, Some(_)) => (
            result.decision().capitals(),
            format!(
                "Yield {}: {} of {} measured dies pass; required are all.",
                yield_text(&share),
                share.passed,
                share.tested
            ),
        ),
    };
    PageVerdict { word, sentence }
}

/// The limits with what misses them, and the worst die.
fn requirements(heading: &LotHeading<'_>, result: &LotResult) -> Option<PageTable> {
    let columns = [
        ("Requirement on every die", false),
        ("Decision", false),
        ("Worst", true),
        ("Where", false),
        ("Margin", true),
        ("Dies that miss it", true),
        ("Missed first", true),
        ("Missed alone", true),
    ];
    let mut table = PageTable::of("requirements", "Requirements", &columns);
    for count in &result.all().limits {
        let limit = count.limit;
        let counted = result.rows().iter().filter_map(|row| Some((row, row.counted_figures()?)));
        let worst =
            counted.min_by(|one, other| one.1.margin(limit).total_cmp(&other.1.margin(limit)));
        let Some((row, figures)) = worst else { continue };
        let unit = limit.quantity().unit();
        let word = if count.failing == 0 { "PASS" } else { "FAIL" };
        let place = match limit.quantity().is_rejection() {
            true => format!(
                "{}, {}",
                die_name(row),
                at(heading, figures.worst_at_hz, figures.worst_at_if_hz)
            ),
            false => die_name(row),
        };
        table.rows.push(vec![
            required(limit),
            word.to_owned(),
            format!("{} {unit}", number(figures.worst(limit.quantity()), unit)),
            place,
            format!("{} {unit}", number(figures.margin(limit), unit)),
            count.failing.to_string(),
            count.failing_first.to_string(),
            count.failing_alone.to_string(),
        ]);
    }
    (!table.rows.is_empty()).then_some(table)
}

fn required(limit: Limit) -> String {
    let quantity = limit.quantity();
    format!(
        "{} {} {} {}",
        quantity.title(),
        quantity.direction().sign(),
        limit.value(),
        quantity.unit()
    )
}

fn die_name(row: &DieRow) -> String {
    let key = &row.key;
    // A line does not end within the position.
    let (lot, wafer) = (printable(&key.lot), printable(&key.wafer));
    format!("{lot} {wafer} ({},\u{a0}{})", key.die_x, key.die_y)
}

fn at(heading: &LotHeading<'_>, hz: f64, if_hz: Option<f64>) -> String {
    let name = if heading.if_hz.is_empty() { "" } else { "LO " };
    let if_part = if_hz.map_or_else(String::new, |hz| format!(", IF {}", frequency(hz)));
    format!("{name}{}{if_part}", frequency(hz))
}

fn findings(heading: &LotHeading<'_>, result: &LotResult) -> Vec<Finding> {
    let parts =
        [failing(heading, result), not_measured(result), raising(heading, result), trends(result)];
    parts.into_iter().flatten().collect()
}

/// Which dies fail, and why.
fn failing(heading: &LotHeading<'_>, result: &LotResult) -> Option<Finding> {
    let limits = result.limits();
    let mut rows: Vec<&DieRow> =
        result.rows().iter().filter(|row| row.counts() && row.status == DieStatus::Fail).collect();
    let mut sentences = Vec::new();
    if let Some(first) = result.all().fails_first() {
        sentences.push(format!(
            "{} fails first on {} of {} failing dies.",
            first.limit.quantity().title(),
            first.failing_first,
            rows.len()
        ));
    }
    if let Some(worst) = worst_rejection(result) {
        let figures = worst.1;
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
        sentences.push("No measured die fails.".to_owned());
        return Some(Finding { heading: "Which dies fail, and why", sentences, table: None });
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
    let mut columns = vec![("Die", false), ("Limits missed, by the largest share first", false)];
    columns.extend(labels.iter().map(|label| (label.as_str(), true)));
    columns.extend([("Worst rejection at", false), ("Outlier", false)]);
    let mut table = PageTable::of("failing", "Dies that fail", &columns);
    for row in rows.iter().take(LISTED) {
        let Some(figures) = row.figures.as_deref() else { continue };
        let missed: Vec<&str> =
            row.missed(limits).iter().map(|limit| limit.quantity().label()).collect();
        let mut cells = vec![die_name(row), missed.join(", ")];
        cells.extend(asked.iter().map(|one| number(figures.worst(*one), one.unit())));
        cells.push(at(heading, figures.worst_at_hz, figures.worst_at_if_hz));
        cells.push(if row.is_outlier { "yes" } else { "" }.to_owned());
        table.rows.push(cells);
    }
    if rows.len() > LISTED {
        table.note = format!("The first {LISTED} of {}.", rows.len());
    }
    Some(Finding { heading: "Which dies fail, and why", sentences, table: Some(table) })
}

fn worst_rejection(result: &LotResult) -> Option<(&DieRow, &crate::wafer::DieFigures)> {
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
    }
    if rows.len() > LISTED {
        table.note = format!("The first {LISTED} of {}.", rows.len());
    }
    let heading = "Which dies were not measured";
    (!rows.is_empty()).then_some(Finding { heading, sentences: Vec::new(), table: Some(table) })
}

/// What would raise the yield.
fn raising(heading: &LotHeading<'_>, result: &LotResult) -> Option<Finding> {
    let columns = [
        ("What if", false),
        ("Yield by rejection alone (%)", true),
        ("95 % interval (%)", false),
        ("Median (dB)", true),
        ("Minimum (dB)", true),
    ];
    let mut table = PageTable::of(
        "what-if",
        "What would raise the yield, judged by the rejection alone",
        &columns,
    );
    let mut best: Option<(f64, String)> = None;
    for asked in result.what_ifs() {
        let label = printable(&heading.what_if(&asked.what_if)).into_owned();
        let Some(share) = &asked.passing else { continue };
        let shown = |share: f64| super::super::text_table::fixed(100.0 * share, 1);
        if let Some(found) = share.share
            && best.as_ref().is_none_or(|(most, _)| found > *most)
        {
            best = Some((found, label.clone()));
        }
        let quantiles = asked.rejection.as_ref();
        let decibels = |value: Option<f64>| value.map_or_else(String::new, |db| number(db, "dB"));
        table.rows.push(vec![
            label,
            share.share.map_or_else(String::new, shown),
            format!("{} to {}", shown(share.interval.0), shown(share.interval.1)),
            decibels(quantiles.map(|own| own.median)),
            decibels(quantiles.map(|own| own.least)),
        ]);
    }
    let (share, label) = best?;
    let sentence =
        format!("The highest yield by rejection alone, {}, is that of: {label}.", percent(share));
    Some(Finding {
        heading: "What would raise the yield",
        sentences: vec![sentence],
        table: Some(table),
    })
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
        sentences: Vec::new(),
        table: Some(table),
    })
}

/// All rows, or those that need attention first.
fn dies_table(heading: &LotHeading<'_>, result: &LotResult) -> PageTable {
    let asked = quantities(heading, result);
    let labels: Vec<String> =
        asked.iter().map(|one| format!("{} ({})", one.title(), one.unit())).collect();
    let mut columns = vec![
        ("Lot", false),
        ("Wafer", false),
        ("x", true),
        ("y", true),
        ("Status", false),
        ("Counted", false),
    ];
    columns.extend(labels.iter().map(|label| (label.as_str(), true)));
    columns.extend([("Worst at (GHz)", true), ("Files", false)]);
    let mut table = PageTable::of("table-dies", "Every die", &columns);
    let mut rows: Vec<&DieRow> = result.rows().iter().collect();
    if rows.len() > ROWS {
        let rank = |row: &&DieRow| {
            let worst = row.figures.as_ref().map(|own| own.worst_rejection_db);
            (row.status == DieStatus::Pass, worst.map_or(f64::NEG_INFINITY, |db| db))
        };
        rows.sort_by(|one, other| {
            let (one, other) = (rank(one), rank(other));
            one.0.cmp(&other.0).then(one.1.total_cmp(&other.1))
        });
        table.note = format!(
            "{ROWS} of {} rows: those that do not pass first, then by rejection; all rows are in dies.csv.",
            rows.len()
        );
        rows.truncate(ROWS);
    }
    table.rows = rows.into_iter().map(|row| die_cells(row, &asked)).collect();
    table
}

fn die_cells(row: &DieRow, asked: &[Quantity]) -> Vec<String> {
    let key = &row.key;
    let figures = row.figures.as_deref();
    let files =
        row.files.iter().flatten().map(|file| printable(&file.display().to_string()).into_owned());
    let mut cells = vec![
        printable(&key.lot).into_owned(),
        printable(&key.wafer).into_owned(),
        key.die_x.to_string(),
        key.die_y.to_string(),
        row.status.name().to_owned(),
        if row.counts() { "yes" } else { "no" }.to_owned(),
    ];
    cells.extend(asked.iter().map(|one| {
        figures.map_or_else(String::new, |figures| number(figures.worst(*one), one.unit()))
    }));
    cells
        .push(figures.map_or_else(String::new, |figures| number(figures.worst_at_hz / 1e9, "GHz")));
    cells.push(files.collect::<Vec<_>>().join(", "));
    cells
}

/// The pictures whose vectors fit into the page, and what is said of the others.
fn fitting(
    pictures: &[NamedPicture],
    heading: &LotHeading<'_>,
    result: &LotResult,
) -> (Vec<PagePicture>, Option<String>) {
    let yield_words = format!("Yield {}.", yield_text(&result.all().counts.yield_of_tested()));
    let worst = worst_rejection(result).map_or_else(String::new, |(row, figures)| {
        format!(
            "Minimum {} {} dB on die {}.",
            heading.rejection().label(),
            number(figures.worst_rejection_db, "dB"),
            die_name(row)
        )
    });
    let mut kept = Vec::new();
    let (mut taken, mut left_out) = (0, Vec::new());
    for picture in pictures {
        let result = match picture.name.as_str() {
            "rejection-curves" | "distribution" => format!("{yield_words} {worst}"),
            _ => yield_words.clone(),
        };
        let size = picture.picture.svg().len();
        if taken + size > MOST_VECTORS {
            left_out.push(printable(&picture.name).into_owned());
            continue;
        }
        taken += size;
        kept.push(PagePicture::of(picture, &result));
    }
    let words = (!left_out.is_empty()).then(|| {
        let first = left_out.iter().take(3).cloned().collect::<Vec<_>>().join(", ");
        let more = if left_out.len() > 3 { ", .." } else { "" };
        format!("To keep this page small, {} pictures are only in the folder of the report: {first}{more}.", left_out.len())
    });
    (kept, words)
}
