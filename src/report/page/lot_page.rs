//! The page of a lot of dies.

use super::super::files_error::FilesError;
use super::super::publish::ReportFile;
use super::super::wafer_groups_report::{percent, yield_text};
use super::lot_data::{MOST_DIES, die_key, lot_data, quantities};
use super::lot_findings::{at, die_name, findings, missed, required, worst_rejection};
use super::page_picture::{NamedPicture, PagePicture};
use super::page_table::PageTable;
use super::page_value::{Document, number};
use super::report_page::{ReportPage, listed_tables};
use super::requirement_rows::PageVerdict;
use crate::batch::LotJob;
use crate::diagnostic::printable;
use crate::requirement::{Limits, Quantity};
use crate::units::counted;
use crate::wafer::{DieRow, DieStatus, LotHeading, LotResult};
use serde_json::Value;

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
    lines.push(format!(
        "{} on {}: {} pass, {} fail; not counted: {} with a file missing, {} with an error, {} in the edge exclusion, {} superseded ({}).",
        counted(result.rows().len(), "row"),
        counted(result.wafers().len(), "wafer"),
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
    let measured = match share.tested {
        1 => "1 measured die".to_owned(),
        dies => format!("{dies} measured dies"),
    };
    let (word, sentence) = match (result.required_yield(), share.share) {
        (_, None) => ("FAIL".to_owned(), "No die could be judged.".to_owned()),
        (Some(required), Some(_)) => (
            result.decision().capitals(),
            format!(
                "Yield {} of {}; required {}.",
                yield_text(&share),
                measured,
                percent(required)
            ),
        ),
        (None, Some(_)) => (
            result.decision().capitals(),
            format!(
                "Yield {}: {} of {measured} pass; required: all.",
                yield_text(&share),
                share.passed,
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
        ("Dies failing", true),
        ("Failing first", true),
        ("Failing alone", true),
    ];
    let mut table = PageTable::of("requirements", "Requirements", &columns);
    table.die_column = 3;
    table.note =
        "First: missed by the largest share of the limit. Alone: no other limit is missed."
            .to_owned();
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
        table.dies.push(die_key(row));
    }
    (!table.rows.is_empty()).then_some(table)
}

/// All rows, or those that need attention first.
fn dies_table(heading: &LotHeading<'_>, result: &LotResult) -> PageTable {
    let asked = quantities(heading, result);
    let labels: Vec<String> =
        asked.iter().map(|one| format!("{} ({})", one.title(), one.unit())).collect();
    let mut columns =
        vec![("Die", false), ("Status", false), ("Limits missed", false), ("Counted", false)];
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
    table.dies = rows.iter().map(|row| die_key(row)).collect();
    table.rows = rows.into_iter().map(|row| die_cells(row, &asked, result.limits())).collect();
    table
}

fn die_cells(row: &DieRow, asked: &[Quantity], limits: &Limits) -> Vec<String> {
    let figures = row.figures.as_deref();
    let files =
        row.files.iter().flatten().map(|file| printable(&file.display().to_string()).into_owned());
    let mut cells = vec![
        die_name(row),
        row.status.name().to_owned(),
        missed(row, limits),
        match row.not_counted() {
            None => "yes".to_owned(),
            Some(reason) => format!("no: {}", reason.words()),
        },
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
    let yield_words = format!("yield {}.", yield_text(&result.all().counts.yield_of_tested()));
    let (worst, worst_die) =
        worst_rejection(result).map_or_else(Default::default, |(row, figures)| {
            let words = format!(
                "Minimum {} {} dB at {}, die {}.",
                heading.rejection().label(),
                number(figures.worst_rejection_db, "dB"),
                at(heading, figures.worst_at_hz, figures.worst_at_if_hz),
                die_name(row)
            );
            (words, die_key(row))
        });
    let mut kept = Vec::new();
    let (mut taken, mut left_out) = (0, Vec::new());
    for picture in pictures {
        let shows_worst = ["rejection-curves", "distribution"].contains(&picture.name.as_str());
        let result = match picture.name.as_str() {
            _ if shows_worst => worst.clone(),
            "yield" => format!("By all limits: {yield_words}"),
            _ => String::new(),
        };
        let size = picture.picture.svg().len();
        if taken + size > MOST_VECTORS {
            left_out.push(printable(&picture.name).into_owned());
            continue;
        }
        taken += size;
        let mut page_picture = PagePicture::of(picture, &result);
        if shows_worst {
            page_picture.die.clone_from(&worst_die);
        }
        kept.push(page_picture);
    }
    let words = (!left_out.is_empty()).then(|| {
        let first = left_out.iter().take(3).cloned().collect::<Vec<_>>().join(", ");
        let more = if left_out.len() > 3 { ", .." } else { "" };
        let pictures = counted(left_out.len(), "picture");
        let are = if left_out.len() == 1 { "is" } else { "are" };
        format!("To keep this page small, {pictures} {are} only in the folder of the report: {first}{more}.")
    });
    (kept, words)
}
