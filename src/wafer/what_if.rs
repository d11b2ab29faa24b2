//! Answers to further questions about a lot: I/Q corrections, ideal blocks, other combinations of
//! blocks.

use super::group::Quantiles;
use super::statistics::Yield;
use crate::requirement::Limits;

/// A further question about a lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhatIf {
    /// The dies as measured, for comparison.
    AsMeasured,
    /// One I/Q correction for each wafer.
    CorrectionPerWafer,
    /// One I/Q correction for each wafer and frequency or LO.
    CorrectionPerWaferAndFrequency,
    /// One I/Q correction for each die.
    CorrectionPerDie,
    /// One I/Q correction for each die and LO. At one frequency a splitter's correction is perfect
    /// by definition.
    CorrectionPerDieAndFrequency,
    /// A block or pair of a receiver is ideal on every die.
    Ideal {
        /// Name of the block or pair.
        block: String,
    },
    /// Receivers assembled from blocks of different dies.
    Assembled {
        /// Number of receivers.
        count: u32,
    },
}

impl WhatIf {
    /// The identifier of the question, for scripts.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::AsMeasured => "as_measured".to_owned(),
            Self::CorrectionPerWafer => "trim_per_wafer".to_owned(),
            Self::CorrectionPerWaferAndFrequency => "trim_per_wafer_and_frequency".to_owned(),
            Self::CorrectionPerDie => "trim_per_die".to_owned(),
            Self::CorrectionPerDieAndFrequency => "trim_per_die_and_frequency".to_owned(),
            Self::Ideal { block } => format!("ideal_{block}"),
            Self::Assembled { .. } => "assembled".to_owned(),
        }
    }
}

/// The answer to a further question.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIfResult {
    /// The question.
    pub what_if: WhatIf,
    /// The yield by the rejection alone; `None` without a limit on it.
    pub passing: Option<Yield>,
    /// The yield by all limits; `None` without a limit, and for ideal blocks and assembled receivers, of
    /// which only the rejection is known.
    pub passing_all: Option<Yield>,
    /// Quantiles of the worst rejection of each die, dB.
    pub rejection: Option<Quantiles>,
}

impl WhatIfResult {
    /// The answer from the worst rejection of each die, in any order, and from how many of them meet all
    /// limits, if that is known.
    pub(super) fn of(
        what_if: WhatIf,
        mut rejections_db: Vec<f64>,
        meeting_all: Option<usize>,
        limits: &Limits,
    ) -> Self {
        rejections_db.sort_by(f64::total_cmp);
        let of = |passed: usize| Yield::new(passed as u64, (rejections_db.len() - passed) as u64);
        let passing = limits
            .rejection()
            .map(|limit| of(rejections_db.iter().filter(|db| limit.is_kept_by(**db)).count()));
        let passing_all = meeting_all.filter(|_| !limits.is_empty()).map(of);
        Self { what_if, passing, passing_all, rejection: Quantiles::of(&rejections_db) }
    }
}
