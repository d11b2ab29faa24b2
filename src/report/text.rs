//! Results as text for people: 80 columns, aligned tables.

use super::json::{ComparisonReport, RebuildReport, SeenWith, ToleranceReport};
use super::uncertainty::{judged, splitter_text};
use crate::diagnostic::printable;
use crate::downconverter::FrequencyPlan;
use crate::measurement::SplitterUncertainty;
use crate::network::{PASSIVITY_TOLERANCE, Port, Quality, RECIPROCITY_TOLERANCE};
use crate::splitter::{RequirementKind, SplitterKind, SplitterPoint, SplitterResult};
use crate::touchstone::TouchstoneFile;
use crate::units::{ShownFrequency, shown_complex};
use comfy_table::{CellAlignment, Table, presets};
use std::fmt::Write as _;

/// Rows of a table of points; the whole list is in the CSV.
const POINTS_SHOWN: usize = 13;

/// What `inspect` says of one file.
#[must_use]
pub fn inspected(name: &str, file: &TouchstoneFile, quality: Option<&Quality>) -> String {
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
        line(format!("  points at the frequency of the one before: {}", grid.repeats()));
    }
    match quality {
        None => line("  no S matrix exists at some frequency: quality unknown".to_owned()),
        Some(quality) => {
            let worst = quality.max_singular_value;
            line(format!(
                "  {}: largest singular value {:.5} at {}",
                if quality.passive_within(PASSIVITY_TOLERANCE) { "passive" } else { "NOT passive" },
                worst.value,
                ShownFrequency(worst.frequency_hz)
            ));
            if let Some(worst) = quality.max_reciprocity_error {
                line(format!(
                    "  {}: largest |Sij - Sji| {:.5}{} at {}",
                    if quality.reciprocal_within(RECIPROCITY_TOLERANCE) {
                        "reciprocal"
                    } else {
                        "NOT reciprocal"
                    },
                    worst.value,
                    entry(worst.entry),
                    ShownFrequency(worst.frequency_hz)
                ));
            }
            if let Some(worst) = quality.max_phase_step_deg {
                let warning = if worst.value > 90.0 { "; too coarse to interpolate" } else { "" };
                line(format!(
                    "  largest phase step {:.1} deg{} at {}{warning}",
                    worst.value,
                    entry(worst.entry),
                    ShownFrequency(worst.frequency_hz)
                ));
            }
        }
    }
    if let Some(worst) = quality.and_then(Quality::implausible_delay_s) {
        line(format!(
            "  implausible: a passive part with a mean delay of {:.1} ps{}",
            worst.value * 1e12,
            entry(worst.entry)
        ));
    }
    for warning in &file.warnings {
        let place = warning.excerpt.position;
        line(format!("  warning, line {}: {}", place.line, warning.code.message()));
    }
    text
}

fn entry(entry: Option<(Port, Port)>) -> String {
    entry.map_or_else(String::new, |(row, column)| format!(" (S{row},{column})"))
}

fn references(list_ohm: &[f64]) -> String {
    let uniform = list_ohm.windows(2).all(|pair| pair[0].total_cmp(&pair[1]).is_eq());
    let shown: Vec<String> = list_ohm.iter().map(ToString::to_string).collect();
    match (uniform, shown.len()) {
        (true, _) => format!("{} ohm", shown.first().map_or("", String::as_str)),
        (false, ..=8) => format!("{} ohm", shown.join(", ")),
        _ => format!("{}, ... ohm (unequal)", shown[..8].join(", ")),
    }
}

/// The report of `splitter`.
#[must_use]
pub fn splitter(
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
        let _ = writeln!(text, "Referred to {} ohm.", shown.join(", "));
    }
    for (port, load) in &seen_with.loads {
        let _ = writeln!(text, "Port {port} is closed by {}.", printable(load));
    }
    if !roles.told.is_empty() {
        let _ = writeln!(text, "Told from the data; give the options if it is wrong:");
        for told in &roles.told {
            let _ = writeln!(text, "  {told}");
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
        text.push_str(&splitter_text(uncertainty, result));
    }
    text
}

