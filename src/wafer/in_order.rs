//! Parallel measurement of many dies, with results in the order of the list.
//!
//! Rows are read in batches, so that memory does not grow with the list. The rows of a batch are
//! measured on all threads of the pool, and results are returned in order, independent of the
//! number of threads.

use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};

/// Rows of a batch per thread: many enough that threads rarely wait for the last one, few enough
/// that an interruption costs little.
const BATCH_PER_THREAD: usize = 32;

/// Measures the rows of a list and passes the results of each batch to `hand_on`, in order. The
/// first `done` rows are skipped. Returns the number of rows of the list.
///
/// `measure` must give the same result for the same row; it runs on many threads. A row that cannot
/// be measured is a result, not an error: only errors of the list or of `hand_on` end the run.
///
/// # Errors
/// The first error of the list or of `hand_on`; results passed on before remain valid.
pub(crate) fn run_in_order<Row, Value, Error>(
    rows: impl Iterator<Item = Result<Row, Error>>,
    done: u64,
    measure: impl Fn(&Row) -> Value + Sync,
    mut hand_on: impl FnMut(Vec<(Row, Value)>) -> Result<(), Error>,
) -> Result<u64, Error>
where
    Row: Send + Sync,
    Value: Send,
{
    let mut count = 0;
    let largest = BATCH_PER_THREAD * rayon::current_num_threads();
    let mut batch: Vec<Row> = Vec::with_capacity(largest);
    let mut flush = |batch: &mut Vec<Row>| {
        let values: Vec<Value> = batch.par_iter().map(&measure).collect();
        hand_on(batch.drain(..).zip(values).collect())
    };
    for row in rows {
        let row = row?;
        count += 1;
        if count > done {
            batch.push(row);
        }
        if batch.len() == largest {
            flush(&mut batch)?;
        }
    }
    if !batch.is_empty() {
        flush(&mut batch)?;
    }
    Ok(count)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn results(threads: usize, rows: u64, done: u64) -> Vec<(u64, u64)> {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            let mut all = Vec::new();
            let list = (0..rows).map(Ok::<_, ()>);
            let measure = |row: &u64| (0..row % 97).fold(*row, |sum, at| sum.wrapping_mul(31) + at);
            let counted = run_in_order(list, done, measure, |batch| {
                assert!(batch.len() <= BATCH_PER_THREAD * threads);
                all.extend(batch);
                Ok(())
            });
            assert_eq!(counted, Ok(rows));
            all
        })
    }

    #[test]
    fn results_come_in_order_whatever_the_threads() {
        let one = results(1, 1000, 0);
        assert!(one.iter().map(|(row, _)| *row).eq(0..1000));
        assert_eq!(one, results(4, 1000, 0));
        assert_eq!(one[700..], results(3, 1000, 700));
        assert!(results(2, 0, 0).is_empty() && results(2, 10, 10).is_empty());
    }

    #[test]
    fn an_error_of_the_list_ends_the_run_after_what_came_before() {
        let list = (0..600_u64).map(|row| if row == 530 { Err("bad row") } else { Ok(row) });
        let pool = rayon::ThreadPoolBuilder::new().num_threads(2).build().unwrap();
        let mut handed = 0;
        let ended = pool.install(|| {
            let hand_on = |batch: Vec<(u64, u64)>| {
                handed += batch.len();
                Ok(())
            };
            run_in_order(list, 0, |row| *row, hand_on)
        });
        assert_eq!((ended, handed), (Err("bad row"), 530 / 64 * 64));
    }
}
