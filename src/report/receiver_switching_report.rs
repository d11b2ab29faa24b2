//! Switched mixers of a receiver: conversion loss, noise figure, LO leakage, impedances; text, JSON and
//! columns of the table of points.

use super::text_table::{filled, fixed};
use crate::downconverter::{
    Channel, DownconverterResult, DrivePoint, Receiver, SwitchedLo, SwitchedPoint, SwitchingResult,
};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// Adds the results of switched mixers to the points of the document.
pub(super) fn add_switched_points(points: &mut [Value], result: &DownconverterResult) {
    let Some(switching) = &result.switching else { return };
    for (value, point) in points.iter_mut().zip(&switching.points) {
        let loss = &point.conversion_loss;
        value["conversion_loss_db"] =
            json!({ "i": loss.i_db, "q": loss.q_db, "both": loss.both_db });
        value["noise_figure_db"] = json!(point.noise_figure_db);
        value["rf_return_loss_db"] = json!({
            "upper": point.upper_return_loss_db,
            "lower": point.lower_return_loss_db,
        });
        let nodes = switching.if_nodes.iter().zip(&point.if_impedance_ohm);
        let nodes = nodes.map(|(node, ohm)| (node_name(*node), json!([ohm.re, ohm.im])));
        value["if_node_impedance_ohm"] = Value::Object(nodes.collect());
    }
}

fn node_name((channel, is_subtracted): (Channel, bool)) -> String {
    format!("{}{}", channel.name(), if is_subtracted { "-" } else { "+" })
}

/// Adds leakage and offsets to the LOs of the document.
pub(super) fn add_switched_lo(points: &mut [Value], result: &DownconverterResult) {
    let Some(switching) = &result.switching else { return };
    for (value, own) in points.iter_mut().zip(&switching.lo) {
        value["lo_at_rf_port_dbm"] = json!(own.lo_at_rf_port_dbm);
        value["dc_offset_v"] = json!({ "i": own.offset_i_v, "q": own.offset_q_v });
    }
}

/// The part of the document that holds for the whole plan.
pub(super) fn switching_json(receiver: &Receiver, switching: &SwitchingResult) -> Value {
    let outside: Vec<[f64; 2]> =
        switching.outside_hz.iter().map(|(from, to)| [*from, *to]).collect();
    json!({
        "sidebands": switching.sidebands,
        "converged": switching.converged,
        "left_db": switching.left_db,
        "outside": receiver.switching().map(|own| own.outside.name()),
        "outside_hz": outside,
        "drive_sweep": switching.drive_sweep.iter().map(drive_point).collect::<Vec<_>>(),
    })
}

fn drive_point(own: &DrivePoint) -> Value {
    let loss = &own.point.conversion_loss;
    json!({
        "lo_power_dbm": own.lo_power_dbm,
        "image_rejection_db": own.image_rejection_db,
        "conversion_loss_db": { "i": loss.i_db, "q": loss.q_db, "both": loss.both_db },
        "noise_figure_db": own.point.noise_figure_db,
        "rf_return_loss_db": {
            "upper": own.point.upper_return_loss_db,
            "lower": own.point.lower_return_loss_db,
        },
        "lo_at_rf_port_dbm": own.lo.lo_at_rf_port_dbm,
        "dc_offset_v": { "i": own.lo.offset_i_v, "q": own.lo.offset_q_v },
    })
}

/// The loss at the minimum, the planned and the maximum LO power.
fn drive_text(receiver: &Receiver, switching: &SwitchingResult) -> String {
    let planned_dbm = receiver.plan().settings().lo_power_dbm.unwrap_or(0.0);
    let at = |own: &DrivePoint| {
        let loss_db = own.point.conversion_loss.both_db?;
        Some(format!("{} dB at {} dBm", fixed(loss_db, 1), fixed(own.lo_power_dbm, 1)))
    };
    let sweep = &switching.drive_sweep;
    let nearest = sweep.iter().min_by(|one, other| {
        let distance = |own: &DrivePoint| (own.lo_power_dbm - planned_dbm).abs();
        distance(one).total_cmp(&distance(other))
    });
    let shown = [sweep.first(), nearest, sweep.last()];
    let shown: Vec<String> = shown.into_iter().flatten().filter_map(at).collect();
    if shown.is_empty() {
        return String::new();
    }
    filled(&format!("Over LO power, at the centre LO, the loss is {}.", shown.join(", ")))
}

/// Further columns of the table of points, and a row for each point.
#[derive(Default)]
pub(super) struct SwitchedColumns {
    pub(super) names: Vec<String>,
    pub(super) rows: Vec<Vec<Option<f64>>>,
}

