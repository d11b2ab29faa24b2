//! Decisions and intervals for the worst of many points: how often they are right over many synthetic
//! measurements of a known truth. `FOURPHASE_SIMULATION=full` makes as many as the stated coverage comes
//! from, `FOURPHASE_SIMULATION=200:400` 400 measurements of 200 points.

use fourphase::downconverter::ReceiverBalance;
use fourphase::measurement::{
    DecisionRule, ErrorCovariance, KnownBalances, NoiseDraws, PlanCovariance, PlanNoise,
};
use fourphase::requirement::{Limit, Quantity, Verdict};
use fourphase::splitter::{channel_error, image_rejection_of_error_db};
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};
use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};

const REJECTION: Quantity = Quantity::ImageRejection;

/// The numbers of points, and how many measurements of each are simulated.
fn simulated_sizes() -> (Vec<usize>, u32) {
    let Ok(wanted) = std::env::var("FOURPHASE_SIMULATION") else { return (vec![1, 5, 30], 60) };
    match wanted.split_once(':') {
        Some((points, measurements)) => {
            (vec![points.parse().unwrap()], measurements.parse().unwrap())
        }
        None => (vec![1, 5, 20, 60, 200], 2_000),
    }
}

/// Of 0.05 dB and 0.4 degrees of each of two outputs.
fn noise_of_one() -> Complex64 {
    channel_error(0.05 * 2_f64.sqrt(), 0.4 * 2_f64.sqrt())
}

/// Noise that has nothing in common from point to point.
fn independent(points: usize) -> NoiseDraws {
    let u = noise_of_one();
    let covariance = ErrorCovariance::new(u.re * u.re, u.im * u.im, 0.0).unwrap();
    let point = PlanCovariance { image: covariance, wanted: covariance };
    NoiseDraws::new(PlanNoise::independent(&vec![point; points]).unwrap(), 1)
}

fn balance(error: Complex64) -> ReceiverBalance {
    ReceiverBalance {
        image_rejection_db: image_rejection_of_error_db(error),
        sideband_gain_db: 0.0,
        wanted_error: error,
        channel_error: error,
    }
}

/// The truth with noise of its own at every point.
fn measured(truth: &[Complex64], seed: u64) -> Vec<ReceiverBalance> {
    let (mut random, u) = (ChaCha8Rng::seed_from_u64(seed), noise_of_one());
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    truth
        .iter()
        .map(|error| balance(error + Complex64::new(u.re * normal(), u.im * normal())))
        .collect()
}

/// A truth of this rejection at all points, whose direction turns slowly over the plan.
fn truth(rejection_db: f64, points: usize) -> Vec<Complex64> {
    let size = 2.0 * 10_f64.powf(-rejection_db / 20.0).atanh();
    let turn = |at: usize| 0.7 + 2.0 * at as f64 / points as f64;
    (0..points).map(|at| Complex64::from_polar(size, turn(at))).collect()
}

/// Shares of many measurements.
#[derive(Default)]
struct Shares {
    held: f64,
    wrong_pass: f64,
    wrong_fail: f64,
    /// Medians of the lower and the upper end of the interval, dB.
    ends_db: [f64; 2],
}

/// The median of an odd or even number of values.
fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn simulated(truth: &[Complex64], noise: &NoiseDraws, measurements: u32) -> Shares {
    let worst_db = truth.iter().map(|one| image_rejection_of_error_db(*one));
    let worst_db = worst_db.fold(f64::INFINITY, f64::min);
    let rule = DecisionRule::Conformity(0.95);
    // Each truth has noise of its own, so that shares at different truths are independent.
    let first_seed = truth[0].norm().to_bits();
    let one = |number: u32| {
        let known = measured(truth, first_seed.wrapping_add(u64::from(number)));
        let known = KnownBalances::new(&known, noise).unwrap();
        let (low, high) = known.interval_of_worst(REJECTION, 0.95).unwrap();
        let decided = |limit_db: f64| {
            let limit = Limit::new(REJECTION, limit_db).unwrap();
            rule.decide(0.0, known.against(limit, 0.05).unwrap())
        };
        // A limit just missed, and one just met. A perfect part misses none.
        let missed = worst_db.is_finite() && decided(worst_db + 1e-6) == Verdict::Pass;
        let met = decided(worst_db.min(60.0)) == Verdict::Fail;
        let counted =
            [(low..=high).contains(&worst_db), missed, met].map(|is| f64::from(u8::from(is)));
        (counted, [low, high])
    };
    let all: Vec<([f64; 3], [f64; 2])> = (0..measurements).into_par_iter().map(one).collect();
    let share = |at: usize| all.iter().map(|one| one.0[at]).sum::<f64>() / f64::from(measurements);
    let ends_db = [0, 1].map(|end| median(all.iter().map(|one| one.1[end]).collect()));
    Shares { held: share(0), wrong_pass: share(1), wrong_fail: share(2), ends_db }
}

