//! What came of many files from a probe station, and whether the checks hold.

use crate::measurement::{Drift, ThruResidual, length_um};

/// What came of all files.
#[derive(Clone, Debug)]
pub struct StationResult {
    /// In order of their names.
    pub files: Vec<StationFile>,
    /// The largest residual of a thru to allow.
    pub thru_limit: Option<f64>,
    /// The thrus that were checked.
    pub thrus: Vec<ThruCheck>,
    /// The largest drift to allow.
    pub drift_limit: Option<f64>,
    /// The drift between two measurements of the same part, where both are given.
    pub drift: Option<Drift>,
    /// Of the lines on which probes stand.
    pub effective_permittivity: Option<f64>,
}

/// One file and what came of it.
#[derive(Clone, Debug)]
pub struct StationFile {
    /// The file as named.
    pub file: String,
    /// What came of it.
    pub outcome: StationOutcome,
}

/// What came of one file.
#[derive(Clone, Debug)]
pub enum StationOutcome {
    /// The fixture was removed.
    Done {
        /// How well that went.
        figures: RemovalFigures,
        /// What should be known of it.
        warnings: Vec<String>,
    },
    /// The file could not be read, or the fixture could not be removed.
    Failed {
        /// The reason.
        message: String,
    },
}

/// How well a fixture was removed from a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RemovalFigures {
    /// The largest condition number of the matrices that were inverted.
    pub condition: f64,
    /// Where it is found, Hz.
    pub condition_at_hz: f64,
    /// The largest singular value of S before.
    pub singular_value_before: f64,
    /// The largest singular value of S after.
    pub singular_value_after: f64,
}

impl StationFile {
    /// A file whose fixture was removed.
    #[must_use]
    pub fn done(file: &str, figures: RemovalFigures, warnings: Vec<String>) -> Self {
        let outcome = StationOutcome::Done { figures, warnings };
        Self { file: file.to_owned(), outcome }
    }

    /// A file that could not be worked on, and the reason.
    #[must_use]
    pub fn failed(file: &str, message: &str) -> Self {
        let outcome = StationOutcome::Failed { message: message.to_owned() };
        Self { file: file.to_owned(), outcome }
    }

    /// How well the fixture was removed; `None` if it was not.
    #[must_use]
    pub fn figures(&self) -> Option<RemovalFigures> {
        match self.outcome {
            StationOutcome::Done { figures, .. } => Some(figures),
            StationOutcome::Failed { .. } => None,
        }
    }

    /// Whether it could not be worked on.
    #[must_use]
    pub fn has_failed(&self) -> bool {
        matches!(self.outcome, StationOutcome::Failed { .. })
    }

    /// Warnings, or the reason why it failed; empty if all is well.
    #[must_use]
    pub fn message(&self) -> String {
        match &self.outcome {
            StationOutcome::Done { warnings, .. } => warnings.join("; "),
            StationOutcome::Failed { message } => message.clone(),
        }
    }
}

/// A thru from which all but itself was removed.
#[derive(Clone, Debug)]
pub struct ThruCheck {
    /// Its file.
    pub file: String,
    /// How far it is from an ideal thru.
    pub residual: ThruResidual,
}

/// Whether a station's files are in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StationVerdict {
    /// Every file could be worked on, and every check that has a limit holds.
    Pass,
    /// A check exceeds its limit.
    Fail,
    /// A file could not be worked on.
    Incomplete,
}

impl StationResult {
    /// The verdict on all files. A file that failed counts before a check that does not hold.
    #[must_use]
    pub fn verdict(&self) -> StationVerdict {
        if self.files.iter().any(StationFile::has_failed) {
            StationVerdict::Incomplete
        } else if self.checks_hold() {
            StationVerdict::Pass
        } else {
            StationVerdict::Fail
        }
    }

    /// Whether every check that has a limit holds.
    #[must_use]
    pub fn checks_hold(&self) -> bool {
        let thrus_hold = self.thrus.iter().all(|thru| self.thru_holds(thru) != Some(false));
        thrus_hold && self.drift_holds() != Some(false)
    }

    /// Whether a thru's residual is within the limit; `None` without a limit.
    #[must_use]
    pub fn thru_holds(&self, thru: &ThruCheck) -> Option<bool> {
        self.thru_limit.map(|limit| thru.residual.worst() <= limit)
    }

    /// Whether the drift is within the limit; `None` without a drift or without a limit.
    #[must_use]
    pub fn drift_holds(&self) -> Option<bool> {
        Some(self.drift.as_ref()?.vector.worst <= self.drift_limit?)
    }

    /// The length of line that delays by so many seconds, in micrometres; `None` where the effective
    /// permittivity is not given.
    #[must_use]
    pub fn length_um(&self, delay_s: f64) -> Option<f64> {
        self.effective_permittivity.map(|permittivity| length_um(delay_s, permittivity))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::ValueAt;

    fn thru(reflection: f64) -> ThruCheck {
        let value = |value: f64| ValueAt { value, at_hz: 29e9 };
        let residual = ThruResidual {
            reflection: value(reflection),
            transmission: value(0.0),
            delay_s: 0.0,
            phase_deg: value(0.0),
        };
        ThruCheck { file: "thru.s2p".to_owned(), residual }
    }

    #[test]
    fn a_limit_decides_and_a_failed_file_comes_first() {
        let mut result = StationResult {
            files: Vec::new(),
            thru_limit: None,
            thrus: vec![thru(0.01), thru(0.03)],
            drift_limit: Some(0.01),
            drift: None,
            effective_permittivity: None,
        };
        assert_eq!(result.verdict(), StationVerdict::Pass);
        result.thru_limit = Some(0.02);
        assert_eq!(result.thru_holds(&result.thrus[0]), Some(true));
        assert_eq!(result.verdict(), StationVerdict::Fail);
        result.files.push(StationFile::failed("a.s2p", "cannot be read"));
        assert_eq!(result.verdict(), StationVerdict::Incomplete);
    }
}
