//! Regular sets: those with the lines of the first set, numbers in range, an ascending frequency and
//! nothing else. Nearly all sets of a file are regular, and those of a large file are decoded on all
//! threads. The first set that is not regular ends a run: the walk line by line reads it, and finds
//! its warnings and errors.

use super::layout::Layout;
use super::lines::{end_of_line, next_line};
use super::option_line::{FrequencyUnit, NumberFormat};
use num_complex::Complex64;
use rayon::prelude::{IntoParallelIterator as _, ParallelIterator as _};

/// Bytes that a thread decodes at a time, at least: about a quarter of a millisecond.
const SMALLEST_BLOCK: usize = 1 << 17;
/// More than a number takes, so that a block holds several sets.
const BYTES_OF_NUMBER: usize = 64;
/// Blocks per thread that are decoded before they are put together, which bounds the memory.
const BLOCKS_PER_THREAD: usize = 8;
/// A run of fewer sets was not worth a start.
const SHORT_RUN: usize = 16;
/// Maximum number of sets between two attempts.
const LONGEST_PAUSE: usize = 1 << 10;

/// When runs of regular sets are tried, so that a file without them costs little more.
#[derive(Debug, Default)]
pub(super) struct Course {
    /// Sets until the next run.
    pause: usize,
    /// The pause after the next short run.
    next_pause: usize,
    /// Bytes that were decoded on several threads and kept, and those that were not.
    kept: usize,
    wasted: usize,
}

impl Course {
    /// Whether a run begins at this set.
    pub(super) fn begins(&mut self) -> bool {
        let begins = self.pause == 0;
        self.pause = self.pause.saturating_sub(1);
        begins
    }

    fn note_run(&mut self, sets: usize) {
        if sets < SHORT_RUN {
            self.next_pause = (2 * self.next_pause).clamp(1, LONGEST_PAUSE);
            self.pause = self.next_pause;
        } else {
            self.next_pause = 0;
        }
    }
}

/// How the sets of a file are read while they are regular.
pub(super) struct RegularSets<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) layout: &'a Layout,
    /// Numbers on each line.
    pub(super) counts: &'a [usize],
    pub(super) number_format: NumberFormat,
    pub(super) unit: FrequencyUnit,
    pub(super) max_magnitude: f64,
    /// Whether a tab is a blank like others, because the warning of it has been given.
    pub(super) has_tabs: bool,
}

/// Sets that follow each other.
struct Run {
    frequencies_hz: Vec<f64>,
    entries: Vec<Complex64>,
    /// Where the first of them starts, and the last; the end of the last.
    start: usize,
    last: usize,
    end: usize,
}

