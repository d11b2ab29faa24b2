//! Bessel and Neumann functions of orders 0 and 1.

use std::f64::consts::PI;

/// The order of a cylinder function.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    /// Order 0.
    Zero,
    /// Order 1.
    One,
}

impl Order {
    fn number(self) -> i32 {
        match self {
            Self::Zero => 0,
            Self::One => 1,
        }
    }
}

/// J_n(x), from its integral (1/π) ∫ cos(n t - x sin t) dt over half a turn. The trapezoidal rule
/// converges geometrically for a periodic integrand. Its effort grows with x, which must be below
/// 1e6.
pub(super) fn bessel(order: Order, x: f64) -> f64 {
    let points = quadrature_points(x);
    let step = PI / f64::from(points);
    let value = |t: f64| (f64::from(order.number()) * t - x * t.sin()).cos();
    let inner: f64 = (1..points).map(|at| value(f64::from(at) * step)).sum();
    (inner + 0.5 * (value(0.0) + value(PI))) * step / PI
}

fn quadrature_points(x: f64) -> u32 {
    // Fewer points than half the argument cannot resolve the integrand; with these the error is
    // that of rounding.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "positive, and small since x is"
    )]
    let needed = (40.0 + 2.0 * x.abs()) as u32;
    needed
}

/// N_n(x) for x > 0, by the power series with the harmonic numbers for small and the asymptotic
/// expansion for large arguments (Abramowitz and Stegun, 9.1.11 and 9.2.28 to 9.2.31).
pub(super) fn neumann(order: Order, x: f64) -> f64 {
    const SERIES_END: f64 = 12.0;
    if x > SERIES_END { neumann_of_large(order, x) } else { neumann_of_small(order, x) }
}

/// M sin(x - (n/2 + 1/4) π) + ..., by the P and Q series up to their smallest term.
fn neumann_of_large(order: Order, x: f64) -> f64 {
    let order = f64::from(order.number());
    let mu = 4.0 * order * order;
    let (mut p, mut q, mut term) = (1.0, 0.0, 1.0);
    for k in 1..30_i32 {
        let odd = f64::from(2 * k - 1);
        let next = term * (mu - odd * odd) / (f64::from(k) * 8.0 * x);
        if next.abs() > f64::abs(term) {
            break;
        }
        term = next;
        match k % 4 {
            1 => q += term,
            2 => p -= term,
            3 => q -= term,
            _ => p += term,
        }
    }
    let phase = x - (0.5 * order + 0.25) * PI;
    (2.0 / (PI * x)).sqrt() * (p * phase.sin() + q * phase.cos())
}

fn neumann_of_small(order: Order, x: f64) -> f64 {
    const EULER: f64 = 0.577_215_664_901_532_9;
    let half = 0.5 * x;
    let quarter = half * half;
    let (mut sum, mut term, mut harmonic) = (0.0, 1.0, 0.0);
    for k in 0..60_i32 {
        if k > 0 {
            term *= -quarter / f64::from(k * (k + order.number()));
            harmonic += 1.0 / f64::from(k);
        }
        let pair = match order {
            Order::Zero => 2.0 * harmonic,
            Order::One => 2.0 * harmonic + 1.0 / f64::from(k + 1),
        };
        sum += term * pair;
    }
    let log = 2.0 / PI * (half.ln() + EULER) * bessel(order, x);
    match order {
        Order::Zero => log - sum / PI,
        Order::One => log - 2.0 / (PI * x) - half * sum / PI,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cylinder_functions_match_the_tables() {
        // Abramowitz and Stegun, tables 9.1 (from memory, 7 digits), and the Wronskian
        // J1 N0 - J0 N1 = 2 / (π x), which relates both kinds.
        for (got, want) in [
            (bessel(Order::Zero, 1.0), 0.765_197_69),
            (bessel(Order::One, 1.0), 0.440_050_59),
            (neumann(Order::Zero, 1.0), 0.088_256_96),
            (neumann(Order::One, 1.0), -0.781_212_82),
        ] {
            assert!((got - want).abs() < 1e-7, "{got} {want}");
        }
        for x in [1e-3, 0.1, 0.9, 3.0, 7.0, 11.9, 12.1, 20.0, 60.0] {
            let wronskian = bessel(Order::One, x) * neumann(Order::Zero, x)
                - bessel(Order::Zero, x) * neumann(Order::One, x);
            let want = 2.0 / (PI * x);
            assert!((wronskian / want - 1.0).abs() < 1e-9, "{x}: {wronskian} {want}");
        }
    }
}
