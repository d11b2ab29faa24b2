//! The reader's state machine, line by line.

use super::assemble::Sets;
use super::error::{Fault, Found, Problem, WarningCode};
use super::file::{Comment, NoisePoint, Version};
use super::findings::Findings;
use super::header::{
    Header, Triangle, TwoPortOrder, argument_words, check_kind, check_resistances,
};
use super::keywords::{Keyword, KeywordLine, keyword_line, written_name};
use super::layout::Layout;
use super::lines::{end_of_line, next_line};
use super::option_line::{OptionLine, is_allowed, option_fields};
use super::options::ReadOptions;
use crate::diagnostic::quoted;
use crate::network::{ParameterKind, PortMode};
use std::ops::Range;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Phase {
    /// Only comments so far.
    Start,
    /// After the line of `[Version]`.
    AfterVersion,
    /// Among the keywords.
    Header,
    /// Between `[Begin Information]` and `[End Information]`.
    Information,
    /// Among network data.
    Network,
    /// Among noise data.
    Noise,
    /// After `[End]`.
    After,
}

pub(super) struct Reader<'a> {
    /// The whole file, for the excerpts of warnings.
    pub(super) file: &'a [u8],
    /// The file without an end-of-file byte.
    pub(super) bytes: &'a [u8],
    /// The start of its text, after a byte-order mark.
    pub(super) start: usize,
    pub(super) options: &'a ReadOptions,
    pub(super) ports_in_name: Option<usize>,
    pub(super) phase: Phase,
    pub(super) version: Version,
    pub(super) option_line: Option<(OptionLine, Range<usize>)>,
    pub(super) header: Header,
    pub(super) information: Range<usize>,
    pub(super) sets: Option<Box<Sets>>,
    pub(super) references_ohm: Option<Vec<f64>>,
    pub(super) modes: Option<Vec<PortMode>>,
    /// The incomplete set is one line of five numbers that may be a noise row.
    pub(super) may_be_noise: bool,
    pub(super) noise: Vec<NoisePoint>,
    pub(super) first_noise: Range<usize>,
    pub(super) comments: Vec<Comment>,
    /// Whether there may be a tab and none has been reported yet.
    pub(super) may_have_tabs: bool,
    pub(super) findings: Findings,
    pub(super) last_line: Range<usize>,
}

impl<'a> Reader<'a> {
    pub(super) fn new(
        bytes: &'a [u8],
        ports_in_name: Option<usize>,
        options: &'a ReadOptions,
    ) -> Result<Self, Fault> {
        if ports_in_name == Some(0) {
            return Err(Problem::ZeroPortsInName.at(0..0));
        }
        let mut findings = Findings::default();
        let file = bytes;
        let mut bytes = bytes;
        let has_mark = bytes.starts_with(b"\xEF\xBB\xBF");
        if has_mark {
            findings.warn(WarningCode::Bom, 0..3);
        }
        if let Some((0x1A, before)) = bytes.split_last() {
            findings.warn(WarningCode::DosEof, before.len()..bytes.len());
            bytes = before;
        }
        Ok(Self {
            file,
            bytes,
            start: if has_mark { 3 } else { 0 },
            options,
            ports_in_name,
            phase: Phase::Start,
            version: Version::V1_0,
            option_line: None,
            header: Header::default(),
            information: 0..0,
            sets: None,
            references_ohm: None,
            modes: None,
            may_be_noise: false,
            noise: Vec::new(),
            first_noise: 0..0,
            comments: Vec::new(),
            may_have_tabs: memchr::memchr(b'\t', bytes).is_some(),
            findings,
            last_line: 0..0,
        })
    }

    pub(super) fn run(&mut self) -> Result<(), Fault> {
        let mut at = self.start;
        while at < self.bytes.len() {
            let line = if self.is_among_numbers(at) {
                at = self.regular_sets(at);
                self.network_line(at)?
            } else {
                let line = at..end_of_line(self.bytes, at);
                self.line(line.clone())?;
                line
            };
            at = next_line(self.bytes, line.end);
            self.last_line = line;
        }
        self.end_of_file()
    }

    /// Reads sets without anything unusual, where a set starts at `at`; returns where to go on.
    fn regular_sets(&mut self, at: usize) -> usize {
        match &mut self.sets {
            Some(sets) if sets.is_between_sets() => {
                sets.take_regular(self.bytes, at, self.may_have_tabs)
            }
            _ => at,
        }
    }

    /// Whether a line can only be a row of network data, as nearly all lines of a file.
    fn is_among_numbers(&self, start: usize) -> bool {
        let first = self.bytes[start..].iter().find(|&&byte| byte != b' ');
        self.phase == Phase::Network
            && self.sets.is_some()
            && matches!(first, Some(b'0'..=b'9' | b'.' | b'-' | b'+'))
    }

