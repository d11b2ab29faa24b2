//! Positions in text files, and errors with the source line concerned.
//!
//! One renderer is used for Touchstone, TOML and CSV. Lines and columns count from 1, columns in
//! characters. An [`Excerpt`] keeps a few characters around the error, so that it can be shown
//! after its file is gone, and a line of two gigabytes costs no more than a short one. Control
//! characters of a file are shown as escapes, never sent to the terminal.

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};
use std::borrow::Cow;
use std::fmt::{self, Write as _};
use std::ops::Range;

/// A place in a text: line and column from 1, the column in characters.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

/// Characters shown on either side of the marked ones when a line is too long to show whole.
const CONTEXT_CHARACTERS: usize = 60;
/// The maximum number of marked characters.
const LONGEST_MARK: usize = 40;

/// The source line of an error, or the part of it around the error, for display.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// Where the marked characters start in the file.
    pub position: Position,
    text: String,
    mark: Range<usize>,
    /// Whether the text begins at the start of the line.
    starts_line: bool,
}

impl Excerpt {
    /// Cuts the excerpt from one line, given without its line end; `mark` is in bytes.
    #[must_use]
    pub fn of_line(line_number: usize, line: &[u8], mark: Range<usize>) -> Self {
        let start = mark.start.min(line.len());
        let end = mark.end.clamp(start, line.len());
        // A character has at most four bytes.
        let from = start.saturating_sub(4 * CONTEXT_CHARACTERS);
        let to = line.len().min(start + 4 * (LONGEST_MARK + CONTEXT_CHARACTERS));
        let mark_end = end.min(start + LONGEST_MARK);
        let before = String::from_utf8_lossy(&line[from..start]);
        let marked = String::from_utf8_lossy(&line[start..mark_end]);
        let after = String::from_utf8_lossy(&line[mark_end..to]);

        let keep = before.chars().count().saturating_sub(CONTEXT_CHARACTERS);
        let mut text = String::new();
        let starts_line = from == 0 && keep == 0;
        if !starts_line {
            text.push('…');
        }
        push_printable(&mut text, before.chars().skip(keep));
        let mark_start = text.len();
        push_printable(&mut text, marked.chars());
        let mark_end = text.len();
        push_printable(&mut text, after.chars().take(CONTEXT_CHARACTERS));
        if to < line.len() || after.chars().count() > CONTEXT_CHARACTERS {
            text.push('…');
        }
        // Counting the bytes that start a character avoids a copy of a long line.
        let column = line[..start].iter().filter(|&&byte| byte & 0xC0 != 0x80).count() + 1;
        Self {
            position: Position { line: line_number, column },
            text,
            mark: mark_start..mark_end,
            starts_line,
        }
    }

    /// Cuts the excerpt for a byte range from a whole text.
    #[must_use]
    pub fn of_text(text: &str, mark: Range<usize>) -> Self {
        let bytes = text.as_bytes();
        let start = mark.start.min(bytes.len());
        let line_start =
            bytes[..start].iter().rposition(|&byte| byte == b'\n').map_or(0, |at| at + 1);
        let line_end = bytes[start..]
            .iter()
            .position(|&byte| byte == b'\n')
            .map_or(bytes.len(), |at| start + at);
        let line_number = bytes[..line_start].iter().filter(|&&byte| byte == b'\n').count() + 1;
        let line =
            bytes[line_start..line_end].strip_suffix(b"\r").unwrap_or(&bytes[line_start..line_end]);
        Self::of_line(line_number, line, start - line_start..mark.end.saturating_sub(line_start))
    }
}

/// The severity of a diagnostic.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// The command or function failed.
    Error,
    /// The result exists, but may not be what the user expects.
    Warning,
}

/// An error or warning for display.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// Error or warning.
    pub severity: Severity,
    /// The finding in one sentence without a full stop.
    pub title: String,
    /// The file concerned.
    pub file: Option<String>,
    /// The line concerned.
    pub excerpt: Option<Excerpt>,
    /// Text beside the mark.
    pub label: Option<String>,
    /// Explanations: what was expected, and the reason.
    pub notes: Vec<String>,
    /// The correction to make.
    pub help: Option<String>,
}

