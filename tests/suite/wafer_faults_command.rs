//! `wafer` under kills, full disks, changing files and company: nothing lost, nothing half-written, and
//! the same bytes in the end.
//!
//! `FOURPHASE_KILLS=100` kills so often, in place of 16 times.

use crate::harness::{Run, Sandbox};
use crate::wafer_lot::{assert_same, contents, rows, sandbox_with_dies};
use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Where a kill came.
#[derive(Debug, Default)]
struct Kills {
    /// Rows were being measured, or nothing was done yet.
    measuring: u32,
    /// All rows were in the journal: outputs were computed or written.
    writing: u32,
    /// The report was complete.
    finished: u32,
}

/// Starts a command and kills it after a time; `None` if it was killed, or its exit status.
fn killed_after(sandbox: &Sandbox, arguments: &str, wait: Duration) -> Option<i32> {
    let mut command = sandbox.command(arguments);
    let mut run = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let start = Instant::now();
    while start.elapsed() < wait {
        if let Some(ended) = run.try_wait().unwrap() {
            return ended.code();
        }
        std::thread::sleep(Duration::from_micros(200));
    }
    run.kill().unwrap();
    // It may have ended by itself just before.
    run.wait().unwrap().code()
}

/// A generator of multiplications for moments: any spread of them serves.
struct Moments(u64);

impl Moments {
    fn up_to(&mut self, longest: Duration) -> Duration {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        longest.mul_f64(f64::from(u32::try_from(self.0 >> 32).unwrap()) / f64::from(u32::MAX))
    }
}

fn kills_wanted() -> u32 {
    std::env::var("FOURPHASE_KILLS").map_or(16, |text| text.parse().unwrap())
}

/// Runs that are killed at random moments, each resumed until it ends, so often that enough kills come
/// together; the report of each is that of an undisturbed run.
fn killed_until_done(sandbox: &Sandbox, command: &str, want: &str, wanted: u32) -> Kills {
    let start = Instant::now();
    assert_eq!(sandbox.run(&format!("{command} --out timed")).status, 1);
    let whole = start.elapsed();
    std::fs::remove_dir_all(sandbox.path("timed")).unwrap();
    let (mut kills, mut moments) = (Kills::default(), Moments(1));
    let mut run = 0;
    while kills.measuring + kills.writing + kills.finished < wanted {
        run += 1;
        let out = format!("killed-{run}");
        loop {
            let wait = moments.up_to(whole);
            match killed_after(sandbox, &format!("{command} --out {out} --resume"), wait) {
                None if sandbox.path(&format!("{out}/summary.json")).exists()
                    && !sandbox.path(&format!("{out}/wafer.journal")).exists() =>
                {
                    kills.finished += 1;
                }
                None if has_all_rows(&sandbox.path(&out)) => kills.writing += 1,
                None => kills.measuring += 1,
                // 1 is the verdict; 0 says that the run was finished before.
                Some(status) => {
                    assert!(status < 2, "status {status}: {:?}", sandbox.names(&out));
                    break;
                }
            }
        }
        assert_same(sandbox, want, &out);
        let hidden = std::fs::read_dir(sandbox.path(&out)).unwrap().filter(|entry| {
            let name = entry.as_ref().unwrap().file_name();
            name.to_str().unwrap().starts_with('.')
        });
        // The list of the report's files alone.
        assert_eq!(hidden.count(), 1, "{out} holds what a kill has left");
        std::fs::remove_dir_all(sandbox.path(&out)).unwrap();
    }
    println!("{command}: {kills:?} in {run} runs of {whole:.2?}");
    kills
}

/// Whether a folder's journal has its first line and a row for each of the 201 of the list. Joining has no
/// journal, and only writes.
fn has_all_rows(folder: &Path) -> bool {
    let journal = std::fs::read(folder.join("wafer.journal"));
    let ends = |bytes: Vec<u8>| bytes.iter().filter(|byte| **byte == b'\n').count();
    journal.map_or(folder.exists(), |bytes| ends(bytes) > 201)
}

#[test]
fn kills_at_random_moments_cost_nothing() {
    let sandbox = sandbox_with_dies(200, "");
    let command = "wafer demo/recipe.toml --threads 1 --points parquet --pictures svg";
    assert_eq!(sandbox.run(&format!("{command} --out whole")).status, 1);
    let kills = killed_until_done(&sandbox, command, "whole", kills_wanted());
    assert!(kills.writing > 3, "{kills:?}");
    // Joining has no journal of its own.
    for shard in 1..=2 {
        sandbox.succeeds(&format!("wafer demo/recipe.toml --out s{shard} --shard {shard}/2"));
    }
    let command = "wafer --combine s1 s2 --points parquet --pictures svg";
    let kills = killed_until_done(&sandbox, command, "whole", kills_wanted() / 2);
    assert!(kills.writing > 0, "{kills:?}");
}

