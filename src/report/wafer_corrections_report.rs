//! The corrections of Q of wafers and dies on which answers count: JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use crate::wafer::{
    DieCorrection, DieKey, DieRow, LotCorrections, LotResult, WaferCorrections, WaferResult,
};
use serde::{Serialize, Serializer, ser::SerializeMap as _};
use serde_json::{Value, json};

/// The corrections of the document: of each wafer, of each wafer and frequency, of each die. Entries are
/// made while they are written: those of all dies at once would take a kilobyte each.
#[derive(Clone, Copy, Debug)]
pub(super) struct CorrectionsJson<'r>(pub(super) Option<&'r LotResult>);

impl Serialize for CorrectionsJson<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let known = self.0.and_then(|result| Some((result, result.corrections()?)));
        let Some((result, corrections)) = known else { return to.serialize_none() };
        let wafers = || result.wafers().iter().zip(&corrections.wafers).map(wafer_json);
        let dies = || result.rows().iter().zip(&corrections.dies).filter_map(die_json);
        let mut map = to.serialize_map(Some(3))?;
        map.serialize_entry("acts_on", corrections.acts_on)?;
        map.serialize_entry("wafers", &Each(wafers))?;
        map.serialize_entry("dies", &Each(dies))?;
        map.end()
    }
}

/// A list whose entries are made one by one.
struct Each<F>(F);

impl<I: Iterator<Item = Value>, F: Fn() -> I> Serialize for Each<F> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq((self.0)())
    }
}

fn wafer_json((wafer, own): (&WaferResult, &WaferCorrections)) -> Value {
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
}

fn die_json((row, own): (&DieRow, &Option<DieCorrection>)) -> Option<Value> {
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
