//! `wafer` and `demo-wafer` as scripts and people meet them.

use serde_json::Value;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

const RECIPE: &str = "manifest = \"dies.csv\"\n[analysis]\nsplitter = { kind = \"quadrature\", input = 1, outputs = [2, 3], isolated = 4, column = \"hybrid\" }\n[map]\nwafer_diameter_mm = 150\ndie_pitch_mm = [15, 14]\ncentre_die = [0, 0]\n[require]\nimage_rejection_db = 31\nphase_error_deg = 2.5\n[what_if]\ncorrection = true\n";

fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    /// A folder `demo` with so many dies; small files.
    fn made(&self, dies: u32, more: &[&str]) {
        let dies = dies.to_string();
        let arguments = ["demo-wafer", "demo", "--dies", &dies, "--points", "13"];
        let output = self.run(&[&arguments[..], more].concat());
        assert!(output.status.success(), "{}", text(&output.stderr));
    }

    fn summary(&self, folder: &str) -> Value {
        let bytes = std::fs::read(self.path(folder).join("summary.json")).unwrap();
        serde_json::from_slice(&bytes).unwrap()
    }

    /// The rows of `dies.csv`, by column.
    fn rows(&self, folder: &str) -> Vec<std::collections::HashMap<String, String>> {
        let mut reader = csv::Reader::from_path(self.path(folder).join("dies.csv")).unwrap();
        reader.deserialize().map(Result::unwrap).collect()
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn status(output: &Output) -> i32 {
    output.status.code().expect("no signal ended it")
}

/// Every file of a folder with its content.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found: Vec<(String, Vec<u8>)> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            (name, std::fs::read(path).unwrap())
        })
        .collect();
    found.sort();
    found
}

fn assert_same(one: &Path, other: &Path) {
    let (one, other) = (files(one), files(other));
    let names = |files: &[(String, Vec<u8>)]| -> Vec<String> {
        files.iter().map(|(name, _)| name.clone()).collect()
    };
    assert_eq!(names(&one), names(&other));
    for ((name, left), (_, right)) in one.iter().zip(&other) {
        assert!(left == right, "{name} differs");
    }
}

#[test]
fn the_demo_wafer_is_what_its_command_makes() {
    let bench = Bench::new();
    assert!(bench.run(&["demo-wafer", "made"]).status.success());
    for name in ["dies.csv", "recipe.toml"] {
        let (made, kept) = (bench.path("made").join(name), project("data-demo/wafer").join(name));
        assert_eq!(std::fs::read_to_string(made).unwrap(), std::fs::read_to_string(kept).unwrap());
    }
    assert_same(&bench.path("made/dies"), &project("data-demo/wafer/dies"));
    let size: usize =
        files(&project("data-demo/wafer/dies")).iter().map(|(_, bytes)| bytes.len()).sum();
    assert!(size < 2_000_000, "{size}");
}

#[test]
fn a_splitter_is_the_same_on_a_wafer_and_alone() {
    let bench = Bench::new();
    let recipe = project("data-demo/wafer/recipe.toml");
    let output = bench.run(&["wafer", recipe.to_str().unwrap(), "--out", "out"]);
    assert_eq!(status(&output), 1, "{}", text(&output.stderr));
    assert!(text(&output.stdout).lines().all(|line| line.chars().count() <= 80));

    let summary = bench.summary("out");
    let counts = &summary["counts"];
    // 65 dies and a retest: four on the rim, one file broken, one missing.
    for (name, want) in
        [("rows", 66), ("superseded", 1), ("edge_excluded", 4), ("incomplete", 1), ("error", 1)]
    {
        assert_eq!(counts[name], want, "{name}");
    }
    assert_eq!(counts["tested"], 59);
    assert_eq!(counts["outliers"], 1);
    assert_eq!(summary["retests"][0]["touchdowns"][0]["status"], "fail");
    assert_eq!(summary["retests"][0]["touchdowns"][1]["counts"], true);
    // The coupling weakens towards the rim, which the fit finds.
    // The coupling falls by 0.42 dB towards the rim (`component/process.rs`), and with voltage
    // coupling C the power that is missing at one output appears at the other: the imbalance falls
    // by 0.42 dB times 1 + C^2 / (1 - C^2), with C of -2.85 dB.
    let bowl = &summary["wafers"][0]["space"]["amplitude"]["trend"]["to_rim_all_round_db"];
    let power = 10_f64.powf(-0.285);
    let want = -0.42 * (1.0 + power / (1.0 - power));
    assert!((bowl.as_f64().unwrap() - want).abs() < 0.1, "{bowl} {want}");

    let rows = bench.rows("out");
    assert_eq!(rows.len(), 66);
    assert_eq!(rows[65]["touchdown_note"], "cleaned the probe");
    assert_eq!((rows[65]["touchdown"].as_str(), rows[65]["counts"].as_str()), ("2", "true"));
    assert_eq!(rows[12]["counts"], "false");
    let mut compared = 0;
    for row in
        rows.iter().filter(|row| row["status"] == "pass" || row["status"] == "fail").step_by(9)
    {
        let file = project("data-demo/wafer").join(&row["hybrid"]);
        let alone = bench.run(&[
            "splitter",
            file.to_str().unwrap(),
            "--kind",
            "quadrature",
            "--input",
            "1",
            "--outputs",
            "2,3",
            "--isolated",
            "4",
            "--band",
            "27GHz..31GHz",
            "--format",
            "json",
        ]);
        let alone: Value = serde_json::from_slice(&alone.stdout).unwrap();
        for (column, key) in [
            ("worst_image_rejection_db", "worst_image_rejection_db"),
            ("worst_at_lo_hz", "worst_image_rejection_at_hz"),
            ("worst_phase_error_deg", "worst_phase_error_deg"),
            ("worst_amplitude_imbalance_db", "worst_amplitude_imbalance_db"),
        ] {
            let here: f64 = row[column].parse().unwrap();
            let want = alone["summary"][key].as_f64().unwrap();
            assert!((here - want).abs() <= 1e-9 * want.abs(), "{column} {here} {want}");
        }
        compared += 1;
    }
    assert!(compared >= 6);
}

