//! Assembly of rows of numbers into frequencies and matrices.
//!
//! A set is one frequency and its pairs, distributed over lines in a layout. Rows are collected
//! until a set is complete. Only after an error is the layout of the lines examined, to name the
//! wrong line: the first that differs from the layout of the first complete set or, before there is
//! one, from the standard's. Memory for a number of ports is allocated only after the data have
//! confirmed it.

use super::error::{Fault, Found, Problem, WarningCode};
use super::findings::Findings;
use super::grammar::entry_range;
use super::layout::{Layout, PAIRS_PER_LINE};
use super::option_line::{FrequencyUnit, NumberFormat, OptionLine};
use super::regular_sets::{Course, RegularSets};
use super::rows::{Row, read_row};
use crate::diagnostic::quoted;
use crate::network::ParameterKind;
use num_complex::Complex64;
use std::ops::Range;

/// One line of a set.
#[derive(Clone, Debug)]
struct LineOfSet {
    /// Byte offset of its content in the file.
    start: usize,
    end: usize,
    count: usize,
}

impl LineOfSet {
    fn span(&self) -> Range<usize> {
        self.start..self.end
    }
}

/// Collects rows of numbers into sets.
pub(super) struct Sets {
    layout: Layout,
    number_format: NumberFormat,
    unit: FrequencyUnit,
    numbers_per_set: usize,
    expected_sets: Option<usize>,
    /// The parameter of the entries, which limits their magnitude.
    parameter: ParameterKind,
    /// The numbers of the incomplete set, up to `filled`; never many more than a set holds.
    buffer: Vec<f64>,
    filled: usize,
    lines: Vec<LineOfSet>,
    /// Numbers on the lines of the incomplete set.
    so_far: usize,
    previous_lines: Vec<LineOfSet>,
    /// Numbers per line of the first complete set.
    first_counts: Vec<usize>,
    pub(super) frequencies_hz: Vec<f64>,
    pub(super) entries: Vec<Complex64>,
    pub(super) highest_hz: f64,
    descends: bool,
    /// When sets are read as regular ones.
    course: Course,
}

impl Sets {
    pub(super) fn new(
        layout: Layout,
        option_line: &OptionLine,
        expected_sets: Option<usize>,
    ) -> Self {
        Self {
            layout,
            number_format: option_line.number_format,
            unit: option_line.frequency_unit,
            parameter: option_line.parameter,
            numbers_per_set: layout.numbers(),
            expected_sets,
            buffer: Vec::new(),
            filled: 0,
            lines: Vec::new(),
            so_far: 0,
            previous_lines: Vec::new(),
            first_counts: Vec::new(),
            frequencies_hz: Vec::new(),
            entries: Vec::new(),
            highest_hz: f64::NEG_INFINITY,
            descends: false,
            course: Course::default(),
        }
    }

    pub(super) fn ports(&self) -> usize {
        self.layout.ports
    }

    pub(super) fn count(&self) -> usize {
        self.frequencies_hz.len()
    }

    pub(super) fn is_between_sets(&self) -> bool {
        self.lines.is_empty()
    }

    /// Reads the numbers of the line that starts at `start` into the buffer: those of this set, and
    /// one to show a surplus. Further numbers are only counted.
    pub(super) fn read_row(
        &mut self,
        file: &[u8],
        start: usize,
        findings: &mut Findings,
    ) -> Result<Row, Fault> {
        let limit = self.numbers_per_set.saturating_add(1);
        // After a complete set the buffer has its final length, and storing a number is enough.
        let (buffer, filled) = (&mut self.buffer, &mut self.filled);
        read_row(file, start, findings, |value| {
            if let Some(place) = buffer.get_mut(*filled) {
                *place = value;
                *filled += 1;
            } else if *filled < limit {
                buffer.push(value);
                *filled += 1;
            }
        })
    }

