//! Roots and minima of functions of one variable.

use super::error::ComponentError;

/// The value at which a condition changes from true to false between two positive bounds, by
/// bisection of its logarithm.
pub(super) fn bisect_log(
    low: f64,
    high: f64,
    holds: impl Fn(f64) -> Result<bool, ComponentError>,
) -> Result<f64, ComponentError> {
    // After sixty halvings only rounding errors remain.
    const HALVINGS: usize = 60;
    let (mut low, mut high) = (low.ln(), high.ln());
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if holds(middle.exp())? { low = middle } else { high = middle }
    }
    Ok((0.5 * (low + high)).exp())
}

/// The position of the minimum of a function with one minimum between two bounds, by trisection.
pub(super) fn minimum_between(low: f64, high: f64, function: impl Fn(f64) -> f64) -> f64 {
    // Each step keeps two thirds: after 200 steps only rounding errors remain.
    const STEPS: usize = 200;
    let (mut low, mut high) = (low, high);
    for _ in 0..STEPS {
        let (left, right) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if function(left) < function(right) { high = right } else { low = left }
    }
    0.5 * (low + high)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn bisection_finds_a_square_root() {
        let root = bisect_log(1e-3, 1e3, |x| Ok(x * x < 2.0)).unwrap();
        assert!((root - std::f64::consts::SQRT_2).abs() < 1e-12);
    }

    #[test]
    fn trisection_finds_the_vertex_of_a_parabola() {
        // Values near a minimum differ by the square of the distance, so half the digits are lost.
        let vertex = minimum_between(-1.0, 5.0, |x| (x - 2.0).powi(2) + 1.0);
        assert!((vertex - 2.0).abs() < 1e-7);
    }
}
