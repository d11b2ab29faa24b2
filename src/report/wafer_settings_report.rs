//! What a run over many dies was made with, for its document.

use crate::touchstone::ReadOptions;
use crate::wafer::{LotHeading, LotResult, RecipeAnalysis, YIELD_CONFIDENCE};
use serde_json::{Map, Value, json};

pub(super) fn settings_json(
    heading: &LotHeading<'_>,
    result: &LotResult,
    reading: &ReadOptions,
) -> Value {
    let recipe = heading.recipe;
    let analysis = match &recipe.analysis {
        RecipeAnalysis::Receiver(_) => json!({
            "kind": "receiver",
            "combine": heading.combination.map(|name| name.to_lowercase().replace(' ', "")),
            "if_hz": heading.if_hz,
            "replaced_blocks": heading.file_columns,
        }),
        RecipeAnalysis::Splitter(splitter) => json!({
            "kind": "splitter",
            "input": splitter.input,
            "outputs": splitter.outputs,
            "isolated": splitter.isolated,
            "column": splitter.column,
            "band_hz": splitter.band_hz.map(|(low, high)| [low, high]),
            "nominal_deg": splitter.nominal_deg,
            "reference_ohm": splitter.reference_ohm,
        }),
    };
    let map = result.map.map(|map| {
        json!({
            "wafer_diameter_mm": map.diameter_mm,
            "die_pitch_mm": [map.die_pitch_mm.0, map.die_pitch_mm.1],
            "edge_exclusion_mm": map.edge_exclusion_mm,
            "notch": map.notch.name(),
            "x_axis": map.x_axis.name(),
            "y_axis": map.y_axis.name(),
            "centre_die": [map.centre_die.0, map.centre_die.1],
            "centre_die_given": recipe.has_centre,
        })
    });
    let limits: Map<String, Value> = result
        .limits
        .iter()
        .map(|limit| (limit.quantity().name().to_owned(), limit.value().into()))
        .collect();
    json!({
        "analysis": analysis,
        "frequency_hz": result.curves.all_hz,
        "limits": limits,
        "limits_from": if recipe.limits.is_some() { "recipe" } else { "receiver" },
        "retests": recipe.retests.name(),
        "screening_sigma": recipe.screening_sigma,
        "confidence": YIELD_CONFIDENCE,
        "map": map,
        "what_if": {
            "correction": recipe.what_if.has_correction,
            "ideal": recipe.what_if.ideal,
            "assemble": recipe.what_if.assemble,
            "seed": recipe.what_if.seed,
        },
        "strict": reading.strict,
        "option_line": reading.option_line.as_ref().map(ToString::to_string),
    })
}
