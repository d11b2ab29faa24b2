//! `--measured`: a receiver that is the demo but for the mixers' gains, measured with tones.

use crate::harness::{Sandbox, assert_fits_80_columns, number};
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};
use serde_json::Value;
use std::f64::consts::LN_10;
use std::fmt::Write as _;

const HEADER: &str = "lo_ghz,if_ghz,wanted_dbm,image_dbm,u_wanted_db,u_image_db\n";

/// The gain of channel Q's mixers that the description does not have.
const ADDED_DB: f64 = 0.3;
const ADDED_DEG: f64 = -1.5;

/// Tones of every fourth point of a receiver, with normal noise. Two standard uncertainties of 0.06
/// and 0.08 dB make one of 0.1 dB.
fn tones(sandbox: &Sandbox, receiver: &str, noise_db: f64) -> String {
    let report = sandbox.json(&format!("downconverter {receiver}"));
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let mut table = HEADER.to_owned();
    for point in report["points"].as_array().unwrap().iter().step_by(4) {
        let (lo, intermediate) = (number(point, "/lo_hz") / 1e9, number(point, "/if_hz") / 1e9);
        let error: f64 = StandardNormal.sample(&mut random);
        let image = -20.0 - number(point, "/image_rejection_db") + noise_db * error;
        let _ = writeln!(table, "{lo},{intermediate},-20,{image},0.06,0.08");
    }
    table
}

/// The demo, and tones of it with the added gain as `differs.csv`.
fn sandbox_that_differs() -> Sandbox {
    let sandbox = Sandbox::with_demo();
    let gain = Complex64::from_polar(10_f64.powf(ADDED_DB / 20.0), ADDED_DEG.to_radians());
    let mut truth = sandbox.read("receiver.toml");
    for name in ["q_plus", "q_minus"] {
        let name = format!("name = \"{name}\"\n");
        truth = truth.replace(&name, &format!("{name}gain = [{}, {}]\n", gain.re, gain.im));
    }
    sandbox.write("truth.toml", truth);
    sandbox.write("differs.csv", tones(&sandbox, "truth.toml", 0.0));
    sandbox
}

#[test]
fn tones_agree_where_the_mixers_are_as_described() {
    let sandbox = Sandbox::with_demo();
    sandbox.write("agrees.csv", tones(&sandbox, "receiver.toml", 0.1));
    let report = sandbox.json("downconverter receiver.toml --measured agrees.csv");
    let measured = &report["measured"];
    let points = measured["points"].as_array().unwrap();
    assert_eq!(points.len(), 31);
    // With an expanded uncertainty of two standard ones 95 % agree; three of 31 may not.
    assert!(measured["agreeing"].as_u64().unwrap() >= 28, "{measured}");
    let of = |key: &str| number(&points[0], key);
    let gap_db = of("/measured_image_rejection_db") - of("/predicted_image_rejection_db");
    assert!((of("/normalised_error") - gap_db / 0.2).abs() < 1e-9);
    assert!((of("/u_measured_db") - 0.1).abs() < 1e-12);
}

#[test]
fn the_error_of_the_mixers_is_found() {
    let sandbox = sandbox_that_differs();
    let report = sandbox.json("downconverter receiver.toml --measured differs.csv");
    assert!(report["measured"]["agreeing"].as_u64().unwrap() < 10);
    let mixers = &report["measured"]["mixer_error"];
    let of = |key: &str| number(mixers, key);
    // The tones are exact, and so is the model: rounding is left.
    assert!((of("/amplitude_db") - ADDED_DB).abs() < 1e-9, "{mixers}");
    assert!((of("/phase_deg") - ADDED_DEG).abs() < 1e-9, "{mixers}");
    // It counts conjugate in the image sideband, the lower one.
    assert!((of("/image_phase_deg") + ADDED_DEG).abs() < 1e-9, "{mixers}");
    assert!(of("/rms_in_standard_uncertainties") < 1e-9 && of("/rms_without") > 3.0, "{mixers}");
    // The bounds of every point hold the error that was put in. They add rejections as vectors of
    // length tanh(e/2), which is shorter than e/2 by e^2/12: for 25 dB, with e of 0.112, by 0.1 %.
    let neper_db = 20.0 / LN_10;
    let size_db = ADDED_DB.hypot(ADDED_DEG.to_radians() * neper_db);
    for point in report["measured"]["points"].as_array().unwrap() {
        assert!(number(point, "/min_added_error_db") <= 1.001 * size_db, "{point} {size_db}");
        assert!(number(point, "/max_added_error_db") >= 0.999 * size_db, "{point} {size_db}");
    }
}

