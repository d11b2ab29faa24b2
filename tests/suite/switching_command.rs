//! `downconverter` with switched mixers: the receivers of check values 15, and what is refused.

use crate::check_values::topic;
use crate::harness::{Sandbox, number, replaced, unfolded};
use serde_json::Value;

/// Compares the keys that a case expects, null for null.
fn compare(case: &Value, path: &str, got: &Value, want: &Value) {
    match want {
        Value::Object(members) => {
            for (key, want) in members {
                compare(case, &format!("{path}.{key}"), &got[key], want);
            }
        }
        Value::Array(items) => {
            for (at, want) in items.iter().enumerate() {
                compare(case, &format!("{path}[{at}]"), &got[at], want);
            }
        }
        Value::Number(want) => {
            let tolerance = |key: &str| case["tolerance"][key].as_f64().unwrap();
            let want = want.as_f64().unwrap();
            let got = got.as_f64().unwrap_or(f64::NAN);
            let allowed = tolerance("abs") + tolerance("rel") * want.abs();
            let id = &case["id"];
            assert!((got - want).abs() <= allowed, "{id} {path}: {got}, expected {want}");
        }
        // More than 200 dB is rounding; the check values print no number then.
        Value::Null if path.ends_with("image_rejection_db") => {
            assert!(got.as_f64().is_none_or(|db| db > 100.0), "{} {path}: {got}", case["id"]);
        }
        Value::Null => assert!(got.is_null(), "{} {path}: {got}", case["id"]),
        other => assert_eq!(got, other, "{} {path}", case["id"]),
    }
}

fn check_receivers(is_own: impl Fn(&str) -> bool) {
    let topic = topic("15_switching.json");
    let mut compared = 0;
    for case in topic["cases"].as_array().unwrap() {
        let id = case["id"].as_str().unwrap();
        let Some(text) = case["inputs"]["receiver_toml"].as_str().filter(|_| is_own(id)) else {
            continue;
        };
        let sandbox = Sandbox::new();
        sandbox.write("receiver.toml", text);
        for (name, content) in case["inputs"]["files"].as_object().unwrap() {
            sandbox.write(name, content.as_str().unwrap());
        }
        let report = sandbox.json("downconverter receiver.toml");
        for (key, want) in case["expected"].as_object().unwrap() {
            compare(case, key, &report[key], want);
        }
        compared += 1;
    }
    assert!(compared > 0);
}

#[test]
fn receivers_with_sidebands_as_given() {
    check_receivers(|id| id.ends_with("-fixed"));
}

#[test]
fn receivers_with_data_that_end() {
    check_receivers(|id| id.starts_with("receiver-outside"));
}

#[test]
fn receivers_of_one_rf_node() {
    check_receivers(|id| {
        ["receiver-four", "receiver-half", "receiver-perfect"].iter().any(|own| id.starts_with(own))
    });
}

#[test]
fn receivers_with_dividers() {
    check_receivers(|id| id.starts_with("receiver-iq-"));
}

#[test]
fn all_other_receivers() {
    let others = [
        "file-any", "if-load", "complex", "second", "never", "floating", "tree", "closed", "ideal",
    ];
    check_receivers(|id| {
        let own = id.trim_start_matches("receiver-");
        !id.ends_with("-fixed") && others.iter().any(|other| own.starts_with(other))
    });
}

/// A small receiver of components.
const RECEIVER: &str = r#"
lo_input = "h.in"
rf_input = "d.in"
frequency_plan = { lo_ghz = 28.0, if_ghz = 1.0, wanted_sideband = "upper", lo_power_dbm = 13.0 }
mixing = { switch = { on_ohm = 9.0, off_ohm = 4000.0, off_ff = 12.0, slope_v = 0.1 } }
if_load = { ohm = 100.0, ff = 200.0 }
block = [
    { name = "h", component = { kind = "quadrature_hybrid" }, ports = ["in", "a", "b", "iso"] },
    { name = "d", component = { kind = "divider", loss_db = 0.5 }, ports = ["in", "a", "b"] },
]
load = [
    { at = "h.iso", ohm = 50 },
    { at = "h.a", ohm = 50 },
    { at = "h.b", ohm = 50 },
]
mixer = [
    { name = "i", channel = "i", lo = "h.a", rf = "d.a" },
    { name = "q", channel = "q", lo = "h.b", rf = "d.b" },
]
"#;

