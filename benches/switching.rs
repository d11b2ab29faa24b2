//! Four switched elements at one point, against numpy's solution of all nodes at all sidebands, and the
//! demo receiver with switched mixers.
#![allow(missing_docs, clippy::unwrap_used)]

mod ratio;

use criterion::Criterion;
use fourphase::description::read_receiver;
use fourphase::downconverter::{
    BeyondSidebands, Channel, ConversionSolver, IfNode, OutputWeights, Sideband, SidebandData,
    Switch, SwitchSettings, SwitchedElement, SwitchedMixer, SwitchedMixerSettings,
    analyse_receiver,
};
use fourphase::touchstone::ReadOptions;
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, PI};
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// K: 17 sidebands.
const SIDEBANDS: usize = 8;
/// Nodes of the demo receiver's RF side: input, two outputs of the divider, two ends of lines, four IF
/// nodes; and those at which elements stand.
const ALL_NODES: usize = 9;
const ELEMENT_NODES: usize = 6;

fn solver() -> ConversionSolver {
    let switch = Switch::new(SwitchSettings {
        on_ohm: 8.0,
        off_ohm: 5e3,
        off_f: 15e-15,
        threshold_v: 0.1,
        slope_v: 0.15,
    })
    .unwrap();
    let element = |at: usize| SwitchedElement {
        switch,
        lo_to_rf_f: 4e-15,
        lo_to_if_f: 4e-15,
        rf_node: at / 2,
        if_node: at,
    };
    let nodes = [(Channel::I, false), (Channel::I, true), (Channel::Q, false), (Channel::Q, true)];
    ConversionSolver::new(
        SwitchedMixer::new(SwitchedMixerSettings {
            elements: (0..4).map(element).collect(),
            if_nodes: nodes
                .map(|(channel, is_subtracted)| IfNode { channel, is_subtracted })
                .into(),
            references_ohm: vec![50.0; 3],
            source_ohm: 50.0.into(),
            differential_ohm: None,
            lo_harmonic: 1,
            temperature_k: 290.0,
        })
        .unwrap(),
    )
}

/// One point: conversion from both sidebands, noise figure, return losses.
fn point(solver: &mut ConversionSolver, peak_v: f64) -> f64 {
    let divider = [0.1, 0.6, 0.6, 0.6, 0.1, 0.2, 0.6, 0.2, 0.1].map(Complex64::from);
    let load = Complex64::new(0.3, -0.1);
    let data = SidebandData {
        lo_hz: 29e9,
        if_hz: 1e9,
        sidebands: SIDEBANDS,
        rf: &|_| &divider,
        if_load: &|_| load,
    };
    // Another amplitude each time, as at another LO: the conductances are made anew.
    let peaks = [0.0, PI, FRAC_PI_2, -FRAC_PI_2].map(|at| Complex64::from_polar(peak_v, at));
    solver.solve(&data, &peaks, BeyondSidebands::Resistance).unwrap();
    let turn = [Complex64::ONE, -Complex64::ONE, Complex64::I, -Complex64::I];
    let factor = solver.noise(OutputWeights::same(&turn), Sideband::Upper).unwrap().factor();
    let upper = solver.rf_response(Sideband::Upper).unwrap().reflection;
    let lower = solver.rf_response(Sideband::Lower).unwrap().reflection;
    let volts: f64 = (0..4)
        .flat_map(|node| {
            [Sideband::Upper, Sideband::Lower].map(|side| solver.if_voltage(node, side).norm())
        })
        .sum();
    factor + upper + lower + volts
}

/// The shortest of several runs, seconds.
fn seconds<T>(runs: u32, mut run: impl FnMut() -> T) -> f64 {
    let one = |_| {
        let start = Instant::now();
        black_box(run());
        start.elapsed().as_secs_f64()
    };
    (0..runs).map(one).fold(f64::INFINITY, f64::min)
}

/// Numpy's time for a point with so many nodes: a stack of 50 points, both sidebands as right sides.
fn numpy_seconds(nodes: usize) -> Option<f64> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/rival/solve.py");
    let unknowns = (nodes * (2 * SIDEBANDS + 1)).to_string();
    let output = Command::new("python3").arg(script).args(["50", &unknowns, "2"]).output().ok()?;
    let text = output.status.success().then(|| String::from_utf8(output.stdout).ok())??;
    Some(text.trim().parse::<f64>().ok()? / 50.0)
}

fn main() {
    let mut solver = solver();
    let mut criterion = Criterion::default().configure_from_args().sample_size(20);
    let mut group = criterion.benchmark_group("switching");
    let mut peak_v = 1.0;
    group.bench_function("four elements with 17 sidebands at one point", |b| {
        b.iter(|| {
            peak_v = if peak_v > 2.0 { 1.0 } else { peak_v + 1e-4 };
            point(&mut solver, black_box(peak_v))
        });
    });
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/receiver-switches.toml");
    group.bench_function("the demo receiver", |b| {
        b.iter(|| analyse_receiver(black_box(&fresh(&demo))).unwrap());
    });
    group.finish();
    let ours = seconds(2000, || {
        peak_v = if peak_v > 2.0 { 1.0 } else { peak_v + 1e-4 };
        point(&mut solver, peak_v)
    });
    println!("one point: {:.3} ms", 1e3 * ours);
    ratio::report("the allowed 0.5 ms over one point", 0.5e-3 / ours, 1.0);
    for (what, nodes, limit) in [
        ("all nodes and sidebands", ALL_NODES, 3.0),
        ("the elements' nodes and all sidebands", ELEMENT_NODES, 1.0),
    ] {
        match numpy_seconds(nodes) {
            None => println!("numpy is not here: its ratio is skipped"),
            Some(rival) => ratio::report(
                &format!("one point, times as fast as numpy's solution of {what} alone"),
                rival / ours,
                limit,
            ),
        }
    }
    let whole = seconds(9, || analyse_receiver(&fresh(&demo)).unwrap());
    println!("the demo receiver: {:.1} ms", 1e3 * whole);
    ratio::report("the allowed 0.1 s over the analysis of the demo receiver", 0.1 / whole, 1.0);
}

/// The receiver read anew: one that was solved knows how many sidebands it needs.
fn fresh(demo: &Path) -> fourphase::downconverter::Receiver {
    read_receiver(demo, &ReadOptions::default()).unwrap().receiver
}
