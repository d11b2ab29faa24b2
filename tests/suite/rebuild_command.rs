//! `rebuild`: the demo's coupler, two ports at a time, unmatched terminations on the others.

use crate::harness::{Sandbox, assert_fits_80_columns, number, replaced};
use std::fmt::Write as _;

/// What ends ports 1 to 4 where they are not measured, as TOML.
const TERMINATIONS: [&str; 4] =
    ["ohm = 45", "ohm = [51.0, 8.0]", "file = \"bad load.s1p\"", "ohm = 60"];

/// The coupler as `whole.s4p`, its six measurements, and their description `set.toml`.
fn sandbox_with_set() -> Sandbox {
    let sandbox = Sandbox::with_demo();
    sandbox.write("whole.s4p", sandbox.bytes("coupler.s4p"));
    sandbox.write("bad load.s1p", sandbox.bytes("gate.s1p"));
    let mut set = "ports = 4\nreference_ohm = 50.0\n".to_owned();
    for (port, end) in (1..).zip(TERMINATIONS) {
        let _ = writeln!(set, "[[termination]]\nport = {port}\n{end}");
    }
    for (i, j) in (1..=4).flat_map(|i| (i + 1..=4).map(move |j| (i, j))) {
        // A network with two ports outside, the others terminated.
        let mut pair = format!(
            "ports = [\"c.{i}\", \"c.{j}\"]\n[[block]]\nname = \"c\"\nfile = \"whole.s4p\"\n"
        );
        for (port, end) in (1..).zip(TERMINATIONS).filter(|(port, _)| ![i, j].contains(port)) {
            let _ = writeln!(pair, "[[load]]\nat = \"c.{port}\"\n{end}");
        }
        sandbox.write("pair.toml", pair);
        sandbox.succeeds(&format!("join pair.toml --output p{i}{j}.s2p"));
        let _ = writeln!(set, "[[measurement]]\nfile = \"p{i}{j}.s2p\"\nports = [{i}, {j}]");
    }
    sandbox.write("set.toml", set);
    sandbox
}

#[test]
fn the_whole_is_rebuilt_from_pairs_of_ports() {
    let sandbox = sandbox_with_set();
    let report = sandbox.json("rebuild set.toml --output again.s4p");
    // The bad load reflects a third, and ignoring it would show.
    assert!(number(&report, "/change_if_terminations_ignored") > 0.05);
    assert!(number(&report, "/max_residual") < 1e-12);
    let difference = sandbox.difference("whole.s4p", "again.s4p");
    assert!(difference < 1e-10, "{difference}");
    let shown = sandbox.succeeds("rebuild set.toml --output again.s4p --overwrite");
    assert_fits_80_columns(&shown);
}

/// One name for two files, and a network that may not be replaced: neither file is written.
#[test]
fn either_both_files_are_written_or_none() {
    let sandbox = sandbox_with_set();
    sandbox.refused("rebuild set.toml --output new.s4p --covariance new.s4p");
    sandbox.write("again.s4p", "mine");
    sandbox.refused("rebuild set.toml --output again.s4p --covariance c.csv");
    assert_eq!(sandbox.read("again.s4p"), "mine");
}

#[test]
fn stated_uncertainties_that_the_residual_refutes_are_reported() {
    let sandbox = sandbox_with_set();
    let stated: String = sandbox
        .read("set.toml")
        .lines()
        .map(|line| match line {
            line if line.starts_with("ports = [") => {
                format!("{line}\nstandard_uncertainty = 1e-9\n")
            }
            line => format!("{line}\n"),
        })
        .collect();
    sandbox.write("stated.toml", replaced(&stated, &[("ohm = 45", "ohm = 45.5")]));
    let run = sandbox.run("rebuild stated.toml --output off.s4p");
    assert!(run.stderr.contains("times what the stated"), "{}", run.stderr);
}

#[test]
fn wrong_sets_are_refused() {
    let sandbox = sandbox_with_set();
    let set = sandbox.read("set.toml");
    let last = "[[measurement]]\nfile = \"p34.s2p\"\nports = [3, 4]\n";
    for (from, to, mention) in [
        ("port = 4", "port = 5", "wrong.toml:13:8"),
        ("ports = [3, 4]", "ports = [3, 3]", "duplicate port 3"),
        ("ohm = 45", "ohm = -45", "resistance"),
        (last, "", "S3,4"),
        ("p34.s2p", "p43.s2p", "p43.s2p"),
    ] {
        sandbox.write("wrong.toml", replaced(&set, &[(from, to)]));
        sandbox.refuses("rebuild wrong.toml --output no.s4p", mention);
    }
}

/// Two ports that no measurement has together: reciprocity cannot help, and is not proposed.
#[test]
fn help_for_a_missing_pair_is_one_that_helps() {
    let sandbox = sandbox_with_set();
    let last = "[[measurement]]\nfile = \"p34.s2p\"\nports = [3, 4]\n";
    let set = replaced(&sandbox.read("set.toml"), &[(last, "")]);
    for reciprocal in ["", "reciprocal = true\n"] {
        sandbox.write("wrong.toml", format!("{reciprocal}{set}"));
        let error = sandbox.refused("rebuild wrong.toml --output no.s4p");
        assert!(error.contains("measure these two ports together"), "{error}");
        assert!(!error.contains("say reciprocal"), "{error}");
    }
}
