//! `station`: pads, leads and unequal feeds taken off many files, checks, and what goes wrong.

use crate::harness::{Bench, status, text};
use fourphase::network::{Network, ParameterKind, Port, Terminal, Wiring, join};
use fourphase::touchstone::{ReadOptions, TouchstoneFile, WriteOptions, read, write};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::path::Path;

/// The demo's station in a folder of its own.
fn station() -> Bench {
    let bench = Bench::new();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/station");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, bench.path(path.file_name().unwrap().to_str().unwrap())).unwrap();
    }
    bench
}

fn network(bench: &Bench, name: &str) -> Network {
    read(&bench.path(name), &ReadOptions::default()).unwrap().network
}

/// The bare lines come out: matched, as long as they are, with the loss of their length.
#[test]
fn bare_lines_come_out_of_their_pads() {
    let bench = station();
    let report = bench.json(&["station", "station.toml", "--out", "out"]);
    assert_eq!(report["pass"], true);
    assert_eq!(report["files"].as_array().unwrap().len(), 3);
    for (name, length_um) in
        [("bare_d1.s2p", 420.0), ("bare_d2.s2p", 430.0), ("bare_d3.s2p", 424.0)]
    {
        let line = network(&bench, &format!("out/{name}"));
        for (point, hz) in line.grid().as_hz().iter().enumerate() {
            let s = line.matrix(point);
            let at = |row, column| s.at(Port::from_index(row), Port::from_index(column));
            // The model of the demo: 0.9 dB per wavelength at 29 GHz, growing with the root.
            let wavelengths = length_um * 1e-6 * hz * 7_f64.sqrt() / 299_792_458.0;
            let loss = 0.9 * wavelengths * (29e9 / hz).sqrt() * std::f64::consts::LN_10 / 20.0;
            let want = Complex64::new(-loss, -TAU * wavelengths).exp();
            // Six digits, and a condition number below two.
            assert!((at(1, 0) - want).norm() < 1e-5, "{name} {hz} {} {want}", at(1, 0));
            assert!(at(0, 0).norm() < 1e-5 && at(1, 1).norm() < 1e-5);
        }
    }
    let through = &report["throughs"][0];
    assert!((through["length_um"].as_f64().unwrap() - 25.0).abs() < 0.05);
    assert!(through["residual"].as_f64().unwrap() < 1e-3);
    let drift = &report["drift"];
    assert!((drift["lengths_um"][0].as_f64().unwrap() - 4.0).abs() < 0.05, "{drift}");
    // 4 um of this line at 34 GHz.
    let want_deg = -360.0 * 4e-6 * 34e9 * 7_f64.sqrt() / 299_792_458.0;
    assert!((drift["max_phase_deg"].as_f64().unwrap() - want_deg).abs() < 0.01);
    // Names of any length leave the tables their width.
    let folder = "measured at the probe station/wafer 7/quadrant north east";
    for name in ["open", "short", "through", "through_after", "line_d1"] {
        bench.write(&format!("{folder}/{name}.s2p"), &bench.read(&format!("{name}.s2p")));
    }
    let recipe = bench.read("station.toml").replace("0.02", "1e-6");
    bench.write(&format!("{folder}/station.toml"), &recipe);
    let output = bench.run(&["station", &format!("{folder}/station.toml")]);
    let shown = text(&output.stdout);
    assert!(
        shown.contains("FAIL") && shown.lines().all(|line| line.chars().count() <= 80),
        "{shown}"
    );
    assert!(!bench.path("bare_d1.s2p").exists());
}

#[test]
fn limits_decide_and_one_bad_file_stops_no_other() {
    let bench = station();
    let recipe = bench.read("station.toml");
    for (from, to) in [
        ("through_residual = 0.02", "through_residual = 1e-5"),
        ("drift_vector = 0.05", "drift_vector = 0.005"),
    ] {
        bench.write("strict.toml", &recipe.replace(from, to));
        let output = bench.run(&["station", "strict.toml"]);
        assert_eq!(status(&output), 1, "{}", text(&output.stderr));
        assert!(text(&output.stdout).contains("FAIL"));
    }
    bench.write("line_d4.s2p", "# GHz S RI R 50\n24 0 0 0 0 0 0\n");
    let output = bench.run(&["station", "station.toml", "--out", "out", "--format", "csv"]);
    assert_eq!(status(&output), 2);
    assert!(text(&output.stderr).contains("line_d4.s2p"), "{}", text(&output.stderr));
    assert!(bench.path("out/bare_d3.s2p").exists() && !bench.path("out/bare_d4.s2p").exists());
    assert_eq!(text(&output.stdout).lines().filter(|line| line.contains(",done,")).count(), 3);
    // Nothing that exists is replaced, and no input ever.
    let again = bench.run(&["station", "station.toml", "--out", "out"]);
    assert_eq!(status(&again), 2);
    bench.write("onto.toml", &recipe.replace("bare_{die}", "line_{die}"));
    let before = std::fs::read(bench.path("line_d1.s2p")).unwrap();
    let output = bench.run(&["station", "onto.toml", "--out", ".", "--overwrite"]);
    assert_eq!(status(&output), 2);
    assert_eq!(std::fs::read(bench.path("line_d1.s2p")).unwrap(), before);
}

