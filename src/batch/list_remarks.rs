//! Checks of a list of dies as a whole: one file for two dies, duplicate rows, names that differ
//! only in upper and lower case, die numbers in the other order than in the names of the files.

use crate::description::{DescriptionError, NamedDie};
use crate::units::counted;
use crate::wafer::{DieEntry, DieKey};
use std::collections::hash_map::{DefaultHasher, Entry};
use std::collections::{HashMap, HashSet};
use std::hash::Hasher as _;

/// Fewer rows than this may have other numbers for a reason of their own.
const MANY: usize = 5;

/// Number of cases of each kind that are listed.
const SHOWN: usize = 3;

/// A wafer of a lot, as the list of dies names it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct WaferName {
    /// The lot.
    pub lot: String,
    /// The wafer in the lot.
    pub wafer: String,
}

/// The state of a pass over a list of dies.
#[derive(Debug, Default)]
pub(super) struct ListRemarks {
    rows: u64,
    /// The line and the die of each file, and the line of each row, by their hashes, because a list
    /// may have millions of rows.
    files: HashMap<u64, (u64, u64)>,
    lines: HashMap<u64, u64>,
    /// The spellings of lots and wafers by their names in lower case.
    names: HashMap<String, Vec<String>>,
    known: HashSet<u64>,
    /// The wafers, in the order of their first rows.
    wafers: Vec<WaferName>,
    shared: Cases,
    repeated: Cases,
    case_alone: Cases,
    numbers: NumbersInNames,
}

/// The die numbers of rows, compared with those in the names of their files.
#[derive(Debug, Default)]
struct NumbersInNames {
    /// With a mark before a number as its sign.
    signed: Agreement,
    /// Without signs.
    sizes: Agreement,
    /// Whether a column or row above 0 was seen with and without a mark: a mark that all names have is no
    /// sign but separates.
    marked: [bool; 2],
    plain: [bool; 2],
}

/// How many rows agree with the names of their files, and how many have the numbers in the other order.
#[derive(Debug, Default)]
struct Agreement {
    agreeing: usize,
    exchanged: usize,
    first_exchanged: Option<String>,
    differing: Cases,
    /// The difference of the first row that differs, while all rows have it: names may count from a corner.
    offset: Option<(i64, i64)>,
    has_many_offsets: bool,
}

impl Agreement {
    fn add(&mut self, named: (i64, i64), die: (i64, i64), row: impl Fn() -> String) {
        if named == die {
            // Equal numbers agree in either order.
            self.agreeing += usize::from(die.0 != die.1);
        } else {
            if named == (die.1, die.0) {
                self.exchanged += 1;
                self.first_exchanged.get_or_insert_with(&row);
            }
            let offset = (named.0 - die.0, named.1 - die.1);
            self.has_many_offsets |= *self.offset.get_or_insert(offset) != offset;
            self.differing.add(row);
        }
    }

    /// Sentences where all rows have the numbers in the other order, or some rows differ while most agree.
    fn warnings(self) -> Vec<String> {
        let differing = self.differing.count;
        if let (Some(first), true) = (&self.first_exchanged, self.agreeing == 0)
            && self.exchanged == differing
        {
            return vec![format!(
                "the numbers behind x and y in the names of {} are those of the die in the other order, \
                 as {first}: are the columns die_x and die_y exchanged?",
                counted(self.exchanged, "file")
            )];
        }
        let has_one_origin = self.agreeing == 0 && !self.has_many_offsets;
        if self.agreeing <= differing && (has_one_origin || differing < MANY) {
            return Vec::new();
        }
        if self.agreeing <= differing {
            let first = self.differing.first.first().cloned().unwrap_or_default();
            return vec![format!(
                "the names of {} have other die numbers than their rows ({first}), those of {} the same: \
                 is the column of files shifted, or a sign or axis wrong?",
                counted(differing, "file"),
                self.agreeing
            )];
        }
        let first = self.differing.first.into_iter().map(|row| {
            format!("{row}: the name has other die numbers, while most rows agree with their names")
        });
        let more = differing.saturating_sub(SHOWN);
        let last =
            (more > 0).then(|| format!("the list has {more} more rows with other die numbers"));
        first.chain(last).collect()
    }
}

impl NumbersInNames {
    fn add(&mut self, entry: &DieEntry) {
        let DieKey { die_x, die_y, .. } = entry.key;
        let die = (i64::from(die_x), i64::from(die_y));
        for file in entry.files.iter().flatten() {
            let Some(stem) = file.file_stem() else { continue };
            let Some(named) = NamedDie::of(&stem.to_string_lossy()) else { continue };
            let row = || {
                let (line, file) = (entry.line, file.display());
                format!("line {line} has {file} at die_x {die_x}, die_y {die_y}")
            };
            let pairs = [(named.signed.0, named.sizes.0), (named.signed.1, named.sizes.1)];
            for (at, (signed, size)) in pairs.into_iter().enumerate() {
                self.marked[at] |= signed < 0;
                self.plain[at] |= signed == size && size > 0;
            }
            self.signed.add(named.signed, die, row);
            self.sizes.add(named.sizes, (die.0.abs(), die.1.abs()), row);
            return;
        }
    }

