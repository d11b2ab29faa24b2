//! The journals of all shards of a run.

use super::error::BatchError;
use super::lot_job::LotJob;
use crate::wafer::{Journal, JournalError, Shard};
use std::path::{Path, PathBuf};

/// The journals of every shard of a run, each once.
#[derive(Clone, Debug)]
pub struct ShardJournals {
    /// The journals in the order of the shards, 1 to N.
    shards: Vec<ShardJournal>,
    /// The paths of the recipe when the shards were measured, in the order given.
    origins: Vec<PathBuf>,
}

#[derive(Clone, Debug)]
struct ShardJournal {
    shard: Shard,
    path: PathBuf,
    subject: String,
}

impl ShardJournals {
    /// Reads the first line of each journal; they may be in any order.
    ///
    /// # Errors
    /// [`BatchError`] for a file that is not the journal of a shard, and for shards that are
    /// missing, duplicates or of runs that were split differently.
    pub fn read(journals: &[PathBuf]) -> Result<Self, BatchError> {
        let (mut shards, mut origins) = (Vec::new(), Vec::new());
        for path in journals {
            let (subject, origin) = match Journal::subject(path) {
                Err(JournalError::NotAJournal(path)) => return Err(BatchError::NotAShard(path)),
                read => read?,
            };
            let Some(shard) = LotJob::shard_of(&subject) else {
                return Err(BatchError::NotAShard(path.clone()));
            };
            shards.push(ShardJournal { shard, path: path.clone(), subject });
            origins.push(PathBuf::from(origin));
        }
        shards.sort_by_key(|journal| journal.shard);
        let Some(first) = shards.first() else { return Err(BatchError::NoShards) };
        let count = first.shard.count();
        let found: Vec<Shard> = shards.iter().map(|journal| journal.shard).collect();
        if let Some(twice) = found.windows(2).find(|pair| pair[0] == pair[1]) {
            return Err(BatchError::ShardTwice(twice[0]));
        }
        if let Some(missing) = Shard::all_of(count).find(|shard| !found.contains(shard)) {
            return Err(BatchError::ShardMissing(missing));
        }
        if found.len() as u64 != count {
            return Err(BatchError::SplitDifferently);
        }
        Ok(Self { shards, origins })
    }

    /// The recipe of the shards, if it still exists at one of its recorded paths with the same
    /// content.
    ///
    /// # Errors
    /// [`BatchError::RecipeGone`] if it is at none of those paths.
    pub fn recipe(&self) -> Result<&Path, BatchError> {
        let found = self.origins.iter().find(|origin| origin.is_file());
        found.map(PathBuf::as_path).ok_or(BatchError::RecipeGone)
    }

    /// Checks that the journals are those of the run whose shards have these subjects, and that
    /// they have all rows of the list.
    pub(super) fn check(
        &self,
        subject_of: impl Fn(Shard) -> String,
        rows: u64,
    ) -> Result<(), BatchError> {
        for journal in &self.shards {
            if journal.subject != subject_of(journal.shard) {
                return Err(BatchError::OtherShard(journal.path.clone()));
            }
        }
        for ShardJournal { shard, path, .. } in &self.shards {
            let (done, rows) = (rows_in(path)?, shard.share_of(rows));
            if done != rows {
                return Err(BatchError::Unfinished {
                    path: path.clone(),
                    shard: *shard,
                    done,
                    rows,
                });
            }
        }
        Ok(())
    }

    /// The journals in the order of their shards.
    pub(super) fn paths(&self) -> Vec<PathBuf> {
        self.shards.iter().map(|journal| journal.path.clone()).collect()
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
