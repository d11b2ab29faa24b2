//! The zero of a monotonic function of one real variable.
//!
//! Alternating bisection and the Illinois variant of regula falsi: the first always converges, the
//! second converges fast.
//! Source: M. Dowell, P. Jarratt, BIT 11 (1971) 168-174.

/// Maximum number of steps; bisection alone needs 60 for the last digit.
const MAX_STEPS: usize = 200;

/// The position at which `function` changes its sign within `range`, to within `precision`. Without
/// a change of sign it is the end at which the function is nearer to zero.
pub(super) fn root(range: (f64, f64), precision: f64, function: impl Fn(f64) -> f64) -> f64 {
    let (low, high) = range;
    root_between((low, function(low)), (high, function(high)), precision, function)
}

/// The zero from both ends of a range and the values there.
pub(super) fn root_between(
    (mut low, mut at_low): (f64, f64),
    (mut high, mut at_high): (f64, f64),
    precision: f64,
    function: impl Fn(f64) -> f64,
) -> f64 {
    if at_low * at_high > 0.0 {
        return if at_low.abs() < at_high.abs() { low } else { high };
    }
    for step in 0..MAX_STEPS {
        if (high - low).abs() <= precision {
            break;
        }
        let middle = if step % 3 == 2 || at_low.total_cmp(&at_high).is_eq() {
            0.5 * (low + high)
        } else {
            low - at_low * (high - low) / (at_high - at_low)
        };
        let at_middle = function(middle);
        if at_middle == 0.0 {
            return middle;
        }
        if at_middle * at_high < 0.0 {
            (low, at_low) = (high, at_high);
        } else {
            at_low *= 0.5;
        }
        (high, at_high) = (middle, at_middle);
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_2, SQRT_2};

    #[test]
    fn roots_come_to_within_the_precision() {
        assert!((root((0.0, 2.0), 1e-12, |x| x * x - 2.0) - SQRT_2).abs() <= 1e-12);
        assert!((root((3.0, 0.0), 1e-12, f64::cos) - FRAC_PI_2).abs() <= 1e-12);
        // Nearly a step: slope 1e9 at 0.3, none elsewhere.
        let step = |x: f64| (1e9 * (x - 0.3)).clamp(-1.0, 1.0);
        assert!((root((0.0, 1.0), 1e-12, step) - 0.3).abs() <= 1e-12);
    }

    #[test]
    fn without_a_root_the_nearer_end_is_taken() {
        assert!((root((1.0, 2.0), 1e-12, |x| x) - 1.0).abs() < 1e-15);
        assert!((root((1.0, 2.0), 1e-12, |x| x - 3.0) - 2.0).abs() < 1e-15);
    }
}
