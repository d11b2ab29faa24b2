//! Tones: a table of the powers of the wanted and of the image sideband, measured over LO and IF.

use super::allowed::Allowed;
use super::error::{DescriptionError, DescriptionProblem};
use super::table::{Column, NumberTable, RowPlace};
use crate::measurement::{MeasurementError, ToneMeasurement};
use std::path::Path;

const COLUMNS: [&str; 6] =
    ["lo_ghz", "if_ghz", "wanted_dbm", "image_dbm", "u_wanted_db", "u_image_db"];

/// Measured tones with the table from which they were read.
#[derive(Clone, Debug)]
pub struct Tones {
    table: NumberTable,
    lo: Column,
    measurements: Vec<ToneMeasurement>,
}

/// Reads a table of measured tones: a row for each LO and IF with the columns `lo_ghz`, `if_ghz`,
/// `wanted_dbm`, `image_dbm`, `u_wanted_db` and `u_image_db`, in any order. The last two are standard
/// uncertainties.
///
/// # Errors
/// [`DescriptionError`] with the line and column of the error.
///
/// # Examples
/// ```
/// use fourphase::description::read_tones;
///
/// let tones = read_tones("data-demo/tones.csv".as_ref())?;
/// let first = tones.measurements()[0];
/// assert_eq!((first.lo_hz, first.if_hz), (27e9, 0.5e9));
/// // -20.50 dBm wanted, -49.37 dBm image.
/// assert!((first.rejection_db - 28.87).abs() < 1e-9);
/// # Ok::<(), fourphase::description::DescriptionError>(())
/// ```
#[doc = include_str!("tones.md")]
pub fn read_tones(path: &Path) -> Result<Tones, DescriptionError> {
    let table = NumberTable::read(path, &COLUMNS)?;
    let column = |at: usize| table.header.required(COLUMNS[at]);
    let (lo, intermediate, wanted, image) = (column(0)?, column(1)?, column(2)?, column(3)?);
    let (u_wanted, u_image) = (column(4)?, column(5)?);
    let measurements = (0..table.places().len()).map(|row| {
        let number = |column, allowed| table.number(row, column, allowed);
        let u = |column| number(column, Allowed::FromTo(1e-4, 6.0));
        Ok(ToneMeasurement {
            lo_hz: number(lo, Allowed::AboveZero)? * 1e9,
            if_hz: number(intermediate, Allowed::AboveZero)? * 1e9,
            rejection_db: number(wanted, Allowed::Finite)? - number(image, Allowed::Finite)?,
            u_db: u(u_wanted)?.hypot(u(u_image)?),
        })
    });
    let measurements = measurements.collect::<Result<Vec<_>, DescriptionError>>()?;
    if measurements.iter().all(|tone: &ToneMeasurement| tone.rejection_db < 0.0) {
        let what = "image_dbm is above wanted_dbm in every row: either the two columns are \
                    exchanged, or the other sideband is the wanted one";
        return Err(table.header.complaint(what, RowPlace::HEADER, wanted));
    }
    Ok(Tones { table, lo, measurements })
}

impl Tones {
    /// The measurements, in the order of the rows; at least one.
    #[must_use]
    pub fn measurements(&self) -> &[ToneMeasurement] {
        &self.measurements
    }

    /// An error in the comparison of these measurements, with its row.
    #[must_use]
    pub fn located(&self, error: &MeasurementError) -> DescriptionError {
        let place = match error {
            MeasurementError::NotInPlan { measurement, .. }
            | MeasurementError::Uncertainty { measurement, .. } => {
                measurement.checked_sub(1).and_then(|at| self.table.places().get(at))
            }
            _ => None,
        };
        let problem = DescriptionProblem::Value { what: error.to_string() };
        match place {
            Some(place) => self.table.header.error(problem, *place, self.lo),
            None => DescriptionError::about_file(self.table.header.path(), problem),
        }
    }
}
