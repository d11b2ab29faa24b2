//! `station`: standards that are not what they are said to be, and a thru between two of three ports.

use crate::harness::{Sandbox, number, unfolded};
use fourphase::network::{FrequencyGrid, Network, ParameterKind};
use fourphase::touchstone::TouchstoneFile;
use num_complex::Complex64;
use std::f64::consts::TAU;

fn station() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/station");
    sandbox
}

/// What a run says that cannot use its standards.
fn told(sandbox: &Sandbox) -> String {
    let run = sandbox.run("station station.toml");
    assert_eq!(run.status, 2, "{}", run.stderr);
    unfolded(&run.stderr)
}

#[test]
fn exchanged_open_and_short_are_told() {
    let sandbox = station();
    let (open, short) = (sandbox.bytes("open.s2p"), sandbox.bytes("short.s2p"));
    sandbox.write("open.s2p", short);
    sandbox.write("short.s2p", open);
    let told = told(&sandbox);
    assert!(told.contains("the open conducts better than the short at port 1"), "{told}");
}

#[test]
fn another_standard_in_the_place_of_an_open_is_told() {
    let sandbox = station();
    sandbox.write("open.s2p", sandbox.bytes("through.s2p"));
    let told = told(&sandbox);
    assert!(told.contains("open.s2p: reflection 0."), "{told}");
}

#[test]
fn an_open_in_the_place_of_a_line_is_told() {
    let sandbox = station();
    sandbox.write("wrong.toml", "files = \"line_{die}.s2p\"\n[remove]\nthru = \"open.s2p\"\n");
    let run = sandbox.run("station wrong.toml");
    assert!(run.status == 2 && unfolded(&run.stderr).contains("open.s2p: transmission 0."));
}

#[test]
fn the_fault_of_a_shared_standard_is_told_once() {
    let sandbox = station();
    sandbox.write("open.s2p", "no Touchstone file");
    let told = told(&sandbox);
    assert_eq!(told.matches("no Touchstone file").count(), 1, "{told}");
    assert!(!told.contains("cannot be used"), "{told}");
    let listed = sandbox.run("station station.toml --format json").json()["files"].to_string();
    assert!(listed.contains("its standard open.s2p cannot be used"), "{listed}");
}

/// A line of a length in degrees at 30 GHz, lossless, as a file.
fn write_line(sandbox: &Sandbox, name: &str, length_deg: f64) {
    let grid = FrequencyGrid::linear(28e9, 30e9, 5).unwrap();
    let entries = grid.as_hz().iter().flat_map(|hz| {
        let through = Complex64::cis(-TAU * length_deg / 360.0 * hz / 30e9);
        [Complex64::ZERO, through, through, Complex64::ZERO]
    });
    let entries = entries.collect();
    let network =
        Network::new(ParameterKind::Scattering, grid, 2, entries, vec![50.0.into()]).unwrap();
    let model = station().touchstone("through.s2p");
    sandbox.write_touchstone(name, &TouchstoneFile { network, comments: Vec::new(), ..model });
}

/// Access lines of 20, 30 and 40 degrees: the thru between ports 1 and 3 with its lines is 60 degrees
/// of line, and nothing without them.
#[test]
fn the_thru_is_checked_between_the_ports_that_it_connects() {
    let sandbox = Sandbox::new();
    for (name, length_deg) in
        [("a1.s2p", 20.0), ("a2.s2p", 30.0), ("a3.s2p", 40.0), ("thru.s2p", 60.0)]
    {
        write_line(&sandbox, name, length_deg);
    }
    sandbox.write("part.s3p", "# GHz S RI R 50\n28 0 0 .1 0 .1 0\n.1 0 0 0 0 0\n.1 0 0 0 0 0\n30 0 0 .1 0 .1 0\n.1 0 0 0 0 0\n.1 0 0 0 0 0\n");
    let recipe = |ports: &str| {
        format!(
            "files = \"part.s3p\"\n[remove.access_lines]\n1 = \"a1.s2p\"\n2 = \"a2.s2p\"\n\
             3 = \"a3.s2p\"\n[check]\nthru = \"thru.s2p\"\n{ports}"
        )
    };
    sandbox.write("right.toml", recipe("thru_ports = [1, 3]"));
    let report = sandbox.json("station right.toml");
    assert!(number(&report, "/thrus/0/residual") < 1e-12, "{report}");
    assert!(number(&report, "/thrus/0/delay_s").abs() < 1e-21, "{report}");
    // Between ports 1 and 2 ten degrees are left.
    sandbox.write("wrong.toml", recipe(""));
    let report = sandbox.json("station wrong.toml");
    let delay_s = number(&report, "/thrus/0/delay_s");
    assert!((delay_s - 10.0 / 360.0 / 30e9).abs() < 1e-21, "{delay_s}");
}
