//! Results as JSON documents.

use super::uncertainty;
use crate::downconverter::{FrequencyPlan, SidebandPlan};
use crate::measurement::{Assessment, Decision, EntryCovariance, Rebuilt, SplitterUncertainty};
use crate::network::{
    Comparison, MatrixView, PASSIVITY_TOLERANCE, Quality, RECIPROCITY_TOLERANCE, Worst,
};
use crate::splitter::{RequirementResult, SplitterKind, SplitterResult, Verdict};
use crate::touchstone::{TouchstoneFile, Warning};
use num_complex::Complex64;
use serde::Serialize;
use serde_json::{Value, json};

/// `[re, im]`.
type Pair = [f64; 2];

fn pair(value: Complex64) -> Pair {
    [value.re, value.im]
}

/// A document as text, with a final line end.
///
/// # Errors
/// None in practice: every name is a string and every value has a JSON form.
pub fn document<T: Serialize>(content: &T) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(content)?;
    text.push('\n');
    Ok(text)
}

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
    /// file's parameter has no scattering form at some frequency.
    #[must_use]
    pub fn new(
        name: &str,
        file: &TouchstoneFile,
        quality: Option<&Quality>,
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
    /// Why.
    pub error: String,
    /// Where, if the trouble has a place.
    pub line: Option<usize>,
    /// Where in the line.
    pub column: Option<usize>,
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
    told_from_data: Vec<String>,
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
}

impl VerdictReport {
    /// With an uncertainty what it decides stands above what was measured.
    fn new(verdict: &Verdict, assessment: Option<&Assessment>) -> Self {
        let requirement = |(at, result): (usize, &RequirementResult)| {
            let mut entry = json!({
                "name": result.requirement.kind.name(),
                "limit": result.requirement.limit,
                "worst": result.worst,
                "at_hz": result.at_hz,
                "margin": result.margin,
                "pass": result.passes(),
            });
            if let Some(assessment) = assessment {
                uncertainty::decided(&mut entry, &assessment.requirements[at]);
            }
            entry
        };
        let bands_that_pass_hz =
            verdict.bands_that_pass_hz.iter().map(|&(low, high)| [low, high]).collect();
        Self {
            pass: assessment.map_or(verdict.passes(), |a| a.decision == Decision::Pass),
            decision: assessment.map(|assessment| assessment.decision.to_string()),
            requirements: verdict.requirements.iter().enumerate().map(requirement).collect(),
            bands_that_pass_hz,
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
        let is_antiphase = result.roles.kind == SplitterKind::Antiphase;
        let image = |value: f64| (!is_antiphase).then_some(value);
        let common = |value: f64| is_antiphase.then_some(value);
        let summary = &result.summary;
        Self {
            file: file.to_owned(),
            kind: result.roles.kind.to_string(),
            input: result.roles.input.number(),
            outputs: result.roles.outputs.map(crate::network::Port::number),
            isolated: result.roles.isolated.map(crate::network::Port::number),
            nominal_deg: result.roles.nominal_deg,
            reference_ohm: seen_with.references_ohm.iter().copied().map(pair).collect(),
            loads: seen_with
                .loads
                .iter()
                .map(|(port, load)| LoadReport { port: *port, load: load.clone() })
                .collect(),
            told_from_data: result.roles.told.clone(),
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
                leading_output: summary.leading_output.map(crate::network::Port::number),
            },
            verdict: VerdictReport::new(&result.verdict, uncertainty.map(|u| &u.assessment)),
            uncertainty: uncertainty.map(|u| uncertainty::splitter_json(u, result)),
        }
    }
}

/// The document of `tolerance`.
#[derive(Debug, Serialize)]
pub struct ToleranceReport {
    /// The rejection to be kept.
    pub image_rejection_db: f64,
    /// Allowed with perfect amplitude.
    pub phase_error_alone_deg: Option<f64>,
    /// Allowed with perfect phase.
    pub amplitude_imbalance_alone_db: Option<f64>,
    /// What is left for the phase at each amplitude imbalance.
    pub allowed_phase_error: Vec<AllowedPhaseError>,
    /// What is left for the amplitude at each phase error.
    pub allowed_amplitude_imbalance: Vec<AllowedAmplitudeImbalance>,
}

