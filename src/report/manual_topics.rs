//! The manual: every file format, report and term, explained once beside the code that reads or
//! writes it, and shown as text.

use super::markdown_text::{cells, code_words, table_row, wrapped};

/// A topic of the manual.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ManualTopic {
    /// The word by which it is found.
    pub name: &'static str,
    /// One line on what it explains.
    pub summary: &'static str,
    parts: &'static [&'static str],
}

const BLOCKS: &str = include_str!("../description/blocks.md");

const TERMS: &str = "terms";
const COMMANDS: &str = "commands";

/// Every topic of the manual, in the order of its list.
pub const MANUAL_TOPICS: [ManualTopic; 13] = [
    topic(
        "receiver",
        "RECEIVER.toml: a receiver from its parts",
        &[include_str!("../description/receiver.md"), BLOCKS],
    ),
    topic(
        "network",
        "NETWORK.toml: parts joined into one file",
        &[include_str!("../description/network.md"), BLOCKS],
    ),
    topic(
        "recipe",
        "RECIPE.toml: a lot of dies and its limits",
        &[include_str!("../description/recipe.md")],
    ),
    topic(
        "die-list",
        "the list of dies that a recipe names",
        &[include_str!("../description/die_list.md")],
    ),
    topic(
        "station",
        "STATION.toml: many files of a probe station",
        &[include_str!("../description/station.md")],
    ),
    topic(
        "rebuild",
        "SET.toml: an N-port from partial measurements",
        &[include_str!("../description/rebuild.md")],
    ),
    topic(
        "uncertainty",
        "UNCERTAINTY.toml: how well files are known",
        &[include_str!("../description/uncertainty.md")],
    ),
    topic(
        "tones",
        "TONES.csv: rejections measured with tones",
        &[include_str!("../description/tones.md")],
    ),
    topic(
        "touchstone",
        "Touchstone files: what is read, checked and written",
        &[include_str!("../touchstone/touchstone.md")],
    ),
    topic("conventions", "signs, units, exit status, files", &[include_str!("../conventions.md")]),
    topic("reports", "files of a report, names in JSON and CSV", &[include_str!("reports.md")]),
    topic(TERMS, "quantities and words of reports", &[include_str!("terms.md")]),
    topic(COMMANDS, "what each command does", &[include_str!("../cli/commands.md")]),
];

const fn topic(
    name: &'static str,
    summary: &'static str,
    parts: &'static [&'static str],
) -> ManualTopic {
    ManualTopic { name, summary, parts }
}

impl ManualTopic {
    /// The topic in Markdown.
    #[must_use]
    pub fn markdown(&self) -> String {
        self.parts.join("\n")
    }

    /// The topic as text of 80 columns.
    #[must_use]
    pub fn text(&self) -> String {
        wrapped(&self.markdown())
    }

    /// A section by its heading, as text; blanks, `-` and `_` are alike, and so are capitals.
    fn section(&self, heading: &str) -> Option<String> {
        let markdown = self.markdown();
        let wanted = plain(heading);
        let mut sections = markdown.split("\n## ").skip(1);
        let found =
            sections.find(|section| section.lines().next().map(plain) == Some(wanted.clone()))?;
        Some(wrapped(&format!("## {found}")))
    }

    /// The sections that use a phrase, as text; none for one shorter than a word.
    fn sections_with(&self, phrase: &str) -> Vec<String> {
        let wanted = plain(phrase);
        let markdown = self.markdown();
        let sections = markdown.split("\n## ").skip(1);
        let with = sections.filter(|section| wanted.len() > 3 && plain(section).contains(&wanted));
        with.map(|section| wrapped(&format!("## {section}"))).collect()
    }

    /// The headings of its sections.
    fn headings(&self) -> Vec<String> {
        let markdown = self.markdown();
        let titles = markdown.lines().filter_map(|line| line.strip_prefix("## "));
        titles.map(str::to_owned).collect()
    }

    /// The rows of its tables that explain a key or column, each below its heading.
    fn rows_of(&self, key: &str) -> Vec<String> {
        let markdown = self.markdown();
        let (mut heading, mut rows) = ("", Vec::new());
        for line in markdown.lines() {
            if line.starts_with('#') {
                heading = line.trim_start_matches('#').trim();
            }
            if let Some((names, meaning)) = cells(line)
                && code_words(names).any(|name| name == key)
            {
                let place = format!("{}, {}", self.name, heading.replace('`', ""));
                rows.push(format!("{place}\n{}\n", table_row(key, meaning, key.chars().count())));
            }
        }
        rows
    }
}

/// The list of topics, for someone who does not know what there is.
#[must_use]
pub fn manual_contents_text() -> String {
    let mut text = "Topics of the manual\n\n".to_owned();
    for topic in MANUAL_TOPICS {
        text.push_str(&format!("  {:12} {}\n", topic.name, topic.summary));
    }
    text.push_str(
        "\nA word of a report, a command, or a key of a description or table finds the\n\
         place that explains it.\n",
    );
    text
}

/// What the manual says on a topic, a term, a command or a key, as text of 80 columns; `None` where
/// it has none of this name.
///
/// # Examples
/// ```
/// use fourphase::report::manual_text;
///
/// assert!(manual_text("receiver").unwrap().starts_with("RECEIVER.toml"));
/// assert!(manual_text("interaction").unwrap().contains("reflections between parts"));
/// assert!(manual_text("lo_power_dbm").unwrap().contains("Power available at `lo_input`"));
/// // A phrase of a report finds the terms that use it.
/// assert!(manual_text("if ideal").unwrap().starts_with("error budget"));
/// assert_eq!(manual_text("perpetual motion"), None);
/// ```
#[must_use]
pub fn manual_text(word: &str) -> Option<String> {
    let named = |name: &str| MANUAL_TOPICS.into_iter().find(|topic| topic.name == name);
    if let Some(topic) = named(&word.to_lowercase()) {
        return Some(topic.text());
    }
    let sections = [TERMS, COMMANDS].into_iter().filter_map(named);
    if let Some(section) = sections.into_iter().find_map(|topic| topic.section(word)) {
        return Some(section);
    }
    let rows: Vec<String> = MANUAL_TOPICS.iter().flat_map(|topic| topic.rows_of(word)).collect();
    let found = if rows.is_empty() { named(TERMS)?.sections_with(word) } else { rows };
    (!found.is_empty()).then(|| found.join("\n"))
}

/// Topics, terms and commands whose names are near to a word.
#[must_use]
pub fn manual_words_near(word: &str) -> Vec<String> {
    let topics = MANUAL_TOPICS.iter().map(|topic| topic.name.to_owned());
    let sections = MANUAL_TOPICS.iter().filter(|topic| [TERMS, COMMANDS].contains(&topic.name));
    let wanted = plain(word);
    let known = topics.chain(sections.flat_map(ManualTopic::headings));
    let is_near = |name: &String| {
        let name = plain(name);
        name.contains(&wanted) || strsim::jaro_winkler(&name, &wanted) > 0.85
    };
    known.filter(is_near).collect()
}

fn plain(name: &str) -> String {
    name.trim().to_lowercase().replace(['-', '_'], " ")
}
