//! The dies of a lot for the scripts of its page.

use super::page_value::script_json;
use crate::diagnostic::printable;
use crate::plot::limit_code;
use crate::requirement::{Direction, Limit, Limits, Quantity};
use crate::wafer::{DieRow, DieStatus, Direction as Side, LotHeading, LotResult, WaferGeometry};
use serde_json::{Value, json};
use std::collections::HashMap;

/// Rows that a page lets one choose from; `dies.csv` has them all.
pub(super) const MOST_DIES: usize = 20_000;

/// The quantities of a die, the rejection first, and all that are limited.
pub(super) fn quantities(heading: &LotHeading<'_>, result: &LotResult) -> Vec<Quantity> {
    let has_power =
        |row: &DieRow| row.figures.as_ref().is_some_and(|own| own.min_lo_power_dbm.is_some());
    let phase = if result.limits().on(Quantity::QuadratureError).is_some() {
        Quantity::QuadratureError
    } else {
        Quantity::PhaseError
    };
    let mut all = vec![heading.rejection(), Quantity::AmplitudeImbalance, phase];
    if result.rows().iter().any(has_power) {
        all.push(Quantity::LoPower);
    }
    let limited = result.limits().iter().map(Limit::quantity);
    let further: Vec<Quantity> = limited.filter(|quantity| !all.contains(quantity)).collect();
    all.extend(further);
    all
}

/// What identifies a row among all, for the scripts and in addresses; `page_lot.js` makes the same.
pub(super) fn die_key(row: &DieRow) -> String {
    let key = &row.key;
    let (lot, wafer) = (printable(&key.lot), printable(&key.wafer));
    format!("{lot}/{wafer}/{}/{}/{}", key.die_x, key.die_y, row.touchdown)
}

/// The dies with their figures, files and curves, as JSON for a script element. It is written row by row:
/// a tree of all values would take many times its memory.
pub(super) fn lot_data(heading: &LotHeading<'_>, result: &LotResult) -> String {
    let quantities = quantities(heading, result);
    let wafers: Vec<[&str; 2]> =
        result.wafers().iter().map(|one| [one.lot.as_str(), one.wafer.as_str()]).collect();
    let places: HashMap<[&str; 2], usize> =
        wafers.iter().enumerate().map(|(at, names)| (*names, at)).collect();
    let names = |wafer: &[&str; 2]| wafer.map(|name| printable(name).into_owned());
    let ghz = |hz: &f64| number(hz / 1e9);
    let bands = result.curves().bands.iter().map(|band| {
        [band.frequency_hz / 1e9, band.p05_db, band.median_db, band.p95_db].map(number)
    });
    let head = json!({
        "axis": if heading.if_hz.is_empty() { "Frequency (GHz)" } else { "LO at the mixers (GHz)" },
        "worstIf": heading.if_hz.len() > 1,
        "quantities": quantities.iter().map(|one| quantity(*one, result.limits())).collect::<Vec<_>>(),
        "wafers": wafers.iter().map(names).collect::<Vec<_>>(),
        "dieSize": result.map().map(|map| [map.die_size_mm().0, map.die_size_mm().1]),
        "radius": result.map().map(WaferGeometry::radius_mm),
        "countedRadius": result
            .map()
            .filter(|map| map.edge_exclusion_mm() > 0.0)
            .map(WaferGeometry::counted_radius_mm),
        "notch": result.map().map(|map| {
            let at = map.notch_position();
            [at.x_mm, at.y_mm]
        }),
        "isXUpright": result
            .map()
            .is_some_and(|map| matches!(map.x_axis(), Side::Up | Side::Down)),
        "files": shown(heading.file_columns),
        "carried": shown(heading.carried_columns),
        "frequencies": result.die_curves().frequencies_hz().iter().map(ghz).collect::<Vec<_>>(),
        "bands": bands.collect::<Vec<_>>(),
        "thinned": result.die_curves().is_thinned(),
    });
    let rows = result.rows().iter().map(|row| {
        let wafer = places.get(&[&*row.key.lot, &*row.key.wafer]).copied();
        die(row, wafer.unwrap_or(0), &quantities, result.limits())
    });
    let curves = (0..result.rows().len()).map(|at| curve(at, result));
    let mut text = script_json(&head);
    text.pop();
    text.push_str(",\"dies\":");
    push_list(&mut text, rows);
    text.push_str(",\"curves\":");
    push_list(&mut text, curves);
    text.push('}');
    text
}

