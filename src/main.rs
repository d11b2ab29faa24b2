//! The command line: see `fourphase::cli`.
fn main() {}