/// `null` where the imbalance alone spoils the rejection.
#[derive(Debug, Serialize)]
pub struct AllowedPhaseError {
    /// Given.
    pub amplitude_imbalance_db: f64,
    /// Left over.
    pub phase_error_deg: Option<f64>,
}

/// `null` where the phase error alone spoils the rejection.
#[derive(Debug, Serialize)]
pub struct AllowedAmplitudeImbalance {
    /// Given.
    pub phase_error_deg: f64,
    /// Left over.
    pub amplitude_imbalance_db: Option<f64>,
}

/// The document of `compare`: second less first.
#[derive(Debug, Serialize)]
pub struct ComparisonReport {
    first: String,
    second: String,
    band_hz: [f64; 2],
    points: usize,
    pub(super) entries: Vec<EntryReport>,
    pub(super) worst_vector: f64,
    pub(super) require_vector: Option<f64>,
    pass: bool,
}

#[derive(Debug, Serialize)]
pub(super) struct EntryReport {
    pub(super) row: usize,
    pub(super) column: usize,
    pub(super) worst_db: Option<f64>,
    pub(super) worst_db_at_hz: Option<f64>,
    pub(super) rms_db: Option<f64>,
    pub(super) worst_deg: Option<f64>,
    pub(super) worst_deg_at_hz: Option<f64>,
    pub(super) rms_deg: Option<f64>,
    pub(super) worst_vector: f64,
    pub(super) worst_vector_at_hz: f64,
    pub(super) rms_vector: f64,
}

impl ComparisonReport {
    /// Puts together the document; `require_vector` makes it a check.
    #[must_use]
    pub fn new(names: &[String; 2], comparison: &Comparison, require_vector: Option<f64>) -> Self {
        let entries = comparison.entries.iter().map(|entry| EntryReport {
            row: entry.row.number(),
            column: entry.column.number(),
            worst_db: entry.magnitude_db.map(|d| d.worst),
            worst_db_at_hz: entry.magnitude_db.map(|d| d.worst_at_hz),
            rms_db: entry.magnitude_db.map(|d| d.rms),
            worst_deg: entry.phase_deg.map(|d| d.worst),
            worst_deg_at_hz: entry.phase_deg.map(|d| d.worst_at_hz),
            rms_deg: entry.phase_deg.map(|d| d.rms),
            worst_vector: entry.vector.worst,
            worst_vector_at_hz: entry.vector.worst_at_hz,
            rms_vector: entry.vector.rms,
        });
        Self {
            first: names[0].clone(),
            second: names[1].clone(),
            band_hz: [comparison.band_hz.0, comparison.band_hz.1],
            points: comparison.first.grid().len(),
            entries: entries.collect(),
            worst_vector: comparison.worst().vector.worst,
            require_vector,
            pass: require_vector.is_none_or(|limit| comparison.is_within(limit)),
        }
    }

    /// Whether the requirement holds; true if there is none.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.pass
    }

    pub(super) fn heading(&self) -> (&str, &str, [f64; 2], usize) {
        (&self.first, &self.second, self.band_hz, self.points)
    }
}

/// Names and values as one object.
#[must_use]
pub fn named_values(pairs: &[(String, f64)]) -> serde_json::Map<String, serde_json::Value> {
    pairs.iter().map(|(name, value)| (name.clone(), serde_json::json!(value))).collect()
}

/// The document of `plan`.
#[derive(Debug, Serialize)]
pub struct PlanReport {
    rf_hz: [f64; 2],
    if_hz: [f64; 2],
    multiplication: u32,
    phase_noise_rise_db: f64,
    sidebands: Vec<SidebandReport>,
}

#[derive(Debug, Serialize)]
struct SidebandReport {
    sideband: String,
    rf_hz: [f64; 2],
    lo_hz: [f64; 2],
    lo_input_hz: [f64; 2],
    image_hz: [f64; 2],
    harmonics: Vec<HarmonicReport>,
}

