//! `wafer --points`: tables of all points, read with an independent engine.
//!
//! DuckDB (of PyPI, in Python) is used where it is found; with `CI=true` it must be.

use crate::harness::{Run, Sandbox, project, replaced};
use crate::wafer_lot::{assert_same, contents, rows, sandbox_with_dies};
use std::process::Command;

/// Whether Python with DuckDB is found.
fn has_duckdb() -> bool {
    let found = Command::new("python3").args(["-c", "import duckdb"]).output();
    let is_found = found.is_ok_and(|run| run.status.success());
    let is_ci = std::env::var("CI").is_ok_and(|value| value == "true");
    assert!(is_found || !is_ci, "python3 with duckdb is absent, and CI must have it");
    if !is_found {
        println!("python3 with duckdb is absent: Parquet tables are not read with it");
    }
    is_found
}

/// Compares the tables of a report with its other files and with the files of its dies.
fn check_tables(sandbox: &Sandbox, arguments: &str) {
    let script = project("tests/query/check_tables.py");
    let mut python = Command::new("python3");
    python.arg(script).args(arguments.split_whitespace()).current_dir(sandbox.folder());
    let run = Run::of(&mut python);
    assert_eq!(run.status, 0, "{}{}", run.stdout, run.stderr);
}

#[test]
fn another_engine_reads_the_points_of_splitters() {
    if !has_duckdb() {
        return;
    }
    // A quotation mark, a comma and other letters, in names and in a column of the list.
    let sandbox = sandbox_with_dies(80, "");
    let list = sandbox.read("demo/dies.csv");
    let list = list.replacen(",\n", ",\"5\"\" wafer, Ω\"\n", 1);
    sandbox.write("demo/dies.csv", list);
    let run = sandbox.run("wafer demo/recipe.toml --out out --points parquet");
    assert_eq!(run.status, 1, "{}", run.stderr);
    assert!(run.stderr.contains("points.parquet"), "{}", run.stderr);
    check_tables(&sandbox, "out demo splitter");
}

#[test]
fn another_engine_reads_the_points_of_receivers() {
    if !has_duckdb() {
        return;
    }
    for description in ["receiver.toml", "receiver-switches.toml"] {
        points_of_receivers(description);
    }
}

/// The tables of a lot of receivers, one of whose dies is also analysed as a receiver of its own.
fn points_of_receivers(description: &str) {
    let sandbox = Sandbox::with_demo();
    for (name, bytes) in ["recipe.toml", "dies.csv", "receiver-recipe.toml"]
        .map(|name| (name, std::fs::read(project("data-demo/wafer").join(name)).unwrap()))
    {
        sandbox.write(&format!("wafer/{name}"), bytes);
    }
    for entry in std::fs::read_dir(project("data-demo/wafer/dies")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        sandbox.write(&format!("wafer/dies/{name}"), std::fs::read(&path).unwrap());
    }
    // The same sidebands alone and on the wafer.
    let own = sandbox.read(description).replace("[mixing]\n", "[mixing]\nsidebands = 20\n");
    let own = if description == "receiver.toml" { sandbox.read(description) } else { own };
    sandbox.write(description, own);
    let recipe = replaced(
        &sandbox.read("wafer/receiver-recipe.toml"),
        &[("../receiver.toml", &format!("../{description}"))],
    );
    sandbox.write("wafer/receiver-recipe.toml", recipe);
    let list = sandbox.read("wafer/dies.csv");
    // Receivers with switched mixers take longer.
    let kept = if description == "receiver.toml" { usize::MAX } else { 20 };
    let list: Vec<&str> = list.lines().take(kept).collect();
    sandbox.write("wafer/dies.csv", list.join("\n") + "\n");
    let run = sandbox.run("wafer wafer/receiver-recipe.toml --out out --points parquet");
    assert!(run.status < 2, "{}", run.stderr);
    // One die as a receiver of its own.
    let die = rows(&sandbox, "out").into_iter().find(|row| row["status"] == "pass").unwrap();
    let file = format!("wafer/{}", die["hybrid"]);
    let receiver = replaced(&sandbox.read(description), &[("coupler.s4p", &file)]);
    sandbox.write("die.toml", receiver);
    let run = sandbox.run("downconverter die.toml --out die");
    assert!(run.status < 2, "{}", run.stderr);
    let place = ["lot", "wafer", "die_x", "die_y", "measurement"].map(|name| die[name].as_str());
    check_tables(&sandbox, &format!("out wafer receiver die/points.csv {}", place.join(" ")));
}

