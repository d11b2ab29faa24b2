//! The error budget of a receiver and what each part may contribute: text, JSON and CSV.

use super::csv_table::{CsvTable, harmless, optional};
use super::text_table::{abbreviated, filled, fixed, lines, rejection, table};
use crate::diagnostic::printable;
use crate::downconverter::{
    Allocation, Allowance, Budget, BudgetRow, Contributor, DownconverterResult, Interaction,
    PartKind, PartTaken, ReceiverPath, Sideband,
};
use crate::units::{ShownFrequency, db_from_neper, shown_signed};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// The rows of the budget; none where there is no budget.
pub(super) fn budget_json(result: &DownconverterResult) -> Vec<Value> {
    result.budget.iter().flat_map(|budget| &budget.rows).map(row_json).collect()
}

/// The row of the loads, load by load and source by source.
pub(super) fn load_rows_json(result: &DownconverterResult) -> Vec<Value> {
    let row = |row: &BudgetRow| {
        let mut value = row_json(row);
        if let Contributor::LoadsAt(ports) = &row.contributor {
            value["ports"] = json!(ports);
        }
        value
    };
    result.budget.iter().flat_map(|budget| &budget.loads).map(row).collect()
}

/// What acts through several parts of a receiver with switched mixers.
pub(super) fn mechanisms_json(result: &DownconverterResult) -> Vec<Value> {
    result.budget.iter().flat_map(|budget| &budget.mechanisms).map(row_json).collect()
}

/// LO and IF of the points over which parts are compared, where those are not the whole plan.
pub(super) fn compared_json(result: &DownconverterResult) -> Option<Vec<Value>> {
    let compared = result.budget.as_ref()?.compared.as_ref()?;
    Some(compared.iter().map(|(lo_hz, if_hz)| json!({ "lo_hz": lo_hz, "if_hz": if_hz })).collect())
}

/// The interaction pair by pair.
pub(super) fn interactions_json(result: &DownconverterResult) -> Vec<Value> {
    let pair = |own: &Interaction| {
        json!({
            "between": own.between.as_ref().map(|pair| pair.each_ref().map(ToString::to_string)),
            "amplitude_db": db_from_neper(own.error.re),
            "phase_deg": own.error.im.to_degrees(),
        })
    };
    result.budget.iter().flat_map(|budget| &budget.interactions).map(pair).collect()
}

fn row_json(row: &BudgetRow) -> Value {
    json!({
        "block": row.contributor.to_string(),
        "is_block": matches!(row.contributor, Contributor::Block(_) | Contributor::Pair(_)),
        "sideband": "image",
        "has_equal_members": row.has_equal_members,
        "amplitude_db": db_from_neper(row.error.re),
        "phase_deg": row.error.im.to_degrees(),
        "image_rejection_alone_db": row.alone_db,
        "image_rejection_if_ideal_db": row.if_ideal_db,
        "worst_image_rejection_if_ideal_db": row.plan_if_ideal_db,
    })
}

/// What each block was taken for in the budget.
pub(super) fn blocks_json(result: &DownconverterResult) -> Vec<Value> {
    result.budget.iter().flat_map(|budget| &budget.taken).map(block).collect()
}

fn block(taken: &PartTaken) -> Value {
    json!({
        "block": taken.name,
        "path": if taken.path == ReceiverPath::Lo { "lo" } else { "rf" },
        "kind": taken.kind.map(|kind| match kind {
            PartKind::Splitter(kind) => kind.to_string(),
            PartKind::Line => "line".to_owned(),
        }),
        "input": taken.input,
        "outputs": taken.outputs,
        "nominal_deg": taken.nominal_deg,
    })
}

pub(super) fn allocation_json(allocation: &Allocation) -> Value {
    let shares: Vec<Value> = allocation
        .allowances
        .iter()
        .map(|share| {
            json!({
                "block": share.contributor.to_string(),
                "present_amplitude_db": db_from_neper(share.present),
                "allowed_amplitude_db": share.allowed_amplitude_db(),
                "allowed_phase_deg": share.allowed_phase_deg(),
            })
        })
        .collect();
    json!({
        "image_rejection_db": allocation.required_db,
        "allowed_total_amplitude_db": db_from_neper(allocation.allowed_total),
        "allowed_total_phase_deg": allocation.allowed_total.to_degrees(),
        "factor": allocation.factor,
        "allowances": shares,
        "return_losses": allocation.return_losses.map(|losses| json!({
            "worst_mixers_db": losses.worst_mixers.db,
            "worst_mixers_at_lo_hz": losses.worst_mixers.at_lo_hz,
            "worst_isolated_db": losses.worst_isolated.db,
            "worst_isolated_at_lo_hz": losses.worst_isolated.at_lo_hz,
            "at_lo_hz": losses.at_lo_hz,
            "needed_sum_db": losses.needed_sum_db,
            "mixers_db": losses.mixers_db,
            "mixers_needed_db": losses.mixers_needed_db,
            "isolated_db": losses.isolated_db,
            "isolated_needed_db": losses.isolated_needed_db,
        })),
    })
}

