//! What changes over a wafer: text and JSON.

use super::text_table::{abbreviated, filled, fixed};
use super::wafer_groups_report::{LONGEST_NAME, group_json, percent};
use crate::units::db_from_neper;
use crate::wafer::{EDGE_RING_SHARE, LotHeading, LotResult, Spatial, Trend, WaferResult};
use serde_json::{Map, Value, json};

pub(super) fn wafer_json(wafer: &WaferResult, rejection: &str) -> Value {
    let names = [("lot", wafer.lot.as_str()), ("wafer", &wafer.wafer)];
    let mut made = group_json(&names, &wafer.group, rejection);
    let screening = wafer.screening.as_ref().map(|screening| {
        json!({
            "amplitude_median_db": db_from_neper(screening.median.re),
            "amplitude_robust_deviation_db": db_from_neper(screening.sigma.re),
            "phase_median_deg": screening.median.im.to_degrees(),
            "phase_robust_deviation_deg": screening.sigma.im.to_degrees(),
        })
    });
    made.insert("screening".to_owned(), json!(screening));
    made.insert(
        "space".to_owned(),
        json!({
            "dies_fitted": wafer.fitted.len(),
            "edge_ring_from_share_of_radius": EDGE_RING_SHARE,
            "amplitude": spatial(&wafer.amplitude_db, "db"),
            "phase": spatial(&wafer.phase_deg, "deg"),
        }),
    );
    made.into()
}

/// Every coefficient is the change from the wafer's centre to its rim.
fn spatial(spatial: &Spatial, unit: &str) -> Value {
    let with_unit = |pairs: &[(&str, f64)]| -> Map<String, Value> {
        pairs.iter().map(|(name, value)| (format!("{name}_{unit}"), (*value).into())).collect()
    };
    let trend = spatial.trend.as_ref().map(|trend: &Trend| {
        let mut made = with_unit(&[
            ("centre", trend.level),
            ("tilt_x", trend.tilt_x),
            ("tilt_y", trend.tilt_y),
            ("radial", trend.radial),
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

/// The strongest trend over a wafer.
pub(super) fn trend_text(heading: &LotHeading<'_>, result: &LotResult) -> String {
    // The share of the variance that the better of a wafer's two trends explains.
    let explained = |wafer: &WaferResult| {
        let trends = wafer.amplitude_db.trend.iter().chain(&wafer.phase_deg.trend);
        trends.map(|trend| trend.explained).max_by(f64::total_cmp)
    };
    let strongest = result
        .wafers
        .iter()
        .filter_map(|wafer| Some((wafer, explained(wafer)?)))
        .max_by(|one, other| one.1.total_cmp(&other.1));
    let Some((wafer, _)) = strongest else { return String::new() };
    let parts: Vec<String> = [
        ("amplitude imbalance", "dB", &wafer.amplitude_db),
        ("phase error", "deg", &wafer.phase_deg),
    ]
    .into_iter()
    .filter_map(|(word, unit, spatial)| {
        let trend = spatial.trend.as_ref()?;
        Some(format!(
            "{word} {} {unit} x tilt, {} y tilt, {} radial ({} of its variance)",
            signed(trend.tilt_x),
            signed(trend.tilt_y),
            signed(trend.radial),
            percent(trend.explained),
        ))
    })
    .collect();
    filled(&format!(
        "From centre to edge of wafer {}{}: {}.",
        abbreviated(&wafer.wafer, LONGEST_NAME),
        heading.of_image_sideband(),
        parts.join("; ")
    ))
}

fn signed(value: f64) -> String {
    let text = fixed(value, 2);
    if text.starts_with('-') { text } else { format!("+{text}") }
}