/// Two runs that start at once in one folder: one works, the other is refused, or finds it finished.
#[test]
fn two_runs_in_one_folder_do_not_meet() {
    let sandbox = sandbox_with_dies(60, "");
    let run = "wafer demo/recipe.toml --threads 1 --resume";
    assert_eq!(sandbox.run(&format!("{run} --out whole")).status, 1);
    for shard in 1..=2 {
        sandbox.succeeds(&format!("wafer demo/recipe.toml --out s{shard} --shard {shard}/2"));
    }
    for (at, command) in [run, run, run, "wafer --combine s1 s2", "wafer --combine s1 s2 --resume"]
        .into_iter()
        .enumerate()
    {
        let out = format!("both-{at}");
        let start = || {
            let mut command = sandbox.command(&format!("{command} --out {out}"));
            command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
        };
        let both = [start(), start()].map(|run| run.wait_with_output().unwrap());
        let ended = both.each_ref().map(|run| run.status.code().unwrap());
        let told: Vec<_> = both.iter().map(|run| String::from_utf8_lossy(&run.stderr)).collect();
        assert!(ended.contains(&1), "{told:?}");
        for (status, told) in ended.iter().zip(&told) {
            let is_refused = ["in use", "another run", "exists", "unfinished run"]
                .iter()
                .any(|reason| told.contains(reason));
            assert!(*status < 2 || is_refused, "{told}");
        }
        assert_same(&sandbox, "whole", &out);
    }
}

/// A limit on the size of files stands for a full disk: the journal fits, the pictures do not.
#[cfg(unix)]
#[test]
fn a_disk_that_is_full_when_outputs_are_written_leaves_the_rows() {
    let sandbox = sandbox_with_dies(40, "");
    let command = "wafer demo/recipe.toml --out out --points parquet --quiet";
    let script = format!("trap '' XFSZ; ulimit -f 64; exec \"$0\" {command}");
    let mut bash = Command::new("bash");
    bash.args(["-c", &script, env!("CARGO_BIN_EXE_fourphase")]).current_dir(sandbox.folder());
    let run = Run::of(&mut bash);
    assert_eq!(run.status, 2, "{}", run.stderr);
    assert!(run.stderr.contains("out/") && !run.stderr.contains("journal"), "{}", run.stderr);
    assert_eq!(sandbox.names("out"), ["wafer.journal"]);
    assert_eq!(sandbox.run(&format!("{command} --resume")).status, 1);
    assert_eq!(sandbox.run("wafer demo/recipe.toml --out whole --points parquet").status, 1);
    assert_same(&sandbox, "whole", "out");
}

/// Waits for the first rows of a run, then lets something happen, and waits for its end.
fn meanwhile(sandbox: &Sandbox, arguments: &str, happens: impl FnOnce()) -> (i32, String) {
    let mut command = sandbox.command(arguments);
    let run = command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    let start = Instant::now();
    let journal = sandbox.path("out/wafer.journal");
    while std::fs::read(&journal).map_or(0, |bytes| bytes.len()) < 2000 {
        assert!(start.elapsed() < Duration::from_secs(20), "no rows");
        std::thread::sleep(Duration::from_micros(100));
    }
    happens();
    let ended = run.wait_with_output().unwrap();
    (ended.status.code().unwrap(), String::from_utf8(ended.stderr).unwrap())
}

