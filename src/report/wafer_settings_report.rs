//! What a run over many dies was made with, for its document.

use crate::batch::{LotAnalysis, LotJob};
use crate::network::Port;
use crate::wafer::{CentreDie, LotHeading, LotResult, YIELD_CONFIDENCE};
use serde_json::{Map, Value, json};

pub(super) fn settings_json(job: &LotJob, result: &LotResult) -> Value {
    let (heading, reading) = (job.heading(), job.reading());
    let settings = heading.settings;
    let map = result.map.map(|map| {
        let given = settings.map().is_some_and(|map| map.centre == CentreDie::Given);
        json!({
            "wafer_diameter_mm": map.diameter_mm(),
            "die_pitch_mm": <[f64; 2]>::from(map.die_pitch_mm()),
            "edge_exclusion_mm": map.edge_exclusion_mm(),
            "notch": map.notch().name(),
            "x_axis": map.x_axis().name(),
            "y_axis": map.y_axis().name(),
            "centre_die": <[f64; 2]>::from(map.centre_die()),
            "centre_die_given": given,
        })
    });
    let limits: Map<String, Value> = result
        .limits
        .iter()
        .map(|limit| (limit.quantity().name().to_owned(), limit.value().into()))
        .collect();
    let what_if = settings.what_if();
    json!({
        "analysis": analysis(job.analysis(), &heading),
        "frequency_hz": result.curves.all_hz,
        "limits": limits,
        "limits_from": if settings.limits().is_some() { "recipe" } else { "receiver" },
        "retests": settings.retests().name(),
        "screening_sigma": settings.screening_sigma(),
        "confidence": YIELD_CONFIDENCE,
        "map": map,
        "what_if": {
            "correction": what_if.correction,
            "ideal": what_if.ideal,
            "assemble": what_if.assemble,
            "seed": what_if.seed,
        },
        "strict": reading.strict,
        "option_line": reading.option_line.as_ref().map(ToString::to_string),
    })
}

fn analysis(analysis: LotAnalysis<'_>, heading: &LotHeading<'_>) -> Value {
    match analysis {
        LotAnalysis::Receiver => json!({
            "kind": "receiver",
            "combine": heading.combination.map(|name| name.to_lowercase().replace(' ', "")),
            "if_hz": heading.if_hz,
            "rf_band_hz": heading.rf_band_hz.map(|(low, high)| [low, high]),
            "replaced_blocks": heading.file_columns,
        }),
        LotAnalysis::Splitter { settings, column } => json!({
            "kind": "splitter",
            "input": settings.roles.input.map(Port::number),
            "outputs": settings.roles.outputs.map(|ports| ports.map(Port::number)),
            "isolated": settings.roles.isolated.map(Port::number),
            "column": column,
            "band_hz": settings.band_hz.map(<[f64; 2]>::from),
            "nominal_deg": settings.roles.nominal_deg,
            "reference_ohm": settings.references_ohm.first().map(|reference| reference.re),
        }),
    }
}
