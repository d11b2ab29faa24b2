//! Results of groups of dies: counts, yield, quantiles, and the limit that fails first.

use super::die::{DieFigures, DieKey, DieStatus};
use super::geometry::Position;
use super::statistics::{ChannelStatistics, Yield, capability_index, channel_statistics};
use crate::quantile::{QuantileDefinition, median, quantile};
use crate::requirement::{Limit, Limits, Verdict};
use num_complex::Complex64;
use std::path::PathBuf;

/// A row of the list of dies with its verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct DieRow {
    /// Identity of the die.
    pub key: DieKey,
    /// Line number in the list.
    pub line: u64,
    /// The files as named in the list.
    pub files: Vec<Option<PathBuf>>,
    /// The fields of other columns.
    pub carried: Vec<String>,
    /// The status of the die.
    pub status: DieStatus,
    /// The worst figures, if the die was measured.
    pub figures: Option<Box<DieFigures>>,
    /// The reason for the status, as a text.
    pub message: String,
    /// What speaks against its files, though they are used; `None` where nothing does.
    pub warnings: Option<Box<str>>,
    /// Which measurement of the die this is, from 1.
    pub touchdown: usize,
    /// Whether this is the measurement that counts.
    pub stands: bool,
    /// Whether the die is in the edge exclusion.
    pub is_excluded: bool,
    /// Whether its channel error is an outlier of its wafer.
    pub is_outlier: bool,
    /// The position on the map, if there is a map.
    pub position: Option<Position>,
}

/// The reason why yield and statistics do not include a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotCounted {
    /// Another measurement of the die counts.
    Superseded,
    /// The die is in the edge exclusion.
    EdgeExclusion,
    /// A file of the die is missing.
    FileMissing,
    /// A file of the die cannot be used.
    Error,
}

impl NotCounted {
    /// The reason in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Superseded => "superseded by another measurement",
            Self::EdgeExclusion => "edge exclusion",
            Self::FileMissing => "file missing",
            Self::Error => "error",
        }
    }
}

impl DieRow {
    /// Why yield and statistics do not include it; `None` if they do.
    #[must_use]
    pub fn not_counted(&self) -> Option<NotCounted> {
        match (self.stands, self.is_excluded, self.status) {
            (false, _, _) => Some(NotCounted::Superseded),
            (true, true, _) => Some(NotCounted::EdgeExclusion),
            (true, false, DieStatus::Incomplete) => Some(NotCounted::FileMissing),
            (true, false, DieStatus::Error) => Some(NotCounted::Error),
            (true, false, DieStatus::Pass | DieStatus::Fail) => None,
        }
    }

    /// Whether yield and statistics include its figures, if it has any: the measurement counts and is
    /// outside the edge exclusion.
    #[must_use]
    pub fn counts(&self) -> bool {
        self.stands && !self.is_excluded
    }

    /// The limits that it misses, the one missed by the largest share of its size first; none for a
    /// die that was not measured.
    #[must_use]
    pub fn missed(&self, limits: &Limits) -> Vec<Limit> {
        self.figures.as_deref().map_or_else(Vec::new, |figures| missed(figures, limits))
    }

    /// Its figures, if it counts.
    #[must_use]
    pub fn counted_figures(&self) -> Option<&DieFigures> {
        self.figures.as_deref().filter(|_| self.counts())
    }
}

/// Counts of dies by status.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counts {
    /// Rows of the list of dies.
    pub rows: u64,
    /// Rows that another measurement of the die replaces.
    pub superseded: u64,
    /// Counted measurements in the edge exclusion.
    pub edge_excluded: u64,
    /// Dies outside the edge exclusion that meet every limit.
    pub pass: u64,
    /// Dies that miss a limit.
    pub fail: u64,
    /// Dies with a missing file.
    pub incomplete: u64,
    /// Dies with a file that cannot be read or is not valid.
    pub error: u64,
    /// Measured dies whose channel error is an outlier.
    pub outliers: u64,
    /// Decisions on the measured dies within the uncertainty of their files; `None` if that is not
    /// stated.
    pub decided: Option<Decided>,
}

/// Counts of decisions on dies within the uncertainty of their files.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Decided {
    /// Dies that meet every limit.
    pub pass: u64,
    /// Dies that miss a limit.
    pub fail: u64,
    /// Undecided dies.
    pub undecided: u64,
    /// The expected number of passing dies: the sum of the probabilities.
    pub expected: f64,
}

impl Counts {
    /// Counts rows.
    pub(super) fn of<'r>(rows: impl IntoIterator<Item = &'r DieRow>) -> Self {
        let mut counts = Self::default();
        for row in rows {
            counts.rows += 1;
            let counted = match (row.stands, row.is_excluded, row.status) {
                (false, _, _) => &mut counts.superseded,
                (true, true, _) => &mut counts.edge_excluded,
                (true, false, DieStatus::Pass) => &mut counts.pass,
                (true, false, DieStatus::Fail) => &mut counts.fail,
                (true, false, DieStatus::Incomplete) => &mut counts.incomplete,
                (true, false, DieStatus::Error) => &mut counts.error,
            };
            *counted += 1;
            counts.outliers += u64::from(row.counts() && row.is_outlier);
            let known = row.figures.as_ref().and_then(|figures| figures.conformity);
            if let (true, false, Some(known)) = (row.stands, row.is_excluded, known) {
                let decided = counts.decided.get_or_insert_default();
                decided.expected += known.probability;
                *match known.decision {
                    Verdict::Pass => &mut decided.pass,
                    Verdict::Fail => &mut decided.fail,
                    Verdict::Undecided => &mut decided.undecided,
                } += 1;
            }
        }
        counts
    }

    /// Number of measured dies.
    #[must_use]
    pub fn tested(&self) -> u64 {
        self.pass + self.fail
    }

    /// The yield of measured dies.
    #[must_use]
    pub fn yield_of_tested(&self) -> Yield {
        Yield::new(self.pass, self.fail)
    }
}