/// A list of 4000 rows for few files, which one thread does not finish at once.
fn sandbox_with_long_list() -> Sandbox {
    let sandbox = sandbox_with_dies(40, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    let mut long = list.lines().next().unwrap().to_owned() + "\n";
    let rows: Vec<&str> = list.lines().skip(1).collect();
    for wafer in 1..=100 {
        for row in &rows {
            writeln!(long, "{}", row.replace(",W01,", &format!(",V{wafer:03},"))).unwrap();
        }
    }
    sandbox.write("demo/dies.csv", long);
    let recipe = sandbox.read("demo/recipe.toml").replace("correction = true", "");
    let map = recipe.find("[map]").unwrap();
    let require = recipe.find("[require]").unwrap();
    sandbox.write("demo/recipe.toml", format!("{}{}", &recipe[..map], &recipe[require..]));
    sandbox
}

#[test]
fn a_list_that_changes_during_the_run_is_noticed() {
    let sandbox = sandbox_with_long_list();
    let list = sandbox.read("demo/dies.csv");
    let command = "wafer demo/recipe.toml --threads 1 --out out";
    let (status, told) = meanwhile(&sandbox, command, || {
        sandbox.write("demo/dies.csv", list.replace("V100", "V101"));
    });
    assert_eq!(status, 2, "{told}");
    assert!(told.contains("dies.csv has changed"), "{told}");
    assert_eq!(sandbox.names("out"), ["wafer.journal"]);
    assert_eq!(sandbox.read("out/wafer.journal").lines().count(), 1, "no row is kept");
    sandbox.write("demo/dies.csv", &list);
    assert!(sandbox.run(&format!("{command} --resume")).status < 2);
    assert!(sandbox.run("wafer demo/recipe.toml --out whole").status < 2);
    assert_same(&sandbox, "whole", "out");
}

/// Another file in place of the list, or none: the run goes on with the list that it began with.
#[cfg(unix)]
#[test]
fn a_list_that_is_replaced_or_removed_is_the_old_one_for_a_run() {
    let sandbox = sandbox_with_long_list();
    let list = sandbox.read("demo/dies.csv");
    assert!(sandbox.run("wafer demo/recipe.toml --out whole").status < 2);
    for is_replaced in [true, false] {
        let command = "wafer demo/recipe.toml --threads 1 --out out";
        let (status, told) = meanwhile(&sandbox, command, || {
            std::fs::remove_file(sandbox.path("demo/dies.csv")).unwrap();
            if is_replaced {
                sandbox.write("demo/dies.csv", "something else");
            }
        });
        assert!(status < 2, "{told}");
        assert_same(&sandbox, "whole", "out");
        std::fs::remove_dir_all(sandbox.path("out")).unwrap();
        sandbox.write("demo/dies.csv", &list);
    }
}

/// Files of dies that are cut, changed or removed while the run reads them: each row is a result.
#[test]
fn files_of_dies_that_vanish_are_rows() {
    let sandbox = sandbox_with_long_list();
    let names: Vec<String> =
        contents(&sandbox, "demo/dies").into_iter().map(|(name, _)| name).collect();
    let command = "wafer demo/recipe.toml --threads 1 --out out";
    let (status, told) = meanwhile(&sandbox, command, || {
        std::fs::remove_file(sandbox.path("demo/dies").join(&names[0])).unwrap();
        sandbox.write(&format!("demo/dies/{}", names[1]), "# GHz S RI R 50\n26 0.1");
    });
    assert!(status < 2, "{told}");
    let rows = rows(&sandbox, "out");
    assert_eq!(rows.len(), 4000);
    for (name, status) in [(&names[0], "incomplete"), (&names[1], "error")] {
        let of_file = rows.iter().filter(|row| row["hybrid"].ends_with(name.as_str()));
        let statuses: Vec<&str> = of_file.map(|row| row["status"].as_str()).collect();
        assert_eq!((statuses.len(), *statuses.last().unwrap()), (100, status));
        assert!(statuses.iter().all(|found| [status, "pass", "fail"].contains(found)));
    }
}

/// A folder holds one run: no report beside the journal of a shard.
#[test]
fn the_journal_of_a_shard_and_a_report_have_folders_of_their_own() {
    let sandbox = sandbox_with_dies(10, "--no-faults");
    assert!(sandbox.run("wafer demo/recipe.toml --out out").status < 2);
    let before = contents(&sandbox, "out");
    sandbox
        .refuses("wafer demo/recipe.toml --out out --shard 1/2 --overwrite", "out holds a report");
    assert_eq!(contents(&sandbox, "out"), before);
    for shard in 1..=2 {
        sandbox.succeeds(&format!("wafer demo/recipe.toml --out s{shard} --shard {shard}/2"));
    }
    let combine = "wafer --combine s1 s2 --out s1 --overwrite";
    sandbox.refuses(combine, "choose another folder for the report");
    assert_eq!(sandbox.names("s1"), ["wafer.journal"]);
}

/// More shards than files may be open, in the order of a scheduler.
#[cfg(unix)]
#[test]
fn many_shards_are_joined_with_few_files_open() {
    use fourphase::batch::{LotJob, Start, measure_shard};
    use fourphase::touchstone::ReadOptions;
    use fourphase::wafer::Shard;

    const SHARDS: u64 = 130;
    let sandbox = sandbox_with_dies(300, "");
    let whole = sandbox.run("wafer demo/recipe.toml --out whole --points parquet");
    assert_eq!(whole.status, 1, "{}", whole.stderr);
    let job = LotJob::read(&sandbox.path("demo/recipe.toml"), &ReadOptions::default()).unwrap();
    let mut folders = String::new();
    for number in (1..=SHARDS).rev() {
        let journal = sandbox.path(&format!("s{number}/wafer.journal"));
        let shard = Shard::new(number, SHARDS).unwrap();
        measure_shard(&job, shard, &journal, Start::New, &|_| {}).unwrap();
        write!(folders, " s{number}").unwrap();
    }
    let script = format!(
        "ulimit -n 32; exec \"$0\" wafer --combine {folders} --out joined --points parquet --threads 2"
    );
    let mut bash = Command::new("bash");
    bash.args(["-c", &script, env!("CARGO_BIN_EXE_fourphase")]).current_dir(sandbox.folder());
    let run = Run::of(&mut bash);
    assert_eq!((run.status, &run.stdout), (1, &whole.stdout), "{}", run.stderr);
    assert_same(&sandbox, "whole", "joined");
}
