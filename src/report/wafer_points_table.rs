//! The curves of all dies of a lot as a Parquet table.

use super::parquet_table::{Cell, ColumnKind, ParquetColumn, ParquetTable, text_cell};
use super::wafer_dies_report::dies_parquet;
use crate::batch::{BatchError, LotRecords};
use crate::units::db_from_neper;
use crate::wafer::{DieOutcome, DiePoint, DieRow, DieSubject, LotHeading, LotResult, RecordDepth};
use std::io::{self, Write};

/// Rows of a group of points: enough for engines to share the work, few enough for 30 MB of memory.
const ROWS_OF_GROUP: usize = 1 << 17;

/// The form of the tables of all points.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointsForm {
    /// Apache Parquet.
    Parquet,
}

impl PointsForm {
    /// The names of its files: the dies, and their points.
    #[must_use]
    pub fn file_names(self) -> [&'static str; 2] {
        match self {
            Self::Parquet => ["dies.parquet", "points.parquet"],
        }
    }

    /// Writes the table of the dies, one row for each row of the list, with the columns of
    /// [`dies_csv`](super::dies_csv).
    ///
    /// # Errors
    /// That of `to`.
    pub fn write_dies(
        self,
        to: &mut (dyn Write + Send),
        heading: &LotHeading<'_>,
        result: &LotResult,
    ) -> io::Result<()> {
        match self {
            Self::Parquet => dies_parquet(to, heading, result),
        }
    }

    /// Writes the table of the points: one row for each frequency, or LO and IF, of each measured die,
    /// in the order of the list.
    ///
    /// # Errors
    /// That of `to`, and of journals that cannot be read.
    pub fn write_points(
        self,
        to: &mut (dyn Write + Send),
        heading: &LotHeading<'_>,
        result: &LotResult,
        records: &LotRecords,
    ) -> io::Result<()> {
        match self {
            Self::Parquet => points_parquet(to, heading, result, records),
        }
    }
}

fn points_parquet(
    to: &mut (dyn Write + Send),
    heading: &LotHeading<'_>,
    result: &LotResult,
    records: &LotRecords,
) -> io::Result<()> {
    let subject = PointSubject::of(heading, result);
    let mut table = ParquetTable::new(to, &columns(heading, subject), ROWS_OF_GROUP)?;
    let written = records.walk(RecordDepth::Points, |row, record| {
        let (Some(row), DieOutcome::Measured(die)) = (result.rows.get(row), &record.outcome) else {
            return Ok(());
        };
        // A die without figures contradicts the others.
        if row.figures.is_none() {
            return Ok(());
        }
        let place = PlaceCells::of(row)?;
        die.points.iter().try_for_each(|point| -> io::Result<()> {
            let place = place.0.iter().cloned();
            match subject {
                PointSubject::Splitter => table.row(place.chain(splitter_cells(point))),
                PointSubject::Multipliers => table.row(place.chain(receiver_cells(point))),
                PointSubject::Switches => {
                    table.row(place.chain(receiver_cells(point)).chain(losses(point)))
                }
            }
        })?;
        Ok(())
    });
    written.map_err(|TableError(source)| source)?;
    table.finish()
}

/// Why the rows of a table could not be written: an error of its file or of a journal.
struct TableError(io::Error);

impl From<io::Error> for TableError {
    fn from(source: io::Error) -> Self {
        Self(source)
    }
}

impl From<BatchError> for TableError {
    fn from(source: BatchError) -> Self {
        Self(io::Error::other(source))
    }
}

/// What the points of a lot are of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum PointSubject {
    Splitter,
    Multipliers,
    /// Receivers with switched mixers, which have a conversion loss.
    Switches,
}

impl PointSubject {
    fn of(heading: &LotHeading<'_>, result: &LotResult) -> Self {
        let has_switches =
            |row: &DieRow| row.figures.as_ref().is_some_and(|own| own.switched.is_some());
        match heading.settings.subject() {
            DieSubject::Receiver if result.rows.iter().any(has_switches) => Self::Switches,
            DieSubject::Receiver => Self::Multipliers,
            _ => Self::Splitter,
        }
    }
}

/// The columns that every subject has, and then its own.
fn columns(heading: &LotHeading<'_>, subject: PointSubject) -> Vec<ParquetColumn> {
    use ColumnKind::{Curve, Integer, Number, Text, Truth};
    let required = ParquetColumn::required;
    let optional = ParquetColumn::optional;
    let mut columns = vec![
        required("lot", Text),
        required("wafer", Text),
        required("die_x", Integer),
        required("die_y", Integer),
        required("measurement", Integer),
        required("counted", Truth),
        required("edge_excluded", Truth),
    ];
    let rejection = heading.rejection().name();
    columns.extend(if subject != PointSubject::Splitter {
        vec![
            required("lo_hz", Number),
            optional("if_hz", Number),
            required(rejection, Curve),
            required("amplitude_imbalance_db", Curve),
            required("quadrature_error_deg", Curve),
            required("image_amplitude_imbalance_db", Curve),
            required("image_quadrature_error_deg", Curve),
            required("sideband_gain_db", Curve),
        ]
    } else {
        vec![
            required("frequency_hz", Number),
            required(rejection, Curve),
            required("amplitude_imbalance_db", Curve),
            required("phase_error_deg", Curve),
            optional("loss_a_db", Curve),
            optional("loss_b_db", Curve),
        ]
    });
    if subject == PointSubject::Switches {
        columns.extend([
            optional("conversion_loss_i_db", Curve),
            optional("conversion_loss_q_db", Curve),
        ]);
    }
    columns
}

/// The cells that all points of a die share.
struct PlaceCells([Cell; 7]);

impl PlaceCells {
    fn of(row: &DieRow) -> io::Result<Self> {
        let measurement = i32::try_from(row.touchdown).map_err(io::Error::other)?;
        Ok(Self([
            text_cell(&row.key.lot),
            text_cell(&row.key.wafer),
            Cell::Integer(row.key.die_x),
            Cell::Integer(row.key.die_y),
            Cell::Integer(measurement),
            Cell::Truth(row.counts()),
            Cell::Truth(row.is_excluded),
        ]))
    }
}

/// Curves have the precision in which journals keep them.
#[expect(clippy::cast_possible_truncation, reason = "single precision is what is kept")]
fn curve(value: f64) -> Cell {
    // Zero has no sign.
    Cell::Curve((value + 0.0) as f32)
}

fn losses(point: &DiePoint) -> [Cell; 2] {
    point.losses_db.map_or([Cell::Null, Cell::Null], |losses_db| losses_db.map(curve))
}

fn splitter_cells(point: &DiePoint) -> [Cell; 6] {
    let [loss_a, loss_b] = losses(point);
    [
        Cell::Number(point.frequency_hz),
        curve(point.rejection_db),
        curve(db_from_neper(point.wanted_error.re)),
        curve(point.wanted_error.im.to_degrees()),
        loss_a,
        loss_b,
    ]
}

fn receiver_cells(point: &DiePoint) -> [Cell; 8] {
    [
        Cell::Number(point.frequency_hz),
        point.if_hz.map_or(Cell::Null, Cell::Number),
        curve(point.rejection_db),
        curve(db_from_neper(point.wanted_error.re)),
        curve(point.wanted_error.im.to_degrees()),
        curve(db_from_neper(point.channel_error.re)),
        curve(point.channel_error.im.to_degrees()),
        curve(point.sideband_gain_db),
    ]
}