    fn line(&mut self, line: Range<usize>) -> Result<(), Fault> {
        let content = &self.bytes[line.clone()];
        let blanks = content.iter().take_while(|&&byte| byte == b' ' || byte == b'\t').count();
        let Some(&first) = content.get(blanks) else { return Ok(()) };
        if self.phase == Phase::Information {
            return self.information_line(line, first);
        }
        if first == b'!' {
            self.comment(line.start + blanks..line.end);
            return Ok(());
        }
        if self.phase == Phase::After {
            self.findings.warn(WarningCode::AfterEnd, line);
            return Ok(());
        }
        match first {
            b'#' => self.option_line(line.start + blanks, line.end),
            b'[' => self.keyword(line),
            _ => self.data(line),
        }
    }

    /// Reads a comment from its mark to the end of the line.
    pub(super) fn comment(&mut self, span: Range<usize>) {
        let text = &self.bytes[span.start + 1..span.end];
        if let Some(at) = text.iter().position(|&byte| !is_allowed(byte)) {
            let at = span.start + 1 + at;
            self.findings.warn(WarningCode::NonAsciiComment, at..at + 1);
        }
        let sets_before = self.sets.as_ref().map_or(0, |sets| sets.count());
        self.comments
            .push(Comment { text: String::from_utf8_lossy(text).into_owned(), sets_before });
    }

    /// Splits a line at its comment, keeps the comment, and returns the range before it.
    fn without_comment(&mut self, line: Range<usize>) -> Range<usize> {
        let content = &self.bytes[line.clone()];
        let before = match memchr::memchr(b'!', content) {
            None => line,
            Some(at) => {
                self.comment(line.start + at..line.end);
                line.start..line.start + at
            }
        };
        self.note_tabs(&before);
        before
    }

    pub(super) fn note_tabs(&mut self, span: &Range<usize>) {
        if self.may_have_tabs
            && let Some(at) = memchr::memchr(b'\t', &self.bytes[span.clone()])
        {
            self.findings.warn(WarningCode::Tab, span.start + at..span.start + at + 1);
            self.may_have_tabs = false;
        }
    }

    fn option_line(&mut self, start: usize, end: usize) -> Result<(), Fault> {
        if self.option_line.is_some() {
            self.findings.warn(WarningCode::ExtraOptionLine, start..end);
            return Ok(());
        }
        let span = self.without_comment(start..end);
        let fields = &self.bytes[span.start + 1..span.end];
        let option_line = option_fields(fields, span.start + 1)?;
        if fields.first().is_some_and(|&byte| byte != b' ' && byte != b'\t') {
            self.findings.warn(WarningCode::HashJoined, span.clone());
        }
        if option_line.list_is_not_last {
            self.findings.warn(WarningCode::RListNotLast, span.clone());
        }
        match self.phase {
            Phase::AfterVersion => self.phase = Phase::Header,
            _ => {
                self.phase = Phase::Network;
                if option_line.resistances_ohm.len() > 1 {
                    self.version = Version::V1_1;
                }
                if let Some(ports) = self.ports_in_name {
                    check_kind(&option_line, &span, ports)?;
                    check_resistances(&option_line, &span, ports)?;
                }
            }
        }
        self.option_line = Some((option_line, span));
        Ok(())
    }

    fn keyword(&mut self, line: Range<usize>) -> Result<(), Fault> {
        let named = |bytes: &[u8]| written_name(bytes).unwrap_or_default();
        let content = &self.bytes[line.clone()];
        if self.phase == Phase::Start {
            return self.version_line(line);
        }
        if self.phase == Phase::AfterVersion {
            return Err(Problem::NoOptionLine { keywords: true }.at(line));
        }
        if !self.version.has_keywords() {
            return Err(Problem::KeywordInVersion1 { keyword: named(content) }.at(line));
        }
        let before_comment = self.without_comment(line);
        let keyword_line = keyword_line(&self.bytes[before_comment.clone()], before_comment.start)?;
        if !keyword_line.is_well_spaced {
            self.findings.warn(WarningCode::KeywordSpacing, keyword_line.span.clone());
        }
        let keyword = keyword_line.keyword;
        let in_header = self.phase == Phase::Header;
        match keyword {
            Keyword::NetworkData => {
                self.header.note(&keyword_line)?;
                self.begin_network_data(&keyword_line)
            }
            Keyword::NoiseData | Keyword::End if in_header => Err(Problem::MissingBefore {
                missing: Keyword::NetworkData.name(),
                before: keyword.name(),
            }
            .at(keyword_line.span)),
            Keyword::NoiseData => {
                self.header.note(&keyword_line)?;
                self.begin_noise_data(&keyword_line)
            }
            Keyword::End => {
                self.end_of_data(&keyword_line.span)?;
                self.phase = Phase::After;
                Ok(())
            }
            _ if keyword.is_header() && !in_header => {
                Err(Problem::KeywordAfterData { keyword: keyword.name() }.at(keyword_line.span))
            }
            Keyword::EndInformation => Err(Problem::InformationNotOpen.at(keyword_line.span)),
            Keyword::BeginInformation => {
                self.header.note(&keyword_line)?;
                self.information = keyword_line.span;
                self.phase = Phase::Information;
                Ok(())
            }
            _ => self.header.take(&keyword_line, &mut self.findings),
        }
    }

