//! The document of many dies.

use crate::batch::{InputFile, LotJob};
use crate::touchstone::ReadOptions;
use crate::units::db_from_neper;
use crate::wafer::{
    ChannelStatistics, Counts, DieRow, DieStatus, EDGE_RING_SHARE, GroupResult, LotHeading,
    LotResult, Quantiles, RecipeAnalysis, Spatial, Trend, WaferResult, WhatIfResult,
    YIELD_CONFIDENCE, Yield, yield_at_limits,
};
use serde::Serialize;
use serde_json::{Map, Value, json};

/// The document of `wafer`: `summary.json`.
#[derive(Debug, Serialize)]
pub struct LotReport {
    title: String,
    version: &'static str,
    #[serde(flatten)]
    all: Value,
    verdict: Value,
    lots: Vec<Value>,
    wafers: Vec<Value>,
    what_if: Vec<Value>,
    yield_by_retest_policy: Value,
    yield_against_limit: Vec<Value>,
    curve: Value,
    retests: Vec<Value>,
    not_measured: Vec<Value>,
    outliers: Vec<Value>,
    settings: Value,
    inputs: Vec<InputFile>,
    warnings: Vec<String>,
}

/// The document of a lot.
#[must_use]
pub fn lot_report(job: &LotJob, result: &LotResult) -> LotReport {
    let heading = &job.heading();
    let name = heading.rejection_name;
    LotReport {
        title: heading.title(),
        version: env!("CARGO_PKG_VERSION"),
        all: group(&result.all, name),
        verdict: json!({
            "pass": result.passes(),
            "required_yield": result.required_yield,
            "yield": result.all.counts.yield_of_tested().share,
        }),
        lots: result.lots.iter().map(|lot| group(lot, name)).collect(),
        wafers: result.wafers.iter().map(|one| wafer(one, name)).collect(),
        what_if: result.what_ifs.iter().map(|answer| what_if(answer, name)).collect(),
        yield_by_retest_policy: result
            .yield_by_policy
            .iter()
            .map(|(policy, share)| (policy.name().to_owned(), yield_of(share)))
            .collect::<Map<_, _>>()
            .into(),
        yield_against_limit: against_limit(&result.all, name),
        curve: curve(heading, result),
        retests: result
            .retests
            .iter()
            .map(|retest| retested(retest.rows.as_slice(), result))
            .collect(),
        not_measured: result
            .rows
            .iter()
            .filter(|row| matches!(row.status, DieStatus::Incomplete | DieStatus::Error))
            .map(|row| {
                named(
                    row,
                    &[
                        ("status", row.status.name().into()),
                        ("message", row.message.clone().into()),
                    ],
                )
            })
            .collect(),
        outliers: result
            .rows
            .iter()
            .filter(|row| row.counts() && row.is_outlier)
            .map(|row| named(row, &[("status", row.status.name().into())]))
            .collect(),
        settings: settings(heading, result, job.reading()),
        inputs: job.digests().to_vec(),
        warnings: job
            .warnings()
            .iter()
            .cloned()
            .chain(job.warnings_of(result).iter().map(ToString::to_string))
            .collect(),
    }
}

fn yield_of(share: &Yield) -> Value {
    json!({
        "passed": share.passed,
        "tested": share.tested,
        "share": share.share,
        "interval_95": [share.interval.0, share.interval.1],
    })
}

fn counts(counts: &Counts) -> Value {
    json!({
        "rows": counts.rows,
        "superseded": counts.superseded,
        "edge_excluded": counts.edge_excluded,
        "tested": counts.tested(),
        "pass": counts.pass,
        "fail": counts.fail,
        "incomplete": counts.incomplete,
        "error": counts.error,
        "outliers": counts.outliers,
        "within_uncertainty": counts.decided.map(|decided| json!({
            "pass": decided.pass,
            "fail": decided.fail,
            "undecided": decided.undecided,
            "expected_pass": decided.expected,
        })),
    })
}

fn quantiles(quantiles: &Quantiles) -> Value {
    json!({
        "least": quantiles.least,
        "p05": quantiles.p05,
        "p25": quantiles.p25,
        "median": quantiles.median,
        "p75": quantiles.p75,
        "p95": quantiles.p95,
        "largest": quantiles.largest,
    })
}

fn channel(channel: &ChannelStatistics) -> Value {
    json!({
        "dies": channel.count,
        "amplitude_mean_db": db_from_neper(channel.mean.re),
        "amplitude_deviation_db": channel.amplitude_deviation.map(db_from_neper),
        "phase_mean_deg": channel.mean.im.to_degrees(),
        "phase_deviation_deg": channel.phase_deviation.map(f64::to_degrees),
        "correlation": channel.correlation,
    })
}

fn group(group: &GroupResult, rejection: &str) -> Value {
    let mut made = Map::new();
    for (key, value) in [("lot", &group.lot), ("wafer", &group.wafer)] {
        if let Some(value) = value {
            made.insert(key.to_owned(), value.clone().into());
        }
    }
    made.insert("counts".to_owned(), counts(&group.counts));
    made.insert("yield".to_owned(), yield_of(&group.counts.yield_of_tested()));
    made.insert(
        format!("worst_{rejection}"),
        group.rejection.as_ref().map_or(Value::Null, quantiles),
    );
    made.insert("channel_error".to_owned(), group.channel.as_ref().map_or(Value::Null, channel));
    made.insert("capability_index".to_owned(), group.capability.into());
    let limits = group.limits.iter().map(|count| {
        json!({
            "name": count.limit.quantity.name(),
            "limit": count.limit.limit,
            "failing": count.failing,
            "failing_first": count.failing_first,
            "failing_alone": count.failing_alone,
        })
    });
    made.insert("requirements".to_owned(), limits.collect());
    let first = group.fails_first().map(|count| count.limit.quantity.name());
    made.insert("fails_first".to_owned(), first.into());
    let place = group.worst_place.map_or(Value::Null, |place| {
        json!({
            "most_often_hz": place.most_often_hz,
            "share": place.share,
            "median_hz": place.median_hz,
        })
    });
    made.insert("worst_frequency".to_owned(), place);
    made.into()
}