/// The columns of switched mixers, with what belongs to an LO in each of its rows; none for
/// multipliers.
pub(super) fn switched_columns(result: &DownconverterResult) -> SwitchedColumns {
    let Some(switching) = &result.switching else { return SwitchedColumns::default() };
    let names = [
        "conversion_loss_i_db",
        "conversion_loss_q_db",
        "conversion_loss_db",
        "noise_figure_db",
        "rf_return_loss_upper_db",
        "rf_return_loss_lower_db",
        "lo_at_rf_port_dbm",
        "dc_offset_i_v",
        "dc_offset_q_v",
    ];
    // An LO may have fewer IFs than the plan.
    let lo_of = |at: usize| {
        let lo_hz = result.points.get(at)?.lo_hz;
        switching.lo.get(result.lo.partition_point(|own| own.lo_hz < lo_hz))
    };
    let row = |(at, point): (usize, &SwitchedPoint)| {
        let loss = &point.conversion_loss;
        let lo = lo_of(at);
        vec![
            loss.i_db,
            loss.q_db,
            loss.both_db,
            point.noise_figure_db,
            Some(point.upper_return_loss_db),
            Some(point.lower_return_loss_db),
            lo.map(|own| own.lo_at_rf_port_dbm),
            lo.and_then(|own| own.offset_i_v),
            lo.and_then(|own| own.offset_q_v),
        ]
    };
    SwitchedColumns {
        names: names.map(str::to_owned).to_vec(),
        rows: switching.points.iter().enumerate().map(row).collect(),
    }
}

/// Loss, noise figure, leakage and offsets over the plan, and how they were found.
pub(super) fn switching_text(receiver: &Receiver, switching: &SwitchingResult) -> String {
    let mut facts = Vec::new();
    let points = || switching.points.iter();
    let mut add = |what: &str, unit: &str, digits, values: Vec<f64>| {
        if let Some(range) = range_text(&values, digits) {
            facts.push(format!("{what} {range} {unit}"));
        }
    };
    let losses = points().filter_map(|point| point.conversion_loss.both_db).collect();
    add("Conversion loss of I and Q together", "dB", 1, losses);
    let figures = points().filter_map(|point| point.noise_figure_db).collect();
    add("SSB noise figure", "dB", 1, figures);
    let returns = points().flat_map(|own| [own.upper_return_loss_db, own.lower_return_loss_db]);
    add("RF return loss", "dB", 1, returns.collect());
    let mut text = filled(&format!("{}.", facts.join(", ")));
    let mut facts = Vec::new();
    let mut add = |what: &str, unit: &str, values: Vec<f64>| {
        if let Some(range) = range_text(&values, 1) {
            facts.push(format!("{what} {range} {unit}"));
        }
    };
    let levels = switching.lo.iter().map(|own| own.lo_at_rf_port_dbm);
    add("LO at the RF port", "dBm", levels.filter(|dbm| dbm.is_finite()).collect());
    let offsets = |of: fn(&SwitchedLo) -> Option<f64>| {
        switching.lo.iter().filter_map(of).map(|volts| 1e3 * volts).collect::<Vec<f64>>()
    };
    add("DC offset of I", "mV", offsets(|own| own.offset_i_v));
    add("of Q", "mV", offsets(|own| own.offset_q_v));
    if !facts.is_empty() {
        text.push_str(&filled(&format!("{}.", facts.join(", "))));
    }
    let mut found =
        format!("Switches solved with {} sidebands on either side", switching.sidebands);
    match (switching.converged, switching.left_db) {
        (Some(true), Some(left_db)) => {
            let _ = write!(found, "; more would move the results by {left_db:.1e} dB");
        }
        (Some(false), Some(left_db)) => {
            let _ =
                write!(found, "; NOT CONVERGED, more would move the results by {left_db:.1e} dB");
        }
        _ => found.push_str(", as given: whether more would move the results is not judged"),
    }
    if !switching.outside_hz.is_empty() {
        let ends = receiver.switching().map_or("", |own| own.outside.name());
        let _ = write!(found, "; beyond the data of a part its ports end in '{ends}'");
    }
    text.push_str(&drive_text(receiver, switching));
    text.push_str(&filled(&format!("{found}.")));
    text
}

/// `7.1` or `7.1 to 8.2`; nothing for no values.
fn range_text(values: &[f64], digits: usize) -> Option<String> {
    let low = values.iter().copied().reduce(f64::min)?;
    let high = values.iter().copied().reduce(f64::max)?;
    let (low, high) = (fixed(low, digits), fixed(high, digits));
    Some(if low == high { low } else { format!("{low} to {high}") })
}
