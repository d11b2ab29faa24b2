//! Warnings about the result of a lot.

use super::lot_job::LotJob;
use crate::units::counted;
use crate::wafer::{CentreDie, DieStatus, LotResult};

/// A warning about the result of a lot.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LotWarning {
    /// Dies off the wafer on the recipe's map.
    #[error(
        "{} beyond the wafer's edge, which the map leaves out; check centre_die, die_pitch_mm and \
         wafer_diameter_mm", counted(*rows, "row")
    )]
    BeyondRim {
        /// The number of these rows.
        rows: u64,
    },
    /// All dies lie near the wafer's centre on the recipe's map.
    #[error(
        "all {rows} dies are within {reach_mm:.1} mm of the wafer's centre, of {radius_mm:.0} mm: check \
         die_pitch_mm and wafer_diameter_mm"
    )]
    NearCentre {
        /// The number of rows on the map.
        rows: usize,
        /// Maximum distance of a die's centre from the wafer's.
        reach_mm: f64,
        /// The wafer's radius.
        radius_mm: f64,
    },
    /// The recipe does not give the die at the wafer's centre.
    #[error(
        "the die at the wafer's centre, ({}, {}), is inferred from the list of dies; set \
         centre_die in [map] if it is wrong", centre_die.0, centre_die.1
    )]
    CentreInferred {
        /// The inferred die numbers at the centre.
        centre_die: (f64, f64),
    },
    /// Assembled receivers where only one block changes from die to die.
    #[error(
        "assembling draws blocks from various dies; with one column of files it only draws the same \
         dies again, and its interval means nothing"
    )]
    OneBlockAssembled,
    /// More dies could not be measured than were.
    #[error(
        "{} could not be measured: the yield is that of the other {tested} alone", counted(*missing, "die")
    )]
    FewMeasured {
        /// Dies that could not be measured.
        missing: u64,
        /// Dies that were measured.
        tested: u64,
    },
    /// No die could be judged.
    #[error(
        "no die could be judged: there is no yield and nothing to draw{}; the list of dies in the report \
         gives the reason for each row", .first.as_ref().map(|(line, reason)| format!("; the first reason, line {line} of the list: {reason}")).unwrap_or_default()
    )]
    NoneJudged {
        /// The line and the reason of the first row that could not be measured, if there is one.
        first: Option<(u64, String)>,
    },
    /// More than half of the rows are in the edge exclusion.
    #[error(
        "{excluded} of {rows} rows are in the edge exclusion and are not counted: check edge_exclusion_mm"
    )]
    MostlyExcluded {
        /// The number of these rows.
        excluded: u64,
        /// All rows.
        rows: u64,
    },
    /// Dies have other frequencies than the first, so that no quantile over dies can be taken.
    #[error(
        "{} with other frequencies than the first, left out of the curves",
        counted(*dies, "die")
    )]
    OtherFrequencies {
        /// The number of these dies.
        dies: u64,
    },
}

impl LotJob {
    /// Warnings about a result of this job, besides [`LotJob::warnings`].
    #[must_use]
    pub fn warnings_of(&self, result: &LotResult) -> Vec<LotWarning> {
        let mut warnings = Vec::new();
        if result.off_wafer > 0 {
            warnings.push(LotWarning::BeyondRim { rows: result.off_wafer });
        }
        warnings.extend(near_centre(result));
        let settings = self.recipe().settings();
        let infers = settings.map().is_some_and(|map| map.centre == CentreDie::Inferred);
        if let Some(map) = result.map.as_ref().filter(|_| infers) {
            warnings.push(LotWarning::CentreInferred { centre_die: map.centre_die() });
        }
        if settings.what_if().assemble > 0 && self.heading().file_columns.len() < 2 {
            warnings.push(LotWarning::OneBlockAssembled);
        }
        let counts = &result.all.counts;
        if 2 * counts.edge_excluded > counts.rows {
            let (excluded, rows) = (counts.edge_excluded, counts.rows);
            warnings.push(LotWarning::MostlyExcluded { excluded, rows });
        }
        let (missing, tested) = (counts.incomplete + counts.error, counts.tested());
        if tested == 0 {
            let first = result.rows.iter().find_map(|row| {
                let is_missing = matches!(row.status, DieStatus::Incomplete | DieStatus::Error);
                is_missing.then(|| (row.line, row.message.clone()))
            });
            warnings.push(LotWarning::NoneJudged { first });
        } else if missing > tested {
            warnings.push(LotWarning::FewMeasured { missing, tested });
        }
        if result.curves.left_out > 0 {
            warnings.push(LotWarning::OtherFrequencies { dies: result.curves.left_out });
        }
        warnings
    }
}

/// Many dies in a small part of the wafer: their pitch is likely in another unit.
fn near_centre(result: &LotResult) -> Option<LotWarning> {
    /// Fewer dies may be samples from one place.
    const MANY: usize = 20;
    /// The share of the radius below which so many dies are unusual (ours).
    const NEAR: f64 = 0.5;
    let radius_mm = result.map.as_ref()?.radius_mm();
    let at_mm = || result.rows.iter().filter_map(|row| Some(row.position?.radius_mm()));
    let (rows, reach_mm) = (at_mm().count(), at_mm().fold(0.0, f64::max));
    (rows >= MANY && reach_mm < NEAR * radius_mm).then_some(LotWarning::NearCentre {
        rows,
        reach_mm,
        radius_mm,
    })
}
