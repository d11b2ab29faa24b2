//! A CSV file with positions: every error about a field shows its line.
//!
//! Rows are read one after the other, so that the memory does not depend on the length of the
//! table. Numbers are finite; blanks around a field are ignored. Empty columns without a name on
//! the right and rows of empty fields, as spreadsheets write them, are ignored. For an error its
//! line is read again from the file.

use super::allowed::Allowed;
use super::error::{DescriptionError, DescriptionProblem};
use super::record_bound::{BoundedRecords, LongRecord};
use crate::diagnostic::Excerpt;
use crate::regular_file;
use crate::units::check_ghz;
use std::collections::HashSet;
use std::fs::File;
use std::io::{BufRead as _, BufReader, Read as _, Seek as _, SeekFrom};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Maximum length of a table, MiB; a list of ten million dies fits.
const LONGEST_MIB: u64 = 4096;

/// Bytes of a row; the reader keeps one whole.
const LONGEST_ROW: u64 = 1 << 20;

/// Whether lines that start with `#` are comments.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Comments {
    /// Comments are skipped.
    Skipped,
    /// A line that starts with `#` is a row.
    None,
}

/// The index of a column that exists.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Column(usize);

/// The place of a record in its file, for displaying its line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct RowPlace {
    byte: u64,
    /// The line, from 1.
    pub(crate) line: u64,
}

/// The file and the header of a table, for its errors.
#[derive(Clone, Debug)]
pub(crate) struct TableHeader {
    path: PathBuf,
    names: Vec<String>,
    comments: Comments,
}

/// A CSV file, read row by row; after an error there are no further rows.
#[derive(Debug)]
pub(super) struct CsvFile {
    header: TableHeader,
    reader: csv::Reader<BoundedRecords<File>>,
    has_failed: bool,
}

/// One row: its fields in the order of the header.
#[derive(Clone, Debug)]
pub(super) struct CsvRow {
    place: RowPlace,
    record: csv::StringRecord,
}

impl CsvFile {
    /// Opens a table and checks that its column names differ.
    ///
    /// # Errors
    /// [`DescriptionError`] if the file cannot be read or its header is wrong.
    pub(super) fn open(path: &Path, comments: Comments) -> Result<Self, DescriptionError> {
        let failed = |problem| DescriptionError::about_file(path, problem);
        let file =
            regular_file::open(path).map_err(|error| failed(DescriptionProblem::Io(error)))?;
        let length = file.metadata().map_err(|error| failed(DescriptionProblem::Io(error)))?.len();
        if length > LONGEST_MIB << 20 {
            return Err(failed(DescriptionProblem::TooLong { limit_mib: LONGEST_MIB }));
        }
        // Lines end in
        //  for a correct count; a \r before it is trimmed like any blank.
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .terminator(csv::Terminator::Any(b'\n'))
            .flexible(true)
            .comment((comments == Comments::Skipped).then_some(b'#'))
            .from_reader(BoundedRecords::new(file, LONGEST_ROW, comments == Comments::Skipped));
        let mut header = TableHeader { path: path.to_owned(), names: Vec::new(), comments };
        let names = reader.headers().map_err(|error| header.csv_error(&error))?;
        header.names = names.iter().map(str::to_owned).collect();
        if let Some(found) = [';', '\t'].into_iter().find(|other| names_contain(&header, *other)) {
            let problem = DescriptionProblem::Separator { found };
            return Err(header.error_at(problem, RowPlace::HEADER, 0));
        }
        while header.names.len() > 1 && header.names.last().is_some_and(String::is_empty) {
            header.names.pop();
        }
        let mut known = HashSet::new();
        for (at, name) in header.names.iter().enumerate() {
            if !known.insert(name) {
                let problem = DescriptionProblem::DuplicateColumn { name: name.clone() };
                return Err(header.error_at(problem, RowPlace::HEADER, at));
            }
        }
        Ok(Self { header, reader, has_failed: false })
    }

    pub(super) fn header(&self) -> &TableHeader {
        &self.header
    }
}

impl Iterator for CsvFile {
    type Item = Result<CsvRow, DescriptionError>;

    /// The next row; after an error there is none.
    fn next(&mut self) -> Option<Self::Item> {
        if self.has_failed {
            return None;
        }
        let item = loop {
            let mut record = csv::StringRecord::new();
            match self.reader.read_record(&mut record) {
                Ok(false) => return None,
                Ok(true) if record.iter().all(str::is_empty) && record.len() > 1 => {}
                Ok(true) => break self.header.row(record),
                Err(error) => break Err(self.header.csv_error(&error)),
            }
        };
        self.has_failed = item.is_err();
        Some(item)
    }
}

impl RowPlace {
    /// The header.
    pub(crate) const HEADER: Self = Self { byte: 0, line: 1 };

