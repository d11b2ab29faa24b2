//! Rejection over frequency for many dies, in memory that does not grow with the number of dies.

use super::die::DiePoint;

/// Width of the classes in which values are counted, dB; quantiles are accurate to half of it.
pub const CURVE_STEP_DB: f64 = 0.05;
const LOWEST_DB: f64 = -40.0;
const HIGHEST_DB: f64 = 120.0;
/// Maximum number of frequencies in a picture.
const MOST_FREQUENCIES: usize = 400;
/// Maximum number of single curves in a picture.
const MOST_CURVES: usize = 150;

/// Quantiles over dies at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurveBand {
    /// Frequency of a splitter, LO of a receiver, Hz.
    pub frequency_hz: f64,
    /// The 5 % quantile, dB.
    pub p05_db: f64,
    /// The median, dB.
    pub median_db: f64,
    /// The 95 % quantile, dB.
    pub p95_db: f64,
}

/// Rejection over frequency of many dies.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curves {
    /// Frequencies of a die, or LOs, Hz.
    pub all_hz: Vec<f64>,
    /// The frequencies at which curves are kept: all, or every n-th.
    pub frequencies_hz: Vec<f64>,
    /// Quantiles at each of the kept frequencies.
    pub bands: Vec<CurveBand>,
    /// The curves of some dies, evenly chosen, and of the die with the minimum rejection, dB.
    pub some: Vec<Vec<f64>>,
    /// The total number of dies.
    pub dies: u64,
    /// The number of dies omitted because their frequencies differ from those of the first die.
    pub left_out: u64,
}

/// Collects curves, die by die.
#[derive(Clone, Debug)]
pub(super) struct CurveCollector {
    every: u64,
    all_hz: Vec<f64>,
    kept: Vec<usize>,
    counts: Vec<Vec<u32>>,
    some: Vec<Vec<f64>>,
    /// The minimum so far, and its curve if that is not among the others.
    least: Option<(f64, Option<Vec<f64>>)>,
    dies: u64,
    left_out: u64,
}

#[expect(clippy::cast_sign_loss, clippy::cast_possible_truncation, reason = "clamped")]
fn bin(rejection_db: f64) -> usize {
    ((rejection_db.clamp(LOWEST_DB, HIGHEST_DB) - LOWEST_DB) / CURVE_STEP_DB).round() as usize
}

impl CurveCollector {
    pub(super) fn new(dies: u64) -> Self {
        Self {
            every: dies.div_ceil(MOST_CURVES as u64).max(1),
            all_hz: Vec::new(),
            kept: Vec::new(),
            counts: Vec::new(),
            some: Vec::new(),
            least: None,
            dies: 0,
            left_out: 0,
        }
    }

    pub(super) fn add(&mut self, points: &[DiePoint]) {
        let (frequencies_hz, worst_db) = worst_over_if(points);
        if self.all_hz.is_empty() {
            let every = frequencies_hz.len().div_ceil(MOST_FREQUENCIES).max(1);
            self.kept = (0..frequencies_hz.len()).step_by(every).collect();
            self.counts = vec![vec![0; bin(HIGHEST_DB) + 1]; self.kept.len()];
            self.all_hz.clone_from(&frequencies_hz);
        }
        if frequencies_hz != self.all_hz {
            self.left_out += 1;
            return;
        }
        let curve: Vec<f64> = self.kept.iter().map(|&at| worst_db[at]).collect();
        for (counts, rejection_db) in self.counts.iter_mut().zip(&curve) {
            counts[bin(*rejection_db)] += 1;
        }
        let lowest = curve.iter().copied().fold(f64::INFINITY, f64::min);
        let is_chosen = self.dies.is_multiple_of(self.every);
        if self.least.as_ref().is_none_or(|(least, _)| lowest < *least) {
            self.least = Some((lowest, (!is_chosen).then(|| curve.clone())));
        }
        if is_chosen {
            self.some.push(curve);
        }
        self.dies += 1;
    }

