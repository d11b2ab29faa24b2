//! Results common to every uncertainty analysis: trials and decided requirements.

use super::channel_error::ChannelErrorDistribution;
use super::conformity::DecidedRequirement;
use super::monte_carlo::{TrialSettings, Trials};
use crate::requirement::Verdict;
use std::ops::Range;

/// Neighbouring frequencies with the same verdict.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DecidedBand {
    /// The verdict on all requirements in the band.
    pub verdict: Verdict,
    /// The first and the last of the frequencies, Hz.
    pub band_hz: (f64, f64),
    /// Whether the frequencies between the band before and this one are not in the plan.
    pub is_after_gap: bool,
}

/// Runs of one verdict over ascending frequencies, none of which reaches over a gap.
fn decided_bands(points: &PointVerdicts<'_>) -> Vec<DecidedBand> {
    let mut bands: Vec<DecidedBand> = Vec::new();
    let is_first = |at: usize| points.runs.iter().any(|run| run.start == at);
    for (at, (&hz, &verdict)) in points.frequencies_hz.iter().zip(&points.verdicts).enumerate() {
        match bands.last_mut() {
            Some(band) if band.verdict == verdict && !is_first(at) => band.band_hz.1 = hz,
            _ => {
                let is_after_gap = at > 0 && is_first(at);
                bands.push(DecidedBand { verdict, band_hz: (hz, hz), is_after_gap });
            }
        }
    }
    bands
}

/// Trials and decisions of an uncertainty analysis, of a splitter or a receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// The coverage probability of intervals.
    pub coverage: f64,
    /// The seed of the trials.
    pub seed: u64,
    /// The number of trials.
    pub trials: usize,
    /// The stability of median and lower end of the worst rejection, dB; `None` where the number of
    /// trials was given.
    pub stability_db: Option<f64>,
    /// The rejection above which a perfect part reads with the probability `coverage`, at the point
    /// of worst rejection, dB.
    pub highest_distinguishable_db: f64,
    /// The guard band of the rejection, dB: the amount by which the worst reading must exceed the
    /// required rejection for a pass. It is the given one, or is found from the decision rule with
    /// all errors scaled by one factor. `None` without a requirement on the rejection, and where no
    /// reading is sufficient.
    pub guard_band_db: Option<f64>,
    /// The requirements, in the order of the result.
    pub requirements: Vec<DecidedRequirement>,
    /// The probability that all requirements are met.
    pub probability: f64,
    /// The decision on all requirements together.
    pub decision: Verdict,
    /// The decision at each frequency of a splitter or LO of a receiver.
    pub bands: Vec<DecidedBand>,
    /// The decision on the rejection at each point; empty without a limit.
    pub rejection_verdicts: Vec<Verdict>,
}

/// Decisions per point and per frequency.
pub(super) struct PointVerdicts<'a> {
    /// Ascending frequencies, Hz.
    pub(super) frequencies_hz: &'a [f64],
    /// Neighbours among them, between which there is no gap.
    pub(super) runs: &'a [Range<usize>],
    /// One for each frequency.
    pub(super) verdicts: Vec<Verdict>,
    /// One verdict on the rejection for each point.
    pub(super) rejection: Vec<Verdict>,
}

impl Assessment {
    /// The bands with the given verdict, Hz.
    #[must_use]
    pub fn bands_hz(&self, verdict: Verdict) -> Vec<(f64, f64)> {
        let bands = self.bands.iter().filter(|band| band.verdict == verdict);
        bands.map(|band| band.band_hz).collect()
    }
}

impl Assessment {
    /// `worst` is the channel error where the rejection is worst; `requirements` are decided, and
    /// `required_db` is the rejection among them with its decision.
    pub(super) fn new(
        trials: &Trials,
        settings: &TrialSettings,
        worst: &ChannelErrorDistribution,
        requirements: Vec<DecidedRequirement>,
        required_db: Option<(f64, DecidedRequirement)>,
        points: PointVerdicts<'_>,
    ) -> Self {
        let guard_band_db = required_db
            .and_then(|(limit_db, decided)| decided.accepted_from.map(|from| from - limit_db));
        Self {
            coverage: settings.coverage(),
            seed: settings.seed(),
            trials: trials.count,
            stability_db: trials.stability,
            highest_distinguishable_db: worst.highest_distinguishable_db(settings.coverage()),
            guard_band_db,
            probability: trials.share_of_all,
            decision: Verdict::of_all(requirements.iter().map(|decided| decided.decision)),
            requirements,
            bands: decided_bands(&points),
            rejection_verdicts: points.rejection,
        }
    }
}