impl RegularSets<'_> {
    /// Reads at most `wanted` sets from `at` with frequencies above `above_hz`; leaves the last of
    /// them, and returns where it starts.
    pub(super) fn read(
        &self,
        at: usize,
        above_hz: f64,
        wanted: usize,
        course: &mut Course,
        frequencies_hz: &mut Vec<f64>,
        entries: &mut Vec<Complex64>,
    ) -> usize {
        let before = frequencies_hz.len();
        let (mut at, mut last, mut above_hz) = (at, at, above_hz);
        let taken = |frequencies_hz: &Vec<f64>| frequencies_hz.len() - before;
        let (mut accepted, mut count): (Vec<Run>, usize) = (Vec::new(), 0);
        while let Some(threads) = self.threads(at, course) {
            let (start, ready) = (at, std::mem::take(&mut accepted));
            let wave = threads * BLOCKS_PER_THREAD * self.block();
            let whole = wave.min(self.bytes.len() - start);
            // The runs before are put together while these are decoded.
            let ((), runs) = rayon::join(
                || append(&ready, frequencies_hz, entries),
                || self.wave(start, threads),
            );
            for run in runs {
                let (Some(&first_hz), Some(&last_hz)) =
                    (run.frequencies_hz.first(), run.frequencies_hz.last())
                else {
                    break;
                };
                let follows = run.start == at && first_hz > above_hz;
                if !follows || run.frequencies_hz.len() > wanted - count {
                    break;
                }
                count += run.frequencies_hz.len();
                above_hz = last_hz;
                (last, at) = (run.last, run.end);
                accepted.push(run);
            }
            course.kept += at - start;
            course.wasted += whole.saturating_sub(at - start);
            if at - start < whole {
                break;
            }
        }
        append(&accepted, frequencies_hz, entries);
        while taken(frequencies_hz) < wanted
            && let Some((hz, end)) = self.set(at, entries)
        {
            if hz <= above_hz {
                entries.truncate(entries.len() - self.entries_per_set());
                break;
            }
            frequencies_hz.push(hz);
            above_hz = hz;
            (last, at) = (at, end);
        }
        course.note_run(taken(frequencies_hz));
        if taken(frequencies_hz) > 0 {
            frequencies_hz.pop();
            entries.truncate(entries.len() - self.entries_per_set());
        }
        last
    }

    fn entries_per_set(&self) -> usize {
        self.layout.ports * self.layout.ports
    }

    /// Bytes of a block. The first set has shown that the file holds its numbers.
    fn block(&self) -> usize {
        SMALLEST_BLOCK.max(BYTES_OF_NUMBER * self.counts.iter().sum::<usize>())
    }

    /// The number of threads for the bytes from `at`; `None` where one is enough.
    fn threads(&self, at: usize, course: &Course) -> Option<usize> {
        let is_large = self.bytes.len() - at >= 4 * self.block();
        let threads = if is_large { rayon::current_num_threads() } else { 1 };
        (threads > 1 && course.wasted <= course.kept).then_some(threads)
    }

    /// The runs of the next blocks, the first of which starts at `at`.
    fn wave(&self, at: usize, threads: usize) -> Vec<Run> {
        let line_after = |offset: usize| match self.bytes.get(offset..) {
            Some(rest) if !rest.is_empty() => {
                next_line(self.bytes, end_of_line(self.bytes, offset)).min(self.bytes.len())
            }
            _ => self.bytes.len(),
        };
        let size = self.block();
        (0..threads * BLOCKS_PER_THREAD)
            .into_par_iter()
            .map(|block| {
                let offset = at + block * size;
                let start = if block == 0 { Some(at) } else { self.set_start(line_after(offset)) };
                let end = line_after(offset + size);
                let start = start.unwrap_or(self.bytes.len());
                self.run(start, end)
            })
            .collect()
    }

    /// The start of the first set at or after a start of a line: of the lines of a set only the first
    /// has an odd count of numbers.
    fn set_start(&self, line: usize) -> Option<usize> {
        let mut at = line;
        for _ in 0..=self.counts.len() {
            let (mut count, mut rest) = (0, self.after_blanks(self.bytes.get(at..)?));
            while let Some((_, after)) = self.entry(rest) {
                count += 1;
                rest = after;
            }
            if count % 2 == 1 {
                return Some(at);
            }
            at = self.bytes.len() - after_line_end(rest)?.len();
        }
        None
    }

    /// The sets from `start` that start before `end`.
    fn run(&self, start: usize, end: usize) -> Run {
        let mut run =
            Run { frequencies_hz: Vec::new(), entries: Vec::new(), start, last: start, end: start };
        while run.end < end
            && let Some((hz, next)) = self.set(run.end, &mut run.entries)
        {
            if run.frequencies_hz.last().is_some_and(|&before_hz| hz <= before_hz) {
                run.entries.truncate(run.entries.len() - self.entries_per_set());
                break;
            }
            if run.frequencies_hz.is_empty() {
                let sets = (end - start) / (next - start).max(1) + 2;
                run.frequencies_hz.reserve(sets);
                run.entries.reserve(sets * self.entries_per_set());
            }
            run.frequencies_hz.push(hz);
            (run.last, run.end) = (run.end, next);
        }
        run
    }

    /// Reads the set at `at`: its frequency and its end. `None`, and no entries, if it is not regular.
    fn set(&self, at: usize, entries: &mut Vec<Complex64>) -> Option<(f64, usize)> {
        let from = entries.len();
        let read = match self.number_format {
            // Of constants the compiler makes a loop for each.
            NumberFormat::RealImaginary => self.lines(NumberFormat::RealImaginary, at, entries),
            NumberFormat::MagnitudeAngle => self.lines(NumberFormat::MagnitudeAngle, at, entries),
            NumberFormat::DecibelAngle => self.lines(NumberFormat::DecibelAngle, at, entries),
        };
        if read.is_none() {
            entries.truncate(from);
            return None;
        }
        self.layout.arrange(entries, from);
        read
    }

    #[inline(always)]
    fn lines(
        &self,
        format: NumberFormat,
        at: usize,
        entries: &mut Vec<Complex64>,
    ) -> Option<(f64, usize)> {
        let (frequency, mut rest) = self.entry(self.after_blanks(self.bytes.get(at..)?))?;
        for (line, &count) in self.counts.iter().enumerate() {
            if line > 0 {
                rest = self.after_blanks(rest);
            }
            for _ in 0..count / 2 {
                let (first, after) = self.entry(rest)?;
                let (second, after) = self.entry(after)?;
                rest = after;
                let entry = format.entry(first, second);
                let is_within =
                    entry.re.abs() <= self.max_magnitude && entry.im.abs() <= self.max_magnitude;
                if !is_within || (format == NumberFormat::MagnitudeAngle && first < 0.0) {
                    return None;
                }
                entries.push(entry);
            }
            rest = after_line_end(rest)?;
        }
        let hz = self.unit.to_hz(frequency);
        let end = self.bytes.len() - rest.len();
        (hz >= 0.0 && hz.is_finite()).then_some((hz + 0.0, end))
    }

    /// A number and the text after it and its blanks. Words such as `inf` are numbers here: what is
    /// not finite is refused with what is too large.
    #[inline(always)]
    fn entry<'t>(&self, text: &'t [u8]) -> Option<(f64, &'t [u8])> {
        let (value, length) = fast_float2::parse_partial::<f64, _>(text).ok()?;
        let rest = text.get(length..)?;
        match rest {
            [b' ', b'0'..=b'9' | b'-', ..] => Some((value, &rest[1..])),
            [b' ' | b'\t', ..] => {
                let after = self.after_blanks(rest);
                (after.len() < rest.len()).then_some((value, after))
            }
            [b'\n' | b'\r', ..] | [] => Some((value, rest)),
            _ => None,
        }
    }

    #[inline(always)]
    fn after_blanks<'t>(&self, mut text: &'t [u8]) -> &'t [u8] {
        while let [b' ' | b'\t', after @ ..] = text {
            if text[0] == b'\t' && !self.has_tabs {
                break;
            }
            text = after;
        }
        text
    }
}

/// Puts runs together.
fn append(runs: &[Run], frequencies_hz: &mut Vec<f64>, entries: &mut Vec<Complex64>) {
    for run in runs {
        frequencies_hz.extend_from_slice(&run.frequencies_hz);
        entries.extend_from_slice(&run.entries);
    }
}

/// The text after the end of a line; `None` where the line does not end here.
#[inline(always)]
fn after_line_end(text: &[u8]) -> Option<&[u8]> {
    match text {
        [b'\r', b'\n', after @ ..] | [b'\n' | b'\r', after @ ..] => Some(after),
        [] => Some(text),
        _ => None,
    }
}
