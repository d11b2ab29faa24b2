//! The keywords before the data, and checks that they are consistent.

use super::error::{Fault, Found, Problem, WarningCode};
use super::findings::Findings;
use super::grammar;
use super::keywords::{Keyword, KeywordLine};
use super::option_line::{OptionLine, resistance};
use crate::diagnostic::quoted;
use crate::network::{ParameterKind, Port, PortMode};
use std::ops::Range;

/// The entries of a matrix that a set lists.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Triangle {
    #[default]
    Full,
    Lower,
    Upper,
}

/// The order in which a full two-port set lists the off-diagonal entries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TwoPortOrder {
    /// 11, 21, 12, 22.
    ByColumn,
    /// 11, 12, 21, 22.
    ByRow,
}

/// The header of a version 2 file while it is collected.
#[derive(Debug, Default)]
pub(super) struct Header {
    ports: Option<(usize, Range<usize>)>,
    two_port_order: Option<(TwoPortOrder, Range<usize>)>,
    pub(super) frequencies: Option<usize>,
    pub(super) noise_frequencies: Option<(usize, Range<usize>)>,
    references: Option<(Vec<Given>, Range<usize>)>,
    triangle: Triangle,
    descriptors: Option<(Vec<Descriptor>, Range<usize>)>,
    seen: Vec<Keyword>,
    /// The keyword whose arguments may continue on the next line.
    open: Option<Keyword>,
    others_before_ports: bool,
}

/// A reference impedance with its byte range.
type Given = (f64, Range<usize>);

/// The header as the reader of the data needs it.
#[derive(Debug)]
pub(super) struct Described {
    pub(super) ports: usize,
    pub(super) two_port_order: TwoPortOrder,
    pub(super) triangle: Triangle,
    /// One reference impedance per port from `[Reference]`, if present.
    pub(super) references_ohm: Option<Vec<f64>>,
    /// The descriptors and the span of their keyword.
    pub(super) modes: Option<(Vec<PortMode>, Range<usize>)>,
}

impl Header {
    /// Records a keyword; an error for its second occurrence.
    pub(super) fn note(&mut self, line: &KeywordLine<'_>) -> Result<(), Fault> {
        if self.seen.contains(&line.keyword) {
            return Err(Problem::GivenTwice { what: format!("[{}]", line.keyword.name()) }
                .at(line.span.clone()));
        }
        self.seen.push(line.keyword);
        self.open = None;
        Ok(())
    }

