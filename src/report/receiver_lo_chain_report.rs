//! The LO chain of a receiver: text, JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use super::text_table::{abbreviated, filled, fixed, lines, table};
use crate::diagnostic::printable;
use crate::downconverter::{
    LoChainResult, PowerWindow, Receiver, SpuriousResponse, StagePoint, StageResult,
};
use crate::units::ShownFrequency;
use serde_json::{Map, Value, json};
use std::fmt::Write as _;

/// Rows of a list of tones or responses in the text.
const MOST_ROWS: usize = 6;

/// The chain in the document.
pub(super) fn lo_chain_json(receiver: &Receiver, chain: &LoChainResult) -> Value {
    let tones = chain.tones_at_mixers.iter().map(|tone| {
        let by_mixer = receiver.mixers().iter().zip(&tone.dbc_by_mixer);
        let by_mixer: Map<String, Value> =
            by_mixer.map(|(mixer, dbc)| (mixer.name.clone(), json!(dbc))).collect();
        json!({
            "lo_hz": tone.lo_hz,
            "multiple": multiple(tone.multiple),
            "frequency_hz": tone.frequency_hz,
            "dbc": tone.dbc(),
            "dbc_by_mixer": by_mixer,
            "dbc_at_lo_input": tone.dbc_at_lo_input,
        })
    });
    let responses = chain.spurious_responses.iter().map(|response| {
        json!({
            "lo_hz": response.lo_hz,
            "if_hz": response.if_hz,
            "multiple": multiple(response.multiple),
            "sideband": response.sideband.to_string(),
            "rf_hz": response.rf_hz,
            "relative_db": response.relative_db(),
            "in_rf_band": response.is_in_rf_band,
            "judged": response.is_judged,
        })
    });
    let left_out = chain.left_out.iter().map(
        |own| json!({ "lo_hz": own.lo_hz, "where": own.place, "multiple": multiple(own.multiple) }),
    );
    let curve = chain.power_curve.iter().map(|point| {
        json!({
            "input_power_dbm": point.source_dbm,
            "min_lo_power_dbm": point.weakest_dbm,
            "max_lo_power_dbm": point.strongest_dbm,
        })
    });
    let noise = chain.phase_noise_at_mixers.as_ref();
    json!({
        "input_power_dbm": chain.source_dbm,
        "stages": chain.stages.iter().map(stage_json).collect::<Vec<_>>(),
        "tones_at_mixers": tones.collect::<Vec<_>>(),
        "spurious_responses": responses.collect::<Vec<_>>(),
        "responses_outside_data": chain.responses_outside_data,
        "left_out": left_out.collect::<Vec<_>>(),
        "phase_noise_at_mixers":
            noise.map(|rows| rows.iter().map(|row| [row.0, row.1]).collect::<Vec<_>>()),
        "input_window_dbm": match chain.input_window {
            PowerWindow::Empty => None,
            PowerWindow::Open { low_dbm, high_dbm } => Some([low_dbm, high_dbm]),
        },
        "lo_power_over_input_power": curve.collect::<Vec<_>>(),
    })
}

fn stage_json(stage: &StageResult) -> Value {
    let of_points =
        |value: fn(&StagePoint) -> f64| stage.points.iter().map(value).collect::<Vec<f64>>();
    let tones = stage.tones.iter().map(
        |tone| json!({ "lo_hz": tone.lo_hz, "multiple": multiple(tone.multiple), "dbc": tone.dbc }),
    );
    json!({
        "name": stage.name,
        "inside_lo_network": stage.is_inside,
        "order": stage.order,
        "saturated_dbm": stage.saturated_dbm,
        "carrier_hz": of_points(|point| point.carrier_hz),
        "drive_dbm": of_points(|point| point.drive_dbm),
        "carrier_dbm": of_points(|point| point.carrier_dbm),
        "gain_db": of_points(StagePoint::gain_db),
        "slope": of_points(|point| point.slope),
        "input_dbm": { "min": stage.drive_limits.min_dbm, "max": stage.drive_limits.max_dbm },
        "drive_margin_db": stage.drive_margin_db(),
        "tones": tones.collect::<Vec<_>>(),
    })
}

/// A multiple of the source's frequency: a whole number where it is one.
fn multiple(value: f64) -> Value {
    #[expect(clippy::cast_possible_truncation, reason = "multiples are far below 2^53")]
    let whole = value.round() as i64;
    if (value - value.round()).abs() < 1e-9 { json!(whole) } else { json!(value) }
}