#[derive(Debug, Serialize)]
struct HarmonicReport {
    harmonic: u32,
    band: String,
    overlap_hz: [f64; 2],
    lo_input_hz: [f64; 2],
}

impl From<&FrequencyPlan> for PlanReport {
    fn from(plan: &FrequencyPlan) -> Self {
        let list = |(low, high): (f64, f64)| [low, high];
        let harmonics = |plan: &SidebandPlan| {
            let hits = plan.harmonics.iter().map(|hit| HarmonicReport {
                harmonic: hit.harmonic,
                band: hit.victim.to_string(),
                overlap_hz: list(hit.overlap_hz),
                lo_input_hz: list(hit.lo_input_hz),
            });
            hits.collect()
        };
        let sidebands = plan.sidebands.iter().map(|plan| SidebandReport {
            sideband: plan.sideband.to_string(),
            rf_hz: list(plan.rf_hz),
            lo_hz: list(plan.lo_hz),
            lo_input_hz: list(plan.lo_input_hz),
            image_hz: list(plan.image_hz),
            harmonics: harmonics(plan),
        });
        Self {
            rf_hz: list(plan.settings.rf_hz),
            if_hz: list(plan.settings.if_hz),
            multiplication: plan.settings.multiplication,
            phase_noise_rise_db: plan.phase_noise_rise_db,
            sidebands: sidebands.collect(),
        }
    }
}

/// What `rebuild` says.
#[derive(Debug, Serialize)]
pub struct RebuildReport {
    pub(super) file: String,
    pub(super) ports: usize,
    pub(super) residual_rms: f64,
    pub(super) residual_largest: f64,
    pub(super) residual_at_hz: f64,
    pub(super) condition: f64,
    pub(super) change_if_terminations_ignored: f64,
    pub(super) max_singular_value: f64,
    pub(super) max_reciprocity_error: Option<f64>,
    /// What does not fit over what the stated uncertainties allow.
    pub(super) misfit_ratio: Option<f64>,
    /// The largest of an entry's real or imaginary part; `null` where nothing tells it.
    pub(super) largest_standard_uncertainty: Option<f64>,
    /// `measurements` or `residual`: what it was told from.
    pub(super) uncertainty_from: Option<&'static str>,
    pub(super) reflections: Vec<RepeatedReport>,
}

/// How a port's reflection came out in several measurements.
#[derive(Debug, Serialize)]
pub(super) struct RepeatedReport {
    pub(super) port: usize,
    pub(super) measurements: usize,
    pub(super) largest_residual: f64,
    pub(super) at_hz: f64,
}

impl RebuildReport {
    /// What came out, and how good it is.
    #[must_use]
    pub fn new(file: &str, rebuilt: &Rebuilt, quality: &Quality) -> Self {
        Self {
            file: file.to_owned(),
            ports: rebuilt.network.ports(),
            residual_rms: rebuilt.residual_rms,
            residual_largest: rebuilt.residual_largest,
            residual_at_hz: rebuilt.residual_at_hz,
            condition: rebuilt.condition,
            change_if_terminations_ignored: rebuilt.if_terminations_ignored,
            max_singular_value: quality.max_singular_value.value,
            max_reciprocity_error: quality.max_reciprocity_error.map(|worst| worst.value),
            misfit_ratio: rebuilt.misfit_ratio,
            largest_standard_uncertainty: rebuilt.covariance.as_ref().map(EntryCovariance::largest),
            uncertainty_from: rebuilt.covariance.as_ref().map(|covariance| {
                if covariance.degrees_of_freedom.is_some() { "residual" } else { "measurements" }
            }),
            reflections: rebuilt
                .repeated
                .iter()
                .map(|repeated| RepeatedReport {
                    port: repeated.port.number(),
                    measurements: repeated.count,
                    largest_residual: repeated.largest_residual,
                    at_hz: repeated.at_hz,
                })
                .collect(),
        }
    }
}
