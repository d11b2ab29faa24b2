//! The corrections of Q of wafers and dies on which answers count: JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use crate::wafer::{DieCorrection, DieKey, LotCorrections, LotResult};
use serde_json::{Value, json};

/// The corrections of the document: of each wafer, of each wafer and frequency, of each die.
pub(super) fn corrections_json(result: &LotResult) -> Value {
    let Some(corrections) = result.corrections() else { return Value::Null };
    let wafers = result.wafers().iter().zip(&corrections.wafers);
    let wafers = wafers.map(|(wafer, own)| {
        let at = |(frequency_hz, correction): &(f64, DieCorrection)| {
            json!({
                "frequency_hz": frequency_hz,
                "amplitude_db": correction.amplitude_db,
                "phase_deg": correction.phase_deg,
            })
        };
        json!({
            "lot": wafer.lot,
            "wafer": wafer.wafer,
            "amplitude_db": own.all.map(|all| all.amplitude_db),
            "phase_deg": own.all.map(|all| all.phase_deg),
            "by_frequency": own.by_frequency.iter().map(at).collect::<Vec<_>>(),
        })
    });
    let dies = result.rows().iter().zip(&corrections.dies).filter_map(|(row, own)| {
        let DieKey { lot, wafer, die_x, die_y } = &row.key;
        let own = (*own)?;
        Some(json!({
            "lot": &**lot,
            "wafer": &**wafer,
            "die_x": die_x,
            "die_y": die_y,
            "amplitude_db": own.amplitude_db,
            "phase_deg": own.phase_deg,
        }))
    });
    json!({
        "acts_on": corrections.acts_on,
        "wafers": wafers.collect::<Vec<_>>(),
        "dies": dies.collect::<Vec<_>>(),
    })
}

/// The corrections, one a row: of a wafer, of a wafer at a frequency or LO, of a die.
pub(super) fn corrections_csv(
    result: &LotResult,
    corrections: &LotCorrections,
) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row([
        "lot",
        "wafer",
        "die_x",
        "die_y",
        "frequency_hz",
        "acts_on",
        "amplitude_db",
        "phase_deg",
    ])?;
    let mut row = |lot: &str, wafer: &str, place: [String; 3], own: DieCorrection| {
        let [x, y, frequency_hz] = place;
        table.row([
            harmless(lot),
            harmless(wafer),
            x,
            y,
            frequency_hz,
            corrections.acts_on.to_owned(),
            own.amplitude_db.to_string(),
            own.phase_deg.to_string(),
        ])
    };
    let nowhere = || [String::new(), String::new()];
    for (wafer, own) in result.wafers().iter().zip(&corrections.wafers) {
        let at = |frequency_hz: Option<f64>| {
            let [x, y] = nowhere();
            [x, y, optional(frequency_hz)]
        };
        if let Some(all) = own.all {
            row(&wafer.lot, &wafer.wafer, at(None), all)?;
        }
        for (frequency_hz, correction) in &own.by_frequency {
            row(&wafer.lot, &wafer.wafer, at(Some(*frequency_hz)), *correction)?;
        }
    }
    for (die, own) in result.rows().iter().zip(&corrections.dies) {
        let DieKey { lot, wafer, die_x, die_y } = &die.key;
        if let Some(own) = own {
            row(lot, wafer, [die_x.to_string(), die_y.to_string(), String::new()], *own)?;
        }
    }
    table.finish()
}