fn wafer(wafer: &WaferResult, rejection: &str) -> Value {
    let mut made = group(&wafer.group, rejection);
    let screening = wafer.screening.as_ref().map(|screening| {
        json!({
            "amplitude_median_db": db_from_neper(screening.median.re),
            "amplitude_robust_deviation_db": db_from_neper(screening.sigma.re),
            "phase_median_deg": screening.median.im.to_degrees(),
            "phase_robust_deviation_deg": screening.sigma.im.to_degrees(),
        })
    });
    if let Value::Object(made) = &mut made {
        made.insert("screening".to_owned(), screening.unwrap_or_default());
        made.insert(
            "space".to_owned(),
            json!({
                "dies_fitted": wafer.fitted.len(),
                "edge_ring_from_share_of_radius": EDGE_RING_SHARE,
                "amplitude": spatial(&wafer.amplitude_db, "db"),
                "phase": spatial(&wafer.phase_deg, "deg"),
            }),
        );
    }
    made
}

/// Every coefficient is the change from the wafer's centre to its rim.
fn spatial(spatial: &Spatial, unit: &str) -> Value {
    let with_unit = |pairs: &[(&str, f64)]| -> Map<String, Value> {
        pairs.iter().map(|(name, value)| (format!("{name}_{unit}"), (*value).into())).collect()
    };
    let trend = spatial.trend.as_ref().map(|trend: &Trend| {
        let mut made = with_unit(&[
            ("centre", trend.level),
            ("to_right_rim", trend.slope_x),
            ("to_upper_rim", trend.slope_y),
            ("to_rim_all_round", trend.bowl),
        ]);
        made.insert("share_explained".to_owned(), trend.explained.into());
        made
    });
    let edge = spatial.edge.as_ref().map(|edge| {
        let mut made =
            with_unit(&[("edge_median", edge.edge_median), ("centre_median", edge.centre_median)]);
        made.insert("edge_dies".to_owned(), edge.edge_count.into());
        made.insert("centre_dies".to_owned(), edge.centre_count.into());
        made
    });
    json!({"trend": trend, "edge_against_centre": edge})
}

fn what_if(answer: &WhatIfResult, rejection: &str) -> Value {
    json!({
        "name": answer.name,
        "words": answer.words,
        "yield_by_rejection_alone": answer.passing.as_ref().map(yield_of),
        format!("worst_{rejection}"): answer.rejection.as_ref().map(quantiles),
    })
}

/// Limits at every half dB that dies reach.
fn against_limit(group: &GroupResult, rejection: &str) -> Vec<Value> {
    let finite = || group.rejections_db.iter().copied().filter(|db| db.is_finite());
    let (Some(low), Some(high)) = (finite().next(), finite().next_back()) else {
        return Vec::new();
    };
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "rejections are some hundred dB at most"
    )]
    let steps = (((high - low.floor()) / 0.5).ceil() as usize).min(2000);
    let limits: Vec<f64> =
        (0_u32..).take(steps + 1).map(|step| low.floor() + 0.5 * f64::from(step)).collect();
    let shares = yield_at_limits(&group.rejections_db, &limits);
    limits
        .iter()
        .zip(shares)
        .map(|(limit, share)| json!({rejection: limit, "share": share}))
        .collect()
}

fn curve(heading: &LotHeading<'_>, result: &LotResult) -> Value {
    let curves = &result.curves;
    let points = curves.bands.iter().map(|band| {
        json!({
            "frequency_hz": band.frequency_hz,
            "p05": band.p05_db,
            "median": band.median_db,
            "p95": band.p95_db,
        })
    });
    json!({
        "quantity": heading.rejection_name,
        "frequency": heading.frequency_word,
        "dies": curves.dies,
        "left_out": curves.left_out,
        "rounded_to_db": 0.05,
        "points": points.collect::<Vec<_>>(),
    })
}

fn named(row: &DieRow, more: &[(&str, Value)]) -> Value {
    let mut made = Map::new();
    for (key, value) in [
        ("lot", Value::from(row.key.lot.clone())),
        ("wafer", row.key.wafer.clone().into()),
        ("die_x", row.key.die_x.into()),
        ("die_y", row.key.die_y.into()),
        ("line", row.line.into()),
    ] {
        made.insert(key.to_owned(), value);
    }
    for (key, value) in more {
        made.insert((*key).to_owned(), value.clone());
    }
    made.into()
}

fn retested(rows: &[usize], result: &LotResult) -> Value {
    let first = &result.rows[rows[0]];
    let touchdowns = rows.iter().map(|&at| {
        let row = &result.rows[at];
        json!({
            "line": row.line,
            "status": row.status.name(),
            "worst_rejection_db": row.figures.map(|figures| figures.worst_rejection_db),
            "counts": row.stands,
        })
    });
    json!({
        "lot": first.key.lot,
        "wafer": first.key.wafer,
        "die_x": first.key.die_x,
        "die_y": first.key.die_y,
        "touchdowns": touchdowns.collect::<Vec<_>>(),
    })
}

fn settings(heading: &LotHeading<'_>, result: &LotResult, reading: &ReadOptions) -> Value {
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
        .map(|limit| (limit.quantity.name().to_owned(), limit.limit.into()))
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
