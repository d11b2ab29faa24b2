//! What `inspect` reports of files: text, JSON and CSV.

use super::csv_table::{CsvTable, optional};
use super::json_document::{Pair, pair};
use crate::diagnostic::printable;
use crate::network::{
    LARGEST_SAFE_STEP_DEG, MatrixView, PASSIVITY_TOLERANCE, Port, Quality, RECIPROCITY_TOLERANCE,
    Worst,
};
use crate::touchstone::{TouchstoneFile, Warning};
use crate::units::ShownFrequency;
use serde::Serialize;
use std::fmt::Write as _;

/// What `inspect` says of one file.
#[derive(Debug, Serialize)]
pub struct InspectedFile {
    file: String,
    touchstone_version: String,
    ports: usize,
    parameter: String,
    number_format: String,
    frequency_unit: String,
    reference_ohm: Vec<Pair>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mixed_mode_order: Option<Vec<String>>,
    frequency_hz: FrequencyRange,
    noise_points: usize,
    warnings: Vec<ReaderWarning>,
    findings: Vec<String>,
    quality: Option<QualityFigures>,
    #[serde(skip_serializing_if = "Option::is_none")]
    data: Option<Vec<DataPoint>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    noise: Option<Vec<NoiseRow>>,
}

#[derive(Debug, Serialize)]
struct FrequencyRange {
    first: f64,
    last: f64,
    count: usize,
    spacing: &'static str,
    repeated: usize,
}

#[derive(Debug, Serialize)]
struct ReaderWarning {
    line: usize,
    column: usize,
    code: &'static str,
    message: &'static str,
}

impl From<&Warning> for ReaderWarning {
    fn from(warning: &Warning) -> Self {
        Self {
            line: warning.excerpt.position.line,
            column: warning.excerpt.position.column,
            code: warning.code.name(),
            message: warning.code.message(),
        }
    }
}

#[derive(Debug, Serialize)]
struct QualityFigures {
    passive: bool,
    max_singular_value: f64,
    max_singular_value_at_hz: f64,
    reciprocal: bool,
    max_reciprocity_error: f64,
    max_reciprocity_error_at_hz: Option<f64>,
    max_phase_step_deg: Option<f64>,
    max_phase_step_at_hz: Option<f64>,
    max_reflection_asymmetry: Option<f64>,
    min_mean_delay_s: Option<f64>,
}

impl From<&Quality> for QualityFigures {
    fn from(quality: &Quality) -> Self {
        let at = |worst: Option<Worst>| worst.map(|worst| worst.frequency_hz);
        Self {
            passive: quality.passive_within(PASSIVITY_TOLERANCE),
            max_singular_value: quality.max_singular_value.value,
            max_singular_value_at_hz: quality.max_singular_value.frequency_hz,
            reciprocal: quality.reciprocal_within(RECIPROCITY_TOLERANCE),
            // A one-port has no pair of entries that could differ.
            max_reciprocity_error: quality.max_reciprocity_error.map_or(0.0, |worst| worst.value),
            max_reciprocity_error_at_hz: at(quality.max_reciprocity_error),
            max_phase_step_deg: quality.max_phase_step_deg.map(|worst| worst.value),
            max_phase_step_at_hz: at(quality.max_phase_step_deg),
            max_reflection_asymmetry: quality.max_reflection_asymmetry.map(|worst| worst.value),
            min_mean_delay_s: quality.min_mean_delay_s.map(|worst| worst.value),
        }
    }
}

#[derive(Debug, Serialize)]
struct DataPoint {
    frequency_hz: f64,
    matrix: Vec<Vec<Pair>>,
}

#[derive(Debug, Serialize)]
struct NoiseRow {
    frequency_hz: f64,
    minimum_noise_figure_db: f64,
    optimum_reflection: Pair,
    noise_resistance_ohm: f64,
}

fn rows(matrix: MatrixView<'_>) -> Vec<Vec<Pair>> {
    matrix.rows().map(|row| row.iter().copied().map(pair).collect()).collect()
}