    /// Reads a keyword of the header.
    pub(super) fn take(
        &mut self,
        line: &KeywordLine<'_>,
        findings: &mut Findings,
    ) -> Result<(), Fault> {
        self.note(line)?;
        let illegal = |legal: &'static str| {
            let (word, span) = line.argument();
            let text = quoted(word);
            Problem::IllegalArgument { keyword: line.keyword.name(), text, legal }.at(span)
        };
        let (argument, _) = line.argument();
        match line.keyword {
            Keyword::NumberOfPorts => {
                self.ports = Some((line.positive_integer()?, line.span.clone()));
                if self.others_before_ports {
                    findings.warn(WarningCode::PortsKeywordLate, line.span.clone());
                }
                return Ok(());
            }
            Keyword::TwoPortDataOrder => {
                let order = match argument {
                    b"12_21" => TwoPortOrder::ByRow,
                    b"21_12" => TwoPortOrder::ByColumn,
                    _ => return Err(illegal("12_21 and 21_12")),
                };
                self.two_port_order = Some((order, line.span.clone()));
            }
            Keyword::NumberOfFrequencies => self.frequencies = Some(line.positive_integer()?),
            Keyword::NumberOfNoiseFrequencies => {
                self.noise_frequencies = Some((line.positive_integer()?, line.span.clone()));
            }
            Keyword::MatrixFormat => {
                self.triangle = if argument.eq_ignore_ascii_case(b"full") {
                    Triangle::Full
                } else if argument.eq_ignore_ascii_case(b"lower") {
                    Triangle::Lower
                } else if argument.eq_ignore_ascii_case(b"upper") {
                    Triangle::Upper
                } else {
                    return Err(illegal("Full, Lower and Upper"));
                };
            }
            Keyword::Reference => {
                self.references = Some((Vec::new(), line.span.clone()));
                self.open = Some(line.keyword);
                for (word, span) in &line.arguments {
                    self.take_reference(word, span.clone())?;
                }
            }
            Keyword::MixedModeOrder => {
                self.descriptors = Some((Vec::new(), line.span.clone()));
                self.open = Some(line.keyword);
                for (word, span) in &line.arguments {
                    self.take_descriptor(word, span.clone())?;
                }
            }
            _ => {}
        }
        self.others_before_ports |= self.ports.is_none();
        Ok(())
    }

    /// Reads a line that continues the arguments of the keyword before it; false if no keyword is
    /// open.
    pub(super) fn continue_arguments(
        &mut self,
        words: &[(&[u8], Range<usize>)],
    ) -> Result<bool, Fault> {
        for (word, span) in words {
            match self.open {
                Some(Keyword::Reference) => self.take_reference(word, span.clone())?,
                Some(_) => self.take_descriptor(word, span.clone())?,
                None => return Ok(false),
            }
        }
        Ok(self.open.is_some())
    }

    fn take_reference(&mut self, word: &[u8], span: Range<usize>) -> Result<(), Fault> {
        let value_ohm =
            resistance(word, "[Reference]").map_err(|problem| problem.at(span.clone()))?;
        let expected = self.ports.as_ref().map(|(ports, _)| *ports);
        let (list, _) = self.references.get_or_insert_with(Default::default);
        if let Some(expected) = expected
            && list.len() >= expected
        {
            return Err(Problem::ReferenceCount { expected, found: Found::More }.at(span));
        }
        list.push((value_ohm, span));
        Ok(())
    }

    fn take_descriptor(&mut self, word: &[u8], span: Range<usize>) -> Result<(), Fault> {
        // An invalid descriptor is a better message than a wrong count.
        let described = descriptor(word, span)?;
        let expected = self.ports.as_ref().map(|(ports, _)| *ports);
        let (list, _) = self.descriptors.get_or_insert_with(Default::default);
        if let Some(expected) = expected
            && list.len() >= expected
        {
            let problem = Problem::DescriptorCount { expected, found: Found::More };
            return Err(problem.at(described.span));
        }
        list.push(described);
        Ok(())
    }

    /// Checks that the header is complete at `[Network Data]`, whose byte range is `data`.
    pub(super) fn finish(
        &mut self,
        option_line: &OptionLine,
        option_span: &Range<usize>,
        ports_in_name: Option<usize>,
        data: &Range<usize>,
        findings: &mut Findings,
    ) -> Result<Described, Fault> {
        let missing =
            |keyword: Keyword| Problem::MissingKeyword { missing: keyword.name() }.at(data.clone());
        let (ports, ports_span) =
            self.ports.clone().ok_or_else(|| missing(Keyword::NumberOfPorts))?;
        if ports_in_name.is_some_and(|named| named != ports) {
            findings.warn(WarningCode::ExtensionMismatch, ports_span);
        }
        check_kind(option_line, option_span, ports)?;
        let two_port_order = match (&self.two_port_order, ports) {
            (Some((order, _)), 2) => *order,
            (None, 2) => return Err(missing(Keyword::TwoPortDataOrder)),
            (Some((_, span)), _) => {
                findings.warn(WarningCode::TwoPortOrderIgnored, span.clone());
                TwoPortOrder::ByRow
            }
            (None, _) => TwoPortOrder::ByRow,
        };
        if self.frequencies.is_none() {
            findings.warn(WarningCode::MissingNumberOfFrequencies, data.clone());
        }
        if option_line.resistances_ohm.len() > 1 {
            check_resistances(option_line, option_span, ports)?;
            findings.warn(WarningCode::OptionListInV2, option_span.clone());
        }
        if self.triangle != Triangle::Full && option_line.parameter.is_two_port_only() {
            findings.warn(WarningCode::TriangleOfHybrid, option_span.clone());
        }
        let references_ohm: Option<Vec<f64>> = match self.references.take() {
            None => None,
            Some((list, span)) => {
                if let Some((_, surplus)) = list.get(ports) {
                    let problem = Problem::ReferenceCount { expected: ports, found: Found::More };
                    return Err(problem.at(surplus.clone()));
                }
                if list.len() < ports {
                    let problem = Problem::ReferenceCount {
                        expected: ports,
                        found: Found::Count(list.len()),
                    };
                    return Err(problem.at(span));
                }
                Some(list.into_iter().map(|(value_ohm, _)| value_ohm).collect())
            }
        };
        let modes = match self.descriptors.take() {
            None => None,
            Some((descriptors, span)) => {
                Some((modes(&descriptors, &span, ports, option_line.parameter)?, span))
            }
        };
        if let (Some((modes, span)), Some(references_ohm), ParameterKind::Scattering) =
            (&modes, &references_ohm, option_line.parameter)
        {
            check_pairs(modes, references_ohm, span)?;
        }
        Ok(Described { ports, two_port_order, triangle: self.triangle, references_ohm, modes })
    }
}