/// The error budget, one row per contributor.
///
/// # Errors
/// None in practice: the table is made in memory.
pub fn receiver_budget_csv(result: &DownconverterResult) -> Result<String, csv::Error> {
    let mut table = CsvTable::new();
    table.row([
        "block",
        "amplitude_db",
        "phase_deg",
        "image_rejection_alone_db",
        "image_rejection_if_ideal_db",
        "worst_image_rejection_if_ideal_db",
        "allowed_amplitude_db",
        "allowed_phase_deg",
        "part_of",
    ])?;
    let shares = result.allocation.as_ref().map(|allocation| &allocation.allowances);
    let mut line = |row: &BudgetRow, share: Option<&Allowance>, part_of: &str| {
        table.row([
            harmless(&row.contributor.to_string()),
            db_from_neper(row.error.re).to_string(),
            row.error.im.to_degrees().to_string(),
            row.alone_db.to_string(),
            optional(row.if_ideal_db),
            optional(row.plan_if_ideal_db),
            optional(share.map(Allowance::allowed_amplitude_db)),
            optional(share.map(Allowance::allowed_phase_deg)),
            part_of.to_owned(),
        ])
    };
    for (at, row) in result.budget.iter().flat_map(|budget| &budget.rows).enumerate() {
        line(row, shares.and_then(|shares| shares.get(at)), "")?;
    }
    for row in result.budget.iter().flat_map(|budget| &budget.loads) {
        line(row, None, "loads")?;
    }
    for row in result.budget.iter().flat_map(|budget| &budget.mechanisms) {
        line(row, None, "mechanisms")?;
    }
    table.finish()
}

/// Single loads shown; the CSV has them all.
const LOADS_SHOWN: usize = 4;
/// Rows of the budget shown; the CSV has them all.
const ROWS_SHOWN: usize = 8;

pub(super) fn budget_text(result: &DownconverterResult, image: Sideband) -> String {
    let Some(budget) = &result.budget else { return String::new() };
    let worst = &result.summary.worst;
    let shares = result.allocation.as_ref().map(|allocation| &allocation.allowances);
    let mut headers =
        vec!["part", "amplitude\ndB", "phase\ndeg", "alone\ndB", "if ideal\ndB", "plan\ndB"];
    if shares.is_some() {
        headers.extend(["allowance\ndB", "or\ndeg"]);
    }
    let mut table = table(&headers);
    let optional = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), rejection);
    // The last row, the interaction, is always shown.
    let Some((last, others)) = budget.rows.split_last() else { return String::new() };
    let last_at = others.len();
    for (at, row) in others.iter().enumerate().take(ROWS_SHOWN - 1).chain([(last_at, last)]) {
        let mut cells = vec![
            abbreviated(&row.contributor.to_string(), LONGEST_NAME),
            shown_signed(db_from_neper(row.error.re), 3),
            shown_signed(row.error.im.to_degrees(), 2),
            rejection(row.alone_db),
            optional(row.if_ideal_db),
            optional(row.plan_if_ideal_db),
        ];
        if let Some(share) = shares.and_then(|shares| shares.get(at)) {
            cells.extend([
                fixed(share.allowed_amplitude_db(), 3),
                fixed(share.allowed_phase_deg(), 2),
            ]);
        }
        table.add_row(cells);
    }
    table.add_row([
        "total".to_owned(),
        shown_signed(db_from_neper(budget.total.re), 3),
        shown_signed(budget.total.im.to_degrees(), 2),
        rejection(worst.balance.image_rejection_db),
    ]);
    let mut text = format!(
        "\nI/Q channel error by part, at the worst point, in the image sideband ({image}):\n{}\n",
        lines(&table)
    );
    if others.len() > ROWS_SHOWN - 1 {
        let more = others.len() + 1 - ROWS_SHOWN;
        let verb = if more == 1 { "row gains" } else { "rows gain" };
        let _ = writeln!(text, " ({more} more {verb} less)");
    }
    if budget.loads.len() > 1 {
        text.push_str(&filled(&loads_text(budget)));
    }
    if result.switching.is_some() {
        text.push_str(&filled(&mechanisms_text(budget)));
    }
    let plan = match &budget.compared {
        Some(compared) => format!("worst of {}", points_text(compared)),
        None => "worst of the plan".to_owned(),
    };
    text.push_str(&filled(&format!(
        "I/Q channel error: Q over I against its ideal, as dB and degrees. Alone, if ideal: rejection \
         with this error by itself, and with this part ideal (plan: {plan}). Interaction: \
         reflections between parts. Allowance: error that keeps the required rejection.",
    )));
    text.push_str(&filled(&fix_first_text(result, budget)));
    if let Some(sentence) = interaction_text(budget) {
        text.push_str(&filled(&sentence));
    }
    text
}

