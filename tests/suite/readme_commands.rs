//! Every command that the README shows runs as it stands there, and ends as it says.

use std::path::Path;
use std::process::Command;

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
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    let demo = folder.path().join("data-demo");
    copy_all(&root.join("data-demo"), &demo);
    // A file of the reader's own.
    std::fs::copy(demo.join("coupler.s4p"), folder.path().join("die_07.s4p")).unwrap();
    let readme = std::fs::read_to_string(root.join("README.md")).unwrap();
    let commands: Vec<&str> =
        readme.lines().filter_map(|line| line.strip_prefix("    fourphase ")).collect();
    assert!(commands.len() > 10, "only {} commands", commands.len());
    for command in commands {
        // Some show what is not met, and say so.
        let (command, note) = command.split_once('#').unwrap_or((command, ""));
        let expected = if note.contains("exit status 1") { 1 } else { 0 };
        let output = Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(command.split_whitespace())
            .current_dir(folder.path())
            .output()
            .unwrap();
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(expected), "fourphase {command}: {error}");
    }
}
