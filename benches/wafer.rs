//! A wafer of many dies (4-port, 201 points): how much of the reader's speed is left, what a second
//! thread gains, and whether memory grows with the number of dies.
#![allow(missing_docs, clippy::unwrap_used)]

mod command;
mod ratio;

use command::{make_lot, measured_lot};
use fourphase::touchstone::{ReadOptions, read};
use std::hint::black_box;
use std::path::Path;
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

    let start = Instant::now();
    let mut files = 0.0;
    for entry in std::fs::read_dir(path.join("10000/dies")).unwrap() {
        black_box(read(&entry.unwrap().path(), &ReadOptions::default()).unwrap());
        files += 1.0;
    }
    let reading = start.elapsed().as_secs_f64();
    let (one, two, gain) = in_turns(path, ("10000/plain.toml", "1"), ("10000/plain.toml", "2"));
    println!(
        "10000 dies: reading alone {reading:.2} s, one thread {one:.2} s, two {two:.2} s \
         ({:.0} dies/s)",
        files / two
    );
    ratio::report("reading alone, one thread, over the whole run on two", reading / two, 0.5);
    ratio::report("one thread over two", gain, 1.8);
    let (_, _, trims) = in_turns(path, ("10000/plain.toml", "2"), ("10000/recipe.toml", "2"));
    ratio::report("the run without trims over that with them, two threads", trims, 0.5);
    let (_, small) = run(path, "1000/recipe.toml", "2");
    let (_, large) = run(path, "10000/recipe.toml", "2");
    if small > 0.0 {
        println!("largest memory: {:.0} MB, {:.0} MB", small / 1024.0, large / 1024.0);
        ratio::report(
            "1.2 times the memory of 1000 dies over that of 10000",
            1.2 * small / large,
            1.0,
        );
    }
}
