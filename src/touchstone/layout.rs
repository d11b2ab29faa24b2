//! The layout of a set: its numbers, lines and matrix.

use super::header::{Triangle, TwoPortOrder};
use num_complex::Complex64;

/// Maximum number of pairs on a line of a version 1 file.
pub(super) const PAIRS_PER_LINE: usize = 4;

/// The arrangement of the matrix entries of a set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Layout {
    pub(super) ports: usize,
    pub(super) triangle: Triangle,
    pub(super) two_port_order: TwoPortOrder,
    /// True for version 2, which does not restrict the wrapping of lines.
    pub(super) is_free: bool,
}

impl Layout {
    /// Numbers in one set; saturates where no file could hold that many.
    pub(super) fn numbers(&self) -> usize {
        let n = self.ports;
        match self.triangle {
            Triangle::Full => n.saturating_mul(n).saturating_mul(2).saturating_add(1),
            _ => n.saturating_mul(n.saturating_add(1)).saturating_add(1),
        }
    }

    /// Numbers on line `line` (from 0) of a set in the standard's layout; for version 2 one matrix
    /// row per line. `None` beyond the last line.
    pub(super) fn standard_count(&self, line: usize) -> Option<usize> {
        let frequency = usize::from(line == 0);
        let n = self.ports;
        if n <= 2 {
            return (line == 0).then(|| self.numbers());
        }
        let pairs = if self.is_free {
            match self.triangle {
                _ if line >= n => return None,
                Triangle::Full => n,
                Triangle::Lower => line + 1,
                Triangle::Upper => n - line,
            }
        } else {
            let lines_per_row = n.div_ceil(PAIRS_PER_LINE);
            if line / lines_per_row >= n {
                return None;
            }
            (n - line % lines_per_row * PAIRS_PER_LINE).min(PAIRS_PER_LINE)
        };
        Some(pairs.saturating_mul(2).saturating_add(frequency))
    }

    /// Moves the pairs of a set, in the order of the file, into a row-major matrix at `from`.
    pub(super) fn arrange(&self, entries: &mut Vec<Complex64>, from: usize) {
        let n = self.ports;
        if self.triangle == Triangle::Full {
            if n == 2 && self.two_port_order == TwoPortOrder::ByColumn {
                entries.swap(from + 1, from + 2);
            }
            return;
        }
        let pairs = entries.split_off(from);
        entries.resize(from + n * n, Complex64::ZERO);
        let matrix = &mut entries[from..];
        let mut next = pairs.into_iter();
        for row in 0..n {
            let columns = if self.triangle == Triangle::Lower { 0..row + 1 } else { row..n };
            for (column, value) in columns.zip(next.by_ref()) {
                matrix[row * n + column] = value;
                matrix[column * n + row] = value;
            }
        }
    }
}
