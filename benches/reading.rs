//! Reading Touchstone against the raw decoding limit: `fast_float2` over the same numbers, already
//! cut apart, in a loop (for MA and DB with the turn from polar to rectangular form that any reader
//! needs); and against a numpy script that decodes the same file.
#![allow(missing_docs, clippy::unwrap_used)]

mod ratio;

use criterion::{Criterion, Throughput};
use fourphase::network::{Port, Transformation, assess};
use fourphase::report::inspect_text;
use fourphase::touchstone::{
    ReadOptions, TouchstoneFile, WriteOptions, findings_beside_quality, parse, write,
};
use num_complex::Complex64;
use std::fmt::Write as _;
use std::hint::black_box;
use std::path::Path;
use std::process::Command;

/// A 4-port file of 20,000 points with full-length numbers, as a field solver writes them.
fn four_port_text(format: &str) -> String {
    let mut text = format!("! synthetic 4-port\n# Hz S {format} R 50\n");
    let mut state = 1_u64;
    let mut draw = move || {
        // xorshift: any numbers will do, as long as they have all their digits.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    };
    for point in 0..20_000 {
        write!(text, "{}", 26e9 + 3e5 * f64::from(point)).unwrap();
        for entry in 0..16 {
            if entry > 0 && entry % 4 == 0 {
                text.push_str("\n ");
            }
            let (first, second) = match format {
                // Small enough for a passive part.
                "DB" => (40.0 * draw() - 35.0, 360.0 * draw()),
                "MA" => (0.5 * draw().abs(), 360.0 * draw()),
                _ => (0.5 * draw(), 0.5 * draw()),
            };
            write!(text, " {first} {second}").unwrap();
        }
        text.push('\n');
    }
    text
}

fn decode_only(tokens: &[&[u8]]) -> f64 {
    tokens.iter().map(|token| fast_float2::parse::<f64, _>(token).unwrap()).sum()
}

fn decode_polar(tokens: &[&[u8]], is_decibel: bool) -> Complex64 {
    // The frequency at the head of each set is skipped; the odd count of a set keeps pairs whole.
    tokens
        .chunks_exact(33)
        .flat_map(|set| set[1..].chunks_exact(2))
        .map(|pair| {
            let [first, angle] =
                [pair[0], pair[1]].map(|token| fast_float2::parse::<f64, _>(token).unwrap());
            let magnitude = if is_decibel { 10_f64.powf(first / 20.0) } else { first };
            Complex64::from_polar(magnitude, angle.to_radians())
        })
        .sum()
}

fn tokens(text: &str) -> Vec<&[u8]> {
    text.lines().skip(2).flat_map(str::split_ascii_whitespace).map(str::as_bytes).collect()
}

/// Seconds that numpy needs to decode the file, the best of several; `None` without numpy.
fn numpy_seconds(path: &Path) -> Option<f64> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/rival/decode.py");
    let output = Command::new("python3").arg(script).arg(path).output().ok()?;
    if !output.status.success() {
        return None;
    }
    String::from_utf8(output.stdout).ok()?.trim().parse().ok()
}

/// What `inspect` and `convert` do with a file, against reading it, and writing it.
fn whole_commands(text: &str, format: &str) {
    let (options, name) = (ReadOptions::default(), Path::new("synthetic.s4p"));
    let read = || parse(text.as_bytes(), name, &options).unwrap();
    let inspect = || {
        let file = read();
        let quality = assess(&file.network).unwrap();
        let findings = findings_beside_quality(&file, &quality).unwrap();
        assert!(quality.passive_within(0.0) && findings.is_empty());
        inspect_text("synthetic.s4p", &file, Some(&quality), &[])
    };
    let ratio = ratio::speed_ratio(inspect, read);
    ratio::report(&format!("reading {format} over inspecting it"), ratio, 0.5);
    let write_options = |file: &TouchstoneFile| WriteOptions {
        number_format: file.number_format,
        ..WriteOptions::default()
    };
    let written = |file: &TouchstoneFile| {
        let mut bytes = Vec::new();
        write(&mut bytes, file, &write_options(file)).unwrap();
        bytes
    };
    let (to_75_ohm, to_mixed_mode) = (
        Transformation { reference_ohm: vec![75.0.into()], ..Transformation::default() },
        Transformation {
            pairs: [(0, 1), (2, 3)]
                .map(|(plus, minus)| (Port::from_index(plus), Port::from_index(minus)))
                .to_vec(),
            ..Transformation::default()
        },
    );
    for (what, transformation) in [("to 75 ohm", to_75_ohm), ("to mixed mode", to_mixed_mode)] {
        let convert = || {
            let mut file = read();
            file.network = transformation.apply(&file.network).unwrap().0;
            written(&file)
        };
        let ratio = ratio::speed_ratio(convert, || written(&read()));
        ratio::report(
            &format!("reading and writing {format} over converting it {what}"),
            ratio,
            0.5,
        );
    }
}

fn main() {
    let options = ReadOptions::default();
    let name = Path::new("synthetic.s4p");
    let mut criterion = Criterion::default().configure_from_args().sample_size(10);
    let mut group = criterion.benchmark_group("reading");
    for format in ["RI", "MA", "DB"] {
        let text = four_port_text(format);
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_function(format!("4-port {format}"), |bencher| {
            bencher.iter(|| parse(black_box(text.as_bytes()), name, &options).unwrap());
        });
        let cut = tokens(&text);
        group.bench_function(format!("decoding alone {format}"), |bencher| {
            bencher.iter(|| decode_only(black_box(&cut)));
        });
    }
    group.finish();

    for format in ["RI", "MA", "DB"] {
        let text = four_port_text(format);
        let cut = tokens(&text);
        let parsed = || parse(text.as_bytes(), name, &options).unwrap();
        let [one, two] = [1, 2]
            .map(|threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap());
        // Both on the one thread of the pool: a call into it waits for that thread.
        let alone = one.install(|| ratio::speed_ratio(parsed, || decode_only(&cut)));
        if format == "RI" {
            ratio::report("reading RI, of the speed of decoding alone", alone, 0.8);
        } else {
            println!(
                "ratio: reading {format}, of the speed of decoding alone: {alone:.2} (for information)"
            );
            let polar =
                one.install(|| ratio::speed_ratio(parsed, || decode_polar(&cut, format == "DB")));
            ratio::report(
                &format!("reading {format}, of the speed of decoding and turning"),
                polar,
                0.8,
            );
        }
        let gain = ratio::speed_ratio(|| two.install(parsed), || one.install(parsed));
        ratio::report(&format!("reading {format}, one thread over two"), gain, 1.6);
        one.install(|| whole_commands(&text, format));
    }

    let text = four_port_text("RI");
    let path = std::env::temp_dir().join(format!("fourphase-bench-{}.s4p", std::process::id()));
    std::fs::write(&path, &text).unwrap();
    match numpy_seconds(&path) {
        None => println!("numpy is not here: its ratio is skipped"),
        Some(rival) => {
            let mut best = f64::INFINITY;
            for _ in 0..5 {
                let start = std::time::Instant::now();
                black_box(fourphase::touchstone::read(&path, &options).unwrap());
                best = best.min(start.elapsed().as_secs_f64());
            }
            ratio::report("reading RI, times as fast as numpy", rival / best, 1.0);
        }
    }
    std::fs::remove_file(&path).unwrap();
}