/// LOs and IFs, as in `LO 27 GHz, IF 1 GHz; LO 31 GHz, IF 0.5 GHz`.
fn points_text(points: &[(f64, f64)]) -> String {
    let point = |(lo_hz, if_hz): &(f64, f64)| {
        format!("LO {}, IF {}", ShownFrequency(*lo_hz), ShownFrequency(*if_hz))
    };
    points.iter().map(point).collect::<Vec<_>>().join("; ")
}

/// The loads and sources with the rejection at the worst point if each alone is ideal.
fn loads_text(budget: &Budget) -> String {
    let load = |row: &BudgetRow| {
        let name = row.contributor.to_string();
        let if_ideal = row.if_ideal_db.map_or_else(|| "-".to_owned(), rejection);
        format!("{} {if_ideal} dB", printable(&name))
    };
    let shown: Vec<String> = budget.loads.iter().take(LOADS_SHOWN).map(load).collect();
    let more = match budget.loads.len() - shown.len() {
        0 => String::new(),
        others => format!("; {others} more gain less"),
    };
    format!("Of the loads, if ideal alone: {}{more}.", shown.join("; "))
}

/// What acts through several parts, with the rejection at the worst point without it.
fn mechanisms_text(budget: &Budget) -> String {
    let row = |row: &BudgetRow| {
        let without = row.if_ideal_db.map_or_else(|| "-".to_owned(), rejection);
        format!("{} {without} dB", row.contributor)
    };
    let shown: Vec<String> = budget.mechanisms.iter().map(row).collect();
    let without = match shown.as_slice() {
        [] => String::new(),
        shown => format!(" Through several parts, if ideal alone: {}.", shown.join("; ")),
    };
    format!(
        "With switched mixers parts are compared at this point, and for the plan at few points.{without}"
    )
}

fn fix_first_text(result: &DownconverterResult, budget: &Budget) -> String {
    let Some(row) = result.fix_first() else {
        return if result.summary.reversed_points > 0 {
            "The wanted sideband is not the stronger one: check the warnings first.".to_owned()
        } else if budget.is_arrangement() {
            "The error is in the arrangement: blocks that are in one branch only or differ by \
             design, such as lines of unequal length. Corresponding blocks want a pair."
                .to_owned()
        } else {
            "Nothing gains 0.1 dB by being ideal alone.".to_owned()
        };
    };
    let name = row.contributor.to_string();
    let what = match (&row.contributor, row.has_equal_members) {
        (Contributor::Pair(_), Some(true)) => {
            " (the two are equal: it is their common mismatch)".to_owned()
        }
        (Contributor::Pair(_), _) => {
            " (the difference between the two, and their common mismatch)".to_owned()
        }
        (Contributor::Loads, _) => result.fix_first_load().map_or_else(String::new, |load| {
            let own = load.contributor.to_string();
            let if_ideal = load.if_ideal_db.map_or_else(|| "-".to_owned(), rejection);
            format!(" (of these {}: {if_ideal} dB if it alone is ideal)", printable(&own))
        }),
        _ => String::new(),
    };
    format!("Fix first: {}{what}.", printable(&name))
}

/// Pairs shown; the document has them all.
const PAIRS_SHOWN: usize = 3;

/// The parts of the interaction, where it is the largest row.
fn interaction_text(budget: &Budget) -> Option<String> {
    let (interaction, others) = budget.rows.split_last()?;
    if others.iter().any(|row| row.error.norm() >= interaction.error.norm()) {
        return None;
    }
    let pair = |own: &Interaction| {
        let what = match &own.between {
            Some([one, other]) => {
                let (one, other) = (one.to_string(), other.to_string());
                format!("{} with {}", printable(&one), printable(&other))
            }
            None => "three or more together".to_owned(),
        };
        format!(
            "{what} {} dB, {} deg",
            shown_signed(db_from_neper(own.error.re), 2),
            shown_signed(own.error.im.to_degrees(), 2)
        )
    };
    let shown: Vec<String> = budget.interactions.iter().take(PAIRS_SHOWN).map(pair).collect();
    (!shown.is_empty()).then(|| format!("Interaction, reflections between: {}.", shown.join("; ")))
}

/// Longer names leave no room for the numbers beside them.
const LONGEST_NAME: usize = 16;
