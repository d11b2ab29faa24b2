//! `fourphase demo-wafer`.

use super::args::DemoWafer;
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::batch::{SyntheticLot, SyntheticLotSettings};
use crate::report::{ReportFile, publish, publish_one_of_many};

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
    lot.each_file(|name, bytes| {
        publish_one_of_many(&file(name, bytes), given.overwrite).map_err(Failure::from)
    })?;
    console.notice(&format!(
        "wrote {} measurements into {}; try: fourphase wafer {} --out wafer-report",
        lot.measurements(),
        given.folder.display(),
        given.folder.join("recipe.toml").display()
    ));
    Ok(Outcome::Holds)
}