impl InspectedFile {
    /// Puts together what is known of a file; `with_data` adds its numbers. Without a quality the
    /// file's parameter has no scattering form at some frequency. `findings` are sentences on what speaks
    /// against a passive part and is no figure of quality.
    #[must_use]
    pub fn new(
        name: &str,
        file: &TouchstoneFile,
        quality: Option<&Quality>,
        findings: &[String],
        with_data: bool,
    ) -> Self {
        let network = &file.network;
        let grid = network.grid();
        let data = with_data.then(|| {
            let points = grid.as_hz().iter().enumerate();
            points
                .map(|(point, &frequency_hz)| DataPoint {
                    frequency_hz,
                    matrix: rows(network.matrix(point)),
                })
                .collect()
        });
        let noise = (with_data && !file.noise.is_empty()).then(|| {
            file.noise
                .iter()
                .map(|row| NoiseRow {
                    frequency_hz: row.frequency_hz,
                    minimum_noise_figure_db: row.minimum_noise_figure_db,
                    optimum_reflection: pair(row.optimum_reflection),
                    noise_resistance_ohm: row.noise_resistance_ohm,
                })
                .collect()
        });
        Self {
            file: name.to_owned(),
            touchstone_version: file.version.to_string(),
            ports: network.ports(),
            parameter: network.kind().to_string(),
            number_format: file.number_format.to_string(),
            frequency_unit: file.frequency_unit.to_string(),
            reference_ohm: file.port_references_ohm.iter().map(|&ohm| [ohm, 0.0]).collect(),
            mixed_mode_order: network
                .modes()
                .map(|modes| modes.iter().map(ToString::to_string).collect()),
            frequency_hz: FrequencyRange {
                first: grid.first_hz(),
                last: grid.last_hz(),
                count: grid.len(),
                spacing: grid.spacing().name(),
                repeated: grid.repeats(),
            },
            noise_points: file.noise.len(),
            warnings: file.warnings.iter().map(ReaderWarning::from).collect(),
            findings: findings.to_vec(),
            quality: quality.map(QualityFigures::from),
            data,
            noise,
        }
    }
}

/// What `inspect` says of a file that cannot be read.
#[derive(Debug, Serialize)]
pub struct UnreadableFile {
    /// The file as named.
    pub file: String,
    /// The reason.
    pub error: String,
    /// Where, if the trouble has a place.
    pub line: Option<usize>,
    /// Where in the line.
    pub column: Option<usize>,
}

impl UnreadableFile {
    /// The row of the table: the name, the reason, and nothing else.
    fn fields(&self) -> [String; COLUMNS] {
        let mut fields = std::array::from_fn(|_| String::new());
        fields[0].clone_from(&self.file);
        fields[1].clone_from(&self.error);
        fields
    }
}

/// One entry of the array that `inspect` prints.
#[derive(Debug, Serialize)]
#[serde(untagged)]
pub enum Inspected {
    /// A file that was read.
    Read(Box<InspectedFile>),
    /// A file that was not.
    Unreadable(UnreadableFile),
}

/// Columns of the table.
const COLUMNS: usize = 17;

impl InspectedFile {
    /// The row of the table, in the order of its header.
    fn fields(&self) -> [String; COLUMNS] {
        let range = &self.frequency_hz;
        let quality = self.quality.as_ref();
        let flag = |value: Option<bool>| value.map_or_else(String::new, |value| value.to_string());
        [
            self.file.clone(),
            String::new(),
            self.touchstone_version.clone(),
            self.ports.to_string(),
            self.parameter.clone(),
            self.number_format.clone(),
            range.first.to_string(),
            range.last.to_string(),
            range.count.to_string(),
            range.spacing.to_owned(),
            self.noise_points.to_string(),
            self.warnings.len().to_string(),
            flag(quality.map(|quality| quality.passive)),
            optional(quality.map(|quality| quality.max_singular_value)),
            flag(quality.map(|quality| quality.reciprocal)),
            optional(quality.map(|quality| quality.max_reciprocity_error)),
            optional(quality.and_then(|quality| quality.max_phase_step_deg)),
        ]
    }
}

/// What `inspect` says, one row per file.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn inspect_csv(files: &[&Inspected]) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
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
        table.row(match file {
            Inspected::Read(file) => file.fields(),
            Inspected::Unreadable(file) => file.fields(),
        })?;
    }
    table.finish()
}

