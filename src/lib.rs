//! fourphase: from Touchstone files of a receiver's parts to its quadrature balance.
#![forbid(unsafe_code)]

pub mod diagnostic;
pub mod network;
pub mod touchstone;
pub mod units;
