//! The warnings of the reader, with their places in the file.

use super::error::WarningCode;
use super::lines::Lines;
use crate::diagnostic::Excerpt;
use std::ops::Range;

/// The warnings of the reader, one entry per kind, at its first place.
#[derive(Debug, Default)]
pub(super) struct Findings {
    pub(super) list: Vec<(WarningCode, Range<usize>)>,
}

impl Findings {
    pub(super) fn warn(&mut self, code: WarningCode, span: Range<usize>) {
        if !self.has(code) {
            self.list.push((code, span));
        }
    }

    fn has(&self, code: WarningCode) -> bool {
        self.list.iter().any(|(known, _)| *known == code)
    }
}

/// The line around a byte range, numbered as the reader numbers lines.
pub(super) fn excerpt(bytes: &[u8], span: Range<usize>) -> Excerpt {
    let start = span.start.min(bytes.len());
    let (mut number, mut found) = (0, 0..0);
    for line in Lines::new(bytes) {
        // A place at the very end of the file belongs to the last line.
        if line.start > start {
            break;
        }
        number += 1;
        found = line;
    }
    let line = &bytes[found.clone()];
    Excerpt::of_line(number.max(1), line, start - found.start..span.end.max(start) - found.start)
}
