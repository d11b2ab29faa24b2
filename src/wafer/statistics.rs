//! Yield and its interval, quantiles, channel errors and outliers.
//!
//! Means and standard deviations are computed from the channel error ε (nepers and radians), in
//! which errors of parts are additive; quantiles may be of any value. There is no mean of a
//! rejection in dB.

use crate::quantile::{QuantileDefinition, median, quantile};
use num_complex::Complex64;
use statrs::function::beta::{beta_reg, ln_beta};

/// The confidence level of every interval of a yield.
pub const YIELD_CONFIDENCE: f64 = 0.95;

/// The share of dies that pass, with an interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Yield {
    /// Dies that pass.
    pub passed: u64,
    /// Dies that were measured.
    pub tested: u64,
    /// The share that passes; `None` without a die.
    pub share: Option<f64>,
    /// The exact two-sided interval of the share at the confidence level [`YIELD_CONFIDENCE`].
    pub interval: (f64, f64),
}

impl Yield {
    /// The yield of `passed` and `failed` dies with the exact (binomial) interval, which contains
    /// the true share with at least the confidence level for every share. Source: C. J. Clopper and
    /// E. S. Pearson, Biometrika 26 (1934) 404-413.
    ///
    /// # Examples
    /// ```
    /// use fourphase::wafer::Yield;
    ///
    /// // None of ten: at most 30.8 % at a confidence level of 95 %.
    /// let none = Yield::new(0, 10);
    /// assert!((none.interval.1 - (1.0 - 0.025_f64.powf(0.1))).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn new(passed: u64, failed: u64) -> Self {
        let tested = passed.saturating_add(failed);
        let tail = 0.5 * (1.0 - YIELD_CONFIDENCE);
        #[expect(clippy::cast_precision_loss, reason = "a wafer has far fewer than 2^53 dies")]
        let (k, n) = (passed as f64, tested as f64);
        let low = if passed == 0 { 0.0 } else { inverse_beta(tail, k, n - k + 1.0) };
        let high = if failed == 0 { 1.0 } else { inverse_beta(1.0 - tail, k + 1.0, n - k) };
        Self { passed, tested, share: (tested > 0).then(|| k / n), interval: (low, high) }
    }
}

/// The quantile of the beta distribution: the x at which its regularised incomplete function is
/// `share`.
///
/// Computed by Newton's steps between two ends, and bisection where a step leaves them, to the rounding
/// of the function: some 10 evaluations. The inverse of `statrs` (algorithm AS 109) stops at about 1e-10:
/// for few failures among 100,000 dies only the first five digits are correct.
fn inverse_beta(share: f64, a: f64, b: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    let mut x = a / (a + b);
    let logarithm = ln_beta(a, b);
    for _ in 0..200 {
        let found = beta_reg(a, b, x) - share;
        if found < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let density = ((a - 1.0) * x.ln() + (b - 1.0) * (-x).ln_1p() - logarithm).exp();
        let step = found / density;
        if step.abs() <= 4.0 * f64::EPSILON * x {
            break;
        }
        let next = x - step;
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        x = if next > low && next < high { next } else { middle };
    }
    x
}

/// Mean and standard deviation of channel errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelStatistics {
    /// Number of errors.
    pub count: usize,
    /// Mean, nepers and radians.
    pub mean: Complex64,
    /// Standard deviation of the amplitude part, nepers, with n - 1 in the denominator; `None`
    /// below two values.
    pub amplitude_deviation: Option<f64>,
    /// Standard deviation of the phase part, radians.
    pub phase_deviation: Option<f64>,
    /// Correlation of the two parts; `None` if one of them has no variance.
    pub correlation: Option<f64>,
}

