//! Every kind of picture, drawn and encoded on one core, and several on two threads.
#![allow(missing_docs, clippy::unwrap_used)]

mod ratio;

use fourphase::batch::{LotJob, ReceiverJob, Start, assess_receiver, run_lot};
use fourphase::plot::{self, Caption, Picture, PlotError, WaferScales};
use fourphase::splitter::{SplitterSettings, analyse};
use fourphase::touchstone::{ReadOptions, read};
use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

type Draw<'d> = Box<dyn Fn() -> Result<Picture, PlotError> + Sync + Send + 'd>;

fn pool(threads: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap()
}

/// The shortest of several runs, milliseconds.
fn milliseconds(mut run: impl FnMut()) -> f64 {
    let one = |_| {
        let start = Instant::now();
        run();
        1e3 * start.elapsed().as_secs_f64()
    };
    (0..7).map(one).fold(f64::INFINITY, f64::min)
}

fn main() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo");
    let job = ReceiverJob { receiver: demo.join("receiver.toml"), ..ReceiverJob::default() };
    let assessed = assess_receiver(&job).unwrap();
    let (receiver, result) = (&assessed.receiver, &assessed.result);
    let coupler = read(&demo.join("coupler.s4p"), &ReadOptions::default()).unwrap().network;
    let splitter = analyse(&coupler, &SplitterSettings::default()).unwrap();

    let folder = tempfile::tempdir().unwrap();
    let made = Command::new(env!("CARGO_BIN_EXE_fourphase"))
        .args(["demo-wafer", "lot", "--dies", "1000", "--points", "201", "--quiet"])
        .args(["--die-pitch-mm", "3.4,3.4"])
        .current_dir(folder.path())
        .status()
        .unwrap();
    assert!(made.success());
    let lot_job =
        LotJob::read(&folder.path().join("lot/recipe.toml"), &ReadOptions::default()).unwrap();
    let journal = folder.path().join("journal");
    let lot = run_lot(&lot_job, &journal, Start::New, &|_| {}).unwrap();
    let heading = lot_job.heading();
    let scales = WaferScales::of(&lot);

    let caption = Caption { subject: "Demo", file: "demo", date: None };
    let drawn: Vec<(&str, Draw<'_>)> = vec![
        ("rejection", Box::new(|| plot::receiver_rejection(&caption, receiver, result, None))),
        (
            "rejection map",
            Box::new(|| plot::receiver_rejection_map(&caption, receiver, result, None)),
        ),
        ("imbalance", Box::new(|| plot::receiver_imbalance(&caption, receiver, result, None))),
        ("phasors", Box::new(|| plot::receiver_phasors(&caption, receiver, result))),
        ("contours", Box::new(|| plot::receiver_contours(&caption, receiver, result))),
        ("drive", Box::new(|| plot::receiver_drive(&caption, receiver, result))),
        ("budget", Box::new(|| plot::receiver_budget(&caption, result))),
        ("splitter's contours", Box::new(|| plot::contours(&caption, &splitter))),
        ("splitter's losses", Box::new(|| plot::losses(&caption, &splitter))),
        ("distribution of a lot", Box::new(|| plot::lot_distribution(&heading, &lot))),
        ("yield of a lot", Box::new(|| plot::lot_yield(&heading, &lot))),
        ("wafers of a lot", Box::new(|| plot::lot_wafers(&heading, &lot))),
        ("curves of a lot", Box::new(|| plot::lot_curves(&heading, &lot))),
        ("radial trend of a lot", Box::new(|| plot::lot_radial(&heading, &lot))),
        ("map of 1,000 dies", Box::new(|| plot::wafer_map(&heading, &lot, &scales, 0))),
    ];
    let one = pool(1);
    let mut slowest = 0.0_f64;
    for (name, draw) in &drawn {
        let (vectors, whole) = one.install(|| {
            let vectors = milliseconds(|| drop(black_box(draw().unwrap())));
            (vectors, milliseconds(|| drop(black_box(draw().unwrap().png().unwrap()))))
        });
        println!("{name}: {vectors:.1} ms as vectors, {whole:.1} ms as pixels");
        slowest = slowest.max(whole);
    }
    ratio::report("the allowed 30 ms over the slowest picture, one core", 30.0 / slowest, 1.0);
    let all = || {
        drawn.par_iter().for_each(|(_, draw)| drop(black_box(draw().unwrap().png().unwrap())));
    };
    let two = pool(2);
    let gain = ratio::speed_ratio(|| two.install(all), || one.install(all));
    ratio::report("all pictures, one thread over two", gain, 1.6);
}