    fn warnings(self) -> Vec<String> {
        let has_signs = (0..2).any(|at| self.marked[at] && self.plain[at]);
        if has_signs { self.signed.warnings() } else { self.sizes.warnings() }
    }
}

/// The number of cases, and the first few.
#[derive(Debug, Default)]
struct Cases {
    count: usize,
    first: Vec<String>,
}

impl Cases {
    fn add(&mut self, text: impl FnOnce() -> String) {
        self.count += 1;
        if self.first.len() < SHOWN {
            self.first.push(text());
        }
    }

    fn told(self) -> impl Iterator<Item = String> {
        let more = self.count.saturating_sub(self.first.len());
        let last = (more > 0).then(|| format!("the list has {more} more such rows"));
        self.first.into_iter().chain(last)
    }
}

impl ListRemarks {
    /// Reads a list.
    ///
    /// # Errors
    /// The first invalid row.
    pub(super) fn of(
        list: impl Iterator<Item = Result<DieEntry, DescriptionError>>,
    ) -> Result<Self, DescriptionError> {
        let mut found = Self::default();
        for entry in list {
            found.add(&entry?);
        }
        Ok(found)
    }

    /// The number of rows of the list.
    pub(super) fn rows(&self) -> u64 {
        self.rows
    }

    /// The wafers of the list, in the order of their first rows.
    pub(super) fn wafers(&self) -> Vec<WaferName> {
        self.wafers.clone()
    }

    /// Sentences for the user.
    pub(super) fn warnings(self) -> Vec<String> {
        let told = self.shared.told().chain(self.repeated.told()).chain(self.case_alone.told());
        self.numbers.warnings().into_iter().chain(told).collect()
    }

    fn add(&mut self, entry: &DieEntry) {
        self.rows += 1;
        self.numbers.add(entry);
        let (line, die) = (entry.line, hash_of(&entry.key));
        match self.lines.entry(hash_of(&(&entry.key, &entry.files, &entry.carried))) {
            Entry::Occupied(first) => {
                let first = *first.get();
                self.repeated
                    .add(|| format!("line {line} of the list is a duplicate of line {first}"));
                return;
            }
            Entry::Vacant(place) => drop(place.insert(line)),
        }
        // Two rows share the files of all their columns, or of some: they are told once.
        let mut told: Vec<u64> = Vec::new();
        for file in entry.files.iter().flatten() {
            match self.files.entry(hash_of(file)) {
                Entry::Occupied(first) if first.get().1 != die => {
                    let (first, file) = (first.get().0, file.display());
                    if told.contains(&first) {
                        continue;
                    }
                    told.push(first);
                    self.shared.add(|| {
                        format!("lines {first} and {line} give one file, {file}, to two dies")
                    });
                }
                Entry::Occupied(_) => {}
                Entry::Vacant(place) => drop(place.insert((line, die))),
            }
        }
        let DieKey { lot, wafer, .. } = &entry.key;
        let is_same =
            |known: &WaferName| (known.lot.as_str(), known.wafer.as_str()) == (&**lot, &**wafer);
        if self.wafers.last().is_some_and(is_same) {
            return;
        }
        let wafer_of_lot = format!("wafer '{wafer}' of lot '{lot}'");
        for name in [format!("lot '{lot}'"), wafer_of_lot] {
            let spellings = self.names.entry(name.to_lowercase()).or_default();
            if spellings.contains(&name) {
                continue;
            }
            if let Some(first) = spellings.first() {
                self.case_alone
                    .add(|| format!("{first} and {name} differ only in upper and lower case"));
            }
            spellings.push(name);
        }
        if self.known.insert(hash_of(&(lot, wafer))) {
            self.wafers.push(WaferName { lot: lot.to_string(), wafer: wafer.to_string() });
        }
    }
}

fn hash_of(value: &impl std::hash::Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    value.hash(&mut hasher);
    hasher.finish()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::path::PathBuf;

    fn entry(line: u64, wafer: &str, die_x: i32, file: &str) -> DieEntry {
        DieEntry {
            line,
            key: DieKey { lot: "L".into(), wafer: wafer.into(), die_x, die_y: 0 },
            files: vec![Some(PathBuf::from(file))],
            carried: vec![],
        }
    }

    #[test]
    fn odd_rows_are_told_and_measurements_of_one_die_are_not() {
        let rows = [
            entry(2, "W1", 0, "a.s4p"),
            // A further measurement from the same file; with another note it would not be a
            // duplicate.
            entry(3, "W1", 0, "b.s4p"),
            entry(4, "W1", 1, "a.s4p"),
            entry(5, "W1", 0, "b.s4p"),
            entry(6, "w1", 3, "c.s4p"),
            entry(7, "w1", 4, "d.s4p"),
        ];
        let found = ListRemarks::of(rows.into_iter().map(Ok)).unwrap();
        assert_eq!(found.rows(), 6);
        assert_eq!(
            found.warnings(),
            [
                "lines 2 and 4 give one file, a.s4p, to two dies",
                "line 5 of the list is a duplicate of line 3",
                "wafer 'W1' of lot 'L' and wafer 'w1' of lot 'L' differ only in upper and lower case",
            ]
        );
    }
}