    fn version_line(&mut self, line: Range<usize>) -> Result<(), Fault> {
        let written = written_name(&self.bytes[line.clone()]).unwrap_or_default();
        if !written.eq_ignore_ascii_case(Keyword::Version.name()) {
            return Err(Problem::VersionNotFirst { keyword: written }.at(line));
        }
        let before_comment = self.without_comment(line);
        let keyword_line = keyword_line(&self.bytes[before_comment.clone()], before_comment.start)?;
        if !keyword_line.is_well_spaced {
            self.findings.warn(WarningCode::KeywordSpacing, keyword_line.span.clone());
        }
        self.header.note(&keyword_line)?;
        let (word, span) = keyword_line.argument();
        self.version = match word {
            b"2.0" => Version::V2_0,
            b"2.1" => Version::V2_1,
            _ => {
                let text = quoted(word);
                return Err(Problem::UnsupportedVersion { text }.at(span));
            }
        };
        self.phase = Phase::AfterVersion;
        Ok(())
    }

    fn information_line(&mut self, line: Range<usize>, first: u8) -> Result<(), Fault> {
        if first == b'['
            && let Ok(found) = keyword_line(&self.bytes[line.clone()], line.start)
            && found.keyword == Keyword::EndInformation
        {
            self.header.note(&found)?;
            self.phase = Phase::Header;
        }
        Ok(())
    }

    fn begin_network_data(&mut self, line: &KeywordLine<'_>) -> Result<(), Fault> {
        // The option line precedes every keyword but [Version], so it is present.
        let (option_line, option_span) = self.option_line.clone().unwrap_or_default();
        let described = self.header.finish(
            &option_line,
            &option_span,
            self.ports_in_name,
            &line.span,
            &mut self.findings,
        )?;
        let layout = Layout {
            ports: described.ports,
            triangle: described.triangle,
            two_port_order: described.two_port_order,
            is_free: true,
        };
        self.start_sets(layout, self.header.frequencies);
        if let Some((modes, span)) = described.modes {
            let unequal =
                option_line.resistances_ohm.len() > 1 && described.references_ohm.is_none();
            if unequal && option_line.parameter == ParameterKind::Scattering {
                let list = &option_line.resistances_ohm;
                let pair = modes.iter().find_map(|mode| match *mode {
                    PortMode::Differential(plus, minus)
                        if list[plus.index()].total_cmp(&list[minus.index()]).is_ne() =>
                    {
                        Some((plus, minus))
                    }
                    _ => None,
                });
                if let Some((plus, minus)) = pair {
                    return Err(Problem::PairReferences { plus, minus }.at(span));
                }
            }
            self.modes = Some(modes);
        }
        self.references_ohm = described.references_ohm;
        self.phase = Phase::Network;
        Ok(())
    }

    fn start_sets(&mut self, layout: Layout, expected_sets: Option<usize>) {
        let (option_line, _) = self.option_line.clone().unwrap_or_default();
        self.sets = Some(Box::new(Sets::new(layout, &option_line, expected_sets)));
    }

    fn begin_noise_data(&mut self, line: &KeywordLine<'_>) -> Result<(), Fault> {
        self.end_of_network(&line.span)?;
        let ports = self.sets.as_ref().map_or(0, |sets| sets.ports());
        if ports != 2 {
            return Err(Problem::NoisePorts { ports }.at(line.span.clone()));
        }
        if self.header.noise_frequencies.is_none() {
            self.findings.warn(WarningCode::MissingNumberOfNoiseFrequencies, line.span.clone());
        }
        self.phase = Phase::Noise;
        Ok(())
    }

