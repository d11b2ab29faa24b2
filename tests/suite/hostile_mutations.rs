//! Mutations of text: what a program, a person or a broken disk may do to a file.

use proptest::prelude::*;
use proptest::sample::Index;

/// Numbers at the ends of what numbers are, and units that are off by a billion.
const NUMBERS: &[&str] = &[
    "0",
    "-0",
    "1",
    "-1",
    "5e-324",
    "1e-320",
    "1e-300",
    "1e-200",
    "1e-160",
    "1e-12",
    "1e-9",
    "0.999999999999",
    "1.002",
    "89",
    "1000",
    "65535",
    "1e9",
    "30e9",
    "4294967296",
    "1e15",
    "1e30",
    "1e154",
    "1e160",
    "1e307",
    "1e308",
    "-1e308",
    "1e309",
    "nan",
    "inf",
    "-inf",
    "0.5",
    "2",
    "3",
    "10",
    "28",
    "29",
    "45",
    "90",
    "18446744073709551616",
    "1e-999",
];

/// Pieces that mean something to a reader, and some that should not.
const PIECES: [&str; 26] = [
    "\n",
    "\r\n",
    "\"",
    "'",
    "!",
    "#",
    "[",
    "]",
    "[[",
    "= ",
    ",",
    "\t",
    "\0",
    "é",
    "\u{202e}",
    "\u{feff}",
    " -- ",
    "..",
    "{ ",
    " }",
    "[End]\n",
    "[Noise Data]\n",
    "[Reference]",
    "[Number of Ports] 4000000\n",
    "/dev/null",
    "=1+1",
];

/// One change of a text.
#[derive(Clone, Debug)]
pub(crate) enum Mutation {
    /// A number in the place of a word.
    Number(Index, Index),
    /// A word of the text in the place of another.
    Word(Index, Index),
    Cut(Index, usize),
    Double(Index, usize),
    Insert(Index, Index),
    Flip(Index, u8),
    /// A word that is far too long.
    Long(Index, usize),
    LineGone(Index),
    LineTwice(Index),
    LinesSwapped(Index, Index),
}

/// Any mutation; numbers in place of words are half of all.
pub(crate) fn mutation() -> impl Strategy<Value = Mutation> {
    let at = any::<Index>;
    prop_oneof![
        9 => (at(), at()).prop_map(|(word, number)| Mutation::Number(word, number)),
        2 => (at(), at()).prop_map(|(word, other)| Mutation::Word(word, other)),
        1 => (at(), 1_usize..60).prop_map(|(from, length)| Mutation::Cut(from, length)),
        1 => (at(), 1_usize..60).prop_map(|(from, length)| Mutation::Double(from, length)),
        1 => (at(), at()).prop_map(|(from, piece)| Mutation::Insert(from, piece)),
        1 => (at(), any::<u8>()).prop_map(|(from, byte)| Mutation::Flip(from, byte)),
        1 => (at(), 100_usize..9000).prop_map(|(from, length)| Mutation::Long(from, length)),
        1 => at().prop_map(Mutation::LineGone),
        1 => at().prop_map(Mutation::LineTwice),
        1 => (at(), at()).prop_map(|(one, other)| Mutation::LinesSwapped(one, other)),
    ]
}

/// The text with a mutation.
pub(crate) fn apply(bytes: &mut Vec<u8>, mutation: &Mutation) {
    if bytes.is_empty() {
        return;
    }
    let at = |index: &Index| index.index(bytes.len());
    match mutation {
        Mutation::Number(word, number) => {
            let range = a_word(bytes, word);
            bytes.splice(range, NUMBERS[number.index(NUMBERS.len())].bytes());
        }
        Mutation::Word(word, other) => {
            let (range, other) = (a_word(bytes, word), a_word(bytes, other));
            let copy = bytes[other].to_vec();
            bytes.splice(range, copy);
        }
        Mutation::Cut(from, length) => {
            let from = at(from);
            bytes.drain(from..(from + length).min(bytes.len()));
        }
        Mutation::Double(from, length) => {
            let from = at(from);
            let copy = bytes[from..(from + length).min(bytes.len())].to_vec();
            bytes.splice(from..from, copy);
        }
        Mutation::Insert(from, piece) => {
            let from = at(from);
            bytes.splice(from..from, PIECES[piece.index(PIECES.len())].bytes());
        }
        Mutation::Flip(from, byte) => {
            let from = at(from);
            bytes[from] = *byte;
        }
        Mutation::Long(from, length) => {
            let from = at(from);
            bytes.splice(from..from, std::iter::repeat_n(b'x', *length));
        }
        Mutation::LineGone(line) => {
            with_lines(bytes, |lines| {
                let _ = lines.remove(line.index(lines.len()));
            });
        }
        Mutation::LineTwice(line) => with_lines(bytes, |lines| {
            let at = line.index(lines.len());
            lines.insert(at, lines[at]);
        }),
        Mutation::LinesSwapped(one, other) => {
            with_lines(bytes, |lines| {
                let count = lines.len();
                lines.swap(one.index(count), other.index(count));
            });
        }
    }
}

/// The text of a command line, an argument a line, with a mutation: of the values of its options and
/// its files, and now and then of a name.
pub(crate) fn apply_to_arguments(bytes: &mut Vec<u8>, mutation: &Mutation, line: &Index) {
    let is_of_lines = matches!(
        mutation,
        Mutation::LineGone(_) | Mutation::LineTwice(_) | Mutation::LinesSwapped(..)
    );
    if is_of_lines {
        return apply(bytes, mutation);
    }
    let mut lines: Vec<Vec<u8>> =
        bytes.split_inclusive(|&byte| byte == b'\n').map(<[u8]>::to_vec).collect();
    let any_line = line.index(10) == 0;
    let is_value = |&at: &usize| any_line || (at > 0 && !lines[at].starts_with(b"--"));
    let values: Vec<usize> = (0..lines.len()).filter(is_value).collect();
    if !values.is_empty() {
        apply(&mut lines[values[line.index(values.len())]], mutation);
        *bytes = lines.concat();
    }
}

fn with_lines(bytes: &mut Vec<u8>, change: impl FnOnce(&mut Vec<&[u8]>)) {
    let mut lines: Vec<&[u8]> = bytes.split_inclusive(|&byte| byte == b'\n').collect();
    change(&mut lines);
    *bytes = lines.concat();
}

/// The range of a word or number; an empty one in a text without any.
fn a_word(bytes: &[u8], index: &Index) -> std::ops::Range<usize> {
    let is_inner = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'_' | b'-');
    let starts: Vec<usize> = (0..bytes.len())
        .filter(|&at| is_inner(bytes[at]) && (at == 0 || !is_inner(bytes[at - 1])))
        .collect();
    if starts.is_empty() {
        return 0..0;
    }
    let start = starts[index.index(starts.len())];
    let length = bytes[start..].iter().take_while(|&&byte| is_inner(byte)).count();
    start..start + length
}
