//! How far the evaluation of an uncertainty is, as values, for display by the caller.

use std::sync::atomic::{AtomicU64, Ordering};

/// The present work of an evaluation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UncertaintyStage {
    /// Trials are made.
    Trials,
    /// The intervals of the points are computed.
    Points,
}

/// How far an evaluation is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UncertaintyProgress {
    /// The present work.
    pub stage: UncertaintyStage,
    /// How many trials or points are done.
    pub done: u64,
    /// The total number; of trials that continue until they are stable the number known so far.
    pub total: u64,
}

/// Receives the progress of an evaluation, from several threads: once when a work begins, then about a
/// hundred times.
pub type OnUncertainty<'a> = &'a (dyn Fn(UncertaintyProgress) + Sync);

/// Counts what several threads do.
pub(super) struct Counted<'a> {
    on_progress: OnUncertainty<'a>,
    stage: UncertaintyStage,
    done: AtomicU64,
}

impl<'a> Counted<'a> {
    pub(super) fn new(on_progress: OnUncertainty<'a>, stage: UncertaintyStage) -> Self {
        Self { on_progress, stage, done: AtomicU64::new(0) }
    }

    /// Reports a number that is known to be done.
    pub(super) fn begin(&self, done: u64, total: u64) {
        self.done.store(done, Ordering::Relaxed);
        (self.on_progress)(UncertaintyProgress { stage: self.stage, done, total });
    }

    /// Counts one more.
    pub(super) fn one(&self, total: u64) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of((total / 128).max(1)) {
            (self.on_progress)(UncertaintyProgress { stage: self.stage, done, total });
        }
    }
}
