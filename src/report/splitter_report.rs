//! A splitter: text, JSON and CSV.

use super::assessment_report::{add_decision, judged};
use super::csv_table::{CsvTable, optional};
use super::json_document::{Pair, pair};
use super::splitter_uncertainty_report::{splitter_uncertainty_json, splitter_uncertainty_text};
use super::text_table::{fixed, lines, table, telling};
use crate::diagnostic::printable;
use crate::measurement::{Assessment, SplitterUncertainty};
use crate::network::Port;
use crate::requirement::{Compliance, Quantity, RequirementResult, Verdict};
use crate::splitter::{SplitterPoint, SplitterResult, WorstAt};
use crate::units::{ShownFrequency, shown_complex};
use num_complex::Complex64;
use serde::Serialize;
use serde_json::{Value, json};
use std::fmt::Write as _;

/// What a splitter was seen with: references and loads other than the file's own.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SeenWith {
    /// None, one for all ports, or one per port.
    pub references_ohm: Vec<Complex64>,
    /// Port, and ohms or the name of a file.
    pub loads: Vec<(usize, String)>,
}

#[derive(Debug, Serialize)]
struct LoadReport {
    port: usize,
    load: String,
}

/// The document of `splitter`.
#[derive(Debug, Serialize)]
pub struct SplitterReport {
    file: String,
    kind: String,
    input: usize,
    outputs: [usize; 2],
    isolated: Option<usize>,
    nominal_deg: f64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    reference_ohm: Vec<Pair>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    loads: Vec<LoadReport>,
    inferred: Vec<String>,
    warnings: Vec<String>,
    points: Vec<SplitterRow>,
    summary: SplitterSummary,
    verdict: VerdictReport,
    #[serde(skip_serializing_if = "Option::is_none")]
    uncertainty: Option<Value>,
}

/// Image rejection, or in its place common-mode rejection for a balun; never both.
#[derive(Debug, Serialize)]
struct SplitterRow {
    frequency_hz: f64,
    amplitude_imbalance_db: f64,
    phase_difference_deg: f64,
    phase_error_deg: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    image_rejection_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    common_mode_rejection_db: Option<f64>,
    loss_a_db: f64,
    loss_b_db: f64,
    excess_loss_db: f64,
    isolation_db: Option<f64>,
    output_isolation_db: f64,
    return_loss_db: Vec<Option<f64>>,
}

#[derive(Debug, Serialize)]
struct SplitterSummary {
    band_hz: [f64; 2],
    #[serde(skip_serializing_if = "Option::is_none")]
    worst_image_rejection_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    worst_image_rejection_at_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    worst_common_mode_rejection_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    worst_common_mode_rejection_at_hz: Option<f64>,
    worst_phase_error_deg: f64,
    worst_phase_error_at_hz: f64,
    worst_amplitude_imbalance_db: f64,
    worst_amplitude_imbalance_at_hz: f64,
    worst_excess_loss_db: f64,
    worst_excess_loss_at_hz: f64,
    worst_isolation_db: Option<f64>,
    worst_isolation_at_hz: Option<f64>,
    worst_output_isolation_db: f64,
    worst_output_isolation_at_hz: f64,
    worst_input_return_loss_db: f64,
    worst_input_return_loss_at_hz: f64,
    leading_output: Option<usize>,
}

#[derive(Debug, Serialize)]
struct VerdictReport {
    pass: bool,
    /// `pass`, `fail` or `undecided`, where an uncertainty is given.
    #[serde(skip_serializing_if = "Option::is_none")]
    decision: Option<String>,
    requirements: Vec<Value>,
    bands_that_pass_hz: Vec<[f64; 2]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bands_undecided_hz: Option<Vec<[f64; 2]>>,
}

impl VerdictReport {
    /// With an uncertainty its decisions are above the measured values.
    fn new(compliance: &Compliance, assessment: Option<&Assessment>) -> Self {
        let requirement = |(at, result): (usize, &RequirementResult)| {
            let mut entry = json!({
                "name": result.limit.quantity().name(),
                "limit": result.limit.value(),
                "worst": result.worst,
                "at_hz": result.location.frequency_hz,
                "margin": result.margin(),
                "pass": result.passes(),
            });
            if let Some(assessment) = assessment {
                add_decision(&mut entry, &assessment.requirements[at]);
            }
            entry
        };
        let listed = |bands: Vec<(f64, f64)>| {
            bands.into_iter().map(|(low, high)| [low, high]).collect::<Vec<_>>()
        };
        let bands_that_pass_hz = listed(assessment.map_or_else(
            || compliance.bands_that_pass_hz.clone(),
            |assessment| assessment.bands_hz(Verdict::Pass),
        ));
        Self {
            pass: assessment.map_or(compliance.passes(), |a| a.decision.passes()),
            decision: assessment.map(|assessment| assessment.decision.to_string()),
            requirements: compliance.requirements.iter().enumerate().map(requirement).collect(),
            bands_that_pass_hz,
            bands_undecided_hz: assessment.map(|own| listed(own.bands_hz(Verdict::Undecided))),
        }
    }
}

