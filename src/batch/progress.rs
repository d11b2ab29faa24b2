//! Progress of a long run as values, for display by the caller.

/// The present work of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// Dies are measured.
    Measuring,
    /// Receivers are assembled from blocks of different dies.
    Assembling,
}

/// Progress of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// The present work.
    pub work: Work,
    /// Number of finished dies or receivers, including those of an earlier run that is resumed.
    pub done: u64,
    /// The total number.
    pub total: u64,
}

/// Receives the progress of a run, from several threads: once when a work begins, then after each
/// step.
pub type OnProgress<'a> = &'a (dyn Fn(Progress) + Sync);
