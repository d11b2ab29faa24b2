//! The numbers of files, as `inspect --data` shows them: text and CSV.

use super::csv_table::{CsvTable, optional};
use crate::touchstone::TouchstoneFile;
use crate::units::ShownFrequency;
use std::fmt::Write as _;

/// The numbers of a file, one matrix row to a line.
#[must_use]
pub fn data_text(file: &TouchstoneFile) -> String {
    let network = &file.network;
    let mut text = String::new();
    for (point, &frequency_hz) in network.grid().as_hz().iter().enumerate() {
        let _ = writeln!(text, "  {}", ShownFrequency(frequency_hz));
        for row in network.matrix(point).rows() {
            let entries: Vec<String> =
                row.iter().map(|value| format!("{:.6}{:+.6}j", value.re, value.im)).collect();
            // Three complex numbers fill a line of 80 columns.
            for part in entries.chunks(3) {
                let _ = writeln!(
                    text,
                    "    {}",
                    part.iter().map(|entry| format!("{entry:>24}")).collect::<String>().trim_end()
                );
            }
        }
    }
    for row in &file.noise {
        let _ = writeln!(
            text,
            "  noise at {}: {} dB at best, source {:.6}{:+.6}j, {} ohm",
            ShownFrequency(row.frequency_hz),
            row.minimum_noise_figure_db,
            row.optimum_reflection.re,
            row.optimum_reflection.im,
            row.noise_resistance_ohm
        );
    }
    text
}

/// The numbers of files: one row per file and frequency, entries row by row. Files of different
/// sizes share the header of the file with most ports; the fields of missing ports are empty.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn data_csv<'a>(
    files: impl Iterator<Item = (&'a str, &'a TouchstoneFile)> + Clone,
) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    // Without files the table is its header for no ports.
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
