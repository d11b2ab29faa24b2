//! The command line: see `fourphase::cli`.

use std::process::ExitCode;

fn main() -> ExitCode {
    fourphase::cli::run()
}
