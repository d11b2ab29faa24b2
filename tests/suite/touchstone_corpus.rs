//! Every file of the conformance corpus gives what its manifest says.
//!
//! Source: `tests/corpus`, whose entries marked `source` carry the numbers of the examples in the
//! Touchstone File Format Specification, revisions 1.1, 2.0 and 2.1. Tolerances are the corpus's
//! own: matrices within 1e-12 of their largest entry, everything else within 1e-12 relative.

use crate::check_values::complex;
use crate::harness::project;
use fourphase::network::to_single_ended;
use fourphase::touchstone::{ReadOptions, TouchstoneFile, read};
use num_complex::Complex64;
use serde_json::Value;
use std::path::PathBuf;

fn corpus() -> PathBuf {
    project("tests/corpus")
}

fn manifest() -> Value {
    serde_json::from_slice(&std::fs::read(corpus().join("manifest.json")).unwrap()).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn close(got: f64, want: f64) -> bool {
    (got - want).abs() <= 1e-12 * want.abs()
}

/// Compares matrices indexed [frequency][row][column]; returns what differs.
fn compare_matrices(
    got: &fourphase::network::Network,
    want: &Value,
    what: &str,
    faults: &mut Vec<String>,
) {
    let sets = want.as_array().unwrap();
    if sets.len() != got.grid().len() {
        faults.push(format!("{what}: {} sets, expected {}", got.grid().len(), sets.len()));
        return;
    }
    for (point, set) in sets.iter().enumerate() {
        let wanted: Vec<Complex64> = set
            .as_array()
            .unwrap()
            .iter()
            .flat_map(|row| row.as_array().unwrap())
            .map(complex)
            .collect();
        let largest = wanted.iter().map(|entry| entry.norm()).fold(0.0, f64::max);
        let entries = got.matrix(point).as_slice();
        if entries.len() != wanted.len()
            || entries.iter().zip(&wanted).any(|(got, want)| (got - want).norm() > 1e-12 * largest)
        {
            faults.push(format!("{what} {point}: {entries:?}, expected {wanted:?}"));
        }
    }
}

/// The strings of a JSON list.
fn strings(value: &Value) -> Vec<String> {
    value.as_array().unwrap().iter().map(|word| word.as_str().unwrap().to_owned()).collect()
}

/// Line and code of each warning, sorted.
fn wanted_warnings(want: &Value) -> Vec<(u64, String)> {
    let listed = want["warnings"].as_array().unwrap().iter();
    let mut warnings: Vec<_> = listed
        .map(|w| (w["line"].as_u64().unwrap(), w["code"].as_str().unwrap().to_owned()))
        .collect();
    warnings.sort();
    warnings
}

fn warnings(file: &TouchstoneFile) -> Vec<(u64, String)> {
    let mut warnings: Vec<_> = file
        .warnings
        .iter()
        .map(|w| (w.excerpt.position.line as u64, w.code.name().to_owned()))
        .collect();
    warnings.sort();
    warnings
}

/// What a file declares that differs from what is listed.
fn check_declared(name: &str, file: &TouchstoneFile, want: &Value) -> Vec<String> {
    let network = &file.network;
    let modes: Option<Vec<String>> =
        network.modes().map(|modes| modes.iter().map(ToString::to_string).collect());
    let wanted_modes: Option<Vec<String>> = want.get("mixed_mode_order").map(strings);
    let rows = [
        ("ports", network.ports().to_string(), want["ports"].to_string()),
        ("version", file.version.to_string(), want["version"].as_str().unwrap().to_owned()),
        ("parameter", network.kind().to_string(), want["parameter"].as_str().unwrap().to_owned()),
        ("warnings", format!("{:?}", warnings(file)), format!("{:?}", wanted_warnings(want))),
        ("mixed-mode order", format!("{modes:?}"), format!("{wanted_modes:?}")),
    ];
    rows.into_iter()
        .filter(|(_, got, want)| got != want)
        .map(|(what, got, want)| format!("{name}: {what} is {got}, expected {want}"))
        .collect()
}

/// A list of numbers that differs from what is listed.
fn check_list(what: &str, got: &[f64], want: &Value, faults: &mut Vec<String>) {
    let wanted: Vec<f64> = want.as_array().unwrap().iter().map(number).collect();
    if got.len() != wanted.len() || got.iter().zip(&wanted).any(|(got, want)| !close(*got, *want)) {
        faults.push(format!("{what} are {got:?}, expected {wanted:?}"));
    }
}

/// Everything in a file that differs from what is listed.
fn check_valid(name: &str, file: &TouchstoneFile, want: &Value) -> Vec<String> {
    let mut faults = check_declared(name, file, want);
    let references = &file.port_references_ohm;
    check_list(&format!("{name}: references"), references, &want["z0"], &mut faults);
    let grid = file.network.grid().as_hz();
    check_list(&format!("{name}: frequencies"), grid, &want["frequencies_hz"], &mut faults);
    compare_matrices(&file.network, &want["matrices"], name, &mut faults);
    if let Some(single) = want.get("single_ended") {
        let got = to_single_ended(&file.network).unwrap();
        compare_matrices(&got, single, &format!("{name} single-ended"), &mut faults);
    }
    let noise = want.get("noise").and_then(Value::as_array).cloned().unwrap_or_default();
    let matches = noise.len() == file.noise.len()
        && noise.iter().zip(&file.noise).all(|(want, got)| {
            close(got.frequency_hz, number(&want["f_hz"]))
                && close(got.minimum_noise_figure_db, number(&want["nfmin_db"]))
                && (got.optimum_reflection - complex(&want["gamma_opt"])).norm() <= 1e-12
                && close(got.noise_resistance_ohm, number(&want["rn_ohm"]))
        });
    if !matches {
        faults.push(format!("{name}: noise is {:?}, expected {noise:?}", file.noise));
    }
    faults
}

#[test]
fn valid_files_give_the_values_and_warnings_listed() {
    let manifest = manifest();
    let mut faults = Vec::new();
    for (name, want) in manifest["valid"].as_object().unwrap() {
        match read(&corpus().join("valid").join(name), &ReadOptions::default()) {
            Ok(file) => faults.extend(check_valid(name, &file, want)),
            Err(error) => faults.push(format!("{name}: {error}")),
        }
    }
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn strict_reading_accepts_and_rejects_as_listed() {
    let manifest = manifest();
    let strict = ReadOptions { strict: true, ..ReadOptions::default() };
    let mut faults = Vec::new();
    for (name, want) in manifest["valid"].as_object().unwrap() {
        let got = read(&corpus().join("valid").join(name), &strict);
        let line = got.as_ref().err().map(|error| error.position().unwrap().line as u64);
        let wanted = want.get("strict_error").map(|error| error["line"].as_u64().unwrap());
        if line != wanted {
            faults.push(format!("{name}: error at line {line:?}, expected {wanted:?}"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn invalid_files_give_an_error_at_the_line_listed() {
    let manifest = manifest();
    let mut faults = Vec::new();
    for (name, want) in manifest["invalid"].as_object().unwrap() {
        for strict in [false, true] {
            let options = ReadOptions { strict, ..ReadOptions::default() };
            match read(&corpus().join("invalid").join(name), &options) {
                Ok(_) => faults.push(format!("{name}: read without an error")),
                Err(error) => {
                    let line = error.position().unwrap().line as u64;
                    let message = error.problem().unwrap().to_string().to_lowercase();
                    let misses: Vec<_> = want["mention"]
                        .as_array()
                        .unwrap()
                        .iter()
                        .filter(|mention| {
                            !message.contains(&mention.as_str().unwrap().to_lowercase())
                        })
                        .collect();
                    if Some(line) != want["line"].as_u64() || !misses.is_empty() {
                        faults.push(format!(
                            "{name}: {error}; expected line {}, misses {misses:?}",
                            want["line"]
                        ));
                    }
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_corpus_is_whole() {
    let manifest = manifest();
    for folder in ["valid", "invalid"] {
        let mut files: Vec<_> = std::fs::read_dir(corpus().join(folder))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        let mut listed: Vec<_> = manifest[folder].as_object().unwrap().keys().cloned().collect();
        files.sort();
        listed.sort();
        assert_eq!(files, listed);
    }
}