    /// Checks the network data at their end, at `ender`.
    fn end_of_network(&mut self, ender: &Range<usize>) -> Result<(), Fault> {
        if let Some(sets) = &self.sets {
            sets.end()?;
        }
        let found = self.sets.as_ref().map_or(0, |sets| sets.count());
        if found == 0 {
            return Err(Problem::NoNetworkData.at(ender.clone()));
        }
        match self.header.frequencies {
            Some(expected) if expected != found => {
                Err(Problem::FrequencyCount { expected, found: Found::Count(found) }
                    .at(ender.clone()))
            }
            _ => Ok(()),
        }
    }

    /// Checks the data of either kind at their end, at `ender`.
    fn end_of_data(&mut self, ender: &Range<usize>) -> Result<(), Fault> {
        if self.phase != Phase::Noise {
            self.end_of_network(ender)?;
        }
        match (&self.header.noise_frequencies, self.phase) {
            (Some((expected, _)), Phase::Noise) if *expected != self.noise.len() => {
                let found = Found::Count(self.noise.len());
                Err(Problem::NoiseCount { expected: *expected, found }.at(ender.clone()))
            }
            (Some((_, span)), Phase::Network) => Err(Problem::NoiseDataMissing.at(span.clone())),
            _ => Ok(()),
        }
    }

    fn end_of_file(&mut self) -> Result<(), Fault> {
        let last_line = self.last_line.clone();
        match self.phase {
            Phase::Start => return Err(Problem::NoContent.at(last_line)),
            Phase::AfterVersion => {
                return Err(Problem::NoOptionLine { keywords: true }.at(last_line));
            }
            Phase::Information => return Err(Problem::InformationOpen.at(self.information.clone())),
            Phase::Header => return Err(Problem::NoNetworkData.at(last_line)),
            Phase::After => return Ok(()),
            Phase::Network | Phase::Noise => {}
        }
        if self.may_be_noise {
            self.settle_as_noise()?;
        }
        self.end_of_data(&last_line)?;
        if self.version.has_keywords() {
            self.findings.warn(WarningCode::MissingEnd, last_line);
        }
        Ok(())
    }

    fn data(&mut self, line: Range<usize>) -> Result<(), Fault> {
        match self.phase {
            Phase::Network if self.sets.is_some() => self.network_line(line.start).map(drop),
            Phase::Noise => self.noise_line(line),
            Phase::AfterVersion => {
                self.refuse_bytes(&line)?;
                Err(Problem::NoOptionLine { keywords: true }.at(line))
            }
            Phase::Header => {
                let before_comment = self.without_comment(line.clone());
                let words =
                    argument_words(&self.bytes[before_comment.clone()], before_comment.start);
                if self.header.continue_arguments(&words)? {
                    return Ok(());
                }
                self.refuse_bytes(&line)?;
                Err(Problem::DataBeforeKeyword.at(line))
            }
            _ => {
                self.first_data_line(&line)?;
                self.network_line(line.start).map(drop)
            }
        }
    }

    /// Refuses bytes that are allowed in comments only.
    fn refuse_bytes(&self, line: &Range<usize>) -> Result<(), Fault> {
        let content = &self.bytes[line.clone()];
        let before_comment = memchr::memchr(b'!', content).map_or(content, |at| &content[..at]);
        match before_comment.iter().position(|&byte| !is_allowed(byte)) {
            Some(at) => {
                let span = line.start + at..line.start + at + 1;
                Err(Problem::ForbiddenByte { byte: content[at] }.at(span))
            }
            None => Ok(()),
        }
    }

    /// Completes the description of a version 1 file from its first data line.
    fn first_data_line(&mut self, line: &Range<usize>) -> Result<(), Fault> {
        if self.option_line.is_none() {
            let Some(supplied) = self.options.option_line.clone() else {
                self.refuse_bytes(line)?;
                return Err(Problem::NoOptionLine { keywords: false }.at(line.clone()));
            };
            self.findings.warn(WarningCode::OptionLineSupplied, line.clone());
            if supplied.resistances_ohm.len() > 1 {
                self.version = Version::V1_1;
            }
            self.option_line = Some((supplied, line.clone()));
            self.phase = Phase::Network;
        }
        let (option_line, option_span) = self.option_line.clone().unwrap_or_default();
        let ports = match (self.ports_in_name, option_line.resistances_ohm.len()) {
            (Some(ports), _) => ports,
            (None, 1) => self.ports_in_data(line)?,
            (None, listed) => listed,
        };
        if self.ports_in_name.is_none() {
            self.findings.warn(WarningCode::PortCountFromData, line.clone());
        }
        check_kind(&option_line, &option_span, ports)?;
        check_resistances(&option_line, &option_span, ports)?;
        let layout = Layout {
            ports,
            triangle: Triangle::Full,
            two_port_order: TwoPortOrder::ByColumn,
            is_free: false,
        };
        self.start_sets(layout, None);
        Ok(())
    }
}
