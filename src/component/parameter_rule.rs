//! Rules of parameters: a number within limits, a whole number, a list, or one of a few words.

use super::choice::Choice;
use super::error::ComponentError;
use super::parameter_limit::ParameterLimit;
use super::parameter_value::ParameterValue;
use crate::units::{check_ghz, check_prefix};
use std::marker::PhantomData;

/// The rule of a parameter; a row of the catalogue names one for each parameter.
pub(super) trait Rule {
    /// The type of the parameter's value.
    type Value;
    /// The value of an optional parameter that is not given; `None` if the parameter is required.
    const ABSENT: Option<Self::Value> = None;
    /// Reads a value.
    fn read(name: &'static str, given: &ParameterValue) -> Result<Self::Value, ComponentError>;
    /// The name with its type or default.
    fn usage(name: &'static str, default: Option<Self::Value>) -> String;
}

/// A number within a limit.
pub(super) trait NumberRule {
    /// The limit.
    const LIMIT: ParameterLimit;
}

impl<R: NumberRule> Rule for R {
    type Value = f64;

    fn read(name: &'static str, given: &ParameterValue) -> Result<f64, ComponentError> {
        if let ParameterValue::Number(value) = *given {
            if name.ends_with("_ghz") {
                check_ghz(name, value)?;
            }
            check_prefix(name, value)?;
        }
        match *given {
            ParameterValue::Number(value) if R::LIMIT.holds(value) => Ok(value),
            ParameterValue::Number(value) => {
                Err(ComponentError::OutOfRange { name, limit: R::LIMIT, value })
            }
            _ => Err(wrong_value(name, "a number", given)),
        }
    }

    fn usage(name: &'static str, default: Option<f64>) -> String {
        match default {
            Some(value) => format!("{name}={}", six_digits(value)),
            None => name.to_owned(),
        }
    }
}

/// Any finite number.
pub(super) struct Finite;
/// A finite number above 0.
pub(super) struct Positive;
/// A number above 0, or infinity.
pub(super) struct PositiveOrInfinite;
/// A finite number, 0 or above.
pub(super) struct NotNegative;
/// A number 0 or above, or infinity.
pub(super) struct NotNegativeOrInfinite;
/// A finite number above 1.
pub(super) struct AboveOne;
/// A finite number below 100.
pub(super) struct BelowHundred;
/// An angle above 0 and at most 360 degrees.
pub(super) struct UpToFullTurn;

impl NumberRule for Finite {
    const LIMIT: ParameterLimit = ParameterLimit::Finite;
}
impl NumberRule for Positive {
    const LIMIT: ParameterLimit = ParameterLimit::Positive;
}
impl NumberRule for PositiveOrInfinite {
    const LIMIT: ParameterLimit = ParameterLimit::PositiveOrInfinite;
}
impl NumberRule for NotNegative {
    const LIMIT: ParameterLimit = ParameterLimit::NotNegative;
}
impl NumberRule for NotNegativeOrInfinite {
    const LIMIT: ParameterLimit = ParameterLimit::NotNegativeOrInfinite;
}
impl NumberRule for AboveOne {
    const LIMIT: ParameterLimit = ParameterLimit::AboveOne;
}
impl NumberRule for BelowHundred {
    const LIMIT: ParameterLimit = ParameterLimit::BelowHundred;
}
impl NumberRule for UpToFullTurn {
    const LIMIT: ParameterLimit = ParameterLimit::UpToFullTurn;
}

/// A whole number, 0 or above.
pub(super) struct Count;

impl Rule for Count {
    type Value = usize;

    fn read(name: &'static str, given: &ParameterValue) -> Result<usize, ComponentError> {
        match *given {
            ParameterValue::Number(value)
                if (0.0..=1e9).contains(&value) && value.fract() == 0.0 =>
            {
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a whole number in the range of usize"
                )]
                let count = value as usize;
                Ok(count)
            }
            _ => Err(wrong_value(name, "a whole number", given)),
        }
    }

    fn usage(name: &'static str, default: Option<usize>) -> String {
        match default {
            Some(value) => format!("{name}={value}"),
            None => name.to_owned(),
        }
    }
}

/// A list of numbers above 0.
pub(super) struct PositiveList;

impl Rule for PositiveList {
    type Value = Vec<f64>;

    fn read(name: &'static str, given: &ParameterValue) -> Result<Vec<f64>, ComponentError> {
        let ParameterValue::Numbers(values) = given else {
            return Err(wrong_value(name, "a list of numbers such as [80,60]", given));
        };
        let limit = ParameterLimit::Positive;
        match values.iter().find(|value| !limit.holds(**value)) {
            Some(&value) => Err(ComponentError::OutOfRange { name, limit, value }),
            None => Ok(values.clone()),
        }
    }

    fn usage(name: &'static str, _default: Option<Vec<f64>>) -> String {
        format!("{name}=[..]")
    }
}

/// One of a few words.
pub(super) struct OneOf<C>(PhantomData<C>);

impl<C: Choice> Rule for OneOf<C> {
    type Value = C;

    fn read(name: &'static str, given: &ParameterValue) -> Result<C, ComponentError> {
        match given {
            ParameterValue::Word(word) => choice(name, word),
            _ => Err(wrong_value(name, &words::<C>(" or "), given)),
        }
    }

    fn usage(name: &'static str, _default: Option<C>) -> String {
        format!("{name}={}", words::<C>("|"))
    }
}

/// A parameter that may be absent and has no default.
pub(super) struct Optional<R>(PhantomData<R>);

impl<R: Rule> Rule for Optional<R> {
    type Value = Option<R::Value>;
    const ABSENT: Option<Self::Value> = Some(None);

    fn read(name: &'static str, given: &ParameterValue) -> Result<Self::Value, ComponentError> {
        R::read(name, given).map(Some)
    }

    fn usage(name: &'static str, _default: Option<Self::Value>) -> String {
        R::usage(name, None)
    }
}

/// The value that a word stands for.
///
/// # Errors
/// [`ComponentError::WrongValue`] with the list of valid words.
///
/// # Examples
/// ```
/// use fourphase::component::{Arrangement, choice};
///
/// assert_eq!(choice::<Arrangement>("arrangement", "parallel")?, Arrangement::Parallel);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn choice<C: Choice>(name: &'static str, word: &str) -> Result<C, ComponentError> {
    C::WORDS.iter().find(|(own, _)| *own == word).map(|(_, value)| *value).ok_or_else(|| {
        wrong_value(name, &words::<C>(" or "), &ParameterValue::Word(word.to_owned()))
    })
}

fn words<C: Choice>(between: &str) -> String {
    let words: Vec<&str> = C::WORDS.iter().map(|(word, _)| *word).collect();
    words.join(between)
}

fn wrong_value(name: &'static str, expected: &str, found: &ParameterValue) -> ComponentError {
    ComponentError::WrongValue { name, expected: expected.to_owned(), found: found.to_string() }
}

/// At most six digits, for help.
fn six_digits(value: f64) -> String {
    // The rounded text of a number can be parsed.
    format!("{value:.5e}").parse().unwrap_or(value).to_string()
}
