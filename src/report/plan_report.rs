//! A frequency plan: text, JSON and CSV.

use super::csv_table::CsvTable;
use super::text_table::{filled, lines, table};
use crate::downconverter::{FrequencyPlan, SidebandPlan, StageLeakage, stage_leakage};
use crate::units::ShownFrequency;
use serde::Serialize;
use std::fmt::Write as _;

/// The document of `plan`.
#[derive(Debug, Serialize)]
pub struct PlanReport {
    rf_hz: [f64; 2],
    if_hz: [f64; 2],
    multiplication: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    stage_orders: Option<Vec<u32>>,
    phase_noise_rise_db: f64,
    sidebands: Vec<SidebandReport>,
    notes: Vec<String>,
}

#[derive(Debug, Serialize)]
struct SidebandReport {
    sideband: String,
    rf_hz: [f64; 2],
    lo_hz: [f64; 2],
    lo_input_hz: [f64; 2],
    image_hz: [f64; 2],
    harmonics: Vec<HarmonicReport>,
    /// The last harmonic in the list where it is cut; null where it is complete.
    harmonics_cut_after: Option<u32>,
    /// What the stages leak beside the LO, where their orders are given.
    #[serde(skip_serializing_if = "Option::is_none")]
    leakage: Option<Vec<LeakageReport>>,
}

#[derive(Debug, Serialize)]
struct LeakageReport {
    stage: usize,
    order: u32,
    leaking_order: u32,
    multiple: u32,
    mirror: bool,
    swept_hz: [f64; 2],
    hits: Vec<LeakageHitReport>,
}

#[derive(Debug, Serialize)]
struct LeakageHitReport {
    victim: &'static str,
    overlap_hz: [f64; 2],
    lo_hz: [f64; 2],
}

impl From<StageLeakage> for LeakageReport {
    fn from(own: StageLeakage) -> Self {
        let list = |(low, high): (f64, f64)| [low, high];
        let hits = own.hits.iter().map(|hit| LeakageHitReport {
            victim: hit.victim.name(),
            overlap_hz: list(hit.overlap_hz),
            lo_hz: list(hit.lo_hz),
        });
        Self {
            stage: own.stage,
            order: own.order,
            leaking_order: own.leaking_order,
            multiple: own.multiple,
            mirror: own.is_mirror,
            swept_hz: list(own.swept_hz),
            hits: hits.collect(),
        }
    }
}

#[derive(Debug, Serialize)]
struct HarmonicReport {
    harmonic: u32,
    band: String,
    overlap_hz: [f64; 2],
    lo_input_hz: [f64; 2],
}

impl From<&FrequencyPlan> for PlanReport {
    fn from(plan: &FrequencyPlan) -> Self {
        Self::of_stages(plan, &[])
    }
}

impl PlanReport {
    /// A plan with what stages of these orders leak beside the LO; none where no orders are given.
    #[must_use]
    pub fn of_stages(plan: &FrequencyPlan, orders: &[u32]) -> Self {
        let list = |(low, high): (f64, f64)| [low, high];
        let harmonics = |plan: &SidebandPlan| {
            let hits = plan.harmonics.iter().map(|hit| HarmonicReport {
                harmonic: hit.harmonic,
                band: hit.victim.to_string(),
                overlap_hz: list(hit.overlap_hz),
                lo_input_hz: list(hit.lo_input_hz),
            });
            hits.collect()
        };
        let if_hz = plan.settings.if_hz;
        let leakage = |side: &SidebandPlan| {
            let lines = stage_leakage(side, if_hz, orders).into_iter();
            (!orders.is_empty()).then(|| lines.map(LeakageReport::from).collect())
        };
        let sidebands = plan.sidebands.iter().map(|plan| SidebandReport {
            sideband: plan.sideband.to_string(),
            rf_hz: list(plan.rf_hz),
            lo_hz: list(plan.lo_hz),
            lo_input_hz: list(plan.lo_input_hz),
            image_hz: list(plan.image_hz),
            harmonics: harmonics(plan),
            harmonics_cut_after: plan.harmonics_cut_after,
            leakage: leakage(plan),
        });
        Self {
            rf_hz: list(plan.settings.rf_hz),
            if_hz: list(plan.settings.if_hz),
            multiplication: plan.settings.multiplication,
            stage_orders: (!orders.is_empty()).then(|| orders.to_vec()),
            phase_noise_rise_db: plan.phase_noise_rise_db,
            sidebands: sidebands.collect(),
            notes: plan.notes.clone(),
        }
    }
}

