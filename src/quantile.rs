//! Quantiles of sorted values, with linear interpolation between neighbours.
//!
//! Source: R. J. Hyndman, Y. Fan, "Sample quantiles in statistical packages", Am. Stat. 50 (1996)
//! 361-365. Of its nine definitions two are used: 7 for samples of parts, and 5 for Monte Carlo
//! trials, where JCGM 101:2008, 7.7 gives it. They differ by less than the distance of two
//! neighbours, and agree at the median.

/// The definition of a quantile of a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum QuantileDefinition {
    /// Definition 5: the k-th of n values is the quantile of the probability (k - 1/2) / n.
    Five,
    /// Definition 7: the k-th of n values is the quantile of the probability (k - 1) / (n - 1).
    Seven,
}

/// The value below which the share `probability` (0 to 1, clamped) of the values is; `None` without
/// values.
///
/// `sorted` ascends by `f64::total_cmp`; infinite values are allowed, and the quantile between a
/// finite and an infinite value is infinite.
///
/// # Examples
/// ```
/// use fourphase::quantile::{QuantileDefinition, quantile};
///
/// let sorted = [1.0, 2.0, 4.0, 8.0];
/// assert_eq!(quantile(&sorted, 0.25, QuantileDefinition::Five), Some(1.5));
/// assert_eq!(quantile(&sorted, 0.25, QuantileDefinition::Seven), Some(1.75));
/// assert_eq!(quantile(&[], 0.25, QuantileDefinition::Seven), None);
/// ```
#[must_use]
pub fn quantile(sorted: &[f64], probability: f64, definition: QuantileDefinition) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "an index into a list"
    )]
    let (below, part) = {
        let probability = probability.clamp(0.0, 1.0);
        let place = match definition {
            QuantileDefinition::Five => probability * sorted.len() as f64 - 0.5,
            QuantileDefinition::Seven => probability * last as f64,
        };
        let place = place.clamp(0.0, last as f64);
        (place.floor() as usize, place.fract())
    };
    let (low, high) = (sorted[below], sorted[(below + 1).min(last)]);
    // The difference of two infinite values is not a number.
    Some(if part == 0.0 || low.total_cmp(&high).is_eq() { low } else { low + part * (high - low) })
}

/// The median of values in any order; `None` without values.
#[must_use]
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    quantile(&values, 0.5, QuantileDefinition::Seven)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp)]
mod tests {
    use super::QuantileDefinition::{Five, Seven};
    use super::*;

    /// The definitions, written out: positions (k - 1/2) / n and (k - 1) / (n - 1) of the values.
    #[test]
    fn values_are_the_quantiles_of_their_places() {
        let sorted = [-3.0, 0.5, 2.0, 7.0, 11.0];
        for (at, &value) in (0_u32..).zip(&sorted) {
            let place = f64::from(at);
            // The position is exact except for the rounding of n times the probability, 5 * 2^-53.
            let near = |found: f64| (found - value).abs() < 1e-14;
            assert!(near(quantile(&sorted, (place + 0.5) / 5.0, Five).unwrap()), "{at}");
            assert!(near(quantile(&sorted, place / 4.0, Seven).unwrap()), "{at}");
        }
        for definition in [Five, Seven] {
            assert_eq!(quantile(&sorted, 0.5, definition), Some(2.0));
            assert_eq!(quantile(&sorted, -1.0, definition), Some(-3.0));
            assert_eq!(quantile(&sorted, 2.0, definition), Some(11.0));
            assert_eq!(quantile(&[], 0.5, definition), None);
        }
    }

    #[test]
    fn infinite_values_count_as_they_are() {
        for definition in [Five, Seven] {
            let sorted = [1.0, f64::INFINITY, f64::INFINITY];
            assert_eq!(quantile(&sorted, 1.0, definition), Some(f64::INFINITY));
            assert_eq!(quantile(&sorted, 0.8, definition), Some(f64::INFINITY));
            assert_eq!(quantile(&sorted, 0.0, definition), Some(1.0));
        }
    }

    #[test]
    fn the_median_takes_any_order() {
        assert_eq!(median(vec![9.0, 1.0, 4.0]), Some(4.0));
        assert_eq!(median(vec![9.0, 1.0, 4.0, 2.0]), Some(3.0));
        assert_eq!(median(Vec::new()), None);
    }
}
