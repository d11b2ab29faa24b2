//! Measured rows, read from the journals of a run in the order of the list of dies.

use super::error::BatchError;
use super::lot_job::LotJob;
use super::shard_journals::ShardJournals;
use crate::wafer::{DieRecord, Journal, JournalError, JournalRows, RecordDepth, row_text};
use rayon::prelude::{
    IndexedParallelIterator as _, IntoParallelRefIterator as _, ParallelIterator as _,
};
use std::collections::VecDeque;
use std::path::{Path, PathBuf};

/// The measured rows of a lot in journals: that of one run, or those of all its shards.
#[derive(Clone, Debug)]
pub struct LotRecords {
    journals: Vec<PathBuf>,
    /// Number of ideal blocks in the run.
    ideal: usize,
}

/// Lines read from the journals at once, to be parsed on all threads.
const LINES_AT_ONCE: usize = 512;

/// Journals that stay open while they are read in turns. A process may often have no more than 256 files
/// open; of more journals than these each is opened again for its next rows.
const MOST_OPEN: usize = 64;

/// Rows that are read ahead from journals that are not kept open, in bytes of all together.
const READ_AHEAD: usize = 1 << 25;

impl LotRecords {
    /// The rows in the journal of a run that was not split.
    #[must_use]
    pub fn of_run(job: &LotJob, journal: &Path) -> Self {
        Self::new(job, vec![journal.to_owned()])
    }

    /// The rows of all shards of a run.
    ///
    /// # Errors
    /// [`BatchError::Unfinished`] for a shard with rows that are not measured yet, and
    /// [`BatchError::OtherShard`] for one of another job.
    pub fn of_shards(job: &LotJob, shards: &ShardJournals) -> Result<Self, BatchError> {
        shards.check(|shard| job.subject(shard), job.rows())?;
        Ok(Self::new(job, shards.paths()))
    }

    /// The journals of shards 1 to N.
    fn new(job: &LotJob, journals: Vec<PathBuf>) -> Self {
        Self { journals, ideal: job.recipe().settings().what_if().ideal.len() }
    }

    /// Passes on every row with its index in the list of dies, from 0, up to the first error.
    pub(crate) fn walk<E: From<BatchError>>(
        &self,
        depth: RecordDepth,
        mut hand_on: impl FnMut(usize, &DieRecord) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut journals = JournalTurns::open(&self.journals)?;
        let (mut row, mut lines) = (0, Vec::with_capacity(LINES_AT_ONCE));
        loop {
            lines.clear();
            while lines.len() < LINES_AT_ONCE {
                match journals.line_of(row + lines.len())? {
                    Some(line) => lines.push(line),
                    None => break,
                }
            }
            let count = self.journals.len();
            let records: Vec<Option<DieRecord>> = lines
                .par_iter()
                .enumerate()
                .map(|(at, line)| {
                    let text = row_text(((row + at) / count) as u64, line)?;
                    DieRecord::from_line(text, depth, self.ideal)
                })
                .collect();
            for record in records {
                hand_on(row, &record.ok_or_else(|| self.damaged(row))?)?;
                row += 1;
            }
            if lines.len() < LINES_AT_ONCE {
                return Ok(());
            }
        }
    }

    fn damaged(&self, row: usize) -> BatchError {
        let count = self.journals.len();
        let path = self.journals[row % count].clone();
        JournalError::Damaged { path, row: (row / count + 1) as u64 }.into()
    }
}

/// Journals that are read in turns.
struct JournalTurns {
    journals: Vec<OneJournal>,
    /// Bytes that are read ahead from one that is not kept open.
    read_ahead: usize,
}

struct OneJournal {
    rows: JournalRows,
    ahead: VecDeque<String>,
}

impl JournalTurns {
    fn open(paths: &[PathBuf]) -> Result<Self, BatchError> {
        let mut journals = Vec::with_capacity(paths.len());
        for path in paths {
            let mut rows = Journal::rows(path)?;
            if paths.len() > MOST_OPEN {
                rows.close();
            }
            journals.push(OneJournal { rows, ahead: VecDeque::new() });
        }
        let read_ahead = if paths.len() > MOST_OPEN { READ_AHEAD / paths.len() } else { 0 };
        Ok(Self { journals, read_ahead })
    }

    /// The next line of the journal that has a row of the list of dies.
    fn line_of(&mut self, row: usize) -> Result<Option<String>, BatchError> {
        let turn = row % self.journals.len();
        let OneJournal { rows, ahead } = &mut self.journals[turn];
        if ahead.is_empty() {
            let mut bytes = 0;
            while let Some(line) = rows.next().transpose()? {
                bytes += line.len();
                ahead.push_back(line);
                if bytes >= self.read_ahead {
                    break;
                }
            }
            if self.read_ahead > 0 {
                rows.close();
            }
        }
        Ok(ahead.pop_front())
    }
}
