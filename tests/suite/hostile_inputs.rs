//! Mutated inputs through everything that reads or computes: no panic, no endless work, no figure
//! that is not a number, no message without end.
//!
//! `cargo test` runs some thousands; DEVELOPERS.md says how a million are run, in parts. Every finding
//! names target, seed and number, from which it comes back.

use crate::hostile_mutations::{apply, apply_to_arguments, mutation};
use crate::hostile_outputs::undefined_figure;
use crate::hostile_targets::{Outcome, TARGETS, Target, World};
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
/// Bytes of memory that an input may take for each of its own, and beside that any input: tables of
/// the fast paths, the files beside the mutated one, and what is printed of them.
const MEMORY_PER_BYTE: u64 = 20;
const MEMORY_OF_ANY: u64 = 4 << 20;
/// Bytes for each point that an input asks for in so many digits: the matrices of a network of 20
/// ports, and what is written of them.
const MEMORY_PER_POINT: u64 = 2_000;
/// Characters of a message.
const LONGEST_MESSAGE: usize = 10_000;

/// What came of the cases of a target.
#[derive(Clone, Default)]
struct Tally {
    cases: u64,
    refused: u64,
    passed: u64,
    slowest: Duration,
    most_memory: u64,
    findings: Vec<String>,
}

impl Tally {
    fn add(&mut self, other: Self) {
        self.cases += other.cases;
        self.refused += other.refused;
        self.passed += other.passed;
        self.slowest = self.slowest.max(other.slowest);
        self.most_memory = self.most_memory.max(other.most_memory);
        self.findings.extend(other.findings);
    }

    fn row(&self, name: &str) -> String {
        let Self { cases, refused, passed, slowest, most_memory, findings } = self;
        #[expect(clippy::cast_precision_loss, reason = "it is shown with one digit")]
        let mebibytes = *most_memory as f64 / f64::from(1 << 20);
        let faults = findings.len();
        format!(
            "{name:<24}{cases:>10}{refused:>10}{passed:>10}{faults:>10}{slowest:>12.1?}{mebibytes:>10.1}"
        )
    }
}

/// Makes this thread the only one of its rayon pool, so that it does all work of a case: its
/// allocations are counted, and as many cases run at a time as there are threads.
fn alone() -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build().unwrap()
}

/// The time of a thread, without the time in which other programs have its processor where the system
/// tells it.
struct Clock {
    processor: Option<Duration>,
    wall: Instant,
}

impl Clock {
    fn now() -> Self {
        Self { processor: Self::processor_time(), wall: Instant::now() }
    }

    fn processor_time() -> Option<Duration> {
        let times = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        times.split(' ').next()?.parse().ok().map(Duration::from_nanos)
    }

    fn elapsed(&self) -> Duration {
        match (self.processor, Self::processor_time()) {
            (Some(then), Some(now)) => now.saturating_sub(then),
            _ => self.wall.elapsed(),
        }
    }
}

/// Runs a case and returns what came of it, with the time and the memory that it took.
fn measured(
    target: &Target,
    world: &World,
    name: &str,
    bytes: &[u8],
) -> (Option<Outcome>, Duration, u64) {
    let mut outcome = None;
    let start = Clock::now();
    let memory = allocation_counter::measure(|| {
        outcome = catch_unwind(AssertUnwindSafe(|| (target.run)(world, name, bytes))).ok();
    });
    (outcome, start.elapsed(), memory.bytes_max)
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
    let index = any::<prop::sample::Index>;
    let strategy = (index(), prop::collection::vec((mutation(), index()), 1..4));
    let (file, mutations) = strategy.new_tree(&mut runner).unwrap().current();
    let (name, mut bytes) = seeds[file.index(seeds.len())].clone();
    for (mutation, line) in &mutations {
        if target.takes_arguments {
            apply_to_arguments(&mut bytes, mutation, line);
        } else {
            apply(&mut bytes, mutation);
        }
    }
    (name, bytes)
}

/// What is wrong with the outcome of a case.
fn fault(outcome: &Outcome, bytes: &[u8]) -> Option<String> {
    match outcome {
        Outcome::Refused(message) => {
            let length = message.chars().count();
            (length > LONGEST_MESSAGE).then(|| format!("a message of {length} characters"))
        }
        Outcome::Done { passes, shown } => undefined_figure(shown, bytes).map(|line| {
            let verdict = if *passes { "passes" } else { "fails" };
            format!("a figure without a number, with a verdict that {verdict}: {line}")
        }),
        Outcome::Broken(what) => Some(what.clone()),
    }
}

/// Ten times what the slowest unchanged file of a target takes: the limit where analyses follow the
/// reading, or where the build is not optimised.
fn own_time(target: &Target) -> Duration {
    let slowest = || {
        let (world, _pool) = (World::new(), alone());
        let seeds = (target.seeds)().iter();
        seeds.map(|(name, bytes)| measured(target, &world, name, bytes).1).max()
    };
    let slowest = std::thread::scope(|scope| scope.spawn(slowest).join().unwrap());
    10 * slowest.unwrap_or_default()
}

