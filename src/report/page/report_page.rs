//! The parts of a page, and the template that writes them.

use super::super::publish::ReportFile;
use super::super::report_folder::PRINTED_REPORT;
use super::page_picture::{PagePicture, picture_data};
use super::page_table::PageTable;
use super::page_value::{Document, script_json};
use super::requirement_rows::PageVerdict;
use crate::batch::InputFile;
use crate::diagnostic::printable;
use askama::Template;
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use sha2::{Digest as _, Sha256};

/// The page of a report, in its folder.
pub(in super::super) const PAGE: &str = "report.html";

const STYLE: &str = include_str!("page.css");
/// Each is a script element of its own.
const PICTURE_SCRIPT: &str = concat!(
    include_str!("page_state.js"),
    include_str!("page_pictures.js"),
    include_str!("page_tables.js")
);
const LOT_SCRIPT: &str = include_str!("page_lot.js");

/// What a page holds.
#[derive(Default)]
pub(super) struct ReportPage {
    /// What it is about: receiver, splitter, ..
    pub(super) subject: &'static str,
    pub(super) title: String,
    pub(super) about: Vec<String>,
    pub(super) verdict: PageVerdict,
    pub(super) requirements: Option<PageTable>,
    pub(super) findings: Vec<Finding>,
    /// The dies for the scripts, as JSON for a script element.
    pub(super) dies: Option<String>,
    pub(super) pictures: Vec<PagePicture>,
    pub(super) tables: Vec<PageTable>,
    pub(super) printed: String,
    pub(super) settings: Vec<(String, String)>,
    pub(super) inputs: Vec<(String, String)>,
    pub(super) warnings: Vec<String>,
    pub(super) command: String,
}

/// A part of what limits, or of what would help.
#[derive(Default)]
pub(super) struct Finding {
    pub(super) heading: &'static str,
    pub(super) sentences: Vec<String>,
    /// The die of the last sentence, as [`die_key`](super::lot_data::die_key) has it; empty if none.
    pub(super) die: String,
    pub(super) table: Option<PageTable>,
}

#[derive(Template)]
#[template(path = "report_page.html", config = "src/report/page/askama.toml")]
struct Html<'p> {
    page: &'p ReportPage,
    policy: String,
    style: &'static str,
    version: &'static str,
    picture_data: String,
    picture_script: &'static str,
    die_data: Option<&'p str>,
    lot_script: &'static str,
}

impl ReportPage {
    /// What every page takes from its document and the other files of the report.
    pub(super) fn of_files(document: Document<'_>, files: &[ReportFile], command: &str) -> Self {
        let printed = file_named(files, PRINTED_REPORT).map(String::from_utf8_lossy);
        let inputs = document.list("/inputs");
        Self {
            printed: printed.unwrap_or_default().into_owned(),
            settings: document.flattened("/settings"),
            inputs: inputs.map(|input| (input.text("/file"), input.text("/sha256"))).collect(),
            warnings: document.texts("/warnings"),
            command: printable(command).into_owned(),
            ..Self::default()
        }
    }

    /// The page as a document; the same content gives the same bytes.
    pub(super) fn html(&self) -> Result<String, askama::Error> {
        let mut scripts = vec![PICTURE_SCRIPT];
        if self.dies.is_some() {
            scripts.push(LOT_SCRIPT);
        }
        let html = Html {
            page: self,
            policy: policy(STYLE, &scripts),
            style: STYLE,
            version: env!("CARGO_PKG_VERSION"),
            picture_data: script_json(&picture_data(&self.pictures)),
            picture_script: PICTURE_SCRIPT,
            die_data: self.dies.as_deref(),
            lot_script: LOT_SCRIPT,
        };
        html.render()
    }
}

fn file_named<'f>(files: &'f [ReportFile], name: &str) -> Option<&'f [u8]> {
    let is_it = |file: &&ReportFile| file.path.file_name().is_some_and(|own| own == name);
    files.iter().find(is_it).map(|file| file.bytes.as_slice())
}

/// Those of the tables, named by file and title, that the report has.
pub(super) fn listed_tables(
    tables: &[(&str, &str)],
    files: &[ReportFile],
) -> Result<Vec<PageTable>, csv::Error> {
    let there =
        tables.iter().filter_map(|&(name, title)| Some((name, title, file_named(files, name)?)));
    let read = there.map(|(name, title, bytes)| PageTable::of_csv(title, name, bytes));
    let with_rows =
        |table: &Result<PageTable, _>| !matches!(table, Ok(table) if table.rows.is_empty());
    read.filter(with_rows).collect()
}

/// Input files and their digests, each once, without control characters.
pub(super) fn shown_inputs(inputs: &[InputFile]) -> Vec<(String, String)> {
    let mut shown: Vec<(String, String)> = Vec::new();
    for input in inputs {
        let one = (printable(&input.file).into_owned(), input.sha256.clone());
        if !shown.contains(&one) {
            shown.push(one);
        }
    }
    shown
}

/// What the page may do: use its own style and scripts, and nothing else.
fn policy(style: &str, scripts: &[&str]) -> String {
    let digest = |text: &&str| format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)));
    let scripts = scripts.iter().map(digest).collect::<Vec<_>>().join(" ");
    format!(
        "default-src 'none'; style-src {}; script-src {scripts}; img-src data:; base-uri 'none'; form-action 'none'",
        digest(&style)
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use serde_json::Value;

    const HOSTILE: &str =
        "</script><script>alert(1)</script>\"'`{{7*7}}\u{202E}& <img src=x onerror=alert(1)>";

    #[test]
    fn texts_are_inert_everywhere() {
        let text = || HOSTILE.to_owned();
        let column = super::super::page_table::PageColumn { label: text(), is_number: false };
        let table = PageTable {
            id: "t".to_owned(),
            caption: text(),
            note: text(),
            columns: vec![column],
            rows: vec![vec![text()]],
            die_column: 0,
            dies: vec![text()],
        };
        let page = ReportPage {
            title: text(),
            about: vec![text()],
            verdict: PageVerdict { word: text(), sentence: text() },
            dies: Some(script_json(&serde_json::json!({ "name": HOSTILE }))),
            tables: vec![table],
            printed: text(),
            settings: vec![(text(), text())],
            inputs: vec![(text(), text())],
            warnings: vec![text()],
            command: text(),
            ..ReportPage::default()
        };
        let html = page.html().unwrap();
        assert!(!html.contains("<script>alert") && !html.contains("<img"), "{html}");
        let json =
            html.split("id=\"die-data\">").nth(1).unwrap().split("</script>").next().unwrap();
        let read: Value = serde_json::from_str(json).unwrap();
        assert_eq!(read["name"], HOSTILE);
        assert_eq!(page.html().unwrap(), html);
    }
}
