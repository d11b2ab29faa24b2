//! The dies of a run one by one: text, JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use super::text_table::{abbreviated, filled};
use super::wafer_groups_report::LONGEST_NAME;
use crate::diagnostic::printable;
use crate::units::db_from_neper;
use crate::wafer::{DieFigures, DieRow, DieStatus, LotHeading, LotResult, Retest};
use serde::Serialize;
use serde_json::{Map, Value, json};

/// One row per row of the manifest, in its order.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn dies_csv(heading: &LotHeading<'_>, result: &LotResult) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    let own = [
        "lot",
        "wafer",
        "die_x",
        "die_y",
        "status",
        &format!("worst_{}", heading.rejection().name()),
        "worst_at_lo_hz",
        "worst_at_if_hz",
        "worst_phase_error_deg",
        "worst_amplitude_imbalance_db",
        "margin_db",
        "message",
        "min_lo_power_dbm",
        "mean_amplitude_imbalance_db",
        "mean_phase_error_deg",
        "measurement",
        "counted",
        "edge_excluded",
        "outlier",
        "x_mm",
        "y_mm",
        "probability",
        "decision",
        "warnings",
    ];
    // A column of the list that has a name of ours is told apart, for readers by name.
    let apart = |name: &String| match own.contains(&name.as_str()) {
        true => format!("listed_{name}"),
        false => harmless(name),
    };
    let given = heading.file_columns.iter().chain(heading.carried_columns).map(apart);
    table.row(own.iter().map(|name| (*name).to_owned()).chain(given))?;
    for row in &result.rows {
        // A file that the list does not name is an empty field.
        let given = row
            .files
            .iter()
            .map(|file| file.as_ref().map(|file| file.display().to_string()).unwrap_or_default())
            .chain(row.carried.iter().cloned());
        table.row(fields(row, result).into_iter().chain(given.map(|text| harmless(&text))))?;
    }
    table.finish()
}

fn fields(row: &DieRow, result: &LotResult) -> [String; 24] {
    let figure = |value: &dyn Fn(&DieFigures) -> f64| optional(row.figures.as_deref().map(value));
    let margin = result
        .limits
        .rejection()
        .zip(row.figures.as_ref())
        .map(|(limit, figures)| figures.margin(limit));
    let conformity = row.figures.as_ref().and_then(|figures| figures.conformity);
    let position = |value: Option<f64>| optional(value);
    [
        harmless(&row.key.lot),
        harmless(&row.key.wafer),
        row.key.die_x.to_string(),
        row.key.die_y.to_string(),
        row.status.name().to_owned(),
        figure(&|figures| figures.worst_rejection_db),
        figure(&|figures| figures.worst_at_hz),
        optional(row.figures.as_ref().and_then(|figures| figures.worst_at_if_hz)),
        figure(&|figures| figures.worst_phase_error_deg),
        figure(&|figures| figures.worst_amplitude_imbalance_db),
        optional(margin),
        harmless(&row.message),
        optional(row.figures.as_ref().and_then(|figures| figures.least_lo_power_dbm)),
        figure(&|figures| db_from_neper(figures.mean_error.re) + 0.0),
        figure(&|figures| figures.mean_error.im.to_degrees() + 0.0),
        row.touchdown.to_string(),
        row.counts().to_string(),
        row.is_excluded.to_string(),
        row.is_outlier.to_string(),
        position(row.position.map(|position| position.x_mm)),
        position(row.position.map(|position| position.y_mm)),
        optional(conformity.map(|known| known.probability)),
        conformity.map_or_else(String::new, |known| known.decision.name().to_owned()),
        row.warnings.as_ref().map_or_else(String::new, |text| harmless(text)),
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
