//! Rows of numbers, and the errors within them.

use super::error::{Fault, Problem, WarningCode};
use super::findings::Findings;
use super::grammar;
use super::header::argument_words;
use super::lines::end_of_line;
use super::option_line::is_allowed;
use crate::diagnostic::quoted;
use std::ops::Range;

/// One line of numbers.
#[derive(Clone, Debug)]
pub(super) struct Row {
    /// The count of numbers on the line.
    pub(super) count: usize,
    /// The line in the file, without its end.
    pub(super) line: Range<usize>,
    /// The end of its numbers, where a comment may begin.
    pub(super) comment_at: usize,
}

/// Reads the numbers of the line that starts at `start` into `take`. The line ends where the
/// numbers end: searching for its end first would read the file twice.
#[inline]
pub(super) fn read_row(
    bytes: &[u8],
    start: usize,
    findings: &mut Findings,
    mut take: impl FnMut(f64),
) -> Result<Row, Fault> {
    let mut rest = &bytes[start..];
    while let [b' ' | b'\t', after @ ..] = rest {
        rest = after;
    }
    let mut count = 0;
    loop {
        let (left, read) = grammar::numbers(rest, &mut take);
        count += read;
        let at = bytes.len() - left.len();
        match left {
            [] | [b'\n' | b'\r', ..] => return Ok(Row { count, line: start..at, comment_at: at }),
            [b'!', ..] => {
                return Ok(Row { count, line: start..end_of_line(bytes, at), comment_at: at });
            }
            _ => {}
        }
        let word = grammar::word(left).map_or(left, |(_, word)| word);
        let Some(value) = grammar::fortran_number(word) else { return Err(not_a_number(word, at)) };
        findings.warn(WarningCode::DExponent, at..at + word.len());
        take(value);
        count += 1;
        rest = grammar::blanks(&left[word.len()..]).map_or(&[], |(rest, _)| rest);
    }
}

/// The number of entries on a line before its comment.
pub(super) fn entries_in(line: &[u8]) -> usize {
    grammar::words(line).map_or(0, |(_, words)| words.len())
}

/// The error for the first entry of a line that is beyond the range of a double.
pub(super) fn too_large(bytes: &[u8], line: Range<usize>) -> Fault {
    for (word, span) in argument_words(&bytes[line.clone()], line.start) {
        let plain = grammar::number(word).map(|(_, value)| value).ok();
        let value = plain.or_else(|| grammar::fortran_number(word));
        if value.is_none_or(|value| !value.is_finite()) {
            return Problem::TooLarge { text: quoted(word) }.at(span);
        }
    }
    Problem::TooLarge { text: String::new() }.at(line)
}

/// The error for an entry that starts at `at` and is not a number.
pub(super) fn not_a_number(word: &[u8], at: usize) -> Fault {
    if let Some(offset) = word.iter().position(|&byte| !is_allowed(byte)) {
        return Problem::ForbiddenByte { byte: word[offset] }.at(at + offset..at + offset + 1);
    }
    let text = quoted(word);
    let unsigned = text.trim_start_matches(['+', '-']).to_ascii_lowercase();
    let problem = if word.contains(&b',') {
        Problem::Comma { text }
    } else if matches!(unsigned.as_str(), "nan" | "inf" | "infinity") {
        Problem::NotFinite { text }
    } else {
        Problem::NotANumber { text }
    };
    problem.at(at..at + word.len())
}
