//! Trials of the demo receiver with every file uncertain, and of the demo coupler.
#![allow(missing_docs, clippy::unwrap_used)]

mod ratio;

use criterion::Criterion;
use fourphase::component::{BranchLine, branch_line};
use fourphase::description::read_receiver;
use fourphase::downconverter::{
    LoRf, NetworkPlace, OnGrids, ReceiverPath, analyse_receiver, plan_points,
};
use fourphase::measurement::{
    ChannelErrorDistribution, DecisionSettings, EntryAmount, EntryAmounts, ErrorSymmetry,
    OverFrequency, PartSource, Source, TrialSettings, UncertainPart, UncertainSplitter,
    receiver_uncertainty, splitter_uncertainty,
};
use fourphase::network::FrequencyGrid;
use fourphase::requirement::{Limit, Quantity};
use fourphase::splitter::{SplitterSettings, analyse};
use fourphase::touchstone::ReadOptions;
use std::hint::black_box;
use std::num::NonZeroUsize;
use std::path::Path;
use std::time::Instant;

/// A branch-line coupler at 10,001 points with an uncertainty of every entry: time for each point.
fn splitter_of_many_points() {
    let grid = FrequencyGrid::linear(27e9, 31e9, 10_001).unwrap();
    let design = BranchLine { impedance_ohm: 50.0, center_hz: 29e9, loss_db: 0.3 };
    let network = branch_line(&grid, &design).unwrap();
    let mut settings = SplitterSettings::default();
    settings.limits.set(Limit::new(Quantity::ImageRejection, 20.0).unwrap());
    let result = analyse(&network, &settings).unwrap();
    for shared in [OverFrequency::Independent, OverFrequency::Correlated] {
        let amount =
            EntryAmount { magnitude_np: 0.006, phase_rad: 0.007, ..EntryAmount::default() };
        let amounts = EntryAmounts {
            transmission: vec![amount; grid.len()],
            reflection: vec![amount; grid.len()],
            symmetry: ErrorSymmetry::Reciprocal,
        };
        let source = Source::of_entries(&network, amounts, shared).unwrap();
        let uncertain =
            UncertainSplitter::new(&network, &settings, &result.roles, vec![source]).unwrap();
        let start = Instant::now();
        let (trials, decisions) = (TrialSettings::default(), DecisionSettings::default());
        black_box(splitter_uncertainty(&uncertain, &result, &trials, &decisions, &|_| {}).unwrap());
        let point = 1e3 * start.elapsed().as_secs_f64() / 10_001.0;
        println!("a splitter of 10,001 points, {shared:?} errors: {point:.2} ms a point");
        ratio::report("the allowed 2 ms over a point of a splitter, all cores", 2.0 / point, 1.0);
    }
}

fn main() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/receiver.toml");
    let receiver = read_receiver(&demo, &ReadOptions::default()).unwrap().receiver;
    let result = analyse_receiver(&receiver).unwrap();
    // Every part and load, each point and entry with an error of its own: the most that can be drawn.
    let places = receiver.places();
    let source = |place: NetworkPlace, path: ReceiverPath| {
        let network = receiver.network_at(place, path)?;
        let amount =
            EntryAmount { magnitude_np: 0.002, phase_rad: 0.002, ..EntryAmount::default() };
        let amounts = vec![amount; network.grid().len()];
        let amounts = EntryAmounts {
            transmission: amounts.clone(),
            reflection: amounts,
            symmetry: ErrorSymmetry::Unrelated,
        };
        Some(Source::of_entries(network, amounts, OverFrequency::Independent).unwrap())
    };
    let parts: Vec<UncertainPart> = places
        .map(|place| UncertainPart {
            name: format!("{place:?}"),
            places: vec![place],
            sources: vec![{
                let paths = LoRf::of_each(|path| source(place, path));
                PartSource::new("all", OnGrids { paths, intermediate: None }).unwrap()
            }],
        })
        .collect();
    let run = |trials: usize| {
        let settings = TrialSettings::default().with_trials(NonZeroUsize::new(trials).unwrap());
        let decisions = DecisionSettings::default();
        receiver_uncertainty(&receiver, &result, &parts, &settings, &decisions, &|_| {}).unwrap()
    };

    let mut criterion = Criterion::default().configure_from_args().sample_size(10);
    let mut group = criterion.benchmark_group("uncertainty");
    group.bench_function("200 trials with the linear law and the budget", |b| b.iter(|| run(200)));
    let error = ChannelErrorDistribution::independent((0.3, 2.0), (0.1, 1.0)).unwrap();
    group.bench_function("probability of a rejection, exactly", |b| {
        b.iter(|| black_box(error).probability_of_rejection(30.0));
    });
    group.finish();

    splitter_of_many_points();
    let start = Instant::now();
    black_box(run(10_000));
    let all = start.elapsed().as_secs_f64();
    ratio::report(
        "the allowed 10 s over 10,000 trials of 41 x 3 points, all cores",
        10.0 / all,
        1.0,
    );
    let start = Instant::now();
    black_box(run(100));
    let base = start.elapsed().as_secs_f64();
    let start = Instant::now();
    for _ in 0..200 {
        black_box(plan_points(&receiver).unwrap());
    }
    let single = start.elapsed().as_secs_f64() / 200.0;
    let per_trial = (all - base) / 9_900.0;
    #[allow(clippy::cast_precision_loss)]
    let cores = std::thread::available_parallelism().map_or(1, usize::from) as f64;
    println!(
        "one trial {:.3} ms of all cores, one solve {:.3} ms of one; linear law and budget {:.2} s",
        1e3 * per_trial,
        1e3 * single,
        base
    );
    // A trial draws and applies some thousand errors beside solving.
    ratio::report("one solve over one trial's share of a core", single / (per_trial * cores), 0.3);
}