    fn of(position: &csv::Position) -> Self {
        Self { byte: position.byte(), line: position.line() }
    }
}

impl CsvRow {
    pub(super) fn place(&self) -> RowPlace {
        self.place
    }

    /// The text of a field, without blanks around it.
    pub(super) fn text(&self, column: Column) -> &str {
        // Rows with another number of fields than the header are refused when they are read.
        self.record.get(column.0).expect("a row has a field for each column of its header")
    }
}

impl TableHeader {
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// A record as a row of this table: a field for each column; further fields must be empty.
    fn row(&self, record: csv::StringRecord) -> Result<CsvRow, DescriptionError> {
        let place = record.position().map_or(RowPlace::HEADER, RowPlace::of);
        let expected = self.names.len();
        let further = record.iter().skip(expected).position(|field| !field.is_empty());
        if record.len() >= expected && further.is_none() {
            return Ok(CsvRow { place, record });
        }
        let problem = DescriptionProblem::Fields { expected, found: record.len() };
        Err(self.error_at(problem, place, further.map_or(0, |at| expected + at)))
    }

    /// Refuses a table with a column that is not one of `known`.
    pub(super) fn only(&self, known: &[&str]) -> Result<(), DescriptionError> {
        match self.names.iter().position(|name| !known.contains(&name.as_str())) {
            None => Ok(()),
            Some(at) => {
                let known = known.iter().map(|name| (*name).to_owned()).collect();
                let problem =
                    DescriptionProblem::UnknownColumn { found: self.names[at].clone(), known };
                Err(self.error_at(problem, RowPlace::HEADER, at))
            }
        }
    }

    /// An optional column.
    pub(super) fn optional(&self, name: &str) -> Option<Column> {
        self.names.iter().position(|own| own == name).map(Column)
    }

    /// A required column.
    pub(super) fn required(&self, name: &str) -> Result<Column, DescriptionError> {
        self.optional(name).ok_or_else(|| {
            let (name, found) = (name.to_owned(), self.names.clone());
            self.error_at(DescriptionProblem::NoColumn { name, found }, RowPlace::HEADER, 0)
        })
    }

    /// The columns that are not in `others`, in order.
    pub(super) fn remaining(&self, others: &[Column]) -> Vec<Column> {
        (0..self.names.len()).map(Column).filter(|column| !others.contains(column)).collect()
    }

    pub(super) fn name(&self, column: Column) -> &str {
        &self.names[column.0]
    }