/// Mean, standard deviations and correlation of channel errors; `None` without any.
#[must_use]
pub fn channel_statistics(errors: &[Complex64]) -> Option<ChannelStatistics> {
    if errors.is_empty() {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 values")]
    let count = errors.len() as f64;
    let mean: Complex64 = errors.iter().sum::<Complex64>() / count;
    let sum = |product: &dyn Fn(Complex64) -> f64| -> f64 {
        errors.iter().map(|error| product(error - mean)).sum()
    };
    let (squares, phase_squares) = (sum(&|d| d.re * d.re), sum(&|d| d.im * d.im));
    let cross = sum(&|d| d.re * d.im);
    let deviation = |squares: f64| (errors.len() > 1).then(|| (squares / (count - 1.0)).sqrt());
    let both = (squares * phase_squares).sqrt();
    Some(ChannelStatistics {
        count: errors.len(),
        mean,
        amplitude_deviation: deviation(squares),
        phase_deviation: deviation(phase_squares),
        correlation: (both > 0.0).then(|| cross / both),
    })
}

/// Ppk from percentiles for a lower limit: the distance of the median from the limit, divided by
/// the distance of the median from the 0.135 % quantile (common practice, also in ISO 22514). At 1
/// exactly 0.135 % miss the limit. `None` if the values do not vary. `sorted` ascends.
pub(super) fn capability_index(sorted: &[f64], lower_limit: f64) -> Option<f64> {
    let at = |probability| quantile(sorted, probability, QuantileDefinition::Seven);
    let (median, lowest) = (at(0.5)?, at(0.001_35)?);
    let spread = median - lowest;
    (spread > 0.0 && spread.is_finite()).then(|| (median - lower_limit) / spread)
}

/// The share of values at or above each limit; 0 without values. `sorted` ascends.
pub(crate) fn yield_at_limits(sorted: &[f64], limits: &[f64]) -> Vec<f64> {
    #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 values")]
    let share = |limit: f64| {
        let failing = sorted.partition_point(|value| *value < limit);
        (sorted.len() - failing) as f64 / sorted.len().max(1) as f64
    };
    limits.iter().map(|&limit| share(limit)).collect()
}

/// Median and robust standard deviation of channel errors, with the outliers.
#[derive(Clone, Debug, PartialEq)]
pub struct Screening {
    /// Medians of both parts.
    pub median: Complex64,
    /// Robust standard deviations of both parts: 1.4826 times the median absolute deviation, which
    /// is the standard deviation where errors are normal.
    pub sigma: Complex64,
    /// Whether each error is farther from the median than the factor times sigma in either part.
    pub is_outlier: Vec<bool>,
}

/// 1 / Φ⁻¹(3/4).
const NORMAL_FROM_MEDIAN_DEVIATION: f64 = 1.482_602_218_505_602;

/// Finds outliers among channel errors; `None` without errors. If more than half of the errors are
/// equal in a part, its robust standard deviation is zero and the part is not screened.
#[must_use]
pub fn screen(errors: &[Complex64], factor: f64) -> Option<Screening> {
    let part = |value: &dyn Fn(&Complex64) -> f64| -> Option<(f64, f64)> {
        let values: Vec<f64> = errors.iter().map(value).collect();
        let middle = median(values.clone())?;
        let deviations = values.into_iter().map(|value| (value - middle).abs()).collect();
        Some((middle, NORMAL_FROM_MEDIAN_DEVIATION * median(deviations)?))
    };
    let (amplitude, phase) = (part(&|error| error.re)?, part(&|error| error.im)?);
    let is_far = |value: f64, (median, sigma): (f64, f64)| {
        sigma > 0.0 && (value - median).abs() > factor * sigma
    };
    Some(Screening {
        median: Complex64::new(amplitude.0, phase.0),
        sigma: Complex64::new(amplitude.1, phase.1),
        is_outlier: errors
            .iter()
            .map(|error| is_far(error.re, amplitude) || is_far(error.im, phase))
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Limits by scipy.stats.beta.ppf; those for 0 of 10 and 10 of 10 also in closed form, and 5 of
    /// 10 and 1 of 20 as printed in tables of exact limits (from memory: 0.187 to 0.813, 0.001 to
    /// 0.249).
    #[test]
    fn exact_limits_of_a_share() {
        for (passed, tested, low, high) in [
            (0, 10, 0.0, 0.308_497_107_818_760_7),
            (5, 10, 0.187_086_028_447_398_55, 0.812_913_971_552_601_5),
            (1, 20, 0.001_265_089_497_949_803_8, 0.248_732_762_772_027_77),
            (90, 100, 0.823_777_402_259_977_3, 0.950_995_310_778_514_1),
            (10, 10, 0.691_502_892_181_239_2, 1.0),
            (58, 60, 0.884_718_955_580_748_3, 0.995_937_375_357_906_5),
            (9731, 10_000, 0.969_737_841_778_833_9, 0.976_182_660_709_916_9),
        ] {
            let got = Yield::new(passed, tested - passed);
            assert!((got.interval.0 - low).abs() < 1e-11, "{passed}/{tested} {got:?}");
            assert!((got.interval.1 - high).abs() < 1e-11, "{passed}/{tested} {got:?}");
        }
        let nothing = Yield::new(0, 0);
        assert_eq!((nothing.share, nothing.interval), (None, (0.0, 1.0)));
    }

    /// numpy.quantile and scipy.stats.median_abs_deviation(scale="normal").
    #[test]
    fn quantiles_and_robust_spread() {
        let values = [3.1, -0.4, 2.2, 9.0, 1.7, 0.3, 5.5];
        let mut sorted = values;
        sorted.sort_by(f64::total_cmp);
        for (share, want) in
            [(0.0, -0.4), (0.05, -0.19), (0.25, 1.0), (0.5, 2.2), (0.95, 7.95), (1.0, 9.0)]
        {
            let found = quantile(&sorted, share, QuantileDefinition::Seven).unwrap();
            assert!((found - want).abs() < 1e-12, "{share}");
        }
        let errors: Vec<Complex64> =
            values.iter().map(|&value| Complex64::new(value, -value)).collect();
        let screened = screen(&errors, 2.0).unwrap();
        assert!((screened.sigma.re - 2.816_944_215_160_644).abs() < 1e-12);
        // 9.0 is 2.4 sigma above the median; nothing else is beyond two.
        assert_eq!(screened.is_outlier, [false, false, false, true, false, false, false]);
        let statistics = channel_statistics(&errors).unwrap();
        assert!((statistics.amplitude_deviation.unwrap() - 3.251_080_406_499_324).abs() < 1e-12);
        assert!((statistics.correlation.unwrap() + 1.0).abs() < 1e-12);
    }

    #[test]
    fn limits_and_capability() {
        let sorted: Vec<f64> = (0..1001).map(f64::from).collect();
        assert_eq!(yield_at_limits(&sorted, &[-1.0, 0.0, 0.5, 1000.0, 1001.0]).first(), Some(&1.0));
        let got = yield_at_limits(&sorted, &[0.5, 1001.0]);
        assert!((got[0] - 1000.0 / 1001.0).abs() < 1e-12 && got[1] == 0.0);
        // The lowest 0.135 % of 0..1000 end at 1.35: with the limit there the index is 1.
        assert!((capability_index(&sorted, 1.35).unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(capability_index(&[1.0, 1.0], 0.0), None);
    }

    #[test]
    fn one_value_has_no_spread() {
        let one = channel_statistics(&[Complex64::new(0.1, 0.2)]).unwrap();
        assert_eq!((one.amplitude_deviation, one.correlation), (None, None));
        assert!(channel_statistics(&[]).is_none());
        assert_eq!(screen(&[Complex64::ONE; 5], 3.0).unwrap().is_outlier, [false; 5]);
        assert!(screen(&[], 3.0).is_none());
    }
}
