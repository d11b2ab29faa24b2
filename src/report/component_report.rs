//! Kinds of components, and the dimensions that one has: text, JSON and CSV.

use super::csv_table::CsvTable;
use super::text_table::{lines, table};
use std::fmt::Write as _;

/// Kinds of components, their ports and parameters.
#[must_use]
pub fn component_kinds_text(list: &[(&str, &str, &str)]) -> String {
    let mut text =
        String::from("Kinds, their ports in order, and their parameters ([..]: optional)\n");
    for (kind, ports, parameters) in list {
        let options = textwrap::Options::new(80).initial_indent("    ").subsequent_indent("      ");
        let _ = writeln!(text, "\n{kind}\n    ports: {ports}");
        if !parameters.is_empty() {
            let _ = writeln!(text, "{}", textwrap::fill(parameters, options));
        }
    }
    text
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
