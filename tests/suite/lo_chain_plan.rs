//! An LO chain with what else a receiver may have: switched mixers, and a plan limited to an RF band.

use crate::harness::{Sandbox, unfolded};
use serde_json::Value;
use std::collections::BTreeMap;

/// Switched mixers that are driven by whatever `LO` says, at the blocks that `INPUT` says.
const SWITCHED: &str = r#"
lo_input = "INPUT"
rf_input = "divider.in"
JOINS
[frequency_plan]
lo_ghz = [28, 30]
if_ghz = [0.5]
wanted_sideband = "upper"
PLAN
LO
[mixing]
switch = { on_ohm = 8.0, off_ohm = 5000.0, threshold_v = 0.1, slope_v = 0.1 }
sidebands = 3
[[block]]
name = "hybrid"
component = { kind = "branch_line", center_ghz = 29 }
ports = ["in", "through", "coupled", "isolated"]
[[block]]
name = "divider"
component = { kind = "wilkinson", center_ghz = 29 }
ports = ["in", "out_i", "out_q"]
[[load]]
at = "hybrid.isolated"
ohm = 50
[[load]]
at = "hybrid.through"
ohm = [52, 6]
[[load]]
at = "hybrid.coupled"
ohm = [52, 6]
[[mixer]]
name = "i"
channel = "i"
lo = "hybrid.through"
rf = "divider.out_i"
[[mixer]]
name = "q"
channel = "q"
lo = "hybrid.coupled"
rf = "divider.out_q"
"#;

/// Amplifiers far from saturation, with lines between them, which bring the LO to 12 dBm.
const LINEAR_CHAIN: &str = r#"[lo_chain]
input_power_dbm = -8
[[lo_stage]]
name = "line"
component = { kind = "line", impedance_ohm = 50, center_ghz = 29, angle_deg = 70 }
[[lo_stage]]
name = "amplifier"
amplifier = { gain_db = 20, saturated_dbm = 190 }
"#;

/// A doubler so far in saturation that its input power does not matter.
const DOUBLER: &str = r#"[[block]]
name = "x2"
multiplier = { order = 2, knee_dbm = -80, saturated_dbm = 12, products_dbc = { "1" = -20 } }
"#;

fn switched(lo: &str, plan: &str) -> String {
    SWITCHED
        .replace("INPUT", "hybrid.in")
        .replace("JOINS", "")
        .replace("PLAN", plan)
        .replace("LO\n", lo)
}

fn document(text: &str) -> Value {
    let sandbox = Sandbox::new();
    sandbox.write("r.toml", text);
    sandbox.json("downconverter r.toml")
}

/// What depends on the LO's power at the switches.
fn figures(report: &Value) -> Vec<f64> {
    let mut all = Vec::new();
    for point in report["points"].as_array().unwrap() {
        all.push(point["image_rejection_db"].as_f64().unwrap());
        all.extend(
            ["i", "q", "both"].map(|key| point["conversion_loss_db"][key].as_f64().unwrap()),
        );
        all.push(point["noise_figure_db"].as_f64().unwrap());
    }
    for lo in report["lo"].as_array().unwrap() {
        for mixer in lo["mixers"].as_array().unwrap() {
            all.push(mixer["lo_power_dbm"].as_f64().unwrap());
        }
    }
    all
}

#[test]
fn switches_are_driven_by_the_power_of_the_chain() {
    let plain = figures(&document(&switched("", "lo_power_dbm = 12")));
    let weaker = figures(&document(&switched("", "lo_power_dbm = 2")));
    assert!(plain.iter().zip(&weaker).any(|(one, other)| (one - other).abs() > 0.1));
    let inside = SWITCHED
        .replace("INPUT", "x2.1")
        .replace("JOINS", "joins = [\"x2.2 -- hybrid.in\"]")
        .replace("PLAN", "lo_power_dbm = 20")
        .replace("LO\n", "")
        .replacen("[[block]]\n", &format!("{DOUBLER}[[block]]\n"), 1);
    let source = "[lo_chain]\ninput_power_dbm = 12\n";
    for text in [switched(source, ""), switched(LINEAR_CHAIN, ""), inside] {
        let report = document(&text);
        // Differences of closed forms in double precision, and of 180 dB of headroom.
        for (one, other) in figures(&report).iter().zip(&plain) {
            assert!((one - other).abs() < 1e-6, "{one}, expected {other}: {text}");
        }
        assert_eq!(report["lo_chain"]["spurious_responses"].as_array().unwrap().len(), 0);
        let warnings = report["warnings"].to_string();
        assert!(warnings.contains("not computed for switched mixers"), "{warnings}");
    }
}

