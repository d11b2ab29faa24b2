//! Results as CSV tables: one header row, names that end in their units, `inf` without bound, an
//! empty field where there is no value.

use super::json::{ComparisonReport, Inspected, RebuildReport, ToleranceReport};
use crate::downconverter::FrequencyPlan;
use crate::measurement::COVARIANCE_COLUMNS;
use crate::measurement::EntryCovariance;
use crate::network::FrequencyGrid;
use crate::splitter::{SplitterKind, SplitterResult};
use crate::touchstone::TouchstoneFile;

/// The points of a splitter, one row per frequency.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn splitter(result: &SplitterResult) -> Result<String, csv::Error> {
    let mut table = Table::new();
    let rejection = match result.roles.kind {
        SplitterKind::Antiphase => "common_mode_rejection_db",
        _ => "image_rejection_db",
    };
    let ports = result.points.first().map_or(0, |point| point.return_loss_db.len());
    let fixed = [
        "frequency_hz",
        "amplitude_imbalance_db",
        "phase_difference_deg",
        "phase_error_deg",
        rejection,
        "loss_a_db",
        "loss_b_db",
        "excess_loss_db",
        "isolation_db",
        "output_isolation_db",
    ];
    table.row(
        fixed
            .iter()
            .map(ToString::to_string)
            .chain((1..=ports).map(|port| format!("return_loss_{port}_db"))),
    )?;
    for point in &result.points {
        let fixed = [
            Some(point.frequency_hz),
            Some(point.amplitude_imbalance_db),
            Some(point.phase_difference_deg),
            Some(point.phase_error_deg),
            Some(point.rejection_db),
            Some(point.loss_a_db),
            Some(point.loss_b_db),
            Some(point.excess_loss_db),
            point.isolation_db,
            Some(point.output_isolation_db),
        ];
        table.row(fixed.into_iter().chain(point.return_loss_db.iter().copied()).map(optional))?;
    }
    table.finish()
}

/// What `inspect` says, one row per file.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn inspected(files: &[&Inspected]) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row([
        "file",
        "error",
        "touchstone_version",
        "ports",
        "parameter",
        "number_format",
        "first_hz",
        "last_hz",
        "points",
        "spacing",
        "noise_points",
        "warnings",
        "passive",
        "max_singular_value",
        "reciprocal",
        "max_reciprocity_error",
        "max_phase_step_deg",
    ])?;
    for file in files {
        // The JSON form is the one list of names; the table picks from it.
        let value = serde_json::to_value(file).unwrap_or_default();
        let text = |at: &serde_json::Value| match at {
            serde_json::Value::Null => String::new(),
            serde_json::Value::String(text) => text.clone(),
            serde_json::Value::Array(list) => list.len().to_string(),
            other => other.to_string(),
        };
        let (range, quality) = (&value["frequency_hz"], &value["quality"]);
        table.row(
            [
                &value["file"],
                &value["error"],
                &value["touchstone_version"],
                &value["ports"],
                &value["parameter"],
                &value["number_format"],
                &range["first"],
                &range["last"],
                &range["count"],
                &range["spacing"],
                &value["noise_points"],
                &value["warnings"],
                &quality["passive"],
                &quality["max_singular_value"],
                &quality["reciprocal"],
                &quality["max_reciprocity_error"],
                &quality["max_phase_step_deg"],
            ]
            .map(text),
        )?;
    }
    table.finish()
}

/// The numbers of files: one row per file and frequency, entries row by row. Files of different
/// sizes share the header of the largest; what they lack is empty.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn data<'a>(
    files: impl Iterator<Item = (&'a str, &'a TouchstoneFile)> + Clone,
) -> Result<String, csv::Error> {
    let mut table = Table::new();
    let ports = files.clone().map(|(_, file)| file.network.ports()).max().unwrap_or(0);
    let entries = (1..=ports).flat_map(|row| (1..=ports).map(move |column| (row, column)));
    let names = entries
        .clone()
        .flat_map(|(row, column)| ["re", "im"].map(|part| format!("{row}_{column}_{part}")));
    table.row(["file", "parameter", "frequency_hz"].map(str::to_owned).into_iter().chain(names))?;
    for (name, file) in files {
        let network = &file.network;
        for (point, frequency_hz) in network.grid().as_hz().iter().enumerate() {
            let matrix = network.matrix(point).as_slice();
            let n = network.ports();
            let values = entries.clone().flat_map(|(row, column)| {
                let value = (row <= n && column <= n).then(|| matrix[(row - 1) * n + column - 1]);
                [value.map(|value| value.re), value.map(|value| value.im)].map(optional)
            });
            let head = [name.to_owned(), network.kind().to_string(), frequency_hz.to_string()];
            table.row(head.into_iter().chain(values))?;
        }
    }
    table.finish()
}

