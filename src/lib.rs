//! fourphase: from Touchstone files of a receiver's parts to its quadrature balance.
#![forbid(unsafe_code)]

pub mod network;
pub mod units;
