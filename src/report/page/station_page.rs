//! The page of many files from a probe station.

use super::super::files_error::FilesError;
use super::super::publish::ReportFile;
use super::page_table::PageTable;
use super::page_value::{Document, frequency, number};
use super::report_page::{Finding, ReportPage, listed_tables, shown_inputs};
use super::requirement_rows::{PageVerdict, REQUIREMENT_COLUMNS};
use crate::batch::{InputFile, StationVerdict};
use crate::units::counted;
use serde_json::Value;

/// The page of a probe station's files, from its document and its other files.
pub(in super::super) fn station_page(
    document: &Value,
    decided: StationVerdict,
    title: &str,
    files: &[ReportFile],
    inputs: &[InputFile],
    command: &str,
) -> Result<Vec<u8>, FilesError> {
    let document = Document(document);
    let listed = document.list("/files").count();
    let failed: Vec<Document<'_>> =
        document.list("/files").filter(|file| file.text("/status") == "error").collect();
    let has_limit =
        document.number("/thru_limit").is_some() || document.number("/drift/limit").is_some();
    let word = match decided {
        StationVerdict::Incomplete => "INCOMPLETE",
        StationVerdict::Fail => "FAIL",
        StationVerdict::Pass if has_limit => "PASS",
        StationVerdict::Pass => "NO REQUIREMENT",
    };
    let done = format!("{} of {} done.", listed - failed.len(), counted(listed, "file"));
    let checks = checks(document);
    let decided_checks =
        checks.iter().flat_map(|table| &table.rows).filter(|row| row[1] != NO_LIMIT);
    let decided_checks: Vec<_> = decided_checks.collect();
    let passing = decided_checks.iter().filter(|row| row[1] == "PASS").count();
    let sentence = match decided_checks.len() {
        0 => format!("{done} No limit is set for a check."),
        1 => format!("{done} The check {}.", if passing == 1 { "passes" } else { "fails" }),
        all => format!("{done} {passing} of {all} checks pass."),
    };
    let mut findings = Vec::new();
    if !failed.is_empty() {
        let sentences = failed
            .iter()
            .take(20)
            .map(|file| format!("{}: {}", file.text("/file"), file.text("/message")));
        let mut sentences: Vec<String> = sentences.collect();
        if failed.len() > 20 {
            sentences.push(format!("And {} more in station.csv.", failed.len() - 20));
        }
        findings.push(Finding {
            heading: "Files that could not be processed",
            sentences,
            ..Finding::default()
        });
    }
    findings.extend(conditions(document));
    let page = ReportPage {
        subject: "Probe station: fixtures removed from many files",
        title: title.to_owned(),
        verdict: PageVerdict { word: word.to_owned(), sentence },
        requirements: checks,
        findings,
        tables: listed_tables(&[("station.csv", "Every file")], files)?,
        inputs: shown_inputs(inputs),
        ..ReportPage::of_files(document, files, command)
    };
    Ok(page.html()?.into_bytes())
}

/// The decision on a check without a limit.
const NO_LIMIT: &str = "no limit";

fn word(held: Document<'_>) -> &'static str {
    match held.at("/pass").as_bool() {
        Some(true) => "PASS",
        Some(false) => "FAIL",
        None => NO_LIMIT,
    }
}

/// The checks of thrus and drift; `None` without any.
fn checks(document: Document<'_>) -> Option<PageTable> {
    let mut table = PageTable::of("requirements", "Checks", &REQUIREMENT_COLUMNS);
    let mut row = |name: String,
                   held: Document<'_>,
                   found: Option<f64>,
                   limit: Option<f64>,
                   place: String| {
        let shown = |value: Option<f64>| value.map_or_else(String::new, |value| number(value, ""));
        let margin = limit.zip(found).map(|(limit, found)| limit - found);
        let limit = limit.map_or_else(String::new, |limit| format!(" <= {limit}"));
        table.rows.push(vec![
            format!("{name}{limit}"),
            word(held).to_owned(),
            shown(found),
            place,
            shown(margin),
        ]);
    };
    for thru in document.list("/thrus") {
        let place = thru.text("/file");
        row(
            "Residual of a thru".to_owned(),
            thru,
            thru.number("/residual"),
            document.number("/thru_limit"),
            place,
        );
    }
    let drift = Document(document.at("/drift"));
    if let Some(found) = drift.number("/max_vector_difference") {
        let place =
            drift.number("/max_vector_difference_at_hz").map_or_else(String::new, frequency);
        row(
            "Drift (vector difference)".to_owned(),
            drift,
            Some(found),
            drift.number("/limit"),
            place,
        );
    }
    (!table.rows.is_empty()).then_some(table)
}

/// The file with the maximum condition number, which magnifies errors most.
fn conditions(document: Document<'_>) -> Option<Finding> {
    let worst = document
        .list("/files")
        .filter_map(|file| Some((file, file.number("/condition")?)))
        .max_by(|one, other| one.1.total_cmp(&other.1))?;
    let sentence = format!(
        "Maximum condition number of the removal {} at {}, in {}: errors of the fixture are magnified by at most this factor.",
        number(worst.1, "dB"),
        worst.0.number("/condition_at_hz").map_or_else(String::new, frequency),
        worst.0.text("/file"),
    );
    Some(Finding { heading: "What limits", sentences: vec![sentence], ..Finding::default() })
}
