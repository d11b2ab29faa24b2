//! `fourphase component`.

use super::args::{Component, Format};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::Outgoing;
use crate::component::{
    Dimension, KINDS, NamedComponent, ParameterValue, odd_value, parse_parameters, substrate,
};
use crate::network::FrequencyGrid;
use crate::report;

pub(super) fn run(given: &Component, console: &Console) -> Result<Outcome, Failure> {
    if given.kind == "list" {
        return list(given, console);
    }
    let parameters = parse_parameters(&given.parameters)?;
    let component = NamedComponent::new(&given.kind, &parameters)?;
    let substrate = match given.substrate.as_slice() {
        [] => None,
        texts => Some(substrate(&parse_parameters(texts)?)?),
    };
    let dimensions = component.dimensions(substrate.as_ref())?;
    if let Some(path) = &given.output {
        let Some(grid) = &given.grid else {
            return Err(Failure::Usage(
                "--output needs --grid, such as --grid 24GHz..34GHz:101".to_owned(),
            ));
        };
        let grid = FrequencyGrid::from_hz(grid.0.clone())
            .map_err(|error| Failure::Usage(error.to_string()))?;
        let band_hz = grid.first_hz()..=grid.last_hz();
        for own in &parameters {
            let ParameterValue::Number(value) = own.value else { continue };
            let odd = odd_value(&given.kind, (&own.name, value), &band_hz);
            odd.iter().for_each(|text| console.warning(text));
        }
        let network = component.network(&grid)?;
        let comment = format!("{} {}", given.kind, given.parameters.join(" "));
        Outgoing::made(network, comment.trim_end()).write(path, &given.form, &[], console)?;
    }
    for note in &dimensions.notes {
        console.warning(note);
    }
    let pairs: Vec<(String, f64)> =
        dimensions.list.into_iter().map(|Dimension { name, value }| (name, value)).collect();
    match given.format {
        Format::Json => console.data(&report::document(&report::component_values_json(&pairs))?)?,
        Format::Csv => console.data(&report::component_values_csv(&pairs)?)?,
        Format::Text => console.data(&report::component_values_text(&pairs))?,
    }
    Ok(Outcome::Holds)
}

fn list(given: &Component, console: &Console) -> Result<Outcome, Failure> {
    if !given.parameters.is_empty() || given.output.is_some() || given.format != Format::Text {
        return Err(Failure::Usage(
            "'component list' is text and takes no parameters or files".to_owned(),
        ));
    }
    console.data(&report::component_kinds_text(KINDS))?;
    Ok(Outcome::Holds)
}