#[test]
fn limits_that_do_not_fit_the_mixers_are_refused_at_their_place() {
    let sandbox = Sandbox::new();
    let limited = |text: &str, limit: &str| format!("{text}[require]\n{limit}\n");
    let chained = switched(LINEAR_CHAIN, "");
    let multipliers: String = chained
        .lines()
        .filter(|line| !line.starts_with("switch") && !line.starts_with("sidebands"))
        .flat_map(|line| [line, "\n"])
        .collect::<String>()
        + "[[load]]\nat = \"divider.out_i\"\nohm = 50\n[[load]]\nat = \"divider.out_q\"\nohm = 50\n";
    for (text, says) in [
        (switched("", ""), "there is no LO chain"),
        (limited(&chained, "spurious_response_db = 20"), "mixers that are multipliers"),
        (limited(&multipliers, "conversion_loss_db_max = 20"), "only switched mixers"),
        (limited(&switched("", "lo_power_dbm = 3"), "lo_tone_dbc_max = -20"), "no LO chain"),
        (limited(&multipliers.replace(LINEAR_CHAIN, ""), "lo_power_dbm_max = 3"), "is missing"),
    ] {
        sandbox.write("r.toml", &text);
        let run = sandbox.run("downconverter r.toml");
        assert_eq!(run.status, 2, "{text}");
        let told = unfolded(&run.stderr);
        assert!(told.contains(says) && told.contains("r.toml:"), "{told}");
    }
    sandbox
        .write("r.toml", limited(&chained, "lo_tone_dbc_max = -20\nconversion_loss_db_max = 50"));
    assert_eq!(sandbox.run("downconverter r.toml").status, 0);
}

/// The level of each spurious response, by LO, IF, multiple, sideband and RF in hertz.
fn responses(report: &Value) -> BTreeMap<String, (f64, bool)> {
    let list = report["lo_chain"]["spurious_responses"].as_array().unwrap().iter();
    let key = |own: &Value| {
        ["lo_hz", "if_hz", "multiple", "sideband", "rf_hz"].map(|name| own[name].to_string())
    };
    list.map(|own| {
        let level = own["relative_db"].as_f64().unwrap();
        (key(own).join(" "), (level, own["in_rf_band"].as_bool().unwrap()))
    })
    .collect()
}

#[test]
fn responses_of_a_plan_with_an_rf_band_are_those_of_its_points() {
    let sandbox = Sandbox::with_demo();
    let whole = sandbox.read("lo-chain-x6.toml");
    let band = "rf_ghz = { from = 28.1, to = 30.9 }\nwanted_sideband";
    let banded = whole.replace("wanted_sideband", band);
    let (whole, banded) = (document(&whole), document(&banded));
    let (all, own) = (responses(&whole), responses(&banded));
    let points: Vec<String> = banded["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|point| format!("{} {} ", point["lo_hz"], point["if_hz"]))
        .collect();
    // LO from 27 to 31 GHz in half gigahertz with IF of 0.5 and 1.5 GHz: some LOs have one IF only.
    assert!(points.len() > 5 && points.len() < 18, "{points:?}");
    let of_points = all.keys().filter(|key| points.iter().any(|own| key.starts_with(own)));
    assert!(own.len() > 20);
    assert_eq!(of_points.collect::<Vec<_>>(), own.keys().collect::<Vec<_>>());
    for (key, (level, in_rf_band)) in &own {
        assert!((level - all[key].0).abs() < 1e-9, "{key}");
        let rf_hz: f64 = key.rsplit(' ').next().unwrap().parse().unwrap();
        assert_eq!(*in_rf_band, (28.1e9..=30.9e9).contains(&rf_hz), "{key}");
    }
}

#[test]
fn leakage_of_switches_is_that_of_its_lo_where_an_rf_band_limits_the_plan() {
    let sandbox = Sandbox::new();
    let plan = "lo_power_dbm = 12\nrf_ghz = { from = 28.4, to = 31 }";
    let text = switched("", plan)
        .replace("lo_ghz = [28, 30]", "lo_ghz = [28, 29, 30]")
        .replace("sidebands = 3", "sidebands = 3\nlo_to_rf_ff = 5")
        .replace("if_ghz = [0.5]", "if_ghz = [0.3, 0.5]");
    sandbox.write("r.toml", format!("{text}[require]\nlo_at_rf_port_dbm_max = -5\n"));
    let report = sandbox.json("downconverter r.toml");
    let of_lo: BTreeMap<String, f64> = report["lo"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| (own["lo_hz"].to_string(), own["lo_at_rf_port_dbm"].as_f64().unwrap()))
        .collect();
    let table = sandbox.run("downconverter r.toml --format csv").stdout;
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let header = rows.headers().unwrap().clone();
    let column = |name: &str| header.iter().position(|own| own == name).unwrap();
    let (lo, level) = (column("lo_hz"), column("lo_at_rf_port_dbm"));
    let mut count = 0;
    for row in rows.records().map(Result::unwrap) {
        let hz: f64 = row[lo].parse().unwrap();
        let dbm: f64 = row[level].parse().unwrap();
        assert_eq!(dbm.to_bits(), of_lo[&serde_json::json!(hz).to_string()].to_bits(), "{hz}");
        count += 1;
    }
    // Of 28 GHz only the IF of 0.5 GHz is in the band.
    assert_eq!(count, 5);
}