    /// Reads the regular sets from `at`, where a set starts, and returns where the walk line by line
    /// goes on: at the start of the last of them, so that it knows the lines before an error.
    pub(super) fn take_regular(&mut self, file: &[u8], at: usize, may_have_tabs: bool) -> usize {
        let wanted = self.expected_sets.map_or(usize::MAX, |all| all.saturating_sub(self.count()));
        if self.first_counts.is_empty() || !self.course.begins() {
            return at;
        }
        let sets = RegularSets {
            bytes: file,
            layout: &self.layout,
            counts: &self.first_counts,
            number_format: self.number_format,
            unit: self.unit,
            max_magnitude: self.parameter.max_magnitude(),
            has_tabs: !may_have_tabs,
        };
        let last_hz = self.frequencies_hz.last().copied().unwrap_or(f64::NEG_INFINITY);
        let above_hz = last_hz.max(self.highest_hz);
        let (frequencies_hz, entries) = (&mut self.frequencies_hz, &mut self.entries);
        let end = sets.read(at, above_hz, wanted, &mut self.course, frequencies_hz, entries);
        self.highest_hz = self.frequencies_hz.last().map_or(above_hz, |&hz| above_hz.max(hz));
        end
    }

    /// The frequency at the start of the incomplete set.
    pub(super) fn next_frequency_hz(&self) -> f64 {
        self.unit.to_hz(self.buffer[0])
    }

    /// Takes a line whose numbers are in the buffer already.
    pub(super) fn take_line(
        &mut self,
        file: &[u8],
        span: Range<usize>,
        count: usize,
        findings: &mut Findings,
    ) -> Result<(), Fault> {
        let starts_set = self.is_between_sets();
        if starts_set && self.expected_sets == Some(self.count()) {
            return Err(
                Problem::FrequencyCount { expected: self.count(), found: Found::More }.at(span)
            );
        }
        self.lines.push(LineOfSet { start: span.start, end: span.end, count });
        self.so_far += count;
        // A line that starts a set has an odd count of numbers, all other lines an even one.
        let is_odd = count % 2 == 1;
        if starts_set && !is_odd {
            // An extra pair early in the set before may have moved this line out of that set.
            let blamed = self.first_departure(&self.previous_lines, self.count().saturating_sub(1));
            return Err(blamed.unwrap_or_else(|| self.misfit()));
        }
        if (!starts_set && is_odd) || self.so_far > self.numbers_per_set {
            return Err(self.misfit());
        }
        if self.so_far == self.numbers_per_set { self.complete(file, findings) } else { Ok(()) }
    }

    /// Ends the data.
    pub(super) fn end(&self) -> Result<(), Fault> {
        let Some(last) = self.lines.last() else { return Ok(()) };
        let problem = Problem::EndsInsideSet {
            expected: self.numbers_per_set,
            found: self.so_far,
            ports: self.layout.ports,
        };
        Err(self
            .first_departure(&self.lines, self.count())
            .unwrap_or_else(|| problem.at(last.span())))
    }

    /// The first line that differs from the expected layout.
    fn first_departure(&self, lines: &[LineOfSet], set: usize) -> Option<Fault> {
        let departing = lines.iter().enumerate().find_map(|(at, line)| {
            let expected = self.expected_count(at, set);
            (expected != Some(line.count)).then_some((at, line, expected))
        });
        let (at, line, expected) = departing?;
        let problem = Problem::RowLength {
            // A line after the last of its set is expected to start the next one.
            expected: expected.or_else(|| self.expected_count(0, set)).unwrap_or_default(),
            found: line.count,
            ports: self.layout.ports,
            pairs_of_set: self.numbers_per_set.saturating_sub(1) / 2,
            line_of_set: at + 1,
            set: set + 1,
        };
        Some(problem.at(line.span()))
    }

    fn expected_count(&self, line: usize, set: usize) -> Option<usize> {
        if set == 0 {
            self.layout.standard_count(line)
        } else {
            self.first_counts.get(line).copied()
        }
    }

