//! The list of dies: a CSV with one row per touchdown.
//!
//! Rows are read one after the other, so that a list of any length takes the same memory. Lot, wafer,
//! die x and die y say which die it is; further columns name files or are carried through.

use super::error::{WaferError, WaferProblem};
use crate::diagnostic::Excerpt;
use std::collections::HashMap;
use std::fs::File;
use std::io::{BufRead as _, BufReader, Seek as _, SeekFrom};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Which die a row is about.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct DieKey {
    /// The lot.
    pub lot: String,
    /// The wafer in the lot.
    pub wafer: String,
    /// The die's column on the wafer; may be negative.
    pub die_x: i32,
    /// The die's row on the wafer; may be negative.
    pub die_y: i32,
}

/// A row of the manifest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DieEntry {
    /// The line in the manifest.
    pub line: u64,
    /// Which die.
    pub key: DieKey,
    /// One file per file column, in their order, as named; `None` where the field is empty.
    pub files: Vec<Option<PathBuf>>,
    /// The other fields, in the order of [`Manifest::carried_names`].
    pub carried: Vec<String>,
}

/// Where in a record each thing stands.
#[derive(Clone, Debug)]
struct Columns {
    lot: usize,
    wafer: usize,
    die_x: usize,
    die_y: usize,
    files: Vec<usize>,
    carried: Vec<usize>,
}

/// A manifest, read row by row.
#[derive(Debug)]
pub struct Manifest {
    path: PathBuf,
    reader: csv::Reader<File>,
    columns: Columns,
    file_names: Vec<String>,
    carried_names: Vec<String>,
    has_failed: bool,
}

impl Manifest {
    /// Opens a manifest; columns named as one of `blocks` name files, the others are carried through.
    ///
    /// # Errors
    /// [`WaferError`] if the file cannot be read or lacks a column.
    pub fn open(path: &Path, blocks: &[String]) -> Result<Self, WaferError> {
        let anywhere = |problem| WaferError { file: path.to_owned(), problem, excerpt: None };
        let file = File::open(path).map_err(|error| anywhere(WaferProblem::Io(error)))?;
        // Lines end in \n, so that they are counted right; a \r before it is trimmed like any blank.
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .terminator(csv::Terminator::Any(b'\n'))
            .from_reader(file);
        let header = reader.headers().cloned().map_err(|error| csv_error(path, &error))?;
        let names: Vec<String> = header.iter().map(str::to_owned).collect();
        let at_header = |problem, column: Option<usize>| {
            let excerpt = column.and_then(|column| field_excerpt(path, 0, 1, column));
            WaferError { file: path.to_owned(), problem, excerpt: excerpt.map(Box::new) }
        };
        if let Some(twice) = (1..names.len()).find(|&at| names[..at].contains(&names[at])) {
            let name = names[twice].clone();
            return Err(at_header(WaferProblem::ColumnTwice { name }, Some(twice)));
        }
        let place = |name: &str| {
            names.iter().position(|found| found == name).ok_or_else(|| {
                let problem =
                    WaferProblem::NoColumn { name: name.to_owned(), found: names.clone() };
                at_header(problem, Some(0))
            })
        };
        let (lot, wafer) = (place("lot")?, place("wafer")?);
        let (die_x, die_y) = (place("die_x")?, place("die_y")?);
        let (files, carried): (Vec<usize>, Vec<usize>) = (0..names.len())
            .filter(|at| ![lot, wafer, die_x, die_y].contains(at))
            .partition(|&at| blocks.contains(&names[at]));
        if files.is_empty() {
            let blocks = blocks.to_vec();
            return Err(at_header(WaferProblem::NoFileColumn { blocks }, None));
        }
        let named = |places: &[usize]| places.iter().map(|&at| names[at].clone()).collect();
        Ok(Self {
            path: path.to_owned(),
            reader,
            file_names: named(&files),
            carried_names: named(&carried),
            columns: Columns { lot, wafer, die_x, die_y, files, carried },
            has_failed: false,
        })
    }

    /// Names of the columns that name files.
    #[must_use]
    pub fn file_names(&self) -> &[String] {
        &self.file_names
    }

    /// Names of the columns that are carried through.
    #[must_use]
    pub fn carried_names(&self) -> &[String] {
        &self.carried_names
    }

