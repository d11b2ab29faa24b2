//! Trials of the demo receiver with every file uncertain, and of the demo coupler.
#![allow(missing_docs, clippy::unwrap_used)]

mod ratio;

use criterion::Criterion;
use fourphase::description::read_receiver;
use fourphase::downconverter::{
    LoRf, NetworkPlace, OnGrids, ReceiverPath, analyse_receiver, plan_points,
};
use fourphase::measurement::{
    ChannelErrorDistribution, DecisionSettings, EntryAmount, EntryAmounts, ErrorSymmetry,
    OverFrequency, PartSource, Source, TrialSettings, UncertainPart, receiver_uncertainty,
};
use fourphase::touchstone::ReadOptions;
use std::hint::black_box;
use std::num::NonZeroUsize;
use std::path::Path;
use std::time::Instant;

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
        receiver_uncertainty(&receiver, &result, &parts, &settings, &decisions).unwrap()
    };

    let mut criterion = Criterion::default().configure_from_args().sample_size(10);
    let mut group = criterion.benchmark_group("uncertainty");
    group.bench_function("200 trials with the linear law and the budget", |b| b.iter(|| run(200)));
    let error = ChannelErrorDistribution::independent((0.3, 2.0), (0.1, 1.0)).unwrap();
    group.bench_function("probability of a rejection, exactly", |b| {
        b.iter(|| black_box(error).probability_of_rejection(30.0));
    });
    group.finish();

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