impl Diagnostic {
    /// An error without a place.
    #[must_use]
    pub fn error(title: impl Into<String>) -> Self {
        Self {
            severity: Severity::Error,
            title: title.into(),
            file: None,
            excerpt: None,
            label: None,
            notes: Vec::new(),
            help: None,
        }
    }

    /// Sets the file concerned.
    #[must_use]
    pub fn in_file(mut self, file: impl Into<String>) -> Self {
        self.file = Some(file.into());
        self
    }

    /// Sets the correction to make.
    #[must_use]
    pub fn with_help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// Adds a line of explanation.
    #[must_use]
    pub fn with_note(mut self, note: impl Into<String>) -> Self {
        self.notes.push(note.into());
        self
    }

    /// The text to print, 80 columns wide where the words allow; `styled` adds colours.
    #[must_use]
    pub fn render(&self, styled: bool) -> String {
        let level = match self.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
        };
        // The renderer sets "error: " before the title and aligns further lines with it.
        let title = wrapped(&self.title, 70);
        let label = self.label.as_deref().map(bounded);
        let label = label.as_deref().map(printable);
        let notes: Vec<_> = self.notes.iter().map(|note| wrapped(note, 65)).collect();
        let help = self.help.as_deref().map(|help| wrapped(help, 65));
        let file = self.file.as_deref().map(bounded);
        let file = file.as_deref().map(printable);

        let mut group = Group::with_title(level.primary_title(&title));
        match (&file, &self.excerpt) {
            (None, None) => {}
            (Some(file), None) => group = group.element(Origin::path(file.as_ref())),
            (file, Some(excerpt)) => {
                let mark =
                    AnnotationKind::Primary.span(excerpt.mark.clone()).label(label.as_deref());
                let mut snippet = Snippet::source(&excerpt.text)
                    .line_start(excerpt.position.line)
                    .annotation(mark);
                if let Some(file) = file {
                    if excerpt.starts_line {
                        snippet = snippet.path(file.as_ref());
                    } else {
                        // The renderer counts columns from the start of the excerpt.
                        let Position { line, column } = excerpt.position;
                        let origin = Origin::path(file.as_ref()).line(line).char_column(column);
                        group = group.element(origin);
                    }
                }
                group = group.element(snippet);
            }
        }
        for note in &notes {
            group = group.element(Level::NOTE.message(note));
        }
        if let Some(help) = &help {
            group = group.element(Level::HELP.message(help));
        }
        let renderer = if styled { Renderer::styled() } else { Renderer::plain() };
        let shown = renderer.term_width(80).render(&[group]);
        if self.file.is_some() || self.excerpt.is_some() {
            return shown;
        }
        // Without a place nothing stands beside the renderer's rule.
        let is_rule = |line: &&str| bare(line).trim() == "|";
        shown.lines().filter(|line| !is_rule(line)).collect::<Vec<_>>().join("\n")
    }
}

/// A line without its colours.
fn bare(line: &str) -> String {
    let mut pieces = line.split('\u{1b}');
    let first = pieces.next().unwrap_or_default().to_owned();
    pieces.fold(first, |text, piece| text + piece.split_once('m').map_or(piece, |(_, rest)| rest))
}

/// Printable text, broken into lines at blanks.
fn wrapped(text: &str, width: usize) -> String {
    textwrap::fill(&printable(&bounded(text)), width)
}

/// Maximum number of characters of an external word quoted in a message.
const LONGEST_QUOTE: usize = 60;
/// Maximum number of characters of a message.
const LONGEST_MESSAGE: usize = 4000;

/// An external word as a message quotes it: cut where it is too long.
///
/// ```
/// use fourphase::diagnostic::quoted;
///
/// assert_eq!(quoted(b"[Number of Ports]"), "[Number of Ports]");
/// assert_eq!(quoted(&[b'x'; 1000]), "x".repeat(60) + "…");
/// ```
#[must_use]
pub fn quoted(word: &[u8]) -> String {
    // A character has at most four bytes.
    let text = String::from_utf8_lossy(&word[..word.len().min(4 * LONGEST_QUOTE)]);
    let shown: String = text.chars().take(LONGEST_QUOTE).collect();
    if shown.len() < word.len() { shown + "…" } else { shown }
}

