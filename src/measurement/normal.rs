//! The normal distribution: probabilities between limits, and deviates.

use statrs::function::erf::{erfc, erfc_inv};
use std::f64::consts::SQRT_2;

/// The probability that a normally distributed value is between two limits (JCGM 106:2012, 7).
///
/// `estimate`, its standard uncertainty `u` and the limits have one unit; either limit may be
/// infinite. Without uncertainty (`u` = 0) the result is 0 or 1, and a value at a limit conforms. A
/// negative `u` gives NaN.
///
/// # Examples
/// ```
/// use fourphase::measurement::conformity_probability;
///
/// // Two standard uncertainties above a lower limit: 97.7 %.
/// let probability = conformity_probability(32.0, 1.0, 30.0, f64::INFINITY);
/// assert!((probability - 0.97725).abs() < 1e-5);
/// ```
#[must_use]
pub fn conformity_probability(estimate: f64, u: f64, lower: f64, upper: f64) -> f64 {
    if u == 0.0 {
        return f64::from(u8::from((lower..=upper).contains(&estimate)));
    }
    if u < 0.0 {
        return f64::NAN;
    }
    let below = |limit: f64| 0.5 * erfc((estimate - limit) / (u * SQRT_2));
    below(upper) - below(lower)
}

/// The standard normal deviate below which the share `probability` of all deviates is;
/// probabilities nearer than 1e-15 to 0 or 1 are set to that distance, so that deviates stay within
/// 8 on either side.
pub(super) fn normal_deviate(probability: f64) -> f64 {
    let kept = probability.clamp(1e-15, 1.0 - 1e-15);
    SQRT_2 * erfc_inv(2.0 * (1.0 - kept))
}

/// The probability of a standard normal deviate between two numbers, without cancellation in the
/// tails.
pub(super) fn normal_between(low: f64, high: f64) -> f64 {
    // Beyond 9 standard deviations the probability is below 1e-18.
    if low > 9.0 || high < -9.0 {
        return 0.0;
    }
    if low > 0.0 {
        0.5 * (erfc(low / SQRT_2) - erfc(high / SQRT_2))
    } else if high < 0.0 {
        0.5 * (erfc(-high / SQRT_2) - erfc(-low / SQRT_2))
    } else {
        1.0 - 0.5 * (erfc(-low / SQRT_2) + erfc(high / SQRT_2))
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "certain and impossible are exact")]
mod tests {
    use super::*;

    #[test]
    fn a_value_without_uncertainty_conforms_or_not() {
        let within = |value| conformity_probability(value, 0.0, -1.0, 1.0);
        assert_eq!([within(-1.0), within(0.3), within(1.1)], [1.0, 1.0, 0.0]);
    }

    /// The value Φ(-6) - Φ(-7) from tables: 9.865876e-10 - 1.279813e-12 (Abramowitz, Stegun, table
    /// 26.2).
    #[test]
    fn tails_keep_their_digits() {
        let want = 9.865_876e-10 - 1.279_813e-12;
        for got in [normal_between(6.0, 7.0), normal_between(-7.0, -6.0)] {
            assert!((got / want - 1.0).abs() < 1e-6, "{got}");
        }
        assert!((normal_deviate(0.975) - 1.959_963_985).abs() < 1e-9);
    }
}
