//! Settings of a lot that cannot be.

use super::direction::Direction;
use crate::requirement::Quantity;

/// A setting of a lot that cannot be, with what was found.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// A number that must be above zero and finite.
    #[error("{what} must be above 0, found {found}")]
    NotAboveZero {
        /// What the number is.
        what: &'static str,
        /// The number.
        found: f64,
    },
    /// A number out of all proportion, from which no place on a wafer follows.
    #[error("{what} must be at most {most:e}, found {found:e}")]
    TooLarge {
        /// The key.
        what: &'static str,
        /// The largest number allowed, either way.
        most: f64,
        /// The number found.
        found: f64,
    },
    /// A number that must be finite.
    #[error("{what} must be a finite number, found {found}")]
    NotFinite {
        /// What the number is.
        what: &'static str,
        /// The number.
        found: f64,
    },
    /// An edge exclusion that leaves nothing of the wafer.
    #[error(
        "edge_exclusion_mm must be from 0 to below the wafer's radius of {radius_mm}, found {found}"
    )]
    EdgeExclusion {
        /// The wafer's radius.
        radius_mm: f64,
        /// The edge exclusion.
        found: f64,
    },
    /// Axes of die numbers that run along the same line.
    #[error(
        "x_axis and y_axis must be at a right angle, found {} and {}", x_axis.name(), y_axis.name()
    )]
    Axes {
        /// Where die x grows.
        x_axis: Direction,
        /// Where die y grows.
        y_axis: Direction,
    },
    /// A share of dies that must pass outside 0 to 100 %.
    #[error("yield_percent must be in percent, from 1 to 100 or 0, found {found}")]
    RequiredYield {
        /// The share, percent.
        found: f64,
    },
    /// A limit on what these dies do not have.
    #[error("{subject} has no {}; {instead}", quantity.name())]
    NoQuantity {
        /// What the dies are.
        subject: &'static str,
        /// What is limited.
        quantity: Quantity,
        /// What they have instead.
        instead: &'static str,
    },
    /// Two limits on the same quantity.
    #[error("duplicate limit on {}", quantity.name())]
    LimitedTwice {
        /// What is limited.
        quantity: Quantity,
    },
    /// Ideal blocks where every die is a splitter.
    #[error("a splitter alone has no other block to be ideal")]
    IdealInSplitter,
    /// Assembled receivers where every die is a splitter.
    #[error("a splitter alone has no blocks to be assembled")]
    AssembledSplitters,
    /// More assembled receivers than anybody waits for.
    #[error("assemble must be at most {most}, found {found}")]
    TooManyAssembled {
        /// The limit.
        most: u32,
        /// The number.
        found: u32,
    },
}
