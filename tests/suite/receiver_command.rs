//! `downconverter`: reports, pictures, verdicts, and descriptions that are refused.

use crate::harness::{Run, Sandbox, assert_fits_80_columns, number, replaced, unfolded};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

/// The 41 LOs of the demo's plan.
const LO_SWEEP: &str = "{ from = 27.0, to = 31.0, points = 41 }";

/// An ideal receiver with one mixer a channel.
const IDEAL: &str = r#"
lo_input = "h.in"
rf_input = "d.in"
frequency_plan = { lo_ghz = 1, if_ghz = 0.1, wanted_sideband = "upper" }
block = [
    { name = "h", component = { kind = "quadrature_hybrid" }, ports = ["in", "a", "b", "iso"] },
    { name = "d", component = { kind = "divider" }, ports = ["in", "a", "b"] },
]
load = [
    { at = "h.iso", ohm = 50 },
    { at = "h.a", ohm = 50 },
    { at = "h.b", ohm = 50 },
    { at = "d.a", ohm = 50 },
    { at = "d.b", ohm = 50 },
]
mixer = [
    { name = "i", channel = "i", lo = "h.a", rf = "d.a" },
    { name = "q", channel = "q", lo = "h.b", rf = "d.b" },
]
"#;

/// Runs the demo with pieces of its description replaced.
fn run_changed(sandbox: &Sandbox, changes: &[(&str, &str)], arguments: &str) -> Run {
    sandbox.write("changed.toml", replaced(&sandbox.read("receiver.toml"), changes));
    sandbox.run(&format!("downconverter changed.toml {arguments}"))
}

fn assert_numbers(value: &Value, keys: &[&str]) {
    for key in keys {
        assert!(value[key].is_f64(), "{key} is no number in {value}");
    }
}

#[test]
fn the_report_has_its_keys() {
    let sandbox = Sandbox::with_demo();
    let run = sandbox.run("downconverter receiver.toml --format json");
    assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    let report = run.json();
    for key in ["title", "wanted_sideband", "correction"] {
        assert!(!report[key].is_null(), "{key}");
    }
    assert_eq!(report["combine"], "i+jq");
    assert_eq!(report["lo"].as_array().unwrap().len(), 41);
    assert_eq!(report["points"].as_array().unwrap().len(), 123);
    let point = &report["points"][0];
    assert_numbers(
        point,
        &[
            "lo_hz",
            "if_hz",
            "image_rejection_db",
            "amplitude_imbalance_db",
            "quadrature_error_deg",
            "image_amplitude_imbalance_db",
            "image_quadrature_error_deg",
        ],
    );
    assert_numbers(&point["channel_error"], &["amplitude_db", "phase_deg"]);
    let mixer = &report["lo"][0]["mixers"][0];
    assert_eq!(mixer["name"], "i_plus");
    assert_numbers(
        mixer,
        &["lo_phase_deg", "lo_magnitude", "lo_power_dbm", "rf_phase_deg", "rf_magnitude"],
    );
    assert_eq!(report["verdict"]["pass"], true);
}

#[test]
fn the_report_names_what_to_improve_and_its_ports() {
    let report = Sandbox::with_demo().json("downconverter receiver.toml");
    let row = &report["budget"][0];
    assert_eq!(row["block"], "hybrid");
    assert_numbers(
        row,
        &["amplitude_db", "phase_deg", "image_rejection_alone_db", "image_rejection_if_ideal_db"],
    );
    let summary = &report["summary"];
    assert_eq!(summary["fix_first"], "hybrid");
    assert_numbers(
        summary,
        &[
            "worst_image_rejection_db",
            "worst_at_lo_hz",
            "worst_at_if_hz",
            "median_image_rejection_db",
        ],
    );
    // Every port of the eight blocks once: 4 + 2 + 2 + 3 + 3 + 3 + 2 + 2.
    let ports = report["ports"].as_array().unwrap();
    assert!(ports.iter().all(|row| row["port"].is_string()));
    assert_eq!(ports.len(), 21);
}

#[test]
fn the_report_has_the_digest_of_every_input() {
    let sandbox = Sandbox::with_demo();
    let report = sandbox.json("downconverter receiver.toml");
    let inputs = report["inputs"].as_array().unwrap();
    assert_eq!(inputs.len(), 9);
    for input in inputs {
        let bytes = sandbox.bytes(input["file"].as_str().unwrap());
        let digest: String =
            Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(input["sha256"], digest);
    }
}

