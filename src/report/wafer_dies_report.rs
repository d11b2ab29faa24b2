//! The dies of a run one by one: text, JSON, CSV and Parquet.

use super::csv_table::{CsvTable, harmless, optional};
use super::parquet_table::{Cell, ColumnKind, ParquetColumn, ParquetTable, text_cell};
use super::text_table::{abbreviated, filled};
use super::wafer_groups_report::LONGEST_NAME;
use crate::diagnostic::printable;
use crate::units::db_from_neper;
use crate::wafer::{DieFigures, DieRow, DieStatus, LotHeading, LotResult, Retest};
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::borrow::Cow;
use std::io::{self, Write};
use std::path::PathBuf;

/// One row per row of the list of dies, in its order.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn dies_csv(heading: &LotHeading<'_>, result: &LotResult) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    dies_rows(&mut table, heading, result)?;
    table.finish()
}

/// The same, written to `to`.
pub(super) fn write_dies_csv(
    to: &mut (dyn Write + Send),
    heading: &LotHeading<'_>,
    result: &LotResult,
) -> io::Result<()> {
    let mut table = CsvTable::to(to);
    dies_rows(&mut table, heading, result)?;
    table.end()
}

fn dies_rows<W: Write>(
    table: &mut CsvTable<W>,
    heading: &LotHeading<'_>,
    result: &LotResult,
) -> Result<(), csv::Error> {
    table.row(column_names(heading).iter().map(|name| harmless(name)))?;
    result.rows.iter().try_for_each(|row| {
        let own = own_cells(row, result).into_iter().map(DieCell::csv);
        table.row(own.chain(listed(row).map(|text| harmless(&text))))
    })
}

/// Rows of a group: texts of any length make them larger than curves.
const ROWS_OF_GROUP: usize = 1 << 14;

/// The same as a Parquet table; an empty text is a null.
pub(super) fn dies_parquet(
    to: &mut (dyn Write + Send),
    heading: &LotHeading<'_>,
    result: &LotResult,
) -> io::Result<()> {
    let own = own_columns(heading).into_iter().map(|(_, kind)| kind);
    let kinds = own.chain(std::iter::repeat(ColumnKind::Text));
    let names = column_names(heading).into_iter().zip(kinds);
    let columns: Vec<ParquetColumn> =
        names.map(|(name, kind)| ParquetColumn::optional(name, kind)).collect();
    let mut table = ParquetTable::new(to, &columns, ROWS_OF_GROUP)?;
    for row in &result.rows {
        let own = own_cells(row, result).into_iter().map(DieCell::parquet);
        table.row(own.chain(listed(row).map(|text| DieCell::Text(text.into()).parquet())))?;
    }
    table.finish()
}

/// The columns of ours, with their types.
fn own_columns(heading: &LotHeading<'_>) -> [(Cow<'static, str>, ColumnKind); 27] {
    use ColumnKind::{Integer, Number, Text, Truth};
    let worst_rejection = format!("worst_{}", heading.rejection().name());
    [
        ("lot".into(), Text),
        ("wafer".into(), Text),
        ("die_x".into(), Integer),
        ("die_y".into(), Integer),
        ("status".into(), Text),
        (worst_rejection.into(), Number),
        ("worst_at_lo_hz".into(), Number),
        ("worst_at_if_hz".into(), Number),
        ("worst_phase_error_deg".into(), Number),
        ("worst_amplitude_imbalance_db".into(), Number),
        ("margin_db".into(), Number),
        ("message".into(), Text),
        ("min_lo_power_dbm".into(), Number),
        ("max_conversion_loss_db".into(), Number),
        ("max_noise_figure_db".into(), Number),
        ("max_lo_at_rf_port_dbm".into(), Number),
        ("mean_amplitude_imbalance_db".into(), Number),
        ("mean_phase_error_deg".into(), Number),
        ("measurement".into(), Integer),
        ("counted".into(), Truth),
        ("edge_excluded".into(), Truth),
        ("outlier".into(), Truth),
        ("x_mm".into(), Number),
        ("y_mm".into(), Number),
        ("probability".into(), Number),
        ("decision".into(), Text),
        ("warnings".into(), Text),
    ]
}

/// The names of all columns: ours, then the files and other columns of the list. A column of the list
/// that has a name of ours gets another, for readers by name.
fn column_names(heading: &LotHeading<'_>) -> Vec<String> {
    let own = own_columns(heading).map(|(name, _)| name.into_owned());
    let given = heading.file_columns.iter().chain(heading.carried_columns);
    let given: Vec<String> = given
        .map(|name| if own.contains(name) { format!("listed_{name}") } else { name.clone() })
        .collect();
    own.into_iter().chain(given).collect()
}

