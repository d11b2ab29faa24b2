//! The demo receiver: read and solved, with its budget, trims, rings and noise, and with pictures.
#![allow(missing_docs, clippy::unwrap_used)]

mod ratio;

use criterion::Criterion;
use fourphase::description::read_receiver;
use fourphase::downconverter::{Receiver, analyse_receiver, plan_points};
use fourphase::touchstone::ReadOptions;
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// The whole command, in a process of its own: the median of several runs, seconds.
fn command_seconds(arguments: &[&str]) -> f64 {
    let mut times: Vec<f64> = (0..9)
        .map(|_| {
            let start = Instant::now();
            let output = Command::new(env!("CARGO_BIN_EXE_fourphase"))
                .args(["downconverter", "data-demo/receiver.toml", "--quiet"])
                .args(arguments)
                .current_dir(env!("CARGO_MANIFEST_DIR"))
                .output()
                .unwrap();
            assert!(output.status.success());
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// The shortest of several runs, seconds.
fn seconds<T>(run: impl Fn() -> T) -> f64 {
    let one = |_| {
        let start = Instant::now();
        black_box(run());
        start.elapsed().as_secs_f64()
    };
    (0..9).map(one).fold(f64::INFINITY, f64::min)
}

/// What the chain and its tones add to the analysis, per tone, against the solution for the rejection
/// alone.
fn per_tone(plain: &Receiver, chained: &Receiver) {
    let result = analyse_receiver(chained).unwrap();
    let stages = &result.lo_chain.as_ref().unwrap().stages;
    let mut multiples: Vec<f64> =
        stages.iter().flat_map(|own| &own.tones).map(|tone| tone.multiple).collect();
    multiples.sort_by(f64::total_cmp);
    multiples.dedup();
    let alone = seconds(|| plan_points(plain).unwrap());
    let added = seconds(|| analyse_receiver(chained).unwrap())
        - seconds(|| analyse_receiver(plain).unwrap());
    let tones = u32::try_from(multiples.len()).unwrap();
    let per_tone = added.max(f64::MIN_POSITIVE) / f64::from(tones);
    ratio::report("the rejection alone over the LO chain, per tone", alone / per_tone, 1.0);
}

fn main() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/receiver.toml");
    let loaded = read_receiver(&demo, &ReadOptions::default()).unwrap();
    let mut criterion = Criterion::default().configure_from_args().sample_size(20);
    let mut group = criterion.benchmark_group("receiver");
    group.bench_function("read and bring to the plan's frequencies", |b| {
        b.iter(|| read_receiver(black_box(&demo), &ReadOptions::default()).unwrap());
    });
    group.bench_function("solve", |b| {
        b.iter(|| analyse_receiver(black_box(&loaded.receiver)).unwrap());
    });
    group.bench_function("solve for the rejection alone", |b| {
        b.iter(|| plan_points(black_box(&loaded.receiver)).unwrap());
    });
    let described = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/lo-chain.toml");
    let chained = read_receiver(&described, &ReadOptions::default()).unwrap().receiver;
    group.bench_function("solve with its LO chain", |b| {
        b.iter(|| analyse_receiver(black_box(&chained)).unwrap());
    });
    group.finish();
    per_tone(&loaded.receiver, &chained);
    let whole = ratio::speed_ratio(
        || analyse_receiver(&loaded.receiver).unwrap(),
        || plan_points(&loaded.receiver).unwrap(),
    );
    println!("the whole analysis takes {:.1} times its solution for the rejection", 1.0 / whole);
    ratio::report("the allowed 25 solutions over the whole analysis", 25.0 * whole, 1.0);

    let starts = (0..15).map(|_| {
        let start = Instant::now();
        let version =
            Command::new(env!("CARGO_BIN_EXE_fourphase")).arg("--version").output().unwrap();
        assert!(version.status.success());
        start.elapsed().as_secs_f64()
    });
    let mut starts: Vec<f64> = starts.collect();
    starts.sort_by(f64::total_cmp);
    ratio::report("the allowed 10 ms over the start of the command", 0.01 / starts[7], 1.0);

    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report");
    let whole = command_seconds(&["--format", "json"]);
    let pictures =
        command_seconds(&["--out", out.to_str().unwrap(), "--overwrite", "--format", "csv"]);
    ratio::report("the allowed 50 ms over the demo receiver without pictures", 0.05 / whole, 1.0);
    ratio::report(
        "the allowed second over the demo receiver with all pictures",
        1.0 / pictures,
        1.0,
    );
}