impl SplitterReport {
    /// Puts together the document for a file of that name.
    #[must_use]
    pub fn new(
        file: &str,
        result: &SplitterResult,
        seen_with: &SeenWith,
        uncertainty: Option<&SplitterUncertainty>,
    ) -> Self {
        let is_antiphase = result.roles.kind.rejection() == Quantity::CommonModeRejection;
        let image = |value: f64| (!is_antiphase).then_some(value);
        let common = |value: f64| is_antiphase.then_some(value);
        let summary = &result.summary;
        Self {
            file: file.to_owned(),
            kind: result.roles.kind.to_string(),
            input: result.roles.input.number(),
            outputs: result.roles.outputs.map(Port::number),
            isolated: result.roles.isolated.map(Port::number),
            nominal_deg: result.roles.nominal_deg,
            reference_ohm: seen_with.references_ohm.iter().copied().map(pair).collect(),
            loads: seen_with
                .loads
                .iter()
                .map(|(port, load)| LoadReport { port: *port, load: load.clone() })
                .collect(),
            inferred: result.roles.inferred.iter().map(ToString::to_string).collect(),
            warnings: result.warnings.clone(),
            points: result
                .points
                .iter()
                .map(|point| SplitterRow {
                    frequency_hz: point.frequency_hz,
                    amplitude_imbalance_db: point.amplitude_imbalance_db,
                    phase_difference_deg: point.phase_difference_deg,
                    phase_error_deg: point.phase_error_deg,
                    image_rejection_db: image(point.rejection_db),
                    common_mode_rejection_db: common(point.rejection_db),
                    loss_a_db: point.loss_a_db,
                    loss_b_db: point.loss_b_db,
                    excess_loss_db: point.excess_loss_db,
                    isolation_db: point.isolation_db,
                    output_isolation_db: point.output_isolation_db,
                    return_loss_db: point.return_loss_db.clone(),
                })
                .collect(),
            summary: SplitterSummary {
                band_hz: [summary.band_hz.0, summary.band_hz.1],
                worst_image_rejection_db: image(summary.worst_rejection.value),
                worst_image_rejection_at_hz: image(summary.worst_rejection.frequency_hz),
                worst_common_mode_rejection_db: common(summary.worst_rejection.value),
                worst_common_mode_rejection_at_hz: common(summary.worst_rejection.frequency_hz),
                worst_phase_error_deg: summary.worst_phase_error_deg.value,
                worst_phase_error_at_hz: summary.worst_phase_error_deg.frequency_hz,
                worst_amplitude_imbalance_db: summary.worst_amplitude_imbalance_db.value,
                worst_amplitude_imbalance_at_hz: summary.worst_amplitude_imbalance_db.frequency_hz,
                worst_excess_loss_db: summary.worst_excess_loss_db.value,
                worst_excess_loss_at_hz: summary.worst_excess_loss_db.frequency_hz,
                worst_isolation_db: summary.worst_isolation_db.map(|worst| worst.value),
                worst_isolation_at_hz: summary.worst_isolation_db.map(|worst| worst.frequency_hz),
                worst_output_isolation_db: summary.worst_output_isolation_db.value,
                worst_output_isolation_at_hz: summary.worst_output_isolation_db.frequency_hz,
                worst_input_return_loss_db: summary.worst_input_return_loss_db.value,
                worst_input_return_loss_at_hz: summary.worst_input_return_loss_db.frequency_hz,
                leading_output: summary.leading_output.map(Port::number),
            },
            verdict: VerdictReport::new(&result.compliance, uncertainty.map(|u| &u.assessment)),
            uncertainty: uncertainty.map(|u| splitter_uncertainty_json(u, result)),
        }
    }
}

/// The points of a splitter, one row per frequency.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn splitter_csv(result: &SplitterResult) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    let rejection = result.roles.kind.rejection().name();
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

/// Rows of a table of points; the whole list is in the CSV.
const POINTS_SHOWN: usize = 13;

/// The report of `splitter`.
#[must_use]
pub fn splitter_text(
    name: &str,
    result: &SplitterResult,
    seen_with: &SeenWith,
    uncertainty: Option<&SplitterUncertainty>,
) -> String {
    let mut text = String::new();
    let roles = &result.roles;
    let isolated = roles.isolated.map_or_else(String::new, |port| format!(", isolated {port}"));
    let _ = writeln!(
        text,
        "{}\n{} splitter ({} deg), input {}, outputs {} and {}{isolated}",
        printable(name),
        roles.kind,
        roles.nominal_deg,
        roles.input,
        roles.outputs[0],
        roles.outputs[1]
    );
    if !seen_with.references_ohm.is_empty() {
        let shown: Vec<String> =
            seen_with.references_ohm.iter().map(|&ohm| shown_complex(ohm)).collect();
        let _ = writeln!(text, "Reference impedances {} ohm.", shown.join(", "));
    }
    for (port, load) in &seen_with.loads {
        let _ = writeln!(text, "Port {port} is terminated by {}.", printable(load));
    }
    if !roles.inferred.is_empty() {
        let _ = writeln!(text, "Inferred from the data; check it, and give what is wrong:");
        for inferred in &roles.inferred {
            let _ = writeln!(text, "  {inferred}");
        }
    }
    if let Some(leading) = result.summary.leading_output {
        let other = roles.outputs[usize::from(leading == roles.outputs[0])];
        let _ = writeln!(text, "Output {leading} leads output {other}.");
    }
    let _ = writeln!(text, "\n{}", worst_table(result));
    let _ = writeln!(text, "\n{}", point_table(result));
    let _ = write!(text, "\n{}", verdict(result, uncertainty));
    if let Some(uncertainty) = uncertainty {
        text.push_str(&splitter_uncertainty_text(uncertainty, result));
    }
    text
}