/// The receiver with a die's file written into its description must give the same: what is solved
/// once for all dies changes nothing.
#[test]
fn a_receiver_is_the_same_on_a_wafer_and_alone() {
    let bench = Bench::new();
    for name in [
        "receiver.toml",
        "balun.s3p",
        "balun_q.s3p",
        "lead_i.s2p",
        "lead_q.s2p",
        "gate.s1p",
        "divider.s3p",
        "coupler.s4p",
        "isolation_resistor.s1p",
    ] {
        std::fs::copy(project("data-demo").join(name), bench.path(name)).unwrap();
    }
    bench.made(20, &["--no-faults"]);
    // Two blocks change: the hybrid, and for some dies a balun with its pads on the other side.
    let list = std::fs::read_to_string(bench.path("demo/dies.csv")).unwrap();
    let mut changed = String::new();
    for (at, line) in list.lines().enumerate() {
        let balun = match at {
            0 => "balun_q",
            at if at % 2 == 0 => "../balun.s3p",
            _ => "../balun_q.s3p",
        };
        writeln!(changed, "{line},{balun}").unwrap();
    }
    bench.write("demo/dies.csv", &changed);
    let description = std::fs::read_to_string(bench.path("receiver.toml")).unwrap();
    for (require, has_power) in [("", true), ("[require]\nimage_rejection_db = 30\n", false)] {
        bench.write(
            "demo/receiver-recipe.toml",
            &format!("manifest = \"dies.csv\"\n{require}[what_if]\nideal = [\"hybrid\", \"baluns\", \"divider\"]\n[analysis]\nreceiver = \"../receiver.toml\"\n"),
        );
        let output =
            bench.run(&["wafer", "demo/receiver-recipe.toml", "--out", "out", "--overwrite"]);
        assert!(status(&output) < 2, "{}", text(&output.stderr));
        let rows = bench.rows("out");
        for (at, row) in rows.iter().enumerate().step_by(5) {
            let balun = row["balun_q"].trim_start_matches("../").to_owned();
            let alone = description
                .replace("\"coupler.s4p\"", &format!("\"demo/{}\"", row["hybrid"]))
                .replace("\"balun_q.s3p\"", &format!("\"{balun}\""));
            bench.write("alone.toml", &alone);
            let alone = bench.run(&["downconverter", "alone.toml", "--format", "json"]);
            let alone: Value = serde_json::from_slice(&alone.stdout).unwrap();
            let worst = &alone["summary"];
            for (column, key) in [
                ("worst_image_rejection_db", "worst_image_rejection_db"),
                ("worst_at_lo_hz", "worst_at_lo_hz"),
                ("worst_at_if_hz", "worst_at_if_hz"),
                ("worst_phase_error_deg", "worst_quadrature_error_deg"),
                ("worst_amplitude_imbalance_db", "worst_amplitude_imbalance_db"),
            ] {
                let (here, want): (f64, f64) =
                    (row[column].parse().unwrap(), worst[key].as_f64().unwrap());
                assert!((here - want).abs() <= 1e-9 * want.abs(), "{at} {column} {here} {want}");
            }
            if has_power {
                let here: f64 = row["lo_power_dbm_min"].parse().unwrap();
                let want = worst["lowest_lo_power_dbm"].as_f64().unwrap();
                assert!((here - want).abs() < 1e-9, "{here} {want}");
            } else {
                assert_eq!(row["lo_power_dbm_min"], "");
            }
            if at == 0 {
                // Ideal blocks: as the budget of the receiver alone has them, worst over the plan.
                let list: String = changed.lines().take(2).flat_map(|line| [line, "\n"]).collect();
                bench.write("demo/one.csv", &list);
                let recipe = std::fs::read_to_string(bench.path("demo/receiver-recipe.toml"));
                bench.write("demo/one.toml", &recipe.unwrap().replace("dies.csv", "one.csv"));
                bench.run(&["wafer", "demo/one.toml", "--out", "one", "--overwrite"]);
                let summary = bench.summary("one");
                let least = |name: &str| -> f64 {
                    let answers = summary["what_if"].as_array().unwrap();
                    let answer = answers.iter().find(|answer| answer["name"] == name).unwrap();
                    answer["worst_image_rejection_db"]["least"].as_f64().unwrap()
                };
                for row in alone["budget"].as_array().unwrap() {
                    let Some(block) = row["block"].as_str() else { continue };
                    if ["hybrid", "baluns", "divider"].contains(&block) {
                        let here = row["worst_image_rejection_if_ideal_db"].as_f64().unwrap();
                        let there = least(&format!("ideal_{block}"));
                        assert!((there - here).abs() < 1e-9, "{block} {there} {here}");
                    }
                }
            }
        }
    }
}

