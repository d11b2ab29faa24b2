//! Integrals of a function of one real variable, to about nine digits.
//!
//! Gauss-Legendre rules of 16 points on pieces of the range; each piece is halved until this
//! changes nothing. Nodes are the roots of the Legendre polynomial, by Newton's method from cos(π
//! (k - 1/4) / (n + 1/2)); weights are 2 / ((1 - x²) P'(x)²).
//! Source: P. J. Davis, P. Rabinowitz, Methods of Numerical Integration, 2nd ed. (1984), 2.7.

use std::f64::consts::PI;
use std::sync::OnceLock;

/// Number of halvings that locate a jump; rounding errors must not cause endless halving.
const MAX_HALVINGS: u32 = 16;
/// Maximum number of halved pieces: noise in a function is not resolved further.
const MAX_HALVED: usize = 1000;
/// Points of a rule, enough for any smooth piece.
const ORDER: usize = 16;
/// Pieces at the start, so that no narrow peak is between all points.
const FIRST_PIECES: u32 = 2;

/// Nodes and weights of the rule on -1 to 1.
fn rule() -> &'static [(f64, f64); ORDER] {
    static RULE: OnceLock<[(f64, f64); ORDER]> = OnceLock::new();
    RULE.get_or_init(|| {
        #[expect(clippy::cast_precision_loss, reason = "small numbers")]
        let (order, number) = (ORDER as f64, |at: usize| at as f64);
        std::array::from_fn(|at| {
            let mut x = (PI * (number(at) + 0.75) / (order + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..20 {
                let (mut before, mut value) = (1.0, x);
                for degree in 2..=ORDER {
                    let n = number(degree);
                    (before, value) =
                        (value, ((2.0 * n - 1.0) * x * value - (n - 1.0) * before) / n);
                }
                slope = order * (x * value - before) / (x * x - 1.0);
                x -= value / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
    })
}

/// One rule on one piece.
fn on_piece(function: &impl Fn(f64) -> f64, (low, high): (f64, f64)) -> f64 {
    let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
    half * rule().iter().map(|(x, weight)| weight * function(centre + half * x)).sum::<f64>()
}

/// The integral of a smooth function over a range by rules on `pieces` equal pieces, without a check of
/// its precision.
pub(super) fn smooth_integral(
    function: impl Fn(f64) -> f64,
    (low, high): (f64, f64),
    pieces: u32,
) -> f64 {
    let width = (high - low) / f64::from(pieces);
    let piece = |at: u32| {
        let low = low + width * f64::from(at);
        on_piece(&function, (low, low + width))
    };
    (0..pieces).map(piece).sum()
}

/// The integral of `function` over a range, to a relative `precision` or a ten thousandth of it,
/// absolute, for each piece.
pub(super) fn integral(function: &impl Fn(f64) -> f64, range: (f64, f64), precision: f64) -> f64 {
    let width = (range.1 - range.0) / f64::from(FIRST_PIECES);
    let mut open: Vec<((f64, f64), f64, u32)> = (0..FIRST_PIECES)
        .map(|at| {
            let low = range.0 + width * f64::from(at);
            let piece = (low, low + width);
            (piece, on_piece(function, piece), 0)
        })
        .collect();
    let (mut sum, mut halved) = (0.0, 0);
    while let Some(((low, high), whole, depth)) = open.pop() {
        let middle = 0.5 * (low + high);
        let halves =
            [(low, middle), (middle, high)].map(|piece| (piece, on_piece(function, piece)));
        let both = halves[0].1 + halves[1].1;
        let is_found = (both - whole).abs() <= 1e-4 * precision + precision * both.abs();
        halved += 1;
        if is_found || !both.is_finite() || depth == MAX_HALVINGS || halved > MAX_HALVED {
            sum += both;
        } else {
            open.extend(halves.map(|(piece, value)| (piece, value, depth + 1)));
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rule of n points is exact for polynomials up to degree 2n - 1; 1e-14 is a few roundings.
    #[test]
    fn the_rule_integrates_polynomials() {
        for exponent in 0..31_i32 {
            let sum: f64 = rule().iter().map(|(x, weight)| weight * x.powi(exponent)).sum();
            let want = if exponent % 2 == 0 { 2.0 / f64::from(exponent + 1) } else { 0.0 };
            assert!((sum - want).abs() < 1e-14, "{exponent} {sum} {want}");
        }
    }

    /// ∫ e^x is e - 1; a jump at 1/3 is located to 2^-18 of the range, so to 4e-6.
    #[test]
    fn smooth_functions_and_jumps() {
        let smooth = integral(&f64::exp, (0.0, 1.0), 1e-9);
        assert!((smooth - (1_f64.exp() - 1.0)).abs() < 1e-13, "{smooth}");
        let jump = integral(&|x| if x < 1.0 / 3.0 { 1.0 } else { 0.0 }, (0.0, 1.0), 1e-9);
        assert!((jump - 1.0 / 3.0).abs() < 4e-6, "{jump}");
        // A normal density whose standard deviation is a sixtieth of the range: 1e-9 relative.
        let narrow = |x: f64| (-0.5 * (x / 0.1).powi(2)).exp() / (0.1 * (2.0 * PI).sqrt());
        assert!((integral(&narrow, (-2.0, 4.0), 1e-9) - 1.0).abs() < 1e-8);
    }
}
