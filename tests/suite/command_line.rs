//! `inspect`, `tolerance`, `plan`, and what holds for every command.

use crate::harness::{Run, Sandbox, assert_fits_80_columns, number, replaced};
use serde_json::json;
use std::process::Command;

#[test]
fn inspect_goes_on_past_a_bad_file() {
    let sandbox = Sandbox::new();
    sandbox.write("a good.s1p", "# GHz S RI R 50\n1 0.1 0\n2 0.1 0.1\n");
    sandbox.write("bad.s1p", "# GHz S RI R 50\n1 0.1\n");
    sandbox.write("no option.s1p", "1 0.5 0\n");
    let run = sandbox.run("inspect . --format json");
    assert_eq!(run.status, 2);
    let report = run.json();
    let entries = report.as_array().unwrap();
    assert_eq!(entries.len(), 3);
    assert_eq!(entries[0]["ports"], 1);
    assert_eq!(entries[0]["reference_ohm"], json!([[50.0, 0.0]]));
    assert_eq!(entries[0]["frequency_hz"]["count"], 2);
    assert_eq!(entries[0]["quality"]["passive"], true);
    assert_eq!(entries[1]["line"], 2);
    assert!(entries[1]["error"].as_str().unwrap().contains("expected 3 numbers"));
    // A given option line replaces the missing one, and the report says so.
    let helped = sandbox.run("inspect . --format json --option-line \"GHz S MA R 75\"").json();
    assert_eq!(helped[2]["reference_ohm"], json!([[75.0, 0.0]]));
    assert_eq!(helped[2]["warnings"][0]["code"], "option_line_supplied");
}

#[test]
fn inspect_gives_the_numbers_in_the_files_own_parameter() {
    let sandbox = Sandbox::new();
    sandbox.write("z.s1p", "# GHz Z RI R 50\n1 2 -1\n");
    let report = sandbox.json("inspect z.s1p --data");
    assert_eq!(report[0]["data"][0]["matrix"], json!([[[100.0, -50.0]]]));
    let table = sandbox.succeeds("inspect z.s1p --data --format csv");
    assert!(table.ends_with(",Z,1000000000,100,-50\n"), "{table}");
}

#[test]
fn inspect_without_any_readable_file_fails() {
    let run = Sandbox::new().run("inspect absent.s2p --strict");
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("cannot read the file"), "{}", run.stderr);
}

#[test]
fn strict_reading_makes_deviations_errors() {
    let sandbox = Sandbox::new();
    sandbox.write("d.s1p", "# GHz S RI R 50\n1 1.0D-1 0\n");
    sandbox.succeeds("inspect d.s1p");
    let strict = sandbox.run("inspect d.s1p --strict");
    assert_eq!(strict.status, 2);
    assert!(strict.stderr.contains("exponent"), "{}", strict.stderr);
}

#[test]
fn tolerance_answers_the_inverse_question() {
    let sandbox = Sandbox::new();
    let report = sandbox.json("tolerance --image-rejection-db 30 --amplitude-imbalance-db 0.3");
    // The closed form at one error alone: tan(phase / 2) = 10^(-30 dB / 20), and for the amplitude
    // tanh in the place of tan.
    let ratio = 10_f64.powf(-30.0 / 20.0);
    let phase_deg = 2.0 * ratio.atan().to_degrees();
    let imbalance_db = 2.0 * ratio.atanh() * 20.0 / std::f64::consts::LN_10;
    assert!((number(&report, "/phase_error_alone_deg") - phase_deg).abs() < 1e-9);
    assert!((number(&report, "/amplitude_imbalance_alone_db") - imbalance_db).abs() < 1e-9);
    let left_deg = number(&report, "/allowed_phase_error/0/phase_error_deg");
    let back_db = fourphase::splitter::image_rejection_db(0.3, left_deg);
    assert!((back_db - 30.0).abs() < 1e-9);
    sandbox.succeeds("tolerance --image-rejection-db 30 --plot chart.png");
    assert!(sandbox.bytes("chart.png").starts_with(b"\x89PNG"));
    sandbox.refuses("tolerance --image-rejection-db 0", "positive");
    sandbox.refuses("tolerance", "--image-rejection-db");
}

#[test]
fn plan_gives_bands_and_harmonics() {
    let sandbox = Sandbox::new();
    let arguments = "plan --rf 27GHz..31GHz --if 0.5GHz..1.5GHz --multiplication 4";
    let report = sandbox.json(arguments);
    assert_eq!(report["sidebands"][0]["sideband"], "upper");
    assert_eq!(report["sidebands"][0]["lo_input_hz"], json!([6.375e9, 7.625e9]));
    // 20 log10 4 (any text on multipliers).
    assert!((number(&report, "/phase_noise_rise_db") - 20.0 * 4_f64.log10()).abs() < 1e-12);
    let shown = sandbox.succeeds(arguments);
    assert_fits_80_columns(&shown);
    assert!(shown.contains("4 (the LO)"), "{shown}");
    let zero = sandbox.run("plan --rf 27GHz..31GHz --if 1GHz..2GHz --multiplication 0");
    assert_eq!(zero.status, 2);
}

#[test]
#[cfg(unix)]
fn a_closed_pipe_is_no_error() {
    let sandbox = Sandbox::with_demo();
    let script = "set -o pipefail; \
        \"$0\" inspect --data coupler.s4p balun.s3p divider.s3p | head -n 1";
    let mut bash = Command::new("bash");
    bash.args(["-c", script, env!("CARGO_BIN_EXE_fourphase")]).current_dir(sandbox.folder());
    let run = Run::of(&mut bash);
    assert_eq!(run.status, 0, "{}", run.stderr);
    assert!(run.stderr.is_empty(), "{}", run.stderr);
}

/// The argument was quoted whole, 20 kB of it.
#[test]
fn a_long_argument_is_not_quoted_whole() {
    let sandbox = Sandbox::new();
    let long = "x".repeat(20_000);
    for arguments in [long.clone(), format!("plan --{long}"), format!("plan --rf {long}")] {
        let message = sandbox.refused(&arguments);
        assert!(message.len() < 1500, "{} characters", message.len());
        assert!(message.contains("xxx"), "{message}");
    }
}

/// A file name of 9,000 characters in a description was quoted whole.
#[test]
fn a_long_file_name_is_not_quoted_whole() {
    let sandbox = Sandbox::with_demo();
    let named = format!("{}.s3p", "x".repeat(9_000));
    sandbox
        .write("long.toml", replaced(&sandbox.read("receiver.toml"), &[("divider.s3p", &named)]));
    let message = sandbox.refused("downconverter long.toml");
    assert!(message.len() < 6_000, "{} characters", message.len());
}

/// An error below every power of ten of double precision was shown as NaN.
#[test]
fn the_smallest_error_is_shown_as_a_number() {
    let sandbox = Sandbox::new();
    let shown = sandbox.succeeds("tolerance --image-rejection-db 30 --phase-error-deg 5e-324");
    assert!(shown.contains("5e-324 deg") && !shown.contains("NaN"), "{shown}");
}
