//! A wafer of many dies (4-port, 201 points): how much of the reader's speed is left, what a second
//! thread gains, and whether memory grows with the number of dies.
#![allow(missing_docs, clippy::unwrap_used)]

mod command;
mod ratio;

use command::{make_lot, measured_lot};
use fourphase::touchstone::{ReadOptions, read};
use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::time::Instant;

fn run(folder: &Path, recipe: &str, threads: &str) -> (f64, f64) {
    measured_lot(folder, recipe, threads, &[])
}

/// Two ways to run, in turns, so that what else the machine does falls on both alike: the median of
/// each, and of the ratio of the first to the second.
fn in_turns(folder: &Path, one: (&str, &str), other: (&str, &str)) -> (f64, f64, f64) {
    let mut times: Vec<(f64, f64)> =
        (0..5).map(|_| (run(folder, one.0, one.1).0, run(folder, other.0, other.1).0)).collect();
    let mut median = |key: fn(&(f64, f64)) -> f64| {
        times.sort_by(|left, right| key(left).total_cmp(&key(right)));
        key(&times[2])
    };
    (median(|pair| pair.0), median(|pair| pair.1), median(|pair| pair.0 / pair.1))
}

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    for dies in ["1000", "10000"] {
        make_lot(path, dies);
        let recipe = path.join(dies).join("recipe.toml");
        let text = std::fs::read_to_string(&recipe).unwrap();
        let plain = text.replace("correction = true", "correction = false");
        std::fs::write(path.join(dies).join("plain.toml"), plain).unwrap();
    }

    let files: Vec<PathBuf> = std::fs::read_dir(path.join("10000/dies"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    for (threads, name) in [(1, "1"), (2, "2")] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let reading = || {
            let start = Instant::now();
            pool.install(|| {
                files.par_iter().for_each(|file| {
                    black_box(read(file, &ReadOptions::default()).unwrap());
                });
            });
            start.elapsed().as_secs_f64()
        };
        // In turns, so that what else the machine does falls on both alike.
        let mut times: Vec<(f64, f64)> =
            (0..5).map(|_| (reading(), run(path, "10000/plain.toml", name).0)).collect();
        times.sort_by(|one, other| (one.1 / one.0).total_cmp(&(other.1 / other.0)));
        let (reading, whole) = times[2];
        println!("10000 dies on {threads} threads: reading {reading:.2} s, whole run {whole:.2} s");
        ratio::report(
            &format!("1.5 times reading alone over the whole run, {threads} threads"),
            1.5 * reading / whole,
            1.0,
        );
    }
    let (_, _, gain) = in_turns(path, ("10000/plain.toml", "1"), ("10000/plain.toml", "2"));
    ratio::report("one thread over two", gain, 1.8);
    let (_, _, trims) = in_turns(path, ("10000/plain.toml", "2"), ("10000/recipe.toml", "2"));
    ratio::report("the run without trims over that with them, two threads", trims, 0.5);
    let (_, small) = run(path, "1000/recipe.toml", "2");
    let (_, large) = run(path, "10000/recipe.toml", "2");
    if small > 0.0 {
        println!("largest memory: {:.0} MB, {:.0} MB", small / 1024.0, large / 1024.0);
        let bytes = 1024.0 * (large - small).max(1.0) / 9000.0;
        ratio::report("the allowed 200 bytes over the growth per die", 200.0 / bytes, 1.0);
    }
}