#[test]
fn results_of_switches_stand_in_all_forms() {
    let sandbox = Sandbox::new();
    sandbox.write("receiver.toml", RECEIVER);
    let report = sandbox.json("downconverter receiver.toml");
    for pointer in [
        "/points/0/conversion_loss_db/both",
        "/points/0/noise_figure_db",
        "/points/0/rf_return_loss_db/upper",
        "/points/0/if_node_impedance_ohm/i+/0",
        "/lo/0/dc_offset_v/i",
        "/switching/sidebands",
        "/switching/left_db",
    ] {
        assert!(number(&report, pointer).is_finite(), "{pointer}");
    }
    assert_eq!(report["switching"]["converged"], true);
    let text = unfolded(&sandbox.succeeds("downconverter receiver.toml"));
    for word in
        ["Conversion loss of I and Q together", "SSB noise figure", "sidebands on either side"]
    {
        assert!(text.contains(word), "{word}: {text}");
    }
    let csv = sandbox.succeeds("downconverter receiver.toml --format csv");
    assert!(csv.lines().next().unwrap().contains("noise_figure_db"), "{csv}");
}

#[test]
fn limits_on_switches_are_judged() {
    let sandbox = Sandbox::new();
    let limits = "[require]\nconversion_loss_db_max = 6.0\nnoise_figure_db_max = 40.0\n";
    sandbox.write("receiver.toml", format!("{RECEIVER}{limits}"));
    let run = sandbox.run("downconverter receiver.toml --format json");
    assert_eq!(run.status, 1, "{}", run.stderr);
    let verdict = &run.json()["verdict"];
    let passes: Vec<&Value> =
        verdict["requirements"].as_array().unwrap().iter().map(|own| &own["pass"]).collect();
    assert_eq!(passes, [&Value::Bool(false), &Value::Bool(true)]);
}

#[test]
fn wrong_switches_are_refused_at_their_line() {
    let sandbox = Sandbox::new();
    let switch = "switch = { on_ohm = 9.0, off_ohm = 4000.0, off_ff = 12.0, slope_v = 0.1 }";
    for (from, to, says) in [
        (", lo_power_dbm = 13.0", "", "receiver.toml:5:21"),
        ("on_ohm = 9.0, ", "", "mixer 'i' needs on_ohm in its switch or in that of [mixing]"),
        ("off_ohm = 4000.0", "off_ohm = 4.0", "off_ohm must be above on_ohm, which is 9, found 4"),
        ("off_ohm = 4000.0", "off_ohm = 9.0", "are they exchanged"),
        ("slope_v = 0.1", "slope_v = 1e-9", "slope_v must be 0, a hard switch, or at least 1e-6"),
        ("ohm = 100.0, ff = 200.0", "", "the IF nodes float"),
        ("ff = 200.0", "differential_ohm = 90.0", "needs mixers of both polarities"),
        (switch, &format!("{switch}, sidebands = 0"), "sidebands"),
        (switch, &format!("{switch}, lo_amplitude_exponent = 1"), "is of multipliers"),
        ("rf = \"d.a\"", "rf = \"d.a\", gain = 2.0", "a switch has no gain of its own"),
        (
            "lo_power_dbm = 13.0",
            "lo_power_dbm = 13.0, lo_multiplication = 2, lo_multiplication_after_split = 2",
            "need the LO itself",
        ),
    ] {
        sandbox.write("receiver.toml", replaced(RECEIVER, &[(from, to)]));
        let error = unfolded(&sandbox.refused("downconverter receiver.toml"));
        assert!(error.contains(says), "{says}: {error}");
    }
    let multipliers = replaced(
        RECEIVER,
        &[(&format!("mixing = {{ {switch} }}"), ""), ("if_load = { ohm = 100.0, ff = 200.0 }", "")],
    );
    let loaded = replaced(
        &multipliers,
        &[(
            "{ at = \"h.b\", ohm = 50 },",
            "{ at = \"h.b\", ohm = 50 },\n{ at = \"d.a\", ohm = 50 }, { at = \"d.b\", ohm = 50 },",
        )],
    );
    let stray = loaded.replace("lo_input", "mixing = { sidebands = 8 }\nlo_input");
    sandbox.write("receiver.toml", stray);
    sandbox.refuses("downconverter receiver.toml", "sidebands is of mixers that are switches");
    sandbox.write("receiver.toml", format!("{loaded}[require]\nnoise_figure_db_max = 9.0\n"));
    sandbox.refuses("downconverter receiver.toml", "noise_figure_db_max");
}

