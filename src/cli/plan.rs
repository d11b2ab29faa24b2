//! `fourphase plan`.

use super::args::{Format, Plan};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::downconverter::{PlanSettings, frequency_plan};
use crate::report::{self, PlanReport, document};

pub(super) fn run(given: &Plan, console: &Console) -> Result<Outcome, Failure> {
    let settings = PlanSettings {
        rf_hz: given.rf,
        if_hz: given.intermediate,
        multiplication: given.multiplication,
    };
    let plan = frequency_plan(&settings).map_err(|error| Failure::Usage(error.to_string()))?;
    let report = PlanReport::from(&plan);
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&report::plan_csv(&plan)?)?,
        Format::Text => console.data(&report::plan_text(&plan))?,
    }
    Ok(Outcome::Holds)
}
