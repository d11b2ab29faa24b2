//! `[lo_chain]`, `[[lo_stage]]` and stages inside the LO network: what they give, and what is refused.

use crate::harness::{Sandbox, number, replaced};
use serde_json::Value;

/// A doubler and an amplifier before a hybrid; everything is matched.
const BEFORE: &str = r#"
lo_input = "h.in"
rf_input = "d.in"
[frequency_plan]
lo_ghz = [28, 30]
if_ghz = [1]
wanted_sideband = "upper"
[lo_chain]
input_power_dbm = 8.0
phase_noise = [[1e4, -110.0], [1e6, -130.0]]
tones = [{ multiple = 0.5, dbc = -40.0 }]
[[lo_stage]]
name = "doubler"
multiplier = { order = 2, knee_dbm = 4.0, saturated_dbm = 9.0, products_dbc = { "1" = -17.0, "3" = { dbc = -24.0, phase_deg = 30.0 } } }
input_dbm = { min = 2.0, max = 12.0 }
[[lo_stage]]
name = "driver"
amplifier = { gain_db = 12.0, saturated_dbm = 18.0 }
[[block]]
name = "h"
component = { kind = "quadrature_hybrid" }
ports = ["in", "a", "b", "iso"]
[[block]]
name = "d"
component = { kind = "divider" }
ports = ["in", "a", "b"]
[[load]]
at = "h.iso"
ohm = 50
[[load]]
at = "h.a"
ohm = 50
[[load]]
at = "h.b"
ohm = 50
[[load]]
at = "d.a"
ohm = 50
[[load]]
at = "d.b"
ohm = 50
[[mixer]]
name = "i"
channel = "i"
lo = "h.a"
rf = "d.a"
[[mixer]]
name = "q"
channel = "q"
lo = "h.b"
rf = "d.b"
[require]
lo_power_dbm_min = 10.0
lo_power_dbm_max = 16.0
lo_tone_dbc_max = -15.0
"#;

/// An LO that is divided, shifted by 45 degrees in the Q branch, and doubled in each branch.
const INSIDE: &str = r#"
lo_input = "s.in"
rf_input = "d.in"
joins = ["s.a -- x_i.1", "s.b -- line.1", "line.2 -- x_q.1", "x_i.2 -- pad_i.1", "x_q.2 -- pad_q.1"]
[frequency_plan]
lo_ghz = [28.0]
if_ghz = [1]
wanted_sideband = "upper"
lo_power_dbm = 11.0
[mixing]
lo_amplitude_exponent = 1.0
[[block]]
name = "s"
component = { kind = "divider" }
ports = ["in", "a", "b"]
[[block]]
name = "line"
component = { kind = "line", impedance_ohm = 50, center_ghz = 14, angle_deg = 45 }
[[block]]
name = "x_i"
pair = "doublers"
multiplier = { order = 2, knee_dbm = 4.0, saturated_dbm = 9.0, products_dbc = { "1" = -20.0 } }
[[block]]
name = "x_q"
pair = "doublers"
multiplier = { order = 2, knee_dbm = 4.0, saturated_dbm = 9.0, products_dbc = { "1" = -20.0 } }
[[block]]
name = "pad_i"
component = { kind = "attenuator", loss_db = 3 }
[[block]]
name = "pad_q"
component = { kind = "attenuator", loss_db = 3 }
[[block]]
name = "d"
component = { kind = "divider" }
ports = ["in", "a", "b"]
[[load]]
at = "pad_i.2"
ohm = 50
[[load]]
at = "pad_q.2"
ohm = 50
[[load]]
at = "d.a"
ohm = 50
[[load]]
at = "d.b"
ohm = 50
[[mixer]]
name = "i"
channel = "i"
lo = "pad_i.2"
rf = "d.a"
[[mixer]]
name = "q"
channel = "q"
lo = "pad_q.2"
rf = "d.b"
"#;

fn document(text: &str) -> Value {
    let sandbox = Sandbox::new();
    sandbox.write("r.toml", text);
    sandbox.json("downconverter r.toml")
}

/// p_sat / (1 + (p_knee / p)²) in dBm, the law of the doublers.
fn doubled_dbm(input_dbm: f64) -> f64 {
    9.0 - 10.0 * (1.0 + 10_f64.powf((4.0 - input_dbm) / 5.0)).log10()
}

