//! Stated standard uncertainties: constant, or over frequency from a column of a table.

use super::allowed::Allowed;
use super::error::DescriptionError;
use super::source::TomlFile;
use super::table::{Column, NumberTable, RowPlace, TableHeader};
use super::uncertainty_entries::AmountEntry;
use crate::measurement::{EntryAmount, PassAmount};
use crate::units::{ShownFrequency, neper_from_db};
use std::path::Path;
use std::sync::Arc;
use toml::Spanned;

/// Maximum standard uncertainty; a larger one is a typing error.
pub(super) const ALLOWED: Allowed = Allowed::FromTo(0.0, 90.0);

/// What a standard uncertainty may be.
fn allowed(name: &str) -> Allowed {
    if name.ends_with("magnitude_db") {
        Allowed::FromTo(0.0, EntryAmount::MOST_DB)
    } else {
        ALLOWED
    }
}

/// The frequency column, then the columns of all amounts that a table may have.
const COLUMNS: [&str; 9] = [
    "frequency_ghz",
    "transmission_magnitude_db",
    "transmission_magnitude",
    "transmission_phase_deg",
    "reflection_magnitude_db",
    "reflection_magnitude",
    "reflection_phase_deg",
    "port_magnitude_db",
    "port_phase_deg",
];

/// Standard uncertainties over frequency from a table.
#[derive(Clone, Debug)]
pub(super) struct AmountTable {
    header: TableHeader,
    frequency: Column,
    first: RowPlace,
    last: RowPlace,
    /// Ascending frequencies, Hz; at least one.
    at_hz: Vec<f64>,
    columns: Vec<AmountColumn>,
}

#[derive(Clone, Debug)]
struct AmountColumn {
    name: String,
    /// One for each frequency.
    values: Vec<f64>,
}

impl AmountTable {
    /// Reads a table with the column `frequency_ghz` and any of the others.
    pub(super) fn read(path: &Path) -> Result<Self, DescriptionError> {
        let table = NumberTable::read(path, &COLUMNS)?;
        let header = &table.header;
        let frequency = header.required(COLUMNS[0])?;
        let at_ghz = table.column(frequency, Allowed::ZeroOrMore)?;
        for (at, pair) in at_ghz.windows(2).enumerate() {
            if pair[0] >= pair[1] {
                let what = format!(
                    "frequencies must ascend from row to row, {} follows {}",
                    pair[1], pair[0]
                );
                return Err(header.complaint(what, table.places()[at + 1], frequency));
            }
        }
        let columns = header.remaining(&[frequency]).into_iter().map(|column| {
            let values = table.column(column, allowed(header.name(column)))?;
            Ok(AmountColumn { name: header.name(column).to_owned(), values })
        });
        Ok(Self {
            frequency,
            first: table.places()[0],
            last: table.places()[table.places().len() - 1],
            at_hz: at_ghz.into_iter().map(|ghz| ghz * 1e9).collect(),
            columns: columns.collect::<Result<_, DescriptionError>>()?,
            header: table.header,
        })
    }

    /// A value between the rows, linear in frequency.
    fn interpolated(&self, column: usize, hz: f64) -> Result<f64, DescriptionError> {
        let above = self.at_hz.partition_point(|&row_hz| row_hz < hz * (1.0 - 1e-12));
        let is_below = above == 0 && self.at_hz[0] > hz * (1.0 + 1e-12);
        if is_below || above == self.at_hz.len() {
            let what = format!(
                "the table covers {} to {}, expected data at {}; data are not extrapolated",
                ShownFrequency(self.at_hz[0]),
                ShownFrequency(self.at_hz[self.at_hz.len() - 1]),
                ShownFrequency(hz)
            );
            let place = if is_below { self.first } else { self.last };
            return Err(self.header.complaint(what, place, self.frequency));
        }
        let values = &self.columns[column].values;
        if above == 0 {
            return Ok(values[0]);
        }
        let (from_hz, to_hz) = (self.at_hz[above - 1], self.at_hz[above]);
        let share = ((hz - from_hz) / (to_hz - from_hz)).clamp(0.0, 1.0);
        Ok(values[above - 1] * (1.0 - share) + values[above] * share)
    }
}

/// One standard uncertainty over frequency, in the unit of its key.
#[derive(Clone, Debug)]
enum Amount {
    Constant(f64),
    Column { table: Arc<AmountTable>, column: usize },
}