/// One point stands for many with common errors. At 28, 35 and 45 dB and perfect balance the interval holds the truth 94 to 99 % of the time, and at
/// most 5 % of decisions are wrong either way.
#[test]
fn the_worst_of_many_points_is_decided_rightly() {
    let (counts, measurements) = simulated_sizes();
    for points in counts {
        let noise = independent(points);
        for rejection_db in [28.0, 35.0, 45.0, f64::INFINITY] {
            let shares = simulated(&truth(rejection_db, points), &noise, measurements);
            let Shares { held, wrong_pass, wrong_fail, ends_db: [low, high] } = shares;
            let told = format!(
                "{points} points, {rejection_db} dB: held {held:.3}, wrong pass {wrong_pass:.3}, \
                 wrong fail {wrong_fail:.3}, typically {low:.2} to {high:.2} dB"
            );
            eprintln!("{told}");
            // Three standard deviations of a share of 5 % in so many measurements.
            let spread = 3.0 * (0.05 * 0.95 / f64::from(measurements)).sqrt();
            assert!(held > 0.94 - spread && held < 0.99 + spread, "{told}");
            assert!(wrong_pass < 0.05 + spread && wrong_fail < 0.05 + spread, "{told}");
        }
    }
}

/// 123 points of a true 28.06 dB with a limit of 25 dB: the noise makes the worst of them read far too
/// low, and that is no reason to fail it.
#[test]
fn a_good_receiver_with_trace_noise_does_not_fail() {
    let (noise, truth) = (independent(123), truth(28.06, 123));
    let limit = Limit::new(REJECTION, 25.0).unwrap();
    for seed in 0..15 {
        let readings = measured(&truth, seed);
        let known = KnownBalances::new(&readings, &noise).unwrap();
        let against = known.against(limit, 0.05).unwrap();
        assert_ne!(DecisionRule::Conformity(0.95).decide(0.0, against), Verdict::Fail, "{seed}");
    }
}

/// A decision and its limits of the truth say the same, and no failure stands beside "may be perfect".
#[test]
fn decisions_and_intervals_agree() {
    for points in [1, 7] {
        let noise = independent(points);
        for (rejection_db, limit_db) in
            [(f64::INFINITY, 60.0), (40.0, 37.0), (30.0, 30.5), (30.0, 29.0)]
        {
            for seed in 0..10 {
                let readings = measured(&truth(rejection_db, points), seed);
                let known = KnownBalances::new(&readings, &noise).unwrap();
                let limit = Limit::new(REJECTION, limit_db).unwrap();
                let decision =
                    DecisionRule::Conformity(0.95).decide(0.0, known.against(limit, 0.05).unwrap());
                let (low, high) = known.truths(REJECTION, 0.05).unwrap();
                let told = format!("{points} {rejection_db} {seed}: {decision} {low} {high}");
                // The limits are found to 1e-5 dB.
                if (low - limit_db).abs() > 1e-3 && (high - limit_db).abs() > 1e-3 {
                    assert_eq!(decision == Verdict::Pass, low > limit_db, "{told}");
                    assert_eq!(decision == Verdict::Fail, high < limit_db, "{told}");
                }
                let interval = known.interval_of_worst(REJECTION, 0.95).unwrap();
                assert!(interval.0 <= low && high <= interval.1, "{told} {interval:?}");
                assert!(decision != Verdict::Fail || interval.1.is_finite(), "{told}");
            }
        }
    }
}

/// The acceptance limit that is told is the one that the decision uses, for one point and for many.
#[test]
fn the_guard_band_is_that_of_the_decision() {
    for points in [1, 7] {
        let noise = independent(points);
        for limit_db in [25.0, 30.0, 36.0] {
            let limit = Limit::new(REJECTION, limit_db).unwrap();
            let own = truth(30.0, points);
            let known: Vec<_> = own.iter().map(|error| balance(*error)).collect();
            let known = KnownBalances::new(&known, &noise).unwrap();
            let (accepted, refused) = known.acceptance(limit, 0.05);
            let decided = |reading_db: f64| {
                let readings: Vec<_> = truth(reading_db, points).into_iter().map(balance).collect();
                let known = KnownBalances::new(&readings, &noise).unwrap();
                DecisionRule::Conformity(0.95).decide(0.0, known.against(limit, 0.05).unwrap())
            };
            let (accepted, refused) = (accepted.unwrap(), refused.unwrap());
            // The errors of this truth differ in the third order from multiples of one another.
            assert_eq!(decided(accepted + 0.02), Verdict::Pass, "{points} {limit_db} {accepted}");
            assert_eq!(
                decided(accepted - 0.02),
                Verdict::Undecided,
                "{points} {limit_db} {accepted}"
            );
            assert_eq!(decided(refused - 0.05), Verdict::Fail, "{points} {limit_db} {refused}");
            assert_eq!(
                decided(refused + 0.05),
                Verdict::Undecided,
                "{points} {limit_db} {refused}"
            );
        }
    }
}
