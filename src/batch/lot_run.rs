//! The analysis of a lot, row by row into a journal, and its result from the journal.

use super::error::BatchError;
use super::lot_job::LotJob;
use super::lot_records::LotRecords;
use super::progress::{OnProgress, Progress, Work};
use super::shard_journals::rows_in;
use crate::wafer::{
    DieEntry, DieRecord, Journal, LotCollector, LotResult, RecordDepth, Shard, run_in_order,
};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore as _, SeedableRng as _};
use rayon::prelude::{IntoParallelIterator as _, ParallelIterator as _};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// The treatment of an existing journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    /// An error: an unfinished run is not started again.
    New,
    /// The run is resumed.
    Resume,
    /// The run starts again in place of a journal that cannot be resumed with these inputs.
    Replace,
}

/// The number of measured rows of the list of dies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShardRows {
    /// Rows in the shard's journal: all of the shard.
    pub done: u64,
    /// Rows of the whole list.
    pub listed: u64,
}

/// A shard, or a whole run, whose rows are all measured, with its journal. No other run uses the journal
/// until this value is dropped.
#[derive(Debug)]
pub struct MeasuredShard {
    journal: Journal,
    /// The number of rows.
    pub rows: ShardRows,
}

impl MeasuredShard {
    /// Removes the journal, once the result is stored.
    ///
    /// # Errors
    /// [`BatchError::Journal`] if the operating system refuses.
    pub fn remove_journal(self) -> Result<(), BatchError> {
        Ok(self.journal.remove()?)
    }
}

/// Measures every die of a lot and computes the result: [`measure_shard`] of all rows, and
/// [`lot_result`].
///
/// Results are written to `journal`, in order, so that an interrupted run can be resumed. The
/// journal is kept, and may be removed once the result is stored. Its folder is created if
/// necessary. Dies are measured on all threads of the current rayon pool; the result does not
/// depend on their number. A die with missing or invalid files is a part of the result, not an
/// error.
///
/// # Errors
/// [`BatchError`] if the list of dies has changed since the job was read, or the journal cannot be used.
///
/// # Examples
/// ```
/// use fourphase::batch::{LotJob, Start, run_lot};
/// use fourphase::touchstone::ReadOptions;
///
/// // The couplers of the demo wafer: 65 dies and a second measurement of one.
/// let recipe = std::path::Path::new("data-demo/wafer/recipe.toml");
/// let job = LotJob::read(recipe, &ReadOptions::default())?;
/// let folder = tempfile::tempdir()?;
/// let journal = folder.path().join("wafer.journal");
/// let lot = run_lot(&job, &journal, Start::New, &|_| {})?;
///
/// let counts = &lot.all().counts;
/// assert_eq!((counts.rows, counts.tested(), counts.incomplete, counts.error), (66, 59, 1, 1));
/// assert!(counts.yield_of_tested().interval.0 > 0.5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn run_lot(
    job: &LotJob,
    journal: &Path,
    start: Start,
    on_progress: OnProgress<'_>,
) -> Result<LotResult, BatchError> {
    let _measured = measure_shard(job, Shard::WHOLE, journal, start, on_progress)?;
    lot_result(job, &LotRecords::of_run(job, journal), on_progress)
}

/// Measures a shard of a lot: every N-th row of its list, into its own journal. [`lot_result`]
/// computes the result from all journals.
///
/// # Errors
/// As [`run_lot`].
pub fn measure_shard(
    job: &LotJob,
    shard: Shard,
    journal: &Path,
    start: Start,
    on_progress: OnProgress<'_>,
) -> Result<MeasuredShard, BatchError> {
    let listed = job.rows();
    let mut journal = open_journal(job, shard, journal, start)?;
    let total = shard.share_of(listed);
    let report = |done| on_progress(Progress { work: Work::Measuring, done, total });
    report(journal.done());
    let list = job.open_list()?;
    let mut number = 0;
    let owned = job.dies()?.filter(|_| {
        number += 1;
        shard.owns(number - 1)
    });
    let measure = |entry: &DieEntry| {
        let outcome = job.measurement().die(entry);
        let record = DieRecord { entry: entry.clone(), outcome };
        record.to_line().map_err(BatchError::from)
    };
    let done = journal.done();
    let walked =
        run_in_order(owned.map(|row| row.map_err(BatchError::from)), done, measure, |batch| {
            let lines = batch.into_iter().map(|(_, line)| line).collect::<Result<Vec<_>, _>>()?;
            journal.add(&lines)?;
            report(journal.done());
            Ok::<(), BatchError>(())
        });
    job.check_list(list).or_else(|error| {
        if matches!(error, BatchError::ListChanged(_)) {
            journal.discard_added()?;
        }
        Err(error)
    })?;
    walked?;
    journal.flush()?;
    let rows = ShardRows { done: journal.done(), listed };
    Ok(MeasuredShard { journal, rows })
}

