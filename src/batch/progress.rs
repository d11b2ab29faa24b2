//! Progress of a long run as values, for display by the caller.

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
}

/// Progress of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// The present work.
    pub work: Work,
    /// How many dies, receivers, frequencies or files are done, those of an earlier run that is resumed
    /// included.
    pub done: u64,
    /// The total number.
    pub total: u64,
}

/// Receives the progress of a run, from several threads: once when a work begins, then after each
/// step.
pub type OnProgress<'a> = &'a (dyn Fn(Progress) + Sync);
