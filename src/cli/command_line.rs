//! Arguments in, exit status out.

use super::args::{Arguments, Command};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::{
    compare, completions, component, convert, deembed, demo_wafer, downconverter, inspect, join,
    man, manual, plan, rebuild, splitter, start, station, tolerance, wafer,
};
use clap::error::{ContextKind, ContextValue};
use clap::{CommandFactory as _, Parser as _};
use std::io::{self, Write as _};
use std::process::ExitCode;

/// Options of earlier versions, and what to write instead.
const FORMER_OPTIONS: [(&str, &str); 1] =
    [("--waves", "--waves is now --wave-definition kurokawa, marks-williams or line-impedance")];

/// Characters of a word that are shown, and of a whole message.
const LONGEST_WORD: usize = 300;
const LONGEST_MESSAGE: usize = 4000;

/// A message that may quote an argument of any length.
fn shortened(message: &str) -> String {
    let cut = |text: &str, most: usize| match text.char_indices().nth(most) {
        Some((end, _)) => format!("{}..", &text[..end]),
        None => text.to_owned(),
    };
    let words: Vec<String> = message
        .split_inclusive(char::is_whitespace)
        .map(|word| {
            let end = word.trim_end().len();
            cut(&word[..end], LONGEST_WORD) + &word[end..]
        })
        .collect();
    cut(&words.concat(), LONGEST_MESSAGE)
}

/// Does work on so many threads; on all cores if none are given.
fn on_threads(
    threads: Option<u16>,
    work: impl FnOnce() -> Result<Outcome, Failure> + Send,
) -> Result<Outcome, Failure> {
    let Some(threads) = threads else { return work() };
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(usize::from(threads))
        .build()
        .map_err(|error| Failure::Usage(format!("cannot start {threads} threads: {error}")))?;
    pool.install(work)
}

/// Runs the command line of this process.
#[must_use]
pub fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version are no errors; clap knows which stream each belongs to.
            if !error.use_stderr() {
                let _ = error.print();
                return ExitCode::SUCCESS;
            }
            // It wraps its help, but not its errors. The value and what is wrong with it get a line
            // each, so that both stay whole where they can.
            let mut in_two = error.to_string().replace(">': ", ">':\n  ");
            if let Some(ContextValue::String(option)) = error.get(ContextKind::InvalidArg)
                && let Some((_, hint)) = FORMER_OPTIONS.iter().find(|(former, _)| former == option)
            {
                in_two = format!("error: {hint}\n\n{}", in_two.trim_start_matches("error: "));
            }
            let shown = textwrap::fill(&shortened(in_two.trim_end()), 80);
            let _ = writeln!(io::stderr(), "{shown}");
            return ExitCode::from(2);
        }
    };
    let console = Console::new(arguments.quiet);
    let ended = match &arguments.command {
        Command::Inspect(given) => inspect::run(given, &console),
        Command::Splitter(given) => on_threads(given.threads, || splitter::run(given, &console)),
        Command::Downconverter(given) => {
            on_threads(given.threads, || downconverter::run(given, &console))
        }
        Command::Tolerance(given) => tolerance::run(given, &console),
        Command::Convert(given) => convert::run(given, &console),
        Command::Join(given) => join::run(given, &console),
        Command::Deembed(given) => deembed::run(given, &console),
        Command::Compare(given) => compare::run(given, &console),
        Command::Component(given) => component::run(given, &console),
        Command::Wafer(given) => on_threads(given.threads, || wafer::run(given, &console)),
        Command::DemoWafer(given) => demo_wafer::run(given, &console),
        Command::Rebuild(given) => rebuild::run(given, &console),
        Command::Station(given) => station::run(given, &console),
        Command::Plan(given) => plan::run(given, &console),
        Command::Start(given) => start::run(given, &console),
        Command::Manual(given) => manual::run(given, Arguments::command(), &console),
        Command::Completions(given) => completions::run(given, Arguments::command(), &console),
        Command::Man(given) => man::run(given, Arguments::command(), &console),
    };
    match ended {
        Ok(outcome) => ExitCode::from(outcome.status()),
        Err(failure) => {
            console.error(&failure.diagnostic());
            ExitCode::from(2)
        }
    }
}