    fn misfit(&self) -> Fault {
        self.first_departure(&self.lines, self.count()).unwrap_or_else(|| {
            // Every line has the expected count, but the sum is wrong: the last line is the cause.
            let (at, line) = (self.lines.len(), &self.lines[self.lines.len() - 1]);
            let expected = self.numbers_per_set.saturating_sub(self.so_far - line.count);
            let problem = Problem::RowLength {
                expected,
                found: line.count,
                ports: self.layout.ports,
                pairs_of_set: self.numbers_per_set.saturating_sub(1) / 2,
                line_of_set: at,
                set: self.count() + 1,
            };
            problem.at(line.span())
        })
    }

    fn complete(&mut self, file: &[u8], findings: &mut Findings) -> Result<(), Fault> {
        if self.frequencies_hz.is_empty() {
            self.first_counts = self.lines.iter().map(|line| line.count).collect();
            // The first set has confirmed the number of ports, and its length gives about the
            // number of sets in the file.
            let end = self.lines.last().map_or(0, |line| line.end);
            let sets = (file.len() - self.lines[0].start) / (end - self.lines[0].start).max(1) + 1;
            self.frequencies_hz.reserve(sets);
            self.entries.reserve(sets.saturating_mul(self.layout.ports * self.layout.ports));
        }
        if !self.layout.is_free {
            self.judge_wrapping(findings);
        }
        self.take_frequency(file, findings)?;
        self.take_matrix(file, findings)?;
        self.filled = 0;
        std::mem::swap(&mut self.lines, &mut self.previous_lines);
        self.lines.clear();
        self.so_far = 0;
        Ok(())
    }

    fn judge_wrapping(&self, findings: &mut Findings) {
        let departure = self
            .lines
            .iter()
            .enumerate()
            .find(|(at, line)| self.layout.standard_count(*at) != Some(line.count));
        let Some((_, departing)) = departure else { return };
        if let Some(long) = self.lines.iter().find(|line| line.count / 2 > PAIRS_PER_LINE) {
            findings.warn(WarningCode::TooManyPairs, long.span());
            return;
        }
        let numbers_per_row = 2 * self.layout.ports;
        let mut so_far = 0;
        let rows_start_lines = self.lines.iter().all(|line| {
            let left_in_row = numbers_per_row - so_far % numbers_per_row;
            so_far += line.count - usize::from(so_far == 0);
            left_in_row >= line.count & !1
        });
        let code =
            if self.layout.ports > PAIRS_PER_LINE && rows_start_lines && self.lines[0].count > 1 {
                WarningCode::RowsRewrapped
            } else {
                WarningCode::Rewrapped
            };
        findings.warn(code, departing.span());
    }

    fn take_frequency(&mut self, file: &[u8], findings: &mut Findings) -> Result<(), Fault> {
        let line = self.lines[0].span();
        let first_entry = || {
            let range = entry_range(&file[line.clone()], 0);
            line.start + range.start..line.start + range.end
        };
        let frequency_hz = frequency_hz(self.buffer[0], self.unit, file, first_entry)?;
        match self.frequencies_hz.last() {
            Some(&previous_hz) if frequency_hz < previous_hz => {
                findings.warn(WarningCode::Descending, line);
                self.descends = true;
            }
            Some(&previous_hz) if frequency_hz.total_cmp(&previous_hz).is_eq() => {
                findings.warn(WarningCode::DuplicateFrequency, line);
            }
            _ => {}
        }
        self.highest_hz = self.highest_hz.max(frequency_hz);
        self.frequencies_hz.push(frequency_hz);
        Ok(())
    }

