//! Tables of uncertainties over frequency, and of covariances.

use super::allowed::Allowed;
use super::error::DescriptionError;
use super::table::{Column, NumberTable, RowPlace, TableHeader};
use super::uncertainty_entries::{MOST, TABLE_COLUMNS};
use super::uncertainty_toml::What;
use crate::measurement::COVARIANCE_COLUMNS;
use crate::units::ShownFrequency;
use nalgebra::DMatrix;
use num_complex::Complex64;
use std::path::Path;

/// Standard uncertainties over frequency, as a table gives them.
pub(super) struct AmountTable {
    header: TableHeader,
    frequency: Column,
    first: RowPlace,
    last: RowPlace,
    /// Ascending; at least one.
    at_hz: Vec<f64>,
    /// The columns that are there beside the frequency, each with its name.
    columns: Vec<(String, Vec<f64>)>,
}

impl AmountTable {
    pub(super) fn read(path: &Path) -> Result<Self, DescriptionError> {
        let table = NumberTable::read(path, &TABLE_COLUMNS)?;
        let header = &table.header;
        let frequency = header.required(TABLE_COLUMNS[0])?;
        let at_ghz = table.column(frequency, Allowed::ZeroOrMore)?;
        if let Some(at) = (1..at_ghz.len()).find(|&at| at_ghz[at - 1] >= at_ghz[at]) {
            let what = format!(
                "frequencies must ascend from row to row, {} follows {}",
                at_ghz[at],
                at_ghz[at - 1]
            );
            return Err(header.complaint(what, table.rows[at].place(), frequency));
        }
        let columns = header.remaining(&[frequency]).into_iter().map(|column| {
            let values = table.column(column, Allowed::FromTo(0.0, MOST))?;
            Ok((header.name(column).to_owned(), values))
        });
        Ok(Self {
            frequency,
            first: table.rows[0].place(),
            last: table.rows[table.rows.len() - 1].place(),
            at_hz: at_ghz.into_iter().map(|ghz| ghz * 1e9).collect(),
            columns: columns.collect::<Result<_, DescriptionError>>()?,
            header: table.header,
        })
    }

    /// The values of a column at other frequencies, where the table has it: straight between rows.
    pub(super) fn onto(
        &self,
        name: &str,
        frequencies_hz: &[f64],
    ) -> Result<Option<Vec<f64>>, DescriptionError> {
        let Some((_, values)) = self.columns.iter().find(|(own, _)| own == name) else {
            return Ok(None);
        };
        frequencies_hz
            .iter()
            .map(|&hz| self.interpolated(values, hz))
            .collect::<Result<_, _>>()
            .map(Some)
    }

    fn interpolated(&self, values: &[f64], hz: f64) -> Result<f64, DescriptionError> {
        let above = self.at_hz.partition_point(|&row_hz| row_hz < hz * (1.0 - 1e-12));
        let starts_below = self.at_hz[0] <= hz * (1.0 + 1e-12);
        if above == self.at_hz.len() || above == 0 && !starts_below {
            let what = format!(
                "the table covers {} to {} GHz, {} is needed; nothing is extrapolated",
                self.at_hz[0] / 1e9,
                self.at_hz[self.at_hz.len() - 1] / 1e9,
                ShownFrequency(hz)
            );
            let place = if above == 0 { self.first } else { self.last };
            return Err(self.header.complaint(what, place, self.frequency));
        }
        if above == 0 {
            return Ok(values[0]);
        }
        let (from, to) = (self.at_hz[above - 1], self.at_hz[above]);
        let share = ((hz - from) / (to - from)).clamp(0.0, 1.0);
        Ok(values[above - 1] * (1.0 - share) + values[above] * share)
    }
}

/// The covariances that `rebuild` writes.
pub(super) fn covariance(path: &Path) -> Result<What, DescriptionError> {
    let table = NumberTable::read(path, &COVARIANCE_COLUMNS)?;
    let header = &table.header;
    let number = |row: usize, name: &str| {
        header.number(&table.rows[row], header.required(name)?, Allowed::Finite)
    };
    let wrong = |row: usize, name: &str, what: String| match header.required(name) {
        Ok(column) => header.complaint(what, table.rows[row].place(), column),
        Err(error) => error,
    };
    let place = |row: usize, name: &str| {
        let number = number(row, name)?;
        if !(1.0..=64.0).contains(&number) || number.fract() != 0.0 {
            return Err(wrong(row, name, "a port is a whole number from 1 to 64".to_owned()));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked")]
        Ok(number as usize - 1)
    };
    let mut places = Vec::with_capacity(table.rows.len());
    for row in 0..table.rows.len() {
        let names = &COVARIANCE_COLUMNS[1..5];
        places.push(names.iter().map(|name| place(row, name)).collect::<Result<Vec<_>, _>>()?);
    }
    let ports = places.iter().flatten().max().map_or(0, |largest| largest + 1);
    let (mut at_hz, mut matrices) = (Vec::new(), Vec::<DMatrix<Complex64>>::new());
    let mut rows_here = 0;
    let check = |row: usize, matrix: &DMatrix<Complex64>, rows: usize| {
        check_covariance(matrix, rows, ports)
            .map_err(|what| wrong(row, COVARIANCE_COLUMNS[0], what))
    };
    for (row, places) in places.iter().enumerate() {
        let hz = number(row, COVARIANCE_COLUMNS[0])?;
        if at_hz.last().is_some_and(|last| *last > hz) {
            return Err(wrong(row, COVARIANCE_COLUMNS[0], "frequencies ascend".to_owned()));
        }
        if at_hz.last().is_none_or(|last| *last < hz) {
            if let Some(matrix) = matrices.last() {
                check(row - 1, matrix, rows_here)?;
            }
            rows_here = 0;
            at_hz.push(hz);
            matrices.push(DMatrix::zeros(ports * ports, ports * ports));
        }
        rows_here += 1;
        let value = Complex64::new(number(row, "re")?, number(row, "im")?);
        let (a, b) = (places[0] * ports + places[1], places[2] * ports + places[3]);
        if let Some(matrix) = matrices.last_mut() {
            matrix[(a, b)] = value;
            matrix[(b, a)] = value.conj();
        }
    }
    if let Some(matrix) = matrices.last() {
        check(table.rows.len() - 1, matrix, rows_here)?;
    }
    Ok(What::Covariance { ports, at_hz, matrices })
}

/// Refuses what is no covariance: entries that are missing, or directions of negative variance.
fn check_covariance(matrix: &DMatrix<Complex64>, rows: usize, ports: usize) -> Result<(), String> {
    /// Rounding may leave so much, relative to the largest.
    const ROUNDING: f64 = 1e-9;
    let size = ports * ports;
    let needed = size * (size + 1) / 2;
    if rows != needed {
        return Err(format!(
            "{needed} rows are needed for each frequency of {ports} ports, this has {rows}"
        ));
    }
    let variances = nalgebra::SymmetricEigen::new(matrix.clone()).eigenvalues;
    if variances.min() < -ROUNDING * variances.max().max(f64::MIN_POSITIVE) {
        return Err("at this frequency some variance is negative: it is no covariance".to_owned());
    }
    Ok(())
}
