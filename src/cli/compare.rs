//! `fourphase compare`.

use super::args::{Compare, Format};
use super::console::Console;
use super::failure::Failure;
use super::made_by::made_by;
use super::outcome::Outcome;
use crate::network::compare;
use crate::plot;
use crate::report::{self, ComparisonReport, comparison_files, document};

pub(super) fn run(given: &Compare, console: &Console) -> Result<Outcome, Failure> {
    let first = given.reading.read(&given.first, console)?;
    let second = given.reading.read(&given.second, console)?;
    if first.network == second.network {
        console.warning("both files hold the same numbers: is one of them named twice?");
    }
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
    let shown = [names[0].as_str(), names[1].as_str()];
    let overlay = || plot::overlay(shown, &comparison, given.require_vector);
    let inputs = [given.first.clone(), given.second.clone()];
    if let Some(folder) = &given.writing.out {
        let forms = given.drawing.pictures;
        files = comparison_files(folder, &report, overlay, &inputs, forms, &made_by())?;
    }
    if let Some(path) = &given.plot {
        beside.push(report::picture_file(path, &overlay()?)?);
    }
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
