//! Verdicts and requirements as the documents of reports hold them.

use super::page_table::PageTable;
use super::page_value::{Document, frequency, number, of_quantity, probability};
use crate::requirement::Quantity;

/// The columns of a table of requirements, and whether each holds numbers.
pub(super) const REQUIREMENT_COLUMNS: [(&str, bool); 5] = [
    ("Requirement", false),
    ("Decision", false),
    ("Worst", true),
    ("Where", false),
    ("Margin", true),
];

/// The verdict of a page.
#[derive(Default)]
pub(super) struct PageVerdict {
    /// `PASS`, `FAIL`, `UNDECIDED`, `INCOMPLETE`, or what stands in place of a verdict.
    pub(super) word: String,
    pub(super) sentence: String,
}

impl PageVerdict {
    /// Its colour.
    pub(super) fn class(&self) -> &'static str {
        match self.word.as_str() {
            "PASS" => "pass",
            "FAIL" => "fail",
            "UNDECIDED" | "INCOMPLETE" => "undecided",
            _ => "none",
        }
    }
}

/// The verdict of a receiver or a splitter.
pub(super) fn verdict(document: Document<'_>) -> PageVerdict {
    let requirements = document.list("/verdict/requirements").count();
    if requirements == 0 {
        let sentence = "No requirement is set, so nothing is decided.".to_owned();
        return PageVerdict { word: "NO REQUIREMENT".to_owned(), sentence };
    }
    let word = decision(Document(document.at("/verdict")));
    let passing =
        document.list("/verdict/requirements").filter(|held| decision(*held) == "PASS").count();
    let mut sentence = match (requirements, passing) {
        (1, 1) => "The requirement passes.".to_owned(),
        (1, _) => "The requirement does not pass.".to_owned(),
        _ => format!("{passing} of {requirements} requirements pass."),
    };
    if let Some(share) = document.number("/uncertainty/probability") {
        sentence.push_str(&format!(
            " Probability that all of them hold, with the stated uncertainties: {}.",
            probability(share)
        ));
    }
    PageVerdict { word, sentence }
}

/// The decision of a verdict or a requirement, in capitals.
pub(super) fn decision(held: Document<'_>) -> String {
    match held.text("/decision").as_str() {
        "" if held.at("/pass").as_bool() == Some(true) => "PASS".to_owned(),
        "" => "FAIL".to_owned(),
        word => word.to_uppercase(),
    }
}

/// The requirements with worst value, place and margin; `None` without any.
pub(super) fn requirement_table(document: Document<'_>) -> Option<PageTable> {
    let requirements: Vec<Document<'_>> = document.list("/verdict/requirements").collect();
    let has_probability = requirements.iter().any(|held| held.number("/probability").is_some());
    let mut columns = REQUIREMENT_COLUMNS.to_vec();
    if has_probability {
        columns.extend([("Probability of conformity", true), ("True values not refuted", false)]);
    }
    let mut table = PageTable::of("requirements", "Requirements", &columns);
    for held in &requirements {
        let Some(quantity) = Quantity::from_name(&held.text("/name")) else { continue };
        let mut row = vec![
            required(*held, quantity),
            decision(*held),
            of_quantity(held.number("/worst"), quantity),
            place(*held),
            of_quantity(held.number("/margin"), quantity),
        ];
        if has_probability {
            row.push(held.number("/probability").map_or_else(String::new, probability));
            row.push(truths(*held, quantity));
        }
        table.rows.push(row);
    }
    (!table.rows.is_empty()).then_some(table)
}

fn required(held: Document<'_>, quantity: Quantity) -> String {
    let limit = held.number("/limit").map_or_else(String::new, |limit| limit.to_string());
    let sideband = match held.text("/sideband").as_str() {
        "" => String::new(),
        own => format!(" ({own} sideband)"),
    };
    format!(
        "{}{sideband} {} {limit} {}",
        quantity.limited_title(),
        quantity.direction().sign(),
        quantity.unit()
    )
}

fn place(held: Document<'_>) -> String {
    let at = |key: &str, name: &str| held.number(key).map(|hz| format!("{name}{}", frequency(hz)));
    let mixer = Some(held.text("/at_mixer")).filter(|name| !name.is_empty());
    let parts = [at("/at_hz", ""), at("/at_lo_hz", "LO "), at("/at_if_hz", "IF "), mixer];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn truths(held: Document<'_>, quantity: Quantity) -> String {
    if held.text("/rule") != "conformity" {
        return String::new();
    }
    let end = |key: &str| held.number(key).map(|value| number(value, quantity.unit()));
    let low = end("/lowest_truth").unwrap_or_else(|| "unbounded".to_owned());
    let high = end("/highest_truth").unwrap_or_else(|| "unbounded".to_owned());
    format!("{low} to {high} {}", quantity.unit())
}
