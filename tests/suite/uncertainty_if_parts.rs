//! Uncertainty of the parts behind the mixers, and of a splitter's loads that are given in ohms.

use crate::harness::{Sandbox, number, replaced, unfolded};
use crate::receiver_cases::Simple;
use serde_json::Value;

/// A simple receiver with these parts behind its mixers.
fn receiver(parts: &str) -> String {
    let combined = Simple::default().text();
    replaced(&combined, &[("[[block]]", &format!("{parts}\n[[block]]"))])
}

/// The uncertainty of a receiver by a description, which has few trials.
fn uncertainty(sandbox: &Sandbox, parts: &str, sources: &str) -> Value {
    sandbox.write("receiver.toml", receiver(parts));
    sandbox.write("u.toml", format!("trials = 100\n{sources}"));
    sandbox.json("downconverter receiver.toml --uncertainty u.toml")["uncertainty"].clone()
}

const LINE: &str = r#"
[if_path]
q = { component = { kind = "line", impedance_ohm = 50, center_ghz = 1, angle_deg = 30 } }
"#;

/// A line in the path of Q whose length is uncertain by 1 degree at 1 GHz: I and Q differ by so much of
/// it as the IF has of 1 GHz, exactly.
#[test]
fn a_parameter_of_an_if_path_counts() {
    let source = "[[source]]\nblocks = [\"if_path.q\"]\nparameters = { angle_deg = 1 }\n";
    let known = uncertainty(&Sandbox::new(), LINE, source);
    for point in known["points"].as_array().unwrap() {
        let want = number(point, "/if_hz") / 1e9;
        // S21 moves along a chord of its circle: less by half the square of a degree, 1.5e-4.
        assert!((number(point, "/u_quadrature_error_deg") - want).abs() < 2e-4, "{point}");
        assert!(number(point, "/u_amplitude_imbalance_db") < 1e-4, "{point}");
        let variance = number(point, "/channel_error_covariance/1/1");
        assert!((variance.sqrt().to_degrees() - want).abs() < 2e-4, "{point}");
    }
    assert_eq!(known["contributions"][0]["part"], "if_path.q");
    let budget = known["budget"].as_array().unwrap();
    let row = budget.iter().find(|row| row["block"] == "IF parts").unwrap();
    assert!(number(row, "/u_phase_deg") > 0.4, "{row}");
}

/// Trace noise of the files of both paths: 0.1 dB and 1 degree each, so that of their ratio is larger by
/// the root of 2. Also where the source names no file.
#[test]
fn files_of_if_paths_count_like_others() {
    let sandbox = Sandbox::new();
    let line = "line impedance_ohm=50 center_ghz=1 angle_deg=20 loss_db=1 --grid 0.4GHz..1.1GHz:8";
    for file in ["i.s2p", "q.s2p"] {
        sandbox.succeeds(&format!("component {line} --output {file}"));
    }
    let parts = "[if_path]\ni = \"i.s2p\"\nq = \"q.s2p\"\n";
    for which in
        ["", "files = [\"i.s2p\", \"q.s2p\"]\n", "blocks = [\"if_path.i\", \"if_path.q\"]\n"]
    {
        for over_frequency in ["independent", "correlated"] {
            let source = format!(
                "[[source]]\n{which}over_frequency = \"{over_frequency}\"\n\
                 transmission = {{ magnitude_db = 0.1, phase_deg = 1 }}\n"
            );
            let known = uncertainty(&sandbox, parts, &source);
            for point in known["points"].as_array().unwrap() {
                let amplitude = number(point, "/u_amplitude_imbalance_db") / 2_f64.sqrt();
                let phase = number(point, "/u_quadrature_error_deg") / 2_f64.sqrt();
                assert!((amplitude - 0.1).abs() < 1e-4 && (phase - 1.0).abs() < 1e-3, "{point}");
            }
        }
    }
}