/// Quantiles of values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantiles {
    /// The minimum.
    pub least: f64,
    /// The 5 % quantile.
    pub p05: f64,
    /// The 25 % quantile.
    pub p25: f64,
    /// The median.
    pub median: f64,
    /// The 75 % quantile.
    pub p75: f64,
    /// The 95 % quantile.
    pub p95: f64,
    /// The maximum.
    pub largest: f64,
}

impl Quantiles {
    /// The quantiles of values in ascending order; `None` without any.
    pub(super) fn of(sorted: &[f64]) -> Option<Self> {
        let at = |probability| quantile(sorted, probability, QuantileDefinition::Seven);
        Some(Self {
            least: *sorted.first()?,
            p05: at(0.05)?,
            p25: at(0.25)?,
            median: at(0.5)?,
            p75: at(0.75)?,
            p95: at(0.95)?,
            largest: *sorted.last()?,
        })
    }
}

/// The results of one limit over many dies.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitCount {
    /// The limit.
    pub limit: Limit,
    /// Dies that miss this limit.
    pub failing: u64,
    /// Dies that miss this limit by a larger share of its value than any other limit.
    pub failing_first: u64,
    /// Dies that miss only this limit.
    pub failing_alone: u64,
}

/// The frequency at which dies are worst.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstPlace {
    /// The most frequent frequency or LO of the worst rejection, Hz; the lower one of equals.
    pub most_often_hz: f64,
    /// The share of dies whose worst rejection is there.
    pub share: f64,
    /// The median of the frequencies of worst rejection, Hz.
    pub median_hz: f64,
}

/// The results of a wafer, a lot or all dies.
#[derive(Clone, Debug, PartialEq)]
pub struct GroupResult {
    /// Counts of dies by status.
    pub counts: Counts,
    /// The worst rejection of each die in ascending order, dB.
    pub rejections_db: Vec<f64>,
    /// The quantiles of the worst rejection.
    pub rejection: Option<Quantiles>,
    /// Mean and standard deviation of the dies' mean channel errors.
    pub channel: Option<ChannelStatistics>,
    /// Ppk of the rejection from percentiles; `None` without a limit or without variation.
    pub capability: Option<f64>,
    /// The results of each limit.
    pub limits: Vec<LimitCount>,
    /// The frequency at which dies are worst.
    pub worst_place: Option<WorstPlace>,
}

impl GroupResult {
    /// The results of the rows of a group.
    pub(super) fn of(rows: &[&DieRow], limits: &Limits) -> Self {
        let figures: Vec<&DieFigures> =
            rows.iter().filter_map(|row| row.counted_figures()).collect();
        let mut rejections_db: Vec<f64> =
            figures.iter().map(|figures| figures.worst_rejection_db).collect();
        rejections_db.sort_by(f64::total_cmp);
        let errors: Vec<Complex64> = figures.iter().map(|figures| figures.mean_error).collect();
        let capability = limits
            .on_rejection_db()
            .and_then(|limit_db| capability_index(&rejections_db, limit_db));
        Self {
            counts: Counts::of(rows.iter().copied()),
            rejection: Quantiles::of(&rejections_db),
            rejections_db,
            channel: channel_statistics(&errors),
            capability,
            limits: limit_counts(&figures, limits),
            worst_place: worst_place(&figures),
        }
    }

    /// The limit that most dies miss first; `None` if none is missed.
    #[must_use]
    pub fn fails_first(&self) -> Option<&LimitCount> {
        let mut first: Option<&LimitCount> = None;
        for count in &self.limits {
            if count.failing_first > first.map_or(0, |first| first.failing_first) {
                first = Some(count);
            }
        }
        first
    }
}

/// The limits that a die misses; the one missed by the largest share of its value is first.
pub(super) fn missed(figures: &DieFigures, limits: &Limits) -> Vec<Limit> {
    let is_missed = |limit: &Limit| !limit.is_kept_by(figures.worst(limit.quantity()));
    let mut missed: Vec<Limit> = limits.iter().filter(is_missed).collect();
    let margin = |limit: &Limit| figures.relative_margin(*limit);
    missed.sort_by(|one, other| margin(one).total_cmp(&margin(other)));
    missed
}

fn limit_counts(figures: &[&DieFigures], limits: &Limits) -> Vec<LimitCount> {
    let mut counts: Vec<LimitCount> = limits
        .iter()
        .map(|limit| LimitCount { limit, failing: 0, failing_first: 0, failing_alone: 0 })
        .collect();
    for figures in figures {
        let missed = missed(figures, limits);
        for count in &mut counts {
            if missed.contains(&count.limit) {
                count.failing += 1;
                count.failing_first += u64::from(missed.first() == Some(&count.limit));
                count.failing_alone += u64::from(missed.len() == 1);
            }
        }
    }
    counts
}

fn worst_place(figures: &[&DieFigures]) -> Option<WorstPlace> {
    let mut places: Vec<f64> = figures.iter().map(|figures| figures.worst_at_hz).collect();
    places.sort_by(f64::total_cmp);
    let (mut most_often_hz, mut most) = (*places.first()?, 0);
    for run in places.chunk_by(|one, other| one.total_cmp(other).is_eq()) {
        if run.len() > most {
            (most_often_hz, most) = (run[0], run.len());
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 dies")]
    let share = most as f64 / places.len() as f64;
    Some(WorstPlace { most_often_hz, share, median_hz: median(places)? })
}