#[test]
fn reports_are_written_whole_and_the_same_each_time() {
    let sandbox = Sandbox::with_demo();
    for folder in ["one", "two"] {
        let run = sandbox.run(&format!("downconverter receiver.toml --quiet --out {folder}"));
        assert_eq!((run.status, run.stderr.as_str()), (0, ""));
    }
    let names = sandbox.names("one");
    assert_eq!(
        names,
        [
            "budget.csv",
            "budget.png",
            "contours.png",
            "corrections.csv",
            "drive.png",
            "image-rejection-map.png",
            "image-rejection.png",
            "imbalance.png",
            "lo.csv",
            "phasors.png",
            "points.csv",
            "report.html",
            "report.json",
            "report.txt",
        ]
    );
    for name in &names {
        let one = sandbox.bytes(&format!("one/{name}"));
        assert!(one == sandbox.bytes(&format!("two/{name}")), "{name} differs");
        if name.ends_with(".png") {
            assert_eq!(&one[..8], b"\x89PNG\r\n\x1a\n");
            // Width and height in the header.
            let size = [1600_u32.to_be_bytes(), 1000_u32.to_be_bytes()].concat();
            assert_eq!(one[16..24], size);
        }
    }
    // Nothing is replaced unless asked for.
    let again = sandbox.run("downconverter receiver.toml --out one");
    assert_eq!((again.status, again.stdout.as_str()), (2, ""));
    assert_eq!(sandbox.read("one/points.csv").lines().count(), 1 + 41 * 3);
    assert_eq!(sandbox.read("one/lo.csv").lines().count(), 1 + 41 * 4);
}

#[test]
fn one_screen_says_verdict_worst_point_and_what_to_fix() {
    let sandbox = Sandbox::with_demo();
    let shown = sandbox.succeeds("downconverter receiver.toml");
    assert!(shown.lines().count() <= 50, "{shown}");
    assert_fits_80_columns(&shown);
    for piece in [
        "PASS image rejection",
        "Worst image rejection",
        "Fix first: hybrid",
        "leads",
        "keeps the upper sideband, not the lower",
    ] {
        assert!(shown.contains(piece), "{piece}: {shown}");
    }
    let limit = ("image_rejection_db = 25.0", "image_rejection_db = 40.0");
    let failing = run_changed(&sandbox, &[limit], "");
    assert_eq!(failing.status, 1);
    assert!(failing.stdout.contains("FAIL image rejection >= 40 dB"), "{}", failing.stdout);
}

#[test]
fn pictures_of_unusual_plans_can_be_drawn() {
    let sandbox = Sandbox::with_demo();
    let description = sandbox.read("receiver.toml");
    let require = &description[description.find("[require]").unwrap()..];
    let one_if = ("[0.5, 1.0, 1.5]", "1");
    let no_power = ("lo_power_dbm = 17.0\n", "");
    for (folder, changes) in [
        ("one-lo", vec![(LO_SWEEP, "29.0")]),
        ("one-of-each", vec![(LO_SWEEP, "[29.0]"), one_if]),
        ("many-ifs", vec![("[0.5, 1.0, 1.5]", "{ from = 0.1, to = 2, points = 20 }")]),
        ("no-limits", vec![(require, "")]),
        ("no-power", vec![no_power, ("lo_power_dbm_min = 5.0", "")]),
        ("lower", vec![("\"upper\"", "\"lower\""), ("combine = \"auto\"", "combine = \"i+jq\"")]),
    ] {
        let run = run_changed(&sandbox, &changes, &format!("--out {folder}"));
        assert!(run.status < 2, "{folder}: {}", run.stderr);
        assert!(sandbox.path(folder).join("budget.png").is_file(), "{folder}");
    }
}

#[test]
fn what_is_unbounded_is_null_and_inf() {
    let sandbox = Sandbox::new();
    sandbox.write("ideal.toml", IDEAL);
    // At quarter turns of ideal parts not even rounding is left.
    let report = sandbox.json("downconverter ideal.toml");
    assert!(report["points"][0]["image_rejection_db"].is_null(), "{}", report["points"][0]);
    let rows = sandbox.succeeds("downconverter ideal.toml --format csv");
    assert_eq!(rows.lines().nth(1).unwrap().split(',').nth(2), Some("inf"));
    let shown = sandbox.succeeds("downconverter ideal.toml --out ideal");
    assert!(shown.contains("> 200"), "{shown}");
}