#[test]
fn threads_shards_and_kills_change_no_byte() {
    let bench = Bench::new();
    bench.made(200, &[]);
    let whole = |out: &str, more: &[&str]| {
        let arguments = ["wafer", "demo/recipe.toml", "--out", out];
        let output = bench.run(&[&arguments[..], more].concat());
        assert_eq!(status(&output), 1, "{}", text(&output.stderr));
        output.stdout
    };
    let one = whole("one", &["--threads", "1"]);
    assert_eq!(one, whole("four", &["--threads", "4"]));
    assert_same(&bench.path("one"), &bench.path("four"));
    assert!(!bench.path("one/wafer.journal").exists());

    for shard in ["1/3", "2/3", "3/3"] {
        let out = format!("shard{}", &shard[..1]);
        let output = bench.run(&["wafer", "demo/recipe.toml", "--out", &out, "--shard", shard]);
        assert_eq!(status(&output), 0, "{}", text(&output.stderr));
    }
    // In any order, with and without the recipe named.
    for (out, arguments) in [
        ("joined", vec!["wafer", "--out", "joined", "--combine", "shard2", "shard3", "shard1"]),
        (
            "again",
            vec![
                "wafer",
                "demo/recipe.toml",
                "--out",
                "again",
                "--combine",
                "shard1",
                "shard2",
                "shard3",
            ],
        ),
    ] {
        let output = bench.run(&arguments);
        assert_eq!((status(&output), &output.stdout), (1, &one), "{}", text(&output.stderr));
        assert_same(&bench.path("one"), &bench.path(out));
    }
    let missing = bench.run(&["wafer", "--out", "no", "--combine", "shard1", "shard3"]);
    assert_eq!(status(&missing), 2);
    assert!(text(&missing.stderr).contains("shard 2/3 is missing"), "{}", text(&missing.stderr));
    let twice = bench.run(&["wafer", "--out", "no", "--combine", "shard1", "shard1", "shard3"]);
    assert!(text(&twice.stderr).contains("shard 1/3 is there twice"));
    assert!(!bench.path("no").exists());

    // Killed at many moments, until it is done.
    let mut kills = 0;
    for step in 0..60_u64 {
        let mut run = Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(["wafer", "demo/recipe.toml", "--out", "killed", "--threads", "1", "--resume"])
            .current_dir(bench.folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let start = Instant::now();
        let wait = Duration::from_millis(3 + 4 * step * step);
        let ended = loop {
            if let Some(ended) = run.try_wait().unwrap() {
                break Some(ended);
            }
            if start.elapsed() >= wait {
                run.kill().unwrap();
                run.wait().unwrap();
                break None;
            }
            std::thread::sleep(Duration::from_millis(1));
        };
        match ended {
            Some(ended) if ended.code() == Some(1) => break,
            // The kill before came when all was written and the journal gone: nothing is left to resume.
            Some(ended)
                if ended.code() == Some(2)
                    && kills > 0
                    && bench.path("killed/summary.json").exists()
                    && !bench.path("killed/wafer.journal").exists() =>
            {
                break;
            }
            Some(ended) => panic!(
                "{ended} {:?}",
                std::fs::read_dir(bench.path("killed")).unwrap().flatten().collect::<Vec<_>>()
            ),
            None => kills += 1,
        }
    }
    assert!(kills > 3, "{kills} kills");
    assert_same(&bench.path("one"), &bench.path("killed"));
}

#[test]
fn ten_thousand_dies() {
    let bench = Bench::new();
    bench.made(60, &["--no-faults"]);
    let list = std::fs::read_to_string(bench.path("demo/dies.csv")).unwrap();
    let rows: Vec<&str> = list.lines().skip(1).collect();
    let mut long = "lot,wafer,die_x,die_y,hybrid\n".to_owned();
    for at in 0..10_000_i32 {
        let fields: Vec<&str> =
            rows[usize::try_from(at).unwrap() % rows.len()].split(',').collect();
        writeln!(
            long,
            "L{},W{},{},{},{}",
            at / 6000,
            at / 500,
            at % 50 - 25,
            at / 50 % 10,
            fields[4]
        )
        .unwrap();
    }
    bench.write("demo/dies.csv", &long);
    bench.write(
        "demo/long.toml",
        &RECIPE.replace("[what_if]\ncorrection = true\n", "").replace("[15, 14]", "[2, 2]"),
    );
    let output = bench.run(&["wafer", "demo/long.toml", "--out", "out", "--format", "csv"]);
    assert!(status(&output) < 2, "{}", text(&output.stderr));
    let summary = bench.summary("out");
    assert_eq!(summary["counts"]["rows"], 10_000);
    assert_eq!(summary["counts"]["tested"], 10_000);
    assert_eq!(
        (summary["lots"].as_array().unwrap().len(), summary["wafers"].as_array().unwrap().len()),
        (2, 20)
    );
    assert_eq!(text(&output.stdout).lines().count(), 10_001);
    // The sixty dies repeat, so the yield is theirs but for the last, cut short.
    let rows = bench.rows("out");
    assert!(
        rows.iter().zip(&rows[60..]).all(|(one, other)| one["margin_db"] == other["margin_db"])
    );
}

#[test]
fn nothing_is_lost_or_half_done() {
    let bench = Bench::new();
    bench.made(40, &[]);
    let run = |more: &[&str]| {
        let arguments = ["wafer", "demo/recipe.toml", "--quiet"];
        bench.run(&[&arguments[..], more].concat())
    };
    // A folder that cannot be.
    bench.write("file", "mine");
    let output = run(&["--out", "file/below"]);
    assert_eq!(status(&output), 2);
    assert!(text(&output.stderr).contains("file/below"), "{}", text(&output.stderr));
    // What exists stays, and the run does not even begin.
    for name in ["yield.png", "wafer-map-K1-W01.png"] {
        let folder = format!("full {name}");
        bench.write(&format!("{folder}/{name}"), "mine");
        let output = run(&["--out", &folder]);
        assert_eq!(status(&output), 2);
        assert!(text(&output.stderr).contains(name), "{}", text(&output.stderr));
        assert_eq!(std::fs::read_dir(bench.path(&folder)).unwrap().count(), 1);
        assert_eq!(
            std::fs::read_to_string(bench.path(&format!("{folder}/{name}"))).unwrap(),
            "mine"
        );
    }
    bench.write("full/dies.csv", "mine");
    let output = run(&["--out", "full"]);
    assert_eq!(status(&output), 2);
    assert!(text(&output.stderr).contains("--overwrite"));
    assert_eq!(files(&bench.path("full")).len(), 1);
    assert_eq!(std::fs::read_to_string(bench.path("full/dies.csv")).unwrap(), "mine");
    // An unfinished run is not begun anew, nor gone on with by another.
    let output = bench.run(&["wafer", "demo/recipe.toml", "--out", "part", "--shard", "1/2"]);
    assert_eq!(status(&output), 0);
    let before = files(&bench.path("part"));
    for (arguments, says) in [
        (&["--out", "part", "--shard", "1/2"][..], "--resume"),
        (&["--out", "part", "--shard", "2/2", "--resume"], "another"),
        (&["--out", "part", "--resume", "--option-line", "Hz S RI R 50"], "other"),
    ] {
        let output = run(arguments);
        assert_eq!(status(&output), 2, "{arguments:?}");
        assert!(text(&output.stderr).contains(says), "{}", text(&output.stderr));
        assert_eq!(files(&bench.path("part")), before);
    }
    let output = run(&["--out", "fresh", "--combine", "part"]);
    assert!(text(&output.stderr).contains("shard 2/2 is missing"), "{}", text(&output.stderr));
    // A journal that somebody wrote into.
    let damaged = text(&before[0].1).replacen("\"die\"", "\"dye\"", 1);
    bench.write("hurt/wafer.journal", &damaged);
    assert!(
        bench
            .run(&["wafer", "demo/recipe.toml", "--out", "other", "--shard", "2/2"])
            .status
            .success()
    );
    let output = run(&["--out", "fresh", "--combine", "hurt", "other"]);
    assert_eq!(status(&output), 2);
    assert!(text(&output.stderr).contains("row 1 is damaged"), "{}", text(&output.stderr));
}

/// A die's probability of conformity is that of its files alone, by trials over the whole band: the wafer
/// looks at the worst point only, and errors that are alike over the sweep make that nearly the same.
#[test]
fn dies_are_decided_as_their_files_are_alone() {
    let bench = Bench::new();
    bench.made(30, &["--no-faults"]);
    let recipe = std::fs::read_to_string(bench.path("demo/recipe.toml")).unwrap();
    let source = "[[source]]\ntransmission = { magnitude_db = 0.02, phase_deg = 0.2 }\n";
    bench.write("demo/u.toml", source);
    bench.write("trials.toml", &format!("trials = 4000\n{source}"));
    let recipe = recipe.split("[require]").next().unwrap().replacen(
        "manifest",
        "uncertainty = \"u.toml\"\nmanifest",
        1,
    );
    bench.write(
        "demo/known.toml",
        &format!("{recipe}\n[require]\nimage_rejection_db = 33.0\namplitude_imbalance_db = 0.35\n"),
    );
    let output = bench.run(&["wafer", "demo/known.toml", "--out", "out"]);
    assert_eq!(status(&output), 1, "{}", text(&output.stderr));
    assert!(text(&output.stdout).contains("are undecided"), "{}", text(&output.stdout));
    let rows = bench.rows("out");
    let mut seen = std::collections::HashMap::new();
    let judged: Vec<_> = rows.iter().filter(|row| row["edge_excluded"] == "false").collect();
    for row in &judged {
        *seen.entry(row["decision"].clone()).or_insert(0_u64) += 1;
    }
    assert!(seen["pass"] > 0 && seen["undecided"] > 2 && seen["fail"] > 0, "{seen:?}");
    let known = &bench.summary("out")["counts"]["within_uncertainty"];
    assert_eq!(known["undecided"].as_u64().unwrap(), seen["undecided"]);
    let sum: f64 = judged.iter().map(|row| row["probability"].parse::<f64>().unwrap()).sum();
    assert!((known["expected_pass"].as_f64().unwrap() - sum).abs() < 1e-9);
    for row in rows.iter().step_by(3) {
        let file = format!("demo/{}", row["hybrid"]);
        let arguments = [
            "splitter",
            &file,
            "--kind",
            "quadrature",
            "--input",
            "1",
            "--outputs",
            "2,3",
            "--isolated",
            "4",
            "--band",
            "27GHz..31GHz",
            "--uncertainty",
            "trials.toml",
            "--format",
            "json",
            "--require-image-rejection-db",
            "33",
            "--require-amplitude-imbalance-db",
            "0.35",
        ];
        let alone: Value = serde_json::from_slice(&bench.run(&arguments).stdout).unwrap();
        let requirements = alone["verdict"]["requirements"].as_array().unwrap();
        let least = requirements
            .iter()
            .map(|requirement| requirement["probability"].as_f64().unwrap())
            .fold(1.0, f64::min);
        let here: f64 = row["probability"].parse().unwrap();
        // 4,000 trials know a share to 0.8 %; that the worst may be elsewhere costs a little more.
        assert!((here - least).abs() < 0.05, "{file} {here} {least}");
    }
    // A receiver on the wafer, with all its files.
    let demo = project("data-demo");
    for entry in std::fs::read_dir(&demo).unwrap() {
        let path = entry.unwrap().path();
        if path.is_file() {
            std::fs::copy(&path, bench.path(path.file_name().unwrap().to_str().unwrap())).unwrap();
        }
    }
    bench.write(
        "demo/receiver-known.toml",
        "manifest = \"dies.csv\"\nuncertainty = \"../uncertainty.toml\"\n[analysis]\nreceiver = \"../receiver.toml\"\n[require]\nimage_rejection_db = 31\n",
    );
    let output = bench.run(&["wafer", "demo/receiver-known.toml", "--out", "r"]);
    assert_eq!(status(&output), 1, "{}", text(&output.stderr));
    let rows = bench.rows("r");
    let description = std::fs::read_to_string(bench.path("receiver.toml")).unwrap();
    let stated = std::fs::read_to_string(bench.path("uncertainty.toml")).unwrap();
    // The die's own file in the place of the demo's.
    let row = rows
        .iter()
        .find(|row| (0.2..0.8).contains(&row["probability"].parse::<f64>().unwrap()))
        .unwrap();
    bench.write(
        "alone.toml",
        &description
            .replace("\"coupler.s4p\"", &format!("\"demo/{}\"", row["hybrid"]))
            .replace("image_rejection_db = 25.0", "image_rejection_db = 31.0"),
    );
    bench.write(
        "alone-u.toml",
        &stated
            .replace("seed = 1", "trials = 4000")
            .replace("\"coupler.s4p\"", &format!("\"demo/{}\"", row["hybrid"])),
    );
    let alone = bench.run(&[
        "downconverter",
        "alone.toml",
        "--uncertainty",
        "alone-u.toml",
        "--format",
        "json",
    ]);
    let alone: Value = serde_json::from_slice(&alone.stdout).unwrap();
    let want = alone["verdict"]["requirements"][0]["probability"].as_f64().unwrap();
    let here: f64 = row["probability"].parse().unwrap();
    // Trace noise at 123 points makes the worst of them worse than any one.
    assert!(here - want < 0.15 && want - here < 0.03, "{here} {want}");

    bench.write("demo/u.toml", "[[source]]\nrepeats = [\"a.s4p\", \"b.s4p\"]\n");
    let output = bench.run(&["wafer", "demo/known.toml", "--out", "no"]);
    assert_eq!(status(&output), 2);
    bench.write("demo/u.toml", "[[source]]\nfiles = [\"a.s4p\"]\nport = { phase_deg = 1 }\n");
    let output = bench.run(&["wafer", "demo/known.toml", "--out", "no"]);
    assert!(text(&output.stderr).contains("u.toml:2:10"), "{}", text(&output.stderr));
    assert!(!bench.path("no").exists());
}

/// Shards measured in copies of the project elsewhere, as on several machines, and a run that is moved.
#[test]
fn shards_and_runs_may_move() {
    let bench = Bench::new();
    bench.made(30, &[]);
    let whole = bench.run(&["wafer", "demo/recipe.toml", "--out", "whole"]);
    for (number, place) in [("1/2", "first"), ("2/2", "second")] {
        for name in ["recipe.toml", "dies.csv"] {
            let content = std::fs::read_to_string(bench.path("demo").join(name)).unwrap();
            bench.write(&format!("{place}/demo/{name}"), &content);
        }
        for (name, bytes) in files(&bench.path("demo/dies")) {
            bench.write(&format!("{place}/demo/dies/{name}"), &String::from_utf8_lossy(&bytes));
        }
        let recipe = format!("{place}/demo/recipe.toml");
        let output =
            bench.run(&["wafer", &recipe, "--out", &format!("part {place}"), "--shard", number]);
        assert_eq!(status(&output), 0, "{}", text(&output.stderr));
        std::fs::remove_dir_all(bench.path(place)).unwrap();
    }
    let combine = ["--combine", "part first", "part second", "--out", "joined"];
    let lost = bench.run(&[&["wafer"][..], &combine].concat());
    assert_eq!(status(&lost), 2);
    assert!(text(&lost.stderr).contains("RECIPE.toml"), "{}", text(&lost.stderr));
    let output = bench.run(&[&["wafer", "demo/recipe.toml"][..], &combine].concat());
    assert_eq!((status(&output), &output.stdout), (1, &whole.stdout), "{}", text(&output.stderr));
    assert_same(&bench.path("whole"), &bench.path("joined"));
}

/// What appears in the folder while a run is stopped is not the run's.
#[test]
fn resuming_overwrites_nothing_of_others() {
    let bench = Bench::new();
    bench.made(60, &[]);
    let output = bench.run(&["wafer", "demo/recipe.toml", "--out", "out", "--shard", "1/1"]);
    assert_eq!(status(&output), 1, "{}", text(&output.stderr));
    let mut journal = String::new();
    // A journal of the whole, cut in the middle.
    std::fs::remove_dir_all(bench.path("out")).unwrap();
    let mut run = Command::new(env!("CARGO_BIN_EXE_fourphase"))
        .args(["wafer", "demo/recipe.toml", "--out", "out", "--threads", "1"])
        .current_dir(bench.folder.path())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    while journal.lines().count() < 10 && run.try_wait().unwrap().is_none() {
        journal = std::fs::read_to_string(bench.path("out/wafer.journal")).unwrap_or_default();
    }
    let _ = run.kill();
    run.wait().unwrap();
    let rows: Vec<&str> = journal.lines().take(10).collect();
    std::fs::remove_dir_all(bench.path("out")).unwrap();
    bench.write("out/wafer.journal", &(rows.join("\n") + "\n"));
    bench.write("out/yield.png", "mine");
    let output = bench.run(&["wafer", "demo/recipe.toml", "--out", "out", "--resume"]);
    assert_eq!(status(&output), 2);
    assert!(text(&output.stderr).contains("yield.png"), "{}", text(&output.stderr));
    assert_eq!(std::fs::read_to_string(bench.path("out/yield.png")).unwrap(), "mine");
    std::fs::remove_file(bench.path("out/yield.png")).unwrap();
    let output = bench.run(&["wafer", "demo/recipe.toml", "--out", "out", "--resume"]);
    assert_eq!(status(&output), 1, "{}", text(&output.stderr));
}

/// A limit on the size of files stands for a full disk: writing fails in the middle.
#[cfg(unix)]
#[test]
fn a_full_disk_ends_the_run_and_the_rest_can_follow() {
    let bench = Bench::new();
    bench.made(100, &[]);
    let output = Command::new("bash")
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f 64; exec \"$0\" wafer demo/recipe.toml --out out --quiet",
        ])
        .arg(env!("CARGO_BIN_EXE_fourphase"))
        .current_dir(bench.folder.path())
        .output()
        .unwrap();
    assert_eq!(status(&output), 2, "{}", text(&output.stderr));
    let said = text(&output.stderr);
    assert!(said.contains("wafer.journal") && said.contains("--resume"), "{said}");
    let left: Vec<String> = files(&bench.path("out")).into_iter().map(|(name, _)| name).collect();
    assert_eq!(left, ["wafer.journal"]);
    assert_eq!(status(&bench.run(&["wafer", "demo/recipe.toml", "--out", "out", "--resume"])), 1);
    assert_eq!(status(&bench.run(&["wafer", "demo/recipe.toml", "--out", "whole"])), 1);
    assert_same(&bench.path("whole"), &bench.path("out"));
}

