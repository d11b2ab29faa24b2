//! A receiver as text for people: one screen of 80 columns.

use super::text::{filled, fixed, lines, table, telling};
use super::uncertainty::{judged, receiver_text};
use crate::diagnostic::printable;
use crate::downconverter::{
    Budget, Contributor, DownconverterResult, LoadRing, Receiver, ReceiverQuantity,
    ReceiverRequirement, RingPlace, Sideband, Trim, TrimCover, single_sideband_rise_db,
};
use crate::measurement::ReceiverUncertainty;
use crate::units::{ShownFrequency, db_from_neper, shown_band, shown_frequencies};
use std::fmt::Write as _;

/// Rows of the budget shown; the CSV has them all.
const ROWS_SHOWN: usize = 8;

/// The report of `downconverter`.
#[must_use]
pub fn receiver(
    receiver: &Receiver,
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
) -> String {
    let mut text = heading(receiver, result);
    text.push('\n');
    text.push_str(&verdict(result, uncertainty));
    if let Some(uncertainty) = uncertainty {
        text.push_str(&receiver_text(uncertainty, result));
    }
    text.push_str(&budget(receiver, result));
    text.push_str(&correction(result));
    text.push_str(&rest(receiver, result));
    text
}

fn heading(receiver: &Receiver, result: &DownconverterResult) -> String {
    let plan = &receiver.plan;
    let rejected = plan.wanted.opposite();
    let mut text = filled(&printable(&receiver.title));
    text.push_str(&filled(&format!(
        "LO {}, IF {}",
        shown_frequencies(&plan.lo_hz),
        shown_frequencies(&plan.if_hz)
    )));
    text.push_str(&bands(result, plan.wanted));
    let lead = result.summary.q_leads_i_deg;
    let (leading, other) = if lead > 0.0 { ("Q", "I") } else { ("I", "Q") };
    let chosen = if result.is_chosen { " (chosen)" } else { "" };
    let lead = format!("{leading} leads {other} by {} deg", fixed(lead.abs(), 1));
    let (name, wanted) = (&result.combination, plan.wanted);
    text.push_str(&filled(&match result.summary.reversed_points {
        0 => format!("{name}{chosen} keeps the {wanted} sideband, not the {rejected}; {lead}."),
        points => format!(
            "{name}{chosen} should keep the {wanted} sideband, but the {rejected} is as strong or \
             stronger at {points} of {} points; {lead}.",
            result.points.len()
        ),
    }));
    text
}

/// RF, image and LO input, and harmonics of the LO input that fall in.
fn bands(result: &DownconverterResult, wanted: Sideband) -> String {
    let plan = &result.frequency_plan;
    let Some(side) = plan.sidebands.iter().find(|side| side.sideband == wanted) else {
        return String::new();
    };
    let mut text = format!("RF {}, image {}", shown_band(side.rf_hz), shown_band(side.image_hz));
    let times = plan.settings.multiplication;
    if times > 1 {
        let _ = write!(text, "; LO input {} x {times}", shown_band(side.lo_input_hz));
    }
    let mut text = filled(&text);
    // That the LO itself sweeps through the RF band is no news.
    let mut strays: Vec<u32> =
        side.harmonics.iter().map(|hit| hit.harmonic).filter(|&number| number != times).collect();
    strays.dedup();
    if !strays.is_empty() {
        let list: Vec<String> = strays.iter().map(ToString::to_string).collect();
        text.push_str(&filled(&format!(
            "Harmonics of the LO input in the RF, image or IF band: {}.",
            list.join(", ")
        )));
    }
    text
}

fn requirement(held: &ReceiverRequirement, word: &str, probability: &str) -> String {
    let unit = held.quantity.unit();
    let mut place = format!("LO {}", ShownFrequency(held.at_lo_hz));
    if let Some(if_hz) = held.at_if_hz {
        let _ = write!(place, ", IF {}", ShownFrequency(if_hz));
    }
    if let Some(mixer) = &held.at_mixer {
        let _ = write!(place, ", {}", printable(mixer));
    }
    format!(
        "{word} {} {} {} {unit}: worst {} {unit} at {place}{probability}",
        held.quantity.words(),
        if held.quantity.is_lower_limit() { ">=" } else { "<=" },
        held.limit,
        if held.quantity == ReceiverQuantity::ImageRejection {
            shown(held.worst)
        } else {
            telling(held.worst)
        },
    )
}

