//! The page of a comparison.

use super::super::files_error::FilesError;
use super::super::publish::ReportFile;
use super::page_picture::{NamedPicture, PagePicture};
use super::page_table::PageTable;
use super::page_value::{Document, frequency, number};
use super::report_page::{Finding, ReportPage, listed_tables, shown_inputs};
use super::requirement_rows::{PageVerdict, REQUIREMENT_COLUMNS};
use crate::batch::InputFile;
use crate::units::{counted, shown_band};
use serde_json::Value;
use std::cmp::Ordering::Equal;

/// The page of a comparison, from its document, its other files and its pictures.
pub(in super::super) fn comparison_page(
    document: &Value,
    files: &[ReportFile],
    pictures: &[NamedPicture],
    inputs: &[InputFile],
    command: &str,
) -> Result<Vec<u8>, FilesError> {
    let document = Document(document);
    let entries = document.list("/entries");
    let worst = entries.max_by(|one, other| {
        let of = |entry: &Document<'_>| entry.number("/max_vector_difference").unwrap_or(f64::NAN);
        of(one).total_cmp(&of(other))
    });
    let sentence = worst.map_or_else(String::new, |entry| {
        format!(
            "Maximum vector difference {}, in {}, at {}.",
            number(entry.number("/max_vector_difference").unwrap_or(f64::NAN), ""),
            name(entry),
            entry.number("/max_vector_difference_at_hz").map_or_else(String::new, frequency),
        )
    });
    let band: Vec<f64> = document.list("/band_hz").filter_map(|end| end.number("")).collect();
    let band = match band.as_slice() {
        &[low, high] => shown_band((low, high)),
        _ => String::new(),
    };
    let points = document.at("/points").as_u64().and_then(|points| usize::try_from(points).ok());
    let points = points.unwrap_or(0);
    let page = ReportPage {
        subject: "Comparison of two networks",
        title: format!("{} minus {}", document.text("/second"), document.text("/first")),
        about: vec![format!("{band}, {}.", counted(points, "point"))],
        verdict: verdict(document, &sentence),
        requirements: requirements(document, worst),
        findings: vec![differing(document)],
        pictures: pictures.iter().map(|picture| PagePicture::of(picture, &sentence)).collect(),
        tables: listed_tables(&[("entries.csv", "Every entry")], files)?,
        inputs: shown_inputs(inputs),
        ..ReportPage::of_files(document, files, command)
    };
    Ok(page.html()?.into_bytes())
}

/// Entries of the table of those that differ most.
const LISTED: usize = 6;

/// The entries that differ most, by their vector differences.
fn differing(document: Document<'_>) -> Finding {
    let difference = |entry: &Document<'_>| entry.number("/max_vector_difference");
    let mut entries: Vec<Document<'_>> =
        document.list("/entries").filter(|entry| difference(entry).is_some()).collect();
    entries.sort_by(|one, other| difference(other).partial_cmp(&difference(one)).unwrap_or(Equal));
    let limit = document.number("/require_vector");
    let mut sentences = Vec::new();
    if let Some(limit) = limit {
        let beyond = entries.iter().filter(|entry| difference(entry) > Some(limit)).count();
        sentences.push(format!(
            "Entries that exceed the allowed vector difference of {limit}: {beyond} of {}.",
            entries.len()
        ));
    }
    let columns = [("Entry", false), ("Maximum vector difference", true), ("At", false)];
    let mut table = PageTable::of("differing", "Entries with the largest differences", &columns);
    for entry in entries.iter().take(LISTED) {
        table.rows.push(vec![
            name(*entry),
            difference(entry).map_or_else(String::new, |value| number(value, "")),
            entry.number("/max_vector_difference_at_hz").map_or_else(String::new, frequency),
        ]);
    }
    let table = (!table.rows.is_empty()).then_some(table);
    Finding { heading: "Where they differ", sentences, table, ..Finding::default() }
}

fn name(entry: Document<'_>) -> String {
    format!("S{},{}", entry.at("/row"), entry.at("/column"))
}

fn verdict(document: Document<'_>, sentence: &str) -> PageVerdict {
    let word = match (document.number("/require_vector"), document.at("/pass").as_bool()) {
        (None, _) => "NO REQUIREMENT",
        (Some(_), Some(true)) => "PASS",
        _ => "FAIL",
    };
    PageVerdict { word: word.to_owned(), sentence: sentence.to_owned() }
}

fn requirements(document: Document<'_>, worst: Option<Document<'_>>) -> Option<PageTable> {
    let limit = document.number("/require_vector")?;
    let found = document.number("/max_vector_difference")?;
    let mut table = PageTable::of("requirements", "Requirements", &REQUIREMENT_COLUMNS);
    let place = worst.map_or_else(String::new, |entry| {
        let at = entry.number("/max_vector_difference_at_hz").map_or_else(String::new, frequency);
        format!("{}, {at}", name(entry))
    });
    table.rows.push(vec![
        format!("Vector difference <= {limit}"),
        verdict(document, "").word,
        number(found, ""),
        place,
        number(limit - found, ""),
    ]);
    Some(table)
}