#[test]
fn a_chain_before_the_network_gives_its_power() {
    let report = document(BEFORE);
    let doubled = doubled_dbm(8.0);
    // The amplifier's law with smoothness 2, then half of the power to each mixer.
    let linear = doubled + 12.0;
    let driven = linear - 5.0 * (1.0 + 10_f64.powf((linear - 18.0) / 5.0)).log10();
    let want = driven - 10.0 * 2_f64.log10();
    for lo in 0..2 {
        for mixer in 0..2 {
            let got = number(&report, &format!("/lo/{lo}/mixers/{mixer}/lo_power_dbm"));
            assert!((got - want).abs() < 1e-9, "{got} dBm, expected {want}");
        }
        let source_hz = number(&report, &format!("/lo/{lo}/lo_input_hz"));
        assert!((source_hz - [14e9, 15e9][lo]).abs() < 1e-3);
    }
    let margin = number(&report, "/lo_chain/stages/0/drive_margin_db");
    assert!((margin - 4.0).abs() < 1e-12, "{margin}");
    // 20 log10 2 = 6.02 dB.
    let noise = number(&report, "/lo_chain/phase_noise_at_mixers/0/1");
    assert!((noise + 110.0 - 20.0 * 2_f64.log10()).abs() < 1e-9, "{noise}");
    // The source's own half frequency, and its mirror image, are beside the carrier of the source.
    let tones = report["lo_chain"]["tones_at_mixers"].as_array().unwrap();
    let multiples: Vec<f64> = tones.iter().map(|tone| tone["multiple"].as_f64().unwrap()).collect();
    assert!([0.5, 1.0, 1.5, 2.5, 3.0].iter().all(|own| multiples.contains(own)), "{multiples:?}");
    let low = number(&report, "/lo_chain/input_window_dbm/0");
    assert!(low < 8.0 && number(&report, "/lo_chain/input_window_dbm/1") <= 12.0);
}

