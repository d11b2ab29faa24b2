//! Figures of a result over its whole plan.

use super::analysis::DownconverterResult;
use super::iq_balance::PlanPoint;
use super::path_noise::single_sideband_rise_db;

/// The increase of the wanted sideband's noise by noise from the image sideband, dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ImageNoiseRise {
    /// At the worst image rejection.
    pub worst_db: f64,
    /// At the median image rejection.
    pub median_db: f64,
    /// Without any rejection: 3.01 dB.
    pub without_rejection_db: f64,
}

impl DownconverterResult {
    /// The minimum and the maximum LO power of any mixer over the plan, dBm; `None` if no mixer's
    /// power is known.
    pub fn lo_power_range_dbm(&self) -> Option<(f64, f64)> {
        let powers =
            self.lo.iter().flat_map(|point| &point.mixers).filter_map(|m| m.lo_power_dbm?.value());
        powers.fold(None, |range: Option<(f64, f64)>, dbm| {
            Some(range.map_or((dbm, dbm), |(low, high)| (low.min(dbm), high.max(dbm))))
        })
    }

    /// The noise that the image sideband adds.
    pub fn image_noise_rise(&self) -> ImageNoiseRise {
        ImageNoiseRise {
            worst_db: single_sideband_rise_db(self.summary.worst.balance.image_rejection_db),
            median_db: single_sideband_rise_db(self.summary.median_image_rejection_db),
            without_rejection_db: single_sideband_rise_db(0.0),
        }
    }

    /// For each LO the index, among `points`, of the IF with the worst image rejection.
    pub fn worst_if_of_each_lo(&self) -> Vec<usize> {
        let rejection_db = |at: usize| self.points[at].balance.image_rejection_db;
        let has_same_lo =
            |one: &PlanPoint, other: &PlanPoint| one.lo_hz.total_cmp(&other.lo_hz).is_eq();
        let mut start = 0;
        let mut worst = Vec::new();
        for run in self.points.chunk_by(has_same_lo) {
            let places = start..start + run.len();
            start = places.end;
            worst.extend(places.min_by(|&a, &b| rejection_db(a).total_cmp(&rejection_db(b))));
        }
        worst
    }
}