/// A mixer at an open port takes no power: a failed limit, and no figure of it elsewhere.
#[test]
fn a_mixer_without_power_is_named_as_such() {
    let sandbox = Sandbox::with_demo();
    let load = "at = \"balun_i.plus\"\nfile = \"gate.s1p\"";
    let open = "at = \"balun_i.plus\"\nopen = true";
    sandbox.write("open.toml", replaced(&sandbox.read("receiver.toml"), &[(load, open)]));
    let run = sandbox.run("downconverter open.toml");
    assert_eq!(run.status, 1, "{}", run.stderr);
    assert!(run.stdout.contains("FAIL LO power >= 5 dBm: worst: no power at LO"), "{}", run.stdout);
    assert!(unfolded(&run.stdout).contains(" dBm, none at some mixers"), "{}", run.stdout);
    sandbox.run("downconverter open.toml --out open");
    assert!(!sandbox.read("open/lo.csv").contains("inf"), "{}", sandbox.read("open/lo.csv"));
}

/// A change of the demo's description that makes it wrong: what is replaced, by what, what the error
/// says, and a part of the line that it shows.
type Mistake<'t> = (&'t str, &'t str, &'t str, &'t str);

fn assert_refused(mistakes: &[Mistake]) {
    let sandbox = Sandbox::with_demo();
    for (from, to, mention, line) in mistakes {
        sandbox.write("bad.toml", replaced(&sandbox.read("receiver.toml"), &[(from, to)]));
        let error = sandbox.refused("downconverter bad.toml --out report");
        assert!(unfolded(&error).contains(mention), "{to}: no '{mention}' in:\n{error}");
        assert!(error.contains(line), "{to}: the line with '{line}' is not in:\n{error}");
    }
}

#[test]
fn wrong_names_are_refused_at_their_line() {
    let i_plus = "name = \"i_plus\"";
    assert_refused(&[
        (i_plus, "name = \"i\\u001b\"", "cannot be a name", "name ="),
        ("name = \"i_minus\"", i_plus, "duplicate mixer", "i_plus"),
        ("[correction]", "colour = 3\n[correction]", "unknown key 'colour'", "colour = 3"),
        ("channel = \"i\"", "channel = \"x\"", "unknown value 'x'", "channel = \"x\""),
        ("polarity = \"-\"", "polarity = \"*\"", "unknown value '*'", "polarity"),
        ("combine = \"auto\"", "combine = \"both\"", "unknown value 'both'", "combine"),
    ]);
}

#[test]
fn wrong_joins_and_files_are_refused_at_their_line() {
    let lead = "    \"lead_i.out -- balun_i.in\",\n";
    let correction = "[correction]";
    assert_refused(&[
        ("= \"hybrid.in\"", "= \"hybrid.out\"", "no port 'out'", "hybrid.out"),
        ("= \"divider.in\"", "= \"hybrid.in\"", "have the same input port", "rf_input"),
        ("at = \"hybrid.isolated\"", "at = \"hybrid.in\"", "is an input", "lo_input"),
        ("at = \"balun_i.minus\"", "at = \"balun_i.plus\"", "two loads", "balun_i.plus"),
        (lead, "", "unconnected", "name = \"lead_i\""),
        ("lead_q.s2p", "gone.s2p", "gone.s2p", ""),
        ("gate.s1p", "lead_i.s2p", "2 ports", "lead_i.s2p"),
        ("lo = \"balun_i.plus\"", "lo = \"divider.in\"", "reached from hybrid.in", "divider.in"),
        ("rf = \"rf_line_i.2\"", "rf = \"balun_i.plus\"", "from divider.in", "balun_i.plus"),
        (correction, "[if_path]\ni = \"balun.s3p\"\n[correction]", "has 2 ports", "balun.s3p"),
        (
            correction,
            "[if_path]\ni = \"lead_i.s2p\"\n[correction]",
            "the plan needs 500 MHz: IF",
            "lead_i.s2p",
        ),
    ]);
}

