//! `fourphase compare`.

use super::args::{Compare, Format};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::network::compare;
use crate::plot;
use crate::report::{self, ComparisonReport, ReportFile, document};

pub(super) fn run(given: &Compare, console: &Console) -> Result<Outcome, Failure> {
    let first = given.reading.read(&given.first, console)?;
    let second = given.reading.read(&given.second, console)?;
    let comparison = compare(&first.network, &second.network)
        .map_err(|source| Failure::Network { file: given.second.clone(), source })?;
    if comparison.was_renormalised {
        console.warning(
            "the files have different reference impedances; the second is changed to those of the first",
        );
    }
    let names = [given.first.display().to_string(), given.second.display().to_string()];
    let report = ComparisonReport::new(&names, &comparison, given.require_vector);
    let (mut files, mut beside) = (Vec::new(), Vec::new());
    if let Some(folder) = &given.writing.out {
        let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
        files.push(file("report.json", document(&report)?.into_bytes()));
        files.push(file("entries.csv", report::comparison_csv(&report)?.into_bytes()));
        files.push(file("overlay.png", plot::overlay(&comparison)?));
    }
    if let Some(path) = &given.plot {
        beside.push(ReportFile { path: path.clone(), bytes: plot::overlay(&comparison)? });
    }
    let inputs = [given.first.clone(), given.second.clone()];
    given.writing.publish(&files, &beside, &inputs, None)?;
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&report::comparison_csv(&report)?)?,
        Format::Text => console.data(&report::comparison_text(&report))?,
    }
    console.written(&files);
    console.written(&beside);
    Ok(if report.passes() { Outcome::Holds } else { Outcome::Fails })
}