impl Amount {
    fn is_zero(&self) -> bool {
        match self {
            Self::Constant(value) => *value == 0.0,
            Self::Column { table, column } => {
                table.columns[*column].values.iter().all(|value| *value == 0.0)
            }
        }
    }

    fn reaches(&self, hz: f64) -> bool {
        match self {
            Self::Constant(_) => true,
            Self::Column { table, .. } => {
                let (first_hz, last_hz) = (table.at_hz[0], table.at_hz[table.at_hz.len() - 1]);
                first_hz <= hz && hz <= last_hz
            }
        }
    }

    fn at(&self, hz: f64) -> Result<f64, DescriptionError> {
        match self {
            Self::Constant(value) => Ok(*value),
            Self::Column { table, column } => table.interpolated(*column, hz),
        }
    }
}

/// The stated standard uncertainties of transmissions, of reflections, or of passes through a port.
#[derive(Clone, Debug)]
pub(super) struct StatedAmounts {
    magnitude_db: Amount,
    magnitude: Amount,
    phase_deg: Amount,
}

impl StatedAmounts {
    /// Whether there is a value at a frequency.
    pub(super) fn reaches(&self, hz: f64) -> bool {
        [&self.magnitude_db, &self.magnitude, &self.phase_deg].iter().all(|own| own.reaches(hz))
    }

    /// Reads the amounts of a kind of parameter (`transmission`, `reflection` or `port`) from the
    /// keys of an entry and the columns of a table. An amount in both is an error.
    pub(super) fn read(
        source: &TomlFile,
        kind: &str,
        entry: &AmountEntry,
        table: Option<&Arc<AmountTable>>,
    ) -> Result<Self, DescriptionError> {
        let amount = |key: &str, given: Option<&Spanned<f64>>| {
            let name = format!("{kind}_{key}");
            let column = table.and_then(|table| {
                let column = table.columns.iter().position(|column| column.name == name)?;
                Some(Amount::Column { table: Arc::clone(table), column })
            });
            match (given, column) {
                (Some(given), Some(_)) => {
                    let what = format!(
                        "duplicate {name}: it is a key and a column of the table; give one of both"
                    );
                    Err(source.complaint(given, what))
                }
                (Some(given), None) => {
                    source.number(key, given, allowed(key)).map(Amount::Constant)
                }
                (None, Some(column)) => Ok(column),
                (None, None) => Ok(Amount::Constant(0.0)),
            }
        };
        Ok(Self {
            magnitude_db: amount("magnitude_db", entry.magnitude_db.as_ref())?,
            magnitude: amount("magnitude", entry.magnitude.as_ref())?,
            phase_deg: amount("phase_deg", entry.phase_deg.as_ref())?,
        })
    }

    /// The first amount that no calibrated measurement has, as a sentence: of all rows of a table.
    pub(super) fn remark(&self) -> Option<String> {
        let amounts = [&self.magnitude_db, &self.magnitude, &self.phase_deg];
        let at_hz = amounts.iter().find_map(|own| match own {
            Amount::Column { table, .. } => Some(table.at_hz.as_slice()),
            Amount::Constant(_) => None,
        });
        at_hz.unwrap_or(&[0.0]).iter().find_map(|&hz| self.entry_at(hz).ok()?.remark())
    }

    pub(super) fn is_zero(&self) -> bool {
        [&self.magnitude_db, &self.magnitude, &self.phase_deg].into_iter().all(Amount::is_zero)
    }

    /// The amounts of an entry at a frequency.
    pub(super) fn entry_at(&self, hz: f64) -> Result<EntryAmount, DescriptionError> {
        Ok(EntryAmount {
            magnitude_np: self.magnitude_db.at(hz)? * neper_from_db(1.0),
            magnitude_linear: self.magnitude.at(hz)?,
            phase_rad: self.phase_deg.at(hz)?.to_radians(),
        })
    }

    /// The amounts of a pass through a port at a frequency.
    pub(super) fn pass_at(&self, hz: f64) -> Result<PassAmount, DescriptionError> {
        let EntryAmount { magnitude_np, phase_rad, .. } = self.entry_at(hz)?;
        Ok(PassAmount { magnitude_np, phase_rad })
    }
}