#[test]
fn wrong_plans_are_refused_at_their_line() {
    let sweep = |from: f64, to: f64, points: u32| {
        format!("{{ from = {from:?}, to = {to:?}, points = {points} }}")
    };
    let ifs = "[0.5, 1.0, 1.5]";
    let no_lower_rf = "RF lower, LO 25 GHz, IF 1.5 GHz";
    let multiplication = "lo_multiplication = 4";
    assert_refused(&[
        (LO_SWEEP, &sweep(27.0, 33.5, 41), "RF upper", "name = \"divider\""),
        (LO_SWEEP, &sweep(23.0, 31.0, 41), "needs 23 GHz", "name = \"hybrid\""),
        (LO_SWEEP, &sweep(25.0, 31.0, 41), no_lower_rf, "name = \"divider\""),
        (LO_SWEEP, &sweep(27.0, 31.0, 0), "points must be a whole number from 1", "lo_ghz"),
        (
            LO_SWEEP,
            &sweep(27.0, 31.0, 100_000_000),
            "points must be a whole number from 1",
            "lo_ghz",
        ),
        (LO_SWEEP, "[31.0, 27.0]", "ascending", "lo_ghz"),
        (ifs, "[]", "positive frequencies", "if_ghz"),
        (ifs, "[0.5, nan]", "positive frequencies", "if_ghz"),
        (ifs, "28.0", "leaves no lower sideband", "if_ghz"),
        (multiplication, "lo_multiplication = 0", "whole number from 1", "lo_multiplication"),
        (
            multiplication,
            "lo_multiplication = 4\nlo_multiplication_after_split = 3",
            "must divide the multiplication",
            "after_split",
        ),
    ]);
}

#[test]
fn wrong_numbers_are_refused_at_their_line() {
    let ring = "[load_reflection_sweep]\nmixer_reflection = 1.5\n[correction]";
    let gain = "name = \"i_plus\"\ngain = [1e200, 0]";
    let hybrid = "[if_hybrid]\ncomponent = { kind = \"quadrature_hybrid\" }\ni = 1\nq = 4\n\
                  output = [2, 3]\n[correction]\nacts_on = \"digital\"";
    let quarter_turn = "[correction]\nacts_on = \"digital\"\nphase_deg = 90";
    assert_refused(&[
        ("name = \"i_plus\"", gain, "the magnitude of a gain must be from", "gain"),
        ("lo_power_dbm = 17.0\n", "", "lo_power_dbm is missing", "lo_power_dbm_min"),
        ("exponent = 1.0", "exponent = -1.0", "from 0 to 10", "lo_amplitude_exponent"),
        ("_db = 25.0", "_db = -25.0", "must be from 0 to 200, found -25", "image_rejection_db"),
        ("[correction]", ring, "from 0 to below 1", "mixer_reflection"),
        ("[correction]", quarter_turn, "from -89 to 89", "phase_deg = 90"),
        ("[correction]", "[correction]\nacts_on = \"rf\"", "unknown value 'rf'", "acts_on"),
        ("combine =", "reference_ohm = 0\ncombine =", "from 0.001", "reference_ohm"),
        ("[correction]", hybrid, "a digital correction needs I and Q as numbers", "acts_on"),
    ]);
}

/// No single line is at fault.
#[test]
fn a_channel_without_a_mixer_is_named() {
    let sandbox = Sandbox::with_demo();
    let description = sandbox.read("receiver.toml");
    let from = description.find("[[mixer]]\nname = \"q_plus\"").unwrap();
    let to = description.find("[correction]").unwrap();
    sandbox.write("bad.toml", replaced(&description, &[(&description[from..to], "")]));
    sandbox.refuses("downconverter bad.toml", "channel q has no mixer");
}

#[test]
fn a_name_like_a_formula_comes_out_harmless() {
    let sandbox = Sandbox::with_demo();
    let formula = sandbox.read("receiver.toml").replace("pair = \"leads\"", "pair = \"=1+1\"");
    sandbox.write("changed.toml", formula);
    sandbox.succeeds("downconverter changed.toml --out report");
    let rows = sandbox.read("report/budget.csv");
    assert!(rows.lines().any(|line| line.starts_with("'=1+1,")), "{rows}");
}

#[test]
fn a_channel_that_cancels_is_named() {
    let sandbox = Sandbox::with_demo();
    // Both mixers of I added instead of subtracted, behind ideal parts.
    let changes = [
        ("file = \"coupler.s4p\"", "component = { kind = \"quadrature_hybrid\" }"),
        ("file = \"balun.s3p\"", "component = { kind = \"balun\" }"),
        ("polarity = \"-\"", "polarity = \"+\""),
    ];
    let run = run_changed(&sandbox, &changes, "");
    assert_eq!(run.status, 2, "{}", run.stdout);
    assert!(run.stderr.contains("channel i gives nothing"), "{}", run.stderr);
}

#[test]
fn a_worst_point_is_a_point_of_the_report() {
    let report = Sandbox::with_demo().json("downconverter receiver.toml");
    let worst = number(&report, "/summary/worst_image_rejection_db");
    let points = report["points"].as_array().unwrap();
    let least = points
        .iter()
        .map(|point| number(point, "/image_rejection_db"))
        .fold(f64::INFINITY, f64::min);
    assert_eq!(worst.to_bits(), least.to_bits());
}
