//! Parquet tables, written row group by row group, so that memory does not grow with the table.
//!
//! A file holds nothing of the day or the machine: the same rows give the same bytes.

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, FloatType, Int32Type};
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::{ColumnPath, Type};
use std::io::{self, Write};
use std::sync::Arc;

/// The program in the metadata, without a version.
const CREATED_BY: &str = "fourphase";

/// The type of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ColumnKind {
    Text,
    Integer,
    Truth,
    /// Double precision.
    Number,
    /// Single precision, with many different values.
    Curve,
}

/// A column of a table.
#[derive(Clone, Debug)]
pub(super) struct ParquetColumn {
    pub(super) name: String,
    pub(super) kind: ColumnKind,
    /// Whether rows may have no value, which is a null.
    pub(super) may_be_null: bool,
}

/// A value of a row.
#[derive(Clone, Debug)]
pub(super) enum Cell {
    Null,
    Text(ByteArray),
    Integer(i32),
    Truth(bool),
    Number(f64),
    Curve(f32),
}

/// The values of a column that are not written yet; nulls have a level only.
struct Buffered {
    values: Values,
    levels: Option<Vec<i16>>,
}

enum Values {
    Text(Vec<ByteArray>),
    Integer(Vec<i32>),
    Truth(Vec<bool>),
    Number(Vec<f64>),
    Curve(Vec<f32>),
}

/// A table that is written to `to`.
pub(super) struct ParquetTable<'w> {
    writer: SerializedFileWriter<&'w mut (dyn Write + Send)>,
    columns: Vec<Buffered>,
    rows: usize,
    rows_of_group: usize,
}

/// A text as a value of a row.
pub(super) fn text_cell(text: &str) -> Cell {
    Cell::Text(ByteArray::from(text.as_bytes().to_vec()))
}

impl<'w> ParquetTable<'w> {
    /// A table with these columns, in groups of `rows_of_group` rows.
    pub(super) fn new(
        to: &'w mut (dyn Write + Send),
        columns: &[ParquetColumn],
        rows_of_group: usize,
    ) -> io::Result<Self> {
        let fields = columns.iter().map(ParquetColumn::field).collect::<Result<Vec<_>, _>>();
        let schema = fields
            .and_then(|fields| Type::group_type_builder("schema").with_fields(fields).build());
        let mut properties = WriterProperties::builder()
            .set_created_by(CREATED_BY.to_owned())
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_offset_index_disabled(true);
        for column in columns.iter().filter(|column| column.kind == ColumnKind::Curve) {
            let path = ColumnPath::from(column.name.as_str());
            properties = properties.set_column_dictionary_enabled(path, false);
        }
        let writer = schema.and_then(|schema| {
            SerializedFileWriter::new(to, Arc::new(schema), Arc::new(properties.build()))
        });
        Ok(Self {
            writer: writer.map_err(as_io)?,
            columns: columns.iter().map(Buffered::of).collect(),
            rows: 0,
            rows_of_group,
        })
    }

    /// Adds a row: a cell of its kind, or null where allowed, for each column.
    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = Cell>) -> io::Result<()> {
        let mut cells = cells.into_iter();
        for column in &mut self.columns {
            let fits = cells.next().is_some_and(|cell| column.push(cell));
            if !fits {
                return Err(io::Error::other("a row does not fit the columns of its table"));
            }
        }
        self.rows += 1;
        if self.rows == self.rows_of_group { self.write_group() } else { Ok(()) }
    }

    /// Writes what is left, and the end of the file.
    pub(super) fn finish(mut self) -> io::Result<()> {
        if self.rows > 0 {
            self.write_group()?;
        }
        self.writer.close().map(drop).map_err(as_io)
    }

    fn write_group(&mut self) -> io::Result<()> {
        let mut written = || {
            let mut group = self.writer.next_row_group()?;
            for column in &mut self.columns {
                if let Some(mut writer) = group.next_column()? {
                    column.write(&mut writer)?;
                    writer.close()?;
                }
            }
            group.close().map(drop)
        };
        self.rows = 0;
        written().map_err(as_io)
    }
}

impl ParquetColumn {
    pub(super) fn required(name: impl Into<String>, kind: ColumnKind) -> Self {
        Self { name: name.into(), kind, may_be_null: false }
    }

    pub(super) fn optional(name: impl Into<String>, kind: ColumnKind) -> Self {
        Self { name: name.into(), kind, may_be_null: true }
    }

    fn field(&self) -> Result<Arc<Type>, ParquetError> {
        let (physical, logical) = match self.kind {
            ColumnKind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            ColumnKind::Integer => (Physical::INT32, None),
            ColumnKind::Truth => (Physical::BOOLEAN, None),
            ColumnKind::Number => (Physical::DOUBLE, None),
            ColumnKind::Curve => (Physical::FLOAT, None),
        };
        let repetition = if self.may_be_null { Repetition::OPTIONAL } else { Repetition::REQUIRED };
        Type::primitive_type_builder(&self.name, physical)
            .with_logical_type(logical)
            .with_repetition(repetition)
            .build()
            .map(Arc::new)
    }
}

impl Buffered {
    fn of(column: &ParquetColumn) -> Self {
        let values = match column.kind {
            ColumnKind::Text => Values::Text(Vec::new()),
            ColumnKind::Integer => Values::Integer(Vec::new()),
            ColumnKind::Truth => Values::Truth(Vec::new()),
            ColumnKind::Number => Values::Number(Vec::new()),
            ColumnKind::Curve => Values::Curve(Vec::new()),
        };
        Self { values, levels: column.may_be_null.then(Vec::new) }
    }