    fn entry(&self, record: &csv::StringRecord) -> Result<DieEntry, WaferError> {
        let (byte, line) = record.position().map_or((0, 0), |at| (at.byte(), at.line()));
        let at = |problem, column| WaferError {
            file: self.path.clone(),
            problem,
            excerpt: field_excerpt(&self.path, byte, line, column).map(Box::new),
        };
        let columns = &self.columns;
        let field = |column: usize| record.get(column).unwrap_or_default();
        let text = |column: usize, name: &'static str| match field(column) {
            "" => Err(at(WaferProblem::Empty { column: name }, column)),
            text => Ok(text.to_owned()),
        };
        let number = |column: usize, name: &'static str| {
            field(column).parse::<i32>().map_err(|_| {
                let text = field(column).to_owned();
                at(WaferProblem::DieNumber { column: name, text }, column)
            })
        };
        let key = DieKey {
            lot: text(columns.lot, "lot")?,
            wafer: text(columns.wafer, "wafer")?,
            die_x: number(columns.die_x, "die_x")?,
            die_y: number(columns.die_y, "die_y")?,
        };
        let files = columns.files.iter().map(|&column| field(column));
        Ok(DieEntry {
            line,
            key,
            files: files.map(|name| (!name.is_empty()).then(|| PathBuf::from(name))).collect(),
            carried: columns.carried.iter().map(|&column| field(column).to_owned()).collect(),
        })
    }
}

impl Iterator for Manifest {
    type Item = Result<DieEntry, WaferError>;

    /// The next row; after an error there is none.
    fn next(&mut self) -> Option<Self::Item> {
        if self.has_failed {
            return None;
        }
        let mut record = csv::StringRecord::new();
        let item = match self.reader.read_record(&mut record) {
            Ok(false) => return None,
            Ok(true) => self.entry(&record),
            Err(error) => Err(csv_error(&self.path, &error)),
        };
        self.has_failed = item.is_err();
        Some(item)
    }
}

fn csv_error(path: &Path, error: &csv::Error) -> WaferError {
    let (problem, place) = match error.kind() {
        csv::ErrorKind::UnequalLengths { pos, expected_len, len } => {
            (WaferProblem::Fields { expected: *expected_len, found: *len }, pos.clone())
        }
        csv::ErrorKind::Utf8 { pos, .. } => {
            (WaferProblem::Csv("this row is not UTF-8 text".to_owned()), pos.clone())
        }
        csv::ErrorKind::Io(error) => {
            let copy = std::io::Error::new(error.kind(), error.to_string());
            (WaferProblem::Io(copy), None)
        }
        _ => (WaferProblem::Csv(error.to_string()), error.position().cloned()),
    };
    let excerpt = place.and_then(|at| field_excerpt(path, at.byte(), at.line(), 0));
    WaferError { file: path.to_owned(), problem, excerpt: excerpt.map(Box::new) }
}

/// The line of a record, read again, with one field marked; `None` if it cannot be read any more.
fn field_excerpt(path: &Path, byte: u64, line: u64, column: usize) -> Option<Excerpt> {
    /// Longer lines are not shown to their end.
    const LONGEST_LINE: u64 = 1 << 16;
    let mut file = File::open(path).ok()?;
    file.seek(SeekFrom::Start(byte)).ok()?;
    let mut text = Vec::new();
    let mut reader = std::io::Read::take(BufReader::new(file), LONGEST_LINE);
    // A record may begin behind the end of the line before.
    while text.is_empty() {
        if reader.read_until(b'\n', &mut text).ok()? == 0 {
            return None;
        }
        while text.last().is_some_and(|byte| matches!(byte, b'\n' | b'\r')) {
            text.pop();
        }
    }
    let mark = field_range(&text, column);
    Some(Excerpt::of_line(usize::try_from(line).unwrap_or(usize::MAX), &text, mark))
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
    let start = field.clone().find(|at| !is_blank(at)).unwrap_or(field.start);
    let end = field.clone().rev().find(|at| !is_blank(at)).map_or(start, |at| at + 1);
    start..end.max(start)
}

/// Which of several touchdowns of one die counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum RetestPolicy {
    /// The first.
    First,
    /// The last: a retest replaces what was before.
    #[default]
    Last,
    /// The best.
    Best,
    /// Each on its own.
    All,
}

impl RetestPolicy {
    /// All of them.
    pub const ALL_POLICIES: [Self; 4] = [Self::First, Self::Last, Self::Best, Self::All];

    /// As the recipe has it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::First => "first",
            Self::Last => "last",
            Self::Best => "best",
            Self::All => "all",
        }
    }
}

