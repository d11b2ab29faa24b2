//! `fourphase completions`.

use super::console::Console;
use super::documentation_args::Completions;
use super::failure::Failure;
use super::outcome::Outcome;

pub(super) fn run(
    given: &Completions,
    mut commands: clap::Command,
    console: &Console,
) -> Result<Outcome, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(given.shell, &mut commands, "fourphase", &mut script);
    console.data(&String::from_utf8_lossy(&script))?;
    Ok(Outcome::Holds)
}