    fn take_matrix(&mut self, file: &[u8], findings: &mut Findings) -> Result<(), Fault> {
        let from = self.entries.len();
        let pairs = self.buffer[1..self.numbers_per_set].chunks_exact(2);
        let format = self.number_format;
        self.entries.extend(pairs.map(|pair| format.entry(pair[0], pair[1])));
        let limit = self.parameter.max_magnitude();
        let is_within = |value: f64| value.abs() <= limit;
        let outside =
            self.entries[from..].iter().position(|one| !(is_within(one.re) && is_within(one.im)));
        self.layout.arrange(&mut self.entries, from);
        let negative_magnitude = self.number_format == NumberFormat::MagnitudeAngle
            && self.buffer[1..self.numbers_per_set]
                .iter()
                .step_by(2)
                .any(|&magnitude| magnitude < 0.0);
        if negative_magnitude {
            let at = self.buffer[1..self.numbers_per_set]
                .iter()
                .step_by(2)
                .position(|&magnitude| magnitude < 0.0)
                .unwrap_or(0);
            findings.warn(WarningCode::NegativeMagnitude, self.entry_span(file, 1 + 2 * at));
        }
        let Some(pair) = outside else { return Ok(()) };
        // The imaginary part or the angle is the cause only where it is the larger one.
        let [first, second] = [self.buffer[1 + 2 * pair], self.buffer[2 + 2 * pair]];
        let is_second = match self.number_format {
            NumberFormat::RealImaginary => is_within(first),
            NumberFormat::MagnitudeAngle | NumberFormat::DecibelAngle => !second.is_finite(),
        };
        let span = self.entry_span(file, 1 + 2 * pair + usize::from(is_second));
        let text = quoted(&file[span.clone()]);
        Err(if first.is_finite() && second.is_finite() {
            Problem::BeyondRange { text, parameter: self.parameter }
        } else {
            Problem::TooLarge { text }
        }
        .at(span))
    }

    /// The byte range of the nth number of the incomplete set in the file.
    fn entry_span(&self, file: &[u8], nth: usize) -> Range<usize> {
        let mut before = 0;
        for line in &self.lines {
            if nth < before + line.count {
                let range = entry_range(&file[line.span()], nth - before);
                return line.start + range.start..line.start + range.end;
            }
            before += line.count;
        }
        self.lines.first().map_or(0..0, LineOfSet::span)
    }

    /// Discards the incomplete set: returns its first line and its numbers.
    pub(super) fn take_back(&mut self) -> (Range<usize>, Vec<f64>) {
        let span = self.lines.first().map_or(0..0, LineOfSet::span);
        self.lines.clear();
        self.so_far = 0;
        self.buffer.truncate(self.filled);
        self.filled = 0;
        (span, std::mem::take(&mut self.buffer))
    }

    /// Orders the points by frequency; equal frequencies keep the order of the file.
    pub(super) fn sort(&mut self) {
        if !self.descends {
            return;
        }
        let size = self.layout.ports * self.layout.ports;
        let mut order: Vec<usize> = (0..self.frequencies_hz.len()).collect();
        order.sort_by(|&one, &other| {
            self.frequencies_hz[one].total_cmp(&self.frequencies_hz[other])
        });
        self.frequencies_hz = order.iter().map(|&at| self.frequencies_hz[at]).collect();
        self.entries = order
            .iter()
            .flat_map(|&at| self.entries[at * size..(at + 1) * size].iter().copied())
            .collect();
    }
}

/// Converts a frequency of the file to hertz; an error if it is negative or too large.
pub(super) fn frequency_hz(
    value: f64,
    unit: FrequencyUnit,
    file: &[u8],
    entry: impl Fn() -> Range<usize>,
) -> Result<f64, Fault> {
    let frequency_hz = unit.to_hz(value);
    let text = || quoted(&file[entry()]);
    if frequency_hz < 0.0 {
        return Err(Problem::NegativeFrequency { text: text() }.at(entry()));
    }
    if !frequency_hz.is_finite() {
        return Err(Problem::TooLarge { text: text() }.at(entry()));
    }
    // Minus zero would be sorted before zero.
    Ok(frequency_hz + 0.0)
}