/// Which rows count, under a policy. `ranks` say how good each row is, for [`RetestPolicy::Best`];
/// rows without a rank (unreadable ones) are worse than any that has one, and of equals the earlier
/// counts.
#[must_use]
pub fn standing_rows(keys: &[DieKey], ranks: &[Option<f64>], policy: RetestPolicy) -> Vec<bool> {
    if policy == RetestPolicy::All {
        return vec![true; keys.len()];
    }
    let rank = |row: usize| ranks.get(row).copied().flatten().unwrap_or(f64::NEG_INFINITY);
    let mut chosen: HashMap<&DieKey, usize> = HashMap::new();
    for (row, key) in keys.iter().enumerate() {
        chosen
            .entry(key)
            .and_modify(|before| {
                let is_better = match policy {
                    RetestPolicy::First | RetestPolicy::All => false,
                    RetestPolicy::Last => true,
                    RetestPolicy::Best => rank(row) > rank(*before),
                };
                if is_better {
                    *before = row;
                }
            })
            .or_insert(row);
    }
    keys.iter().enumerate().map(|(row, key)| chosen[key] == row).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn read(text: &[u8]) -> Result<(Vec<DieEntry>, Vec<String>), WaferError> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("dies.csv");
        std::fs::write(&path, text).unwrap();
        let manifest = Manifest::open(&path, &["hybrid".to_owned()])?;
        let names = manifest.carried_names().to_vec();
        Ok((manifest.collect::<Result<_, _>>()?, names))
    }

    #[test]
    fn rows_are_read_whatever_the_order_of_columns() {
        let (dies, names) = read(
            "\u{feff}wafer, die_y,die_x,hybrid,lot,operator note\r\nW1,-3,4,\"dies/a, b.s4p\",L7,\"über\"\r\nW1,0,-1,,L7,\r\n"
                .as_bytes(),
        )
        .unwrap();
        assert_eq!(names, ["operator note"]);
        assert_eq!(dies.len(), 2);
        let first = &dies[0];
        assert_eq!((first.key.die_x, first.key.die_y, first.line), (4, -3, 2));
        assert_eq!(first.files, [Some(PathBuf::from("dies/a, b.s4p"))]);
        assert_eq!(first.carried, ["über"]);
        assert_eq!(dies[1].files, [None]);
    }

    #[test]
    fn errors_stand_at_their_line_and_column() {
        for (text, says, line, column) in [
            ("lot,wafer,die_x,hybrid\n", "no column 'die_y'", 1, 1),
            ("lot,wafer,die_x,die_y,hybrid,lot\n", "'lot' stands twice", 1, 30),
            (
                "lot,wafer,die_x,die_y,hybrid\nL,W,1,2,a\nL,W,1.5,2,a\n",
                "'1.5' is no die number",
                3,
                5,
            ),
            ("lot,wafer,die_x,die_y,hybrid\n\"L,1\",W,1, x ,a\n", "'x' is no die number", 2, 12),
            ("lot,wafer,die_x,die_y,hybrid\nL,,1,2,a\n", "the wafer is empty", 2, 3),
            ("lot,wafer,die_x,die_y,hybrid\nL,W,1,2\n", "4 fields, the first row 5", 2, 1),
            ("lot,wafer,die_x,die_y,hybrid\nL,W,99999999999,2,a\n", "no die number", 2, 5),
        ] {
            let error = read(text.as_bytes()).unwrap_err();
            assert!(error.to_string().contains(says), "{error}");
            let place = error.excerpt.as_ref().unwrap().position;
            assert_eq!((place.line, place.column), (line, column), "{text}");
            assert!(error.diagnostic().render(false).contains(says));
        }
        let error = read(b"lot,wafer,die_x,die_y,hybrid\nL,\xff,1,2,a\n").unwrap_err();
        assert!(error.to_string().contains("not UTF-8"), "{error}");
        assert!(read(b"").is_err());
    }

    #[test]
    fn one_touchdown_of_each_die_counts() {
        let key = |die_x| DieKey { lot: "L".to_owned(), wafer: "W".to_owned(), die_x, die_y: 0 };
        let keys = [key(1), key(2), key(1), key(1), key(3)];
        let ranks = [Some(30.0), Some(20.0), Some(35.0), Some(35.0), None];
        for (policy, want) in [
            (RetestPolicy::First, [true, true, false, false, true]),
            (RetestPolicy::Last, [false, true, false, true, true]),
            (RetestPolicy::Best, [false, true, true, false, true]),
            (RetestPolicy::All, [true; 5]),
        ] {
            assert_eq!(standing_rows(&keys, &ranks, policy), want, "{policy:?}");
        }
        // An unreadable touchdown never beats one that could be read.
        let unread = [None, Some(20.0), Some(-5.0), None, None];
        assert_eq!(
            standing_rows(&keys, &unread, RetestPolicy::Best),
            [false, true, true, false, true]
        );
    }
}
