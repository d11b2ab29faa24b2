//! The command in a process of its own, with its time and memory.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// One run of `wafer` with all outputs: seconds, and the largest resident memory in kilobytes where the
/// system tells it.
pub(crate) fn measured_lot(
    folder: &Path,
    recipe: &str,
    threads: &str,
    more: &[&str],
) -> (f64, f64) {
    let start = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_fourphase"))
        .args(["wafer", recipe, "--out", "out", "--overwrite", "--quiet", "--threads", threads])
        .args(more)
        .current_dir(folder)
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak: f64 = 0.0;
    loop {
        if let Ok(text) = std::fs::read_to_string(&status)
            && let Some(line) = text.lines().find(|line| line.starts_with("VmHWM:"))
            && let Some(kilobytes) = line.split_whitespace().nth(1)
        {
            peak = peak.max(kilobytes.parse().unwrap_or(0.0));
        }
        if let Some(ended) = child.try_wait().unwrap() {
            assert!(ended.code().is_some_and(|code| code < 2), "{ended}");
            return (start.elapsed().as_secs_f64(), peak);
        }
        // Looking more often would take time from the second thread.
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A lot of many dies, each a 4-port of 201 points, in a folder named for their number.
pub(crate) fn make_lot(folder: &Path, dies: &str) {
    let made = Command::new(env!("CARGO_BIN_EXE_fourphase"))
        .args(["demo-wafer", dies, "--dies", dies, "--points", "201", "--quiet"])
        .args(["--die-pitch-mm", "3.4,3.4", "--no-faults"])
        .current_dir(folder)
        .status()
        .unwrap();
    assert!(made.success());
}