    /// The text of a field that must not be empty.
    pub(super) fn filled<'r>(
        &self,
        row: &'r CsvRow,
        column: Column,
    ) -> Result<&'r str, DescriptionError> {
        self.filled_text(row.text(column), row.place, column)
    }

    fn filled_text<'r>(
        &self,
        text: &'r str,
        place: RowPlace,
        column: Column,
    ) -> Result<&'r str, DescriptionError> {
        match text {
            "" => {
                let column_name = self.name(column).to_owned();
                let problem = DescriptionProblem::EmptyField { column: column_name };
                Err(self.error(problem, place, column))
            }
            text => Ok(text),
        }
    }

    /// The number in the text of a field, checked against its allowed values.
    fn number_of(
        &self,
        text: &str,
        place: RowPlace,
        column: Column,
        allowed: Allowed,
    ) -> Result<f64, DescriptionError> {
        let text = self.filled_text(text, place, column)?;
        let Some(found) = text.parse::<f64>().ok().filter(|number| number.is_finite()) else {
            let problem = DescriptionProblem::NotANumber { found: text.to_owned() };
            return Err(self.error(problem, place, column));
        };
        let key = self.name(column);
        if key.ends_with("_ghz") {
            check_ghz(key, found)
                .map_err(|error| self.complaint(error.to_string(), place, column))?;
        }
        if allowed.contains(found) {
            return Ok(found);
        }
        let key = key.to_owned();
        let problem = DescriptionProblem::Number { key, allowed, found };
        Err(self.error(problem, place, column))
    }

    /// An error about a field.
    pub(super) fn error(
        &self,
        problem: impl Into<DescriptionProblem>,
        place: RowPlace,
        column: Column,
    ) -> DescriptionError {
        self.error_at(problem, place, column.0)
    }

    /// An error with a text about a field.
    pub(super) fn complaint(
        &self,
        what: impl Into<String>,
        place: RowPlace,
        column: Column,
    ) -> DescriptionError {
        self.error(DescriptionProblem::Value { what: what.into() }, place, column)
    }

    fn error_at(
        &self,
        problem: impl Into<DescriptionProblem>,
        place: RowPlace,
        column: usize,
    ) -> DescriptionError {
        let excerpt = self.excerpt(place, column);
        DescriptionError::about_place(&self.path, problem, excerpt)
    }

    fn csv_error(&self, error: &csv::Error) -> DescriptionError {
        let (problem, place) = match error.kind() {
            csv::ErrorKind::Utf8 { pos, .. } => (DescriptionProblem::NotText, pos.as_ref()),
            csv::ErrorKind::Io(error) => {
                let source = error.get_ref().and_then(|source| source.downcast_ref());
                if let Some(LongRecord { byte, line, most }) = source {
                    let place = RowPlace { byte: *byte, line: *line };
                    return self.error_at(DescriptionProblem::LongRow { most: *most }, place, 0);
                }
                let copy = std::io::Error::new(error.kind(), error.to_string());
                return DescriptionError::about_file(&self.path, DescriptionProblem::Io(copy));
            }
            _ => (DescriptionProblem::Value { what: error.to_string() }, error.position()),
        };
        self.error_at(problem, place.map_or(RowPlace::HEADER, RowPlace::of), 0)
    }

    /// The line of a record, read again, with one field marked; an empty line if it cannot be read
    /// again.
    fn excerpt(&self, place: RowPlace, column: usize) -> Excerpt {
        // If the file no longer exists, the number of the line is still known.
        let (line, text) = self.line(place).unwrap_or((place.line, Vec::new()));
        // A line number beyond the range of the type is shown as its maximum.
        let line_number = usize::try_from(line).unwrap_or(usize::MAX);
        Excerpt::of_line(line_number, &text, field_range(&text, column))
    }

    /// The number and the text of the first line of a record.
    fn line(&self, place: RowPlace) -> std::io::Result<(u64, Vec<u8>)> {
        /// Maximum number of bytes of a line for display.
        const LONGEST_LINE: u64 = 1 << 16;
        let mut file = regular_file::open(&self.path)?;
        file.seek(SeekFrom::Start(place.byte))?;
        let mut reader = BufReader::new(file);
        let mut text = Vec::new();
        // The place of a record is the end of the record before: comments and empty lines may
        // follow it.
        for line in place.line.. {
            text.clear();
            if reader.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut text)? == 0 {
                return Ok((place.line, Vec::new()));
            }
            let end = text.iter().rposition(|byte| !matches!(byte, b'\n' | b'\r'));
            text.truncate(end.map_or(0, |end| end + 1));
            let is_comment = self.comments == Comments::Skipped && text.starts_with(b"#");
            if !text.is_empty() && !is_comment {
                return Ok((line, text));
            }
        }
        Ok((place.line, Vec::new()))
    }
}

/// Whether the names of columns contain a separator that other formats use.
fn names_contain(header: &TableHeader, other: char) -> bool {
    header.names.iter().any(|name| name.contains(other))
}

/// The bytes of a field in a line of CSV, without blanks around it.
fn field_range(line: &[u8], column: usize) -> Range<usize> {
    let (mut at, mut start, mut is_quoted) = (0, 0, false);
    for (index, &byte) in line.iter().enumerate() {
        match byte {
            b'"' => is_quoted = !is_quoted,
            b',' if !is_quoted && at == column => return trimmed(line, start..index),
            b',' if !is_quoted => {
                at += 1;
                start = index + 1;
            }
            _ => {}
        }
    }
    if at == column { trimmed(line, start..line.len()) } else { 0..line.len() }
}

fn trimmed(line: &[u8], field: Range<usize>) -> Range<usize> {
    let is_blank = |at: &usize| line[*at].is_ascii_whitespace();
    // A field of blanks is marked at its start.
    let start = field.clone().find(|at| !is_blank(at)).unwrap_or(field.start);
    let end = field.clone().rev().find(|at| !is_blank(at)).map_or(start, |at| at + 1);
    start..end.max(start)
}

/// A table of numbers, read whole.
#[derive(Clone, Debug)]
pub(super) struct NumberTable {
    pub(super) header: TableHeader,
    /// The texts of all fields, one after the other: a record of its own takes 200 bytes a row.
    text: String,
    /// The end of each field of the columns.
    ends: Vec<usize>,
    /// Of each row, at least one.
    places: Vec<RowPlace>,
}

impl NumberTable {
    /// Reads a table whose columns are all in `known`; lines that start with `#` are comments.
    ///
    /// # Errors
    /// [`DescriptionError`] at the first column or row that is wrong, or for a table without rows.
    pub(super) fn read(path: &Path, known: &[&str]) -> Result<Self, DescriptionError> {
        let file = CsvFile::open(path, Comments::Skipped)?;
        let header = file.header().clone();
        header.only(known)?;
        let columns = header.names.len();
        let mut table = Self { header, text: String::new(), ends: Vec::new(), places: Vec::new() };
        for row in file {
            let row = row?;
            table.places.push(row.place);
            for column in (0..columns).map(Column) {
                table.text.push_str(row.text(column));
                table.ends.push(table.text.len());
            }
        }
        if table.places.is_empty() {
            return Err(DescriptionError::about_file(path, DescriptionProblem::NoRows));
        }
        Ok(table)
    }

