//! Every command that the README shows runs as it stands there, and ends as it says.

use crate::harness::{Sandbox, project};
use std::path::Path;

fn copy_all(from: &Path, to: &Path) {
    std::fs::create_dir(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy_all(&path, &target);
        } else {
            std::fs::copy(&path, target).unwrap();
        }
    }
}

#[test]
fn commands_of_the_readme_run() {
    let sandbox = Sandbox::new();
    copy_all(&project("data-demo"), &sandbox.path("data-demo"));
    // A file of the reader's own.
    sandbox.write("die_07.s4p", sandbox.bytes("data-demo/coupler.s4p"));
    let readme = std::fs::read_to_string(project("README.md")).unwrap();
    let commands: Vec<&str> =
        readme.lines().filter_map(|line| line.strip_prefix("    fourphase ")).collect();
    assert!(commands.len() > 10, "only {} commands", commands.len());
    for command in commands {
        // A few show a requirement that does not hold, and say so.
        let (command, note) = command.split_once('#').unwrap_or((command, ""));
        let expected = if note.contains("exit status 1") { 1 } else { 0 };
        let run = sandbox.run(command);
        assert_eq!(run.status, expected, "fourphase {command}: {}", run.stderr);
    }
}
