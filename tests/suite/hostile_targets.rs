//! What mutated inputs are given to: readers of every format, and the analyses behind them.

use crate::description_hostile::{RECEIVER, TREE};
use crate::harness::{Sandbox, project};
use crate::hostile_analyses::{analyses_of, content};
use crate::hostile_commands::{
    COMMAND_LINES, COMPONENTS, FILE_LISTS, command, component, file_list,
};
use fourphase::batch::{
    BatchError, LotJob, LotRecords, ReceiverJob, ShardJournals, SplitterJob, Start, SyntheticLot,
    SyntheticLotSettings, assess_receiver, assess_splitter, lot_result, measure_shard, run_lot,
    run_station,
};
use fourphase::description::{
    DescriptionError, read_network, read_rebuild_set, read_station, read_uncertainty,
};
use fourphase::measurement::rebuild;
use fourphase::network::{FrequencyGrid, Port, onto_grid, select_ports};
use fourphase::report::{
    RebuildReport, dies_csv, entry_covariance_csv, rebuild_text, receiver_lo_csv,
    receiver_points_csv, receiver_text, splitter_csv, splitter_text, splitter_uncertainty_csv,
    station_text, wafer_text,
};
use fourphase::requirement::{Limit, Quantity};
use fourphase::splitter::{GivenRoles, SplitterKind, SplitterSettings};
use fourphase::touchstone::{ReadOptions, TouchstoneFile, parse, read};
use fourphase::wafer::Shard;
use std::path::PathBuf;
use std::sync::LazyLock;

/// What came of an input.
#[derive(Debug)]
pub(crate) enum Outcome {
    /// An error, as it is shown.
    Refused(String),
    /// A result: everything that is printed of it, and whether its verdict passes.
    Done { passes: bool, shown: String },
    /// A result that contradicts itself.
    Broken(String),
}

/// The name and the content of a file.
pub(crate) type Seed = (String, Vec<u8>);

/// Something that takes an input.
pub(crate) struct Target {
    pub(crate) name: &'static str,
    /// Its part of all cases.
    pub(crate) share: u64,
    /// Whether an input is a line for each argument of a command.
    pub(crate) takes_arguments: bool,
    pub(crate) seeds: fn() -> &'static [Seed],
    pub(crate) run: Run,
}

pub(crate) const TARGETS: [Target; 16] = [
    of_text("Touchstone", 40, || &CORPUS, touchstone),
    of_text("S-parameters", 25, || &MATRICES, touchstone),
    of_text("network TOML", 6, || &TREES, network_toml),
    of_text("receiver TOML", 8, || &RECEIVERS, receiver_toml),
    of_text("rebuild TOML", 4, || &SETS, rebuild_toml),
    of_text("station TOML", 3, || &STATIONS, station_toml),
    of_text("uncertainty TOML", 3, || &UNCERTAINTIES, uncertainty),
    of_text("uncertainty CSV", 3, || &AMOUNTS, uncertainty),
    of_text("tones CSV", 3, || &TONES, tones_csv),
    of_text("recipe TOML", 2, || &RECIPES, lot),
    of_text("list of dies", 2, || &LISTS, lot),
    of_text("journal", 1, || &JOURNALS, journal),
    of_text("journals of shards", 1, || &SHARDS, shards),
    of_text("list of files", 1, || &FILE_LISTS, file_list),
    of_arguments("component", 6, || &COMPONENTS, component),
    of_arguments("command line", 2, || &COMMAND_LINES, command),
];

type Run = fn(&World, &str, &[u8]) -> Outcome;

const fn of_text(
    name: &'static str,
    share: u64,
    seeds: fn() -> &'static [Seed],
    run: Run,
) -> Target {
    Target { name, share, takes_arguments: false, seeds, run }
}

const fn of_arguments(
    name: &'static str,
    share: u64,
    seeds: fn() -> &'static [Seed],
    run: Run,
) -> Target {
    Target { name, share, takes_arguments: true, seeds, run }
}

/// A folder with the files that descriptions name, few frequencies each.
pub(crate) struct World(Sandbox);

