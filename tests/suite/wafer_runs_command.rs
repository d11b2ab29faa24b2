//! `wafer` over threads, shards, interruptions and full disks: the same result, and nothing lost.

use crate::harness::{Run, Sandbox};
use crate::wafer_lot::{RECIPE, assert_same, contents, rows, sandbox_with_dies, summary};
use std::fmt::Write as _;
use std::process::{ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// Starts a run of the demo's recipe and kills it after a time; its exit status if it ended before.
fn killed_after(sandbox: &Sandbox, arguments: &str, wait: Duration) -> Option<ExitStatus> {
    let mut run = sandbox
        .command(&format!("wafer demo/recipe.toml --threads 1 {arguments}"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let start = Instant::now();
    loop {
        if let Some(ended) = run.try_wait().unwrap() {
            return Some(ended);
        }
        if start.elapsed() >= wait {
            run.kill().unwrap();
            run.wait().unwrap();
            return None;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}

#[test]
fn the_number_of_threads_changes_no_byte() {
    let sandbox = sandbox_with_dies(200, "");
    let [one, four] = ["1", "4"].map(|threads| {
        let run = sandbox
            .run(&format!("wafer demo/recipe.toml --out threads-{threads} --threads {threads}"));
        assert_eq!(run.status, 1, "{}", run.stderr);
        run.stdout
    });
    assert_eq!(one, four);
    assert_same(&sandbox, "threads-1", "threads-4");
    assert!(!sandbox.path("threads-1/wafer.journal").exists());
}

#[test]
fn shards_give_the_bytes_of_one_run() {
    let sandbox = sandbox_with_dies(200, "");
    let whole = sandbox.run("wafer demo/recipe.toml --out whole");
    for shard in 1..=3 {
        sandbox.succeeds(&format!("wafer demo/recipe.toml --out s{shard} --shard {shard}/3"));
    }
    // In any order, with and without the recipe named.
    for (out, arguments) in
        [("joined", "--combine s2 s3 s1"), ("again", "demo/recipe.toml --combine s1 s2 s3")]
    {
        let run = sandbox.run(&format!("wafer --out {out} {arguments}"));
        assert_eq!((run.status, &run.stdout), (1, &whole.stdout), "{}", run.stderr);
        assert_same(&sandbox, "whole", out);
    }
    sandbox.refuses("wafer --out no --combine s1 s3", "shard 2/3 is missing");
    sandbox.refuses("wafer --out no --combine s1 s1 s3", "duplicate shard 1/3");
}

#[test]
fn a_run_killed_at_many_moments_gives_the_bytes_of_a_whole_one() {
    let sandbox = sandbox_with_dies(200, "");
    assert_eq!(sandbox.run("wafer demo/recipe.toml --out whole").status, 1);
    let mut kills = 0;
    for step in 0..60_u64 {
        let wait = Duration::from_millis(3 + 4 * step * step);
        match killed_after(&sandbox, "--out killed --resume", wait).map(|ended| ended.code()) {
            None => kills += 1,
            Some(Some(1)) => break,
            // The kill before came when all was written and the journal removed: nothing is left to
            // resume.
            Some(Some(0)) if kills > 0 && sandbox.path("killed/summary.json").exists() => break,
            Some(code) => panic!("status {code:?}, with {:?}", sandbox.names("killed")),
        }
    }
    assert!(kills > 3, "{kills} kills");
    assert_same(&sandbox, "whole", "killed");
}

/// Shards measured in copies of the project elsewhere, as on several machines.
#[test]
fn shards_and_runs_may_move() {
    let sandbox = sandbox_with_dies(30, "");
    let whole = sandbox.run("wafer demo/recipe.toml --out whole");
    for (number, place) in [("1/2", "first"), ("2/2", "second")] {
        for name in ["recipe.toml", "dies.csv"] {
            sandbox.write(&format!("{place}/demo/{name}"), sandbox.bytes(&format!("demo/{name}")));
        }
        for (name, bytes) in contents(&sandbox, "demo/dies") {
            sandbox.write(&format!("{place}/demo/dies/{name}"), bytes);
        }
        sandbox.succeeds(&format!(
            "wafer {place}/demo/recipe.toml --out \"part {place}\" --shard {number}"
        ));
        std::fs::remove_dir_all(sandbox.path(place)).unwrap();
    }
    let combine = "--combine \"part first\" \"part second\" --out joined";
    sandbox.refuses(&format!("wafer {combine}"), "RECIPE.toml");
    let run = sandbox.run(&format!("wafer demo/recipe.toml {combine}"));
    assert_eq!((run.status, &run.stdout), (1, &whole.stdout), "{}", run.stderr);
    assert_same(&sandbox, "whole", "joined");
}

/// What appears in the folder while a run is stopped is not the run's.
#[test]
fn resuming_overwrites_nothing_of_others() {
    let sandbox = sandbox_with_dies(60, "");
    // A kill leaves a journal; ten of its rows and a file of somebody else are there on resuming.
    let mut wait = Duration::from_millis(50);
    let journal = loop {
        let ended = killed_after(&sandbox, "--out out", wait);
        let journal = sandbox.path("out/wafer.journal");
        let journal = std::fs::read_to_string(journal).unwrap_or_default();
        let _ = std::fs::remove_dir_all(sandbox.path("out"));
        if journal.lines().count() > 10 {
            break journal;
        }
        assert!(ended.is_none(), "the run ended before it could be killed");
        wait += Duration::from_millis(10);
    };
    let rows: Vec<&str> = journal.lines().take(10).collect();
    sandbox.write("out/wafer.journal", rows.join("\n") + "\n");
    sandbox.write("out/yield.png", "mine");
    sandbox.refuses("wafer demo/recipe.toml --out out --resume", "yield.png");
    assert_eq!(sandbox.read("out/yield.png"), "mine");
    std::fs::remove_file(sandbox.path("out/yield.png")).unwrap();
    let run = sandbox.run("wafer demo/recipe.toml --out out --resume");
    assert_eq!(run.status, 1, "{}", run.stderr);
}

/// A limit on the size of files stands for a full disk: writing fails in the middle.
#[cfg(unix)]
#[test]
fn a_full_disk_ends_the_run_and_the_rest_can_follow() {
    let sandbox = sandbox_with_dies(100, "");
    let script = "trap '' XFSZ; ulimit -f 64; exec \"$0\" wafer demo/recipe.toml --out out --quiet";
    let mut bash = std::process::Command::new("bash");
    bash.args(["-c", script, env!("CARGO_BIN_EXE_fourphase")]).current_dir(sandbox.folder());
    let run = Run::of(&mut bash);
    assert_eq!(run.status, 2, "{}", run.stderr);
    assert!(run.stderr.contains("wafer.journal"), "{}", run.stderr);
    assert!(run.stderr.contains("--resume"), "{}", run.stderr);
    assert_eq!(sandbox.names("out"), ["wafer.journal"]);
    assert_eq!(sandbox.run("wafer demo/recipe.toml --out out --resume").status, 1);
    assert_eq!(sandbox.run("wafer demo/recipe.toml --out whole").status, 1);
    assert_same(&sandbox, "whole", "out");
}

#[test]
fn what_exists_stays_and_the_run_does_not_begin() {
    let sandbox = sandbox_with_dies(40, "");
    // A folder that cannot be made.
    sandbox.write("file", "mine");
    sandbox.refuses("wafer demo/recipe.toml --quiet --out file/below", "file/below");
    for (name, mention) in [
        ("yield.png", "yield.png"),
        ("wafer-map-K1-W01.png", "wafer-map-K1-W01.png"),
        ("dies.csv", "--overwrite"),
    ] {
        let folder = format!("full-{name}");
        sandbox.write(&format!("{folder}/{name}"), "mine");
        sandbox.refuses(&format!("wafer demo/recipe.toml --quiet --out {folder}"), mention);
        assert_eq!(contents(&sandbox, &folder), [(name.to_owned(), b"mine".to_vec())]);
    }
}

#[test]
fn an_unfinished_run_is_neither_begun_anew_nor_continued_by_another() {
    let sandbox = sandbox_with_dies(40, "");
    sandbox.succeeds("wafer demo/recipe.toml --out part --shard 1/2");
    let before = contents(&sandbox, "part");
    for (arguments, mention) in [
        ("--shard 1/2", "--resume"),
        ("--shard 2/2 --resume", "another"),
        ("--resume --option-line \"Hz S RI R 50\"", "other"),
    ] {
        sandbox.refuses(&format!("wafer demo/recipe.toml --out part {arguments}"), mention);
        assert_eq!(contents(&sandbox, "part"), before);
    }
    sandbox.refuses("wafer --out fresh --combine part", "shard 2/2 is missing");
}

/// What a slip in the list leaves behind is nothing: the corrected list begins without an option.
#[test]
fn a_list_that_is_wrong_leaves_no_journal() {
    let sandbox = sandbox_with_dies(4, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    sandbox.write("demo/dies.csv", format!("{list}K1,W01,x,2,a.s4p,\n"));
    for more in ["", "--resume", "--overwrite", "--shard 1/2"] {
        sandbox.refuses(&format!("wafer demo/recipe.toml --out out {more}"), "dies.csv:6:8");
        assert!(!sandbox.path("out").exists(), "{more}");
    }
    sandbox.write("demo/dies.csv", list);
    assert!(sandbox.run("wafer demo/recipe.toml --out out").status < 2);
}

#[test]
fn the_unfinished_run_of_other_inputs_is_given_up_when_asked_to() {
    let sandbox = sandbox_with_dies(4, "--no-faults");
    let shard = "wafer demo/recipe.toml --out part --shard 1/2";
    sandbox.succeeds(shard);
    let before = contents(&sandbox, "part");
    // The same run: hours of work are gone on with.
    sandbox.refuses(&format!("{shard} --overwrite"), "give --resume");
    assert_eq!(contents(&sandbox, "part"), before);
    let list = sandbox.read("demo/dies.csv");
    sandbox.write("demo/dies.csv", list.replace("K1", "K2"));
    sandbox.refuses(&format!("{shard} --resume"), "--overwrite without --resume");
    assert_eq!(contents(&sandbox, "part"), before);
    sandbox.succeeds(&format!("{shard} --overwrite"));
    assert!(sandbox.read("part/wafer.journal").contains("\"K2\""));
    // A file of somebody else's stays.
    sandbox.write("part/wafer.journal", "my notes\n");
    sandbox.refuses(&format!("{shard} --overwrite"), "not the journal of a run");
    assert_eq!(sandbox.read("part/wafer.journal"), "my notes\n");
}

#[test]
fn a_changed_journal_is_refused() {
    let sandbox = sandbox_with_dies(40, "");
    sandbox.succeeds("wafer demo/recipe.toml --out part --shard 1/2");
    sandbox.succeeds("wafer demo/recipe.toml --out other --shard 2/2");
    let journal = sandbox.read("part/wafer.journal");
    sandbox.write("changed/wafer.journal", journal.replacen("\"die\"", "\"dye\"", 1));
    sandbox.refuses("wafer --out fresh --combine changed other", "row 1 is damaged");
    sandbox.write("changed/wafer.journal", journal.replacen("1/2", "1/3", 1));
    sandbox.refuses("wafer --out fresh --combine changed other", "is not a shard of a run");
}

/// The list of dies is this long; their files are those of sixty dies, in turns.
#[test]
fn ten_thousand_dies() {
    let sandbox = sandbox_with_dies(60, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    let files: Vec<&str> = list.lines().skip(1).map(|row| row.split(',').nth(4).unwrap()).collect();
    let mut long = "lot,wafer,die_x,die_y,hybrid\n".to_owned();
    for (at, file) in (0..10_000_i32).zip(files.iter().cycle()) {
        let (lot, wafer, x, y) = (at / 6000, at / 500, at % 50 - 25, at / 50 % 10);
        writeln!(long, "L{lot},W{wafer},{x},{y},{file}").unwrap();
    }
    sandbox.write("demo/dies.csv", &long);
    let recipe = RECIPE.replace("correction = true", "").replace("[15, 14]", "[2, 2]");
    sandbox.write("demo/long.toml", recipe);
    let run = sandbox.run("wafer demo/long.toml --out out --format csv");
    assert!(run.status < 2, "{}", run.stderr);
    assert_eq!(run.stdout.lines().count(), 10_001);
    let summary = summary(&sandbox, "out");
    assert_eq!(summary["counts"]["rows"], 10_000);
    assert_eq!(summary["counts"]["tested"], 10_000);
    assert_eq!(summary["lots"].as_array().unwrap().len(), 2);
    assert_eq!(summary["wafers"].as_array().unwrap().len(), 20);
    let rows = rows(&sandbox, "out");
    assert!(rows.iter().zip(&rows[60..]).all(|(one, next)| one["margin_db"] == next["margin_db"]));
}

/// A picture for each of 30 wafers, with 24 files open at a time: a report of any size needs few.
#[cfg(unix)]
#[test]
fn a_lot_of_many_wafers_opens_few_files_at_a_time() {
    let sandbox = sandbox_with_dies(1, "--no-faults");
    let recipe = "demo/recipe.toml";
    let list = sandbox.read("demo/dies.csv");
    let row = list.lines().nth(1).unwrap();
    let mut many = list.lines().next().unwrap().to_owned() + "\n";
    for wafer in 1..=30 {
        writeln!(many, "{}", row.replace(",W01,", &format!(",W{wafer:02},"))).unwrap();
    }
    sandbox.write("demo/dies.csv", many);
    sandbox.write(recipe, RECIPE);
    let run = Run::of(
        std::process::Command::new("sh")
            .args(["-c", "ulimit -n 24; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_fourphase")])
            .args(["wafer", recipe, "--out", "out"])
            .current_dir(sandbox.folder()),
    );
    assert!(run.status < 2, "{}", run.stderr);
    let maps = sandbox.names("out").into_iter().filter(|name| name.starts_with("wafer-map-"));
    assert_eq!(maps.count(), 30);
}
