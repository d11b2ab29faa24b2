//! The limits of parameters, with their texts.

use std::fmt;

/// The limits of a parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ParameterLimit {
    /// Any finite number.
    Finite,
    /// A finite number above 0.
    Positive,
    /// A number above 0, or infinity.
    PositiveOrInfinite,
    /// A finite number, 0 or above.
    NotNegative,
    /// A number 0 or above, or infinity.
    NotNegativeOrInfinite,
    /// A finite number above 1.
    AboveOne,
    /// A finite number below 100.
    BelowHundred,
    /// An angle above 0 and at most 360 degrees.
    UpToFullTurn,
}

impl ParameterLimit {
    /// Whether a number is within the limits.
    #[must_use]
    pub fn holds(self, value: f64) -> bool {
        let is_infinite_allowed =
            matches!(self, Self::PositiveOrInfinite | Self::NotNegativeOrInfinite);
        let is_in_range = match self {
            Self::Finite => true,
            Self::Positive | Self::PositiveOrInfinite => value > 0.0,
            Self::NotNegative | Self::NotNegativeOrInfinite => value >= 0.0,
            Self::AboveOne => value > 1.0,
            Self::BelowHundred => value < 100.0,
            Self::UpToFullTurn => value > 0.0 && value <= 360.0,
        };
        is_in_range && !value.is_nan() && (is_infinite_allowed || value.is_finite())
    }
}

impl fmt::Display for ParameterLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Finite => "a finite number",
            Self::Positive => "above 0",
            Self::PositiveOrInfinite => "above 0, or infinite",
            Self::NotNegative => "0 or above",
            Self::NotNegativeOrInfinite => "0 or above, or infinite",
            Self::AboveOne => "above 1",
            Self::BelowHundred => "below 100",
            Self::UpToFullTurn => "above 0 and at most 360",
        })
    }
}
