//! CSV tables: one header row, names that end in their units, `inf` for an unbounded value, an empty
//! field where there is no value. Every cell is inert: nothing from a file is a formula to a spreadsheet
//! or an escape to a terminal.

use crate::diagnostic::printable;
use std::borrow::Cow;
use std::io::{self, Write};

/// A CSV table in memory, or in a file.
pub(super) struct CsvTable<W: Write = Vec<u8>> {
    writer: csv::Writer<W>,
}

impl<W: Write> CsvTable<W> {
    /// A table that is written to `to`.
    pub(super) fn to(to: W) -> Self {
        Self { writer: csv::Writer::from_writer(to) }
    }

    /// Writes what is left.
    pub(super) fn end(mut self) -> io::Result<()> {
        self.writer.flush()
    }

    pub(super) fn row<S: AsRef<str>>(
        &mut self,
        fields: impl IntoIterator<Item = S>,
    ) -> Result<(), csv::Error> {
        for field in fields {
            let field = field.as_ref();
            // A number with a sign stays a number.
            let is_number = || field.parse::<f64>().is_ok();
            if field.bytes().all(is_plain) && (!looks_like_formula(field) || is_number()) {
                self.writer.write_field(field)?;
            } else {
                self.writer.write_field(inert(field).as_ref())?;
            }
        }
        self.writer.write_record(None::<&[u8]>)
    }
}

impl CsvTable {
    pub(super) fn new() -> Self {
        Self::to(Vec::new())
    }

    pub(super) fn finish(self) -> Result<String, csv::Error> {
        let bytes =
            self.writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
        // Made of text alone; a table of millions of rows is not copied.
        let text = String::from_utf8(bytes);
        Ok(text.unwrap_or_else(|error| String::from_utf8_lossy(error.as_bytes()).into_owned()))
    }
}

/// The shortest text that reads back to the same number; empty for none.
pub(super) fn optional(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// A text from outside that is never a number, such as a name: see [`inert`].
pub(super) fn harmless(text: &str) -> String {
    inert(text).into_owned()
}

/// A text that spreadsheets do not take for a formula, and without control characters: one that begins
/// like a formula gets an apostrophe.
fn inert(text: &str) -> Cow<'_, str> {
    let shown = printable(text);
    if looks_like_formula(text) { Cow::Owned(format!("'{shown}")) } else { shown }
}

/// Blanks before it do not count, and some spreadsheets take the wide characters too.
fn looks_like_formula(text: &str) -> bool {
    text.starts_with(['\t', '\r'])
        || text.trim_start().starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠'])
}

/// Printable characters of one byte, which most fields are made of.
fn is_plain(byte: u8) -> bool {
    (b' '..=b'~').contains(&byte)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_inert_and_numbers_stay_numbers() {
        let cell = |text: &str| {
            let mut table = CsvTable::new();
            table.row([text, "x"]).unwrap();
            table.finish().unwrap()
        };
        for number in ["-3.5e-12", "-inf", "+2", "31", ""] {
            assert_eq!(cell(number), format!("{number},x\n"));
        }
        for (text, shown) in [
            ("=1+1", "'=1+1,x\n"),
            ("-2+3", "'-2+3,x\n"),
            (" @SUM(A1)", "' @SUM(A1),x\n"),
            ("＝1", "'＝1,x\n"),
            ("\t=1", "'\\u{9}=1,x\n"),
            ("a\u{1b}[31mb", "a\\u{1b}[31mb,x\n"),
            ("Ω, a", "\"Ω, a\",x\n"),
        ] {
            assert_eq!(cell(text), shown);
        }
    }
}
