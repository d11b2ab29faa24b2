//! `downconverter` as scripts and people meet it.

use serde_json::Value;
use sha2::{Digest as _, Sha256};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    /// The demo's files in a folder of its own.
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo");
        for entry in std::fs::read_dir(demo).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
            }
        }
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn demo(&self) -> String {
        std::fs::read_to_string(self.path("receiver.toml")).unwrap()
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    /// The demo with pieces of its description replaced; every piece must be there.
    fn with(&self, changes: &[(&str, &str)]) -> String {
        let mut text = self.demo();
        for (from, to) in changes {
            assert!(text.contains(from), "{from}");
            text = text.replacen(from, to, 1);
        }
        text
    }

    fn changed(&self, changes: &[(&str, &str)], arguments: &[&str]) -> Output {
        std::fs::write(self.path("changed.toml"), self.with(changes)).unwrap();
        let arguments: Vec<&str> =
            ["downconverter", "changed.toml"].iter().chain(arguments).copied().collect();
        self.run(&arguments)
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}{}", text(&output.stdout), text(&output.stderr)))
}

#[test]
fn the_report_has_what_is_promised() {
    let bench = Bench::new();
    let output = bench.run(&["downconverter", "receiver.toml", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty(), "{}", text(&output.stderr));
    let report = json(&output);
    for key in [
        "title",
        "combine",
        "wanted_sideband",
        "lo",
        "points",
        "budget",
        "correction",
        "summary",
        "verdict",
    ] {
        assert!(!report[key].is_null(), "{key}");
    }
    assert_eq!(report["combine"], "i+jq");
    assert_eq!(
        (report["lo"].as_array().unwrap().len(), report["points"].as_array().unwrap().len()),
        (41, 123)
    );
    let point = &report["points"][0];
    for key in [
        "lo_hz",
        "if_hz",
        "image_rejection_db",
        "amplitude_imbalance_db",
        "quadrature_error_deg",
        "image_amplitude_imbalance_db",
        "image_quadrature_error_deg",
    ] {
        assert!(point[key].is_f64(), "{key}");
    }
    assert!(point["channel_error"]["amplitude_db"].is_f64());
    assert!(point["channel_error"]["phase_deg"].is_f64());
    let mixer = &report["lo"][0]["mixers"][0];
    assert_eq!(mixer["name"], "i_plus");
    for key in ["lo_phase_deg", "lo_magnitude", "lo_power_dbm", "rf_phase_deg", "rf_magnitude"] {
        assert!(mixer[key].is_f64(), "{key}");
    }
    let row = &report["budget"][0];
    assert_eq!(row["block"], "hybrid");
    for key in
        ["amplitude_db", "phase_deg", "image_rejection_alone_db", "image_rejection_if_ideal_db"]
    {
        assert!(row[key].is_f64(), "{key}");
    }
    let summary = &report["summary"];
    assert_eq!(summary["fix_first"], "hybrid");
    for key in [
        "worst_image_rejection_db",
        "worst_at_lo_hz",
        "worst_at_if_hz",
        "median_image_rejection_db",
    ] {
        assert!(summary[key].is_f64(), "{key}");
    }
    assert_eq!(report["verdict"]["pass"], true);
    // Every port once.
    let ports: Vec<&str> = report["ports"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["port"].as_str().unwrap())
        .collect();
    assert_eq!(ports.len(), 21);
    // Every input with its digest.
    let inputs = report["inputs"].as_array().unwrap();
    assert_eq!(inputs.len(), 9);
    for input in inputs {
        let bytes = std::fs::read(bench.path(input["file"].as_str().unwrap())).unwrap();
        let digest: String =
            Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(input["sha256"], digest);
    }
}

#[test]
fn reports_are_written_whole_and_the_same_each_time() {
    let bench = Bench::new();
    let names = [
        "report.json",
        "points.csv",
        "lo.csv",
        "budget.csv",
        "image-rejection.png",
        "image-rejection-map.png",
        "imbalance.png",
        "phasors.png",
        "contours.png",
        "drive.png",
        "budget.png",
    ];
    for folder in ["one", "two"] {
        let output = bench.run(&["downconverter", "receiver.toml", "--quiet", "--out", folder]);
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        assert!(output.stderr.is_empty());
    }
    for name in names {
        let [one, two] =
            ["one", "two"].map(|folder| std::fs::read(bench.path(folder).join(name)).unwrap());
        assert_eq!(one, two, "{name}");
        if name.ends_with(".png") {
            assert_eq!(&one[..8], b"\x89PNG\r\n\x1a\n");
            assert_eq!(
                (&one[16..20], &one[20..24]),
                (&1600_u32.to_be_bytes()[..], &1000_u32.to_be_bytes()[..])
            );
        }
    }
    assert_eq!(std::fs::read_dir(bench.path("one")).unwrap().count(), names.len());
    // Nothing is replaced unasked.
    let again = bench.run(&["downconverter", "receiver.toml", "--out", "one"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(again.stdout.is_empty());
    let rows = std::fs::read_to_string(bench.path("one/points.csv")).unwrap();
    assert_eq!(rows.lines().count(), 124);
    let rows = std::fs::read_to_string(bench.path("one/lo.csv")).unwrap();
    assert_eq!(rows.lines().count(), 1 + 41 * 4);
}

#[test]
fn one_screen_says_verdict_worst_point_and_what_to_fix() {
    let bench = Bench::new();
    let output = bench.run(&["downconverter", "receiver.toml"]);
    let shown = text(&output.stdout);
    assert!(shown.lines().count() <= 40, "{shown}");
    for line in shown.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    for piece in ["PASS image rejection", "Worst image rejection", "Fix first: hybrid", "leads"] {
        assert!(shown.contains(piece), "{piece}: {shown}");
    }
    assert!(shown.contains("keeps the upper sideband, not the lower"));
    let failing = bench.changed(&[("image_rejection_db = 25.0", "image_rejection_db = 40.0")], &[]);
    assert_eq!(failing.status.code(), Some(1));
    assert!(text(&failing.stdout).contains("FAIL image rejection >= 40 dB"));
}

#[test]
fn pictures_of_odd_plans_can_be_drawn() {
    let bench = Bench::new();
    let sweep = "{ from = 27.0, to = 31.0, points = 41 }";
    let require = "[require]\nimage_rejection_db = 25.0\namplitude_imbalance_db = 1.0\nquadrature_error_deg = 5.0\nlo_power_dbm_min = 5.0\n";
    let odd: [(&str, &[(&str, &str)]); 6] = [
        ("one LO", &[(sweep, "29.0")]),
        ("one of each", &[(sweep, "[29.0]"), ("[0.5, 1.0, 1.5]", "1")]),
        ("many IFs", &[("[0.5, 1.0, 1.5]", "{ from = 0.1, to = 2, points = 20 }")]),
        ("no limits", &[(require, "")]),
        ("no power", &[("lo_power_dbm = 17.0\n", ""), ("lo_power_dbm_min = 5.0\n", "")]),
        ("lower", &[("\"upper\"", "\"lower\""), ("combine = \"auto\"", "combine = \"i+jq\"")]),
    ];
    for (at, (what, changes)) in odd.iter().enumerate() {
        let folder = format!("odd-{at}");
        let output = bench.changed(changes, &["--out", &folder]);
        assert!(matches!(output.status.code(), Some(0 | 1)), "{what}: {}", text(&output.stderr));
        assert!(bench.path(&folder).join("budget.png").is_file(), "{what}");
    }
}

#[test]
fn what_is_unbounded_is_null_and_inf() {
    let bench = Bench::new();
    // Everything ideal and exactly alike: not even rounding is left at quarter turns.
    let ideal = "lo_input = \"h.in\"\nrf_input = \"d.in\"\n[frequency_plan]\nlo_ghz = 1\nif_ghz = 0.1\nwanted_sideband = \"upper\"\n\
        [[block]]\nname = \"h\"\ncomponent = { kind = \"quadrature_hybrid\" }\nports = [\"in\", \"a\", \"b\", \"iso\"]\n\
        [[block]]\nname = \"d\"\ncomponent = { kind = \"divider\" }\nports = [\"in\", \"a\", \"b\"]\n\
        [[load]]\nat = \"h.iso\"\nohm = 50\n[[load]]\nat = \"h.a\"\nohm = 50\n[[load]]\nat = \"h.b\"\nohm = 50\n\
        [[load]]\nat = \"d.a\"\nohm = 50\n[[load]]\nat = \"d.b\"\nohm = 50\n\
        [[mixer]]\nname = \"i\"\nchannel = \"i\"\nlo = \"h.a\"\nrf = \"d.a\"\n\
        [[mixer]]\nname = \"q\"\nchannel = \"q\"\nlo = \"h.b\"\nrf = \"d.b\"\n";
    std::fs::write(bench.path("ideal.toml"), ideal).unwrap();
    let report = json(&bench.run(&["downconverter", "ideal.toml", "--format", "json"]));
    assert!(report["points"][0]["image_rejection_db"].is_null(), "{}", report["points"][0]);
    let rows = bench.run(&["downconverter", "ideal.toml", "--format", "csv"]);
    assert_eq!(text(&rows.stdout).lines().nth(1).unwrap().split(',').nth(2), Some("inf"));
    let shown = bench.run(&["downconverter", "ideal.toml", "--out", "ideal"]);
    assert_eq!(shown.status.code(), Some(0), "{}", text(&shown.stderr));
    assert!(text(&shown.stdout).contains("> 200"));
}

/// Each change spoils the description: what the error says, and which line it shows.
#[test]
fn a_bad_description_is_refused_at_its_line() {
    let bench = Bench::new();
    let bad: [(&str, &str, &str, &str); 33] = [
        (
            "[correction]",
            "[if_path]\ni = \"lead_i.s2p\"\n[correction]",
            "the plan needs 500 MHz there: IF",
            "lead_i.s2p",
        ),
        ("name = \"i_plus\"", "name = \"i\\u001b\"", "cannot be a name", "name ="),
        ("name = \"i_plus\"", "name = \"i_plus\"\ngain = [1e200, 0]", "a gain is from", "gain"),
        (
            "name = \"hybrid\"",
            "name = \"hybrid\"\ncolour = 3",
            "unknown field `colour`",
            "colour = 3",
        ),
        ("lo_input = \"hybrid.in\"", "lo_input = \"hybrid.out\"", "no port 'out'", "hybrid.out"),
        ("rf_input = \"divider.in\"", "rf_input = \"hybrid.in\"", "by the same port", "rf_input"),
        ("at = \"hybrid.isolated\"", "at = \"hybrid.in\"", "is an input", "lo_input"),
        ("at = \"balun_i.minus\"", "at = \"balun_i.plus\"", "two loads", "balun_i.plus"),
        ("    \"lead_i.out -- balun_i.in\",\n", "", "left over", "name = \"lead_i\""),
        ("file = \"lead_q.s2p\"", "file = \"gone.s2p\"", "gone.s2p", ""),
        ("file = \"gate.s1p\"", "file = \"lead_i.s2p\"", "2 ports", "lead_i.s2p"),
        ("channel = \"i\"", "channel = \"x\"", "unknown variant `x`", "channel = \"x\""),
        ("polarity = \"-\"", "polarity = \"*\"", "unknown variant `*`", "polarity"),
        ("name = \"i_minus\"", "name = \"i_plus\"", "described twice", "i_plus"),
        (
            "lo = \"balun_i.plus\"",
            "lo = \"divider.in\"",
            "cannot be reached from hybrid.in",
            "divider.in",
        ),
        (
            "rf = \"rf_line_i.2\"",
            "rf = \"balun_i.plus\"",
            "cannot be reached from divider.in",
            "balun_i.plus",
        ),
        ("lo_power_dbm = 17.0\n", "", "lo_power_dbm is not given", "lo_power_dbm_min"),
        (
            "{ from = 27.0, to = 31.0, points = 41 }",
            "{ from = 27.0, to = 33.5, points = 41 }",
            "RF upper",
            "name = \"divider\"",
        ),
        (
            "{ from = 27.0, to = 31.0, points = 41 }",
            "{ from = 23.0, to = 31.0, points = 41 }",
            "needs 23 GHz",
            "name = \"hybrid\"",
        ),
        (
            "{ from = 27.0, to = 31.0, points = 41 }",
            "{ from = 25.0, to = 31.0, points = 41 }",
            "RF lower, LO 25 GHz, IF 1.5 GHz",
            "name = \"divider\"",
        ),
        ("{ from = 27.0, to = 31.0, points = 41 }", "[31.0, 27.0]", "ascending", "lo_ghz"),
        (
            "{ from = 27.0, to = 31.0, points = 41 }",
            "{ from = 27.0, to = 31.0, points = 0 }",
            "points is from 1",
            "lo_ghz",
        ),
        (
            "{ from = 27.0, to = 31.0, points = 41 }",
            "{ from = 27.0, to = 31.0, points = 100000000 }",
            "points is from 1",
            "lo_ghz",
        ),
        ("[0.5, 1.0, 1.5]", "[]", "positive frequencies", "if_ghz"),
        ("[0.5, 1.0, 1.5]", "[0.5, nan]", "positive frequencies", "if_ghz"),
        ("[0.5, 1.0, 1.5]", "28.0", "leaves no lower sideband", "if_ghz"),
        (
            "lo_multiplication = 4",
            "lo_multiplication = 0",
            "whole number from 1",
            "lo_multiplication",
        ),
        (
            "lo_multiplication = 4",
            "lo_multiplication = 4\nlo_multiplication_after_split = 3",
            "no part of",
            "after_split",
        ),
        (
            "lo_amplitude_exponent = 1.0",
            "lo_amplitude_exponent = -1.0",
            "from 0 to 10",
            "lo_amplitude_exponent",
        ),
        (
            "image_rejection_db = 25.0",
            "image_rejection_db = -25.0",
            "positive number",
            "image_rejection_db",
        ),
        (
            "[correction]",
            "[load_ring]\nmixer_reflection = 1.5\n[correction]",
            "from 0 to below 1",
            "mixer_reflection",
        ),
        ("combine = \"auto\"", "combine = \"both\"", "unknown variant `both`", "combine"),
        ("[correction]", "[if_path]\ni = \"balun.s3p\"\n[correction]", "has 2 ports", "balun.s3p"),
    ];
    for (from, to, says, line) in bad {
        let output = bench.changed(&[(from, to)], &["--out", "report"]);
        let error = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{to}: {error}");
        assert!(output.stdout.is_empty(), "{to}");
        let flat = error.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(says), "{to}: {error}");
        assert!(error.contains(line), "{to}: {error}");
        assert!(!bench.path("report").exists(), "{to}");
        for line in error.lines().filter(|line| !line.contains("-->")) {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
    // A channel without an element is no one line's fault.
    let mut lines = bench.demo();
    let from = lines.find("[[mixer]]\nname = \"q_plus\"").unwrap();
    let to = lines.find("[correction]").unwrap();
    lines.replace_range(from..to, "");
    std::fs::write(bench.path("changed.toml"), lines).unwrap();
    let output = bench.run(&["downconverter", "changed.toml"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("channel q has no element"));
}

#[test]
fn a_name_like_a_formula_comes_out_harmless() {
    let bench = Bench::new();
    let formula = bench.demo().replace("pair = \"leads\"", "pair = \"=1+1\"");
    std::fs::write(bench.path("changed.toml"), formula).unwrap();
    let output = bench.run(&["downconverter", "changed.toml", "--out", "report"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let rows = std::fs::read_to_string(bench.path("report/budget.csv")).unwrap();
    assert!(rows.lines().any(|line| line.starts_with("'=1+1,")), "{rows}");
}

#[test]
fn a_silent_channel_is_named() {
    let bench = Bench::new();
    // Both elements of I added instead of subtracted: they cancel.
    let changes = [
        ("file = \"coupler.s4p\"", "component = { kind = \"quadrature_hybrid\" }"),
        ("file = \"balun.s3p\"", "component = { kind = \"balun\" }"),
        ("polarity = \"-\"", "polarity = \"+\""),
    ];
    let output = bench.changed(&changes, &[]);
    assert_eq!(output.status.code(), Some(2), "{}", text(&output.stdout));
    assert!(text(&output.stderr).contains("channel i gives nothing"), "{}", text(&output.stderr));
}
