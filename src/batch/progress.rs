//! Progress of a long run as values, for display by the caller.

use crate::measurement::{UncertaintyProgress, UncertaintyStage};

/// The present work of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// Dies are measured.
    Measuring,
    /// Receivers are assembled from blocks of different dies.
    Assembling,
    /// The matrix of a network is rebuilt at one frequency after the other.
    Rebuilding,
    /// Files are read, or written.
    Files,
    /// Trials of an uncertainty are made.
    Trials,
    /// The intervals of points are computed.
    Points,
}

/// Progress of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// The present work.
    pub work: Work,
    /// How many dies, receivers, frequencies, files, trials or points are done, those of an earlier run
    /// that is resumed included.
    pub done: u64,
    /// The total number, as far as it is known.
    pub total: u64,
}

/// Receives the progress of a run, from several threads: once when a work begins, then after each
/// step.
pub type OnProgress<'a> = &'a (dyn Fn(Progress) + Sync);

impl From<UncertaintyProgress> for Progress {
    fn from(UncertaintyProgress { stage, done, total }: UncertaintyProgress) -> Self {
        let work = match stage {
            UncertaintyStage::Trials => Work::Trials,
            UncertaintyStage::Points => Work::Points,
        };
        Self { work, done, total }
    }
}