fn rejection_name(kind: SplitterKind) -> &'static str {
    match kind {
        SplitterKind::Antiphase => "common-mode rejection",
        _ => "image rejection",
    }
}

fn worst_table(result: &SplitterResult) -> String {
    let summary = &result.summary;
    let mut table = table(&["worst over the band", "value", "unit", "at"]);
    let mut row = |what: &str, worst: crate::splitter::WorstAt, digits: usize, unit: &str| {
        table.add_row([
            what.to_owned(),
            fixed(worst.value, digits),
            unit.to_owned(),
            ShownFrequency(worst.frequency_hz).to_string(),
        ]);
    };
    row(rejection_name(result.roles.kind), summary.worst_rejection, 2, "dB");
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
    let short = match result.roles.kind {
        SplitterKind::Antiphase => "common-mode\nrejection\ndB",
        _ => "image\nrejection\ndB",
    };
    let [a, b] = result.roles.outputs;
    let losses = [format!("loss\nto {a}\ndB"), format!("loss\nto {b}\ndB")];
    let headers =
        ["frequency", "imbalance\ndB", "phase\ndifference\ndeg", "phase\nerror\ndeg", short];
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
    let verdict = &result.verdict;
    if verdict.requirements.is_empty() {
        return String::new();
    }
    let mut text = String::new();
    for (at, held) in verdict.requirements.iter().enumerate() {
        let requirement = held.requirement;
        let (sign, unit) = match requirement.kind {
            RequirementKind::PhaseError => ("at most", "deg"),
            RequirementKind::AmplitudeImbalance => ("at most", "dB"),
            _ => ("at least", "dB"),
        };
        let assessment = uncertainty.map(|known| &known.assessment);
        let (word, probability) = judged(held.passes(), assessment, at, unit);
        let _ = writeln!(
            text,
            "{word}: {} {sign} {} {unit}\n      worst {} {unit} at {}, margin {} {unit}",
            requirement.kind.words(),
            requirement.limit,
            telling(held.worst),
            ShownFrequency(held.at_hz),
            telling(held.margin)
        );
        if !probability.is_empty() {
            let _ = writeln!(text, "      {probability}");
        }
    }
    let bands: Vec<String> = verdict
        .bands_that_pass_hz
        .iter()
        .map(|&(low, high)| format!("{} to {}", ShownFrequency(low), ShownFrequency(high)))
        .collect();
    let sentence = match bands.as_slice() {
        [] => "No part of the band passes.".to_owned(),
        bands if uncertainty.is_some() => {
            format!("As measured it passes from {}.", bands.join(", and from "))
        }
        bands => format!("Passes from {}.", bands.join(", and from ")),
    };
    text.push_str(&textwrap::fill(&sentence, 80));
    text.push('\n');
    text
}

/// The report of `tolerance`.
#[must_use]
pub fn tolerance(report: &ToleranceReport) -> String {
    let mut text = String::new();
    let shown = |value: Option<f64>, unit: &str| {
        value.map_or_else(|| "none".to_owned(), |value| format!("{} {unit}", rounded_down(value)))
    };
    let _ = writeln!(
        text,
        "An image rejection of {} dB allows {} alone or {} alone.\n",
        report.image_rejection_db,
        shown(report.phase_error_alone_deg, "deg"),
        shown(report.amplitude_imbalance_alone_db, "dB")
    );
    let mut phase = table(&["at an amplitude imbalance of", "allowed phase error"]);
    for row in &report.allowed_phase_error {
        phase.add_row([
            format!("{} dB", rounded_down(row.amplitude_imbalance_db)),
            shown(row.phase_error_deg, "deg"),
        ]);
    }
    let mut amplitude = table(&["at a phase error of", "allowed amplitude imbalance"]);
    for row in &report.allowed_amplitude_imbalance {
        amplitude.add_row([
            format!("{} deg", rounded_down(row.phase_error_deg)),
            shown(row.amplitude_imbalance_db, "dB"),
        ]);
    }
    let tables: Vec<String> =
        [phase, amplitude].iter().filter(|table| table.row_count() > 0).map(lines).collect();
    text.push_str(&tables.join("\n\n"));
    text.push('\n');
    text
}

