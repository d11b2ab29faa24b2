//! The job scripts for a cluster on a real Slurm of one host, which the test starts and ends.
//!
//! Slurm and munge are used where they are found and the test runs as root; with `CI=true` they must be
//! there.

use crate::harness::{Run, Sandbox, project};
use crate::wafer_lot::{assert_same, sandbox_with_dies};
use std::process::Command;
use std::time::{Duration, Instant};

/// A Slurm that is stopped when the test ends.
struct Slurm<'s> {
    sandbox: &'s Sandbox,
}

impl<'s> Slurm<'s> {
    fn start(sandbox: &'s Sandbox) -> Option<Self> {
        let needed = "test $(id -u) = 0 && command -v sbatch slurmctld slurmd munged";
        let found = Command::new("bash").args(["-c", needed]).output().unwrap().status.success();
        let is_ci = std::env::var("CI").is_ok_and(|value| value == "true");
        assert!(found || !is_ci, "Slurm and munge, as root, are absent, and CI must have them");
        if !found {
            println!("Slurm and munge, as root, are absent: the scripts for clusters are not run");
            return None;
        }
        let slurm = Self { sandbox };
        slurm.control("start");
        Some(slurm)
    }

    fn control(&self, action: &str) {
        let script = project("tests/cluster/start-slurm.sh");
        let mut command = Command::new(script);
        command.args([action, "slurm"]).current_dir(self.sandbox.folder());
        let run = Run::of(&mut command);
        assert_eq!(run.status, 0, "{action}: {}", run.stderr);
    }

    /// Runs a shell command line with this Slurm and returns what it printed.
    fn shell(&self, line: &str) -> String {
        let mut bash = Command::new("bash");
        bash.args(["-c", line]).current_dir(self.sandbox.folder());
        bash.env("SLURM_CONF", self.sandbox.path("slurm/slurm.conf"));
        bash.env("SCRIPTS", project("data-demo/cluster"));
        bash.env("REAL", env!("CARGO_BIN_EXE_fourphase"));
        let run = Run::of(&mut bash);
        assert_eq!(run.status, 0, "{line}: {}{}", run.stdout, run.stderr);
        run.stdout
    }

    /// Waits until a command line prints something other than nothing, or nothing.
    fn wait(&self, line: &str, until_empty: bool) -> String {
        let start = Instant::now();
        loop {
            let printed = self.shell(line);
            if printed.trim().is_empty() == until_empty {
                return printed;
            }
            let seen = self.shell("squeue; tail -n 3 work/messages/* 2> /dev/null || true");
            assert!(start.elapsed() < Duration::from_secs(600), "{line}: {seen}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

impl Drop for Slurm<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            // A second panic would hide the first.
            let script = project("tests/cluster/start-slurm.sh");
            let folder = self.sandbox.folder();
            let _ = Command::new(script).args(["stop", "slurm"]).current_dir(folder).output();
        } else {
            self.control("stop");
        }
    }
}

/// In place of the command: the first run of shard 2 is ended by a signal in the middle of its journal,
/// and that of shard 3 hangs there until the scheduler ends it. A limit on the size of files makes the
/// moment the same every time.
const FAILING: &str = r#"#!/bin/bash
case "$SLURM_ARRAY_TASK_ID-${SLURM_RESTART_COUNT:-0}" in
    2-0) ulimit -f 16; "$REAL" "$@"; exit ;;
    3-0) (ulimit -f 16; "$REAL" "$@"); touch hangs; sleep 300 ;;
    *) exec "$REAL" "$@" ;;
esac
"#;

#[test]
fn a_cluster_gives_the_bytes_of_one_run() {
    let sandbox = sandbox_with_dies(400, "");
    let Some(slurm) = Slurm::start(&sandbox) else { return };
    let whole = sandbox.run("wafer demo/recipe.toml --out whole --points parquet");
    assert_eq!(whole.status, 1, "{}", whole.stderr);
    sandbox.write("failing", FAILING);
    slurm.shell("chmod +x failing");
    let submit = |command: &str| {
        let script = "$SCRIPTS/submit.sh demo/recipe.toml work 4";
        slurm.shell(&format!("FOURPHASE={command} POINTS=parquet {script}"))
    };
    let jobs = submit("$PWD/failing");
    let array = jobs.split_whitespace().next().unwrap();
    slurm.wait("ls hangs 2> /dev/null || true", false);
    slurm.shell(&format!("scontrol requeue {array}_3"));
    slurm.wait("squeue --noheader", true);
    assert_same(&sandbox, "whole", "work/report");
    // Both tasks were stopped with rows in their journals and ran twice.
    for shard in [2, 3] {
        let messages = sandbox.read(&format!("work/messages/shard-{shard}.txt"));
        assert!(messages.contains("100 of 401 rows"), "{messages}");
        let restarts = slurm.shell(&format!("scontrol show job {array}_{shard}"));
        assert!(restarts.contains("Restarts=1"), "{restarts}");
    }
    // Given again, nothing is measured and the report stays.
    submit("$REAL");
    slurm.wait("squeue --noheader", true);
    let messages = sandbox.read("work/messages/combine.txt");
    assert!(messages.contains("this run is finished"), "{messages}");
    assert_same(&sandbox, "whole", "work/report");
}

#[test]
fn the_script_says_how_it_is_used() {
    let run = Run::of(Command::new(project("data-demo/cluster/submit.sh")).arg("recipe.toml"));
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("submit.sh RECIPE.toml WORK SHARDS"), "{}", run.stderr);
}
