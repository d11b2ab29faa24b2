//! `fourphase component`.

use super::args::{Component, Format};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::Outgoing;
use crate::component::microstrip::Substrate;
use crate::component::{ComponentSpec, Dimension, KINDS};
use crate::network::FrequencyGrid;
use crate::report;

pub(super) fn run(given: &Component, console: &Console) -> Result<Outcome, Failure> {
    if given.kind == "list" {
        if !given.parameters.is_empty() || given.output.is_some() || given.format != Format::Text {
            return Err(Failure::Usage(
                "'component list' is text and takes no parameters or files".to_owned(),
            ));
        }
        console.data(&report::component_kinds_text(&KINDS))?;
        return Ok(Outcome::Holds);
    }
    let spec = spec(given)?;
    let substrate = substrate(&given.substrate)?;
    let dimensions = spec.dimensions(substrate.as_ref())?;
    match (&given.output, &given.grid) {
        (Some(path), Some(grid)) => {
            let grid = FrequencyGrid::from_hz(grid.0.clone())
                .map_err(|error| Failure::Usage(error.to_string()))?;
            let network = spec.build(&grid)?;
            let comment = format!("{} {}", given.kind, given.parameters.join(" "));
            Outgoing::made(network, comment.trim_end()).write(path, &given.form, &[], console)?;
        }
        (Some(_), None) => {
            return Err(Failure::Usage(
                "--output needs --grid, such as --grid 24GHz..34GHz:101".to_owned(),
            ));
        }
        (None, _) => {}
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

/// The kind and its parameters, as TOML would give them.
fn spec(given: &Component) -> Result<ComponentSpec, Failure> {
    let mut table = table_of(&given.parameters)?;
    table.insert("kind".to_owned(), toml::Value::String(given.kind.clone()));
    table.try_into().map_err(|error: toml::de::Error| {
        let known = KINDS.iter().find(|(kind, ..)| *kind == given.kind);
        Failure::Usage(match known {
            None => format!(
                "there is no component '{}'; 'fourphase component list' shows all",
                given.kind
            ),
            Some((kind, _, parameters)) => {
                format!("{}; {kind} takes {parameters}", plain(error.message()))
            }
        })
    })
}

/// The parser's message in words of the field.
fn plain(message: &str) -> String {
    message
        .trim()
        .replace('\n', "; ")
        .replace("expected f64", "expected a number without unit")
        .replace("expected usize", "expected a whole number")
        .replace("expected a sequence", "expected a list such as [80,60]")
}

/// `name=value` pairs; a value is read as TOML, and as a word if it is none.
fn table_of(parameters: &[String]) -> Result<toml::Table, Failure> {
    let mut table = toml::Table::new();
    for parameter in parameters {
        let Some((name, value)) = parameter.split_once('=') else {
            return Err(Failure::Usage(format!(
                "'{parameter}' is no parameter: expected a form such as center_ghz=29"
            )));
        };
        let name = name.trim().replace('-', "_");
        let read: Result<toml::Table, _> = toml::from_str(&format!("value = {value}"));
        let value = match read.ok().and_then(|mut table| table.remove("value")) {
            Some(value) => value,
            // TOML wants a digit before the point; people do not.
            None => match value.trim().parse::<f64>() {
                Ok(number) => toml::Value::Float(number),
                Err(_) => toml::Value::String(value.trim().to_owned()),
            },
        };
        if table.insert(name.clone(), value).is_some() {
            return Err(Failure::Usage(format!("'{name}' is given twice")));
        }
    }
    Ok(table)
}

fn substrate(parameters: &[String]) -> Result<Option<Substrate>, Failure> {
    if parameters.is_empty() {
        return Ok(None);
    }
    let mut made = Substrate { thickness_m: 0.0, ..Substrate::gallium_arsenide_100_um() };
    for (name, value) in &table_of(parameters)? {
        let number: f64 = value
            .clone()
            .try_into()
            .map_err(|_| Failure::Usage(format!("--substrate: {name} needs a number")))?;
        match name.as_str() {
            "relative_permittivity" => made.relative_permittivity = number,
            "height_um" => made.height_m = number * 1e-6,
            "thickness_um" => made.thickness_m = number * 1e-6,
            "loss_tangent" => made.loss_tangent = number,
            _ => {
                return Err(Failure::Usage(format!(
                    "--substrate: there is no {name}; it takes relative_permittivity, height_um, thickness_um and loss_tangent"
                )));
            }
        }
    }
    Ok(Some(made))
}