/// Every file of a world, read once.
pub(crate) static FILES: LazyLock<Vec<Seed>> = LazyLock::new(|| {
    let sandbox = Sandbox::with_demo();
    sandbox.add("data-demo/station");
    let grid = FrequencyGrid::linear(24e9, 34e9, 6).unwrap();
    for name in sandbox.names(".") {
        if name.contains(".s") && name.ends_with('p') {
            let file = read(&sandbox.path(&name), &ReadOptions::default()).unwrap();
            let network = onto_grid(&file.network, &grid).unwrap().network;
            sandbox.write_touchstone(&name, &TouchstoneFile { network, comments: vec![], ..file });
        }
    }
    let set = std::fs::read_to_string(project("data-demo/rebuild/set.toml")).unwrap();
    sandbox.write("set.toml", set.replace("../", ""));
    let coupler = read(&sandbox.path("coupler.s4p"), &ReadOptions::default()).unwrap();
    for (one, other) in (1..=4).flat_map(|one| (one + 1..=4).map(move |other| (one, other))) {
        let ports = [one, other].map(|number| Port::from_number(number).unwrap());
        let network = select_ports(&coupler.network, &ports).unwrap();
        let pair =
            TouchstoneFile { network, port_references_ohm: vec![50.0; 2], ..coupler.clone() };
        sandbox.write_touchstone(&format!("p{one}{other}.s2p"), &pair);
    }
    let set = read_rebuild_set(&sandbox.path("set.toml"), &ReadOptions::default()).unwrap();
    let rebuilt = rebuild(&set.settings, &set.measurements).unwrap();
    let covariances = rebuilt.covariances.unwrap();
    sandbox.write("covariance.csv", entry_covariance_csv(&covariances.entries).unwrap());
    let uncertainty =
        sandbox.read("uncertainty.toml").replace("seed = 1", "seed = 1\ntrials = 100");
    sandbox.write("uncertainty.toml", &uncertainty);
    sandbox.write("covariance.toml", COVARIANCE);
    sandbox.write("small.toml", RECEIVER);
    sandbox.write("measured.csv", MEASURED);
    let few = sandbox.read("receiver.toml").replace("from = 27.0, to = 31.0", "from = 28, to = 30");
    sandbox.write("few.toml", few.replace("points = 41", "points = 3"));
    add_lot(&sandbox);
    let names = sandbox.names(".").into_iter().filter(|name| sandbox.path(name).is_file());
    names.map(|name| (name.clone(), sandbox.bytes(&name))).collect()
});

/// A lot of three dies with its journal.
fn add_lot(sandbox: &Sandbox) {
    let (die_pitch_mm, seed, has_faults) = ((25.0, 25.0), 1, false);
    let lot = SyntheticLotSettings { dies: 3, die_pitch_mm, points: 3, seed, has_faults };
    let lot = SyntheticLot::new(lot).unwrap();
    sandbox.write("dies.csv", lot.list().replace("dies/", ""));
    sandbox.write("recipe.toml", lot.recipe());
    lot.each_file(|name, bytes| {
        let name = PathBuf::from(name).file_name().unwrap().to_owned();
        std::fs::write(sandbox.folder().join(name), bytes)?;
        Ok::<(), Box<dyn std::error::Error + Send + Sync>>(())
    })
    .unwrap();
    let job = LotJob::read(&sandbox.path("recipe.toml"), &ReadOptions::default()).unwrap();
    let journal = sandbox.path("journal");
    let result = run_lot(&job, &journal, Start::New, &|_| {}).unwrap();
    assert!(dies_csv(&job.heading(), &result).unwrap().contains("pass"));
    for number in 1..=2 {
        let (shard, name) = (Shard::new(number, 2).unwrap(), format!("journal {number}"));
        let journal = sandbox.path(&name);
        measure_shard(&job, shard, &journal, Start::New, &|_| {}).unwrap();
    }
}

/// Tones at points of both small receivers.
const MEASURED: &str = "lo_ghz,if_ghz,wanted_dbm,image_dbm,u_wanted_db,u_image_db\n\
                        28,1,-20,-45,0.1,0.2\n29,1,-20.5,-44,0.1,0.2\n30,0.5,-20,-41,0.1,0.2\n";

/// An uncertainty by the covariance of all entries.
const COVARIANCE: &str = "trials = 100\n[[source]]\nname = \"c\"\nfiles = [\"coupler.s4p\"]\n\
                          covariance = \"covariance.csv\"\n";

impl World {
    pub(crate) fn new() -> Self {
        let sandbox = Sandbox::new();
        FILES.iter().for_each(|(name, bytes)| sandbox.write(name, bytes));
        Self(sandbox)
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path(name)
    }

    /// Runs with other content in the place of a file.
    fn with(&self, name: &str, bytes: &[u8], run: impl FnOnce() -> Outcome) -> Outcome {
        self.0.write(name, bytes);
        let outcome = run();
        if let Some((_, kept)) = FILES.iter().find(|(known, _)| known == name) {
            self.0.write(name, kept);
        }
        outcome
    }
}

fn named(names: &[&str]) -> Vec<Seed> {
    let of = |name: &&str| FILES.iter().find(|(known, _)| known == name).unwrap().clone();
    names.iter().map(of).collect()
}