fn worst_table(result: &SplitterResult) -> String {
    let summary = &result.summary;
    let mut table = table(&["worst over the band", "value", "unit", "at"]);
    let mut row = |what: &str, worst: WorstAt, digits: usize, unit: &str| {
        table.add_row([
            what.to_owned(),
            fixed(worst.value, digits),
            unit.to_owned(),
            ShownFrequency(worst.frequency_hz).to_string(),
        ]);
    };
    row(result.roles.kind.rejection().label(), summary.worst_rejection, 2, "dB");
    row("amplitude imbalance", summary.worst_amplitude_imbalance_db, 3, "dB");
    row("phase error", summary.worst_phase_error_deg, 2, "deg");
    row("excess loss", summary.worst_excess_loss_db, 2, "dB");
    match summary.worst_isolation_db {
        Some(worst) => row("isolation", worst, 2, "dB"),
        None => row("isolation between outputs", summary.worst_output_isolation_db, 2, "dB"),
    }
    row("input return loss", summary.worst_input_return_loss_db, 2, "dB");
    lines(&table)
}

fn point_table(result: &SplitterResult) -> String {
    let rejection = result.roles.kind.rejection();
    let short = format!("{}\n{}", rejection.label().replace(' ', "\n"), rejection.unit());
    let [a, b] = result.roles.outputs;
    let losses = [format!("loss\nto {a}\ndB"), format!("loss\nto {b}\ndB")];
    let headers =
        ["frequency", "imbalance\ndB", "phase\ndifference\ndeg", "phase\nerror\ndeg", &short];
    let headers: Vec<&str> = headers.into_iter().chain(losses.iter().map(String::as_str)).collect();
    let mut table = table(&headers);
    for point in shown_points(&result.points) {
        table.add_row([
            ShownFrequency(point.frequency_hz).to_string(),
            fixed(point.amplitude_imbalance_db, 3),
            fixed(point.phase_difference_deg, 2),
            fixed(point.phase_error_deg, 2),
            fixed(point.rejection_db, 2),
            fixed(point.loss_a_db, 2),
            fixed(point.loss_b_db, 2),
        ]);
    }
    lines(&table)
}

/// Evenly picked points, both ends included.
fn shown_points(points: &[SplitterPoint]) -> impl Iterator<Item = &SplitterPoint> {
    let shown = points.len().min(POINTS_SHOWN);
    let last = points.len() - 1;
    (0..shown).map(move |at| &points[at * last / (shown - 1).max(1)])
}

fn verdict(result: &SplitterResult, uncertainty: Option<&SplitterUncertainty>) -> String {
    let compliance = &result.compliance;
    if compliance.requirements.is_empty() {
        return String::new();
    }
    let mut text = String::new();
    for (at, held) in compliance.requirements.iter().enumerate() {
        let unit = held.limit.quantity().unit();
        let location = ShownFrequency(held.location.frequency_hz);
        let assessment = uncertainty.map(|known| &known.assessment);
        let (word, probability) = judged(held.passes(), assessment, at, unit);
        let _ = writeln!(
            text,
            "{word}: {}\n      worst {} {unit} at {location}, margin {} {unit}",
            held.limit,
            telling(held.worst),
            telling(held.margin())
        );
        if !probability.is_empty() {
            let told =
                textwrap::Options::new(80).initial_indent("      ").subsequent_indent("      ");
            let _ = writeln!(text, "{}", textwrap::fill(&probability, told));
        }
    }
    let shown = |bands: &[(f64, f64)]| {
        let shown = bands
            .iter()
            .map(|&(low, high)| format!("{} to {}", ShownFrequency(low), ShownFrequency(high)));
        shown.collect::<Vec<_>>().join(", and from ")
    };
    let assessment = uncertainty.map(|known| &known.assessment);
    let passing = assessment
        .map_or_else(|| compliance.bands_that_pass_hz.clone(), |own| own.bands_hz(Verdict::Pass));
    let mut sentence = match passing.as_slice() {
        [] => "No part of the band passes.".to_owned(),
        bands => format!("Passes from {}.", shown(bands)),
    };
    let undecided = assessment.map_or_else(Vec::new, |own| own.bands_hz(Verdict::Undecided));
    if !undecided.is_empty() {
        let _ = write!(sentence, " Undecided from {}.", shown(&undecided));
    }
    text.push_str(&textwrap::fill(&sentence, 80));
    text.push('\n');
    text
}
