//! The reader within data: rows of network data, and the start of noise data.

use super::assemble::frequency_hz;
use super::error::{Fault, Found, Problem, WarningCode};
use super::file::NoisePoint;
use super::grammar;
use super::lines::{Lines, end_of_line};
use super::reader::{Phase, Reader};
use super::rows::{Row, entries_in, not_a_number, read_row, too_large};
use num_complex::Complex64;
use std::ops::Range;

impl Reader<'_> {
    /// The number of ports from the first set: its first line and all following lines with an even
    /// count.
    pub(super) fn ports_in_data(&self, first: &Range<usize>) -> Result<usize, Fault> {
        let rest = &self.bytes[first.start..];
        let mut numbers = 0_usize;
        for line in Lines::new(rest) {
            let content = &rest[line.clone()];
            let blanks = content.iter().take_while(|&&byte| byte == b' ' || byte == b'\t').count();
            if matches!(content.get(blanks), None | Some(b'!' | b'#')) {
                continue;
            }
            let (left, count) = grammar::numbers(&content[blanks..], |_| {});
            if !grammar::is_empty(left)
                && grammar::word(left)
                    .is_ok_and(|(_, word)| grammar::fortran_number(word).is_none())
            {
                let at = first.start + line.end - left.len();
                let word = grammar::word(left).map_or(left, |(_, word)| word);
                return Err(not_a_number(word, at));
            }
            let count =
                if grammar::is_empty(left) { count } else { entries_in(&content[blanks..]) };
            if numbers > 0 && count % 2 == 1 {
                break;
            }
            numbers += count;
        }
        let pairs = numbers.saturating_sub(1) / 2;
        let ports = pairs.isqrt();
        if numbers % 2 == 1 && ports > 0 && ports * ports == pairs {
            Ok(ports)
        } else {
            Err(Problem::UnknownPortCount { numbers }.at(first.clone()))
        }
    }

    /// Reads the row of network data that starts at `start`, and returns its line.
    pub(super) fn network_line(&mut self, start: usize) -> Result<Range<usize>, Fault> {
        if self.may_be_noise {
            let line = start..end_of_line(self.bytes, start);
            // A wrapped set continues with an even count; any other line means that noise data have
            // begun.
            if entries_in(&self.bytes[line.clone()]) % 2 == 1 {
                self.settle_as_noise()?;
                self.noise_line(line.clone())?;
                return Ok(line);
            }
            self.may_be_noise = false;
        }
        let Some(sets) = self.sets.as_mut() else { return Ok(start..start) };
        let row = sets.read_row(self.bytes, start, &mut self.findings)?;
        let may_be_noise = row.count == 5
            && sets.ports() == 2
            && sets.is_between_sets()
            && sets.count() > 0
            && !self.version.has_keywords();
        if may_be_noise {
            let goes_back = sets.next_frequency_hz() <= sets.highest_hz;
            if goes_back {
                let (_, values) = sets.take_back();
                self.phase = Phase::Noise;
                self.keep_comment(&row);
                self.take_noise(row.line.clone(), &values, row.count)?;
                return Ok(row.line);
            }
            self.may_be_noise = true;
        }
        sets.take_line(self.bytes, row.line.clone(), row.count, &mut self.findings)?;
        self.keep_comment(&row);
        Ok(row.line)
    }

    /// Keeps the comment of a row, and reports tabs between its numbers.
    pub(super) fn keep_comment(&mut self, row: &Row) {
        self.note_tabs(&(row.line.start..row.comment_at));
        if row.comment_at < row.line.end {
            self.comment(row.comment_at..row.line.end);
        }
    }

    /// A line of five numbers that was read as the start of a set is a noise row.
    pub(super) fn settle_as_noise(&mut self) -> Result<(), Fault> {
        self.may_be_noise = false;
        self.phase = Phase::Noise;
        let Some(sets) = &mut self.sets else { return Ok(()) };
        let (line, values) = sets.take_back();
        self.take_noise(line, &values, values.len())
    }

    pub(super) fn noise_line(&mut self, line: Range<usize>) -> Result<(), Fault> {
        let mut values = Vec::with_capacity(5);
        let row = read_row(self.bytes, line.start, &mut self.findings, |value| {
            if values.len() < 5 {
                values.push(value);
            }
        })?;
        self.keep_comment(&row);
        self.take_noise(line, &values, row.count)
    }

    /// Reads a noise row of `count` numbers, of which the first five are in `values`.
    pub(super) fn take_noise(
        &mut self,
        line: Range<usize>,
        values: &[f64],
        count: usize,
    ) -> Result<(), Fault> {
        let &[frequency, minimum_noise_figure_db, magnitude, angle_deg, resistance] = values else {
            return Err(Problem::NoiseRow { found: count }.at(line));
        };
        if count != 5 {
            let is_network = count == 9 && !self.version.has_keywords();
            let problem = if is_network {
                Problem::NetworkAfterNoise { found: count }
            } else {
                Problem::NoiseRow { found: count }
            };
            return Err(problem.at(line));
        }
        if values.iter().any(|value| !value.is_finite()) {
            return Err(too_large(self.bytes, line));
        }
        if let Some((expected, _)) = &self.header.noise_frequencies
            && self.noise.len() == *expected
        {
            return Err(Problem::NoiseCount { expected: *expected, found: Found::More }.at(line));
        }
        let (option_line, _) = self.option_line.clone().unwrap_or_default();
        let first_entry = || {
            let range = grammar::entry_range(&self.bytes[line.clone()], 0);
            line.start + range.start..line.start + range.end
        };
        let frequency_hz =
            frequency_hz(frequency, option_line.frequency_unit, self.bytes, first_entry)?;
        if minimum_noise_figure_db < 0.0 || !(0.0..=1.0).contains(&magnitude) || resistance < 0.0 {
            self.findings.warn(WarningCode::NoiseUnphysical, line.clone());
        }
        if self.noise.is_empty() {
            self.first_noise = line.clone();
        }
        if let Some(previous) = self.noise.last() {
            if frequency_hz < previous.frequency_hz {
                self.findings.warn(WarningCode::NoiseDescending, line);
            } else if frequency_hz.total_cmp(&previous.frequency_hz).is_eq() {
                self.findings.warn(WarningCode::NoiseDuplicate, line);
            }
        }
        let scale_ohm =
            if self.version.has_keywords() { 1.0 } else { option_line.resistances_ohm[0] };
        self.noise.push(NoisePoint {
            frequency_hz,
            minimum_noise_figure_db,
            optimum_reflection: Complex64::from_polar(magnitude, angle_deg.to_radians()),
            noise_resistance_ohm: resistance * scale_ohm,
        });
        Ok(())
    }
}
