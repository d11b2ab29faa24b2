//! `fourphase start`.

use super::console::Console;
use super::documentation_args::{Start, StartSubject};
use super::failure::Failure;
use super::outcome::Outcome;
use crate::description::{StarterSubject, starter};
use crate::report::{PublishError, ReportFile, publish};
use crate::touchstone::ReadOptions;
use std::path::Path;

pub(super) fn run(given: &Start, console: &Console) -> Result<Outcome, Failure> {
    let (subject, next) = match given.subject {
        StartSubject::Receiver => (StarterSubject::Receiver, "downconverter FILE"),
        StartSubject::Network => (StarterSubject::Network, "join FILE --output joined.ts"),
        StartSubject::Recipe => (StarterSubject::Recipe, "wafer FILE --out wafer-report"),
        StartSubject::Station => (StarterSubject::Station, "station FILE --out bare"),
        StartSubject::Rebuild => (StarterSubject::Rebuild, "rebuild FILE --output rebuilt.ts"),
        StartSubject::Uncertainty => {
            (StarterSubject::Uncertainty, "splitter PART.s4p --uncertainty FILE")
        }
    };
    let made = starter(subject, given.folder.as_deref(), &ReadOptions::default())?;
    let folder = given.folder.as_deref().unwrap_or(Path::new(""));
    let file =
        |name: &str, text: String| ReportFile { path: folder.join(name), bytes: text.into_bytes() };
    let files: Vec<ReportFile> =
        made.files.into_iter().map(|own| file(own.name, own.text)).collect();
    publish(&files, &[], false).map_err(|error| match error {
        PublishError::Exists(path) => Failure::Usage(format!(
            "{} exists, and start replaces nothing: rename it, or start in another folder",
            path.display()
        )),
        other => other.into(),
    })?;
    let mut text = String::new();
    for guess in &made.guesses {
        let options = textwrap::Options::new(80).initial_indent("- ").subsequent_indent("  ");
        text.push_str(&textwrap::fill(guess, options));
        text.push('\n');
    }
    if !text.is_empty() {
        console.data(&format!("Guessed; check it:\n{text}"))?;
    }
    console.written(&files);
    let receiver = folder.join("receiver.toml");
    let next = match given.subject {
        StartSubject::Uncertainty if receiver.is_file() => {
            &format!("downconverter {} --uncertainty FILE", receiver.display())
        }
        _ => next,
    };
    if let Some(first) = files.first() {
        let next = next.replace("FILE", &first.path.display().to_string());
        console.notice(&format!("next: fourphase {next}"));
    }
    Ok(Outcome::Holds)
}
