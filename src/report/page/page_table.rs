//! Tables of a page.

use super::page_value::{heading, number};
use crate::diagnostic::printable;
use crate::units::counted;
use std::collections::BTreeSet;

/// A table of a page; its cells are texts.
pub(super) struct PageTable {
    /// Distinguishes it in the page.
    pub(super) id: String,
    pub(super) caption: String,
    /// What it leaves out; empty if nothing.
    pub(super) note: String,
    pub(super) columns: Vec<PageColumn>,
    pub(super) rows: Vec<Vec<String>>,
    /// The column that names dies.
    pub(super) die_column: usize,
    /// The die of each row, as [`die_key`](super::lot_data::die_key) has it; empty if rows are no dies.
    pub(super) dies: Vec<String>,
}

pub(super) struct PageColumn {
    pub(super) label: String,
    pub(super) is_number: bool,
}

/// Rows of a table in a page; its file has them all.
const MOST_ROWS: usize = 500;

impl PageTable {
    /// A table whose columns after the first hold numbers where `numbers` says so.
    pub(super) fn of(id: &str, caption: &str, columns: &[(&str, bool)]) -> Self {
        let columns = columns
            .iter()
            .map(|&(label, is_number)| PageColumn { label: label.to_owned(), is_number })
            .collect();
        Self {
            id: id.to_owned(),
            caption: caption.to_owned(),
            note: String::new(),
            columns,
            rows: Vec::new(),
            die_column: 0,
            dies: Vec::new(),
        }
    }

    /// Its number of rows, in words.
    pub(super) fn size(&self) -> String {
        counted(self.rows.len(), "row")
    }

    /// The die that a cell names; `None` if it names none.
    pub(super) fn die_of(&self, row: &usize, column: &usize) -> Option<&str> {
        self.dies.get(*row).filter(|_| *column == self.die_column).map(String::as_str)
    }

    /// Whether scripts offer to filter it.
    pub(super) fn is_long(&self) -> bool {
        self.rows.len() > 20
    }

    /// A table from a CSV file of the report. Of a long one some rows, evenly chosen, and in every
    /// column those with the minimum and the maximum.
    pub(super) fn of_csv(caption: &str, file: &str, text: &[u8]) -> Result<Self, csv::Error> {
        let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(text);
        let names: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
        let records: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>()?;
        let values: Vec<Option<Vec<Option<f64>>>> =
            (0..names.len()).map(|column| numbers(&records, column)).collect();
        let kept = chosen(records.len(), &values);
        let headings: Vec<(String, &str, f64)> = names.iter().map(|name| heading(name)).collect();
        let columns = headings.iter().zip(&values).map(|((label, unit, _), values)| PageColumn {
            label: if unit.is_empty() { label.clone() } else { format!("{label} ({unit})") },
            is_number: values.is_some(),
        });
        let cell = |row: usize, column: usize| match &values[column] {
            Some(values) => values[row].map_or_else(String::new, |value| {
                number(value * headings[column].2, headings[column].1)
            }),
            None => printable(records[row].get(column).unwrap_or_default()).into_owned(),
        };
        let rows: Vec<Vec<String>> = kept
            .iter()
            .map(|&row| (0..names.len()).map(|column| cell(row, column)).collect())
            .collect();
        let note = if rows.len() < records.len() {
            format!(
                "{} of {} rows: evenly chosen, with the minimum and maximum of every column; all rows are in {file}.",
                rows.len(),
                records.len()
            )
        } else {
            String::new()
        };
        let id = format!("table-{}", file.trim_end_matches(".csv").replace('_', "-"));
        let (caption, columns) = (caption.to_owned(), columns.collect());
        Ok(Self { id, caption, note, columns, rows, die_column: 0, dies: Vec::new() })
    }
}

/// The numbers of a column; `None` if it holds other texts, or nothing.
fn numbers(records: &[csv::StringRecord], column: usize) -> Option<Vec<Option<f64>>> {
    let cell = |record: &csv::StringRecord| match record.get(column).unwrap_or_default() {
        "" => Some(None),
        text => text.parse().ok().map(Some),
    };
    let values: Vec<Option<f64>> = records.iter().map(cell).collect::<Option<_>>()?;
    values.iter().any(Option::is_some).then_some(values)
}

/// The rows that a page shows, ascending.
fn chosen(rows: usize, columns: &[Option<Vec<Option<f64>>>]) -> Vec<usize> {
    let mut kept: BTreeSet<usize> = (0..rows).step_by(rows.div_ceil(MOST_ROWS).max(1)).collect();
    for values in columns.iter().flatten() {
        let known = || values.iter().enumerate().filter_map(|(row, value)| Some((row, (*value)?)));
        let least = known().min_by(|one, other| one.1.total_cmp(&other.1));
        let most = known().max_by(|one, other| one.1.total_cmp(&other.1));
        kept.extend(least.into_iter().chain(most).map(|(row, _)| row));
    }
    kept.into_iter().collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn long_tables_keep_their_extremes() {
        let mut text = "lo_hz,image_rejection_db,name\n".to_owned();
        for row in 0..5000 {
            let rejection = if row == 1234 { 3.0 } else { 30.0 };
            text.push_str(&format!("{},{rejection},<b>\n", 27_000_000_000_u64 + row));
        }
        let table = PageTable::of_csv("Points", "points.csv", text.as_bytes()).unwrap();
        assert!(table.rows.len() <= MOST_ROWS + 4 && table.note.contains("points.csv"));
        assert!(table.rows.iter().any(|row| row[1] == "3.000"));
        assert_eq!(table.columns[0].label, "LO (GHz)");
        assert!(table.columns[1].is_number && !table.columns[2].is_number);
    }
}
