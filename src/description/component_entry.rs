//! `component = { kind = "..", .. }`: a closed-form component in a description.

use super::error::{DescriptionError, DescriptionProblem};
use super::source::TomlFile;
use crate::component::{ComponentError, GivenParameter, NamedComponent, ParameterValue};
use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use std::fmt;
use std::ops::Range;
use toml::{Spanned, Value};

/// The kind and the parameters of a component with their positions, in the order of the file.
#[derive(Clone, Debug)]
pub(super) struct ComponentEntry {
    pairs: Vec<(Spanned<String>, Spanned<Value>)>,
}

impl<'de> Deserialize<'de> for ComponentEntry {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Pairs;

        impl<'de> Visitor<'de> for Pairs {
            type Value = ComponentEntry;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a table such as { kind = \"line\", .. }")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(ComponentEntry { pairs })
            }
        }

        deserializer.deserialize_map(Pairs)
    }
}

impl ComponentEntry {
    /// The parameters without the kind.
    pub(super) fn given(&self) -> Vec<GivenParameter> {
        let parameters = self.pairs.iter().filter(|(key, _)| key.get_ref() != "kind");
        let given = parameters.map(|(key, value)| GivenParameter {
            name: key.get_ref().clone(),
            value: parameter_value(value.get_ref()),
        });
        given.collect()
    }

    /// The name of the kind, where it is given.
    pub(super) fn kind(&self) -> Option<&str> {
        let kind = self.pairs.iter().find(|(key, _)| key.get_ref() == "kind");
        kind.and_then(|(_, value)| value.get_ref().as_str())
    }

    /// The parameters that are numbers, each with the place of its value.
    pub(super) fn numbers(&self) -> impl Iterator<Item = (&str, f64, Range<usize>)> {
        self.pairs.iter().filter_map(|(key, value)| {
            Some((key.get_ref().as_str(), number(value.get_ref())?, value.span()))
        })
    }

    fn span_of(&self, error: &ComponentError) -> Option<Range<usize>> {
        let name = error.parameter()?;
        let (key, value) = self.pairs.iter().find(|(key, _)| key.get_ref() == name)?;
        Some(match error {
            ComponentError::UnknownParameter { .. } | ComponentError::RenamedParameter { .. } => {
                key.span()
            }
            _ => value.span(),
        })
    }
}

impl TomlFile {
    /// The component of an entry. An error refers to the kind or the parameter concerned.
    pub(super) fn component(
        &self,
        entry: &Spanned<ComponentEntry>,
    ) -> Result<NamedComponent, DescriptionError> {
        let given = entry.get_ref().given();
        let kind = entry.get_ref().pairs.iter().find(|(key, _)| key.get_ref() == "kind");
        let Some((_, kind)) = kind else {
            let problem = DescriptionProblem::MissingKey { key: "kind".to_owned() };
            return Err(self.error(problem, entry.span()));
        };
        let Some(name) = kind.get_ref().as_str() else {
            let problem = DescriptionProblem::WrongType {
                expected: "text in quotes".to_owned(),
                found: kind.get_ref().to_string(),
            };
            return Err(self.error(problem, kind.span()));
        };
        NamedComponent::new(name, &given).map_err(|error| {
            let span = entry.get_ref().span_of(&error).unwrap_or_else(|| entry.span());
            self.error(error, span)
        })
    }
}

fn parameter_value(value: &Value) -> ParameterValue {
    if let Some(number) = number(value) {
        return ParameterValue::Number(number);
    }
    let numbers = |list: &Vec<Value>| list.iter().map(number).collect::<Option<Vec<f64>>>();
    match value {
        Value::String(word) => ParameterValue::Word(word.clone()),
        Value::Array(list) => numbers(list)
            .map_or_else(|| ParameterValue::Word(value.to_string()), ParameterValue::Numbers),
        _ => ParameterValue::Word(value.to_string()),
    }
}

fn number(value: &Value) -> Option<f64> {
    match *value {
        #[expect(clippy::cast_precision_loss, reason = "no parameter needs more than 53 bits")]
        Value::Integer(whole) => Some(whole as f64),
        Value::Float(number) => Some(number),
        _ => None,
    }
}
