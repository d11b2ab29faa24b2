//! Mutated inputs through everything that reads or computes: no panic, no endless work, no figure
//! that is not a number, no message without end.
//!
//! `cargo test` runs some thousands. `FOURPHASE_FUZZ_CASES=1000000 cargo test --test suite
//! hostile_inputs -- --nocapture` runs a million and prints a table; `FOURPHASE_FUZZ_SEED` chooses
//! others. Every finding names target, seed and number, from which it comes back.

use crate::hostile_mutations::{apply, mutation};
use crate::hostile_targets::{Outcome, Seed, TARGETS, Target, World};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Cases of an ordinary run, all targets together.
const CASES: u64 = 4000;
/// The time that a kilobyte may take, and any input at least; see [`own_time`].
const PER_KILOBYTE: Duration = Duration::from_millis(50);
/// Characters of a message.
const LONGEST_MESSAGE: usize = 10_000;

/// What came of the cases of a target.
#[derive(Clone, Default)]
struct Tally {
    cases: u64,
    refused: u64,
    passed: u64,
    slowest: Duration,
    findings: Vec<String>,
}

fn number_in(variable: &str) -> Option<u64> {
    std::env::var(variable).ok().and_then(|text| text.replace('_', "").parse().ok())
}

/// The input of a case: a seed file of the target with one to three mutations.
fn input(target: &Target, seed: u64, case: u64) -> (String, Vec<u8>) {
    let mut bytes = [0_u8; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    bytes[8..16].copy_from_slice(&case.to_le_bytes());
    bytes[16..16 + target.name.len().min(16)]
        .copy_from_slice(&target.name.as_bytes()[..target.name.len().min(16)]);
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    let seeds = (target.seeds)();
    let strategy = (any::<prop::sample::Index>(), prop::collection::vec(mutation(), 1..4));
    let (file, mutations) = strategy.new_tree(&mut runner).unwrap().current();
    let (name, mut bytes) = seeds[file.index(seeds.len())].clone();
    mutations.iter().for_each(|mutation| apply(&mut bytes, mutation));
    (name, bytes)
}

/// What is wrong with the outcome of a case.
fn fault(outcome: &Outcome) -> Option<String> {
    match outcome {
        Outcome::Refused(message) => {
            let length = message.chars().count();
            (length > LONGEST_MESSAGE).then(|| format!("a message of {length} characters"))
        }
        Outcome::Done { passes, shown } => {
            let has_nan = shown.split(|c: char| !c.is_alphanumeric()).any(|word| word == "NaN");
            has_nan.then(|| {
                format!("NaN, with a verdict that {}", if *passes { "passes" } else { "fails" })
            })
        }
        Outcome::Broken(what) => Some(what.clone()),
    }
}

/// Ten times what the slowest unchanged file of a target takes: the limit where analyses follow the
/// reading, or where the build is not optimised.
fn own_time(target: &Target, world: &World) -> Duration {
    let time = |(name, bytes): &Seed| {
        let start = Instant::now();
        let _ = (target.run)(world, name, bytes);
        start.elapsed()
    };
    10 * (target.seeds)().iter().map(time).max().unwrap_or_default()
}

fn run_case(
    target: &Target,
    (world, least): (&World, Duration),
    seed: u64,
    case: u64,
    tally: &mut Tally,
) {
    let (name, bytes) = input(target, seed, case);
    let allowed = least.max(PER_KILOBYTE * u32::try_from(bytes.len() / 1024 + 1).unwrap());
    let mut found = None;
    let mut taken = Duration::MAX;
    // A machine that is busy with other things is no finding: the fastest of three counts.
    for _ in 0..3 {
        let start = Instant::now();
        found = Some(catch_unwind(AssertUnwindSafe(|| (target.run)(world, &name, &bytes))));
        taken = taken.min(start.elapsed());
        if taken <= allowed {
            break;
        }
    }
    tally.cases += 1;
    tally.slowest = tally.slowest.max(taken);
    let what = match found {
        Some(Ok(outcome)) => {
            match &outcome {
                Outcome::Refused(_) => tally.refused += 1,
                Outcome::Done { passes: true, .. } => tally.passed += 1,
                _ => {}
            }
            fault(&outcome)
        }
        _ => Some("a panic".to_owned()),
    };
    let slow = (taken > allowed).then(|| format!("{taken:.2?} for {} bytes", bytes.len()));
    for what in what.into_iter().chain(slow) {
        tally.findings.push(format!("{} (seed {seed}, case {case}, {name}): {what}", target.name));
    }
}

/// Runs the cases of a target on all processors.
fn run_target(target: &Target, seed: u64, cases: u64) -> Tally {
    let (next, total) = (AtomicU64::new(0), Mutex::new(Tally::default()));
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                let world = World::new();
                let least = own_time(target, &world);
                let mut own = Tally::default();
                loop {
                    let case = next.fetch_add(1, Ordering::Relaxed);
                    if case >= cases {
                        break;
                    }
                    run_case(target, (&world, least), seed, case, &mut own);
                }
                let mut total = total.lock().unwrap();
                total.cases += own.cases;
                total.refused += own.refused;
                total.passed += own.passed;
                total.slowest = total.slowest.max(own.slowest);
                total.findings.extend(own.findings);
            });
        }
    });
    total.into_inner().unwrap()
}

#[test]
fn mutated_inputs_give_a_result_or_an_error() {
    let seed = number_in("FOURPHASE_FUZZ_SEED").unwrap_or(1);
    if let (Some(case), Ok(name)) =
        (number_in("FOURPHASE_FUZZ_CASE"), std::env::var("FOURPHASE_FUZZ_TARGET"))
    {
        let target = TARGETS.iter().find(|target| target.name == name).unwrap();
        let (file, bytes) = input(target, seed, case);
        println!("{file}:\n{}", String::from_utf8_lossy(&bytes));
        println!("{:?}", (target.run)(&World::new(), &file, &bytes));
        return;
    }
    let cases = number_in("FOURPHASE_FUZZ_CASES").unwrap_or(CASES);
    let shares: u64 = TARGETS.iter().map(|target| target.share).sum();
    let mut findings = Vec::new();
    println!(
        "{:<24}{:>10}{:>10}{:>10}{:>10}{:>12}",
        "target", "inputs", "refused", "passed", "faults", "slowest"
    );
    for target in &TARGETS {
        let tally = run_target(target, seed, (cases * target.share / shares).max(1));
        let Tally { cases, refused, passed, slowest, findings: own } = tally;
        let faults = own.len();
        println!(
            "{:<24}{cases:>10}{refused:>10}{passed:>10}{faults:>10}{slowest:>12.1?}",
            target.name
        );
        findings.extend(own.into_iter().take(20));
    }
    assert!(findings.is_empty(), "{}", findings.join("\n"));
}

/// A target whose unchanged files are refused tests nothing but refusals.
#[test]
fn unchanged_inputs_give_results() {
    let world = World::new();
    for target in TARGETS.iter().filter(|target| target.name != "Touchstone") {
        for (name, bytes) in (target.seeds)() {
            let outcome = (target.run)(&world, name, bytes);
            assert!(
                matches!(outcome, Outcome::Done { .. }),
                "{}, {name}: {outcome:?}",
                target.name
            );
        }
    }
}