/// A value of a column of ours.
enum DieCell<'r> {
    Text(Cow<'r, str>),
    Integer(i64),
    Truth(bool),
    Number(Option<f64>),
}

impl DieCell<'_> {
    fn csv(self) -> String {
        match self {
            Self::Text(text) => harmless(&text),
            Self::Integer(number) => number.to_string(),
            Self::Truth(is) => is.to_string(),
            Self::Number(number) => optional(number),
        }
    }

    fn parquet(self) -> Cell {
        match self {
            Self::Text(text) if text.is_empty() => Cell::Null,
            Self::Text(text) => text_cell(&text),
            Self::Integer(number) => i32::try_from(number).map_or(Cell::Null, Cell::Integer),
            Self::Truth(is) => Cell::Truth(is),
            Self::Number(number) => number.map_or(Cell::Null, Cell::Number),
        }
    }
}

/// The fields of files and of other columns of the list; one without a file is empty.
fn listed(row: &DieRow) -> impl Iterator<Item = String> {
    let name = |file: &Option<PathBuf>| {
        file.as_ref().map(|file| file.display().to_string()).unwrap_or_default()
    };
    row.files.iter().map(name).chain(row.carried.iter().cloned())
}

fn own_cells<'r>(row: &'r DieRow, result: &LotResult) -> [DieCell<'r>; 27] {
    use DieCell::{Integer, Number, Text, Truth};
    let figure = |value: &dyn Fn(&DieFigures) -> f64| Number(row.figures.as_deref().map(value));
    let known =
        |value: &dyn Fn(&DieFigures) -> Option<f64>| Number(row.figures.as_deref().and_then(value));
    let rejection = result.limits.rejection();
    let conformity = row.figures.as_ref().and_then(|figures| figures.conformity);
    [
        Text((*row.key.lot).into()),
        Text((*row.key.wafer).into()),
        Integer(row.key.die_x.into()),
        Integer(row.key.die_y.into()),
        Text(row.status.name().into()),
        figure(&|figures| figures.worst_rejection_db),
        figure(&|figures| figures.worst_at_hz),
        known(&|figures| figures.worst_at_if_hz),
        figure(&|figures| figures.worst_phase_error_deg),
        figure(&|figures| figures.worst_amplitude_imbalance_db),
        known(&|figures| Some(figures.margin(rejection?))),
        Text(row.message.as_str().into()),
        known(&|figures| figures.min_lo_power_dbm),
        known(&|figures| figures.switched?.conversion_loss_db),
        known(&|figures| figures.switched?.noise_figure_db),
        known(&|figures| figures.switched?.lo_at_rf_port_dbm),
        figure(&|figures| db_from_neper(figures.mean_error.re) + 0.0),
        figure(&|figures| figures.mean_error.im.to_degrees() + 0.0),
        Integer(i64::try_from(row.touchdown).unwrap_or(i64::MAX)),
        Truth(row.not_counted().is_none()),
        Truth(row.is_excluded),
        Truth(row.is_outlier),
        Number(row.position.map(|position| position.x_mm)),
        Number(row.position.map(|position| position.y_mm)),
        Number(conformity.map(|known| known.probability)),
        Text(conformity.map_or("", |known| known.decision.name()).into()),
        Text(row.warnings.as_deref().unwrap_or_default().into()),
    ]
}

/// Rows of each kind that the document lists; `dies.csv` has them all.
const LISTED: usize = 10_000;

/// The rows that the document lists one by one.
#[derive(Debug, Serialize)]
pub(super) struct ListedRows {
    /// Dies that were measured more than once.
    retests: Vec<Value>,
    /// Rows that could not be measured, with the reason.
    not_measured: Vec<Value>,
    /// Dies that are outliers of their wafer.
    outliers: Vec<Value>,
    /// Dies that were measured although something speaks against their files.
    warned: Vec<Value>,
    /// How many more there are of each kind; absent where all are listed.
    #[serde(skip_serializing_if = "Map::is_empty")]
    left_out: Map<String, Value>,
}

