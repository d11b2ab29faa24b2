//! Every command that the README shows runs as it stands there, and ends as it says; its pictures and
//! pages exist.

use crate::harness::{Sandbox, project};
use std::path::Path;

/// A reader has no more patience.
const MOST_LINES: usize = 250;

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

/// The demo, and the reader's own folders: Touchstone files without descriptions.
fn readers_folder() -> Sandbox {
    let sandbox = Sandbox::new();
    copy_all(&project("data-demo"), &sandbox.path("data-demo"));
    for (from, to) in [
        ("", "my-parts"),
        ("station", "my-station"),
        ("rebuild", "my-coupler"),
        ("wafer/dies", "my-lot"),
    ] {
        for entry in std::fs::read_dir(project("data-demo").join(from)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap();
            // A part of the wafer is enough.
            let is_far = to == "my-lot" && !name.contains("x0") && !name.contains("x1");
            if path.is_file() && name.ends_with('p') && !is_far {
                sandbox.write(&format!("{to}/{name}"), std::fs::read(&path).unwrap());
            }
        }
    }
    sandbox
}

#[test]
fn commands_of_the_readme_run() {
    let sandbox = readers_folder();
    let readme = std::fs::read_to_string(project("README.md")).unwrap();
    let commands: Vec<&str> =
        readme.lines().filter_map(|line| line.strip_prefix("    fourphase ")).collect();
    assert!(commands.len() > 10, "only {} commands", commands.len());
    for command in commands {
        // A few show a requirement that does not hold, and say so.
        let (command, note) = command.split_once('#').unwrap_or((command, ""));
        let expected = if note.contains("exit status 1") { 1 } else { 0 };
        let run = sandbox.run(command);
        assert_eq!(run.status, expected, "fourphase {command}: {}{}", run.stdout, run.stderr);
    }
}

#[test]
fn the_readme_is_short_and_what_it_links_to_exists() {
    let readme = std::fs::read_to_string(project("README.md")).unwrap();
    let lines = readme.lines().count();
    assert!(lines <= MOST_LINES, "{lines} lines");
    let links: Vec<&str> =
        readme.split("](").skip(1).map(|rest| rest.split(')').next().unwrap()).collect();
    assert!(links.len() > 15, "{links:?}");
    for link in links {
        assert!(project(link).is_file(), "{link} does not exist");
    }
}

/// The words of the verdict in the README are those that the demo prints.
#[test]
fn the_verdict_in_the_readme_is_that_of_the_demo() {
    let readme = std::fs::read_to_string(project("README.md")).unwrap();
    let (_, rest) = readme.split_once("belongs to this verdict:\n\n").unwrap();
    let shown: Vec<&str> =
        rest.lines().take_while(|line| !line.is_empty()).map(str::trim).collect();
    let printed = Sandbox::with_demo().succeeds("downconverter receiver.toml");
    let printed = crate::harness::unfolded(&printed);
    assert!(printed.contains(&shown.join(" ")), "{shown:?} is not in {printed}");
}
