//! `--uncertainty` with switched mixers: against receivers solved with files that are off, draws of the
//! linear law against trials of the receiver, and decisions on levels.

use crate::harness::{Sandbox, number, replaced};
use num_complex::Complex64;
use serde_json::Value;
use std::f64::consts::LN_10;

/// The demo receiver at a few points, with sidebands that stay the same whatever changes.
fn sandbox() -> Sandbox {
    let sandbox = Sandbox::with_demo();
    let text = replaced(
        &sandbox.read("receiver-switches.toml"),
        &[
            ("lo_ghz = { from = 27.0, to = 31.0, points = 41 }", "lo_ghz = [28.0, 30.0]"),
            ("if_ghz = [0.5, 1.0, 1.5]", "if_ghz = 1.0"),
            ("[mixing]", "[mixing]\nsidebands = 8"),
            ("combine = \"auto\"", "combine = \"i+jq\""),
        ],
    );
    sandbox.write("switches.toml", text);
    sandbox
}

/// Channel error (dB, deg) of the point of worst rejection, and the worst levels: loss, noise figure, leakage.
fn figures(report: &Value) -> [f64; 5] {
    let points = report["points"].as_array().unwrap();
    let rejection_db = |own: &&Value| number(own, "/image_rejection_db");
    let last = points
        .iter()
        .min_by(|one, other| rejection_db(one).total_cmp(&rejection_db(other)))
        .unwrap();
    let worst = |list: &Value, pointer: &str| {
        let values = list.as_array().unwrap().iter().map(|own| number(own, pointer));
        values.fold(f64::NEG_INFINITY, f64::max)
    };
    [
        number(last, "/channel_error/amplitude_db"),
        number(last, "/channel_error/phase_deg"),
        worst(&report["points"], "/conversion_loss_db/both"),
        worst(&report["points"], "/noise_figure_db"),
        worst(&report["lo"], "/lo_at_rf_port_dbm"),
    ]
}

/// The standard uncertainties of one source of a file, against the receiver solved anew with each entry
/// of the file off by a hundredth of the standard uncertainty.
fn compare(sandbox: &Sandbox, file: &str, ports: usize, expected: &str) {
    sandbox.write(
        "u.toml",
        format!(
            "trials = 4000\n[[source]]\nfiles = [\"{file}\"]\ntransmission = {{ magnitude_db = 0.05 }}\n"
        ),
    );
    let known = sandbox.json("downconverter switches.toml --uncertainty u.toml");
    let own = figures(&sandbox.json("downconverter switches.toml"));
    let text = sandbox.read("switches.toml");
    let off = format!("off.s{ports}p");
    sandbox.write("off.toml", text.replace(&format!("\"{file}\""), &format!("\"{off}\"")));
    let factor = Complex64::from(10_f64.powf(0.01 * 0.05 / 20.0));
    let mut sums = [0.0_f64; 5];
    for (row, column) in (0..ports).flat_map(|row| (0..ports).map(move |column| (row, column))) {
        if row == column {
            continue;
        }
        sandbox.write_changed(file, &off, |r, c, entry| {
            if (r, c) == (row, column) { entry * factor } else { entry }
        });
        let moved = figures(&sandbox.json("downconverter off.toml"));
        for (sum, (moved, own)) in sums.iter_mut().zip(moved.iter().zip(&own)) {
            *sum += (100.0 * (moved - own)).powi(2);
        }
    }
    let want = sums.map(f64::sqrt);
    let contributions = known["uncertainty"]["contributions"].as_array().unwrap();
    assert_eq!((contributions.len(), &contributions[0]["part"]), (1, &Value::from(expected)));
    for (key, want) in [("/u_amplitude_db", want[0]), ("/u_phase_deg", want[1])] {
        let got = number(&contributions[0], key);
        // A one-sided difference is off by about its step, here below 1e-4 of an entry.
        assert!((got - want).abs() < 3e-4 * want, "{file} {key} {got} {want}");
    }
    for (name, want) in [
        ("max_conversion_loss_db", want[2]),
        ("max_noise_figure_db", want[3]),
        ("max_lo_at_rf_port_dbm", want[4]),
    ] {
        let got = number(&known["uncertainty"]["summary"][name], "/standard_uncertainty");
        // 4,000 draws know a standard deviation to 1.1 %; single precision of a level to 1e-6 dB.
        assert!((got - want).abs() < 0.045 * want + 1e-5, "{file} {name}: {got} {want}");
    }
}

#[test]
fn uncertainties_are_those_of_an_lo_file_that_is_off() {
    compare(&sandbox(), "coupler.s4p", 4, "hybrid");
}

#[test]
fn uncertainties_are_those_of_an_rf_file_that_is_off() {
    compare(&sandbox(), "divider.s3p", 3, "divider");
}

/// A divider of which data reach all sidebands counts at all of them: the data of `divider.s3p` end at
/// 34 GHz.
#[test]
fn uncertainties_are_those_of_an_rf_file_that_is_off_at_every_sideband() {
    let sandbox = sandbox();
    sandbox.succeeds(
        "component wilkinson center_ghz=29 loss_db=0.3 --grid 1GHz..250GHz:250 --output wide.s3p",
    );
    sandbox.write(
        "switches.toml",
        sandbox.read("switches.toml").replace("\"divider.s3p\"", "\"wide.s3p\""),
    );
    compare(&sandbox, "wide.s3p", 3, "divider");
}

