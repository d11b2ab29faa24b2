//! A folder to run the command in, and what a run printed.

use fourphase::network::Network;
use fourphase::touchstone::{self, ReadOptions, TouchstoneFile, WriteOptions};
use num_complex::Complex64;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A path in the project, from its root.
pub(crate) fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A folder for one test, in which the command runs.
pub(crate) struct Sandbox {
    folder: tempfile::TempDir,
}

impl Sandbox {
    /// An empty folder.
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// A folder with the demo's files, without its subfolders.
    pub(crate) fn with_demo() -> Self {
        let sandbox = Self::new();
        sandbox.add("data-demo");
        sandbox
    }

    /// Copies the files of a folder of the project, without its subfolders.
    pub(crate) fn add(&self, folder: &str) {
        for entry in std::fs::read_dir(project(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                std::fs::copy(&path, self.folder().join(path.file_name().unwrap())).unwrap();
            }
        }
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder().join(name)
    }

    /// Writes a file, with the folders above it.
    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }

    pub(crate) fn read(&self, name: &str) -> String {
        String::from_utf8(self.bytes(name)).unwrap()
    }

    pub(crate) fn bytes(&self, name: &str) -> Vec<u8> {
        let path = self.path(name);
        std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
    }

    /// A Touchstone file in this folder that keeps to the standard.
    pub(crate) fn touchstone(&self, name: &str) -> TouchstoneFile {
        let strict = ReadOptions { strict: true, ..ReadOptions::default() };
        touchstone::read(&self.path(name), &strict).unwrap()
    }

    /// Copies a Touchstone file with every entry changed; the change gets row, column and entry.
    pub(crate) fn write_changed(
        &self,
        from: &str,
        to: &str,
        mut change: impl FnMut(usize, usize, Complex64) -> Complex64,
    ) {
        let file = self.touchstone(from);
        let network = &file.network;
        let ports = network.ports();
        let entries = network.entries().iter().enumerate();
        let entries = entries.map(|(at, entry)| change(at / ports % ports, at % ports, *entry));
        let (grid, references) = (network.grid().clone(), network.references_ohm(0).to_vec());
        let network = Network::new(network.kind(), grid, ports, entries.collect(), references);
        self.write_touchstone(to, &TouchstoneFile { network: network.unwrap(), ..file });
    }

    /// Writes a Touchstone file in RI with all digits.
    pub(crate) fn write_touchstone(&self, name: &str, file: &TouchstoneFile) {
        let mut bytes = Vec::new();
        touchstone::write(&mut bytes, file, &WriteOptions::default()).unwrap();
        self.write(name, bytes);
    }

    /// The maximum difference between entries of two files, by `compare`.
    pub(crate) fn difference(&self, first: &str, second: &str) -> f64 {
        number(&self.json(&format!("compare {first} {second}")), "/max_vector_difference")
    }

    /// The sorted names of what a folder holds but the list of a report's files; none if there is no
    /// such folder.
    pub(crate) fn names(&self, folder: &str) -> Vec<String> {
        let Ok(entries) = std::fs::read_dir(self.path(folder)) else { return Vec::new() };
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.retain(|name| name != fourphase::report::LIST_OF_FILES);
        names.sort();
        names
    }

    /// The command with its arguments, not yet started. Blanks separate arguments; one with a blank
    /// in it stands in double quotes.
    pub(crate) fn command(&self, arguments: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fourphase"));
        for (at, part) in arguments.split('"').enumerate() {
            if at % 2 == 1 {
                command.arg(part);
            } else {
                command.args(part.split_whitespace());
            }
        }
        command.current_dir(self.folder());
        command
    }

    /// Runs the command to its end.
    pub(crate) fn run(&self, arguments: &str) -> Run {
        Run::of(&mut self.command(arguments))
    }

    /// Runs what must succeed and returns its standard output.
    pub(crate) fn succeeds(&self, arguments: &str) -> String {
        let run = self.run(arguments);
        assert_eq!(run.status, 0, "{arguments}: {}", run.stderr);
        run.stdout
    }

    /// The JSON printed by a run that could do its work: status 0, or 1 for a verdict.
    pub(crate) fn json(&self, arguments: &str) -> Value {
        let run = self.run(&format!("{arguments} --format json"));
        assert!(run.status < 2, "{arguments}: {}", run.stderr);
        run.json()
    }

    /// Runs what must be refused and returns the error: status 2, no result, no new file, and an
    /// error that fits 80 columns.
    pub(crate) fn refused(&self, arguments: &str) -> String {
        let before = self.names(".");
        let run = self.run(arguments);
        assert_eq!(run.status, 2, "{arguments}: {}", run.stderr);
        assert!(run.stderr.starts_with("error: "), "{arguments}: {}", run.stderr);
        assert!(run.stdout.is_empty(), "{arguments}: {}", run.stdout);
        assert_eq!(self.names("."), before, "{arguments} wrote a file");
        // Names of files are not folded.
        let folded: Vec<&str> = run.stderr.lines().filter(|line| !line.contains("-->")).collect();
        assert_fits_80_columns(&folded.join("\n"));
        run.stderr
    }

    /// The same, with a part of the error that must be there, wherever its lines are folded.
    pub(crate) fn refuses(&self, arguments: &str, mention: &str) {
        let error = self.refused(arguments);
        assert!(unfolded(&error).contains(mention), "{arguments}: no '{mention}' in:\n{error}");
    }
}

/// What a run printed and its exit status.
pub(crate) struct Run {
    pub(crate) status: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Run {
    /// Runs a command to its end; a signal that ends it is a failure of the test.
    pub(crate) fn of(command: &mut Command) -> Self {
        let output = command.output().unwrap();
        Self {
            status: output.status.code().expect("no signal ended the run"),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.stdout)
            .unwrap_or_else(|error| panic!("{error}: {}{}", self.stdout, self.stderr))
    }
}

/// A text with pieces replaced once each, all of which must be there.
pub(crate) fn replaced(text: &str, changes: &[(&str, &str)]) -> String {
    let mut text = text.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "no '{from}' in the text");
        text = text.replacen(from, to, 1);
    }
    text
}

/// A text on one line, each row of blanks and line ends as one blank.
pub(crate) fn unfolded(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

pub(crate) fn assert_fits_80_columns(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "more than 80 columns: {line}");
    }
}

/// A number in a JSON document, by its JSON pointer ("/summary/worst_at_lo_hz").
pub(crate) fn number(document: &Value, pointer: &str) -> f64 {
    document
        .pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no number at {pointer} in {document}"))
}
