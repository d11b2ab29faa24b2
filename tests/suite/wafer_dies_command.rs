//! `wafer` on dies whose files are not what a die's file should be: each is a row of its own, and the
//! others are measured as if it were not there.

use crate::harness::unfolded;
use crate::wafer_lot::{Row, rows, sandbox_with_dies};
use std::path::Path;

/// A four-port at two frequencies, every entry the same.
fn constant_die(entry: &str) -> String {
    let row = format!(" {entry} 0").repeat(16);
    format!("# GHz S RI R 50\n26{row}\n32{row}\n")
}

#[cfg(unix)]
fn make_pipe(path: &Path) {
    assert!(std::process::Command::new("mkfifo").arg(path).status().unwrap().success());
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

/// A pipe would wait for ever and a device never end; a folder has no content.
#[cfg(unix)]
#[test]
fn a_die_that_is_no_regular_file_is_an_error_of_its_own() {
    let sandbox = sandbox_with_dies(8, "--no-faults");
    make_pipe(&sandbox.path("demo/pipe.s4p"));
    std::fs::create_dir(sandbox.path("demo/folder.s4p")).unwrap();
    let mut list = sandbox.read("demo/dies.csv");
    for (die, file) in ["pipe.s4p", "/dev/zero", "folder.s4p"].iter().enumerate() {
        list.push_str(&format!("K1,W02,{die},0,{file},\n"));
    }
    sandbox.write("demo/dies.csv", list);
    let run = sandbox.run("wafer demo/recipe.toml --out out");
    assert!(run.status < 2, "{}", run.stderr);
    let rows = &rows(&sandbox, "out")[8..];
    for (row, says) in rows.iter().zip(["a pipe (FIFO)", "a device", "a folder"]) {
        assert_eq!(row["status"], "error");
        assert!(row["message"].contains(says), "{row:?}");
    }
}

/// Whatever a command reads: Touchstone, TOML, CSV and journals.
#[cfg(unix)]
#[test]
fn inputs_that_are_no_regular_files_are_refused() {
    let sandbox = sandbox_with_dies(1, "");
    let recipe = sandbox.read("demo/recipe.toml").replace("dies.csv", "pipe");
    sandbox.write("demo/piped.toml", recipe);
    std::fs::create_dir(sandbox.path("part")).unwrap();
    for pipe in ["pipe", "pipe.s4p", "demo/pipe", "part/wafer.journal"] {
        make_pipe(&sandbox.path(pipe));
    }
    for arguments in [
        "splitter pipe.s4p",
        "convert pipe.s4p out.s4p",
        "downconverter pipe",
        "wafer demo/piped.toml --out out",
        "wafer --combine part --out out",
        "wafer demo/recipe.toml --resume --out part",
    ] {
        sandbox.refuses(arguments, "found a pipe (FIFO)");
    }
    sandbox.refuses("splitter /dev/zero", "found a device");
    sandbox.refuses("downconverter /dev/zero", "found a device");
    let folder = sandbox.run("inspect .");
    assert_eq!(folder.status, 2, "{}", folder.stderr);
    assert!(folder.stderr.contains("found a pipe (FIFO)"), "{}", folder.stderr);
    assert!(folder.stdout.contains("demo/dies/"), "{}", folder.stdout);
}

/// A tenth of the true pitch puts all dies into the middle of the wafer, where the edge exclusion never
/// counts.
#[test]
fn dies_that_are_all_near_the_centre_are_told() {
    let sandbox = sandbox_with_dies(40, "--no-faults");
    let recipe = sandbox.read("demo/recipe.toml");
    let pitch = recipe.lines().find(|line| line.starts_with("die_pitch_mm")).unwrap();
    let said = "mm of the wafer's centre, of 75 mm: check die_pitch_mm and wafer_diameter_mm";
    assert!(!unfolded(&sandbox.run("wafer demo/recipe.toml --out whole").stderr).contains(said));
    let small = recipe.replace(pitch, "die_pitch_mm = [1.5, 1.4]");
    sandbox.write("demo/recipe.toml", small);
    let run = sandbox.run("wafer demo/recipe.toml --out small");
    assert!(unfolded(&run.stderr).contains(said), "{}", run.stderr);
    assert!(unfolded(&sandbox.read("small/report.txt")).contains(said));
}

/// A die whose file deviates from the standard is measured, and the deviation is told with it.
#[test]
fn deviations_of_a_file_are_told_with_its_die() {
    let sandbox = sandbox_with_dies(20, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    let file = list.lines().nth(3).unwrap().split(',').nth(4).unwrap();
    let text = sandbox.read(&format!("demo/{file}"));
    let first = text.lines().find(|line| line.starts_with(|letter: char| letter.is_ascii_digit()));
    let frequency = first.unwrap().split(' ').next().unwrap();
    let changed = text.replacen(&format!("\n{frequency} "), &format!("\n{frequency}D0 "), 1);
    sandbox.write(&format!("demo/{file}"), changed);
    let run = sandbox.run("wafer demo/recipe.toml --out out");
    assert!(run.status < 2, "{}", run.stderr);
    let all = rows(&sandbox, "out");
    let warned: Vec<usize> = (0..all.len()).filter(|&at| !all[at]["warnings"].is_empty()).collect();
    assert_eq!(warned, [2]);
    let warning = &all[2]["warnings"];
    assert!(warning.starts_with("hybrid: ") && warning.contains("exponent"), "{warning}");
}

/// A die that is measured although its file is not reciprocal: the warning that the file alone gives is
/// in the table, the document and the text, and the others have none.
#[test]
fn warnings_of_a_die_reach_the_outputs() {
    let sandbox = sandbox_with_dies(20, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    let file = list.lines().nth(2).unwrap().split(',').nth(4).unwrap();
    let path = format!("demo/{file}");
    sandbox.write_changed(
        &path,
        &path,
        |row, column, entry| {
            if row > column { entry * 1.03 } else { entry }
        },
    );
    let run = sandbox.run("wafer demo/recipe.toml --out out");
    assert!(run.status < 2, "{}", run.stderr);
    let all = rows(&sandbox, "out");
    let warned: Vec<usize> = (0..all.len()).filter(|&at| !all[at]["warnings"].is_empty()).collect();
    assert_eq!(warned, [1]);
    let (row, warning) = (&all[1], &all[1]["warnings"]);
    assert!(warning.starts_with("hybrid: ") && warning.contains("reciprocal"), "{warning}");
    let alone = sandbox.run(&format!(
        "splitter {path} --kind quadrature --input 1 --outputs 2,3 --isolated 4 --band 27GHz..31GHz"
    ));
    let told = warning.trim_start_matches("hybrid: ");
    assert!(unfolded(&alone.stderr).contains(&unfolded(told)), "{told}: {}", alone.stderr);
    let document: serde_json::Value =
        serde_json::from_str(&sandbox.read("out/summary.json")).unwrap();
    let listed = document["warned"].as_array().unwrap();
    assert_eq!((listed.len(), &listed[0]["warnings"]), (1, &serde_json::json!(warning)));
    assert_eq!(listed[0]["die_x"].to_string(), row["die_x"]);
    let place = format!("({}, {}): hybrid:", row["die_x"], row["die_y"]);
    assert!(unfolded(&run.stdout).contains(&place), "{}", run.stdout);
}
