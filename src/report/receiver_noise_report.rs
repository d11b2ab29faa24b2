//! Noise of a receiver's RF paths, LO power, and the noise that the image adds: text and JSON.

use super::text_table::{filled, fixed};
use crate::downconverter::{DownconverterResult, NoisePathResult, Receiver};
use crate::network::REFERENCE_TEMPERATURE_K;
use crate::units::ShownFrequency;
use serde_json::{Value, json};

pub(super) fn noise_json(receiver: &Receiver, result: &DownconverterResult) -> Value {
    let paths: Vec<Value> = result
        .noise
        .iter()
        .map(|path: &NoisePathResult| {
            let rows: Vec<Value> = result
                .lo
                .iter()
                .zip(path.loss_db.iter().zip(&path.noise_figure_db))
                .map(|(point, (loss_db, figure_db))| {
                    json!({
                        "lo_hz": point.lo_hz,
                        "if_hz": point.rf_if_hz,
                        "loss_db": loss_db,
                        "noise_figure_db": figure_db,
                    })
                })
                .collect();
            json!({ "mixer": path.mixer, "points": rows })
        })
        .collect();
    let rise = result.image_noise_rise();
    // One IF serves all LOs unless an RF band leaves some of its points out.
    let (mut ifs_hz, first_hz) =
        (result.lo.iter().map(|point| point.rf_if_hz), receiver.plan().if_hz()[0]);
    let if_hz = ifs_hz.all(|if_hz| if_hz.total_cmp(&first_hz).is_eq()).then_some(first_hz);
    json!({
        "temperature_k": REFERENCE_TEMPERATURE_K,
        "if_hz": if_hz,
        "paths": paths,
        "single_sideband_rise_db": {
            "worst": rise.worst_db,
            "median": rise.median_db,
            "without_rejection": rise.without_rejection_db,
        },
    })
}

/// LO power and noise figure at the centre LO, and the noise of the image.
pub(super) fn noise_text(receiver: &Receiver, result: &DownconverterResult) -> String {
    let mut text = String::new();
    let centre = receiver.plan().centre();
    let powers: Vec<f64> =
        result.lo[centre].mixers.iter().filter_map(|mixer| mixer.lo_power_dbm?.value()).collect();
    let figures: Vec<f64> =
        result.noise.iter().filter_map(|path| path.noise_figure_db[centre]).collect();
    let mut facts = Vec::new();
    let reached: Vec<f64> = powers.iter().copied().filter(|dbm| dbm.is_finite()).collect();
    let without = if reached.len() < powers.len() { ", none at some mixers" } else { "" };
    facts.extend(range(&reached).map(|range| format!("LO power {range} dBm{without}")));
    facts.extend(range(&figures).map(|range| format!("RF noise figure {range} dB")));
    if !facts.is_empty() {
        let lo = ShownFrequency(receiver.plan().lo_hz()[centre]);
        text.push_str(&filled(&format!("At LO {lo}: {}.", facts.join(", "))));
    }
    text.push_str(&filled(&format!(
        "The image adds {} dB of noise at the median rejection.",
        fixed(result.image_noise_rise().median_db, 3),
    )));
    text
}

/// Minimum and maximum of values, or the one value if they are equal; `None` without values.
fn range(values: &[f64]) -> Option<String> {
    let low = fixed(values.iter().copied().reduce(f64::min)?, 2);
    let high = fixed(values.iter().copied().reduce(f64::max)?, 2);
    Some(if low == high { low } else { format!("{low} to {high}") })
}
