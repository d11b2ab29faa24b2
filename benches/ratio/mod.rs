//! Two pieces of work timed in turns, so that what else the machine does falls on both alike.

use std::hint::black_box;
use std::time::{Duration, Instant};

/// Times `ours` and `rival` in turns for about two seconds and returns the median of
/// (time of rival) / (time of ours): above 1 ours is faster.
#[allow(dead_code, reason = "each bench is a crate of its own and not all need a rival")]
pub(crate) fn speed_ratio<A, B>(mut ours: impl FnMut() -> A, mut rival: impl FnMut() -> B) -> f64 {
    fn time<R>(work: &mut impl FnMut() -> R) -> Duration {
        let start = Instant::now();
        black_box(work());
        start.elapsed()
    }
    let mut ratios = Vec::new();
    let start = Instant::now();
    while ratios.len() < 5 || start.elapsed() < Duration::from_secs(2) {
        let ours = time(&mut ours).as_secs_f64();
        ratios.push(time(&mut rival).as_secs_f64() / ours);
    }
    ratios.sort_by(f64::total_cmp);
    ratios[ratios.len() / 2]
}

/// Prints a ratio and the limit it is held against.
pub(crate) fn report(what: &str, ratio: f64, limit: f64) {
    let verdict = if ratio >= limit { "met" } else { "MISSED" };
    println!("ratio: {what}: {ratio:.2} (aim: at least {limit}, {verdict})");
}