/// Entries that a comparison shows; the CSV has all.
const ENTRIES_SHOWN: usize = 12;

/// The report of `compare`.
#[must_use]
pub fn comparison(report: &ComparisonReport) -> String {
    let (first, second, [low, high], points) = report.heading();
    let mut text = format!(
        "{}\nless {}\n{} to {}, {points} points\n\n",
        printable(second),
        printable(first),
        ShownFrequency(low),
        ShownFrequency(high)
    );
    let mut entries: Vec<_> = report.entries.iter().collect();
    entries.sort_by(|one, other| other.worst_vector.total_cmp(&one.worst_vector));
    let mut table = table(&[
        "entry",
        "worst\nvector",
        "at",
        "rms\nvector",
        "worst\ndB",
        "rms\ndB",
        "worst\ndeg",
        "rms\ndeg",
    ]);
    let optional =
        |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| fixed(value, 3));
    for entry in entries.iter().take(ENTRIES_SHOWN) {
        table.add_row([
            format!("S{},{}", entry.row, entry.column),
            format!("{:.2e}", entry.worst_vector),
            ShownFrequency(entry.worst_vector_at_hz).to_string(),
            format!("{:.2e}", entry.rms_vector),
            optional(entry.worst_db),
            optional(entry.rms_db),
            optional(entry.worst_deg),
            optional(entry.rms_deg),
        ]);
    }
    text.push_str(&lines(&table));
    text.push('\n');
    if entries.len() > ENTRIES_SHOWN {
        let _ = writeln!(text, " ({} more entries differ less)", entries.len() - ENTRIES_SHOWN);
    }
    if let Some(limit) = report.require_vector {
        let word = if report.passes() { "PASS" } else { "FAIL" };
        let _ = writeln!(
            text,
            "\n{word}: vector difference at most {limit}; worst {:.2e}",
            report.worst_vector
        );
    }
    text
}

/// The report of `plan`.
#[must_use]
pub fn plan(plan: &FrequencyPlan) -> String {
    let band =
        |(low, high): (f64, f64)| format!("{} to {}", ShownFrequency(low), ShownFrequency(high));
    let mut text = format!(
        "RF {}, IF {}, LO input times {}\nPhase noise rises by {:.2} dB, phase errors by {} times.\n",
        band(plan.settings.rf_hz),
        band(plan.settings.if_hz),
        plan.settings.multiplication,
        plan.phase_noise_rise_db,
        plan.settings.multiplication
    );
    for side in &plan.sidebands {
        let _ = writeln!(text, "\nWanted sideband: {}", side.sideband);
        let mut bands = table(&["band", "from", "to"]);
        for (name, (low, high)) in
            [("LO", side.lo_hz), ("LO input", side.lo_input_hz), ("image", side.image_hz)]
        {
            bands.add_row([
                name.to_owned(),
                ShownFrequency(low).to_string(),
                ShownFrequency(high).to_string(),
            ]);
        }
        let _ = writeln!(text, "{}", lines(&bands));
        if side.harmonics.is_empty() {
            let _ =
                writeln!(text, "No harmonic of the LO input falls into the RF, image or IF band.");
            continue;
        }
        let mut hits = table(&["harmonic of the LO input", "falls into", "from", "to"]);
        for hit in &side.harmonics {
            let is_lo = if hit.harmonic == plan.settings.multiplication { " (the LO)" } else { "" };
            hits.add_row([
                format!("{}{is_lo}", hit.harmonic),
                hit.victim.to_string(),
                ShownFrequency(hit.overlap_hz.0).to_string(),
                ShownFrequency(hit.overlap_hz.1).to_string(),
            ]);
        }
        let _ = writeln!(text, "{}", lines(&hits));
    }
    text
}

