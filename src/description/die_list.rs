//! The list of dies: a CSV with one row for each measurement of a die.
//!
//! | column | meaning |
//! |---|---|
//! | `lot`, `wafer` | names, not empty |
//! | `die_x`, `die_y` | whole numbers that count dies on the wafer; may be negative |
//! | a block's name | the block's file, relative to the list; empty where it is missing |
//! | any other | copied to the results |
//!
//! Rows are read one after the other, so that the memory does not depend on the length of the list.

use super::error::{DescriptionError, DescriptionProblem};
use super::table::{Column, Comments, CsvFile, CsvRow, RowPlace};
use crate::wafer::{DieEntry, DieKey};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The index of each column.
#[derive(Clone, Debug)]
struct Columns {
    lot: Column,
    wafer: Column,
    die_x: Column,
    die_y: Column,
    files: Vec<Column>,
    carried: Vec<Column>,
}

/// A list of dies, read row by row.
#[derive(Debug)]
pub struct DieList {
    file: CsvFile,
    columns: Columns,
}

impl DieList {
    /// Opens a list; columns named as one of `blocks` give files, the others are copied to the
    /// results.
    ///
    /// # Errors
    /// [`DescriptionError`] if the file cannot be read or lacks a column.
    ///
    /// # Examples
    /// ```
    /// use fourphase::description::DieList;
    ///
    /// let path = std::path::Path::new("data-demo/wafer/dies.csv");
    /// let list = DieList::open(path, &["hybrid".to_owned()])?;
    /// assert_eq!(list.carried_columns(), ["touchdown_note"]);
    /// let dies = list.collect::<Result<Vec<_>, _>>()?;
    /// assert_eq!((dies[0].key.die_x, dies[0].key.die_y), (-2, 4));
    /// # Ok::<(), fourphase::description::DescriptionError>(())
    /// ```
    #[doc = include_str!("die_list.md")]
    pub fn open(path: &Path, blocks: &[String]) -> Result<Self, DescriptionError> {
        let file = CsvFile::open(path, Comments::None)?;
        let header = file.header();
        let [lot, wafer, die_x, die_y] =
            ["lot", "wafer", "die_x", "die_y"].map(|name| header.required(name));
        let (lot, wafer, die_x, die_y) = (lot?, wafer?, die_x?, die_y?);
        let (files, carried): (Vec<Column>, Vec<Column>) = header
            .remaining(&[lot, wafer, die_x, die_y])
            .into_iter()
            .partition(|&column| blocks.iter().any(|block| block == header.name(column)));
        if files.is_empty() {
            let blocks = blocks.to_vec();
            let columns = (carried.iter()).map(|&column| header.name(column).to_owned()).collect();
            let problem = DescriptionProblem::NoFileColumn { blocks, columns };
            return Err(DescriptionError::about_file(path, problem));
        }
        for &column in &carried {
            if let Some(block) = blocks.iter().find(|block| is_near(header.name(column), block)) {
                let found = header.name(column).to_owned();
                let problem = DescriptionProblem::NearColumn { found, block: block.clone() };
                return Err(header.error(problem, RowPlace::HEADER, column));
            }
        }
        let columns = Columns { lot, wafer, die_x, die_y, files, carried };
        Ok(Self { file, columns })
    }

    /// Names of the columns that give files.
    #[must_use]
    pub fn file_columns(&self) -> Vec<String> {
        self.names(&self.columns.files)
    }

    /// Names of the columns that are copied to the results.
    #[must_use]
    pub fn carried_columns(&self) -> Vec<String> {
        self.names(&self.columns.carried)
    }

    fn names(&self, columns: &[Column]) -> Vec<String> {
        columns.iter().map(|&column| self.file.header().name(column).to_owned()).collect()
    }