#[test]
fn switches_that_do_not_switch_are_warned_of() {
    let sandbox = Sandbox::new();
    sandbox.write(
        "receiver.toml",
        replaced(RECEIVER, &[("off_ff = 12.0", "off_ff = 12.0, threshold_v = 1.5")]),
    );
    let run = sandbox.run("downconverter receiver.toml");
    let warnings = unfolded(&run.stderr);
    assert!(warnings.contains("mixers 'i', 'q' are never on at LO 28 GHz"), "{warnings}");
    assert!(warnings.contains("V, does not cross the threshold, 1.5 V"), "{warnings}");
    for (from, to, says) in [
        ("slope_v = 0.1", "slope_v = 100", "mixer 'i' hardly switches: its slope_v, 100 V"),
        ("mixing = {", "mixing = { temperature_k = 25,", "25 is -248 degrees Celsius"),
    ] {
        sandbox.write("receiver.toml", replaced(RECEIVER, &[(from, to)]));
        let warnings = unfolded(&sandbox.run("downconverter receiver.toml").stderr);
        assert!(warnings.contains(says), "{says}: {warnings}");
    }
}

/// Hard switches that never switch give nothing, and so do balanced pairs whose IF ports are joined by
/// their load alone: what is left is rounding.
#[test]
fn switches_that_give_nothing_are_refused() {
    let sandbox = Sandbox::new();
    let hard = ("off_ff = 12.0, slope_v = 0.1", "threshold_v = 9.0");
    sandbox.write("receiver.toml", replaced(RECEIVER, &[hard]));
    let error = unfolded(&sandbox.refused("downconverter receiver.toml"));
    assert!(error.contains("are never or always on"), "{error}");
    let demo = Sandbox::with_demo();
    let text = demo.read("receiver-switches.toml");
    let floating = replaced(
        &text,
        &[
            ("off_ff = 15.0, threshold_v = 0.1, slope_v = 0.15", "threshold_v = 0.0"),
            ("lo_to_rf_ff = 4.0\nlo_to_if_ff = 4.0", ""),
            ("ohm = 100.0\nff = 150.0", "differential_ohm = 200.0"),
            ("balun.s3p", "ideal.s3p"),
            ("balun_q.s3p", "ideal.s3p"),
        ],
    );
    demo.succeeds("component balun --grid 24GHz..34GHz:21 --output ideal.s3p");
    demo.write("floating.toml", floating);
    let error = unfolded(&demo.refused("downconverter floating.toml"));
    assert!(error.contains("their IF ports have no path to ground"), "{error}");
}

/// Two limits in which switches are multipliers. Both have so high a resistance that they load nothing.
/// Hard ones whose threshold is the LO's mean have a fundamental that does not depend on the LO's
/// amplitude, lo_amplitude_exponent 0; ones whose slope is far wider than the LO's swing have one in
/// proportion to it, exponent 1.
#[test]
fn switches_that_load_nothing_are_multipliers() {
    let parts = replaced(
        RECEIVER,
        &[
            (
                "kind = \"quadrature_hybrid\"",
                "kind = \"quadrature_hybrid\", imbalance_db = 0.4, phase_error_deg = 3.0, loss_db = 0.5",
            ),
            (
                "kind = \"divider\", loss_db = 0.5",
                "kind = \"divider\", loss_db = 0.5, imbalance_db = 0.2, phase_error_deg = 1.0",
            ),
            ("if_load = { ohm = 100.0, ff = 200.0 }\n", ""),
            (
                "{ at = \"h.b\", ohm = 50 },",
                "{ at = \"h.b\", ohm = 50 },\n{ at = \"d.a\", ohm = 50 }, { at = \"d.b\", ohm = 60 },",
            ),
        ],
    );
    let switch = "switch = { on_ohm = 9.0, off_ohm = 4000.0, off_ff = 12.0, slope_v = 0.1 }";
    let sandbox = Sandbox::new();
    for (own, exponent) in [
        ("switch = { on_ohm = 1e8, slope_v = 0.0 }", "lo_amplitude_exponent = 0.0"),
        (
            "switch = { on_ohm = 1e8, off_ohm = 1e9, slope_v = 500.0 }",
            "lo_amplitude_exponent = 1.0",
        ),
    ] {
        let solved = |mixing: &str| {
            sandbox.write("receiver.toml", replaced(&parts, &[(switch, mixing)]));
            sandbox.json("downconverter receiver.toml")["points"][0].clone()
        };
        let (switched, multiplied) = (solved(own), solved(exponent));
        for (pointer, floor) in [
            // 60 ohm against 1e8 ohm is 6e-7 of a signal, 30 dB above the image.
            ("/image_rejection_db", 1e-3),
            ("/channel_error/amplitude_db", 1e-5),
            ("/channel_error/phase_deg", 1e-4),
        ] {
            let (one, other) = (number(&switched, pointer), number(&multiplied, pointer));
            assert!((one - other).abs() < floor, "{exponent} {pointer}: {one} {other}");
        }
    }
}