/// Repeated measurements count at every sideband that they reach, as a receiver with their mean.
#[test]
fn the_mean_of_repeats_is_taken_at_every_sideband() {
    let sandbox = sandbox();
    sandbox.succeeds(
        "component wilkinson center_ghz=29 loss_db=0.3 --grid 1GHz..250GHz:250 --output wide.s3p",
    );
    let text = sandbox.read("switches.toml");
    sandbox.write("switches.toml", text.replace("\"divider.s3p\"", "\"wide.s3p\""));
    sandbox.write("mean.toml", text.replace("\"divider.s3p\"", "\"mean.s3p\""));
    for (name, size) in [("one.s3p", 0.02), ("two.s3p", 0.04), ("mean.s3p", 0.03)] {
        sandbox.write_changed("wide.s3p", name, |row, column, entry| {
            entry + Complex64::new(size, -size) * f64::from(u8::from(row == column))
        });
    }
    sandbox.write(
        "u.toml",
        "trials = 1000\n[[source]]\nfiles = [\"wide.s3p\"]\nrepeats = [\"one.s3p\", \"two.s3p\"]\n",
    );
    let known = figures(&sandbox.json("downconverter switches.toml --uncertainty u.toml"));
    let want = figures(&sandbox.json("downconverter mean.toml"));
    for (known, want) in known.iter().zip(&want) {
        assert!((known - want).abs() < 1e-9, "{known} {want}");
    }
}

/// At the point of worst rejection the distribution is of trials of the receiver itself; it is that of
/// the linear law, which the other points have, up to 600 trials.
#[test]
fn trials_of_the_receiver_agree_with_the_linear_law() {
    let sandbox = sandbox();
    sandbox.write(
        "u.toml",
        "trials = 4000\n[[source]]\ntransmission = { magnitude_db = 0.003, phase_deg = 0.03 }\n",
    );
    let known = sandbox.json("downconverter switches.toml --uncertainty u.toml");
    let u_db = |key: &str| number(&known["uncertainty"]["summary"][key], "/standard_uncertainty");
    let worst_at = number(&known["summary"], "/worst_at_lo_hz");
    let points = known["points"].as_array().unwrap();
    let worst =
        points.iter().position(|own| number(own, "/lo_hz").total_cmp(&worst_at).is_eq()).unwrap();
    let own = &known["uncertainty"]["points"][worst];
    let covariance = &own["channel_error_covariance"];
    let error = &points[worst]["channel_error"];
    // d(20 log10 |e|): the component of the noise along the error.
    let (re, im) =
        (number(error, "/amplitude_db") * LN_10 / 20.0, number(error, "/phase_deg").to_radians());
    let norm = re.hypot(im);
    let along = [re / norm, im / norm];
    let variance: f64 = (0..2)
        .flat_map(|row| (0..2).map(move |column| (row, column)))
        .map(|(row, column)| along[row] * along[column] * covariance[row][column].as_f64().unwrap())
        .sum();
    let linear_db = 20.0 / LN_10 * variance.sqrt() / norm;
    let median = number(own, "/image_rejection_median_db");
    let estimate = number(&points[worst], "/image_rejection_db");
    // The median of 600 trials is known to 1.25/sqrt 600 of a standard deviation: four of them.
    assert!((median - estimate).abs() < 0.25 * linear_db, "{median} {estimate} {linear_db}");
    assert!(u_db("max_conversion_loss_db") > 0.0 && u_db("max_noise_figure_db") > 0.0);
    let all_db = u_db("worst_image_rejection_db");
    assert!((all_db / linear_db - 1.0).abs() < 0.25, "{all_db} {linear_db}");
}

/// A limit at the estimate is undecided; one five standard uncertainties away is decided.
#[test]
fn limits_on_levels_are_decided_within_their_uncertainty() {
    let sandbox = sandbox();
    sandbox.write("u.toml", "trials = 2000\n[[source]]\ntransmission = { magnitude_db = 0.05 }\n");
    let own = figures(&sandbox.json("downconverter switches.toml"));
    let text = sandbox.read("switches.toml");
    let known = sandbox.json("downconverter switches.toml --uncertainty u.toml");
    for (key, summary, estimate) in [
        ("conversion_loss_db_max", "max_conversion_loss_db", own[2]),
        ("noise_figure_db_max", "max_noise_figure_db", own[3]),
        ("lo_at_rf_port_dbm_max", "max_lo_at_rf_port_dbm", own[4]),
    ] {
        let spread = &known["uncertainty"]["summary"][summary];
        assert!((number(spread, "/estimate") - estimate).abs() < 1e-9);
        let u_db = number(spread, "/standard_uncertainty");
        for (distance, decision) in [(0.0, "undecided"), (5.0, "pass"), (-5.0, "fail")] {
            let limit = estimate + distance * u_db;
            let limited = text.split("[require]").next().unwrap();
            sandbox.write("limited.toml", format!("{limited}[require]\n{key} = {limit}\n"));
            let run = sandbox.run("downconverter limited.toml --uncertainty u.toml --format json");
            let entry = run.json()["verdict"]["requirements"][0].clone();
            assert_eq!(entry["decision"], decision, "{key} {distance}: {entry}");
        }
    }
}