impl ListedRows {
    pub(super) fn of(result: &LotResult) -> Self {
        let rows = || result.rows.iter();
        let not_measured =
            || rows().filter(|row| matches!(row.status, DieStatus::Incomplete | DieStatus::Error));
        let outliers = || rows().filter(|row| row.counts() && row.is_outlier);
        let warned = || rows().filter(|row| row.warnings.is_some());
        let warnings = |row: &DieRow| named(row, &[("warnings", row.warnings.as_deref().into())]);
        let reason = |row: &DieRow| {
            let status = ("status", row.status.name().into());
            named(row, &[status, ("message", row.message.clone().into())])
        };
        let outlier = |row: &DieRow| named(row, &[("status", row.status.name().into())]);
        let left_out = [
            ("retests", result.retests.len()),
            ("not_measured", not_measured().count()),
            ("outliers", outliers().count()),
            ("warned", warned().count()),
        ];
        let left_out = left_out.into_iter().filter(|(_, count)| *count > LISTED);
        let retests = result.retests.iter().take(LISTED);
        Self {
            retests: retests.map(|retest| retested(retest, result)).collect(),
            not_measured: not_measured().take(LISTED).map(reason).collect(),
            outliers: outliers().take(LISTED).map(outlier).collect(),
            warned: warned().take(LISTED).map(warnings).collect(),
            left_out: left_out
                .map(|(kind, count)| (kind.to_owned(), (count - LISTED).into()))
                .collect(),
        }
    }
}

fn named(row: &DieRow, more: &[(&str, Value)]) -> Value {
    let mut made = Map::new();
    for (key, value) in [
        ("lot", Value::from(&*row.key.lot)),
        ("wafer", (&*row.key.wafer).into()),
        ("die_x", row.key.die_x.into()),
        ("die_y", row.key.die_y.into()),
        ("line", row.line.into()),
    ] {
        made.insert(key.to_owned(), value);
    }
    for (key, value) in more {
        made.insert((*key).to_owned(), value.clone());
    }
    made.into()
}

fn retested(retest: &Retest, result: &LotResult) -> Value {
    let measurements = retest.rows.iter().map(|&at| {
        let row = &result.rows[at];
        json!({
            "line": row.line,
            "status": row.status.name(),
            "worst_rejection_db": row.figures.as_ref().map(|figures| figures.worst_rejection_db),
            "counted": row.stands,
        })
    });
    json!({
        "lot": &*retest.key.lot,
        "wafer": &*retest.key.wafer,
        "die_x": retest.key.die_x,
        "die_y": retest.key.die_y,
        "measurements": measurements.collect::<Vec<_>>(),
    })
}

/// Dies listed in the text; `dies.csv` has them all.
const ROWS_SHOWN: usize = 8;

/// Dies that people should look at.
pub(super) fn dies_text(result: &LotResult) -> String {
    let mut text = String::new();
    let mut found = 0;
    for row in &result.rows {
        let says = match row.status {
            DieStatus::Incomplete | DieStatus::Error => {
                format!("{}: {}", row.status.name(), printable(&row.message))
            }
            _ if row.counts() && row.is_outlier => {
                format!("is an outlier of its wafer ({})", row.status.name())
            }
            _ => continue,
        };
        found += 1;
        if found == 1 {
            text.push('\n');
        }
        if found <= ROWS_SHOWN {
            text.push_str(&filled(&format!(
                "{} {} ({}, {}) {says}",
                abbreviated(&row.key.lot, LONGEST_NAME),
                abbreviated(&row.key.wafer, LONGEST_NAME),
                row.key.die_x,
                row.key.die_y
            )));
        }
    }
    if found > ROWS_SHOWN {
        text.push_str(&format!("and {} more in dies.csv\n", found - ROWS_SHOWN));
    }
    text.push_str(&warned_text(result));
    text
}

/// How many dies were measured although something speaks against their files, and of the first, what.
fn warned_text(result: &LotResult) -> String {
    let mut warned = result.rows.iter().filter_map(|row| Some((row, row.warnings.as_deref()?)));
    let Some((first, warnings)) = warned.next() else { return String::new() };
    let others = match warned.count() {
        0 => String::new(),
        others => format!(" Warnings of {others} more rows are in dies.csv."),
    };
    let ends = if warnings.ends_with('.') { "" } else { "." };
    filled(&format!(
        "Warning: {} {} ({}, {}): {}{ends}{others}",
        abbreviated(&first.key.lot, LONGEST_NAME),
        abbreviated(&first.key.wafer, LONGEST_NAME),
        first.key.die_x,
        first.key.die_y,
        printable(warnings),
    ))
}
