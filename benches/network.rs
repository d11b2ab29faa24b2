//! Joining against numpy's stacked solve of the same size; conversion, renormalisation and
//! interpolation per second.
#![allow(missing_docs, clippy::unwrap_used)]

mod ratio;

use criterion::{Criterion, Throughput};
use fourphase::component::{
    BranchLine, CoupledLineCoupler, Line, PlanarBalun, branch_line, coupled_line_coupler, line,
    planar_balun,
};
use fourphase::network::{
    FrequencyGrid, Network, ParameterKind, Port, Terminal, WaveDefinition, Wiring,
    change_reference, convert, join, onto_grid,
};
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

const POINTS: usize = 1000;

fn at(block: usize, number: usize) -> Terminal {
    Terminal { block, port: Port::from_number(number).unwrap() }
}

/// An LO tree: hybrid, baluns, lines and a coupler; 20 joined ports and 6 outside ones.
fn tree() -> (Vec<Network>, Wiring) {
    let grid = FrequencyGrid::linear(24e9, 34e9, POINTS).unwrap();
    let center_hz = 29e9;
    let hybrid =
        branch_line(&grid, &BranchLine { impedance_ohm: 48.0, center_hz, loss_db: 0.2 }).unwrap();
    let balun =
        planar_balun(&grid, &PlanarBalun::matched(50.0, 60.0, center_hz, 0.3, 6.0).unwrap())
            .unwrap();
    let coupler = CoupledLineCoupler {
        coupling_db: 6.0,
        impedance_ohm: 52.0,
        center_hz,
        loss_db: 0.2,
        odd_mode_velocity_excess_percent: 5.0,
    };
    let coupler = coupled_line_coupler(&grid, &coupler).unwrap();
    let piece = |angle_deg: f64| {
        line(&grid, &Line { loss_db: 0.1, ..Line::ideal(55.0, center_hz, angle_deg) }).unwrap()
    };
    let mut blocks = vec![hybrid, balun.clone(), balun, coupler];
    blocks.extend([31.0, 33.0, 20.0, 21.0, 22.0, 23.0].map(piece));
    let joins = [
        (at(0, 2), at(4, 1)),
        (at(4, 2), at(1, 1)),
        (at(0, 3), at(5, 1)),
        (at(5, 2), at(2, 1)),
        (at(1, 2), at(6, 1)),
        (at(1, 3), at(7, 1)),
        (at(2, 2), at(8, 1)),
        (at(2, 3), at(9, 1)),
        (at(6, 2), at(3, 1)),
        (at(7, 2), at(3, 2)),
    ];
    let joins = joins.map(|(one, other)| vec![one, other]).to_vec();
    let outside = vec![at(0, 1), at(0, 4), at(8, 2), at(9, 2), at(3, 3), at(3, 4)];
    (blocks, Wiring { joins, outside })
}

fn numpy_seconds() -> Option<f64> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/rival/solve.py");
    // Settings of a machine for its BLAS would slow it down here.
    let output = Command::new("python3")
        .env_remove("OPENBLAS_CORETYPE")
        .env_remove("OPENBLAS_L2_SIZE")
        .arg(script)
        .args(["1000", "20", "6"])
        .output()
        .ok()?;
    if !output.status.success() {
        return None;
    }
    String::from_utf8(output.stdout).ok()?.trim().parse().ok()
}

fn main() {
    let (blocks, wiring) = tree();
    let joined: usize = wiring.joins.iter().map(Vec::len).sum();
    assert_eq!((joined, wiring.outside.len()), (20, 6));
    let hybrid = &blocks[0];
    let coarse = FrequencyGrid::linear(24e9, 34e9, 101).unwrap();
    let few =
        branch_line(&coarse, &BranchLine { impedance_ohm: 48.0, center_hz: 29e9, loss_db: 0.2 })
            .unwrap();

    let mut criterion = Criterion::default().configure_from_args().sample_size(20);
    let mut group = criterion.benchmark_group("network");
    group.throughput(Throughput::Elements(POINTS as u64));
    group.bench_function("join 20 + 6 ports", |b| {
        b.iter(|| join(black_box(&blocks), &wiring).unwrap());
    });
    group.bench_function("4-port S to Z", |b| {
        b.iter(|| convert(black_box(hybrid), ParameterKind::Impedance).unwrap());
    });
    group.bench_function("4-port to other references", |b| {
        b.iter(|| {
            change_reference(black_box(hybrid), vec![75.0.into()], WaveDefinition::Kurokawa)
                .unwrap()
        });
    });
    group.bench_function("4-port from 101 points", |b| {
        b.iter(|| onto_grid(black_box(&few), hybrid.grid()).unwrap());
    });
    group.finish();

    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let mut best = f64::INFINITY;
    for _ in 0..200 {
        let start = Instant::now();
        black_box(one.install(|| join(&blocks, &wiring).unwrap()));
        best = best.min(start.elapsed().as_secs_f64());
    }
    match numpy_seconds() {
        None => println!("numpy is not here: its ratio is skipped"),
        Some(rival) => ratio::report(
            "joining 20 + 6 ports at 1,000 frequencies, times as fast as numpy, one thread",
            rival / best,
            7.0,
        ),
    }
}