/// The chain in the report; nothing for a receiver without.
pub(super) fn lo_chain_text(receiver: &Receiver, chain: Option<&LoChainResult>) -> String {
    let Some(chain) = chain else { return String::new() };
    let mut text = format!("\nLO chain, {} dBm from the source\n", fixed(chain.source_dbm, 2));
    text.push_str(&stages_text(chain));
    text.push_str(&tones_text(chain));
    text.push_str(&responses_text(chain));
    text.push_str(&left_out_text(chain));
    if let Some(rows) = &chain.phase_noise_at_mixers {
        let row = |(offset_hz, dbc_hz): &(f64, f64)| {
            format!("{} dBc/Hz at {}", fixed(*dbc_hz, 1), ShownFrequency(*offset_hz))
        };
        let list: Vec<String> = rows.iter().map(row).collect();
        text.push_str(&filled(&format!("Phase noise at the mixers: {}.", list.join(", "))));
    }
    let is_limited = !receiver.limits().is_empty()
        || chain.stages.iter().any(|stage| stage.drive_limits != Default::default());
    if is_limited {
        text.push_str(&filled(&window_text(chain)));
    }
    text
}

fn stages_text(chain: &LoChainResult) -> String {
    if chain.stages.is_empty() {
        return String::new();
    }
    let mut rows = table(&["stage", "GHz", "drive dBm", "out dBm", "slope", "margin"]);
    for stage in &chain.stages {
        let range = |value: fn(&StagePoint) -> f64, shown: &dyn Fn(f64) -> String| {
            let values = || stage.points.iter().map(value);
            let low = shown(values().fold(f64::INFINITY, f64::min));
            let high = shown(values().fold(f64::NEG_INFINITY, f64::max));
            if low == high { low } else { format!("{low}..{high}") }
        };
        let ghz = |hz: f64| {
            let text = fixed(hz / 1e9, 3);
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        };
        rows.add_row([
            abbreviated(&stage.name, 14),
            range(|point| point.carrier_hz, &ghz),
            range(|point| point.drive_dbm, &|dbm| fixed(dbm, 1)),
            range(|point| point.carrier_dbm, &|dbm| fixed(dbm, 1)),
            range(|point| point.slope, &|slope| fixed(slope, 2)),
            stage.drive_margin_db().map_or_else(|| "-".to_owned(), |margin| fixed(margin, 1)),
        ]);
    }
    let mut text = format!("{}\n", lines(&rows));
    if chain.stages.iter().any(|stage| stage.drive_margin_db().is_some()) {
        text.push_str("Margin: how far inside its input_dbm the drive is, dB.\n");
    }
    text
}

fn tones_text(chain: &LoChainResult) -> String {
    let mut strongest: Vec<(f64, f64, f64)> = Vec::new();
    for tone in &chain.tones_at_mixers {
        let (multiple, dbc) = (tone.multiple, tone.dbc());
        match strongest.iter_mut().find(|own| own.0.total_cmp(&multiple).is_eq()) {
            Some(own) if own.1 >= dbc => {}
            Some(own) => *own = (multiple, dbc, tone.lo_hz),
            None => strongest.push((multiple, dbc, tone.lo_hz)),
        }
    }
    if strongest.is_empty() {
        return "No tone beside the LO reaches the mixers.\n".to_owned();
    }
    strongest.sort_by(|one, other| other.1.total_cmp(&one.1));
    let list: Vec<String> = strongest
        .iter()
        .take(MOST_ROWS)
        .map(|(multiple, dbc, lo_hz)| {
            format!("x{multiple} {} dBc (LO {})", fixed(*dbc, 1), ShownFrequency(*lo_hz))
        })
        .collect();
    let rest = match strongest.len().saturating_sub(MOST_ROWS) {
        0 => String::new(),
        more => format!("; {more} more are weaker"),
    };
    filled(&format!("Tones at the mixers, as multiples of the source: {}{rest}.", list.join(", ")))
}

fn responses_text(chain: &LoChainResult) -> String {
    let mut worst: Vec<&SpuriousResponse> = Vec::new();
    for response in &chain.spurious_responses {
        let is_alike = |own: &&mut &SpuriousResponse| {
            own.multiple.total_cmp(&response.multiple).is_eq() && own.sideband == response.sideband
        };
        match worst.iter_mut().find(is_alike) {
            Some(own) if own.relative_db() >= response.relative_db() => {}
            Some(own) => *own = response,
            None => worst.push(response),
        }
    }
    if worst.is_empty() {
        return "No spurious response within the data of the RF path.\n".to_owned();
    }
    worst.sort_by(|one, other| other.relative_db().total_cmp(&one.relative_db()));
    let mut rows = table(&["spurious response", "RF", "dB", "LO", "IF", "in RF band dB"]);
    for response in worst.iter().take(MOST_ROWS) {
        let sign =
            if response.sideband == crate::downconverter::Sideband::Upper { '+' } else { '-' };
        rows.add_row([
            format!("x{} {sign} IF", response.multiple),
            ShownFrequency(response.rf_hz).to_string(),
            fixed(response.relative_db(), 1),
            ShownFrequency(response.lo_hz).to_string(),
            ShownFrequency(response.if_hz).to_string(),
            strongest_in_band_db(chain, response)
                .map_or_else(|| "no".to_owned(), |db| fixed(db, 1)),
        ]);
    }
    let mut text = format!("{}\n", lines(&rows));
    text.push_str(&filled(&match chain.worst_response() {
        Some(response) => format!(
            "Worst spurious response in the judged band: {} dB at RF {}.",
            fixed(response.relative_db(), 1),
            ShownFrequency(response.rf_hz)
        ),
        None => "No spurious response falls into the judged band.".to_owned(),
    }));
    text
}