/// The phase error of an IF hybrid is that of the receiver, also in trials.
#[test]
fn an_if_hybrid_counts() {
    let hybrid = r#"
[if_hybrid]
component = { kind = "quadrature_hybrid", phase_error_deg = 3, loss_db = 1 }
i = 1
q = 4
output = [2, 3]
"#;
    let source = "[[source]]\nblocks = [\"if_hybrid\"]\nparameters = { phase_error_deg = 0.5 }\n";
    let known = uncertainty(&Sandbox::new(), hybrid, source);
    for point in known["points"].as_array().unwrap() {
        let variance = number(point, "/channel_error_covariance/1/1");
        assert!((variance.sqrt().to_degrees() - 0.5).abs() < 1e-4, "{point}");
        // 3 ± 0.98 degrees of error: 29.2 to 35.1 dB; the median of 100 trials is known to 0.2 dB.
        let median_db = number(point, "/image_rejection_median_db");
        assert!((median_db - 31.64).abs() < 0.8, "{point}");
    }
}

#[test]
fn if_parts_that_do_not_exist_are_refused() {
    let sandbox = Sandbox::new();
    sandbox.write("receiver.toml", receiver(LINE));
    for (source, says) in [
        (
            "blocks = [\"if_path.i\"]\nparameters = { angle_deg = 1 }",
            "there is no block 'if_path.i'",
        ),
        (
            "blocks = [\"if_path.q\"]\nparameters = { width_um = 1 }",
            "no numeric parameter width_um",
        ),
        ("files = [\"q.s2p\"]\ntransmission = { phase_deg = 1 }", "has no file"),
    ] {
        sandbox.write("u.toml", format!("[[source]]\n{source}\n"));
        let error = sandbox.refused("downconverter receiver.toml --uncertainty u.toml");
        assert!(unfolded(&error).contains(says), "{says}: {error}");
    }
    let wrong = LINE
        .replace("\"line\"", "\"divider\"")
        .replace(", impedance_ohm = 50, center_ghz = 1, angle_deg = 30", "");
    sandbox.write("receiver.toml", receiver(&wrong));
    sandbox.refuses("downconverter receiver.toml", "an IF path has 2 ports, this component has 3");
}

/// A load of 5 % at the isolated port of the demo's coupler, against the coupler with the load 5 % off
/// either way.
#[test]
fn a_splitters_load_of_ohms_counts() {
    let sandbox = Sandbox::with_demo();
    let coupler = "splitter coupler.s4p --band 28GHz..30GHz";
    let source = "[[source]]\nloads = [\"4\"]\nparameters_percent = { ohm = 5 }\n";
    sandbox.write("u.toml", format!("trials = 100\n{source}"));
    let known = sandbox.json(&format!("{coupler} --load 4=40 --uncertainty u.toml"));
    let [high, low] = ["42", "38"].map(|ohm| sandbox.json(&format!("{coupler} --load 4={ohm}")));
    let points = known["uncertainty"]["points"].as_array().unwrap();
    assert!(points.len() > 5);
    for (at, point) in points.iter().enumerate() {
        let half = |key: &str| {
            let value = |from: &Value| number(from, &format!("/points/{at}/{key}"));
            0.5 * (value(&high) - value(&low)).abs()
        };
        let amplitude_db = number(point, "/u_amplitude_imbalance_db");
        let phase_deg = number(point, "/u_phase_error_deg");
        assert!(phase_deg > 1e-3, "{point}");
        // By two routes: the load's reflection goes to both sides alike or not, which differs by the
        // square of 2 ohm over 90 ohm, 5e-4.
        let is_near = |one: f64, other: f64| (one - other).abs() < 1e-3 * other + 1e-6;
        assert!(is_near(amplitude_db, half("amplitude_imbalance_db")), "{point}");
        assert!(is_near(phase_deg, half("phase_error_deg")), "{point}");
    }
    for (loads, says) in [
        ("[\"hybrid.isolated\"]", "no load of ohms at port 'hybrid.isolated'"),
        ("[\"3\"]", "no load of ohms at port '3'"),
    ] {
        sandbox.write("u.toml", source.replace("[\"4\"]", loads));
        sandbox.refuses(&format!("{coupler} --load 4=40 --uncertainty u.toml"), says);
    }
}
