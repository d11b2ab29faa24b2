//! Records of CSV within a bound: what is read is watched on its way, since a reader of CSV keeps a
//! record whole, and a quotation mark that is not closed makes one record of the rest of the file.

use memchr::{memchr, memchr2};
use std::fmt;
use std::io::{self, Read};

/// A record that is too long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct LongRecord {
    /// Where it starts, bytes from the start of the file.
    pub(super) byte: u64,
    /// Its first line, from 1.
    pub(super) line: u64,
    /// How many bytes it may have.
    pub(super) most: u64,
}

impl fmt::Display for LongRecord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a row of more than {} bytes", self.most)
    }
}

impl std::error::Error for LongRecord {}

/// Where the next byte stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// At the start of a record, which may be a comment.
    RecordStart,
    /// In a line that is a comment.
    Comment,
    /// At the start of a field: a quotation mark opens it.
    FieldStart,
    /// In a field without quotation marks, where one means itself.
    Plain,
    /// In a field with quotation marks, where the end of a line means itself.
    Quoted,
    /// After a quotation mark in such a field: another one means itself.
    AfterQuote,
}

/// Passes bytes on, and fails at the first record that is longer than the bound.
#[derive(Debug)]
pub(super) struct BoundedRecords<R> {
    source: R,
    most: u64,
    has_comments: bool,
    state: State,
    /// Bytes passed on before.
    passed: u64,
    lines: u64,
    /// Where the record starts that is not ended yet.
    start: (u64, u64),
}

impl<R: Read> BoundedRecords<R> {
    /// With lines that start with `#` as comments, or without.
    pub(super) fn new(source: R, most: u64, has_comments: bool) -> Self {
        let (state, start) = (State::RecordStart, (0, 1));
        Self { source, most, has_comments, state, passed: 0, lines: 1, start }
    }

    fn watch(&mut self, bytes: &[u8]) -> Result<(), LongRecord> {
        let mut at = 0;
        while at < bytes.len() {
            let rest = &bytes[at..];
            let (next, state) = match self.state {
                State::RecordStart if self.has_comments && rest[0] == b'#' => (1, State::Comment),
                State::RecordStart => (0, State::FieldStart),
                State::Comment => match memchr(b'\n', rest) {
                    Some(end) => {
                        self.end_record(self.passed + (at + end) as u64 + 1)?;
                        (end + 1, State::RecordStart)
                    }
                    None => (rest.len(), State::Comment),
                },
                State::FieldStart if rest[0] == b'"' => (1, State::Quoted),
                State::FieldStart | State::Plain => match memchr2(b',', b'\n', rest) {
                    Some(end) if rest[end] == b',' => (end + 1, State::FieldStart),
                    Some(end) => {
                        self.end_record(self.passed + (at + end) as u64 + 1)?;
                        (end + 1, State::RecordStart)
                    }
                    None => (rest.len(), State::Plain),
                },
                State::Quoted => match memchr2(b'"', b'\n', rest) {
                    Some(end) if rest[end] == b'"' => (end + 1, State::AfterQuote),
                    Some(end) => {
                        self.lines += 1;
                        (end + 1, State::Quoted)
                    }
                    None => (rest.len(), State::Quoted),
                },
                State::AfterQuote if rest[0] == b'"' => (1, State::Quoted),
                State::AfterQuote => (0, State::Plain),
            };
            self.state = state;
            at += next;
        }
        self.passed += bytes.len() as u64;
        self.check(self.passed)
    }

    /// Ends the record at the byte before this one.
    fn end_record(&mut self, byte: u64) -> Result<(), LongRecord> {
        self.check(byte)?;
        self.lines += 1;
        self.start = (byte, self.lines);
        Ok(())
    }

    fn check(&self, end: u64) -> Result<(), LongRecord> {
        let (byte, line) = self.start;
        if end - byte > self.most {
            Err(LongRecord { byte, line, most: self.most })
        } else {
            Ok(())
        }
    }
}

impl<R: Read> Read for BoundedRecords<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let length = self.source.read(buffer)?;
        self.watch(&buffer[..length])
            .map_err(|long| io::Error::new(io::ErrorKind::InvalidData, long))?;
        Ok(length)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// The first record of more than ten bytes, however the text is cut into pieces.
    fn long_in(text: &str) -> Option<LongRecord> {
        let read = |piece: usize| {
            let mut bounded = BoundedRecords::new(text.as_bytes(), 10, true);
            let mut buffer = vec![0; piece];
            loop {
                match bounded.read(&mut buffer) {
                    Ok(0) => return None,
                    Ok(_) => {}
                    Err(error) => {
                        return error.get_ref().unwrap().downcast_ref::<LongRecord>().copied();
                    }
                }
            }
        };
        let found = read(1);
        (2..20).for_each(|piece| assert_eq!(read(piece), found, "{text} in pieces of {piece}"));
        found
    }

    #[test]
    fn records_within_the_bound_pass() {
        for text in [
            "",
            "a,b\n1,2\n",
            "123456789\n123456789\n",
            "\"a\n\n\",b\n\"\"\"\n\"\n1,2",
            "a\"b\nc\"d\n",
            "# a,\"b\n1,2\n3,4\n5\n",
        ] {
            assert_eq!(long_in(text), None, "{text}");
        }
    }

    #[test]
    fn a_long_record_is_found_at_its_line() {
        for (text, byte, line) in [
            // Its end of line is a part of a record.
            ("1234567890\n", 0, 1),
            ("a\n12345678901", 2, 2),
            ("a\n\"b\nc\"\n1,\"2\n3\n4\n5\n6\n7\n8\n", 8, 4),
            // A mark within a field opens nothing; after a closing mark a field goes on plainly.
            ("a\"\n1,\"2\"\"3\" 4,56789\n", 3, 2),
        ] {
            assert_eq!(long_in(text), Some(LongRecord { byte, line, most: 10 }), "{text}");
        }
    }
}
