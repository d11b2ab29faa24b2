//! The table of covariances of entries that a reconstruction writes: for each frequency one row for
//! every pair of entries.

use super::allowed::Allowed;
use super::error::DescriptionError;
use super::table::{Column, NumberTable};
use crate::measurement::{COVARIANCE_COLUMNS, EntryCovariances, MeasurementError};
use nalgebra::DMatrix;
use num_complex::Complex64;
use std::collections::HashSet;
use std::path::Path;

/// Maximum number of ports; more are a typing error.
const MOST_PORTS: f64 = 64.0;

/// A row: the covariance of two entries, each with its row and column from 0.
struct CovarianceRow {
    hz: f64,
    a: (usize, usize),
    b: (usize, usize),
    value: Complex64,
}

/// The columns in the order of [`COVARIANCE_COLUMNS`].
struct Columns {
    frequency: Column,
    row_a: Column,
    column_a: Column,
    row_b: Column,
    column_b: Column,
    re: Column,
    im: Column,
}

impl Columns {
    fn of(table: &NumberTable) -> Result<Self, DescriptionError> {
        let column = |at: usize| table.header.required(COVARIANCE_COLUMNS[at]);
        Ok(Self {
            frequency: column(0)?,
            row_a: column(1)?,
            column_a: column(2)?,
            row_b: column(3)?,
            column_b: column(4)?,
            re: column(5)?,
            im: column(6)?,
        })
    }
}

/// Reads the covariances.
///
/// # Errors
/// [`DescriptionError`] at the wrong row, or at the last row of a frequency whose rows are not a
/// covariance.
pub(super) fn read_covariances(path: &Path) -> Result<EntryCovariances, DescriptionError> {
    let table = NumberTable::read(path, &COVARIANCE_COLUMNS)?;
    let columns = Columns::of(&table)?;
    let rows = (0..table.places().len())
        .map(|row| covariance_row(&table, &columns, row))
        .collect::<Result<Vec<_>, _>>()?;
    let wrong = |row: usize, what: String| {
        table.header.complaint(what, table.places()[row], columns.frequency)
    };
    let largest = |row: &CovarianceRow| row.a.0.max(row.a.1).max(row.b.0).max(row.b.1);
    let ports = rows.iter().map(largest).fold(0, usize::max) + 1;
    let size = ports * ports;
    let needed = size * (size + 1) / 2;
    let (mut points, mut last_rows) = (Vec::new(), Vec::new());
    for group in rows.chunk_by(|one, other| one.hz.total_cmp(&other.hz).is_eq()) {
        let last_row = last_rows.last().map_or(0, |last| last + 1) + group.len() - 1;
        if group.len() != needed {
            let found = group.len();
            let what = format!(
                "{ports} ports need {needed} rows for each frequency, this frequency has {found}"
            );
            return Err(wrong(last_row, what));
        }
        let mut matrix = DMatrix::zeros(size, size);
        let mut seen = HashSet::new();
        for CovarianceRow { a, b, value, .. } in group {
            let (a, b) = (a.0 * ports + a.1, b.0 * ports + b.1);
            if !seen.insert((a.min(b), a.max(b))) {
                return Err(wrong(
                    last_row,
                    "duplicate pair of entries at this frequency".to_owned(),
                ));
            }
            matrix[(a, b)] = *value;
            matrix[(b, a)] = value.conj();
        }
        points.push((group[0].hz, matrix));
        last_rows.push(last_row);
    }
    EntryCovariances::new(ports, points).map_err(|error| match error {
        MeasurementError::EntryCovariance { point, .. } => {
            wrong(last_rows[point], error.to_string())
        }
        other => wrong(0, other.to_string()),
    })
}

fn covariance_row(
    table: &NumberTable,
    columns: &Columns,
    row: usize,
) -> Result<CovarianceRow, DescriptionError> {
    let number = |column| table.number(row, column, Allowed::Finite);
    let port = |column| {
        let number = table.number(row, column, Allowed::FromTo(1.0, MOST_PORTS))?;
        if number.fract() != 0.0 {
            let what = format!("a port must be a whole number, found {number}");
            return Err(table.header.complaint(what, table.places()[row], column));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked")]
        Ok(number as usize - 1)
    };
    Ok(CovarianceRow {
        hz: number(columns.frequency)?,
        a: (port(columns.row_a)?, port(columns.column_a)?),
        b: (port(columns.row_b)?, port(columns.column_b)?),
        value: Complex64::new(number(columns.re)?, number(columns.im)?),
    })
}
