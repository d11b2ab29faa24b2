//! What a receiver was analysed with: ports and settings, for its document.

use crate::downconverter::{RECEIVER_QUANTITIES, Receiver, ReceiverPath};
use crate::network::{Port, Terminal};
use crate::touchstone::ReadOptions;
use serde_json::{Map, Value, json};

/// Every port once: what it is.
pub(super) fn ports_json(receiver: &Receiver) -> Vec<Value> {
    let mut rows = Vec::new();
    for (block, part) in receiver.parts().iter().enumerate() {
        for index in 0..part.ports.len() {
            let terminal = Terminal { block, port: Port::from_index(index) };
            let join = receiver.joins().iter().find(|join| join.terminals.contains(&terminal));
            rows.push(json!({
                "port": receiver.port_name(terminal),
                "joined": join.map(|join| &join.text),
                "loaded": receiver.loads().iter().any(|load| load.at == terminal),
                "input": ReceiverPath::BOTH
                    .into_iter()
                    .find(|&path| receiver.input(path).at == terminal)
                    .map(|path| if path == ReceiverPath::Lo { "lo" } else { "rf" }),
            }));
        }
    }
    rows
}

pub(super) fn settings_json(receiver: &Receiver, reading: &ReadOptions) -> Value {
    let plan = receiver.plan();
    let ohm = |path: ReceiverPath| {
        let value = receiver.input(path).source_ohm;
        [value.re, value.im]
    };
    let correction = receiver.output().correction;
    let limits: Map<String, Value> = RECEIVER_QUANTITIES
        .into_iter()
        .map(|quantity| (quantity.name().to_owned(), json!(receiver.limits().on(quantity))))
        .collect();
    json!({
        "lo_hz": plan.lo_hz(),
        "if_hz": plan.if_hz(),
        "rf_band_hz": plan.settings().rf_hz.map(|(low, high)| [low, high]),
        "points_outside_rf_band": plan.points_left_out(),
        "lo_multiplication": plan.settings().lo_multiplication,
        "lo_multiplication_after_split": plan.settings().lo_multiplication_after_split,
        "lo_harmonic": plan.settings().lo_harmonic,
        "lo_amplitude_exponent": receiver.mixing().lo_amplitude_exponent(),
        "lo_power_dbm": plan.settings().lo_power_dbm,
        "limits": limits,
        "load_reflection_sweep": {
            "mixer_reflection": receiver.reflection_sweep().mixer_reflection,
            "isolated_reflection": receiver.reflection_sweep().isolated_reflection,
        },
        "strict": reading.strict,
        "option_line": reading.option_line.as_ref().map(ToString::to_string),
        "lo_source_ohm": ohm(ReceiverPath::Lo),
        "rf_source_ohm": ohm(ReceiverPath::Rf),
        "correction": {
            "acts_on": correction.acts_on().name(),
            "amplitude_db": correction.amplitude_db(),
            "phase_deg": correction.phase_deg(),
        },
        "mixers": receiver
            .mixers()
            .iter()
            .map(|mixer| json!({
                "name": mixer.name,
                "channel": mixer.channel.name(),
                "polarity": if mixer.is_subtracted { "-" } else { "+" },
                "lo": receiver.port_name(mixer.ports.lo),
                "rf": receiver.port_name(mixer.ports.rf),
                "gain": [mixer.gain.re, mixer.gain.im],
            }))
            .collect::<Vec<_>>(),
    })
}