/// Kinds of components, their ports and parameters.
#[must_use]
pub fn kinds(list: &[(&str, &str, &str)]) -> String {
    let mut text =
        String::from("Kinds, their ports in order, and their parameters ([..]: optional)\n");
    for (kind, ports, parameters) in list {
        let options = textwrap::Options::new(80).initial_indent("    ").subsequent_indent("      ");
        let _ = writeln!(text, "\n{kind}\n    ports: {ports}");
        if !parameters.is_empty() {
            let _ = writeln!(text, "{}", textwrap::fill(parameters, options));
        }
    }
    text
}

/// Names and values, aligned.
#[must_use]
pub fn named_values(pairs: &[(String, f64)]) -> String {
    if pairs.is_empty() {
        return String::new();
    }
    let mut table = table(&["dimension", "value"]);
    for (name, value) in pairs {
        table.add_row([name.clone(), format!("{value:.4}")]);
    }
    lines(&table) + "\n"
}

/// The report of `rebuild`.
#[must_use]
pub fn rebuilt(report: &RebuildReport) -> String {
    let mut text = format!(
        "{}: {} ports\n\
         does not fit: {:.1e} rms, {:.1e} at worst ({})\n\
         condition number {}: relative errors may grow so many times\n\
         taking every termination for matched would have moved an entry by {:.1e}\n\
         largest singular value {}, worst |Sij - Sji| {:.1e}\n\n",
        printable(&report.file),
        report.ports,
        report.residual_rms,
        report.residual_largest,
        ShownFrequency(report.residual_at_hz),
        fixed(report.condition, 1),
        report.change_if_terminations_ignored,
        fixed(report.max_singular_value, 4),
        report.max_reciprocity_error.unwrap_or_default(),
    );
    if let (Some(largest), Some(from)) =
        (report.largest_standard_uncertainty, report.uncertainty_from)
    {
        let _ = writeln!(
            text,
            "standard uncertainty of an entry at most {largest:.1e}, told from the {from}\n"
        );
    }
    let mut rows = table(&["reflection", "measured", "worst misfit", "at"]);
    for row in &report.reflections {
        rows.add_row(vec![
            format!("S{0},{0}", row.port),
            format!("{} times", row.measurements),
            format!("{:.1e}", row.largest_residual),
            ShownFrequency(row.at_hz).to_string(),
        ]);
    }
    text.push_str(&lines(&rows));
    text.push('\n');
    text
}

/// Two decimals, or more where two would show zero.
pub(super) fn telling(value: f64) -> String {
    let is_small = value.abs() < 0.01 && value != 0.0;
    if is_small { format!("{value:.1e}") } else { fixed(value, 2) }
}

/// Four significant digits, rounded down, so that what is shown as allowed is allowed.
fn rounded_down(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let scale = 10_f64.powf(3.0 - value.abs().log10().floor());
    format!("{}", (value * scale).floor() / scale)
}

/// A paragraph of 80 columns.
pub(super) fn filled(sentence: &str) -> String {
    let mut text = textwrap::fill(sentence, textwrap::Options::new(80).subsequent_indent("  "));
    text.push('\n');
    text
}

/// A number with so many digits, and no sign on zero.
pub(super) fn fixed(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    let is_zero = !text.contains(|c: char| c.is_ascii_digit() && c != '0') && value.is_finite();
    if is_zero { text.trim_start_matches('-').to_owned() } else { text }
}

/// A table without rules, its columns after the first to the right.
pub(super) fn table(headers: &[&str]) -> Table {
    let mut table = Table::new();
    table.load_preset(presets::NOTHING).set_header(headers);
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    table
}

/// The table's lines without blanks at their ends.
pub(super) fn lines(table: &Table) -> String {
    table.lines().map(|line| line.trim_end().to_owned()).collect::<Vec<_>>().join("\n")
}

/// The numbers of a file, one matrix row to a line.
#[must_use]
pub fn data(file: &TouchstoneFile) -> String {
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