    /// Adds a value; `false` for one of another kind.
    fn push(&mut self, cell: Cell) -> bool {
        let is_null = matches!(cell, Cell::Null);
        match (&mut self.values, cell) {
            (_, Cell::Null) if self.levels.is_some() => {}
            (Values::Text(values), Cell::Text(value)) => values.push(value),
            (Values::Integer(values), Cell::Integer(value)) => values.push(value),
            (Values::Truth(values), Cell::Truth(value)) => values.push(value),
            (Values::Number(values), Cell::Number(value)) => values.push(value),
            (Values::Curve(values), Cell::Curve(value)) => values.push(value),
            _ => return false,
        }
        if let Some(levels) = &mut self.levels {
            levels.push(i16::from(!is_null));
        }
        true
    }

    /// Writes and forgets the values.
    fn write(&mut self, writer: &mut SerializedColumnWriter<'_>) -> Result<(), ParquetError> {
        let levels = self.levels.as_deref();
        match &mut self.values {
            Values::Text(values) => {
                writer.typed::<ByteArrayType>().write_batch(values, levels, None)?;
                values.clear();
            }
            Values::Integer(values) => {
                writer.typed::<Int32Type>().write_batch(values, levels, None)?;
                values.clear();
            }
            Values::Truth(values) => {
                writer.typed::<BoolType>().write_batch(values, levels, None)?;
                values.clear();
            }
            Values::Number(values) => {
                writer.typed::<DoubleType>().write_batch(values, levels, None)?;
                values.clear();
            }
            Values::Curve(values) => {
                writer.typed::<FloatType>().write_batch(values, levels, None)?;
                values.clear();
            }
        }
        if let Some(levels) = &mut self.levels {
            levels.clear();
        }
        Ok(())
    }
}

/// The error of the operating system where one is behind it.
fn as_io(error: ParquetError) -> io::Error {
    match error {
        ParquetError::External(source) => match source.downcast::<io::Error>() {
            Ok(source) => *source,
            Err(other) => io::Error::other(other),
        },
        other => io::Error::other(other),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use parquet::file::reader::{FileReader as _, SerializedFileReader};
    use parquet::record::Field;

    fn table(rows: i32, rows_of_group: usize) -> Vec<u8> {
        let columns = [
            ParquetColumn::required("wafer", ColumnKind::Text),
            ParquetColumn::required("die_x", ColumnKind::Integer),
            ParquetColumn::optional("margin_db", ColumnKind::Number),
            ParquetColumn::optional("image_rejection_db", ColumnKind::Curve),
            ParquetColumn::required("counted", ColumnKind::Truth),
        ];
        let mut bytes = Vec::new();
        let mut table = ParquetTable::new(&mut bytes, &columns, rows_of_group).unwrap();
        for row in 0..rows {
            let margin = if row % 3 == 0 { Cell::Null } else { Cell::Number(f64::from(row) / 7.0) };
            let rejection = if row == 1 { f32::INFINITY } else { 31.5 };
            let cells = [
                text_cell(["W1", "Ω, \"2\""][usize::from(row % 2 == 1)]),
                Cell::Integer(row - 2),
                margin,
                Cell::Curve(rejection),
                Cell::Truth(row % 2 == 0),
            ];
            table.row(cells).unwrap();
        }
        table.finish().unwrap();
        bytes
    }

    #[test]
    fn rows_are_read_back_with_their_types_whatever_the_groups() {
        for (rows, rows_of_group, groups) in [(0, 4, 0), (7, 4, 2), (8, 4, 2), (7, 100, 1)] {
            let bytes = table(rows, rows_of_group);
            assert_eq!(bytes, table(rows, rows_of_group));
            let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
            let metadata = reader.metadata();
            assert_eq!(metadata.num_row_groups(), groups);
            assert_eq!(metadata.file_metadata().created_by(), Some(CREATED_BY));
            let read: Vec<Vec<Field>> = reader
                .get_row_iter(None)
                .unwrap()
                .map(|row| row.unwrap().get_column_iter().map(|(_, field)| field.clone()).collect())
                .collect();
            assert_eq!(read.len(), usize::try_from(rows).unwrap());
            for (at, row) in (0_i32..).zip(read) {
                let rejection = if at == 1 { f32::INFINITY } else { 31.5 };
                let want = [
                    Field::Str(["W1", "Ω, \"2\""][usize::from(at % 2 == 1)].to_owned()),
                    Field::Int(at - 2),
                    if at % 3 == 0 { Field::Null } else { Field::Double(f64::from(at) / 7.0) },
                    Field::Float(rejection),
                    Field::Bool(at % 2 == 0),
                ];
                assert_eq!(row, want);
            }
        }
    }

    #[test]
    fn a_row_of_other_kinds_is_refused() {
        let columns = [ParquetColumn::required("die_x", ColumnKind::Integer)];
        for cells in [vec![], vec![Cell::Null], vec![Cell::Number(1.0)]] {
            let mut bytes = Vec::new();
            let mut table = ParquetTable::new(&mut bytes, &columns, 10).unwrap();
            assert!(table.row(cells).is_err());
        }
    }
}
