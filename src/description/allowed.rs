//! The numbers that a key or a column allows.

use std::fmt;

/// The numbers that a key or a column allows; its text completes "the number must be ..".
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Allowed {
    /// Any finite number.
    Finite,
    /// A finite number above zero.
    AboveZero,
    /// A finite number, zero or above.
    ZeroOrMore,
    /// A closed interval.
    FromTo(f64, f64),
    /// An interval that excludes its upper end.
    FromBelow(f64, f64),
}

impl Allowed {
    /// Whether a number is allowed. NaN never is.
    #[must_use]
    pub fn contains(self, number: f64) -> bool {
        number.is_finite()
            && match self {
                Self::Finite => true,
                Self::AboveZero => number > 0.0,
                Self::ZeroOrMore => number >= 0.0,
                Self::FromTo(low, high) => (low..=high).contains(&number),
                Self::FromBelow(low, high) => (low..high).contains(&number),
            }
    }
}

impl fmt::Display for Allowed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Finite => f.write_str("a finite number"),
            Self::AboveZero => f.write_str("above 0"),
            Self::ZeroOrMore => f.write_str("0 or above"),
            Self::FromTo(low, high) => write!(f, "from {low} to {high}"),
            Self::FromBelow(low, high) => write!(f, "from {low} to below {high}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Allowed;

    #[test]
    fn the_ends_of_an_interval_are_inside_where_the_text_says_so() {
        for (allowed, inside, outside, text) in [
            (Allowed::Finite, -1e300, f64::INFINITY, "a finite number"),
            (Allowed::AboveZero, 1e-300, 0.0, "above 0"),
            (Allowed::ZeroOrMore, 0.0, -1e-300, "0 or above"),
            (Allowed::FromTo(1.0, 2.0), 2.0, 2.1, "from 1 to 2"),
            (Allowed::FromBelow(0.0, 1.0), 0.0, 1.0, "from 0 to below 1"),
        ] {
            assert!(allowed.contains(inside) && !allowed.contains(outside), "{text}");
            assert!(!allowed.contains(f64::NAN), "{text}");
            assert_eq!(allowed.to_string(), text);
        }
    }
}