/// What `inspect` says of one file, with the same findings as [`InspectedFile::new`].
#[must_use]
pub fn inspect_text(
    name: &str,
    file: &TouchstoneFile,
    quality: Option<&Quality>,
    findings: &[String],
) -> String {
    let network = &file.network;
    let grid = network.grid();
    let mut text = String::new();
    let mut line = |content: String| {
        let _ = writeln!(text, "{content}");
    };
    line(printable(name).into_owned());
    let ports = network.ports();
    line(format!(
        "  Touchstone {}, {ports} port{}, {} as {}, {}",
        file.version,
        if ports == 1 { "" } else { "s" },
        network.kind(),
        file.number_format,
        references(&file.port_references_ohm),
    ));
    if let Some(modes) = network.modes() {
        let modes: Vec<String> = modes.iter().map(ToString::to_string).collect();
        line(format!("  mixed mode: {}", modes.join(" ")));
    }
    let noise = match file.noise.len() {
        0 => String::new(),
        rows => format!("; {rows} noise rows"),
    };
    line(format!(
        "  {} to {}, {} point{}, {}{noise}",
        ShownFrequency(grid.first_hz()),
        ShownFrequency(grid.last_hz()),
        grid.len(),
        if grid.len() == 1 { "" } else { "s" },
        grid.spacing().name(),
    ));
    if grid.repeats() > 0 {
        line(format!("  points that repeat a frequency: {}", grid.repeats()));
    }
    match quality {
        None => line("  no S matrix exists at some frequency: quality unknown".to_owned()),
        Some(quality) => quality_lines(quality).into_iter().for_each(&mut line),
    }
    for finding in findings {
        let options = textwrap::Options::new(80).initial_indent("  ").subsequent_indent("    ");
        line(textwrap::fill(&format!("implausible: {finding}"), options));
    }
    for warning in &file.warnings {
        let place = warning.excerpt.position;
        line(format!("  warning, line {}: {}", place.line, warning.code.message()));
    }
    text
}

/// Passivity, reciprocity, the maximum phase step, and a delay that no passive part has.
fn quality_lines(quality: &Quality) -> Vec<String> {
    let worst = quality.max_singular_value;
    let mut lines = vec![format!(
        "  {}: maximum singular value {:.5} at {}",
        if quality.passive_within(PASSIVITY_TOLERANCE) { "passive" } else { "NOT passive" },
        worst.value,
        ShownFrequency(worst.frequency_hz)
    )];
    if let Some(worst) = quality.max_reciprocity_error {
        let is_reciprocal = quality.reciprocal_within(RECIPROCITY_TOLERANCE);
        lines.push(format!(
            "  {}: maximum |Sij - Sji| {:.5}{} at {}",
            if is_reciprocal { "reciprocal" } else { "NOT reciprocal" },
            worst.value,
            entry(worst.entry),
            ShownFrequency(worst.frequency_hz)
        ));
    }
    if let Some(worst) = quality.max_phase_step_deg {
        let warning =
            if worst.value > LARGEST_SAFE_STEP_DEG { "; too coarse to interpolate" } else { "" };
        lines.push(format!(
            "  maximum phase step {:.1} deg{} at {}{warning}",
            worst.value,
            entry(worst.entry),
            ShownFrequency(worst.frequency_hz)
        ));
    }
    if let Some(worst) = quality.implausible_delay_s() {
        lines.push(format!(
            "  implausible: a passive part with a mean delay of {:.1} ps{}",
            worst.value * 1e12,
            entry(worst.entry)
        ));
    }
    lines
}

fn entry(entry: Option<(Port, Port)>) -> String {
    entry.map_or_else(String::new, |(row, column)| format!(" (S{row},{column})"))
}

fn references(list_ohm: &[f64]) -> String {
    let uniform = list_ohm.windows(2).all(|pair| pair[0].total_cmp(&pair[1]).is_eq());
    let shown: Vec<String> = list_ohm.iter().map(ToString::to_string).collect();
    match (uniform, shown.len()) {
        (true, _) if !shown.is_empty() => format!("{} ohm", shown[0]),
        (_, ..=8) => format!("{} ohm", shown.join(", ")),
        _ => format!("{}, ... ohm (unequal)", shown[..8].join(", ")),
    }
}