fn corpus() -> Vec<Seed> {
    let folders = ["tests/corpus/valid", "tests/corpus/invalid"].map(project);
    let entries = folders.iter().flat_map(|folder| std::fs::read_dir(folder).unwrap());
    let mut files: Vec<Seed> = entries
        .map(|entry| entry.unwrap().path())
        .map(|path| {
            (path.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read(path).unwrap())
        })
        .filter(|(_, bytes)| bytes.len() < 4000)
        .collect();
    files.sort();
    files
}

/// Small files of one to four ports in several parameters and formats.
fn matrices() -> Vec<Seed> {
    let mut seeds = Vec::new();
    for ports in 1..=4 {
        for option in ["S RI", "S MA", "S DB", "Z RI", "Y RI"] {
            let mut text = format!("# GHz {option} R 50\n");
            for point in 1..=2 {
                text.push_str(&point.to_string());
                for entry in 0..ports * ports {
                    let value = if entry % (ports + 1) == 0 { 0.1 } else { 0.6 };
                    let angle = 0.05 * f64::from(entry) * f64::from(point);
                    text.push_str(&format!(" {value} {angle:.3}"));
                    if ports > 2 && entry % ports == ports - 1 {
                        text.push('\n');
                    }
                }
                text.push('\n');
            }
            seeds.push((format!("x.s{ports}p"), text.into_bytes()));
        }
    }
    seeds
}

static CORPUS: LazyLock<Vec<Seed>> = LazyLock::new(corpus);
static MATRICES: LazyLock<Vec<Seed>> = LazyLock::new(matrices);
static TREES: LazyLock<Vec<Seed>> =
    LazyLock::new(|| vec![("mutated.toml".to_owned(), TREE.clone().into_bytes())]);
static RECEIVERS: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["small.toml", "few.toml"]));
static SETS: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["set.toml", "p12.s2p"]));
static STATIONS: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["station.toml", "open.s2p"]));
static UNCERTAINTIES: LazyLock<Vec<Seed>> =
    LazyLock::new(|| named(&["uncertainty.toml", "covariance.toml"]));
static AMOUNTS: LazyLock<Vec<Seed>> =
    LazyLock::new(|| named(&["analyser.csv", "covariance.csv", "coupler.s4p"]));
static TONES: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["measured.csv"]));
static RECIPES: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["recipe.toml"]));
static LISTS: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["dies.csv"]));
static JOURNALS: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["journal"]));
static SHARDS: LazyLock<Vec<Seed>> = LazyLock::new(|| named(&["journal 1", "journal 2"]));

fn touchstone(_: &World, name: &str, bytes: &[u8]) -> Outcome {
    let options = ReadOptions { strict: bytes.len().is_multiple_of(4), ..ReadOptions::default() };
    match parse(bytes, name.as_ref(), &options) {
        Err(error) => Outcome::Refused(error.diagnostic().render(false)),
        Ok(file) => match content(&file) {
            Err(what) => Outcome::Broken(what),
            Ok(shown) => analyses_of(&file.network, shown),
        },
    }
}

fn described(error: &DescriptionError) -> Outcome {
    Outcome::Refused(error.diagnostic().render(false))
}

fn failed(error: &BatchError) -> Outcome {
    Outcome::Refused(error.diagnostic().render(false))
}

fn network_toml(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    world.with(name, bytes, || {
        let read = read_network(&world.path(name), &ReadOptions::default(), None);
        match read.and_then(|wired| wired.join()) {
            Ok(network) if network.grid().len() <= 10 && network.ports() <= 8 => {
                analyses_of(&network, String::new())
            }
            Ok(_) => Outcome::Done { passes: false, shown: String::new() },
            Err(error) => described(&error),
        }
    })
}

/// The result of a receiver; one with more points than a short run has is read and not solved.
fn solved(job: &ReceiverJob) -> Outcome {
    match fourphase::description::read_receiver(&job.receiver, &job.reading) {
        Err(error) => return described(&error),
        Ok(loaded) => {
            let plan = loaded.receiver.plan();
            if plan.lo_hz().len() * plan.if_hz().len() > 20 {
                return Outcome::Done { passes: false, shown: String::new() };
            }
        }
    }
    match assess_receiver(job) {
        Err(error) => failed(&error),
        Ok(assessed) => {
            let (receiver, result) = (&assessed.receiver, &assessed.result);
            let shown = [
                receiver_text(receiver, result, None),
                receiver_points_csv(result).unwrap(),
                receiver_lo_csv(receiver, result).unwrap(),
            ];
            Outcome::Done { passes: assessed.passes(), shown: shown.concat() }
        }
    }
}

fn receiver_toml(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    let job = ReceiverJob { receiver: world.path(name), ..ReceiverJob::default() };
    world.with(name, bytes, || solved(&job))
}

