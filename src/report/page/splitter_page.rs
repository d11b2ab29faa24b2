//! The page of a splitter.

use super::super::files_error::FilesError;
use super::super::publish::ReportFile;
use super::page_picture::{NamedPicture, PagePicture};
use super::page_table::PageTable;
use super::page_value::{Document, frequency, heading, number};
use super::report_page::{Finding, ReportPage, listed_tables, shown_inputs};
use super::requirement_rows::{requirement_table, verdict};
use crate::batch::InputFile;
use crate::units::shown_band;
use serde_json::Value;

const TABLES: [(&str, &str); 2] =
    [("points.csv", "Every frequency"), ("uncertainty.csv", "Uncertainty at every frequency")];

/// The page of a splitter, from its document, its other files and its pictures.
pub(in super::super) fn splitter_page(
    document: &Value,
    files: &[ReportFile],
    pictures: &[NamedPicture],
    inputs: &[InputFile],
    command: &str,
) -> Result<Vec<u8>, FilesError> {
    let document = Document(document);
    let worst = worst_table(document);
    let result = |picture: &str| {
        let names: &[&str] = match picture {
            "imbalance" => &["Amplitude imbalance", "Phase error"],
            "losses" => &["Excess loss", "Isolation"],
            _ => &["Image rejection", "Common mode rejection"],
        };
        let told = worst.rows.iter().filter(|row| names.contains(&row[0].as_str()));
        told.map(|row| {
            format!("Worst {} {} {} at {}. ", row[0].to_lowercase(), row[1], row[2], row[3])
        })
        .collect::<String>()
    };
    let pictures =
        pictures.iter().map(|picture| PagePicture::of(picture, &result(&picture.name))).collect();
    let settings = [
        "kind",
        "input",
        "outputs",
        "isolated",
        "nominal_deg",
        "reference_ohm",
        "loads",
        "summary",
    ];
    let settings = settings.iter().flat_map(|key| {
        let rows = document.flattened(&format!("/{key}"));
        rows.into_iter().map(move |(name, value)| {
            (if name.is_empty() { (*key).to_owned() } else { format!("{key}.{name}") }, value)
        })
    });
    let page = ReportPage {
        subject: "Splitter: imbalance, losses and rejection over frequency",
        title: document.text("/file"),
        about: about(document),
        verdict: verdict(document),
        requirements: requirement_table(document),
        findings: vec![limits(document, worst)],
        pictures,
        settings: settings.collect(),
        inputs: shown_inputs(inputs),
        tables: listed_tables(&TABLES, files)?,
        ..ReportPage::of_files(document, files, command)
    };
    Ok(page.html()?.into_bytes())
}

fn about(document: Document<'_>) -> Vec<String> {
    let ports = document.list("/outputs").filter_map(|port| port.0.as_u64());
    let outputs = ports.map(|port| port.to_string()).collect::<Vec<_>>().join(" and ");
    let port = |place: &str| document.at(place).as_u64().map(|port| port.to_string());
    let isolated = port("/isolated").map_or_else(String::new, |port| format!(", isolated {port}"));
    let mut lines = vec![format!(
        "{} splitter, input {}, outputs {outputs}{isolated}.",
        super::super::text_table::capitalised(&document.text("/kind")),
        port("/input").unwrap_or_default(),
    )];
    let inferred = document.texts("/inferred");
    if !inferred.is_empty() {
        lines.push(format!("Inferred from the data: {}.", inferred.join("; ")));
    }
    lines
}

fn worst_table(document: Document<'_>) -> PageTable {
    let mut table = PageTable::of(
        "worst",
        "Worst over the band",
        &[("Quantity", false), ("Worst", true), ("Unit", false), ("At", true)],
    );
    let summary = Document(document.at("/summary"));
    for (key, value) in summary.0.as_object().into_iter().flatten() {
        let Some(name) = key.strip_prefix("worst_").filter(|name| !name.ends_with("_at_hz")) else {
            continue;
        };
        let (label, unit, _) = heading(name);
        let stem = name.rsplit_once('_').map_or(name, |(stem, _)| stem);
        let at = summary.number(&format!("/worst_{stem}_at_hz"));
        if let (Some(value), Some(at)) = (value.as_f64(), at) {
            table.rows.push(vec![label, number(value, unit), unit.to_owned(), frequency(at)]);
        }
    }
    table
}

fn limits(document: Document<'_>, worst: PageTable) -> Finding {
    let mut sentences = Vec::new();
    let place = document.number("/summary/worst_image_rejection_at_hz");
    let point = document
        .list("/points")
        .find(|point| place.is_some() && point.number("/frequency_hz") == place);
    if let Some(point) = point {
        let value = |key: &str, unit: &str| {
            point.number(key).map_or_else(String::new, |value| number(value, unit))
        };
        sentences.push(format!(
            "At the frequency of the worst image rejection the amplitude imbalance is {} dB and the phase error {} deg; 1 dB degrades the rejection as much as 6.6 deg.",
            value("/amplitude_imbalance_db", "dB"),
            value("/phase_error_deg", "deg"),
        ));
    }
    let bands = document.list("/verdict/bands_that_pass_hz").filter_map(|band| {
        match band.list("").filter_map(|end| end.number("")).collect::<Vec<_>>().as_slice() {
            &[low, high] => Some(shown_band((low, high))),
            _ => None,
        }
    });
    let bands: Vec<String> = bands.collect();
    if document.list("/verdict/requirements").next().is_some() {
        sentences.push(match bands.as_slice() {
            [] => "It passes at no frequency.".to_owned(),
            bands => format!("It passes from {}.", bands.join(" and ")),
        });
    }
    Finding { heading: "What limits", sentences, table: Some(worst), ..Finding::default() }
}
