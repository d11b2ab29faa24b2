//! A description in TOML, or a table in CSV, and errors that show its lines.

use super::error::{DescriptionError, DescriptionProblem};
use crate::diagnostic::Excerpt;
use serde::de::DeserializeOwned;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// A file's text, and where it came from.
#[derive(Clone, Debug)]
pub struct Described {
    pub path: PathBuf,
    text: String,
}

impl Described {
    pub fn read(path: &Path) -> Result<Self, DescriptionError> {
        let text = std::fs::read_to_string(path).map_err(|error| DescriptionError {
            file: path.to_owned(),
            problem: Box::new(DescriptionProblem::Io(error)),
            excerpt: None,
        })?;
        Ok(Self { path: path.to_owned(), text })
    }

    pub fn toml<D: DeserializeOwned>(&self) -> Result<D, DescriptionError> {
        toml::from_str(&self.text).map_err(|error| {
            let problem = DescriptionProblem::Toml(error.message().trim().replace('\n', "; "));
            self.at(problem, error.span().unwrap_or(0..0))
        })
    }

    /// A file named in this one, which stands beside it.
    pub fn beside(&self, file: &Path) -> PathBuf {
        self.path.parent().unwrap_or(Path::new("")).join(file)
    }

    pub fn at(&self, problem: DescriptionProblem, span: Range<usize>) -> DescriptionError {
        let excerpt = Some(Box::new(Excerpt::of_text(&self.text, span)));
        DescriptionError { file: self.path.clone(), problem: Box::new(problem), excerpt }
    }

    pub fn wrong(&self, what: impl Into<String>, span: Range<usize>) -> DescriptionError {
        self.at(DescriptionProblem::Value { what: what.into() }, span)
    }

    pub fn value<T>(&self, given: &Spanned<T>, what: impl Into<String>) -> DescriptionError {
        self.wrong(what, given.span())
    }

    /// A number in a range, or what stands in its place when it is absent.
    pub fn number(
        &self,
        given: Option<&Spanned<f64>>,
        range: std::ops::RangeInclusive<f64>,
        what: &str,
        absent: f64,
    ) -> Result<f64, DescriptionError> {
        match given {
            Some(given) if !range.contains(given.get_ref()) => Err(self.value(
                given,
                format!("{what} is a number from {} to {}", range.start(), range.end()),
            )),
            given => Ok(given.map_or(absent, |given| *given.get_ref())),
        }
    }
}

/// A CSV table of numbers.
#[derive(Clone, Debug)]
pub struct NumberTable {
    file: Described,
    names: Vec<String>,
    rows: Vec<NumberRow>,
}

#[derive(Clone, Debug)]
struct NumberRow {
    /// Where it starts in the text.
    byte: usize,
    /// `None` where a field is empty.
    values: Vec<Option<f64>>,
}

