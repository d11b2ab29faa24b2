//! The Markdown of the manual as text of 80 columns: headings, paragraphs, lists, tables of two
//! columns and blocks of code.

use textwrap::{Options, fill};

const COLUMNS: usize = 80;
/// A longer name in the first column of a table gets a line of its own.
const WIDEST_NAME: usize = 26;

/// The text, with one empty line between blocks.
pub(super) fn wrapped(markdown: &str) -> String {
    let mut blocks: Vec<String> = Vec::new();
    let mut lines = markdown.lines().peekable();
    while let Some(line) = lines.next() {
        let is_same = |kind: fn(&str) -> bool| move |next: &&str| kind(next);
        if let Some(language) = line.strip_prefix("```") {
            let code: Vec<&str> = lines.by_ref().take_while(|next| *next != "```").collect();
            blocks.push(code_block(&code, language == "console"));
        } else if line.starts_with('#') {
            blocks.push(heading(line));
        } else if line.starts_with('|') {
            let mut rows = vec![line];
            while let Some(row) = lines.next_if(is_same(|next| next.starts_with('|'))) {
                rows.push(row);
            }
            blocks.push(table(&rows));
        } else if line.starts_with("- ") {
            let mut items = vec![item(line)];
            while let Some(next) = lines.next_if(is_same(|next| next.starts_with("- "))) {
                items.push(item(next));
            }
            blocks.push(items.join("\n"));
        } else if !line.trim().is_empty() {
            blocks.push(fill(line, COLUMNS));
        }
    }
    let mut text = blocks.join("\n\n");
    text.push('\n');
    text
}

/// The cells of a row of a table.
pub(super) fn cells(row: &str) -> Option<(&str, &str)> {
    let row = row.strip_prefix('|')?.trim_end().strip_suffix('|')?;
    let (name, meaning) = row.split_once('|')?;
    Some((name.trim(), meaning.trim()))
}

/// The words in backticks of a cell.
pub(super) fn code_words(cell: &str) -> impl Iterator<Item = &str> {
    cell.split('`').skip(1).step_by(2)
}

/// One row of a table, the name in a column of this width.
pub(super) fn table_row(name: &str, meaning: &str, width: usize) -> String {
    let name = name.replace('`', "");
    let indent = " ".repeat(width + 4);
    let fits = name.chars().count() <= width;
    let first = if fits { format!("  {name:width$}  ") } else { indent.clone() };
    let options = Options::new(COLUMNS).initial_indent(&first).subsequent_indent(&indent);
    let meaning = fill(meaning, options);
    if fits {
        return meaning;
    }
    let options = Options::new(COLUMNS).initial_indent("  ").subsequent_indent("  ");
    format!("{}\n{meaning}", fill(&name, options))
}

fn table(rows: &[&str]) -> String {
    // The first two are the header and its rule.
    let rows: Vec<(&str, &str)> = rows.iter().skip(2).filter_map(|row| cells(row)).collect();
    let widths = rows.iter().map(|(name, _)| name.replace('`', "").chars().count());
    let width = widths.filter(|width| *width <= WIDEST_NAME).max().unwrap_or(0);
    let shown: Vec<String> =
        rows.iter().map(|(name, meaning)| table_row(name, meaning, width)).collect();
    shown.join("\n")
}

fn heading(line: &str) -> String {
    let title = line.trim_start_matches('#').trim().replace('`', "");
    let rule = match line.find(|c| c != '#') {
        Some(1) => "=",
        Some(2) => "-",
        _ => return title,
    };
    let width = title.chars().count();
    format!("{title}\n{}", rule.repeat(width))
}

fn item(line: &str) -> String {
    fill(line, Options::new(COLUMNS).subsequent_indent("  "))
}

/// Code is indented; a command that is too long for a line continues on the next.
fn code_block(code: &[&str], is_console: bool) -> String {
    let shown = code.iter().map(|line| {
        let indented = format!("    {line}");
        if !is_console || indented.chars().count() <= COLUMNS {
            return indented.trim_end().to_owned();
        }
        let options = Options::new(COLUMNS - 2).initial_indent("    ").subsequent_indent("      ");
        fill(line, options).replace('\n', " \\\n")
    });
    shown.collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_are_wrapped_each_in_its_way() {
        let long = "word ".repeat(20);
        let markdown = format!(
            "# Title\n\n{long}\n\n- {long}\n- b\n\n### `[a]`\n\n| key | meaning |\n|---|---|\n\
             | `a`, `b` | {long} |\n\n```toml\na = 1\n```\n"
        );
        let text = wrapped(&markdown);
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(text.starts_with("Title\n=====\n\nword word"), "{text}");
        assert!(text.contains("\n- word"), "{text}");
        assert!(text.contains("\n  word"), "{text}");
        assert!(text.contains("\n[a]\n\n  a, b  word"), "{text}");
        assert!(text.ends_with("\n    a = 1\n"), "{text}");
    }

    #[test]
    fn a_long_command_continues_on_the_next_line() {
        let text = wrapped(&format!("```console\nfourphase {}\n```\n", "--option=1 ".repeat(9)));
        assert!(text.contains(" \\\n      --option"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    }
}
