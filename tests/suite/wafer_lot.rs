//! A wafer for tests: made by `demo-wafer`, measured by `wafer`, its outputs read back.

use crate::harness::{Run, Sandbox};
use serde_json::Value;
use std::collections::HashMap;

/// A recipe beside the list of dies that `demo-wafer` writes.
pub(crate) const RECIPE: &str = r#"
manifest = "dies.csv"

[analysis]
splitter = { kind = "quadrature", input = 1, outputs = [2, 3], isolated = 4, column = "hybrid" }

[map]
wafer_diameter_mm = 150
die_pitch_mm = [15, 14]
centre_die = [0, 0]

[require]
image_rejection_db = 31
phase_error_deg = 2.5

[what_if]
correction = true
"#;

/// A row of `dies.csv`, by column.
pub(crate) type Row = HashMap<String, String>;

/// A folder with a folder `demo` in it, which holds so many dies with few frequencies.
pub(crate) fn sandbox_with_dies(dies: u32, more: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.succeeds(&format!("demo-wafer demo --dies {dies} --points 13 {more}"));
    sandbox
}

/// Runs `wafer` on a recipe, which must come to a verdict: status 0 or 1.
pub(crate) fn run_recipe(sandbox: &Sandbox, recipe: &str, out: &str) -> Run {
    let run = sandbox.run(&format!("wafer {recipe} --out \"{out}\" --overwrite"));
    assert!(run.status < 2, "{}", run.stderr);
    run
}

pub(crate) fn summary(sandbox: &Sandbox, out: &str) -> Value {
    serde_json::from_str(&sandbox.read(&format!("{out}/summary.json"))).unwrap()
}

pub(crate) fn rows(sandbox: &Sandbox, out: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(sandbox.path(out).join("dies.csv")).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

/// A number in a row; an empty cell is a failure.
pub(crate) fn cell(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{column} is '{}'", row[column]))
}

/// Every file of a folder with its content.
pub(crate) fn contents(sandbox: &Sandbox, folder: &str) -> Vec<(String, Vec<u8>)> {
    let names = sandbox.names(folder).into_iter();
    names.map(|name| (name.clone(), sandbox.bytes(&format!("{folder}/{name}")))).collect()
}

/// Fails unless two folders hold the same files, byte by byte.
pub(crate) fn assert_same(sandbox: &Sandbox, one: &str, other: &str) {
    assert_eq!(sandbox.names(one), sandbox.names(other));
    for ((name, left), (_, right)) in contents(sandbox, one).iter().zip(contents(sandbox, other)) {
        assert!(*left == right, "{name} differs between {one} and {other}");
    }
}
