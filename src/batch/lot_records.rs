//! Measured rows, read from the journals of a run in the order of the list of dies.

use super::error::BatchError;
use crate::wafer::{DieRecord, Journal, JournalError, RecordDepth, row_text};
use rayon::prelude::{
    IndexedParallelIterator as _, IntoParallelRefIterator as _, ParallelIterator as _,
};
use std::path::{Path, PathBuf};

/// Rows in journals: those of one, or of shards in turn.
pub(super) struct LotRecords {
    journals: Vec<PathBuf>,
    /// Number of ideal blocks in the run.
    ideal: usize,
}

/// Lines read from the journals at once, to be parsed on all threads.
const LINES_AT_ONCE: usize = 512;

impl LotRecords {
    /// The journals of shards 1 to N of a run with `ideal` ideal blocks.
    pub(super) fn new(journals: Vec<PathBuf>, ideal: usize) -> Self {
        Self { journals, ideal }
    }

    /// Passes on every row with its index in the list of dies, from 0.
    pub(super) fn walk(
        &self,
        depth: RecordDepth,
        mut hand_on: impl FnMut(usize, &DieRecord),
    ) -> Result<(), BatchError> {
        let mut readers = Vec::new();
        for path in &self.journals {
            readers.push(Journal::rows(path)?);
        }
        let (mut row, mut lines) = (0, Vec::with_capacity(LINES_AT_ONCE));
        loop {
            lines.clear();
            while lines.len() < LINES_AT_ONCE {
                let turn = (row + lines.len()) % readers.len();
                match readers[turn].next() {
                    Some(line) => lines.push(line?),
                    None => break,
                }
            }
            let count = readers.len();
            let records: Vec<Option<DieRecord>> = lines
                .par_iter()
                .enumerate()
                .map(|(at, line)| {
                    let text = row_text(((row + at) / count) as u64, line)?;
                    DieRecord::from_line(text, depth, self.ideal)
                })
                .collect();
            for record in records {
                hand_on(row, &record.ok_or_else(|| self.damaged(row))?);
                row += 1;
            }
            if lines.len() < LINES_AT_ONCE {
                return Ok(());
            }
        }
    }

    fn damaged(&self, row: usize) -> JournalError {
        let count = self.journals.len();
        let path = self.journals[row % count].clone();
        JournalError::Damaged { path, row: (row / count + 1) as u64 }
    }
}

/// The number of complete rows of a journal.
pub(super) fn rows_in(journal: &Path) -> Result<u64, BatchError> {
    let mut count = 0;
    for row in Journal::rows(journal)? {
        row?;
        count += 1;
    }
    Ok(count)
}
