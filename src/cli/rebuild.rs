//! `fourphase rebuild`.

use super::args::{Format, Rebuild};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::Outgoing;
use super::progress_bar::Bar;
use crate::batch::{Progress, Work};
use crate::description::read_rebuild_set;
use crate::measurement::rebuild_with_progress;
use crate::report::{self, RebuildReport, ReportFile, check_outputs, document, publish};

pub(super) fn run(given: &Rebuild, console: &Console) -> Result<Outcome, Failure> {
    let set = read_rebuild_set(&given.set, &given.reading.options())?;
    Outgoing::check(set.settings.ports, &given.output, &given.form, &set.inputs)?;
    check_outputs(given.covariance.as_slice(), &set.inputs, given.form.overwrite)?;
    for warning in &set.warnings {
        console.warning(warning);
    }
    let bar = Bar::new(console);
    let show = |done: usize, total: usize| {
        bar.show(Progress { work: Work::Rebuilding, done: done as u64, total: total as u64 });
    };
    let rebuilt = rebuild_with_progress(&set.settings, &set.measurements, &show);
    drop(bar);
    let rebuilt =
        rebuilt.map_err(|source| Failure::Measurement { file: given.set.clone(), source })?;
    for warning in rebuilt.warnings() {
        console.warning(&warning.to_string());
    }
    let report = RebuildReport::new(&given.output.display().to_string(), &rebuilt);
    let mut files = Vec::new();
    if let Some(path) = &given.covariance {
        let Some(covariances) = &rebuilt.covariances else {
            return Err(Failure::Usage(
                "there is no covariance to write: give every measurement a standard_uncertainty, \
                 or more measurements"
                    .to_owned(),
            ));
        };
        let table = report::entry_covariance_csv(&covariances.entries)?;
        files.push(ReportFile { path: path.clone(), bytes: table.into_bytes() });
    }
    // A path such as `..` has no last part and is named whole.
    let name = given.set.file_name().unwrap_or(given.set.as_os_str()).to_string_lossy();
    let outgoing = Outgoing::made(rebuilt.network, &format!("rebuilt from {name}"));
    let bytes = outgoing.formed(&given.output, &given.form)?;
    files.push(ReportFile { path: given.output.clone(), bytes });
    publish(&files, &set.inputs, given.form.overwrite)?;
    console.written(&files);
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&report::rebuild_csv(&report)?)?,
        Format::Text => console.data(&report::rebuild_text(&report))?,
    }
    Ok(Outcome::Holds)
}