/// The report of `plan`, with what stages of these orders leak beside the LO.
#[must_use]
pub fn plan_text(plan: &FrequencyPlan, orders: &[u32]) -> String {
    let band =
        |(low, high): (f64, f64)| format!("{} to {}", ShownFrequency(low), ShownFrequency(high));
    let mut text = format!(
        "RF {}, IF {}, LO input times {}\nPhase noise rises by {:.2} dB, phase errors by {} times.\n",
        band(plan.settings.rf_hz),
        band(plan.settings.if_hz),
        plan.settings.multiplication,
        plan.phase_noise_rise_db,
        plan.settings.multiplication
    );
    for note in &plan.notes {
        text.push_str(&filled(&format!("Note: {note}.")));
    }
    for side in &plan.sidebands {
        let _ = writeln!(text, "\nWanted sideband: {}", side.sideband);
        let mut bands = table(&["band", "from", "to"]);
        for (name, (low, high)) in
            [("LO", side.lo_hz), ("LO input", side.lo_input_hz), ("image", side.image_hz)]
        {
            bands.add_row([
                name.to_owned(),
                ShownFrequency(low).to_string(),
                ShownFrequency(high).to_string(),
            ]);
        }
        let _ = writeln!(text, "{}", lines(&bands));
        text.push_str(&harmonics_text(plan, side));
        text.push_str(&leakage_text(plan, side, orders));
    }
    text
}

/// Harmonics of the LO input in the bands.
fn harmonics_text(plan: &FrequencyPlan, side: &SidebandPlan) -> String {
    let mut text = String::new();
    if side.harmonics.is_empty() {
        text.push_str("No harmonic of the LO input falls into the RF, image or IF band.\n");
        return text;
    }
    let mut hits = table(&["harmonic of the LO input", "falls into", "from", "to"]);
    for hit in &side.harmonics {
        let is_lo = if hit.harmonic == plan.settings.multiplication { " (the LO)" } else { "" };
        hits.add_row([
            format!("{}{is_lo}", hit.harmonic),
            hit.victim.to_string(),
            ShownFrequency(hit.overlap_hz.0).to_string(),
            ShownFrequency(hit.overlap_hz.1).to_string(),
        ]);
    }
    let _ = writeln!(text, "{}", lines(&hits));
    if let Some(last) = side.harmonics_cut_after {
        text.push_str(&cut_words(last));
    }
    text
}

/// What stages of these orders leak beside the LO, a row for each place where it lands.
fn leakage_text(plan: &FrequencyPlan, side: &SidebandPlan, orders: &[u32]) -> String {
    let leaking = stage_leakage(side, plan.settings.if_hz, orders);
    if leaking.is_empty() {
        return String::new();
    }
    let mut text = filled(&format!(
        "What the stages leak beside the LO, in multiples of the LO input (x{} is the LO):",
        plan.settings.multiplication
    ));
    let mut rows = table(&["stage", "leaks", "line", "falls into", "from", "to"]);
    for own in &leaking {
        let name = format!("{} (x{})", own.stage, own.order);
        let mirror = if own.is_mirror { " mirrored" } else { "" };
        let beside = format!("x{}{mirror}", own.multiple);
        if own.hits.is_empty() {
            rows.add_row([name, format!("x{}", own.leaking_order), beside, "-".to_owned()]);
            continue;
        }
        for hit in &own.hits {
            rows.add_row([
                name.clone(),
                format!("x{}", own.leaking_order),
                beside.clone(),
                hit.victim.to_string(),
                ShownFrequency(hit.overlap_hz.0).to_string(),
                ShownFrequency(hit.overlap_hz.1).to_string(),
            ]);
        }
    }
    let _ = writeln!(text, "{}", lines(&rows));
    text
}

/// That a list of harmonics ends before the harmonics do.
pub(super) fn cut_words(last: u32) -> String {
    filled(&format!(
        "The list ends at harmonic {last}; higher ones fall into these bands too. An LO input this \
         low has harmonics everywhere: narrow the bands or lower the IF."
    ))
}

/// The bands and harmonics of a plan, one row each; `harmonic` is empty for a band. Lines that stages of
/// these orders leak have rows `leak_..` with their multiple of the LO input.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn plan_csv(plan: &FrequencyPlan, orders: &[u32]) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row(["sideband", "band", "harmonic", "low_hz", "high_hz"])?;
    for side in &plan.sidebands {
        for (what, (low, high)) in
            [("lo", side.lo_hz), ("lo_input", side.lo_input_hz), ("image", side.image_hz)]
        {
            let name = side.sideband.to_string();
            table.row([name, what.to_owned(), String::new(), low.to_string(), high.to_string()])?;
        }
        for hit in &side.harmonics {
            let (low, high) = hit.overlap_hz;
            table.row([
                side.sideband.to_string(),
                format!("in_{}", hit.victim.to_string().to_lowercase()),
                hit.harmonic.to_string(),
                low.to_string(),
                high.to_string(),
            ])?;
        }
        for own in stage_leakage(side, plan.settings.if_hz, orders) {
            for hit in &own.hits {
                let (low, high) = hit.overlap_hz;
                table.row([
                    side.sideband.to_string(),
                    format!("leak_{}_{}", own.stage, hit.victim.name()),
                    own.multiple.to_string(),
                    low.to_string(),
                    high.to_string(),
                ])?;
            }
        }
    }
    table.finish()
}
