//! Lines and their ends: CR LF, CR or LF.

use memchr::memchr2;
use std::ops::Range;

/// The end of the line that contains `at`.
pub(super) fn end_of_line(bytes: &[u8], at: usize) -> usize {
    memchr2(b'\n', b'\r', &bytes[at..]).map_or(bytes.len(), |offset| at + offset)
}

/// The start of the line after the one that ends at `end`.
#[inline]
pub(super) fn next_line(bytes: &[u8], end: usize) -> usize {
    end + if bytes[end..].starts_with(b"\r\n") { 2 } else { 1 }
}

/// The lines of a text, without their ends: CR LF, CR or LF.
pub(super) struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Lines<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }
}

impl Iterator for Lines<'_> {
    type Item = Range<usize>;

    #[inline]
    fn next(&mut self) -> Option<Range<usize>> {
        if self.at >= self.bytes.len() {
            return None;
        }
        let start = self.at;
        let end = end_of_line(self.bytes, start);
        self.at = next_line(self.bytes, end);
        Some(start..end)
    }
}
