//! Invalid settings of a lot.

use super::direction::Direction;
use crate::requirement::Quantity;

/// An invalid setting of a lot, with the value found.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// A number that must be above zero and finite.
    #[error("{what} must be above 0, found {found}")]
    NotAboveZero {
        /// Name of the number.
        what: &'static str,
        /// The number found.
        found: f64,
    },
    /// A number that is too large for a position on a wafer.
    #[error("{what} must be at most {most:e}, found {found:e}")]
    TooLarge {
        /// The key.
        what: &'static str,
        /// The maximum magnitude.
        most: f64,
        /// The number found.
        found: f64,
    },
    /// A number that must be finite.
    #[error("{what} must be a finite number, found {found}")]
    NotFinite {
        /// Name of the number.
        what: &'static str,
        /// The number found.
        found: f64,
    },
    /// An edge exclusion as wide as the wafer's radius or wider.
    #[error(
        "edge_exclusion_mm must be from 0 to below the wafer's radius of {radius_mm}, found {found}"
    )]
    EdgeExclusion {
        /// The wafer's radius.
        radius_mm: f64,
        /// The edge exclusion found.
        found: f64,
    },
    /// Axes of die numbers that are parallel.
    #[error(
        "x_axis and y_axis must be at a right angle, found {} and {}", x_axis.name(), y_axis.name()
    )]
    Axes {
        /// The direction in which die x increases.
        x_axis: Direction,
        /// The direction in which die y increases.
        y_axis: Direction,
    },
    /// A share of dies that must pass outside 0 to 100 %.
    #[error("yield_percent must be in percent, above 1 and up to 100, or 0, found {found}")]
    RequiredYield {
        /// The share found, percent.
        found: f64,
    },
    /// A limit on a quantity that these dies do not have.
    #[error("{subject} has no {}; {instead}", quantity.name())]
    NoQuantity {
        /// The kind of dies.
        subject: &'static str,
        /// The limited quantity.
        quantity: Quantity,
        /// The quantity to use instead.
        instead: &'static str,
    },
    /// Two limits on the same quantity.
    #[error("duplicate limit on {}", quantity.name())]
    LimitedTwice {
        /// The limited quantity.
        quantity: Quantity,
    },
    /// Ideal blocks where every die is a splitter.
    #[error("a splitter alone has no other block to be ideal")]
    IdealInSplitter,
    /// Assembled receivers where every die is a splitter.
    #[error("a splitter alone has no blocks to be assembled")]
    AssembledSplitters,
    /// Too many assembled receivers.
    #[error("assemble must be at most {most}, found {found}")]
    TooManyAssembled {
        /// The maximum number.
        most: u32,
        /// The number found.
        found: u32,
    },
}
