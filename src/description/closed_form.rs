//! Closed-form blocks and loads of a receiver, computed again with another value of a parameter.

use super::blocks::{Blocks, Origin, PlacedLoad};
use super::error::DescriptionError;
use super::receiver_output::OutputEntries;
use super::source::TomlFile;
use crate::component::{
    Arrangement, ComponentError, Elements, GivenParameter, NamedComponent, ParameterValue,
    termination,
};
use crate::downconverter::NetworkPlace;
use crate::network::{FrequencyGrid, Network, WaveDefinition, change_reference};
use num_complex::Complex64;

/// A closed-form block or load.
#[derive(Clone, Debug)]
pub(super) struct ClosedForm {
    /// Name of the block, or port of the load.
    pub(super) name: String,
    /// Its place in a receiver; `None` for a splitter's load.
    pub(super) place: Option<NetworkPlace>,
    made_from: MadeFrom,
}

#[derive(Clone, Debug)]
enum MadeFrom {
    Component { kind: &'static str, given: Vec<GivenParameter> },
    Impedance(Complex64),
    Elements(Elements, Arrangement),
}

/// The standard uncertainty of a parameter.
#[derive(Clone, Copy, Debug)]
pub(super) enum ParameterAmount {
    /// In the unit of the parameter.
    Absolute(f64),
    /// A percentage of the parameter's value.
    Percent(f64),
}

impl ParameterAmount {
    fn of(self, value: f64) -> f64 {
        match self {
            Self::Absolute(amount) => amount,
            Self::Percent(percent) => 0.01 * percent * value,
        }
    }
}

/// The closed forms among blocks, loads and parts behind the mixers, which stand in the receiver's
/// places in this order.
pub(super) fn closed_forms(
    source: &TomlFile,
    blocks: &Blocks<'_>,
    loads: &[PlacedLoad<'_>],
    output: &OutputEntries<'_>,
    places: impl Iterator<Item = NetworkPlace>,
) -> Result<Vec<ClosedForm>, DescriptionError> {
    let mut places = places;
    let blocks = blocks.iter().map(|block| {
        let given = block.entry.component.as_ref().map(|own| own.get_ref().given());
        (block.name().to_owned(), &block.origin, given.unwrap_or_default())
    });
    let loads =
        loads.iter().map(|load| (load.entry.at.get_ref().clone(), &load.origin, Vec::new()));
    let named = blocks.chain(loads).zip(places.by_ref());
    let mut found: Vec<ClosedForm> = named
        .filter_map(|((name, origin, given), place)| {
            let made_from = match origin {
                Origin::Component(made) => MadeFrom::Component { kind: made.kind().name(), given },
                Origin::Impedance(ohm) => MadeFrom::Impedance(*ohm),
                Origin::Elements(elements, arrangement) => {
                    MadeFrom::Elements(*elements, *arrangement)
                }
                Origin::File(_) | Origin::Open | Origin::Short | Origin::Stage(_) => return None,
            };
            Some(ClosedForm { name, place: Some(place), made_from })
        })
        .collect();
    for (part, place) in output.named().into_iter().zip(places) {
        let Some(entry) = part.component else { continue };
        let kind = source.component(entry)?.kind().name();
        let made_from = MadeFrom::Component { kind, given: entry.get_ref().given() };
        found.push(ClosedForm { name: part.name.to_owned(), place: Some(place), made_from });
    }
    Ok(found)
}

impl ClosedForm {
    /// A splitter's load of ohms.
    pub(super) fn of_impedance(name: String, ohm: Complex64) -> Self {
        Self { name, place: None, made_from: MadeFrom::Impedance(ohm) }
    }

    /// Its network at these frequencies.
    pub(super) fn network(&self, grid: &FrequencyGrid) -> Result<Network, String> {
        self.made_from.network(grid).map_err(|error| error.to_string())
    }

    /// The parameters that can be uncertain.
    fn parameters(&self) -> Vec<&str> {
        match &self.made_from {
            MadeFrom::Component { given, .. } => {
                let numbers =
                    given.iter().filter(|own| matches!(own.value, ParameterValue::Number(_)));
                numbers.map(|own| own.name.as_str()).collect()
            }
            MadeFrom::Impedance(_) => vec!["ohm"],
            MadeFrom::Elements(..) => vec!["resistance_ohm", "capacitance_ff"],
        }
    }

    /// Half of the change of every entry from minus to plus one standard uncertainty of a parameter, at
    /// the frequencies and in the reference impedances of `own`.
    pub(super) fn change(
        &self,
        parameter: &str,
        amount: ParameterAmount,
        own: &Network,
    ) -> Result<Vec<Complex64>, String> {
        let [plus, minus] = [1.0, -1.0].map(|sign| {
            let made = self.with(parameter, amount, sign)?;
            let network = made.network(own.grid()).map_err(|error| error.to_string())?;
            let references = own.references_ohm(0).to_vec();
            change_reference(&network, references, WaveDefinition::Kurokawa)
                .map_err(|error| error.to_string())
        });
        let (plus, minus) = (plus?, minus?);
        let pairs = plus.entries().iter().zip(minus.entries());
        Ok(pairs.map(|(plus, minus)| 0.5 * (plus - minus)).collect())
    }

    fn with(
        &self,
        parameter: &str,
        amount: ParameterAmount,
        sign: f64,
    ) -> Result<MadeFrom, String> {
        let moved = |value: f64| value + sign * amount.of(value);
        let mut made = self.made_from.clone();
        let has_it = match (&mut made, parameter) {
            (MadeFrom::Component { given, .. }, name) => {
                let given = given.iter_mut().find(|own| own.name == name);
                if let Some(ParameterValue::Number(value)) = given.map(|own| &mut own.value) {
                    *value = moved(*value);
                    true
                } else {
                    false
                }
            }
            (MadeFrom::Impedance(ohm), "ohm") => {
                match amount {
                    ParameterAmount::Percent(_) => *ohm *= moved(1.0),
                    ParameterAmount::Absolute(own) => *ohm += sign * own,
                }
                true
            }
            (MadeFrom::Elements(elements, _), "resistance_ohm") => {
                elements.resistance_ohm = elements.resistance_ohm.map(moved);
                true
            }
            (MadeFrom::Elements(elements, _), "capacitance_ff") => {
                let farad = elements.capacitance_f.map(|farad| 1e-15 * moved(farad * 1e15));
                elements.capacitance_f = farad;
                true
            }
            _ => false,
        };
        has_it.then_some(made).ok_or_else(|| {
            let known = self.parameters().join(", ");
            format!("{} has no numeric parameter {parameter}; it has {known}", self.name)
        })
    }
}

impl MadeFrom {
    fn network(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
        match self {
            Self::Component { kind, given } => NamedComponent::new(kind, given)?.network(grid),
            Self::Elements(elements, arrangement) => termination(grid, elements, *arrangement),
            Self::Impedance(ohm) => Origin::Impedance(*ohm).made(grid),
        }
    }
}
