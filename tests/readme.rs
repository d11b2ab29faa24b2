//! Every command that the README shows runs as it stands there.
#![allow(missing_docs, clippy::unwrap_used)]

use std::path::Path;
use std::process::Command;

#[test]
fn commands_of_the_readme_run() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    let demo = folder.path().join("data-demo");
    std::fs::create_dir(&demo).unwrap();
    for entry in std::fs::read_dir(root.join("data-demo")).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, demo.join(path.file_name().unwrap())).unwrap();
    }
    // A file of the reader's own.
    std::fs::copy(demo.join("coupler.s4p"), folder.path().join("die_07.s4p")).unwrap();
    let readme = std::fs::read_to_string(root.join("README.md")).unwrap();
    let commands: Vec<&str> =
        readme.lines().filter_map(|line| line.strip_prefix("    fourphase ")).collect();
    assert!(commands.len() > 10, "only {} commands", commands.len());
    for command in commands {
        let output = Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(command.split_whitespace())
            .current_dir(folder.path())
            .output()
            .unwrap();
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "fourphase {command}: {error}");
    }
}