/// Threads, a killed run's journal and shards have no influence on the bytes.
#[test]
fn tables_of_points_are_the_same_however_they_come_about() {
    let sandbox = sandbox_with_dies(120, "");
    let points = "--points parquet";
    for (out, more) in [("one", "--threads 1"), ("four", "--threads 4")] {
        let run = sandbox.run(&format!("wafer demo/recipe.toml --out {out} {points} {more}"));
        assert_eq!(run.status, 1, "{}", run.stderr);
    }
    assert_same(&sandbox, "one", "four");
    for shard in 1..=3 {
        sandbox.succeeds(&format!("wafer demo/recipe.toml --out s{shard} --shard {shard}/3"));
    }
    let run = sandbox.run(&format!("wafer --combine s1 s2 s3 --out joined {points}"));
    assert_eq!(run.status, 1, "{}", run.stderr);
    assert_same(&sandbox, "one", "joined");
    let names: Vec<String> = contents(&sandbox, "one").into_iter().map(|(name, _)| name).collect();
    assert!(["dies.parquet", "points.parquet"].iter().all(|name| names.contains(&(*name).into())));
}

#[test]
fn tables_of_points_are_wanted_where_a_report_is() {
    let sandbox = sandbox_with_dies(30, "--no-faults");
    sandbox.refuses("wafer demo/recipe.toml --out s --shard 1/2 --points parquet", "--combine");
    sandbox.write("taken/points.parquet", "mine");
    sandbox.refuses("wafer demo/recipe.toml --out taken --points parquet", "points.parquet");
    assert_eq!(sandbox.read("taken/points.parquet"), "mine");
    // A report without them is not what is wanted: it is not called finished.
    assert!(sandbox.run("wafer demo/recipe.toml --out out").status < 2);
    sandbox.succeeds("wafer demo/recipe.toml --out out --resume");
    sandbox.refuses("wafer demo/recipe.toml --out out --resume --points parquet", "--overwrite");
    let run = sandbox.run("wafer demo/recipe.toml --out out --overwrite --points parquet");
    assert!(run.status < 2, "{}", run.stderr);
    sandbox.succeeds("wafer demo/recipe.toml --out out --resume --points parquet");
    // The next run without them removes them.
    assert!(sandbox.run("wafer demo/recipe.toml --out out --overwrite").status < 2);
    assert!(!sandbox.names("out").contains(&"points.parquet".to_owned()));
}

/// The README has a few lines for each engine; those run whose engine is found.
#[test]
fn the_lines_of_the_readme_run() {
    let sandbox = sandbox_with_dies(80, "");
    assert_eq!(sandbox.run("wafer demo/recipe.toml --out my-yield --points parquet").status, 1);
    let readme = std::fs::read_to_string(project("README.md")).unwrap();
    for (engine, modules) in
        [("pandas", "pandas, pyarrow"), ("duckdb", "duckdb"), ("polars", "polars")]
    {
        let start = readme.find(&format!("    import {engine}")).unwrap();
        let lines = readme[start..].lines().take_while(|line| line.starts_with("    "));
        let lines: Vec<&str> = lines.map(|line| &line[4..]).collect();
        assert_eq!(lines.len(), 3, "{lines:?}");
        let has = |modules: &str| {
            let python =
                Command::new("python3").args(["-c", &format!("import {modules}")]).output();
            python.is_ok_and(|run| run.status.success())
        };
        if engine == "duckdb" && !has_duckdb() || !has(modules) {
            println!("{modules} are absent: their lines are not run");
            continue;
        }
        let mut python = Command::new("python3");
        python.args(["-c", &lines.join("\n")]).current_dir(sandbox.folder());
        let run = Run::of(&mut python);
        assert_eq!(run.status, 0, "{}", run.stderr);
        assert!(run.stdout.contains("W02"), "{}", run.stdout);
    }
}

/// Every column of the tables is explained in the manual.
#[test]
fn the_manual_explains_every_column() {
    use parquet::file::reader::{FileReader as _, SerializedFileReader};

    let sandbox = sandbox_with_dies(10, "--no-faults");
    assert!(sandbox.run("wafer demo/recipe.toml --out out --points parquet").status < 2);
    let text = std::fs::read_to_string(project("src/report/reports.md")).unwrap();
    for (file, columns) in [("dies", 29), ("points", 13)] {
        let file = std::fs::File::open(sandbox.path(&format!("out/{file}.parquet"))).unwrap();
        let reader = SerializedFileReader::new(file).unwrap();
        let schema = reader.metadata().file_metadata().schema().get_fields().to_vec();
        assert_eq!(schema.len(), columns);
        for column in schema {
            let name = column.name();
            // Columns of the list have names of their own; those of extremes are a pattern.
            let plain = name.strip_prefix("worst_").or(name.strip_prefix("min_")).unwrap_or(name);
            let is_known = ["hybrid", "touchdown_note", "at_lo_hz", "at_if_hz"].contains(&plain);
            let is_told = [name, plain].iter().any(|name| text.contains(&format!("`{name}`")));
            assert!(is_told || is_known, "{name}");
        }
    }
}
