//! The result of many files from a probe station, and of the checks.

use crate::measurement::{Drift, ThruResidual, length_um};

/// The result of all files.
#[derive(Clone, Debug)]
pub struct StationResult {
    /// The files, in the order of their names.
    pub files: Vec<StationFile>,
    /// The maximum residual of a thru, if limited.
    pub thru_limit: Option<f64>,
    /// The thrus that were checked.
    pub thrus: Vec<ThruCheck>,
    /// The maximum drift, if limited.
    pub drift_limit: Option<f64>,
    /// The drift between two measurements of the same part, if both are given.
    pub drift: Option<Drift>,
    /// The effective permittivity of the lines that are probed, if given.
    pub effective_permittivity: Option<f64>,
}

/// One file with its result.
#[derive(Clone, Debug)]
pub struct StationFile {
    /// The name of the file as given.
    pub file: String,
    /// The result.
    pub outcome: StationOutcome,
}

/// The result of one file.
#[derive(Clone, Debug)]
pub enum StationOutcome {
    /// The fixture was removed.
    Done {
        /// Figures of the removal.
        figures: RemovalFigures,
        /// Warnings about the removal.
        warnings: Vec<String>,
    },
    /// The file could not be read, or the fixture could not be removed.
    Failed {
        /// The reason.
        message: String,
    },
}

/// Figures of the removal of a fixture from a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RemovalFigures {
    /// The maximum condition number of the inverted matrices.
    pub condition: f64,
    /// Its frequency, Hz.
    pub condition_at_hz: f64,
    /// The maximum singular value of S before.
    pub singular_value_before: f64,
    /// The maximum singular value of S after.
    pub singular_value_after: f64,
}

impl StationFile {
    /// A file whose fixture was removed.
    #[must_use]
    pub fn done(file: &str, figures: RemovalFigures, warnings: Vec<String>) -> Self {
        let outcome = StationOutcome::Done { figures, warnings };
        Self { file: file.to_owned(), outcome }
    }

    /// A file that could not be processed, with the reason.
    #[must_use]
    pub fn failed(file: &str, message: &str) -> Self {
        let outcome = StationOutcome::Failed { message: message.to_owned() };
        Self { file: file.to_owned(), outcome }
    }

    /// The figures of the removal; `None` if the file failed.
    #[must_use]
    pub fn figures(&self) -> Option<RemovalFigures> {
        match self.outcome {
            StationOutcome::Done { figures, .. } => Some(figures),
            StationOutcome::Failed { .. } => None,
        }
    }

    /// Whether the file could not be processed.
    #[must_use]
    pub fn has_failed(&self) -> bool {
        matches!(self.outcome, StationOutcome::Failed { .. })
    }

    /// Warnings, or the reason for the failure; empty if there is neither.
    #[must_use]
    pub fn message(&self) -> String {
        match &self.outcome {
            StationOutcome::Done { warnings, .. } => warnings.join("; "),
            StationOutcome::Failed { message } => message.clone(),
        }
    }
}

/// The residual of a thru after all other removals.
#[derive(Clone, Debug)]
pub struct ThruCheck {
    /// Its file.
    pub file: String,
    /// Its deviation from an ideal thru.
    pub residual: ThruResidual,
}

/// The verdict on a station's files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StationVerdict {
    /// Every file was processed, and every check with a limit is within it.
    Pass,
    /// A check exceeds its limit.
    Fail,
    /// A file could not be processed.
    Incomplete,
}

impl StationResult {
    /// The verdict on all files. A failed file has priority over a check that exceeds its limit.
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

    /// Whether every check with a limit is within it.
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

    /// The length of line with the delay `delay_s`, in micrometres; `None` if the effective
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