    pub(super) fn finish(mut self) -> Curves {
        // The curve of the worst die must be included.
        self.some.extend(self.least.take().and_then(|(_, curve)| curve));
        let frequencies_hz: Vec<f64> = self.kept.iter().map(|&at| self.all_hz[at]).collect();
        let bands = frequencies_hz.iter().zip(&self.counts).map(|(&frequency_hz, counts)| {
            let at = |share: f64| counted_quantile(counts, self.dies, share);
            CurveBand { frequency_hz, p05_db: at(0.05), median_db: at(0.5), p95_db: at(0.95) }
        });
        Curves {
            bands: bands.collect(),
            frequencies_hz,
            all_hz: self.all_hz,
            some: self.some,
            dies: self.dies,
            left_out: self.left_out,
        }
    }
}

/// The worst value over IF at each LO, in order; a splitter has one value at each frequency.
pub(super) fn worst_over_if(points: &[DiePoint]) -> (Vec<f64>, Vec<f64>) {
    let (mut frequencies_hz, mut worst_db): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
    for point in points {
        match (frequencies_hz.last(), worst_db.last_mut()) {
            (Some(last), Some(worst)) if last.total_cmp(&point.frequency_hz).is_eq() => {
                *worst = worst.min(point.rejection_db);
            }
            _ => {
                frequencies_hz.push(point.frequency_hz);
                worst_db.push(point.rejection_db);
            }
        }
    }
    (frequencies_hz, worst_db)
}

/// The quantile of the counted values at a share.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of dies"
)]
fn counted_quantile(counts: &[u32], total: u64, share: f64) -> f64 {
    let rank = (share * total.saturating_sub(1) as f64).round() as u64;
    let mut below = 0;
    for (at, count) in counts.iter().enumerate() {
        below += u64::from(*count);
        if below > rank {
            return LOWEST_DB + CURVE_STEP_DB * at as f64;
        }
    }
    f64::NAN
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    fn points(rejections_db: &[f64]) -> Vec<DiePoint> {
        (0_u32..)
            .zip(rejections_db)
            .map(|(at, &rejection_db)| DiePoint {
                frequency_hz: 1e9 * f64::from(1 + at / 2),
                if_hz: Some(f64::from(at % 2)),
                rejection_db,
                sideband_gain_db: 0.0,
                wanted_error: Complex64::ZERO,
                channel_error: Complex64::ZERO,
                losses_db: None,
            })
            .collect()
    }

    #[test]
    fn quantiles_of_counted_values_are_good_to_half_a_step() {
        let mut collector = CurveCollector::new(1000);
        for die in 0..1000 {
            // Evenly from 20 to 40 dB at the first LO, the worse of two IFs; infinite at the
            // second.
            let value = 20.0 + f64::from(die) * 20.0 / 999.0;
            collector.add(&points(&[value, value + 3.0, f64::INFINITY, f64::INFINITY]));
        }
        collector.add(&points(&[20.0]));
        let curves = collector.finish();
        assert_eq!((curves.dies, curves.left_out, curves.frequencies_hz.len()), (1000, 1, 2));
        assert!(curves.some.len() <= MOST_CURVES && curves.some.len() > MOST_CURVES / 2);
        let band = curves.bands[0];
        for (got, want) in [(band.p05_db, 21.0), (band.median_db, 30.0), (band.p95_db, 39.0)] {
            assert!((got - want).abs() <= 0.5 * CURVE_STEP_DB + 20.0 / 999.0, "{got} {want}");
        }
        assert!((curves.bands[1].median_db - HIGHEST_DB).abs() < 1e-9);
    }

    #[test]
    fn the_lowest_curve_is_among_those_shown() {
        let mut collector = CurveCollector::new(1000);
        for die in 0..1000 {
            collector.add(&points(&[if die == 501 { 12.0 } else { 30.0 }, 40.0, 35.0, 35.0]));
        }
        let shown = collector.finish().some;
        assert_eq!(shown.iter().filter(|curve| curve[0] < 13.0).count(), 1);
        assert!(shown.len() <= MOST_CURVES + 1);
    }
}
