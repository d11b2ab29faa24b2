//! How far a long run is, as values that its caller may show.

/// What a run is at.
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

/// How far a run is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// What it is at.
    pub work: Work,
    /// How many dies, receivers, frequencies or files are done, those of an earlier run that is resumed
    /// included.
    pub done: u64,
    /// How many there are in all.
    pub total: u64,
}

/// Receives the progress of a run, from several threads: once when a work begins, then whenever
/// more is done.
pub type OnProgress<'a> = &'a (dyn Fn(Progress) + Sync);