#[test]
fn doublers_behind_the_split_work_at_their_own_frequencies() {
    let report = document(INSIDE);
    // Half of 11 dBm drives each doubler; 3 dB of pad follow.
    let want = doubled_dbm(11.0 - 10.0 * 2_f64.log10()) - 3.0;
    for mixer in 0..2 {
        let got = number(&report, &format!("/lo/0/mixers/{mixer}/lo_power_dbm"));
        assert!((got - want).abs() < 1e-6, "{got} dBm, expected {want}");
    }
    // 45 degrees before a doubler are 90 behind it: no image but rounding.
    let rejection = report["points"][0]["image_rejection_db"].as_f64();
    assert!(rejection.is_none_or(|db| db > 150.0), "{rejection:?}");
    let phase = |mixer: usize| number(&report, &format!("/lo/0/mixers/{mixer}/lo_phase_deg"));
    let turned = (phase(1) - phase(0)).rem_euclid(360.0);
    assert!((turned - 270.0).abs() < 1e-6, "{turned}");
    let names: Vec<&str> = report["lo_chain"]["stages"]
        .as_array()
        .unwrap()
        .iter()
        .map(|stage| stage["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["x_i", "x_q"]);
    // The doublers' leakage at half the LO reaches the mixers at -20 dBc and brings in RF there.
    let tone = &report["lo_chain"]["tones_at_mixers"][0];
    assert_eq!((&tone["multiple"], &tone["dbc_at_lo_input"]), (&Value::from(1), &Value::Null));
    assert!((number(tone, "/dbc") + 20.0).abs() < 1e-6);
    assert_eq!(report["settings"]["lo_multiplication"], 2);
}

#[test]
fn a_phase_error_before_a_doubler_counts_twice_and_stands_in_the_budget() {
    // 46 degrees before the doubler are 2 degrees of error behind it: cot²(1°) of rejection.
    let report = document(&replaced(INSIDE, &[("angle_deg = 45", "angle_deg = 46")]));
    let want = -20.0 * 1_f64.to_radians().tan().log10();
    let got = number(&report, "/points/0/image_rejection_db");
    assert!((got - want).abs() < 1e-6, "{got} dB, expected {want}");
    // A doubler with 1 dB more output is an imbalance of 1 dB, which the pair of doublers makes.
    let stronger = replaced(
        INSIDE,
        &[(
            "name = \"x_q\"\npair = \"doublers\"\nmultiplier = { order = 2, knee_dbm = 4.0, saturated_dbm = 9.0",
            "name = \"x_q\"\npair = \"doublers\"\nmultiplier = { order = 2, knee_dbm = 4.0, saturated_dbm = 10.0",
        )],
    );
    let report = document(&stronger);
    let row = report["budget"].as_array().unwrap().iter().find(|row| row["block"] == "doublers");
    let amplitude = number(row.unwrap(), "/amplitude_db");
    assert!((amplitude - 1.0).abs() < 1e-6, "{amplitude} dB");
    let if_ideal = row.unwrap()["image_rejection_if_ideal_db"].as_f64();
    assert!(if_ideal.is_none_or(|db| db > 100.0), "{if_ideal:?}");
}

#[test]
fn a_chain_and_its_network_are_one_when_the_doubler_moves_behind_a_matched_line() {
    // A matched line before a doubler turns the phase twice as much, and changes no level.
    let inside = replaced(
        INSIDE,
        &[
            ("lo_power_dbm = 11.0\n", ""),
            (
                "[mixing]",
                "[lo_chain]\ninput_power_dbm = 11.0\ntones = [{ multiple = 3, dbc = -30.0 }]\n[mixing]",
            ),
        ],
    );
    let report = document(&inside);
    let tones = report["lo_chain"]["tones_at_mixers"].as_array().unwrap();
    // The rule at the doublers' drive: slope s, r'_d = (s + 2)/2 r and (s - 2)/2 conj r.
    let ratio = 10_f64.powf((11.0 - 10.0 * 2_f64.log10() - 4.0) / 5.0);
    let slope = 2.0 / (1.0 + ratio);
    let r = 10_f64.powf(-30.0 / 20.0);
    let tone = tones.iter().find(|tone| tone["multiple"] == 4).unwrap();
    let want_db = 20.0 * ((slope + 2.0) / 2.0 * r).log10();
    assert!((number(tone, "/dbc") - want_db).abs() < 1e-6, "{tone}, expected {want_db}");
}

#[test]
fn wrong_chains_are_refused_at_their_place() {
    let sandbox = Sandbox::new();
    for (text, from, to, says, place) in [
        (
            BEFORE,
            "wanted_sideband",
            "lo_multiplication = 3\nwanted_sideband",
            "multiply the LO by 2, and lo_multiplication is 3",
            "r.toml:7:21",
        ),
        (
            BEFORE,
            "wanted_sideband",
            "lo_power_dbm = 3\nwanted_sideband",
            "what the chain gives",
            "r.toml:7:16",
        ),
        (BEFORE, "multiple = 0.5", "multiple = 1.0", "is the carrier itself", "r.toml:11:23"),
        (
            BEFORE,
            "multiple = 0.5",
            "multiple = 0",
            "multiple must be from 0.001 to 1000",
            "r.toml:11:23",
        ),
        (BEFORE, "\"1\" = -17.0", "\"2\" = -17.0", "order 2 is the wanted one", "r.toml:14:"),
        (
            BEFORE,
            "\"1\" = -17.0",
            "\"x\" = -17.0",
            "must be a whole number from 1 to 100",
            "r.toml:14:",
        ),
        (
            BEFORE,
            "order = 2",
            "order = 1",
            "order must be a whole number from 2 to 1000",
            "r.toml:14:",
        ),
        (BEFORE, "max = 12.0", "max = 1.0", "max must be at least min", "r.toml:15:"),
        (
            BEFORE,
            "name = \"driver\"",
            "name = \"doubler\"",
            "duplicate LO stage 'doubler'",
            "r.toml:17:8",
        ),
        (
            BEFORE,
            "saturated_dbm = 18.0 }",
            "saturated_dbm = 18.0 }\nfile = \"x.s2p\"",
            "one of multiplier, amplifier, file and component",
            "r.toml:17:8",
        ),
        (BEFORE, "[1e6, -130.0]", "[1e3, -130.0]", "above 0 Hz and ascend", "r.toml:10:"),
        (INSIDE, "lo_power_dbm = 11.0\n", "", "need the power of the LO source", "r.toml:"),
        (
            INSIDE,
            "multiplier = { order = 2, knee_dbm = 4.0, saturated_dbm = 9.0, products_dbc = { \"1\" = -20.0 } }\n[[block]]\nname = \"pad_i\"",
            "multiplier = { order = 3, knee_dbm = 4.0, saturated_dbm = 9.0 }\n[[block]]\nname = \"pad_i\"",
            "must have the same multiplication",
            "r.toml:",
        ),
        (
            INSIDE,
            "\"x_q.2 -- pad_q.1\"",
            "\"x_q.2 -- pad_q.1 -- x_i.2\"",
            "is in two joins",
            "r.toml:",
        ),
        (
            INSIDE,
            "[mixing]",
            "[require]\nspurious_band_ghz = 3\n[mixing]",
            "two frequencies in GHz",
            "r.toml:",
        ),
    ] {
        sandbox.write("r.toml", replaced(text, &[(from, to)]));
        let error = sandbox.refused("downconverter r.toml");
        let unfolded = crate::harness::unfolded(&error);
        assert!(unfolded.contains(says), "no '{says}' in {error}");
        assert!(unfolded.contains(place), "no '{place}' in {error}");
    }
}

#[test]
fn a_carrier_outside_a_stage_is_refused_and_a_drive_beyond_its_limits_is_a_warning() {
    let sandbox = Sandbox::new();
    sandbox
        .write("narrow.s2p", "# GHz S RI R 50\n20 0 0 0.9 0 0.9 0 0 0\n29 0 0 0.9 0 0.9 0 0 0\n");
    let stage = "[[lo_stage]]\nname = \"driver\"";
    let narrow = format!("[[lo_stage]]\nname = \"tank\"\nfile = \"narrow.s2p\"\n{stage}");
    sandbox.write("r.toml", replaced(BEFORE, &[(stage, &narrow)]));
    let error = crate::harness::unfolded(&sandbox.refused("downconverter r.toml"));
    for part in ["LO stage 'tank' covers 20 to 29 GHz", "its carrier is at 30 GHz", "r.toml:18:8"] {
        assert!(error.contains(part), "no '{part}' in {error}");
    }
    sandbox.write("r.toml", replaced(BEFORE, &[("max = 12.0", "max = 7.5")]));
    let run = sandbox.run("downconverter r.toml");
    let warning = crate::harness::unfolded(&run.stderr);
    assert!(warning.contains("r.toml:13:8: LO stage 'doubler' is driven with 8.00"), "{warning}");
    assert!(run.stdout.contains("LO chain, 8.00 dBm from the source"), "{}", run.stdout);
    crate::harness::assert_fits_80_columns(&run.stdout);
}

#[test]
fn limits_on_what_a_chain_makes_need_a_chain() {
    let sandbox = Sandbox::with_demo();
    for limit in ["lo_tone_dbc_max = -30.0", "spurious_response_db = 40.0"] {
        let text = sandbox.read("receiver.toml").replace("lo_power_dbm_min = 5.0", limit);
        sandbox.write("r.toml", text);
        sandbox.refuses("downconverter r.toml", "limits a result of the LO chain");
    }
}

#[test]
fn neighbouring_two_ports_are_cascaded() {
    let sandbox = Sandbox::new();
    let element = |name: &str| {
        format!(
            "[[lo_stage]]\nname = \"{name}\"\n\
             component = {{ kind = \"series_element\", resistance_ohm = 30 }}\n"
        )
    };
    let stage = "[[lo_stage]]\nname = \"driver\"";
    let two = format!("{}{}{stage}", element("r1"), element("r2"));
    sandbox.write("r.toml", replaced(BEFORE, &[(stage, &two)]));
    let report = sandbox.json("downconverter r.toml");
    let gain = |stage: usize| number(&report, &format!("/lo_chain/stages/{stage}/gain_db/0"));
    // 60 ohm in series between 50 ohm: 100/160, not the square of 100/130.
    assert!((gain(1) - 20.0 * (100.0_f64 / 130.0).log10()).abs() < 1e-9);
    assert!((gain(1) + gain(2) - 20.0 * (100.0_f64 / 160.0).log10()).abs() < 1e-9);
}

#[test]
fn dies_with_the_receivers_own_networks_have_its_points() {
    let sandbox = Sandbox::new();
    for (text, block) in [(INSIDE, "line"), (INSIDE, "pad_q"), (BEFORE, "h")] {
        sandbox.write("r.toml", text);
        let options = fourphase::touchstone::ReadOptions::default();
        let loaded = fourphase::description::read_receiver(&sandbox.path("r.toml"), &options);
        let receiver = loaded.unwrap().receiver;
        let place = receiver.block(block).unwrap();
        let path = fourphase::downconverter::ReceiverPath::Lo;
        let own = receiver.network_at(place, path).unwrap().clone();
        let want = fourphase::downconverter::plan_points(&receiver).unwrap();
        let dies = fourphase::downconverter::DieReceiver::new(receiver, &[place]).unwrap();
        let points = dies.solve(&[own]).unwrap().points;
        assert_eq!(points.len(), want.len());
        for (got, want) in points.iter().zip(&want) {
            let difference = got.balance.wanted_error - want.balance.wanted_error;
            assert!(difference.norm() < 1e-12, "{block}: {difference}");
        }
    }
    let receiver = |name: &str| {
        sandbox.write("r.toml", INSIDE);
        let options = fourphase::touchstone::ReadOptions::default();
        let loaded = fourphase::description::read_receiver(&sandbox.path("r.toml"), &options);
        let receiver = loaded.unwrap().receiver;
        let place = receiver.block(name).unwrap();
        fourphase::downconverter::DieReceiver::new(receiver, &[place])
    };
    let refused = receiver("x_i").err().unwrap().to_string();
    assert!(refused.contains("has no data of its own"), "{refused}");
}

#[test]
fn the_plan_lists_what_stages_leak() {
    let sandbox = Sandbox::new();
    let bands = "plan --rf 27GHz..31GHz --if 0.5GHz..1.5GHz --multiplication";
    let report = sandbox.json(&format!("{bands} 3,2"));
    assert_eq!((&report["multiplication"], &report["stage_orders"][1]), (&6.into(), &2.into()));
    let lines = report["sidebands"][0]["leakage"].as_array().unwrap();
    // The fourth order of the tripler is one step above its carrier: 7 of 6 beside the LO.
    let own = lines.iter().find(|line| line["leaking_order"] == 4 && line["mirror"] == false);
    let own = own.unwrap();
    assert_eq!((&own["stage"], &own["multiple"]), (&1.into(), &7.into()));
    let hit = |victim: &str| {
        own["hits"].as_array().unwrap().iter().find(|hit| hit["victim"] == victim).unwrap()
    };
    // LO 25.5 to 30.5 GHz: the line sweeps 29.75 to 35.58 GHz, and less the IF it starts at 28.25.
    assert!((number(hit("rf"), "/overlap_hz/0") - 29.75e9).abs() < 1.0);
    let response = hit("response_below");
    assert!((number(response, "/overlap_hz/0") - 28.25e9).abs() < 1.0);
    assert!((number(response, "/lo_hz/1") - 32.5e9 * 6.0 / 7.0).abs() < 1.0);
    let text = sandbox.succeeds(&format!("{bands} 3,2"));
    assert!(text.contains("x7"), "{text}");
    crate::harness::assert_fits_80_columns(&text);
    assert!(sandbox.succeeds(&format!("{bands} 3,2 --format csv")).contains("leak_1_rf,7,"));
    assert!(sandbox.json(&format!("{bands} 6"))["sidebands"][0]["leakage"].is_null());
    sandbox.refuses(&format!("{bands} 100,20"), "from 1 to 1000");
}

#[test]
fn an_uncertainty_of_parts_leaves_tones_exact() {
    let sandbox = Sandbox::new();
    sandbox.write("r.toml", replaced(INSIDE, &[("[mixing]", "[require]\nimage_rejection_db = 20\nlo_tone_dbc_max = -15\nlo_power_dbm_max = 1.0\n[mixing]")]));
    let source = "[[source]]\nblocks = [\"line\"]\nparameters = { angle_deg = 1.0 }\n";
    sandbox.write("u.toml", format!("trials = 200\n{source}"));
    let run = sandbox.run("downconverter r.toml --uncertainty u.toml --format json");
    assert!(run.status < 2, "{}", run.stderr);
    let report = run.json();
    let decision = |name: &str| {
        let all = report["verdict"]["requirements"].as_array().unwrap();
        let own = all.iter().find(|own| own["name"] == name).unwrap();
        own["decision"].as_str().unwrap().to_owned()
    };
    assert_eq!(decision("lo_tone_dbc_max"), "pass");
    assert_eq!(decision("lo_power_dbm_max"), "fail");
    // One degree before a doubler is two behind it.
    let spread = number(&report, "/uncertainty/points/0/u_quadrature_error_deg");
    assert!((spread - 2.0).abs() < 1e-3, "{spread}");
}

#[test]
fn a_chain_has_tables_and_pictures_of_its_own() {
    let sandbox = Sandbox::new();
    sandbox.write("r.toml", BEFORE);
    let run = sandbox.run("downconverter r.toml --out report --quiet");
    assert!(run.status < 2, "{}", run.stderr);
    for (table, header) in [
        ("lo_chain.csv", "stage,lo_hz,carrier_hz,drive_dbm,carrier_dbm,gain_db,slope"),
        ("lo_tones.csv", "lo_hz,multiple,frequency_hz,mixer,dbc"),
        ("spurious_responses.csv", "lo_hz,if_hz,multiple,sideband,rf_hz,relative_db"),
    ] {
        let text = sandbox.read(&format!("report/{table}"));
        assert!(text.starts_with(header) && text.lines().count() > 4, "{table}: {text}");
    }
    let names = sandbox.names("report");
    for picture in ["lo-levels", "lo-spectrum", "spurious-responses", "input-window"] {
        assert!(names.iter().any(|name| name.starts_with(picture)), "no {picture} in {names:?}");
    }
}

#[test]
fn a_stage_inside_the_network_is_driven_and_drives_through_its_mismatch() {
    // A line of 35 ohm and 60 degrees into 80 ohm, then 20 ohm into the 50 ohm of the hybrid.
    let changes = [
        (
            "lo_input = \"h.in\"",
            "lo_input = \"line.1\"\njoins = [\"line.2 -- a.1\", \"a.2 -- h.in\"]",
        ),
        ("lo_ghz = [28, 30]", "lo_ghz = [29]\nlo_power_dbm = -10"),
        ("lo_power_dbm_min = 10.0\nlo_power_dbm_max = 16.0\nlo_tone_dbc_max = -15.0\n", ""),
        (
            "[[block]]\n",
            "[[block]]\nname = \"line\"\ncomponent = { kind = \"line\", impedance_ohm = 35, \
             center_ghz = 29, angle_deg = 60 }\n[[block]]\nname = \"a\"\namplifier = { gain_db = 10, \
             saturated_dbm = 100 }\ninput_ohm = 80\noutput_ohm = 20\n[[block]]\n",
        ),
    ];
    let start = BEFORE.find("[lo_chain]").unwrap();
    let end = BEFORE.find("[[block]]").unwrap();
    let plain = [&BEFORE[..start], &BEFORE[end..]].concat();
    let report = document(&replaced(&plain, &changes));
    let tangent = 60_f64.to_radians().tan();
    let j = num_complex::Complex64::I;
    let seen = 35.0 * (80.0 + j * 35.0 * tangent) / (35.0 + j * 80.0 * tangent);
    let reflection = (seen - 50.0) / (seen + 50.0);
    let drive = -10.0 + 10.0 * (1.0 - reflection.norm_sqr()).log10();
    let got = number(&report, "/lo_chain/stages/0/drive_dbm/0");
    assert!((got - drive).abs() < 1e-9, "{got} dBm, expected {drive}");
    let given = 10.0 * (1.0 - (30.0_f64 / 70.0).powi(2)).log10() - 10.0 * 2_f64.log10();
    for mixer in 0..2 {
        let got = number(&report, &format!("/lo/0/mixers/{mixer}/lo_power_dbm"));
        let want = drive + 10.0 + given;
        assert!((got - want).abs() < 1e-6, "{got} dBm, expected {want}");
    }
}
