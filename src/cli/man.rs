//! `fourphase man`.

use super::console::Console;
use super::documentation_args::Man;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::report::{ReportFile, publish};

pub(super) fn run(
    given: &Man,
    commands: clap::Command,
    console: &Console,
) -> Result<Outcome, Failure> {
    let mut root = commands.disable_help_subcommand(true);
    root.build();
    let all = std::iter::once(&root).chain(root.get_subcommands());
    let pages = all.map(|command| {
        let page = clap_mangen::Man::new(command.clone());
        let mut bytes = Vec::new();
        page.render(&mut bytes)?;
        Ok(ReportFile { path: given.folder.join(page.get_filename()), bytes })
    });
    let pages = pages.collect::<Result<Vec<_>, Failure>>()?;
    publish(&pages, &[], given.overwrite)?;
    console.notice(&format!("wrote {} pages into {}", pages.len(), given.folder.display()));
    Ok(Outcome::Holds)
}