#[test]
fn odd_names_and_formulas_come_out_harmless() {
    let bench = Bench::new();
    bench.made(6, &["--no-faults"]);
    let source = bench.path("demo/dies");
    let first = files(&source)[0].0.clone();
    std::fs::create_dir_all(bench.path("messwerte Ω/die files")).unwrap();
    std::fs::copy(source.join(first), bench.path("messwerte Ω/die files/kälte 1.s4p")).unwrap();
    bench.write(
        "messwerte Ω/dies.csv",
        "lot,wafer,die_x,die_y,hybrid,note,=cmd\n=2+3,W/../1,0,0,die files/kälte 1.s4p,@SUM(A1),x\nLos ä,W 2,-1,0,die files/kälte 1.s4p,\"=\"\"a\"\"\",\n",
    );
    bench.write("messwerte Ω/rezept.toml", RECIPE);
    let output = bench.run(&["wafer", "messwerte Ω/rezept.toml", "--out", "aus gabe"]);
    assert!(status(&output) < 2, "{}", text(&output.stderr));
    let table = std::fs::read_to_string(bench.path("aus gabe/dies.csv")).unwrap();
    for harmless in ["'=2+3", "'@SUM(A1)", "'=cmd", "\"'=\"\"a\"\"\""] {
        assert!(table.contains(harmless), "{table}");
    }
    let names: Vec<String> =
        files(&bench.path("aus gabe")).into_iter().map(|(name, _)| name).collect();
    assert!(names.contains(&"wafer-map-Los ä-W 2.png".to_owned()), "{names:?}");
    assert!(names.contains(&"wafer-map-_2_3-W_.._1.png".to_owned()), "{names:?}");
}

