//! The table of all dies.

use super::csv::{Table, harmless, optional};
use crate::batch::LotJob;
use crate::units::db_from_neper;
use crate::wafer::{DieFigures, DieRow, LotResult};

/// One row per row of the manifest, in its order.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn dies(job: &LotJob, result: &LotResult) -> Result<String, csv::Error> {
    let mut table = Table::new();
    let own = [
        "lot",
        "wafer",
        "die_x",
        "die_y",
        "status",
        &format!("worst_{}", job.heading().rejection_name),
        "worst_at_lo_hz",
        "worst_at_if_hz",
        "worst_phase_error_deg",
        "worst_amplitude_imbalance_db",
        "margin_db",
        "message",
        "lo_power_dbm_min",
        "mean_amplitude_imbalance_db",
        "mean_phase_error_deg",
        "touchdown",
        "counts",
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
    let given = job.file_columns().iter().chain(job.carried_columns()).map(apart);
    table.row(own.iter().map(|name| (*name).to_owned()).chain(given))?;
    for row in &result.rows {
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
        .iter()
        .find(|limit| limit.quantity.is_rejection())
        .zip(row.figures.as_ref())
        .map(|(limit, figures)| limit.margin(figures));
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