/// Checks that H and G have two ports.
pub(super) fn check_kind(
    option_line: &OptionLine,
    span: &Range<usize>,
    ports: usize,
) -> Result<(), Fault> {
    let kind = option_line.parameter;
    if kind.is_two_port_only() && ports != 2 {
        return Err(Problem::TwoPortsOnly { kind, ports }.at(span.clone()));
    }
    Ok(())
}

/// Checks for one resistance, or one per port.
pub(super) fn check_resistances(
    option_line: &OptionLine,
    span: &Range<usize>,
    ports: usize,
) -> Result<(), Fault> {
    match option_line.resistances_ohm.len() {
        1 => Ok(()),
        found if found == ports => Ok(()),
        found => Err(Problem::OptionReferenceCount { expected: ports, found }.at(span.clone())),
    }
}

fn check_pairs(
    modes: &[PortMode],
    references_ohm: &[f64],
    span: &Range<usize>,
) -> Result<(), Fault> {
    for mode in modes {
        if let PortMode::Differential(plus, minus) = *mode
            && references_ohm[plus.index()].total_cmp(&references_ohm[minus.index()]).is_ne()
        {
            return Err(Problem::PairReferences { plus, minus }.at(span.clone()));
        }
    }
    Ok(())
}

/// A descriptor `Sp`, `Di,j` or `Ci,j`, its ports not yet compared with the number of ports.
#[derive(Debug)]
struct Descriptor {
    letter: u8,
    ports: Vec<usize>,
    span: Range<usize>,
}

fn descriptor(word: &[u8], span: Range<usize>) -> Result<Descriptor, Fault> {
    let text = String::from_utf8_lossy(word).into_owned();
    let letter = word.first().map_or(0, u8::to_ascii_uppercase);
    let ports: Option<Vec<usize>> = text
        .get(1..)
        .unwrap_or_default()
        .split(',')
        .map(|number| {
            number.parse().ok().filter(|_| number.bytes().all(|byte| byte.is_ascii_digit()))
        })
        .collect();
    match (letter, ports) {
        (b'S', Some(ports)) if ports.len() == 1 => Ok(Descriptor { letter, ports, span }),
        (b'D' | b'C', Some(ports)) if ports.len() == 2 => Ok(Descriptor { letter, ports, span }),
        _ => Err(Problem::Descriptor { text: quoted(word) }.at(span)),
    }
}

fn modes(
    descriptors: &[Descriptor],
    keyword: &Range<usize>,
    ports: usize,
    kind: ParameterKind,
) -> Result<Vec<PortMode>, Fault> {
    if kind.is_two_port_only() {
        return Err(Problem::MixedModeKind { kind }.at(keyword.clone()));
    }
    let mut modes = Vec::new();
    // The ports in use by a single, differential or common descriptor.
    let mut claimed = std::collections::HashSet::new();
    for Descriptor { letter, ports: numbers, span } in descriptors {
        let mut named = Vec::new();
        for &port in numbers {
            let checked = Port::from_number(port).filter(|checked| checked.number() <= ports);
            named.push(
                checked.ok_or_else(|| Problem::DescriptorPort { port, ports }.at(span.clone()))?,
            );
        }
        let is_common = *letter == b'C';
        if let Some(&port) = named.iter().find(|&&port| !claimed.insert((is_common, port))) {
            return Err(Problem::DescriptorTwice { port }.at(span.clone()));
        }
        modes.push(match (letter, named.as_slice()) {
            (b'D', &[plus, minus]) => PortMode::Differential(plus, minus),
            (_, &[plus, minus]) => PortMode::Common(plus, minus),
            _ => PortMode::Single(named[0]),
        });
    }
    let members: std::collections::HashSet<_> = modes.iter().copied().collect();
    for (Descriptor { span, .. }, mode) in descriptors.iter().zip(&modes) {
        let partner = match *mode {
            PortMode::Single(_) => continue,
            PortMode::Differential(plus, minus) => PortMode::Common(plus, minus),
            PortMode::Common(plus, minus) => PortMode::Differential(plus, minus),
        };
        if !members.contains(&partner) {
            let problem = Problem::DescriptorAlone {
                present: mode.to_string(),
                missing: partner.to_string(),
            };
            return Err(problem.at(span.clone()));
        }
    }
    if descriptors.len() != ports {
        let problem =
            Problem::DescriptorCount { expected: ports, found: Found::Count(descriptors.len()) };
        return Err(problem.at(keyword.clone()));
    }
    Ok(modes)
}

/// The words of a line that continues a keyword's arguments, with their byte ranges in the file.
pub(super) fn argument_words(line: &[u8], offset: usize) -> Vec<(&[u8], Range<usize>)> {
    let (_, words) = grammar::words(line).unwrap_or((line, Vec::new()));
    let spans = super::option_line::spans_of(line, &words, offset);
    words.into_iter().zip(spans).collect()
}