#[test]
fn what_is_wrong_is_said_where_it_stands() {
    let bench = Bench::new();
    bench.made(6, &["--no-faults"]);
    let manifest = std::fs::read_to_string(bench.path("demo/dies.csv")).unwrap();
    for (recipe, list, says) in [
        (RECIPE.replace("[2, 3]", "[2, 9]"), manifest.clone(), "port 9"),
        (RECIPE.replace("\"hybrid\"", "\"coupler\""), manifest.clone(), "blocks are coupler"),
        (RECIPE.to_owned(), manifest.replacen("K1,W01,-1", "K1,W01,one", 1), "dies.csv:3:8"),
        (RECIPE.to_owned(), manifest.lines().next().unwrap().to_owned() + "\n", "no die"),
        (RECIPE.replace("[require]", "[requires]"), manifest.clone(), "unknown field"),
    ] {
        bench.write("demo/dies.csv", &list);
        bench.write("demo/own.toml", &recipe);
        let output = bench.run(&["wafer", "demo/own.toml", "--out", "out"]);
        let said = text(&output.stderr) + &text(&output.stdout);
        let words: Vec<&str> = said.split_whitespace().collect();
        assert!(words.join(" ").contains(says), "{says}: {said}");
        assert!(said.lines().all(|line| line.chars().count() <= 90), "{said}");
        assert_eq!(status(&output), 2, "{said}");
        let _ = std::fs::remove_dir_all(bench.path("out"));
    }
}

