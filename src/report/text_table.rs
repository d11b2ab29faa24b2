//! Tables and paragraphs of 80 columns, and the form of numbers and names in them.

use crate::diagnostic::printable;
use comfy_table::{CellAlignment, Table, presets};

/// A table without rules, its columns after the first to the right.
pub(super) fn table(headers: &[&str]) -> Table {
    let mut table = Table::new();
    table.load_preset(presets::NOTHING).set_header(headers);
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    table
}

/// The table's lines without blanks at their ends.
pub(super) fn lines(table: &Table) -> String {
    table.lines().map(|line| line.trim_end().to_owned()).collect::<Vec<_>>().join("\n")
}

/// A paragraph of 80 columns.
pub(super) fn filled(sentence: &str) -> String {
    let mut text = textwrap::fill(sentence, textwrap::Options::new(80).subsequent_indent("  "));
    text.push('\n');
    text
}

/// A number with so many digits, and no sign on zero.
pub(super) fn fixed(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    let is_zero = !text.contains(|c: char| c.is_ascii_digit() && c != '0') && value.is_finite();
    if is_zero { text.trim_start_matches('-').to_owned() } else { text }
}

/// Two decimals, or more where two would show zero.
pub(super) fn telling(value: f64) -> String {
    let is_small = value.abs() < 0.01 && value != 0.0;
    if is_small { format!("{value:.1e}") } else { fixed(value, 2) }
}

/// A rejection in dB with one decimal. Beyond 200 dB in magnitude only rounding remains.
pub(super) fn rejection(value_db: f64) -> String {
    match value_db {
        value if value > 200.0 => "> 200".to_owned(),
        value if value < -200.0 => "< -200".to_owned(),
        value => fixed(value, 1),
    }
}

/// The same with two decimals.
pub(super) fn shown_rejection(value_db: f64) -> String {
    if value_db.abs() > 200.0 { rejection(value_db) } else { fixed(value_db, 2) }
}

/// A name without control characters; one that is longer than so many letters is cut at its end.
pub(super) fn abbreviated(name: &str, longest: usize) -> String {
    let name = printable(name);
    if name.chars().count() <= longest {
        return name.into_owned();
    }
    let kept: String = name.chars().take(longest - 1).collect();
    format!("{kept}…")
}

/// A sentence that begins with a capital.
pub(super) fn capitalised(sentence: &str) -> String {
    let mut letters = sentence.chars();
    let first = letters.next();
    first.into_iter().flat_map(char::to_uppercase).chain(letters).collect()
}
