//! A network rebuilt from measurements of pairs of ports: text, JSON and CSV.

use super::csv_table::CsvTable;
use super::text_table::{fixed, lines, table};
use crate::diagnostic::printable;
use crate::measurement::{COVARIANCE_COLUMNS, CovarianceOrigin, EntryCovariances, Rebuilt};
use crate::units::ShownFrequency;
use serde::Serialize;
use std::fmt::Write as _;

/// What `rebuild` says.
#[derive(Debug, Serialize)]
pub struct RebuildReport {
    file: String,
    ports: usize,
    rms_residual: f64,
    max_residual: f64,
    max_residual_at_hz: f64,
    condition: f64,
    change_if_terminations_ignored: f64,
    max_singular_value: f64,
    max_reciprocity_error: Option<f64>,
    /// What does not fit over what the stated uncertainties allow.
    residual_ratio: Option<f64>,
    /// The larger of an entry's real and imaginary part; `null` where it is unknown.
    max_standard_uncertainty: Option<f64>,
    /// `measurements` or `residual`: what it was inferred from.
    uncertainty_source: Option<&'static str>,
    reflections: Vec<RepeatedReport>,
}

/// How a port's reflection came out in several measurements.
#[derive(Debug, Serialize)]
struct RepeatedReport {
    port: usize,
    measurements: usize,
    max_residual: f64,
    at_hz: f64,
}

impl RebuildReport {
    /// What came out, and how good it is.
    #[must_use]
    pub fn new(file: &str, rebuilt: &Rebuilt) -> Self {
        let quality = &rebuilt.quality;
        Self {
            file: file.to_owned(),
            ports: rebuilt.network.ports(),
            rms_residual: rebuilt.residual_rms,
            max_residual: rebuilt.residual_largest,
            max_residual_at_hz: rebuilt.residual_at_hz,
            condition: rebuilt.condition,
            change_if_terminations_ignored: rebuilt.if_terminations_ignored,
            max_singular_value: quality.max_singular_value.value,
            max_reciprocity_error: quality.max_reciprocity_error.map(|worst| worst.value),
            residual_ratio: rebuilt.residual_ratio,
            max_standard_uncertainty: rebuilt
                .covariances
                .as_ref()
                .map(|covariances| covariances.entries.largest_uncertainty()),
            uncertainty_source: rebuilt.covariances.as_ref().map(|covariances| {
                match covariances.origin {
                    CovarianceOrigin::Residuals { .. } => "residual",
                    CovarianceOrigin::Measurements => "measurements",
                }
            }),
            reflections: rebuilt
                .repeated
                .iter()
                .map(|repeated| RepeatedReport {
                    port: repeated.port.number(),
                    measurements: repeated.count,
                    max_residual: repeated.largest_residual,
                    at_hz: repeated.at_hz,
                })
                .collect(),
        }
    }
}

/// The report of `rebuild`.
#[must_use]
pub fn rebuild_text(report: &RebuildReport) -> String {
    let mut text = format!(
        "{}: {} ports\n\
         fit residual: {:.1e} rms, {:.1e} at worst ({})\n\
         condition number {}: relative errors may grow by this factor\n\
         assuming matched terminations would change an entry by up to {:.1e}\n\
         maximum singular value {}{}\n\n",
        printable(&report.file),
        report.ports,
        report.rms_residual,
        report.max_residual,
        ShownFrequency(report.max_residual_at_hz),
        fixed(report.condition, 1),
        report.change_if_terminations_ignored,
        fixed(report.max_singular_value, 4),
        report
            .max_reciprocity_error
            .map_or_else(String::new, |error| format!(", worst |Sij - Sji| {error:.1e}")),
    );
    if let (Some(largest), Some(from)) =
        (report.max_standard_uncertainty, report.uncertainty_source)
    {
        let _ = writeln!(
            text,
            "standard uncertainty of an entry at most {largest:.1e}, inferred from the {from}\n"
        );
    }
    let mut rows = table(&["reflection", "measured", "max residual", "at"]);
    for row in &report.reflections {
        rows.add_row(vec![
            format!("S{0},{0}", row.port),
            format!("{} times", row.measurements),
            format!("{:.1e}", row.max_residual),
            ShownFrequency(row.at_hz).to_string(),
        ]);
    }
    text.push_str(&lines(&rows));
    text.push('\n');
    text
}

/// The reflections of a rebuilt network, one row per port.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn rebuild_csv(report: &RebuildReport) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row(["port", "measurements", "max_residual", "at_hz"])?;
    for row in &report.reflections {
        table.row([
            row.port.to_string(),
            row.measurements.to_string(),
            row.max_residual.to_string(),
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
pub fn entry_covariance_csv(covariances: &EntryCovariances) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row(COVARIANCE_COLUMNS)?;
    for (hz, matrix) in covariances.points() {
        for one in 0..matrix.nrows() {
            for other in one..matrix.ncols() {
                let ports = covariances.ports();
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