/// One die is by far the worst; on the map its colour must lie where axes and notch put it.
#[test]
fn the_map_is_right_side_up() {
    let bench = Bench::new();
    bench.made(65, &[]);
    // The outlier, the darkest die, stands for die (3, 2); the others are good.
    let list = std::fs::read_to_string(bench.path("demo/dies.csv")).unwrap();
    let outlier = list.lines().nth(32).unwrap().split(',').nth(4).unwrap();
    let good = list.lines().nth(34).unwrap().split(',').nth(4).unwrap();
    let mut pattern = "lot,wafer,die_x,die_y,hybrid\n".to_owned();
    for (x, y) in (-2..=3).flat_map(|x| (-2..=2).map(move |y| (x, y))) {
        let file = if (x, y) == (3, 2) { outlier } else { good };
        writeln!(pattern, "L,W,{x},{y},{file}").unwrap();
    }
    bench.write("demo/dies.csv", &pattern);
    for (x_axis, y_axis, notch, want) in [
        ("right", "up", "down", (45.0, 28.0)),
        ("left", "up", "left", (-45.0, 28.0)),
        ("right", "down", "up", (45.0, -28.0)),
        ("left", "down", "right", (-45.0, -28.0)),
        ("up", "right", "down", (28.0, 45.0)),
        ("up", "left", "up", (-28.0, 45.0)),
        ("down", "right", "left", (28.0, -45.0)),
        ("down", "left", "right", (-28.0, -45.0)),
    ] {
        let axes = format!(
            "centre_die = [0, 0]\nx_axis = \"{x_axis}\"\ny_axis = \"{y_axis}\"\nnotch = \"{notch}\"\n"
        );
        bench.write("demo/own.toml", &RECIPE.replace("centre_die = [0, 0]\n", &axes));
        let output = bench.run(&["wafer", "demo/own.toml", "--out", "out", "--overwrite"]);
        assert!(status(&output) < 2, "{}", text(&output.stderr));
        let (dark, rim) = seen(&bench.path("out/wafer-map-L-W.png"));
        // Millimetres from pixels: the rim is 150 mm across.
        let scale = 150.0 / (rim.1.0 - rim.0.0);
        let at = (
            (dark.0 - 0.5 * (rim.0.0 + rim.1.0)) * scale,
            (0.5 * (rim.0.1 + rim.1.1) - dark.1) * scale,
        );
        assert!((at.0 - want.0).abs() < 2.0 && (at.1 - want.1).abs() < 2.0, "{at:?} {want:?}");
    }
}

type Place = (f64, f64);

/// The middle of the darkest colour on the large map, and the corners of the rim around it.
fn seen(picture: &Path) -> (Place, (Place, Place)) {
    let decoder = png::Decoder::new(std::io::BufReader::new(std::fs::File::open(picture).unwrap()));
    let mut reader = decoder.read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let (mut dark, mut count) = ((0.0, 0.0), 0.0);
    let mut rim = ((f64::MAX, f64::MAX), (0.0_f64, 0.0_f64));
    // The large map without title, axes and scale.
    for y in 190..info.height.min(918) {
        for x in 100..830 {
            let at = ((y * info.width + x) * 3) as usize;
            let place = (f64::from(x), f64::from(y));
            match pixels[at..at + 3] {
                [18, 24, 72] => {
                    dark = (dark.0 + place.0, dark.1 + place.1);
                    count += 1.0;
                }
                [0, 0, 0] => {
                    rim.0 = (rim.0.0.min(place.0), rim.0.1.min(place.1));
                    rim.1 = (rim.1.0.max(place.0), rim.1.1.max(place.1));
                }
                _ => {}
            }
        }
    }
    assert!(count > 100.0);
    ((dark.0 / count, dark.1 / count), rim)
}