fn push_list(text: &mut String, values: impl Iterator<Item = Value>) {
    text.push('[');
    for (at, value) in values.enumerate() {
        if at > 0 {
            text.push(',');
        }
        text.push_str(&script_json(&value));
    }
    text.push(']');
}

fn shown(names: &[String]) -> Vec<String> {
    names.iter().map(|name| printable(name).into_owned()).collect()
}

fn quantity(quantity: Quantity, limits: &Limits) -> Value {
    json!({
        "name": quantity.name(),
        "label": quantity.title(),
        "limited": quantity.limited(),
        "code": limit_code(quantity),
        "unit": quantity.unit(),
        "limit": limits.on(quantity),
        "sign": quantity.direction().sign(),
        "isMinimum": matches!(quantity.direction(), Direction::AtLeast),
    })
}

/// Seven significant digits; `null` for what is no finite number.
fn number(value: f64) -> Value {
    let nearest: Option<f64> = format!("{value:.6e}").parse().ok();
    nearest.filter(|value| value.is_finite()).map_or(Value::Null, Value::from)
}

/// A row as a list; `page_lot.js` names its places.
fn die(row: &DieRow, wafer: usize, quantities: &[Quantity], limits: &Limits) -> Value {
    let status = match row.status {
        DieStatus::Pass => 0,
        DieStatus::Fail => 1,
        DieStatus::Incomplete => 2,
        DieStatus::Error => 3,
    };
    let flags = u8::from(row.not_counted().is_none())
        + 2 * u8::from(row.is_excluded)
        + 4 * u8::from(row.is_outlier)
        + 8 * u8::from(!row.stands);
    let figures = row.figures.as_deref();
    let values: Vec<Value> = figures.map_or_else(Vec::new, |figures| {
        quantities.iter().map(|one| number(figures.worst(*one))).collect()
    });
    let missed = row.missed(limits);
    let missed: Vec<usize> = missed
        .iter()
        .filter_map(|limit| quantities.iter().position(|one| *one == limit.quantity()))
        .collect();
    let file = |file: &Option<std::path::PathBuf>| {
        file.as_ref()
            .map_or_else(String::new, |file| printable(&file.display().to_string()).into_owned())
    };
    let conformity = figures.and_then(|figures| figures.conformity);
    json!([
        wafer,
        row.key.die_x,
        row.key.die_y,
        status,
        flags,
        row.line,
        row.touchdown,
        row.position.map(|at| [number(at.x_mm), number(at.y_mm)]),
        values,
        figures.map(|figures| number(figures.worst_at_hz / 1e9)),
        figures.and_then(|figures| figures.worst_at_if_hz).map(|hz| number(hz / 1e9)),
        missed,
        row.files.iter().map(file).collect::<Vec<_>>(),
        row.carried.iter().map(|text| printable(text).into_owned()).collect::<Vec<_>>(),
        printable(&row.message),
        row.warnings.as_deref().map(printable),
        conformity.map(|known| json!([known.decision.name(), number(known.probability)])),
    ])
}

/// A curve as lists: the places of its frequencies, or `0` for all of them, rejections, and for short
/// lists imbalances and phase errors; `0` for a row without a curve.
fn curve(row: usize, result: &LotResult) -> Value {
    let points: Vec<_> = result.die_curves().of_row(row).collect();
    if points.is_empty() {
        return Value::from(0);
    }
    let is_whole = points.len() == result.die_curves().frequencies_hz().len();
    let places = if is_whole {
        Value::from(0)
    } else {
        points.iter().map(|point| point.place).collect::<Vec<_>>().into()
    };
    let rejections: Vec<Value> = points.iter().map(|point| rounded(point.rejection_db)).collect();
    let errors: Vec<(f64, f64)> = points.iter().filter_map(|point| point.errors).collect();
    if errors.is_empty() {
        return json!([places, rejections]);
    }
    let amplitudes: Vec<Value> = errors.iter().map(|own| rounded(own.0)).collect();
    let phases: Vec<Value> = errors.iter().map(|own| rounded(own.1)).collect();
    json!([places, rejections, amplitudes, phases])
}

/// A thousandth of a decibel or degree is not seen.
fn rounded(value: f64) -> Value {
    let nearest = (value * 1e3).round() / 1e3;
    if nearest.is_finite() { Value::from(nearest) } else { Value::Null }
}