/// Three tones at neighbouring LOs see the error of the mixers from one direction only: its mirror image
/// fits as well. Both are told, the true one among them, and where a tone would decide.
#[test]
fn minima_that_the_tones_do_not_rule_out_are_all_told() {
    let sandbox = sandbox_that_differs();
    let all = sandbox.read("differs.csv");
    let few: Vec<&str> = all.lines().take(4).collect();
    sandbox.write("few.csv", few.join("\n"));
    let report = sandbox.json("downconverter receiver.toml --measured few.csv");
    let told = report["measured"]["mixer_errors_not_ruled_out"].as_array().unwrap();
    assert!(told.len() >= 2, "{told:?}");
    let is_true = |one: &Value| {
        (number(one, "/amplitude_db") - ADDED_DB).abs() < 1e-3
            && (number(one, "/phase_deg").abs() - ADDED_DEG.abs()).abs() < 1e-2
    };
    assert!(told.iter().any(is_true), "{told:?}");
    assert!(number(&report["measured"]["deciding_tone"], "/difference_db") > 0.3, "{report}");
    let run = sandbox.run("downconverter receiver.toml --measured few.csv");
    assert!(run.stdout.contains("do not rule out"), "{}", run.stdout);
    assert_fits_80_columns(&run.stdout);
}

/// Where the prediction may be perfect there is no E_n; what can be said is said instead. The mixers'
/// error is known no better than the prediction.
#[test]
fn an_open_interval_has_no_normalised_error() {
    let sandbox = sandbox_that_differs();
    sandbox.write(
        "u.toml",
        "trials = 100\nsource = [{ transmission = { magnitude_db = 0.5, phase_deg = 3.0 } }]\n",
    );
    let with = "downconverter receiver.toml --measured differs.csv --uncertainty u.toml";
    let report = sandbox.json(with);
    let points = report["measured"]["points"].as_array().unwrap();
    let open: Vec<&Value> =
        points.iter().filter(|point| point["predicted_high_db"].is_null()).collect();
    assert!(!open.is_empty());
    assert!(open.iter().all(|point| point["normalised_error"].is_null()), "{open:?}");
    assert!(open.iter().all(|point| point["agrees"] == true), "{open:?}");
    let mixers = &report["measured"]["mixer_error"];
    assert!(number(mixers, "/u_amplitude_db") > 0.3 && number(mixers, "/u_phase_deg") > 2.0);
    assert!(sandbox.run(with).stdout.contains("none, agrees"));
}

#[test]
fn tones_come_with_text_table_and_picture() {
    let sandbox = sandbox_that_differs();
    sandbox
        .write("u.toml", "trials = 300\nsource = [{ transmission = { magnitude_db = 0.05 } }]\n");
    let run = sandbox
        .run("downconverter receiver.toml --measured differs.csv --uncertainty u.toml --out out");
    assert!(run.stdout.contains("Best single factor"), "{}", run.stdout);
    assert_fits_80_columns(&run.stdout);
    for name in ["measured.csv", "measured.png", "coverage.png", "uncertainty.csv"] {
        assert!(sandbox.path("out").join(name).exists(), "{name}");
    }
}

#[test]
fn wrong_tables_of_tones_are_refused() {
    let sandbox = Sandbox::with_demo();
    for (row, place) in
        [("27.33,1,0,-30,0.1,0.1", "odd.csv:2:1"), ("27,1,0,-30,0,0.1", "odd.csv:2:12")]
    {
        sandbox.write("odd.csv", format!("{HEADER}{row}\n"));
        sandbox.refuses("downconverter receiver.toml --measured odd.csv", place);
    }
    // The powers of wanted and image sideband in each other's column.
    sandbox.write("odd.csv", format!("{HEADER}27,1,-30,0,0.1,0.1\n29,1,-28,0,0.1,0.1\n"));
    sandbox.refuses("downconverter receiver.toml --measured odd.csv", "are exchanged");
}
