//! `fourphase demo-wafer`.

use super::args::DemoWafer;
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::progress_bar::Bar;
use crate::batch::{Progress, SyntheticLot, SyntheticLotSettings, Work};
use crate::report::{ReportFile, publish, publish_one_of_many};
use std::sync::atomic::{AtomicU64, Ordering};

pub(super) fn run(given: &DemoWafer, console: &Console) -> Result<Outcome, Failure> {
    let lot = SyntheticLot::new(SyntheticLotSettings {
        dies: given.dies,
        die_pitch_mm: given.die_pitch_mm,
        points: given.points,
        seed: given.seed,
        has_faults: !given.no_faults,
    })?;
    let file = |name: &str, bytes| ReportFile { path: given.folder.join(name), bytes };
    let texts =
        [file("recipe.toml", lot.recipe().into_bytes()), file("dies.csv", lot.list().into_bytes())];
    publish(&texts, &[], given.overwrite)?;
    let bar = Bar::new(console);
    let (written, total) = (AtomicU64::new(0), lot.measurements() as u64);
    lot.each_file(|name, bytes| {
        let done = written.fetch_add(1, Ordering::Relaxed);
        bar.show(Progress { work: Work::Files, done, total });
        publish_one_of_many(&file(name, bytes), given.overwrite).map_err(Failure::from)
    })?;
    drop(bar);
    console.notice(&format!(
        "wrote {} measurements into {}; try: fourphase wafer {} --out wafer-report",
        lot.measurements(),
        given.folder.display(),
        given.folder.join("recipe.toml").display()
    ));
    Ok(Outcome::Holds)
}