fn left_out_text(chain: &LoChainResult) -> String {
    let mut places: Vec<(&str, usize)> = Vec::new();
    for own in &chain.left_out {
        match places.iter_mut().find(|place| place.0 == own.place) {
            Some(place) => place.1 += 1,
            None => places.push((&own.place, 1)),
        }
    }
    let mut text = String::new();
    if !places.is_empty() {
        let list: Vec<String> = places
            .iter()
            .map(|(place, count)| format!("{count} at {}", printable(place)))
            .collect();
        let _ = write!(text, "Tones left out where the data end: {}. ", list.join(", "));
    }
    if chain.responses_outside_data > 0 {
        let _ = write!(
            text,
            "{} spurious responses have an RF outside the data of the RF path.",
            chain.responses_outside_data
        );
    }
    if text.is_empty() { text } else { filled(text.trim_end()) }
}

fn window_text(chain: &LoChainResult) -> String {
    let end = |dbm: f64| format!("{} dBm", fixed(dbm, 2));
    match chain.input_window {
        PowerWindow::Empty => "No source power keeps all limits on power and drive.".to_owned(),
        PowerWindow::Open { low_dbm, high_dbm } => match (low_dbm, high_dbm) {
            (None, None) => "No limit on power or drive bounds the source power.".to_owned(),
            (Some(low), None) => {
                format!("Source power that keeps all limits on power and drive: from {}.", end(low))
            }
            (None, Some(high)) => {
                format!(
                    "Source power that keeps all limits on power and drive: up to {}.",
                    end(high)
                )
            }
            (Some(low), Some(high)) => format!(
                "Source power that keeps all limits on power and drive: {} to {}.",
                end(low),
                end(high)
            ),
        },
    }
}

/// The level plan, one row per stage and LO.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn lo_levels_csv(receiver: &Receiver, chain: &LoChainResult) -> Result<String, csv::Error> {
    let mut csv = CsvTable::new();
    csv.row([
        "stage",
        "lo_hz",
        "carrier_hz",
        "drive_dbm",
        "carrier_dbm",
        "gain_db",
        "slope",
        "drive_margin_db",
    ])?;
    for stage in &chain.stages {
        for (lo_hz, point) in receiver.plan().lo_hz().iter().zip(&stage.points) {
            csv.row([
                harmless(&stage.name),
                lo_hz.to_string(),
                point.carrier_hz.to_string(),
                point.drive_dbm.to_string(),
                point.carrier_dbm.to_string(),
                point.gain_db().to_string(),
                point.slope.to_string(),
                optional(stage.drive_limits.margin_db(point.drive_dbm)),
            ])?;
        }
    }
    csv.finish()
}

/// The tones beside the LO, one row per LO, multiple and mixer.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn lo_tones_csv(receiver: &Receiver, chain: &LoChainResult) -> Result<String, csv::Error> {
    let mut csv = CsvTable::new();
    csv.row(["lo_hz", "multiple", "frequency_hz", "mixer", "dbc"])?;
    for tone in &chain.tones_at_mixers {
        for (mixer, dbc) in receiver.mixers().iter().zip(&tone.dbc_by_mixer) {
            csv.row([
                tone.lo_hz.to_string(),
                tone.multiple.to_string(),
                tone.frequency_hz.to_string(),
                harmless(&mixer.name),
                dbc.to_string(),
            ])?;
        }
    }
    csv.finish()
}

/// The strongest response of the line of another one that is in the RF band, dB.
fn strongest_in_band_db(chain: &LoChainResult, line: &SpuriousResponse) -> Option<f64> {
    let own = chain.spurious_responses.iter().filter(|own| {
        own.is_in_rf_band
            && own.multiple.total_cmp(&line.multiple).is_eq()
            && own.sideband == line.sideband
    });
    own.map(SpuriousResponse::relative_db).reduce(f64::max)
}

/// The spurious responses, one row each.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn spurious_responses_csv(chain: &LoChainResult) -> Result<String, csv::Error> {
    let mut csv = CsvTable::new();
    csv.row([
        "lo_hz",
        "if_hz",
        "multiple",
        "sideband",
        "rf_hz",
        "relative_db",
        "in_rf_band",
        "judged",
    ])?;
    for response in &chain.spurious_responses {
        csv.row([
            response.lo_hz.to_string(),
            response.if_hz.to_string(),
            response.multiple.to_string(),
            response.sideband.to_string(),
            response.rf_hz.to_string(),
            response.relative_db().to_string(),
            response.is_in_rf_band.to_string(),
            response.is_judged.to_string(),
        ])?;
    }
    csv.finish()
}
