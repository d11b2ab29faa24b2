//! The command line: reads arguments, makes one library call, shows its result.
//!
//! Data goes to standard output, everything else to standard error. Here alone things are
//! printed and exit statuses chosen:
//!
//! | status | meaning |
//! |---|---|
//! | 0 | done, and every requirement given holds |
//! | 1 | done, and a requirement does not hold, or cannot be decided within the uncertainty |
//! | 2 | the work could not be done |

mod args;
mod compare;
mod component;
mod console;
mod convert;
mod deembed;
mod demo_wafer;
mod downconverter;
mod failure;
mod input;
mod inspect;
mod join;
mod output;
mod plan;
mod progress;
mod rebuild;
mod splitter;
mod stated_uncertainty;
mod station;
mod tolerance;
mod wafer;

use args::{Arguments, Command};
use clap::Parser as _;
use clap::error::{ContextKind, ContextValue};
use console::Console;
use failure::Failure;
use std::io::{self, Write as _};
use std::process::ExitCode;

/// How a command ended when it could do its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Outcome {
    /// Every requirement holds, or there was none.
    Holds,
    /// A requirement does not hold, or cannot be decided.
    Fails,
    /// Part of the work could not be done; the rest was.
    Incomplete,
}

impl Outcome {
    fn status(self) -> u8 {
        match self {
            Self::Holds => 0,
            Self::Fails => 1,
            Self::Incomplete => 2,
        }
    }
}

/// Options of earlier versions, and what to write instead.
const FORMER_OPTIONS: [(&str, &str); 1] =
    [("--waves", "--waves is now --wave-definition kurokawa, marks-williams or line-impedance")];

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
            let shown = textwrap::fill(in_two.trim_end(), 80);
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
    };
    match ended {
        Ok(outcome) => ExitCode::from(outcome.status()),
        Err(failure) => {
            console.error(&failure.diagnostic());
            ExitCode::from(2)
        }
    }
}
