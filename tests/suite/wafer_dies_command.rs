//! `wafer` on dies whose files are not what a die's file should be: each is a row of its own, and the
//! others are measured as if it were not there.

use crate::wafer_lot::{Row, rows, sandbox_with_dies};

/// A four-port at two frequencies, every entry the same.
fn constant_die(entry: &str) -> String {
    let row = format!(" {entry} 0").repeat(16);
    format!("# GHz S RI R 50\n26{row}\n32{row}\n")
}

/// A lot whose first dies have these contents, run to its end: the rows of those dies.
fn rows_of_dies(contents: &[String]) -> Vec<Row> {
    let sandbox = sandbox_with_dies(30, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    for (line, content) in list.lines().skip(1).zip(contents) {
        sandbox.write(&format!("demo/{}", line.split(',').nth(4).unwrap()), content);
    }
    let run = sandbox.run("wafer demo/recipe.toml --out out");
    assert!(run.status < 2, "{}", run.stderr);
    for text in [run.stdout, sandbox.read("out/dies.csv"), sandbox.read("out/summary.json")] {
        assert!(!text.contains("NaN"), "{text}");
    }
    let mut rows = rows(&sandbox, "out");
    let others = rows.split_off(contents.len());
    assert_eq!(others.len(), 30 - contents.len());
    assert!(others.iter().all(|row| row["status"] == "pass" || row["status"] == "fail"));
    rows
}

/// Squares of these leave the range of the arithmetic at either end.
#[test]
fn a_die_whose_figures_do_not_exist_is_an_error_of_its_own() {
    let entries = ["1e-200", "1e155", "1e300", "1e-320", "0"];
    for (entry, row) in entries.iter().zip(rows_of_dies(&entries.map(constant_die))) {
        assert_eq!(row["status"], "error", "{entry}: {row:?}");
        assert!(!row["message"].is_empty() && row["worst_image_rejection_db"].is_empty());
    }
}