fn tones_csv(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    let measured_tones = Some(world.path(name));
    let job = ReceiverJob {
        receiver: world.path("small.toml"),
        measured_tones,
        ..ReceiverJob::default()
    };
    world.with(name, bytes, || solved(&job))
}

fn rebuild_toml(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    world.with(name, bytes, || {
        let set = match read_rebuild_set(&world.path("set.toml"), &ReadOptions::default()) {
            Ok(set) => set,
            Err(error) => return described(&error),
        };
        match rebuild(&set.settings, &set.measurements) {
            Err(error) => Outcome::Refused(error.to_string()),
            Ok(rebuilt) => {
                let mut shown = rebuild_text(&RebuildReport::new("set.toml", &rebuilt));
                let covariances = rebuilt.covariances.iter();
                shown.extend(covariances.map(|own| entry_covariance_csv(&own.entries).unwrap()));
                Outcome::Done { passes: rebuilt.warnings().is_empty(), shown }
            }
        }
    })
}

fn station_toml(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    world.with(name, bytes, || {
        let recipe = match read_station(&world.path("station.toml")) {
            Ok(recipe) => recipe,
            Err(error) => return described(&error),
        };
        match run_station(&recipe, &ReadOptions::default(), &mut |_| {}) {
            Ok(run) => {
                let passes = run.result.verdict() == fourphase::batch::StationVerdict::Pass;
                Outcome::Done { passes, shown: station_text(&run.result) }
            }
            Err(error) => failed(&error),
        }
    })
}

fn uncertainty(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    let settings = SplitterSettings {
        roles: GivenRoles { kind: Some(SplitterKind::Quadrature), ..GivenRoles::default() },
        limits: [Limit::new(Quantity::ImageRejection, 12.0).unwrap()].into_iter().collect(),
        ..SplitterSettings::default()
    };
    world.with(name, bytes, || {
        let stated =
            if name.starts_with("covariance") { "covariance.toml" } else { "uncertainty.toml" };
        let read = read_uncertainty(&world.path(stated), &ReadOptions::default());
        let uncertainty = match read {
            // A number of trials that takes minutes is a wish, not a fault.
            Ok(stated) if stated.trials().trials().is_none_or(|count| count.get() > 1000) => {
                return Outcome::Done { passes: false, shown: String::new() };
            }
            Ok(stated) => Some(stated),
            Err(error) => return described(&error),
        };
        let file = world.path("coupler.s4p");
        match assess_splitter(&SplitterJob {
            file,
            settings,
            uncertainty,
            ..SplitterJob::default()
        }) {
            Err(error) => failed(&error),
            Ok(assessed) => {
                let seen = fourphase::report::SeenWith { references_ohm: vec![], loads: vec![] };
                let (result, known) = (&assessed.result, assessed.uncertainty.as_ref());
                let mut shown = splitter_text(name, result, &seen, known);
                shown.push_str(&splitter_csv(result).unwrap());
                shown.extend(known.map(|known| splitter_uncertainty_csv(known, result).unwrap()));
                Outcome::Done { passes: assessed.passes(), shown }
            }
        }
    })
}

fn lot_of(world: &World, journal: &str, start: Start) -> Outcome {
    let job = match LotJob::read(&world.path("recipe.toml"), &ReadOptions::default()) {
        Ok(job) => job,
        Err(error) => return failed(&error),
    };
    match run_lot(&job, &world.path(journal), start, &|_| {}) {
        Err(error) => failed(&error),
        Ok(result) => {
            let mut shown = wafer_text(&job.heading(), &result);
            shown.push_str(&dies_csv(&job.heading(), &result).unwrap());
            Outcome::Done { passes: result.passes(), shown }
        }
    }
}

fn lot(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    let _ = std::fs::remove_file(world.path("new journal"));
    world.with(name, bytes, || lot_of(world, "new journal", Start::New))
}

fn journal(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    world.with(name, bytes, || lot_of(world, name, Start::Resume))
}

fn shards(world: &World, name: &str, bytes: &[u8]) -> Outcome {
    world.with(name, bytes, || {
        let joined =
            LotJob::read(&world.path("recipe.toml"), &ReadOptions::default()).and_then(|job| {
                let journals = ["journal 2", "journal 1"].map(|name| world.path(name));
                let journals = ShardJournals::read(&journals)?;
                let records = LotRecords::of_shards(&job, &journals)?;
                Ok((lot_result(&job, &records, &|_| {})?, job))
            });
        match joined {
            Err(error) => failed(&error),
            Ok((result, job)) => {
                let mut shown = wafer_text(&job.heading(), &result);
                shown.push_str(&dies_csv(&job.heading(), &result).unwrap());
                Outcome::Done { passes: result.passes(), shown }
            }
        }
    })
}
