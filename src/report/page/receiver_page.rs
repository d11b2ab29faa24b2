//! The page of a receiver.

use super::super::files_error::FilesError;
use super::super::publish::ReportFile;
use super::page_picture::{NamedPicture, PagePicture};
use super::page_table::PageTable;
use super::page_value::{Document, frequency, number, percent};
use super::report_page::{Finding, ReportPage, listed_tables};
use super::requirement_rows::{requirement_table, verdict};
use crate::units::shown_band;
use serde_json::Value;

/// The tables of a receiver, with their titles.
const TABLES: [(&str, &str); 9] = [
    ("budget.csv", "Error budget by part"),
    ("points.csv", "Every LO and IF"),
    ("lo.csv", "LO at the mixers"),
    ("corrections.csv", "I/Q corrections"),
    ("uncertainty.csv", "Uncertainty of every LO and IF"),
    ("measured.csv", "Measured tones against the prediction"),
    ("lo_chain.csv", "LO chain"),
    ("lo_tones.csv", "LO tones at the mixers"),
    ("spurious_responses.csv", "Spurious responses"),
];

/// The page of a receiver, from its document, its other files and its pictures.
pub(in super::super) fn receiver_page(
    document: &Value,
    files: &[ReportFile],
    pictures: &[NamedPicture],
    command: &str,
) -> Result<Vec<u8>, FilesError> {
    let document = Document(document);
    let page = ReportPage {
        subject: "Receiver: image rejection over LO and IF",
        title: document.text("/title"),
        about: about(document),
        verdict: verdict(document),
        requirements: requirement_table(document),
        findings: findings(document),
        pictures: pictures
            .iter()
            .map(|picture| PagePicture::of(picture, &result_in(document, &picture.name)))
            .collect(),
        ..ReportPage::of_files(document, files, command)
    };
    let page = ReportPage { tables: listed_tables(&TABLES, files)?, ..page };
    Ok(page.html()?.into_bytes())
}

/// A band of a document, in words.
fn band(document: Document<'_>, place: &str) -> Option<String> {
    let ends: Vec<f64> = document.list(place).filter_map(|end| end.number("")).collect();
    match ends.as_slice() {
        &[low, high] => Some(shown_band((low, high))),
        _ => None,
    }
}

fn about(document: Document<'_>) -> Vec<String> {
    let counted = |place: &str| document.list(place).count();
    let part = |name: &str, place: &str, points: usize| {
        band(document, place).map(|band| format!("{name} {band} ({points} points)"))
    };
    let plan = [
        part("LO", "/summary/lo_band_hz", counted("/settings/lo_hz")),
        part("IF", "/frequency_plan/if_hz", counted("/settings/if_hz")),
        band(document, "/frequency_plan/rf_hz").map(|band| format!("RF {band}")),
    ];
    let plan = plan.into_iter().flatten().collect::<Vec<_>>().join(", ");
    let kept = format!(
        "{} keeps the {} sideband.",
        combination(&document.text("/combine")),
        document.text("/wanted_sideband")
    );
    vec![format!("{plan}."), kept]
}

/// `I + jQ` for `i+jq`.
fn combination(name: &str) -> String {
    name.replace('i', "I").replace('q', "Q").replace('+', " + ").replace('-', " - ")
}

fn worst(document: Document<'_>) -> String {
    let rejection = |place: &str| rejection(document.number(place));
    let at = |place: &str| document.number(place).map_or_else(String::new, frequency);
    format!(
        "Worst image rejection {} at LO {}, IF {}; median {}.",
        rejection("/summary/worst_image_rejection_db"),
        at("/summary/worst_at_lo_hz"),
        at("/summary/worst_at_if_hz"),
        rejection("/summary/median_image_rejection_db"),
    )
}

fn rejection(value_db: Option<f64>) -> String {
    match value_db {
        Some(db) if db <= 200.0 => format!("{} dB", super::super::text_table::fixed(db, 2)),
        _ => "over 200 dB".to_owned(),
    }
}

fn bands(document: Document<'_>, place: &str) -> String {
    let bands: Vec<String> = document.list(place).filter_map(|own| band(own, "")).collect();
    bands.join(", ")
}

fn findings(document: Document<'_>) -> Vec<Finding> {
    let mut found = vec![limiting(document)];
    found.extend(correcting(document));
    found.extend(deciding(document));
    found
}

fn limiting(document: Document<'_>) -> Finding {
    let mut sentences = vec![worst(document)];
    if document.list("/verdict/requirements").next().is_some() {
        sentences.push(match bands(document, "/verdict/bands_that_pass_hz").as_str() {
            "" => "No LO passes at every IF.".to_owned(),
            passing => format!("LOs that pass at every IF: {passing}."),
        });
        let undecided = bands(document, "/verdict/bands_undecided_hz");
        if !undecided.is_empty() {
            sentences.push(format!("Undecided LOs: {undecided}."));
        }
    }
    let first = document.text("/summary/fix_first");
    if let Some(row) = document.list("/budget").find(|row| row.text("/block") == first) {
        sentences.push(format!(
            "Fix first: {first}. With it ideal, the image rejection at the worst point is {}, and {} over the whole plan.",
            rejection(row.number("/image_rejection_if_ideal_db")),
            rejection(row.number("/worst_image_rejection_if_ideal_db")),
        ));
    }
    let mut table = PageTable::of(
        "limits",
        "I/Q channel error by part, at the worst point",
        &[
            ("Part", false),
            ("Amplitude (dB)", true),
            ("Phase (deg)", true),
            ("Rejection with this error alone (dB)", true),
            ("Rejection with this part ideal (dB)", true),
            ("The same, worst of the plan (dB)", true),
        ],
    );
    for row in document.list("/budget") {
        let value =
            |place: &str| row.number(place).map_or_else(|| "-".to_owned(), |db| number(db, "dB"));
        table.rows.push(vec![
            row.text("/block"),
            value("/amplitude_db"),
            value("/phase_deg"),
            value("/image_rejection_alone_db"),
            value("/image_rejection_if_ideal_db"),
            value("/worst_image_rejection_if_ideal_db"),
        ]);
    }
    let table = (!table.rows.is_empty()).then_some(table);
    Finding { heading: "What limits", sentences, table, ..Finding::default() }
}