/// The two tables of `tolerance`, one after the other in one list.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn tolerance(report: &ToleranceReport) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row(["given", "amplitude_imbalance_db", "phase_error_deg"])?;
    for row in &report.allowed_phase_error {
        let given = row.amplitude_imbalance_db.to_string();
        table.row(["amplitude_imbalance_db".to_owned(), given, optional(row.phase_error_deg)])?;
    }
    for row in &report.allowed_amplitude_imbalance {
        let given = row.phase_error_deg.to_string();
        table.row(["phase_error_deg".to_owned(), optional(row.amplitude_imbalance_db), given])?;
    }
    table.finish()
}

/// The entries of a comparison, one row each.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn comparison(report: &ComparisonReport) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row([
        "row",
        "column",
        "worst_db",
        "worst_db_at_hz",
        "rms_db",
        "worst_deg",
        "worst_deg_at_hz",
        "rms_deg",
        "worst_vector",
        "worst_vector_at_hz",
        "rms_vector",
    ])?;
    for entry in &report.entries {
        let values = [
            entry.worst_db,
            entry.worst_db_at_hz,
            entry.rms_db,
            entry.worst_deg,
            entry.worst_deg_at_hz,
            entry.rms_deg,
            Some(entry.worst_vector),
            Some(entry.worst_vector_at_hz),
            Some(entry.rms_vector),
        ];
        let ports = [entry.row.to_string(), entry.column.to_string()];
        table.row(ports.into_iter().chain(values.map(optional)))?;
    }
    table.finish()
}

/// The bands and harmonics of a plan, one row each; `harmonic` is empty for a band.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn plan(plan: &FrequencyPlan) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row(["sideband", "what", "harmonic", "low_hz", "high_hz"])?;
    for side in &plan.sidebands {
        for (what, (low, high)) in
            [("lo", side.lo_hz), ("lo_input", side.lo_input_hz), ("image", side.image_hz)]
        {
            let name = side.sideband.to_string();
            table.row([name, what.to_owned(), String::new(), low.to_string(), high.to_string()])?;
        }
        for hit in &side.harmonics {
            let (low, high) = hit.overlap_hz;
            table.row([
                side.sideband.to_string(),
                format!("in_{}", hit.victim.to_string().to_lowercase()),
                hit.harmonic.to_string(),
                low.to_string(),
                high.to_string(),
            ])?;
        }
    }
    table.finish()
}

/// Names and values, one row each.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn named_values(pairs: &[(String, f64)]) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row(["name", "value"])?;
    for (name, value) in pairs {
        table.row([name.clone(), value.to_string()])?;
    }
    table.finish()
}

/// The reflections of a rebuilt network, one row per port.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn rebuilt(report: &RebuildReport) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row(["port", "measurements", "largest_residual", "at_hz"])?;
    for row in &report.reflections {
        table.row([
            row.port.to_string(),
            row.measurements.to_string(),
            row.largest_residual.to_string(),
            row.at_hz.to_string(),
        ])?;
    }
    table.finish()
}

/// Covariances of a network's entries: one row for each frequency and pair of entries, either order
/// once; `re` and `im` are the mean of e_a conj(e_b) / 2 for errors e of the entries.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn entry_covariance(
    covariance: &EntryCovariance,
    grid: &FrequencyGrid,
) -> Result<String, csv::Error> {
    let mut table = Table::new();
    table.row(COVARIANCE_COLUMNS)?;
    for (matrix, hz) in covariance.points.iter().zip(grid.as_hz()) {
        for one in 0..matrix.nrows() {
            for other in one..matrix.ncols() {
                let ports = covariance.ports;
                let places =
                    [one / ports, one % ports, other / ports, other % ports].map(|at| at + 1);
                let value = matrix[(one, other)];
                table.row(
                    std::iter::once(hz.to_string())
                        .chain(places.iter().map(ToString::to_string))
                        .chain([value.re.to_string(), value.im.to_string()]),
                )?;
            }
        }
    }
    table.finish()
}

/// A text that spreadsheets do not take for a formula: one that begins like one gets an apostrophe.
pub(super) fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// The shortest text that reads back to the same number; empty for none.
pub(super) fn optional(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

pub(super) struct Table {
    writer: csv::Writer<Vec<u8>>,
}

impl Table {
    pub(super) fn new() -> Self {
        Self { writer: csv::Writer::from_writer(Vec::new()) }
    }

    pub(super) fn row<S: AsRef<[u8]>>(
        &mut self,
        fields: impl IntoIterator<Item = S>,
    ) -> Result<(), csv::Error> {
        self.writer.write_record(fields)
    }

    pub(super) fn finish(self) -> Result<String, csv::Error> {
        let bytes =
            self.writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }
}
