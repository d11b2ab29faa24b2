//! Parameters as given: names and values from a file or a text.

use super::error::ComponentError;
use std::fmt;

/// A value as given, before the rule of its parameter is applied.
#[derive(Clone, Debug, PartialEq)]
pub enum ParameterValue {
    /// A number.
    Number(f64),
    /// Any other value, as text.
    Word(String),
    /// A list of numbers.
    Numbers(Vec<f64>),
}

impl ParameterValue {
    /// The value of a text such as `29`, `open` or `[80,60]`.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        let text = text.trim();
        if let Ok(number) = text.parse() {
            return Self::Number(number);
        }
        let items = text.strip_prefix('[').and_then(|rest| rest.strip_suffix(']'));
        let numbers: Option<Vec<f64>> =
            items.and_then(|items| items.split(',').map(|item| item.trim().parse().ok()).collect());
        match numbers {
            Some(numbers) => Self::Numbers(numbers),
            None => Self::Word(text.to_owned()),
        }
    }
}

impl fmt::Display for ParameterValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(number) => write!(f, "{number}"),
            // Messages stay short.
            Self::Word(word) => write!(f, "'{word:.60}'"),
            Self::Numbers(numbers) if numbers.len() > 12 => {
                write!(f, "a list of {} numbers", numbers.len())
            }
            Self::Numbers(numbers) => {
                let items: Vec<String> = numbers.iter().map(ToString::to_string).collect();
                write!(f, "[{}]", items.join(","))
            }
        }
    }
}

/// A parameter as given: a name and a value.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenParameter {
    /// Its name, such as `center_ghz`.
    pub name: String,
    /// Its value.
    pub value: ParameterValue,
}

/// Reads parameters of the form `NAME=VALUE`. A hyphen in a name is read as an underscore.
///
/// # Errors
/// [`ComponentError::NotAParameter`] for a text without `=`.
///
/// # Examples
/// ```
/// use fourphase::component::{ParameterValue, parse_parameters};
///
/// let given = parse_parameters(&["center_ghz=29", "stage_impedance_ohm=[80,60]"])?;
/// assert_eq!(given[0].value, ParameterValue::Number(29.0));
/// assert_eq!(given[1].value, ParameterValue::Numbers(vec![80.0, 60.0]));
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn parse_parameters(texts: &[impl AsRef<str>]) -> Result<Vec<GivenParameter>, ComponentError> {
    let read = |text: &str| match text.split_once('=') {
        Some((name, value)) => Ok(GivenParameter {
            name: name.trim().replace('-', "_"),
            value: ParameterValue::from_text(value),
        }),
        None => Err(ComponentError::NotAParameter { text: text.to_owned() }),
    };
    texts.iter().map(|text| read(text.as_ref())).collect()
}