/// What a correction of I and Q gains.
fn correcting(document: Document<'_>) -> Option<Finding> {
    let correction = Document(document.at("/correction"));
    let present = correction.number("/present/worst_image_rejection_db")?;
    let mut table = PageTable::of(
        "help",
        "Worst image rejection with an I/Q correction",
        &[("Correction", false), ("Continuous (dB)", true), ("In steps (dB)", true)],
    );
    let rows = [
        (
            "One for all LOs and IFs",
            "/single/worst_image_rejection_db",
            "/single_quantised/worst_image_rejection_db",
        ),
        (
            "One per LO",
            "/per_lo_worst_image_rejection_db",
            "/per_lo_quantised_worst_image_rejection_db",
        ),
        (
            "One per LO and IF",
            "/per_lo_and_if_worst_image_rejection_db",
            "/per_lo_and_if_quantised_worst_image_rejection_db",
        ),
    ];
    for (name, exact, quantised) in rows {
        let value = |place: &str| match correction.number(place) {
            Some(db) if db <= 200.0 => number(db, "dB"),
            _ => "over 200".to_owned(),
        };
        table.rows.push(vec![name.to_owned(), value(exact), value(quantised)]);
    }
    let single = |place: &str, unit: &str| {
        correction.number(place).map_or_else(|| "-".to_owned(), |value| number(value, unit))
    };
    let sentence = format!(
        "Without a further correction the worst is {}. One setting for all LOs and IFs, {} dB and {} deg, gives {}. Steps are {} dB and {} deg.",
        rejection(Some(present)),
        single("/single/amplitude_db", "dB"),
        single("/single/phase_deg", "deg"),
        rejection(correction.number("/single/worst_image_rejection_db")),
        single("/amplitude_step_db", ""),
        single("/phase_step_deg", ""),
    );
    Some(Finding {
        heading: "What an I/Q correction gains",
        sentences: vec![sentence],
        table: Some(table),
        ..Finding::default()
    })
}

/// What uncertainty contributes most, and what would decide.
fn deciding(document: Document<'_>) -> Option<Finding> {
    let known = Document(document.at("/uncertainty"));
    known.number("/coverage_percent")?;
    let mut sentences = Vec::new();
    let advice = Document(known.at("/advice"));
    if let Some(share) = advice.number("/share") {
        let part = advice.text("/part");
        sentences.push(match advice.number("/reduce_to_percent") {
            Some(to) => format!(
                "{part} contributes most, {} of the variance. Reduced to {to:.0} % of it, its uncertainty would allow a decision.",
                percent(share)
            ),
            None => format!(
                "{part} contributes most, {} of the variance; exact data of it alone would not allow a decision.",
                percent(share)
            ),
        });
        if let Some(to) = advice.number("/reduce_all_to_percent") {
            sentences.push(format!(
                "All uncertainties together, reduced to {to:.0} %, would allow a decision."
            ));
        }
    }
    let mut table = PageTable::of(
        "contributions",
        "What contributes to the uncertainty",
        &[
            ("Part", false),
            ("Source", false),
            ("u of amplitude (dB)", true),
            ("u of phase (deg)", true),
            ("Share of the variance (%)", true),
        ],
    );
    for row in known.list("/contributions").take(12) {
        let value = |place: &str, unit: &str| {
            row.number(place).map_or_else(String::new, |v| number(v, unit))
        };
        let share = row
            .number("/share")
            .map_or_else(String::new, |share| super::super::text_table::fixed(100.0 * share, 1));
        table.rows.push(vec![
            row.text("/part"),
            row.text("/source"),
            value("/u_amplitude_db", "dB"),
            value("/u_phase_deg", "deg"),
            share,
        ]);
    }
    let table = (!table.rows.is_empty()).then_some(table);
    Some(Finding { heading: "What would allow a decision", sentences, table, ..Finding::default() })
}

/// What came of it, for the pictures that show the result itself.
fn result_in(document: Document<'_>, picture: &str) -> String {
    match picture {
        "image-rejection" | "image-rejection-map" | "contours" | "coverage" => worst(document),
        "budget" => match document.text("/summary/fix_first").as_str() {
            "" => String::new(),
            first => format!(
                "{first} contributes most; the values of every part are in the table of the error budget."
            ),
        },
        "imbalance" => {
            let summary = Document(document.at("/summary"));
            let value = |place: &str, unit: &str| {
                summary.number(place).map_or_else(|| "-".to_owned(), |v| number(v, unit))
            };
            format!(
                "Worst amplitude imbalance {} dB, worst quadrature error {} deg.",
                value("/worst_amplitude_imbalance_db", "dB"),
                value("/worst_quadrature_error_deg", "deg")
            )
        }
        "measured" => document.number("/measured/agreeing").map_or_else(String::new, |agreeing| {
            let of = document.list("/measured/points").count();
            format!("{agreeing} of {of} measured rejections agree with the prediction.")
        }),
        _ => String::new(),
    }
}
