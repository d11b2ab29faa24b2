//! Kinds of components, and the dimensions that one has: text, JSON and CSV.

use super::csv_table::CsvTable;
use super::text_table::{lines, table};
use crate::component::{ComponentKind, Parameter};
use std::fmt::Write as _;

/// The kinds of components with their ports and parameters.
#[must_use]
pub fn component_kinds_text(kinds: &[ComponentKind]) -> String {
    let mut text =
        String::from("Kinds, their ports in order, and their parameters ([..]: optional)\n");
    let indented = |line: &str| {
        let options = textwrap::Options::new(80).initial_indent("    ").subsequent_indent("      ");
        textwrap::fill(line, options)
    };
    for kind in kinds {
        let _ = writeln!(text, "\n{}\n{}", kind.name(), indented(kind.summary()));
        let _ = writeln!(text, "    ports: {}", kind.ports().join(" "));
        let parameters = usage(kind.parameters());
        if !parameters.is_empty() {
            let _ = writeln!(text, "{}", indented(&parameters));
        }
    }
    text
}

/// Required parameters, then the optional ones in brackets.
fn usage(parameters: &[Parameter]) -> String {
    let (required, optional): (Vec<&Parameter>, Vec<&Parameter>) =
        parameters.iter().partition(|parameter| parameter.is_required());
    let joined = |list: &[&Parameter]| {
        list.iter().map(|parameter| parameter.usage()).collect::<Vec<String>>().join(" ")
    };
    match (required.as_slice(), optional.as_slice()) {
        (required, []) => joined(required),
        ([], optional) => format!("[{}]", joined(optional)),
        (required, optional) => format!("{} [{}]", joined(required), joined(optional)),
    }
}

/// Names and values, aligned.
#[must_use]
pub fn component_values_text(pairs: &[(String, f64)]) -> String {
    if pairs.is_empty() {
        return String::new();
    }
    let mut table = table(&["dimension", "value"]);
    for (name, value) in pairs {
        table.add_row([name.clone(), format!("{value:.4}")]);
    }
    lines(&table) + "\n"
}

/// Names and values as one object.
#[must_use]
pub fn component_values_json(
    pairs: &[(String, f64)],
) -> serde_json::Map<String, serde_json::Value> {
    pairs.iter().map(|(name, value)| (name.clone(), serde_json::json!(value))).collect()
}

/// Names and values, one row each.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn component_values_csv(pairs: &[(String, f64)]) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row(["name", "value"])?;
    for (name, value) in pairs {
        table.row([name.clone(), value.to_string()])?;
    }
    table.finish()
}
