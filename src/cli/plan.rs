//! `fourphase plan`.

use super::args::{Format, Plan};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::downconverter::{PlanSettings, frequency_plan, product_of_orders};
use crate::report::{self, PlanReport, document};

pub(super) fn run(given: &Plan, console: &Console) -> Result<Outcome, Failure> {
    let usage = |error: crate::downconverter::PlanError| Failure::Usage(error.to_string());
    let settings = PlanSettings {
        rf_hz: given.rf,
        if_hz: given.intermediate,
        multiplication: product_of_orders(&given.multiplication).map_err(usage)?,
    };
    let plan = frequency_plan(&settings).map_err(usage)?;
    // One number says how much the chain multiplies, not by which stages.
    let orders = if given.multiplication.len() > 1 { &*given.multiplication } else { &[] };
    let report = PlanReport::of_stages(&plan, orders);
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&report::plan_csv(&plan, orders)?)?,
        Format::Text => console.data(&report::plan_text(&plan, orders))?,
    }
    Ok(Outcome::Holds)
}