impl NumberTable {
    /// Reads a table of which every column is one of `known`.
    pub fn read(path: &Path, known: &[&str]) -> Result<Self, DescriptionError> {
        let file = Described::read(path)?;
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .terminator(csv::Terminator::Any(b'\n'))
            .comment(Some(b'#'))
            .from_reader(file.text.as_bytes());
        let failed = |error: &csv::Error| {
            let at = error.position().map_or(0, |at| usize::try_from(at.byte()).unwrap_or(0));
            let what = match error.kind() {
                csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
                    format!("this row has {len} fields, the first row {expected_len}")
                }
                _ => error.to_string(),
            };
            file.wrong(what, at..at)
        };
        let header = reader.headers().map_err(|error| failed(&error))?.clone();
        let names: Vec<String> = header.iter().map(str::to_owned).collect();
        let header_byte = header.position().map_or(0, |at| usize::try_from(at.byte()).unwrap_or(0));
        for (at, name) in names.iter().enumerate() {
            let span = field_span(&file.text, header_byte, at);
            if !known.contains(&name.as_str()) {
                let what = format!("there is no column '{name}'; known are {}", known.join(", "));
                return Err(file.wrong(what, span));
            }
            if names[..at].contains(name) {
                return Err(file.wrong(format!("column '{name}' stands twice"), span));
            }
        }
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|error| failed(&error))?;
            let byte = record.position().map_or(0, |at| usize::try_from(at.byte()).unwrap_or(0));
            let mut values = Vec::new();
            for (at, field) in record.iter().enumerate() {
                let value = field.parse::<f64>().ok().filter(|value| value.is_finite());
                if value.is_none() && !field.is_empty() {
                    let span = field_span(&file.text, byte, at);
                    return Err(file.wrong("expected a number", span));
                }
                values.push(value);
            }
            rows.push(NumberRow { byte, values });
        }
        if rows.is_empty() {
            return Err(file.wrong("the table has no row", 0..0));
        }
        Ok(Self { file, names, rows })
    }

    pub fn rows(&self) -> usize {
        self.rows.len()
    }

    pub fn has(&self, name: &str) -> bool {
        self.names.iter().any(|own| own == name)
    }

    /// A number of a row, if the column is there and the field not empty.
    pub fn get(&self, row: usize, name: &str) -> Option<f64> {
        let column = self.names.iter().position(|own| own == name)?;
        self.rows[row].values[column]
    }

    /// A number that must be there.
    pub fn needed(&self, row: usize, name: &str) -> Result<f64, DescriptionError> {
        self.get(row, name).ok_or_else(|| {
            if self.has(name) {
                self.wrong(row, name, format!("{name} is empty"))
            } else {
                self.file.wrong(format!("the table has no column '{name}'"), 0..0)
            }
        })
    }

    /// An error about a field.
    pub fn wrong(&self, row: usize, name: &str, what: impl Into<String>) -> DescriptionError {
        let column = self.names.iter().position(|own| own == name).unwrap_or(0);
        self.file.wrong(what, field_span(&self.file.text, self.rows[row].byte, column))
    }
}

/// Where a field of the record that starts at a byte stands.
fn field_span(text: &str, byte: usize, column: usize) -> Range<usize> {
    // The position of a record counts what is skipped before it.
    let skipped = text[byte..].len() - text[byte..].trim_start().len();
    let mut start = byte + skipped;
    let (mut at, mut is_quoted) = (0, false);
    for (offset, character) in text[start..].char_indices() {
        match character {
            '"' => is_quoted = !is_quoted,
            '\n' if !is_quoted => return start..byte + skipped + offset,
            ',' if !is_quoted => {
                let place = byte + skipped + offset;
                if at == column {
                    return start..place;
                }
                (at, start) = (at + 1, place + 1);
            }
            _ => {}
        }
    }
    start..text.len()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_found_where_they_stand() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("table.csv");
        let known = ["a", "b"];
        for (text, place, says) in [
            ("a,b\n1,2\n3,x\n", "3:3", "expected a number"),
            ("a,c\n1,2\n", "1:3", "no column 'c'"),
            ("a,a\n", "1:3", "stands twice"),
            ("a,b\n1,2\n3\n", "3:1", "1 fields"),
            ("# told\na,b\n", "1:1", "no row"),
            ("a,b\n1,inf\n", "2:3", "expected a number"),
        ] {
            std::fs::write(&path, text).unwrap();
            let error = NumberTable::read(&path, &known).unwrap_err();
            let shown = error.to_string();
            assert!(shown.contains(says), "{shown}");
            assert_eq!(error.excerpt.unwrap().position.to_string(), place, "{shown}");
        }
        std::fs::write(&path, "b,a\r\n# a note\r\n-1e3, 2\r\n,4\r\n").unwrap();
        let table = NumberTable::read(&path, &known).unwrap();
        assert_eq!(
            (table.rows(), table.get(0, "b"), table.get(1, "a")),
            (2, Some(-1e3), Some(4.0))
        );
        assert_eq!(table.needed(1, "b").unwrap_err().excerpt.unwrap().position.to_string(), "4:1");
    }
}
