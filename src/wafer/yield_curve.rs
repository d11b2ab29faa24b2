//! Yield as a function of the limit on the rejection.

use super::statistics::{Yield, yield_at_limits};

/// Step of the limits in a table, dB.
const LIMIT_STEP_DB: f64 = 0.5;
/// Maximum number of limits in a table.
const MOST_STEPS: usize = 2000;
/// Maximum number of steps of a curve; with more dies, one step stands for several dies.
const MOST_CURVE_STEPS: usize = 400;

/// The share of dies, 0 to 1, at or above each limit: every 0.5 dB from below the minimum finite
/// rejection to the maximum. `sorted_db` ascends. Empty if no rejection is finite.
#[must_use]
pub fn yield_against_limit(sorted_db: &[f64]) -> Vec<(f64, f64)> {
    let finite = || sorted_db.iter().copied().filter(|db| db.is_finite());
    let (Some(lowest), Some(high)) = (finite().next(), finite().next_back()) else {
        return Vec::new();
    };
    let low = lowest.floor();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "rejections are some hundred dB at most"
    )]
    let steps = (((high - low) / LIMIT_STEP_DB).ceil() as usize).min(MOST_STEPS);
    let limits: Vec<f64> =
        (0_u32..).take(steps + 1).map(|step| low + LIMIT_STEP_DB * f64::from(step)).collect();
    let shares = yield_at_limits(sorted_db, &limits);
    limits.into_iter().zip(shares).collect()
}

/// A limit at which the yield decreases.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct YieldStep {
    /// The rejection of a die, dB.
    pub limit_db: f64,
    /// The yield with a limit up to this value.
    pub up_to: Yield,
    /// The yield with a limit above this value.
    pub above: Yield,
}

/// The yield before and after the rejection of every die, or of every n-th die. `sorted_db`
/// ascends.
#[must_use]
pub fn yield_steps(sorted_db: &[f64]) -> Vec<YieldStep> {
    let count = sorted_db.len();
    let failing = |failed: usize| Yield::new((count - failed) as u64, failed as u64);
    let every = count.div_ceil(MOST_CURVE_STEPS).max(1);
    let mut below = 0;
    let mut up_to = failing(0);
    sorted_db
        .chunks(every)
        .map(|run| {
            below += run.len();
            // The yield above one step is that up to the next.
            let above = failing(below);
            let step = YieldStep { limit_db: run[run.len() - 1], up_to, above };
            up_to = above;
            step
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_runs_over_all_dies_by_half_decibels() {
        let table = yield_against_limit(&[20.2, 21.0, 21.3, f64::INFINITY]);
        let limits: Vec<f64> = table.iter().map(|row| row.0).collect();
        assert_eq!(limits, [20.0, 20.5, 21.0, 21.5]);
        let shares: Vec<f64> = table.iter().map(|row| row.1).collect();
        assert_eq!(shares, [1.0, 0.75, 0.75, 0.25]);
        assert!(yield_against_limit(&[f64::INFINITY]).is_empty());
    }

    #[test]
    fn each_die_is_a_step() {
        let steps = yield_steps(&[20.0, 21.0]);
        assert_eq!(steps.len(), 2);
        assert_eq!((steps[0].up_to.passed, steps[0].above.passed), (2, 1));
        assert_eq!((steps[1].up_to.passed, steps[1].above.passed), (1, 0));
        assert!(yield_steps(&[]).is_empty());
    }
}