/// A message of bounded length: the middle of a longer one is omitted.
fn bounded(text: &str) -> Cow<'_, str> {
    if text.len() <= LONGEST_MESSAGE {
        return Cow::Borrowed(text);
    }
    let half = LONGEST_MESSAGE / 2;
    let head: String = text.chars().take(half).collect();
    let mut tail: Vec<char> = text.chars().rev().take(half).collect();
    tail.reverse();
    Cow::Owned(format!("{head} … {}", tail.into_iter().collect::<String>()))
}

/// External text, safe to print: control characters become escapes such as `\u{1b}`.
#[must_use]
pub fn printable(text: &str) -> Cow<'_, str> {
    if !text.chars().any(is_unprintable) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len());
    for character in text.chars() {
        if character == '\n' || !is_unprintable(character) {
            shown.push(character);
        } else {
            let _ = write!(shown, "{}", character.escape_unicode());
        }
    }
    Cow::Owned(shown)
}

/// Control characters, and characters that change the direction of text or hide it.
fn is_unprintable(character: char) -> bool {
    character.is_control()
        || matches!(character, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

fn push_printable(text: &mut String, characters: impl Iterator<Item = char>) {
    for character in characters {
        match character {
            // One blank per tab keeps the caret under its character.
            '\t' => text.push(' '),
            character if is_unprintable(character) => text.push('\u{fffd}'),
            character => text.push(character),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(excerpt: Excerpt) -> String {
        let mut diagnostic =
            Diagnostic::error("expected 9 numbers in a 2-port row, found 7").in_file("die 07.s2p");
        diagnostic.excerpt = Some(excerpt);
        diagnostic.label = Some("the row ends here".to_owned());
        diagnostic.with_help("complete the row").render(false)
    }

    #[test]
    fn the_caret_stands_under_the_column_named() {
        let line = b"2.450e9\t-12.1 34.0 x";
        let text = shown(Excerpt::of_line(214, line, 19..20));
        assert!(text.contains("die 07.s2p:214:20"), "{text}");
        let lines: Vec<_> = text.lines().collect();
        let source = lines.iter().position(|line| line.starts_with("214")).unwrap();
        assert_eq!(lines[source].find('x'), lines[source + 1].find('^'), "{text}");
    }

    #[test]
    fn an_error_without_a_place_has_no_rule() {
        let error = Diagnostic::error("the file exists").with_help("give another name");
        for styled in [false, true] {
            let shown = error.render(styled);
            assert!(shown.lines().all(|line| bare(line).trim() != "|"), "{shown}");
        }
        assert_eq!(error.render(false), "error: the file exists\n = help: give another name");
    }

    #[test]
    fn a_huge_line_is_cut_around_the_mark() {
        let mut line = vec![b'1'; 1_000_000];
        line[700_000] = b'x';
        let text = shown(Excerpt::of_line(3, &line, 700_000..700_001));
        assert!(text.len() < 700, "{}", text.len());
        assert!(text.contains(":3:700001"), "{text}");
    }

    #[test]
    fn escapes_from_a_file_are_not_sent_to_the_terminal() {
        let text = shown(Excerpt::of_line(1, b"\x1b[31m evil \x07", 0..1));
        assert!(!text.contains('\u{1b}') && !text.contains('\u{7}'), "{text:?}");
        assert_eq!(printable("a\u{1b}[0m"), "a\\u{1b}[0m");
    }

    #[test]
    fn marks_beyond_the_line_are_drawn_back_to_it() {
        let excerpt = Excerpt::of_line(1, b"ab", 7..9);
        assert_eq!(excerpt.position.column, 3);
        let excerpt = Excerpt::of_text("one\ntwo\r\nthree", 4..7);
        assert_eq!((excerpt.position.line, excerpt.text.as_str()), (2, "two"));
    }
}
