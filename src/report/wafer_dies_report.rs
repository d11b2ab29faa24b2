//! The dies of a run one by one: text, JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use super::text_table::{abbreviated, filled};
use super::wafer_groups_report::LONGEST_NAME;
use crate::diagnostic::printable;
use crate::units::db_from_neper;
use crate::wafer::{DieFigures, DieRow, DieStatus, LotHeading, LotResult, Retest};
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

fn fields(row: &DieRow, result: &LotResult) -> [String; 23] {
    let figure = |value: &dyn Fn(&DieFigures) -> f64| optional(row.figures.as_ref().map(value));
    let margin = result
        .limits
        .rejection()
        .zip(row.figures.as_ref())
        .map(|(limit, figures)| figures.margin(limit));
    let conformity = row.figures.and_then(|figures| figures.conformity);
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
    ]
}

/// Rows that could not be measured, with the reason.
pub(super) fn not_measured_json(result: &LotResult) -> Vec<Value> {
    let rows = result.rows.iter();
    rows.filter(|row| matches!(row.status, DieStatus::Incomplete | DieStatus::Error))
        .map(|row| {
            named(
                row,
                &[("status", row.status.name().into()), ("message", row.message.clone().into())],
            )
        })
        .collect()
}

/// Dies that are outliers of their wafer.
pub(super) fn outliers_json(result: &LotResult) -> Vec<Value> {
    let rows = result.rows.iter();
    rows.filter(|row| row.counts() && row.is_outlier)
        .map(|row| named(row, &[("status", row.status.name().into())]))
        .collect()
}

/// Dies that were measured more than once.
pub(super) fn retests_json(result: &LotResult) -> Vec<Value> {
    result.retests.iter().map(|retest| retested(retest, result)).collect()
}

fn named(row: &DieRow, more: &[(&str, Value)]) -> Value {
    let mut made = Map::new();
    for (key, value) in [
        ("lot", Value::from(row.key.lot.clone())),
        ("wafer", row.key.wafer.clone().into()),
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
            "worst_rejection_db": row.figures.map(|figures| figures.worst_rejection_db),
            "counted": row.stands,
        })
    });
    json!({
        "lot": retest.key.lot,
        "wafer": retest.key.wafer,
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
    let found: Vec<String> = result
        .rows
        .iter()
        .filter_map(|row| {
            let place = format!(
                "{} {} ({}, {})",
                abbreviated(&row.key.lot, LONGEST_NAME),
                abbreviated(&row.key.wafer, LONGEST_NAME),
                row.key.die_x,
                row.key.die_y
            );
            match row.status {
                DieStatus::Incomplete | DieStatus::Error => {
                    Some(format!("{place} {}: {}", row.status.name(), printable(&row.message)))
                }
                _ if row.counts() && row.is_outlier => {
                    Some(format!("{place} stands apart from its wafer ({})", row.status.name()))
                }
                _ => None,
            }
        })
        .collect();
    if !found.is_empty() {
        text.push('\n');
    }
    for line in found.iter().take(ROWS_SHOWN) {
        text.push_str(&filled(line));
    }
    if found.len() > ROWS_SHOWN {
        text.push_str(&format!("and {} more in dies.csv\n", found.len() - ROWS_SHOWN));
    }
    text
}
