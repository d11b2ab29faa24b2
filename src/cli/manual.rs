//! `fourphase manual`.

use super::console::Console;
use super::documentation_args::Manual;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::report::{manual_contents_text, manual_text, manual_words_near};

pub(super) fn run(
    given: &Manual,
    mut commands: clap::Command,
    console: &Console,
) -> Result<Outcome, Failure> {
    let word = given.word.join(" ");
    if word.is_empty() {
        console.data(&manual_contents_text())?;
        return Ok(Outcome::Holds);
    }
    let Some(mut text) = manual_text(&word) else {
        let near = match manual_words_near(&word).as_slice() {
            [] => "'fourphase manual' lists the topics".to_owned(),
            near => format!("near: {}", near.join(", ")),
        };
        return Err(Failure::Usage(format!("the manual has no '{word}'; {near}")));
    };
    // A topic of the same name is about the file; the options of the command are elsewhere.
    let is_topic = crate::report::MANUAL_TOPICS.iter().any(|topic| topic.name == word);
    commands.build();
    if let Some(command) = commands.find_subcommand_mut(&word)
        && !is_topic
    {
        text.push('\n');
        text.push_str(&command.render_long_help().to_string());
    }
    console.data(&text)?;
    Ok(Outcome::Holds)
}