fn verdict(result: &DownconverterResult, uncertainty: Option<&ReceiverUncertainty>) -> String {
    let mut text = String::new();
    for (at, held) in result.verdict.requirements.iter().enumerate() {
        let assessment = uncertainty.map(|known| &known.assessment);
        let (word, probability) = judged(held.passes(), assessment, at, held.quantity.unit());
        let probability =
            if probability.is_empty() { probability } else { format!("; {probability}") };
        text.push_str(&filled(&requirement(held, word, &probability)));
    }
    let summary = &result.summary;
    let worst = &summary.worst;
    text.push_str(&filled(&format!(
        "Worst image rejection {} dB (LO {}, IF {}), median {} dB.",
        shown(worst.balance.image_rejection_db),
        ShownFrequency(worst.lo_hz),
        ShownFrequency(worst.if_hz),
        shown(summary.median_image_rejection_db),
    )));
    if !result.verdict.requirements.is_empty() {
        let bands: Vec<String> = result
            .verdict
            .bands_that_pass_hz
            .iter()
            .map(|&range_hz| shown_band(range_hz))
            .collect();
        text.push_str(&filled(&if bands.is_empty() {
            "No LO passes at every IF.".to_owned()
        } else {
            let measured = if uncertainty.is_some() { ", as measured" } else { "" };
            format!("LOs that pass at every IF{measured}: {}.", bands.join(", "))
        }));
    }
    text
}

fn budget(receiver: &Receiver, result: &DownconverterResult) -> String {
    let Some(budget) = &result.budget else { return String::new() };
    let worst = &result.summary.worst;
    let shares = result.allocation.as_ref().map(|allocation| &allocation.shares);
    let mut headers = vec!["contributes", "dB", "deg", "alone dB", "if ideal dB", "plan dB"];
    if shares.is_some() {
        headers.extend(["share dB", "or deg"]);
    }
    let mut table = table(&headers);
    let optional = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), rejection);
    // The last row, the interaction, is always shown.
    let Some((last, others)) = budget.rows.split_last() else { return String::new() };
    let last_at = others.len();
    for (at, row) in others.iter().enumerate().take(ROWS_SHOWN - 1).chain([(last_at, last)]) {
        let mut cells = vec![
            shortened(&printable(&row.contributor.to_string())),
            signed(db_from_neper(row.error.re), 3),
            signed(row.error.im.to_degrees(), 2),
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
        signed(db_from_neper(budget.total.re), 3),
        signed(budget.total.im.to_degrees(), 2),
        rejection(worst.balance.image_rejection_db),
    ]);
    let mut text = format!(
        "\nContributions at the worst point; rejection there and over the plan if mended:\n{}\n",
        lines(&table)
    );
    if others.len() > ROWS_SHOWN - 1 {
        let _ = writeln!(text, " ({} more rows gain less)", others.len() + 1 - ROWS_SHOWN);
    }
    let sentence = match result.fix_first() {
        Some(row) => {
            let name = row.contributor.to_string();
            let is_pair = receiver.parts.iter().any(|p| p.pair.as_deref() == Some(name.as_str()));
            format!(
                "Fix first: {}{}.",
                printable(&name),
                if is_pair { " (the difference between the two)" } else { "" }
            )
        }
        None if is_arrangement(budget) => {
            "The error lies in the arrangement: blocks that stand in one branch only or differ by \
             design, such as lines of unequal length. Corresponding blocks want a pair."
                .to_owned()
        }
        None => "Nothing gains by being mended alone.".to_owned(),
    };
    text.push_str(&filled(&sentence));
    text
}

fn shown(value_db: f64) -> String {
    if value_db.abs() > 200.0 { rejection(value_db) } else { fixed(value_db, 2) }
}

/// Whether most of the error is there with every block ideal.
fn is_arrangement(budget: &Budget) -> bool {
    budget.rows.iter().any(|row| {
        row.contributor == Contributor::Arrangement && row.error.norm() > 0.5 * budget.total.norm()
    })
}

/// A name that leaves room for the numbers beside it.
fn shortened(name: &str) -> String {
    const LONGEST: usize = 16;
    if name.chars().count() <= LONGEST {
        return name.to_owned();
    }
    let kept: String = name.chars().take(LONGEST - 1).collect();
    format!("{kept}…")
}

/// A rejection; what is beyond all measuring is rounding.
fn rejection(value_db: f64) -> String {
    match value_db {
        value if value > 200.0 => "> 200".to_owned(),
        value if value < -200.0 => "< -200".to_owned(),
        value => fixed(value, 1),
    }
}

fn signed(value: f64, digits: usize) -> String {
    let text = fixed(value, digits);
    let is_zero = !text.contains(|c: char| c.is_ascii_digit() && c != '0');
    if value > 0.0 && !is_zero { format!("+{text}") } else { text }
}