/// Whether a journal exists and holds every row of a job.
#[must_use]
pub fn is_measured(job: &LotJob, journal: &Path) -> bool {
    // An unreadable journal is reported by the run that uses it.
    journal.exists() && rows_in(journal).is_ok_and(|done| done == job.rows())
}

/// Opens a journal in a folder that may have to be created; after an error no new folder is left.
fn open_journal(
    job: &LotJob,
    shard: Shard,
    path: &Path,
    start: Start,
) -> Result<Journal, BatchError> {
    let folder = path.parent().unwrap_or(Path::new(""));
    // The folder and its parents that do not exist yet, innermost first.
    let made: Vec<&Path> = folder
        .ancestors()
        .take_while(|folder| *folder != Path::new("") && !folder.exists())
        .collect();
    if !made.is_empty() {
        std::fs::create_dir_all(folder)
            .map_err(|source| BatchError::Folder { path: folder.to_owned(), source })?;
    }
    let (subject, origin) = (job.subject(shard), job.origin()?);
    let opened = match start {
        Start::New => Journal::begin(path, &subject, &origin),
        Start::Resume => Journal::resume(path, &subject, &origin),
        Start::Replace => Journal::replace(path, &subject, &origin),
    };
    Ok(opened.inspect_err(|_| {
        for folder in &made {
            // A folder that has other content by now is not removed.
            let _ = std::fs::remove_dir(folder);
        }
    })?)
}

/// The result of a lot from its measured rows, of one run or of all its shards.
///
/// # Errors
/// [`BatchError`] if a journal cannot be read or was changed.
pub fn lot_result(
    job: &LotJob,
    records: &LotRecords,
    on_progress: OnProgress<'_>,
) -> Result<LotResult, BatchError> {
    let settings = job.recipe().settings();
    let rows = usize::try_from(job.rows()).unwrap_or(usize::MAX);
    let mut collector = LotCollector::new(settings, job.measurement().limits().clone(), rows);
    records.walk(RecordDepth::Figures, |_, record| {
        collector.add(record);
        Ok::<_, BatchError>(())
    })?;
    let mut points = collector.finish();
    records.walk(RecordDepth::Points, |row, record| {
        points.add(row, record);
        Ok::<_, BatchError>(())
    })?;
    if points.wants_third_walk() {
        let model = job.measurement().correction();
        records.walk(RecordDepth::Points, |row, record| {
            points.add_corrected(row, record, &model);
            Ok::<_, BatchError>(())
        })?;
    }
    let assembled_db = assembled_db(job, points.so_far(), on_progress)?;
    Ok(points.finish(assembled_db))
}

/// The minimum rejection of each receiver made of blocks from different dies, dB, each block drawn
/// from all dies that count; `None` if none are requested or no die counts.
fn assembled_db(
    job: &LotJob,
    so_far: &LotResult,
    on_progress: OnProgress<'_>,
) -> Result<Option<Vec<f64>>, BatchError> {
    let what_if = job.recipe().settings().what_if();
    let count = what_if.assemble;
    let files: Vec<&[Option<PathBuf>]> = so_far
        .rows
        .iter()
        .filter(|row| row.counted_figures().is_some())
        .map(|row| row.files.as_slice())
        .collect();
    if count == 0 || files.is_empty() {
        return Ok(None);
    }
    let total = u64::from(count);
    on_progress(Progress { work: Work::Assembling, done: 0, total });
    let done = AtomicU64::new(0);
    let draw = |number: u32| {
        // Each receiver has its own random stream, for the same result with any number of threads.
        let mut random = ChaCha8Rng::seed_from_u64(what_if.seed);
        random.set_stream(u64::from(number));
        let drawn: Vec<&Path> = (0..job.heading().file_columns.len())
            .filter_map(|column| files[below(&mut random, files.len())][column].as_deref())
            .collect();
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        on_progress(Progress { work: Work::Assembling, done, total });
        job.measurement().assembled_db(&drawn)
    };
    let drawn: Vec<Result<f64, String>> = (0..count).into_par_iter().map(draw).collect();
    let rejections_db = drawn.into_iter().collect::<Result<Vec<f64>, _>>();
    Ok(Some(rejections_db.map_err(|message| BatchError::Assembled { message })?))
}

/// A uniformly distributed number from 0 to below `count`, except for one part in 2^64 / count.
fn below(random: &mut ChaCha8Rng, count: usize) -> usize {
    let product = u128::from(random.next_u64()) * count as u128;
    #[expect(clippy::cast_possible_truncation, reason = "it is below count")]
    let drawn = (product >> 64) as usize;
    drawn
}
