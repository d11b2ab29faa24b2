//! `convert`, `join`, `deembed`, `compare` and `component` as scripts and people meet them.

use fourphase::touchstone::{ReadOptions, TouchstoneFile, read};
use num_complex::Complex64;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A folder of its own for each test.
struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo");
        for name in ["coupler.s4p", "balun.s3p", "divider.s3p"] {
            std::fs::copy(demo.join(name), folder.path().join(name)).unwrap();
        }
        Self { folder }
    }

    fn run(&self, arguments: &str) -> Output {
        // No argument of these tests holds a blank, but for those in quotes.
        let mut words = Vec::new();
        for (at, part) in arguments.split('"').enumerate() {
            if at % 2 == 1 {
                words.push(part.to_owned());
            } else {
                words.extend(part.split_whitespace().map(str::to_owned));
            }
        }
        Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(words)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    fn ok(&self, arguments: &str) -> String {
        let output = self.run(arguments);
        assert_eq!(output.status.code(), Some(0), "{arguments}: {}", text(&output.stderr));
        text(&output.stdout)
    }

    /// Runs what must be refused: status 2 and no new file.
    fn refused(&self, arguments: &str) -> String {
        let before = self.names();
        let output = self.run(arguments);
        let error = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments}: {error}");
        assert_eq!(self.names(), before, "{arguments} wrote a file");
        for line in error.lines().filter(|line| !line.contains("-->")) {
            assert!(line.chars().count() <= 80, "{line}");
        }
        error
    }

    fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<_> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn write(&self, name: &str, content: &str) -> PathBuf {
        let path = self.folder.path().join(name);
        std::fs::write(&path, content).unwrap();
        path
    }

    fn read(&self, name: &str) -> TouchstoneFile {
        let strict = ReadOptions { strict: true, ..ReadOptions::default() };
        read(&self.folder.path().join(name), &strict).unwrap()
    }

    fn difference(&self, first: &str, second: &str) -> f64 {
        let report: Value =
            serde_json::from_str(&self.ok(&format!("compare {first} {second} --format json")))
                .unwrap();
        report["worst_vector"].as_f64().unwrap()
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn convert_goes_there_and_back() {
    let bench = Bench::new();
    for (there, back) in [
        ("--parameter z", "--parameter s"),
        ("--parameter y --touchstone 2.0", "--parameter s"),
        ("--reference-ohm 75,40,40,60", "--reference-ohm 50"),
        ("--number-format db --frequency-unit MHz", "--number-format ri"),
        ("--ports 4,3,2,1", "--ports 4,3,2,1"),
        ("--pairs 2,3", "--single-ended"),
        ("--touchstone 2.1", "--touchstone 1"),
    ] {
        bench.ok(&format!("convert coupler.s4p there.s4p {there} --overwrite"));
        bench.ok(&format!("convert there.s4p back.s4p {back} --overwrite"));
        let difference = bench.difference("coupler.s4p", "back.s4p");
        assert!(difference < 1e-11, "{there}: {difference}");
        // The comments of the demo file come along.
        assert_eq!(bench.read("there.s4p").comments, bench.read("coupler.s4p").comments, "{there}");
    }
    let mixed = {
        bench.ok("convert coupler.s4p m.s4p --pairs 2,3");
        bench.read("m.s4p")
    };
    let modes: Vec<_> = mixed.network.modes().unwrap().iter().map(ToString::to_string).collect();
    assert_eq!(modes, ["S1", "S4", "D2,3", "C2,3"]);
    // One number cannot be the reference of both modes of a pair.
    assert!(bench.refused("convert m.s4p x.s4p --reference-ohm 75").contains("mixed-mode"));
}

#[test]
fn convert_changes_grid_band_and_ports() {
    let bench = Bench::new();
    bench.ok("convert coupler.s4p fine.s4p --grid 27GHz..31GHz:401");
    let fine = bench.read("fine.s4p");
    assert_eq!(fine.network.grid().len(), 401);
    // Measured points come back as they were.
    let (coarse, hz) = (bench.read("coupler.s4p").network, fine.network.grid().as_hz());
    let at = hz.iter().position(|hz| (hz - 28e9).abs() < 1.0).unwrap();
    assert_eq!(
        fine.network.matrix(at).as_slice(),
        coarse.matrix(coarse.grid().nearest(28e9)).as_slice()
    );
    bench.ok("convert coupler.s4p band.s4p --band 27GHz..31GHz");
    assert_eq!(bench.read("band.s4p").network.grid().len(), 41);
    bench.ok("convert coupler.s4p two.s2p --ports 1,3");
    let two = bench.read("two.s2p").network;
    assert_eq!((two.ports(), two.entries()[2]), (2, coarse.matrix(0).as_slice()[8]));
    assert!(
        bench
            .refused("convert coupler.s4p x.s4p --grid 20GHz..31GHz:11")
            .contains("20 GHz is outside the data")
    );
    assert!(
        bench.refused("convert coupler.s4p x.s4p --ports 1,5").contains("port 5 does not exist")
    );
    assert!(bench.refused("convert coupler.s4p x.s3p").contains("a name for 3 ports"));
    assert!(
        bench
            .refused("convert coupler.s4p x.s4p --parameter h")
            .contains("H parameters need 2 ports")
    );
    assert!(bench.refused("convert coupler.s4p x.s4p --reference-ohm 40+10j").contains("complex"));
    assert!(bench.refused("convert coupler.s4p coupler.s4p --overwrite").contains("is an input"));
    bench.write("series.s2p", "# GHz S RI R 50\n1 0.5 0 0.5 0 0.5 0 0.5 0\n");
    let error = bench.refused("convert series.s2p z.s2p --parameter z");
    assert!(error.contains("has no Z matrix at 1 GHz"), "{error}");
}

#[test]
fn convert_leaves_complex_references() {
    let bench = Bench::new();
    // 30+5j ohm seen from 40+10j: b/a in power waves is (Z - Z0*)/(Z + Z0).
    let (z, z0) = (Complex64::new(30.0, 5.0), Complex64::new(40.0, 10.0));
    for (waves, reflection) in
        [("power", (z - z0.conj()) / (z + z0)), ("pseudo", (z - z0) / (z + z0))]
    {
        bench
            .write("in.s1p", &format!("# GHz S RI R 50\n29 {} {}\n", reflection.re, reflection.im));
        bench.ok(&format!(
            "convert in.s1p out.s1p --file-reference-ohm 40+10j --waves {waves} --reference-ohm 50 --parameter z --touchstone 2.0 --overwrite"
        ));
        let got = bench.read("out.s1p").network.entries()[0];
        assert!((got - z).norm() < 1e-10, "{waves}: {got}");
    }
}

const TREE: &str = r#"
ports = ["hybrid.in", "balun.plus", "balun.minus"]
reference_ohm = [50.0, 75.0, 75.0]
joins = ["hybrid.through -- lead.1", "lead.2 -- balun.in"]

[[block]]
name = "hybrid"
file = "coupler.s4p"
ports = ["in", "through", "coupled", "isolated"]

[[block]]
name = "balun"
file = "balun.s3p"
ports = ["in", "plus", "minus"]

[[block]]
name = "lead"
component = { kind = "line", impedance_ohm = 52, center_ghz = 29, angle_deg = 30, loss_db = 0.1 }

[[load]]
at = "hybrid.coupled"
ohm = [45.0, 5.0]

[[load]]
at = "hybrid.isolated"
rc = { resistance_ohm = 50, capacitance_ff = 8, arrangement = "parallel" }
"#;

#[test]
fn join_solves_a_description() {
    let bench = Bench::new();
    bench.write("tree.toml", TREE);
    bench.ok("join tree.toml --output tree.s3p");
    let joined = bench.read("tree.s3p");
    assert_eq!(joined.port_references_ohm, [50.0, 75.0, 75.0]);
    // The same by hand: the hybrid with its loads is a two-port, then one after the other.
    bench.ok("component line impedance_ohm=52 center_ghz=29 angle_deg=30 loss_db=0.1 --grid 24GHz..34GHz:101 --output lead.s2p");
    bench.ok("component load resistance_ohm=50 capacitance_ff=8 arrangement=parallel --grid 24GHz..34GHz:101 --output rc.s1p");
    let by_hand = TREE
        .replace("component = { kind = \"line\", impedance_ohm = 52, center_ghz = 29, angle_deg = 30, loss_db = 0.1 }", "file = \"lead.s2p\"")
        .replace("rc = { resistance_ohm = 50, capacitance_ff = 8, arrangement = \"parallel\" }", "file = \"rc.s1p\"");
    bench.write("hand.toml", &by_hand);
    bench.ok("join hand.toml --output hand.s3p");
    assert!(bench.difference("tree.s3p", "hand.s3p") < 1e-12);
    // A grid of its own, and joins written below a block, where TOML takes them for the block's.
    let (head, rest) = TREE.split_once("joins = ").unwrap();
    let (joins, rest) = rest.split_once('\n').unwrap();
    let below =
        format!("{head}{}", rest.replacen("[[load]]", &format!("joins = {joins}\n\n[[load]]"), 1));
    bench.write("below.toml", &below);
    bench.ok("join below.toml --output below.s3p --grid 27GHz..31GHz:41");
    assert_eq!(bench.read("below.s3p").network.grid().len(), 41);
    assert!(bench.difference("tree.s3p", "below.s3p") < 1e-12);
}

#[test]
fn a_load_at_a_joined_port_stands_in_parallel() {
    let bench = Bench::new();
    let description = "grid = \"29GHz..30GHz:2\"\nports = [\"a.1\", \"b.2\"]\njoins = [\"a.2 -- b.1\"]\n\
        [[block]]\nname = \"a\"\ncomponent = { kind = \"through\" }\n[[block]]\nname = \"b\"\ncomponent = { kind = \"through\" }\n\
        [[load]]\nat = \"a.2\"\nohm = 25.0\n";
    bench.write("shunt.toml", description);
    let output = bench.run("join shunt.toml --output shunt.s2p");
    assert!(text(&output.stderr).contains("in parallel"), "{}", text(&output.stderr));
    // 25 ohm across 50: S21 = 2 / (2 + 50/25), by hand.
    assert!((bench.read("shunt.s2p").network.entries()[2] - 0.5).norm() < 1e-12);
}

#[test]
fn join_names_what_is_wrong_and_its_line() {
    let bench = Bench::new();
    let line_of = |needle: &str| TREE.lines().position(|line| line.contains(needle)).unwrap() + 1;
    let cases = [
        (
            "lead.2 -- balun.in",
            "lead.2 -- hybrid.through",
            "hybrid.through is joined twice",
            "joins = ",
        ),
        ("lead.2 -- balun.in", "lead.2 -- balum.in", "there is no block 'balum'", "joins = "),
        ("lead.2 -- balun.in", "lead.3 -- balun.in", "block 'lead' has no port '3'", "joins = "),
        ("lead.2 -- balun.in", "lead.2", "a join needs two ports", "joins = "),
        (
            "at = \"hybrid.isolated\"",
            "at = \"hybrid.coupled\"",
            "hybrid.coupled has two loads",
            "at = \"hybrid.isolated\"",
        ),
        (
            "\"balun.plus\", \"balun.minus\"]\nreference_ohm = [50.0, 75.0, 75.0]",
            "\"balun.plus\"]\nreference_ohm = 50.0",
            "balun.minus is left over",
            "name = \"balun\"",
        ),
        (
            "ports = [\"in\", \"plus\", \"minus\"]",
            "ports = [\"in\", \"plus\"]",
            "has 3 ports, and 2 names",
            "\"minus\"]\n",
        ),
        ("file = \"balun.s3p\"", "file = \"absent.s3p\"", "cannot read the file", ""),
        (
            "name = \"lead\"",
            "name = \"balun\"",
            "block 'balun' is described twice",
            "name = \"lead\"",
        ),
        ("loss_db = 0.1", "lossdb = 0.1", "unknown field `lossdb`", "component = "),
        (
            "impedance_ohm = 52",
            "impedance_ohm = -52",
            "impedance_ohm needs a positive number",
            "component = ",
        ),
        (
            "ohm = [45.0, 5.0]",
            "ohm = 45.0\nopen = true",
            "needs one of ohm, file",
            "at = \"hybrid.coupled\"",
        ),
        ("[50.0, 75.0, 75.0]", "[50.0, 75.0]", "got 2", "reference_ohm"),
        ("[50.0, 75.0, 75.0]", "0.0", "needs a positive real part", "reference_ohm"),
        ("joins = [", "join = [", "unknown field `join`", "joins = "),
    ];
    for (from, to, mention, line) in cases {
        assert!(TREE.contains(from), "{from}");
        bench.write("bad.toml", &TREE.replace(from, to));
        let error = bench.refused("join bad.toml --output bad.s3p");
        let folded = error.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(folded.contains(mention), "{mention}: {error}");
        let needle = line.trim_end();
        if !needle.is_empty() && !needle.starts_with("\"minus") {
            assert!(
                error.contains(&format!("bad.toml:{}:", line_of(needle))),
                "{mention}: {error}"
            );
        }
    }
    bench.write("bad.toml", &TREE.replace("ohm = [45.0, 5.0]", "ohm = [45.0, 5.0"));
    assert!(bench.refused("join bad.toml --output bad.s3p").contains("bad.toml:2"));
    // No common band, and a mixed-mode part.
    bench.ok("component line impedance_ohm=50 center_ghz=29 angle_deg=30 --grid 40GHz..50GHz:11 --output far.s2p");
    bench.write("bad.toml", &TREE.replace("component = { kind = \"line\", impedance_ohm = 52, center_ghz = 29, angle_deg = 30, loss_db = 0.1 }", "file = \"far.s2p\""));
    let error = bench.refused("join bad.toml --output bad.s3p");
    assert!(error.contains("no frequency is common") && error.contains("'lead' starts"), "{error}");
    bench.ok("convert balun.s3p mixed.s3p --pairs 2,3");
    bench.write("bad.toml", &TREE.replace("balun.s3p", "mixed.s3p"));
    assert!(bench.refused("join bad.toml --output bad.s3p").contains("mixed-mode"));
}

#[test]
fn a_loop_that_rings_is_shown_at_its_join() {
    let bench = Bench::new();
    let through = |name: &str| {
        format!("[[block]]\nname = \"{name}\"\ncomponent = {{ kind = \"through\" }}\n")
    };
    let text = format!(
        "grid = \"29GHz..30GHz:2\"\nports = [\"a.1\", \"a.2\"]\njoins = [\n  \"b.1 -- b.2\",\n]\n{}{}",
        through("a"),
        through("b")
    );
    bench.write("ring.toml", &text);
    let error = bench.refused("join ring.toml --output ring.s2p");
    assert!(error.contains("rings at 29 GHz") && error.contains("ring.toml:4:"), "{error}");
}

#[test]
fn deembed_takes_off_what_was_put_on() {
    let bench = Bench::new();
    let grid = "--grid 24GHz..34GHz:101";
    bench.ok(&format!("component line impedance_ohm=60 center_ghz=29 angle_deg=100 loss_db=0.4 {grid} --output half.s2p"));
    bench.ok("convert coupler.s4p device.s2p --ports 1,2");
    let chain = |parts: &[&str]| {
        let mut text = format!("ports = [\"p0.1\", \"p{}.2\"]\njoins = [", parts.len() - 1);
        for at in 1..parts.len() {
            text.push_str(&format!("\"p{}.2 -- p{at}.1\",", at - 1));
        }
        text.push_str("]\n");
        for (at, part) in parts.iter().enumerate() {
            text.push_str(&format!("[[block]]\nname = \"p{at}\"\nfile = \"{part}\"\n"));
        }
        text
    };
    bench.write("measured.toml", &chain(&["half.s2p", "device.s2p", "half.s2p"]));
    bench.write("thru.toml", &chain(&["half.s2p", "half.s2p"]));
    bench.ok("join measured.toml --output measured.s2p");
    bench.ok("join thru.toml --output thru.s2p");
    for standards in ["--left half.s2p --right half.s2p", "--thru thru.s2p"] {
        let said =
            bench.ok(&format!("deembed measured.s2p --output left.s2p {standards} --overwrite"));
        assert!(said.contains("condition number") && said.contains("singular value"), "{said}");
        assert!(bench.difference("device.s2p", "left.s2p") < 1e-10, "{standards}");
    }
    assert!(bench.refused("deembed measured.s2p --output x.s2p").contains("nothing to take off"));
    assert!(
        bench.refused("deembed measured.s2p --output x.s2p --open thru.s2p").contains("--short")
    );
    assert!(
        bench
            .refused("deembed measured.s2p --output x.s2p --left balun.s3p")
            .contains("expected 2 ports, got 3")
    );
}

#[test]
fn mixed_mode_files_are_never_taken_for_single_ended_ones() {
    let bench = Bench::new();
    bench.ok("convert coupler.s4p mixed.s4p --pairs 2,3");
    for refused in [
        "convert mixed.s4p x.s4p --reference-ohm 75",
        "convert mixed.s4p x.s4p --file-reference-ohm 50",
        "convert mixed.s4p x.s4p --file-reference-ohm 60 --single-ended",
        "deembed mixed.s4p --open coupler.s4p --short coupler.s4p --output x.s4p",
        "deembed coupler.s4p --open mixed.s4p --short coupler.s4p --output x.s4p",
    ] {
        let error = bench.refused(refused);
        assert!(error.contains("mixed-mode") && error.contains("mixed.s4p"), "{error}");
    }
    assert!(bench.refused("compare mixed.s4p coupler.s4p").contains("different modes"));
    bench.ok("convert mixed.s4p back.s4p --single-ended --reference-ohm 75");
    bench.ok("convert back.s4p again.s4p --reference-ohm 50");
    assert!(bench.difference("coupler.s4p", "again.s4p") < 1e-12);
}

#[test]
fn what_is_left_out_is_said() {
    let bench = Bench::new();
    let noise = "# GHz S RI R 50\n1 0 0 2 0 0.1 0 0 0\n2 0 0 2 0 0.1 0 0 0\n1 2 0.1 30 0.2\n";
    bench.write("noise.s2p", noise);
    bench.write("thru.s2p", "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n2 0 0 1 0 1 0 0 0\n");
    bench.write(
        "n.toml",
        "ports = [\"a.1\", \"a.2\"]\n[[block]]\nname = \"a\"\nfile = \"noise.s2p\"\n",
    );
    bench.write(
        "short.toml",
        "ports = [\"a.1\", \"b.2\"]\njoins = [\"a.2 -- b.1\"]\n[[block]]\nname = \"a\"\nfile = \"thru.s2p\"\n\
         [[block]]\nname = \"b\"\nfile = \"half.s2p\"\n",
    );
    bench.write("half.s2p", "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n1.5 0 0 1 0 1 0 0 0\n");
    for (arguments, said) in [
        ("join n.toml --output a.s2p", "noise data are left out"),
        ("deembed noise.s2p --left thru.s2p --output b.s2p", "noise data"),
        ("join short.toml --output c.s2p", "1 GHz to 1.5 GHz is common"),
        ("convert coupler.s4p d.s4p --band 20..28GHz", "24 GHz to 28 GHz is left"),
        ("convert coupler.s4p e.s4p --single-ended", "single-ended already"),
    ] {
        let output = bench.run(arguments);
        let error = text(&output.stderr);
        assert!(output.status.success() && error.contains(said), "{arguments}: {error}");
    }
    for (arguments, said) in [
        ("convert coupler.s4p x.s4p --band 27.05..27.08GHz", "no point of the data"),
        ("convert coupler.s4p x.s4p --waves pseudo", "--file-reference-ohm"),
        ("convert coupler.s4p x.s4p --grid 27GHz..31GHz:1", "2 to 100000 points"),
        ("deembed noise.s2p --left thru.s2p --split pad --output x.s2p", "--thru"),
    ] {
        let error = bench.refused(arguments);
        assert!(error.contains(said), "{arguments}: {error}");
    }
}

#[test]
fn component_parameters_are_checked_without_a_file_too() {
    let bench = Bench::new();
    let radial = "sector_deg=60 height_um=100 effective_permittivity=9";
    let too_wide = "sector_deg=400 height_um=100 effective_permittivity=9";
    for (arguments, said) in [
        ("line impedance_ohm=nan center_ghz=29 angle_deg=30", "impedance_ohm"),
        (
            "line impedance_ohm=50 center_ghz=-29 angle_deg=30",
            "center_ghz needs a positive number, got -29",
        ),
        ("attenuator loss_db=-3", "loss_db"),
        ("attenuator loss_db=29GHz", "a number without unit"),
        ("quadrature_hybrid imbalance_db=inf", "imbalance_db"),
        ("quadrature_hybrid isolation_db=3", "more loss"),
        (&format!("radial_stub inner_radius_um=500 outer_radius_um=50 {radial}"), "got -450"),
        (&format!("radial_stub inner_radius_um=50 outer_radius_um=500 {too_wide}"), "above 360"),
        ("microstrip width_um=-70 length_um=100", "width_um needs a positive number, got -70"),
        ("bond", "either inductance_ph, or length_um and diameter_um"),
        ("bond inductance_ph=200 length_um=300", "either inductance_ph"),
        ("coupled_line_coupler center_ghz=29 strips=4", "unknown field `strips`"),
        (
            "wilkinson center_ghz=29 stages=3 stage_impedance_ohm=[80,60] stage_resistor_ohm=[90,200]",
            "3 stages",
        ),
        ("list --format json", "is text"),
    ] {
        let error = bench.refused(&format!("component {arguments}"));
        let joined = error.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(joined.contains(said), "{arguments}: {error}");
    }
    assert!(bench.ok("component attenuator loss_db=.5").contains("series_ohm"));
}

#[test]
fn compare_is_a_check_and_a_picture() {
    let bench = Bench::new();
    bench.ok("convert coupler.s4p moved.s4p --reference-ohm 55");
    bench.ok("compare coupler.s4p moved.s4p --require-vector 1e-9 --out cmp");
    let mut names: Vec<_> = std::fs::read_dir(bench.folder.path().join("cmp"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["entries.csv", "overlay.png", "report.json"]);
    let output = bench.run("compare balun.s3p divider.s3p --require-vector 0.1");
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output.stdout).contains("FAIL"));
    assert!(bench.refused("compare balun.s3p coupler.s4p").contains("expected 3 ports, got 4"));
}

