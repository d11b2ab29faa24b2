//! A folder to run the command in, and what it said.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A folder of its own.
pub(crate) struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// With the demo's files in it, but for folders.
    pub(crate) fn with_demo() -> Self {
        let bench = Self::new();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo");
        for entry in std::fs::read_dir(demo).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                std::fs::copy(&path, bench.path(path.file_name().unwrap().to_str().unwrap()))
                    .unwrap();
            }
        }
        bench
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    /// What was printed as JSON, by a run that could do its work.
    pub(crate) fn json(&self, arguments: &[&str]) -> Value {
        let output = self.run(&[arguments, &["--format", "json"]].concat());
        assert!(status(&output) < 2, "{}", text(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    }

    /// An error that stops the work, and says this.
    pub(crate) fn refuses(&self, arguments: &[&str], says: &str) {
        let output = self.run(arguments);
        let said = text(&output.stderr);
        assert_eq!(status(&output), 2, "{said}");
        assert!(said.contains(says), "{says}: {said}");
        assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
    }
}

pub(crate) fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

pub(crate) fn status(output: &Output) -> i32 {
    output.status.code().unwrap()
}