    /// The place of each row, in order.
    pub(super) fn places(&self) -> &[RowPlace] {
        &self.places
    }

    /// The number in a field of a row, by its index.
    ///
    /// # Errors
    /// [`DescriptionError`] at the field.
    pub(super) fn number(
        &self,
        row: usize,
        column: Column,
        allowed: Allowed,
    ) -> Result<f64, DescriptionError> {
        let field = row * self.header.names.len() + column.0;
        let start = field.checked_sub(1).map_or(0, |before| self.ends[before]);
        let text = &self.text[start..self.ends[field]];
        self.header.number_of(text, self.places[row], column, allowed)
    }

    /// All numbers of a column.
    pub(super) fn column(
        &self,
        column: Column,
        allowed: Allowed,
    ) -> Result<Vec<f64>, DescriptionError> {
        (0..self.places.len()).map(|row| self.number(row, column, allowed)).collect()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn numbers(text: &str) -> Result<Vec<Vec<f64>>, DescriptionError> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("table.csv");
        std::fs::write(&path, text).unwrap();
        let table = NumberTable::read(&path, &["a", "b"])?;
        let columns = ["a", "b"].map(|name| table.header.required(name));
        columns.into_iter().map(|column| table.column(column?, Allowed::Finite)).collect()
    }

    #[test]
    fn empty_columns_and_rows_of_spreadsheets_are_left_out() {
        let read = numbers("a,b,,\r\n1,2,,\r\n,,,\r\n3,4,,\r\n,,,\r\n").unwrap();
        assert_eq!(read, [[1.0, 3.0], [2.0, 4.0]]);
    }

    #[test]
    fn errors_stand_at_their_line_and_column() {
        for (text, place, says) in [
            ("a,b\n1,2\n3,x\n", "3:3", "expected a number, found 'x'"),
            ("a,c\n1,2\n", "1:3", "unknown column 'c'; known columns: a, b"),
            ("a\n1\n", "1:1", "the table has no column 'b'"),
            ("a,a\n", "1:3", "duplicate column 'a'"),
            ("a,b\n1,2\n3\n", "3:1", "this row has 1 fields, the header has 2"),
            ("# a comment\na,b\n", "", "no row"),
            ("a,b\n1,inf\n", "2:3", "expected a number, found 'inf'"),
            ("b,a\r\n# a comment\r\n\n-1e3, 2\r\n# another\r\n,4\r\n", "6:1", "b is empty here"),
            ("a,b\n1,\"x, y\"\n", "2:3", "found 'x, y'"),
            ("a;b\n1;2\n", "1:1", "separated by ';'"),
            ("a\tb\n1\t2\n", "1:1", "separated by '\\t'"),
            // Decimal commas.
            ("a,b\n1,5,2,5\n", "2:5", "this row has 4 fields, the header has 2"),
            ("a,b\n1,\"2,5\"\n", "2:3", "found '2,5'"),
        ] {
            let error = numbers(text).unwrap_err();
            assert!(error.problem().to_string().contains(says), "{error}");
            let found = error.position().map(|position| position.to_string()).unwrap_or_default();
            assert_eq!(found, place, "{error}");
        }
    }

    /// A quotation mark that is not closed; before, the rest of the file was read as one row.
    #[test]
    fn a_row_without_end_is_refused_at_its_line() {
        let text = format!("a,b\n1,2\n3,\"4\n{}", "5,6\n".repeat(1 << 19));
        let error = numbers(&text).unwrap_err();
        assert!(error.problem().to_string().contains("at most 1048576 bytes"), "{error}");
        assert_eq!(error.position().unwrap().to_string(), "3:1");
        let header = format!("a,b,{}\n1,2\n", ",".repeat(1 << 21));
        assert_eq!(numbers(&header).unwrap_err().position().unwrap().to_string(), "1:1");
    }

    #[test]
    fn numbers_stand_in_any_order_of_columns() {
        let read = numbers("b,a\r\n# a comment\r\n-1e3, 2\r\n4 ,5\r\n").unwrap();
        assert_eq!(read, [[2.0, 5.0], [-1e3, 4.0]]);
    }

    #[test]
    fn a_line_that_is_gone_still_has_its_number() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("table.csv");
        std::fs::write(&path, "a\n1\n2\n").unwrap();
        let table = NumberTable::read(&path, &["a"]).unwrap();
        std::fs::remove_file(&path).unwrap();
        let column = table.header.required("a").unwrap();
        let error = table.header.complaint("too large", table.places()[1], column);
        assert_eq!(error.position().unwrap().line, 3);
    }
}
