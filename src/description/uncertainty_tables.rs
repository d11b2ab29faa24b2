//! Tables of uncertainties over frequency, and of covariances.

use super::error::DescriptionError;
use super::source::NumberTable;
use super::uncertainty_entries::TABLE_COLUMNS;
use super::uncertainty_toml::What;
use crate::measurement::COVARIANCE_COLUMNS;
use nalgebra::DMatrix;
use num_complex::Complex64;
use std::path::Path;

/// A column of a table between its rows.
pub(super) fn interpolated(
    table: &NumberTable,
    column: &str,
    hz: f64,
) -> Result<f64, DescriptionError> {
    let ghz = |row: usize| table.needed(row, TABLE_COLUMNS[0]);
    let last = table.rows() - 1;
    let above =
        (0..table.rows()).find(|&row| ghz(row).is_ok_and(|ghz| ghz * 1e9 >= hz * (1.0 - 1e-12)));
    let Some(above) =
        above.filter(|&row| row > 0 || ghz(0).is_ok_and(|ghz| ghz * 1e9 <= hz * (1.0 + 1e-12)))
    else {
        let what = format!(
            "the table covers {} to {} GHz, {} is needed; nothing is extrapolated",
            ghz(0)?,
            ghz(last)?,
            crate::units::ShownFrequency(hz)
        );
        return Err(table.wrong(if hz < ghz(0)? * 1e9 { 0 } else { last }, TABLE_COLUMNS[0], what));
    };
    if above == 0 {
        return table.needed(0, column);
    }
    let (from, to) = (ghz(above - 1)? * 1e9, ghz(above)? * 1e9);
    let share = ((hz - from) / (to - from)).clamp(0.0, 1.0);
    Ok(table.needed(above - 1, column)? * (1.0 - share) + table.needed(above, column)? * share)
}

/// The covariances that `rebuild` writes.
pub(super) fn covariance(path: &Path) -> Result<What, DescriptionError> {
    let table = NumberTable::read(path, &COVARIANCE_COLUMNS)?;
    let place = |row: usize, name: &str| {
        let number = table.needed(row, name)?;
        if !(1.0..=64.0).contains(&number) || number.fract() != 0.0 {
            return Err(table.wrong(row, name, "a port is a whole number from 1 to 64"));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked")]
        Ok(number as usize - 1)
    };
    let mut places = Vec::with_capacity(table.rows());
    for row in 0..table.rows() {
        let names = &COVARIANCE_COLUMNS[1..5];
        places.push(names.iter().map(|name| place(row, name)).collect::<Result<Vec<_>, _>>()?);
    }
    let ports = places.iter().flatten().max().map_or(0, |largest| largest + 1);
    let (mut at_hz, mut matrices) = (Vec::new(), Vec::<DMatrix<Complex64>>::new());
    let mut rows_here = 0;
    for (row, places) in places.iter().enumerate() {
        let hz = table.needed(row, COVARIANCE_COLUMNS[0])?;
        if at_hz.last().is_some_and(|last| *last > hz) {
            return Err(table.wrong(row, COVARIANCE_COLUMNS[0], "frequencies ascend"));
        }
        if at_hz.last().is_none_or(|last| *last < hz) {
            if let Some(matrix) = matrices.last() {
                check_covariance(&table, row - 1, matrix, rows_here, ports)?;
            }
            rows_here = 0;
            at_hz.push(hz);
            matrices.push(DMatrix::zeros(ports * ports, ports * ports));
        }
        rows_here += 1;
        let value = Complex64::new(table.needed(row, "re")?, table.needed(row, "im")?);
        let (a, b) = (places[0] * ports + places[1], places[2] * ports + places[3]);
        if let Some(matrix) = matrices.last_mut() {
            matrix[(a, b)] = value;
            matrix[(b, a)] = value.conj();
        }
    }
    if let Some(matrix) = matrices.last() {
        check_covariance(&table, table.rows() - 1, matrix, rows_here, ports)?;
    }
    Ok(What::Covariance { ports, at_hz, matrices })
}

/// Refuses what is no covariance: entries that are missing, or directions of negative variance.
fn check_covariance(
    table: &NumberTable,
    last_row: usize,
    matrix: &DMatrix<Complex64>,
    rows: usize,
    ports: usize,
) -> Result<(), DescriptionError> {
    /// Rounding may leave so much, relative to the largest.
    const ROUNDING: f64 = 1e-9;
    let size = ports * ports;
    let needed = size * (size + 1) / 2;
    if rows != needed {
        let what = format!(
            "{needed} rows are needed for each frequency of {ports} ports, this has {rows}"
        );
        return Err(table.wrong(last_row, COVARIANCE_COLUMNS[0], what));
    }
    let variances = nalgebra::SymmetricEigen::new(matrix.clone()).eigenvalues;
    if variances.min() < -ROUNDING * variances.max().max(f64::MIN_POSITIVE) {
        let what = "at this frequency some variance is negative: it is no covariance";
        return Err(table.wrong(last_row, COVARIANCE_COLUMNS[0], what));
    }
    Ok(())
}
