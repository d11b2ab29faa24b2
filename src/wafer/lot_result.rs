//! The result of a lot: every die, and the results of groups of dies.

use super::curves::Curves;
use super::die::DieKey;
use super::die_curves::DieCurves;
use super::geometry::WaferGeometry;
use super::group::{DieRow, GroupResult};
use super::retest::RetestPolicy;
use super::shared_correction::LotCorrections;
use super::statistics::{Screening, Yield};
use super::trend::{EdgeComparison, Trend};
use super::what_if::WhatIfResult;
use crate::requirement::{Limits, Verdict};

/// A part of the channel error over a wafer.
#[derive(Clone, Debug, PartialEq)]
pub struct Spatial {
    /// Tilt and radial trend of the dies that count and are not outliers; residuals in the order of
    /// [`WaferResult::fitted`].
    pub trend: Option<Trend>,
    /// Comparison of the outer ring with the rest.
    pub edge: Option<EdgeComparison>,
}

/// The results of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct LotGroup {
    /// Name of the lot.
    pub lot: String,
    /// Counts, yield and quantiles.
    pub group: GroupResult,
}

/// The results of a wafer.
#[derive(Clone, Debug, PartialEq)]
pub struct WaferResult {
    /// Name of its lot.
    pub lot: String,
    /// Name of the wafer in the lot.
    pub wafer: String,
    /// Counts, yield and quantiles.
    pub group: GroupResult,
    /// The wafer's rows, as indices of [`LotResult::rows`].
    pub rows: Vec<usize>,
    /// Median and robust standard deviation of its channel errors, if any die was measured.
    pub screening: Option<Screening>,
    /// The rows used for the trends, as indices of [`LotResult::rows`].
    pub fitted: Vec<usize>,
    /// Amplitude imbalance over the wafer, dB.
    pub amplitude_db: Spatial,
    /// Phase error over the wafer, degrees.
    pub phase_deg: Spatial,
}

/// A die that was measured several times.
#[derive(Clone, Debug, PartialEq)]
pub struct Retest {
    /// Identity of the die.
    pub key: DieKey,
    /// Its rows, as indices of [`LotResult::rows`].
    pub rows: Vec<usize>,
}

/// The whole result of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct LotResult {
    pub(crate) limits: Limits,
    pub(crate) map: Option<WaferGeometry>,
    pub(crate) off_wafer: u64,
    pub(crate) rows: Vec<DieRow>,
    pub(crate) all: GroupResult,
    pub(crate) lots: Vec<LotGroup>,
    pub(crate) wafers: Vec<WaferResult>,
    pub(crate) retests: Vec<Retest>,
    pub(crate) yield_by_policy: Vec<(RetestPolicy, Yield)>,
    pub(crate) curves: Curves,
    pub(crate) die_curves: DieCurves,
    pub(crate) what_ifs: Vec<WhatIfResult>,
    pub(crate) corrections: Option<LotCorrections>,
    pub(crate) required_yield: Option<f64>,
}

/// Access to the results.
impl LotResult {
    /// The limits for every die.
    #[must_use]
    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    /// The map with its centre, if the settings have one.
    #[must_use]
    pub fn map(&self) -> Option<&WaferGeometry> {
        self.map.as_ref()
    }

    /// How many rows are beyond the wafer's edge on that map.
    #[must_use]
    pub fn off_wafer(&self) -> u64 {
        self.off_wafer
    }

    /// Every row, in the order of the list of dies.
    #[must_use]
    pub fn rows(&self) -> &[DieRow] {
        &self.rows
    }

    /// The results of all rows together.
    #[must_use]
    pub fn all(&self) -> &GroupResult {
        &self.all
    }

    /// The results per lot, in the order of the list of dies.
    #[must_use]
    pub fn lots(&self) -> &[LotGroup] {
        &self.lots
    }

    /// The results per wafer, in the order of the list of dies.
    #[must_use]
    pub fn wafers(&self) -> &[WaferResult] {
        &self.wafers
    }

    /// Dies that were measured several times, in the order of their first measurement.
    #[must_use]
    pub fn retests(&self) -> &[Retest] {
        &self.retests
    }

    /// The yield under every retest rule.
    #[must_use]
    pub fn yield_by_policy(&self) -> &[(RetestPolicy, Yield)] {
        &self.yield_by_policy
    }

    /// Rejection over frequency.
    #[must_use]
    pub fn curves(&self) -> &Curves {
        &self.curves
    }

    /// The curves of single dies.
    #[must_use]
    pub fn die_curves(&self) -> &DieCurves {
        &self.die_curves
    }

    /// Answers to further questions.
    #[must_use]
    pub fn what_ifs(&self) -> &[WhatIfResult] {
        &self.what_ifs
    }

    /// The corrections of these answers, if requested.
    #[must_use]
    pub fn corrections(&self) -> Option<&LotCorrections> {
        self.corrections.as_ref()
    }

    /// The required yield, 0 to 1.
    #[must_use]
    pub fn required_yield(&self) -> Option<f64> {
        self.required_yield
    }
}

impl LotResult {
    /// Whether the requirement is met: the required yield if the settings have one, otherwise that
    /// every measured die passes. Without a measured die it is not met.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.decision().passes()
    }

    /// The decision on all dies together within the uncertainty of their files, where that is
    /// stated: on the yield if one is required, otherwise on every die.
    #[must_use]
    pub fn decision(&self) -> Verdict {
        let counts = &self.all.counts;
        let Some(share) = counts.yield_of_tested().share else { return Verdict::Fail };
        // Without a required yield every die must pass.
        let required = self.required_yield.unwrap_or(1.0);
        #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 dies")]
        let (least, most) = match counts.decided {
            None => (share, share),
            Some(decided) => {
                let of = |dies: u64| dies as f64 / counts.tested() as f64;
                (of(decided.pass), of(decided.pass + decided.undecided))
            }
        };
        match (least >= required, most >= required) {
            (true, _) => Verdict::Pass,
            (false, true) => Verdict::Undecided,
            (false, false) => Verdict::Fail,
        }
    }
}
