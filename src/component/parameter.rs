//! The parameters of a kind of component, and the check of given parameters.

use super::error::ComponentError;
use super::parameter_rule::Rule;
use super::parameter_value::GivenParameter;
use super::renamed::parameter_now;

/// A parameter of a kind of component.
#[derive(Clone, Copy, Debug)]
pub struct Parameter {
    pub(super) name: &'static str,
    pub(super) is_required: fn() -> bool,
    pub(super) usage: fn() -> String,
}

impl Parameter {
    /// Its name, which ends in its unit: `_ghz`, `_deg`, `_db`, `_ohm`, `_um`, `_ff` (femtofarad),
    /// `_ph` (picohenry), `_percent`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// Whether it must be given.
    #[must_use]
    pub fn is_required(&self) -> bool {
        (self.is_required)()
    }

    /// The name with its type or default, such as `impedance_ohm=50` or `end=open|short`.
    #[must_use]
    pub fn usage(&self) -> String {
        (self.usage)()
    }
}

/// Given parameters, checked against the names of a kind.
pub(super) struct Given<'a> {
    of: &'static str,
    takes: &'static [Parameter],
    given: &'a [GivenParameter],
}

impl<'a> Given<'a> {
    /// Checks that every name is a parameter of the kind and is given once.
    pub(super) fn new(
        of: &'static str,
        takes: &'static [Parameter],
        given: &'a [GivenParameter],
    ) -> Result<Self, ComponentError> {
        let checked = Self { of, takes, given };
        for (at, GivenParameter { name, .. }) in given.iter().enumerate() {
            if given[..at].iter().any(|earlier| earlier.name == *name) {
                return Err(ComponentError::ParameterTwice { name: name.clone() });
            }
            if !takes.iter().any(|parameter| parameter.name == name) {
                return Err(checked.unknown(name));
            }
        }
        Ok(checked)
    }

    fn unknown(&self, name: &str) -> ComponentError {
        let name = name.to_owned();
        match parameter_now(&name) {
            Some(now) if self.takes.iter().any(|parameter| parameter.name == now) => {
                ComponentError::RenamedParameter { name, now }
            }
            _ => ComponentError::UnknownParameter { name, of: self.of, takes: self.names() },
        }
    }

    fn names(&self) -> String {
        if self.takes.is_empty() {
            return "no parameters".to_owned();
        }
        let names: Vec<&str> = self.takes.iter().map(|parameter| parameter.name).collect();
        names.join(", ")
    }

    /// The value of a parameter, or its default.
    pub(super) fn value<R: Rule>(
        &self,
        name: &'static str,
        default: Option<R::Value>,
    ) -> Result<R::Value, ComponentError> {
        match self.given.iter().find(|given| given.name == name) {
            Some(given) => R::read(name, &given.value),
            None => default.or(R::ABSENT).ok_or_else(|| ComponentError::Missing {
                of: self.of,
                name,
                takes: self.names(),
            }),
        }
    }
}
