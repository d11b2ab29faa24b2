//! The smallest elements of the format: blanks, words, numbers, rows. No function reads beyond the
//! end of a line.

use nom::bytes::complete::{take_while, take_while1};
use nom::combinator::peek;
use nom::error::{Error, ErrorKind};
use nom::multi::many0;
use nom::sequence::{delimited, preceded, terminated};
use nom::{IResult, Parser};
use std::ops::Range;

/// Blank or tab, the separators of entries.
fn is_blank(byte: u8) -> bool {
    byte == b' ' || byte == b'\t'
}

/// Whether an entry ends before this byte: a blank, a comment or the end of the line.
fn ends_entry(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'!' | b'\n' | b'\r')
}

/// `{ blank }`
pub(super) fn blanks(input: &[u8]) -> IResult<&[u8], &[u8]> {
    take_while(is_blank)(input)
}

/// Anything up to the next blank, comment or line end, at least one byte.
pub(super) fn word(input: &[u8]) -> IResult<&[u8], &[u8]> {
    take_while1(|byte| !ends_entry(byte))(input)
}

/// `{ blank } { word { blank } }`
pub(super) fn words(input: &[u8]) -> IResult<&[u8], Vec<&[u8]>> {
    preceded(blanks, many0(terminated(word, blanks))).parse(input)
}

/// `[ sign ] ( digits [ "." [ digits ] ] | "." digits ) [ "e" [ sign ] digits ]`, whole.
///
/// The digits are read by `fast_float2`, which would also accept words such as `inf`; the first
/// byte excludes them. A number may be too large to be finite; the caller checks this.
#[inline(always)]
pub(super) fn number(input: &[u8]) -> IResult<&[u8], f64> {
    let refused = || Err(nom::Err::Error(Error::new(input, ErrorKind::Float)));
    let after_sign = match input {
        [b'+' | b'-', rest @ ..] => rest,
        whole => whole,
    };
    if !matches!(after_sign, [b'0'..=b'9' | b'.', ..]) {
        return refused();
    }
    match fast_float2::parse_partial::<f64, _>(input) {
        Ok((value, length)) if input.get(length).is_none_or(|&byte| ends_entry(byte)) => {
            Ok((&input[length..], value))
        }
        _ => refused(),
    }
}

/// `{ number { blank } }`: passes each number to `take` and returns their count. The rest is empty,
/// a comment, or an entry that is not a number.
///
/// The repetition is a plain loop instead of a combinator, because most of the reading time is
/// spent here.
#[inline(always)]
pub(super) fn numbers(mut input: &[u8], mut take: impl FnMut(f64)) -> (&[u8], usize) {
    let mut count = 0;
    while let Ok((rest, value)) = number(input) {
        take(value);
        count += 1;
        input = rest;
        while let [b' ' | b'\t', after @ ..] = input {
            input = after;
        }
    }
    (input, count)
}

/// A number with the exponent letter D: `1.0D-3`.
pub(super) fn fortran_number(entry: &[u8]) -> Option<f64> {
    let at = entry.iter().position(|byte| matches!(byte, b'd' | b'D'))?;
    let mut plain = entry.to_vec();
    plain[at] = b'e';
    match number(&plain) {
        Ok(([], value)) => Some(value),
        _ => None,
    }
}

/// `"[" anything "]"`: the name between the brackets, with one blank between its words, and the
/// text after it. `None` without a closing bracket.
pub(super) fn keyword(input: &[u8]) -> Option<(&[u8], &[u8])> {
    let inside = take_while(|byte| byte != b']' && byte != b'!');
    let result: IResult<&[u8], &[u8]> =
        delimited(nom::character::complete::char('['), inside, nom::character::complete::char(']'))
            .parse(input);
    result.ok().map(|(rest, name)| (name, rest))
}

/// Whether the line has only blanks before its end or a comment.
pub(super) fn is_empty(input: &[u8]) -> bool {
    let result: IResult<&[u8], &[u8]> = peek(blanks).parse(input);
    result.is_ok_and(|(_, skipped)| matches!(input[skipped.len()..], [] | [b'!', ..]))
}

/// The byte range of the nth entry of a line (from 0), for marking it; the whole line if there is
/// no such entry.
pub(super) fn entry_range(line: &[u8], nth: usize) -> Range<usize> {
    let Ok((_, entries)) = words(line) else { return 0..line.len() };
    let mut from = 0;
    for (at, entry) in entries.iter().enumerate() {
        from += line[from..].iter().take_while(|&&byte| is_blank(byte)).count();
        if at == nth {
            return from..from + entry.len();
        }
        from += entry.len();
    }
    0..line.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_follow_the_standard() {
        for (text, want) in [
            ("5", 5.0),
            ("5.", 5.0),
            (".5", 0.5),
            ("-0.5", -0.5),
            ("+1E-002", 0.01),
            ("1e3 ", 1000.0),
            ("2!x", 2.0),
        ] {
            let (_, value) = number(text.as_bytes()).unwrap();
            assert_eq!(value.to_bits(), f64::to_bits(want), "{text}");
        }
        for text in
            ["", ".", "-", "1e", "inf", "-inf", "nan", "0x10", "1,5", "1d3", "++1", "1e5.5", "e5"]
        {
            assert!(number(text.as_bytes()).is_err(), "{text}");
        }
    }

    #[test]
    fn rows_stop_at_comments_and_at_what_is_no_number() {
        let mut seen = Vec::new();
        let (rest, count) = numbers(b"1 2\t3! 4", |value| seen.push(value));
        assert_eq!((rest, count, seen.as_slice()), (&b"! 4"[..], 3, &[1.0, 2.0, 3.0][..]));
        let (rest, count) = numbers(b"1 0.4x 5", |_| {});
        assert_eq!((rest, count), (&b"0.4x 5"[..], 1));
    }

    #[test]
    fn entries_are_found_again() {
        assert_eq!(entry_range(b"  1 0.5  -10 ! x", 2), 9..12);
        assert_eq!(entry_range(b"1", 4), 0..1);
    }

    #[test]
    fn fortran_exponents() {
        assert_eq!(fortran_number(b"1.0D-3"), Some(0.001));
        assert_eq!(fortran_number(b"1.0x-3"), None);
    }
}