/// The largest number of points that a text asks for: `points = 201`, or `1GHz..2GHz:201`.
fn points_wanted(bytes: &[u8]) -> u64 {
    let text = String::from_utf8_lossy(bytes);
    let digits = |rest: &str| -> Option<u64> {
        let end = rest.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(rest.len());
        rest[..end].parse().ok()
    };
    let after = ["points =", "Hz:"].into_iter().flat_map(|key| text.split(key).skip(1));
    let counts = after.filter_map(|rest| digits(rest.trim_start()));
    // More points than this are refused, so they excuse nothing.
    counts.filter(|count| *count <= 100_000).max().unwrap_or(0)
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
    let (mut found, mut taken, memory) = measured(target, world, &name, &bytes);
    // A machine that is busy with other things is no finding: the fastest of three counts.
    for _ in 0..2 {
        if taken > allowed {
            let again = measured(target, world, &name, &bytes);
            (found, taken) = (again.0, taken.min(again.1));
        }
    }
    tally.cases += 1;
    tally.slowest = tally.slowest.max(taken);
    tally.most_memory = tally.most_memory.max(memory);
    let what = match found {
        Some(outcome) => {
            match &outcome {
                Outcome::Refused(_) => tally.refused += 1,
                Outcome::Done { passes: true, .. } => tally.passed += 1,
                _ => {}
            }
            fault(&outcome, &bytes)
        }
        None => Some("a panic".to_owned()),
    };
    let slow = (taken > allowed).then(|| format!("{taken:.2?} for {} bytes", bytes.len()));
    let memory_allowed = MEMORY_OF_ANY
        + MEMORY_PER_BYTE * bytes.len() as u64
        + MEMORY_PER_POINT * points_wanted(&bytes);
    let large = (memory > memory_allowed)
        .then(|| format!("{memory} bytes of memory for {} bytes", bytes.len()));
    for what in what.into_iter().chain(slow).chain(large) {
        tally.findings.push(format!("{} (seed {seed}, case {case}, {name}): {what}", target.name));
    }
}

/// Runs the cases of a target on so many threads.
fn run_target(target: &Target, seed: u64, cases: u64, threads: usize) -> Tally {
    let (next, total) = (AtomicU64::new(0), Mutex::new(Tally::default()));
    let least = own_time(target);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let (world, _pool) = (World::new(), alone());
                let mut own = Tally::default();
                loop {
                    let case = next.fetch_add(1, Ordering::Relaxed);
                    if case >= cases {
                        break;
                    }
                    run_case(target, (&world, least), seed, case, &mut own);
                }
                total.lock().unwrap().add(own);
            });
        }
    });
    total.into_inner().unwrap()
}

#[test]
fn mutated_inputs_give_a_result_or_an_error() {
    let seed = number_in("FOURPHASE_FUZZ_SEED").unwrap_or(1);
    let wanted = std::env::var("FOURPHASE_FUZZ_TARGET").ok();
    let is_wanted = |target: &&Target| wanted.as_ref().is_none_or(|name| target.name == name);
    if let Some(case) = number_in("FOURPHASE_FUZZ_CASE") {
        let target = TARGETS.iter().find(is_wanted).unwrap();
        let (file, bytes) = input(target, seed, case);
        println!("{file}:\n{}", String::from_utf8_lossy(&bytes));
        println!("{:?}", measured(target, &World::new(), &file, &bytes));
        return;
    }
    let cases = number_in("FOURPHASE_FUZZ_CASES").unwrap_or(CASES);
    let processors = std::thread::available_parallelism().map_or(1, usize::from);
    let threads = number_in("FOURPHASE_FUZZ_THREADS").and_then(|count| usize::try_from(count).ok());
    let threads = threads.unwrap_or(processors).max(1);
    let shares: u64 = TARGETS.iter().map(|target| target.share).sum();
    let mut total = Tally::default();
    println!(
        "{:<24}{:>10}{:>10}{:>10}{:>10}{:>12}{:>10}",
        format!("seed {seed}"),
        "inputs",
        "refused",
        "passed",
        "faults",
        "slowest",
        "MiB"
    );
    for target in TARGETS.iter().filter(is_wanted) {
        let tally = run_target(target, seed, (cases * target.share / shares).max(1), threads);
        println!("{}", tally.row(target.name));
        tally.findings.iter().take(20).for_each(|finding| println!("  {finding}"));
        total.add(tally);
    }
    println!("{}", total.row("all"));
    let findings = total.findings;
    assert!(findings.is_empty(), "{}", findings[..findings.len().min(50)].join("\n"));
}

/// A target whose unchanged files are refused tests nothing but refusals.
#[test]
fn unchanged_inputs_give_results() {
    let world = World::new();
    let mut refused = Vec::new();
    for target in TARGETS.iter().filter(|target| target.name != "Touchstone") {
        for (name, bytes) in (target.seeds)() {
            let outcome = (target.run)(&world, name, bytes);
            if !matches!(outcome, Outcome::Done { .. }) {
                let input = String::from_utf8_lossy(bytes);
                refused.push(format!("{}, {name}: {outcome:?} for {input}", target.name));
            }
        }
    }
    assert!(refused.is_empty(), "{}", refused.join("\n"));
}