    fn entry(&self, row: &CsvRow) -> Result<DieEntry, DescriptionError> {
        let (header, columns) = (self.file.header(), &self.columns);
        let name = |column| header.filled(row, column).map(Arc::from);
        let number = |column: Column| {
            let text = row.text(column);
            text.parse::<i32>().map_err(|_| {
                let (name, text) = (header.name(column).to_owned(), text.to_owned());
                let problem = DescriptionProblem::DieNumber { column: name, found: text };
                header.error(problem, row.place(), column)
            })
        };
        let key = DieKey {
            lot: name(columns.lot)?,
            wafer: name(columns.wafer)?,
            die_x: number(columns.die_x)?,
            die_y: number(columns.die_y)?,
        };
        let file = |&column: &Column| match row.text(column) {
            "" => None,
            name => Some(PathBuf::from(name)),
        };
        Ok(DieEntry {
            line: row.place().line,
            key,
            files: columns.files.iter().map(file).collect(),
            carried: columns.carried.iter().map(|&column| row.text(column).to_owned()).collect(),
        })
    }
}

/// Whether a column's name is probably a misspelt block name: the same letters and digits, or one
/// typing error in five letters or more.
fn is_near(name: &str, block: &str) -> bool {
    let plain = |text: &str| -> String {
        text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    let (name, block) = (plain(name), plain(block));
    name == block || (block.chars().count() >= 5 && strsim::osa_distance(&name, &block) == 1)
}

impl Iterator for DieList {
    type Item = Result<DieEntry, DescriptionError>;

    /// The next row; none after a row that cannot be read.
    fn next(&mut self) -> Option<Self::Item> {
        let row = self.file.next()?;
        Some(row.and_then(|row| self.entry(&row)))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn read(text: &[u8]) -> Result<(Vec<DieEntry>, Vec<String>), DescriptionError> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("dies.csv");
        std::fs::write(&path, text).unwrap();
        let list = DieList::open(&path, &["hybrid".to_owned()])?;
        let names = list.carried_columns();
        Ok((list.collect::<Result<_, _>>()?, names))
    }

    #[test]
    fn a_column_that_is_nearly_a_block_is_refused() {
        for (name, is_refused) in [
            ("Hybrid", true),
            ("hy_brid", true),
            ("hybrids", true),
            ("hibrid", true),
            ("hybrid_note", false),
            ("operator", false),
        ] {
            let text = format!("lot,wafer,die_x,die_y,hybrid,{name}\nL,W,0,0,a.s4p,x\n");
            assert_eq!(read(text.as_bytes()).is_err(), is_refused, "{name}");
        }
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
        for (text, says, place) in [
            ("lot,wafer,die_x,hybrid\n", "no column 'die_y'", "1:1"),
            ("lot,wafer,die_x,die_y,hybrid,lot\n", "duplicate column 'lot'", "1:30"),
            (
                "lot,wafer,die_x,die_y,hybrid\nL,W,1,2,a\nL,W,1.5,2,a\n",
                "die_x must be a whole number, which may be negative, found '1.5'",
                "3:5",
            ),
            ("lot,wafer,die_x,die_y,hybrid\n\"L,1\",W,1, x ,a\n", "found 'x'", "2:12"),
            ("lot,wafer,die_x,die_y,hybrid\nL,,1,2,a\n", "wafer is empty", "2:3"),
            ("lot,wafer,die_x,die_y,hybrid\nL,W,1,2\n", "4 fields, the header has 5", "2:1"),
            ("lot,wafer,die_x,die_y,hybrid\nL,W,99999999999,2,a\n", "whole number", "2:5"),
            ("lot,wafer,die_x,die_y,note\nL,W,1,2,a\n", "no column", ""),
        ] {
            let error = read(text.as_bytes()).unwrap_err();
            assert!(error.to_string().contains(says), "{error}");
            let found = error.position().map(|position| position.to_string());
            assert_eq!(found.unwrap_or_default(), place, "{text}");
            assert!(error.diagnostic().render(false).contains(says));
        }
        let error = read(b"lot,wafer,die_x,die_y,hybrid\nL,\xff,1,2,a\n").unwrap_err();
        assert!(error.to_string().contains("not UTF-8"), "{error}");
        assert!(read(b"").is_err());
    }
}
