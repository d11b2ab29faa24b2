//! How a command ended.

/// How a command ended when it could do its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Outcome {
    /// Every requirement holds, or there was none.
    Holds,
    /// A requirement does not hold, or cannot be decided.
    Fails,
    /// Part of the work could not be done; the rest was.
    Incomplete,
}

impl Outcome {
    /// That of a command which judges.
    pub(super) fn of_verdict(passes: bool) -> Self {
        if passes { Self::Holds } else { Self::Fails }
    }

    /// The exit status.
    pub(super) fn status(self) -> u8 {
        match self {
            Self::Holds => 0,
            Self::Fails => 1,
            Self::Incomplete => 2,
        }
    }
}
