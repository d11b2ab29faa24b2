//! Whole networks of receivers at both sidebands.
//!
//! Source: `tests/check-values/10_frequency_plan_irr.json`: transfers by an independent tableau
//! solution, rejection by phasors and by sampled waveforms with a Fourier transform.

use crate::check_values::{cases, check, complex, list, matrix, topic};
use crate::harness::Sandbox;
use crate::receiver_cases::{impedance, pair, solve_in, worst_db};
use fourphase::downconverter::DownconverterResult;
use num_complex::Complex64;
use serde_json::Value;
use std::fmt::Write as _;

#[test]
fn whole_networks_at_both_sidebands() {
    let topic = topic("10_frequency_plan_irr.json");
    for case in cases(&topic, "plan-") {
        let sandbox = Sandbox::new();
        let names = write_networks(&sandbox, &case["inputs"]);
        for (sideband, key, transfers) in [
            ("upper", "irr_upper_wanted_db", "rf_transfers_upper"),
            ("lower", "irr_lower_wanted_db", "rf_transfers_lower"),
        ] {
            let text = description(&case["inputs"], &names, sideband);
            let (_, result) = solve_in(&sandbox, &text);
            let got = worst_db(&result);
            match case["expected"][key].as_f64() {
                Some(want) => check(case, key, got, want),
                None => assert!(got > 250.0, "{} {key}: {got}", case["id"]),
            }
            check_transfers(case, &result, transfers);
        }
    }
}

/// The values are waves into the mixers, ours are voltages: V = (1 + Γ) a √50 ohm.
fn check_transfers(case: &Value, result: &DownconverterResult, rf_transfers: &str) {
    let wave = |magnitude: f64, phase_deg: f64, reflection: Complex64| {
        Complex64::from_polar(magnitude / 50.0_f64.sqrt(), phase_deg.to_radians())
            / (1.0 + reflection)
    };
    let (inputs, expected) = (&case["inputs"], &case["expected"]);
    let (lo_want, rf_want) = (list(&expected["lo_transfers"]), list(&expected[rf_transfers]));
    let lo_reflections = list(&inputs["lo_mixer_reflection"]);
    let rf_reflections = list(&inputs["rf_mixer_reflection"]);
    for (at, drive) in result.lo[0].mixers.iter().enumerate() {
        let got = wave(drive.lo_magnitude, drive.lo_phase_deg, lo_reflections[at]);
        assert!((got - lo_want[at]).norm() < 1e-9, "{} {got}", case["id"]);
        let got = wave(drive.rf_magnitude, drive.rf_phase_deg, rf_reflections[at]);
        assert!((got - rf_want[at]).norm() < 1e-9, "{} {got}", case["id"]);
    }
}

/// A Touchstone file of matrices at frequencies.
fn touchstone(rows: &[(f64, Vec<Complex64>)]) -> String {
    let mut text = "# GHz S RI R 50\n".to_owned();
    for (ghz, values) in rows {
        let _ = write!(text, "{ghz:?}");
        for row in values.chunks(values.len().isqrt()) {
            for value in row {
                let _ = write!(text, " {:?} {:?}", value.re, value.im);
            }
            text.push('\n');
        }
    }
    text
}

/// Writes the networks of the LO path and of the RF path and returns the names of their files. The
/// quadrature hybrid, four ports, is in one of them.
fn write_networks(sandbox: &Sandbox, inputs: &Value) -> [String; 2] {
    let lo_ghz = inputs["f_lo_ghz"].as_f64().unwrap();
    let if_ghz = inputs["f_if_ghz"].as_f64().unwrap();
    let lo = vec![(lo_ghz, matrix(&inputs["s_lo_at_flo"]))];
    let rf = vec![
        (lo_ghz - if_ghz, matrix(&inputs["s_rf_at_lower"])),
        (lo_ghz + if_ghz, matrix(&inputs["s_rf_at_upper"])),
    ];
    [("lo", lo), ("rf", rf)].map(|(path, rows)| {
        let name = format!("{path}.s{}p", rows[0].1.len().isqrt());
        sandbox.write(&name, touchstone(&rows));
        name
    })
}

fn description(inputs: &Value, [lo_file, rf_file]: &[String; 2], sideband: &str) -> String {
    let number = |name: &str| inputs[name].as_f64().unwrap();
    let (lo_ghz, if_ghz) = (number("f_lo_ghz"), number("f_if_ghz"));
    let exponent = number("lo_exponent");
    let mut text = format!(
        r#"
lo_input = "lo.1"
rf_input = "rf.1"
joins = ["lo.2 -- lo_i.1", "lo.3 -- lo_q.1", "rf.2 -- rf_i.1", "rf.3 -- rf_q.1"]
[frequency_plan]
lo_ghz = {lo_ghz:?}
if_ghz = {if_ghz:?}
wanted_sideband = "{sideband}"
[mixing]
lo_amplitude_exponent = {exponent:?}
[[block]]
name = "lo"
file = "{lo_file}"
[[block]]
name = "rf"
file = "{rf_file}"
"#
    );
    for (path, channel, at) in [("lo", "i", 0), ("lo", "q", 1), ("rf", "i", 0), ("rf", "q", 1)] {
        let angle = inputs[format!("{path}_line_theta_rad_at_f0")][at].as_f64().unwrap();
        let ohm = impedance(list(&inputs[format!("{path}_mixer_reflection")])[at]);
        let _ = write!(
            text,
            r#"
[[block]]
name = "{path}_{channel}"
component = {{ kind = "line", impedance_ohm = 50, center_ghz = {:?}, angle_deg = {:?} }}
[[load]]
at = "{path}_{channel}.2"
ohm = {}
"#,
            number("f0_ghz"),
            angle.to_degrees(),
            pair(ohm)
        );
    }
    let hybrid = if lo_file.ends_with(".s4p") { "lo" } else { "rf" };
    let isolated_ohm = pair(impedance(complex(&inputs["isolated_port_reflection_port4"])));
    let _ = write!(text, "[[load]]\nat = \"{hybrid}.4\"\nohm = {isolated_ohm}\n");
    text + &mixers(inputs)
}

/// The values mix the waves into the mixers, not the voltages there; the gain undoes 1 + Γ.
fn mixers(inputs: &Value) -> String {
    let exponent = inputs["lo_exponent"].as_f64().unwrap();
    let mut text = String::new();
    for (at, channel) in ["i", "q"].iter().enumerate() {
        let factor = |path: &str| 1.0 + list(&inputs[format!("{path}_mixer_reflection")])[at];
        let (lo, rf) = (factor("lo"), factor("rf"));
        let gain = pair(1.0 / (rf * lo.conj() * lo.norm().powf(exponent - 1.0)));
        let _ = write!(
            text,
            r#"
[[mixer]]
name = "{channel}"
gain = {gain}
channel = "{channel}"
lo = "lo_{channel}.2"
rf = "rf_{channel}.2"
"#
        );
    }
    text
}