#[test]
fn every_component_kind_can_be_made() {
    let bench = Bench::new();
    let listed = bench.ok("component list");
    for line in listed.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let with = |kind: &str| match kind {
        "attenuator" => "loss_db=3",
        "line" => "impedance_ohm=60 center_ghz=29 angle_deg=90",
        "stub" => "impedance_ohm=60 center_ghz=29 angle_deg=90 end=open",
        "radial_stub" => {
            "inner_radius_um=40 outer_radius_um=500 sector_deg=60 height_um=100 effective_permittivity=9"
        }
        "coupled_pair" => "even_ohm=70 odd_ohm=36 center_ghz=29 even_deg=92 odd_deg=88",
        "series" | "shunt" | "load" => "resistance_ohm=50 inductance_ph=20",
        "bond" => "length_um=300 diameter_um=25",
        "microstrip" => "width_um=70 length_um=900 conductivity_ms_per_m=41",
        "coupled_microstrip" => "width_um=60 gap_um=20 length_um=900",
        "coupled_line_coupler"
        | "lange"
        | "branch_line"
        | "rat_race"
        | "wilkinson"
        | "marchand" => "center_ghz=29",
        _ => "",
    };
    for (kind, ports, _) in fourphase::component::KINDS {
        let ports = ports.split(' ').count();
        let file = format!("made_{kind}.s{ports}p");
        bench
            .ok(&format!("component {kind} {} --grid 24GHz..34GHz:21 --output {file}", with(kind)));
        assert_eq!(bench.read(&file).network.ports(), ports, "{kind}");
        assert!(listed.contains(&format!("\n{kind}\n")), "{kind}");
    }
    let dimensions: Value = serde_json::from_str(
        &bench.ok("component branch_line center_ghz=29 --substrate relative_permittivity=12.9,height_um=100 --format json"),
    )
    .unwrap();
    // 50 ohm on 100 um of gallium arsenide is some 70 um wide (any substrate table).
    assert!((dimensions["branch_width_um"].as_f64().unwrap() - 72.0).abs() < 3.0, "{dimensions}");
    assert!(bench.refused("component wilkinson").contains("center_ghz"));
    assert!(bench.refused("component nothing").contains("component list"));
    assert!(
        bench.refused("component line impedance_ohm=50 impedance_ohm=60").contains("given twice")
    );
    assert!(bench.refused("component through --output t.s2p").contains("--grid"));
    assert!(
        bench
            .refused(
                "component quadrature_hybrid phase_error_deg=5 --grid 1GHz..2GHz:3 --output q.s4p"
            )
            .contains("more loss")
    );
}
