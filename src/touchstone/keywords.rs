//! The keywords of version 2 and their lines.

use super::error::{Fault, Problem};
use super::grammar;
use super::option_line::{is_allowed, spans_of};
use crate::diagnostic::quoted;
use std::ops::Range;

/// Every keyword of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Keyword {
    Version,
    NumberOfPorts,
    TwoPortDataOrder,
    NumberOfFrequencies,
    NumberOfNoiseFrequencies,
    Reference,
    MatrixFormat,
    MixedModeOrder,
    BeginInformation,
    EndInformation,
    NetworkData,
    NoiseData,
    End,
}

impl Keyword {
    const ALL: [Self; 13] = [
        Self::Version,
        Self::NumberOfPorts,
        Self::TwoPortDataOrder,
        Self::NumberOfFrequencies,
        Self::NumberOfNoiseFrequencies,
        Self::Reference,
        Self::MatrixFormat,
        Self::MixedModeOrder,
        Self::BeginInformation,
        Self::EndInformation,
        Self::NetworkData,
        Self::NoiseData,
        Self::End,
    ];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Version => "Version",
            Self::NumberOfPorts => "Number of Ports",
            Self::TwoPortDataOrder => "Two-Port Data Order",
            Self::NumberOfFrequencies => "Number of Frequencies",
            Self::NumberOfNoiseFrequencies => "Number of Noise Frequencies",
            Self::Reference => "Reference",
            Self::MatrixFormat => "Matrix Format",
            Self::MixedModeOrder => "Mixed-Mode Order",
            Self::BeginInformation => "Begin Information",
            Self::EndInformation => "End Information",
            Self::NetworkData => "Network Data",
            Self::NoiseData => "Noise Data",
            Self::End => "End",
        }
    }

    /// The number of arguments on its line; `None` where they may continue on further lines.
    fn arguments(self) -> Option<usize> {
        match self {
            Self::Reference | Self::MixedModeOrder => None,
            Self::BeginInformation
            | Self::EndInformation
            | Self::NetworkData
            | Self::NoiseData
            | Self::End => Some(0),
            _ => Some(1),
        }
    }

    pub(super) fn is_header(self) -> bool {
        !matches!(self, Self::NetworkData | Self::NoiseData | Self::End)
    }
}

/// A keyword with its arguments.
#[derive(Debug)]
pub(super) struct KeywordLine<'a> {
    pub(super) keyword: Keyword,
    /// Whether it starts at column 1 and is spaced as in the standard.
    pub(super) is_well_spaced: bool,
    pub(super) arguments: Vec<(&'a [u8], Range<usize>)>,
    /// The whole line in the file.
    pub(super) span: Range<usize>,
}

impl<'a> KeywordLine<'a> {
    /// The argument of a keyword with one argument.
    pub(super) fn argument(&self) -> (&'a [u8], Range<usize>) {
        self.arguments.first().map_or((&[], self.span.clone()), |(word, span)| (word, span.clone()))
    }

    /// The argument as a positive integer.
    pub(super) fn positive_integer(&self) -> Result<usize, Fault> {
        let (word, span) = self.argument();
        let text = String::from_utf8_lossy(word).into_owned();
        let value = text.parse::<usize>().ok().filter(|&value| value > 0 && !text.starts_with('+'));
        value.ok_or_else(|| {
            let text = quoted(word);
            Problem::PositiveInteger { keyword: self.keyword.name(), text }.at(span)
        })
    }
}

/// The name on a keyword line as in the file, for messages; `None` without a closing bracket.
pub(super) fn written_name(line: &[u8]) -> Option<String> {
    let start = line.iter().position(|&byte| byte == b'[')?;
    grammar::keyword(&line[start..]).map(|(name, _)| quoted(name.trim_ascii()))
}

/// Reads a line whose first entry begins with `[`; `offset` is the start of the line in the file.
pub(super) fn keyword_line(line: &[u8], offset: usize) -> Result<KeywordLine<'_>, Fault> {
    let start = line.iter().position(|&byte| byte == b'[').unwrap_or(0);
    let span = offset + start..offset + line.len();
    let Some((written, rest)) = grammar::keyword(&line[start..]) else {
        return Err(Problem::UnclosedBracket.at(span));
    };
    let mut folded = String::new();
    for word in written.split(|&byte| byte == b' ' || byte == b'\t').filter(|word| !word.is_empty())
    {
        if !folded.is_empty() {
            folded.push(' ');
        }
        folded.push_str(&String::from_utf8_lossy(word));
    }
    let name_span = offset + start..offset + line.len() - rest.len();
    let Some(keyword) =
        Keyword::ALL.into_iter().find(|keyword| keyword.name().eq_ignore_ascii_case(&folded))
    else {
        let text = quoted(folded.as_bytes());
        return Err(Problem::UnknownKeyword { text }.at(name_span));
    };
    let (_, words) = grammar::words(rest).unwrap_or((rest, Vec::new()));
    let spans = spans_of(rest, &words, name_span.end);
    if let Some((word, span)) =
        words.iter().zip(&spans).find(|(word, _)| !word.iter().all(|&byte| is_allowed(byte)))
    {
        let byte = word.iter().copied().find(|&byte| !is_allowed(byte)).unwrap_or_default();
        return Err(Problem::ForbiddenByte { byte }.at(span.clone()));
    }
    if let Some(expected) = keyword.arguments()
        && words.len() != expected
    {
        let problem =
            Problem::ArgumentCount { keyword: keyword.name(), expected, found: words.len() };
        return Err(problem.at(span));
    }
    let touches = !rest.is_empty() && !matches!(rest[0], b' ' | b'\t' | b'!');
    let is_well_spaced = start == 0 && !touches && folded.as_bytes().eq_ignore_ascii_case(written);
    Ok(KeywordLine {
        keyword,
        is_well_spaced,
        arguments: words.into_iter().zip(spans).collect(),
        span,
    })
}