/// A three-port behind another feed at each port comes back.
#[test]
fn unequal_feeds_come_off_branch_by_branch() {
    let bench = Bench::with_demo();
    let part = network(&bench, "divider.s3p");
    let grid = part.grid().clone();
    let feed = |length_um: f64, loss: f64| {
        let entries = grid.as_hz().iter().flat_map(|hz| {
            let angle = TAU * hz * length_um * 1e-6 * 2.6 / 3e8;
            let through = Complex64::from_polar(1.0 - loss, -angle);
            [Complex64::new(0.02, 0.01), through, through, Complex64::new(-0.03, 0.0)]
        });
        let entries = entries.collect();
        Network::new(ParameterKind::Scattering, grid.clone(), 2, entries, vec![50.0.into()])
            .unwrap()
    };
    let feeds = [feed(300.0, 0.02), feed(500.0, 0.04), feed(420.0, 0.03)];
    let mut blocks = vec![part.clone()];
    blocks.extend(feeds.iter().cloned());
    let at = |block, index| Terminal { block, port: Port::from_index(index) };
    let joins = (0..3).map(|port| vec![at(0, port), at(port + 1, 1)]).collect();
    let measured =
        join(&blocks, &Wiring { joins, outside: (1..4).map(|block| at(block, 0)).collect() })
            .unwrap();
    let save = |name: &str, network: &Network| {
        let own = read(&bench.path("divider.s3p"), &ReadOptions::default()).unwrap();
        let ports = network.ports();
        let file = TouchstoneFile {
            network: network.clone(),
            port_references_ohm: vec![50.0; ports],
            comments: Vec::new(),
            ..own
        };
        let mut bytes = Vec::new();
        write(&mut bytes, &file, &WriteOptions::default()).unwrap();
        std::fs::write(bench.path(name), bytes).unwrap();
    };
    save("m_x.s3p", &measured);
    for (at, feed) in feeds.iter().enumerate() {
        save(&format!("feed{at}_x.s2p"), feed);
    }
    bench.write(
        "station.toml",
        "files = \"m_{die}.s3p\"\noutput = \"bare_{die}.s3p\"\n[remove]\n\
         feeds = { \"1\" = \"feed0_{die}.s2p\", \"2\" = \"feed1_{die}.s2p\", \"3\" = \"feed2_{die}.s2p\" }\n",
    );
    bench.json(&["station", "station.toml", "--out", "out"]);
    let output =
        bench.run(&["compare", "divider.s3p", "out/bare_x.s3p", "--require-vector", "1e-9"]);
    assert_eq!(status(&output), 0, "{}", text(&output.stdout));
}

/// Each probe of a three-port moved by its own length: the drift tells them apart.
#[test]
fn drift_tells_the_probes_apart() {
    let bench = Bench::with_demo();
    let part = network(&bench, "divider.s3p");
    let moves_um = [5.0, -3.0, 8.0];
    let entries = part.entries().iter().enumerate().map(|(at, entry)| {
        let (point, place) = (at / 9, at % 9);
        let hz = part.grid().as_hz()[point];
        let um: f64 = moves_um[place / 3] + moves_um[place % 3];
        entry * Complex64::cis(-TAU * hz * um * 1e-6 * 7_f64.sqrt() / 299_792_458.0)
    });
    let moved =
        Network::new(part.kind(), part.grid().clone(), 3, entries.collect(), vec![50.0.into()])
            .unwrap();
    let drift = fourphase::measurement::drift(&part, &moved).unwrap();
    for (delay_s, um) in drift.delays_s.iter().zip(moves_um) {
        assert!((fourphase::measurement::length_um(*delay_s, 7.0) - um).abs() < 1e-6);
    }
}

#[test]
fn what_is_wrong_is_said_where_it_stands() {
    let bench = station();
    let refused = |text: &str, says: &str| {
        bench.write("wrong.toml", text);
        bench.refuses(&["station", "wrong.toml"], says);
    };
    refused("files = \"{a}_{b}.s2p\"\n[remove]\nthrough = \"t.s2p\"", "wrong.toml:1:9");
    refused("files = \"{a}/b.s2p\"\n[remove]\nthrough = \"t.s2p\"", "wrong.toml:1:9");
    refused(
        "files = \"nothing_{a}.s2p\"\n[remove]\nthrough = \"t.s2p\"",
        "no file has such a name",
    );
    refused("files = \"gone/{a}.s2p\"\n[remove]\nthrough = \"t.s2p\"", "gone");
    refused("files = \"line_{a}.s2p\"", "nothing to take off");
    refused("files = \"line_{a}.s2p\"\n[remove]\nopen = \"open.s2p\"", "wrong.toml:3:8");
    refused(
        "files = \"line_{a}.s2p\"\n[remove]\nopen = \"o\"\nshort = \"s\"\nthrough = \"t\"",
        "wrong.toml:5:11",
    );
    refused(
        "files = \"line_{a}.s2p\"\n[remove]\nthrough = \"t\"\n[check]\nbefore = \"b\"",
        "both before and after",
    );
    refused(
        "files = \"line_{a}.s2p\"\n[remove]\nthrough = \"t\"\n[check]\ndrift_vector = 0.1",
        "wrong.toml:5:16",
    );
    refused(
        "files = \"line_{a}.s2p\"\n[remove]\nopen = \"o_{b}\"\nshort = \"s\"",
        "wrong.toml:3:8",
    );
    refused(
        "files = \"line_{a}.s2p\"\n[remove]\nopen = \"o_{a}\"\nshort = \"s\"\n[check]\nthrough = \"t\"",
        "wrong.toml:6:11",
    );
    refused("files = \"line_{a}.s2p\"\n[remove]\nopn = \"t\"", "wrong.toml:3:1");
    refused("files = \"line_{a}.s2p\"\n[remove]\nfeeds = { \"7\" = \"open.s2p\" }", "no such port");
    refused("files = \"line_{a}.s2p\"\n[remove]\nthrough = \"gone.s2p\"", "gone.s2p");
}