/// A trim that leaves so little rejects nothing.
const USELESS_DB: f64 = 1.0;

fn correction(result: &DownconverterResult) -> String {
    let plan = &result.correction;
    let of = |trim: &Trim| {
        format!("{} dB, {} deg", signed(trim.amplitude_db, 2), signed(trim.phase_deg, 2))
    };
    let steps = format!("{} dB, {} deg", plan.steps.amplitude_db, plan.steps.phase_deg);
    let mut table = table(&["trim of Q", "free, worst dB", &format!("steps of {steps}")]);
    table.add_row([
        format!("one for all ({})", of(&plan.single)),
        rejection(plan.single.worst_db),
        rejection(plan.single_in_steps.worst_db),
    ]);
    table.add_row([
        "one per LO".to_owned(),
        rejection(plan.per_lo_db()),
        rejection(plan.per_lo_in_steps_db()),
    ]);
    let mut text = format!("\n{}\n", lines(&table));
    if plan.single.worst_db < USELESS_DB {
        text.push_str("No single trim is of use: the errors over the plan differ too much.\n");
    }
    if let (Some(cover), Some(allocation)) = (&plan.cover, &result.allocation) {
        text.push_str(&filled(&match cover {
            _ if plan.uncorrected_db >= allocation.required_db => {
                format!("{} dB needs no trim.", allocation.required_db)
            }
            TrimCover::Holds(segments) => format!(
                "{} trim{} over LO hold{} {} dB.",
                segments.len(),
                if segments.len() == 1 { "" } else { "s" },
                if segments.len() == 1 { "s" } else { "" },
                allocation.required_db
            ),
            TrimCover::Impossible { lo_hz, best_db } => format!(
                "No trim holds {} dB at LO {}: its IFs differ, {} dB is the best there.",
                allocation.required_db,
                ShownFrequency(*lo_hz),
                rejection(*best_db)
            ),
        }));
    }
    text
}

fn ring(ring: &LoadRing) -> String {
    /// Less than this is no dependence on the angle.
    const SMALLEST_SPREAD_DB: f64 = 0.05;
    let what = match ring.place {
        RingPlace::Mixers => "Mixers' LO ports",
        RingPlace::Isolated => "Isolated ports",
    };
    let (reflection, worst) = (fixed(ring.reflection, 3), rejection(ring.worst_db));
    if ring.best_db - ring.worst_db < SMALLEST_SPREAD_DB {
        return format!("{what} |{reflection}|: worst {worst} dB whatever the angle.");
    }
    format!(
        "{what} |{reflection}| at any angle: worst {worst} dB at {} deg, best {} dB.",
        fixed(ring.worst_angle_deg, 0),
        rejection(ring.best_db),
    )
}

fn rest(receiver: &Receiver, result: &DownconverterResult) -> String {
    let mut text = String::from("\n");
    for at in &result.load_rings {
        text.push_str(&filled(&ring(at)));
    }
    if let Some(losses) = result.allocation.as_ref().and_then(|all| all.return_losses) {
        text.push_str(&filled(&format!(
            "Return losses: mixers {}, isolated {} dB; their share asks for a sum of {}.",
            fixed(losses.mixers_db, 1),
            fixed(losses.isolated_db, 1),
            fixed(losses.needed_sum_db, 1),
        )));
    }
    let centre = receiver.plan.centre();
    let powers: Vec<f64> =
        result.lo[centre].mixers.iter().filter_map(|mixer| mixer.lo_power_dbm).collect();
    let range = |values: &[f64], unit: &str| {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (low, high) = (fixed(low, 2), fixed(high, 2));
        if low == high { format!("{low} {unit}") } else { format!("{low} to {high} {unit}") }
    };
    let figures: Vec<f64> =
        result.noise.iter().filter_map(|path| path.noise_figure_db[centre]).collect();
    let mut facts = Vec::new();
    if !powers.is_empty() {
        facts.push(format!("LO power {}", range(&powers, "dBm")));
    }
    if !figures.is_empty() {
        facts.push(format!("RF noise figure {}", range(&figures, "dB")));
    }
    if !facts.is_empty() {
        let lo = ShownFrequency(receiver.plan.lo_hz[centre]);
        text.push_str(&filled(&format!("At LO {lo}: {}.", facts.join(", "))));
    }
    text.push_str(&filled(&format!(
        "The image adds {} dB of noise at the median rejection.",
        fixed(single_sideband_rise_db(result.summary.median_image_rejection_db), 3),
    )));
    text
}
