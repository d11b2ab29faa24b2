//! `station`: pads, access lines and unequal feeds taken off many files, checks, and wrong recipes.

use crate::harness::{Run, Sandbox, assert_fits_80_columns, number, replaced};
use fourphase::network::{Network, ParameterKind, Port, Terminal, Wiring, join};
use fourphase::touchstone::TouchstoneFile;
use num_complex::Complex64;
use std::f64::consts::{LN_10, TAU};

const LIGHT_M_PER_S: f64 = 299_792_458.0;

/// The phase constant of the demo's lines, rad/m.
fn phase_constant(hz: f64) -> f64 {
    TAU * hz * 7_f64.sqrt() / LIGHT_M_PER_S
}

fn station() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/station");
    sandbox
}

/// Writes a network with references of 50 ohm in the place of the divider's.
fn save(sandbox: &Sandbox, name: &str, network: &Network) {
    let file = TouchstoneFile {
        network: network.clone(),
        port_references_ohm: vec![50.0; network.ports()],
        comments: Vec::new(),
        ..sandbox.touchstone("divider.s3p")
    };
    sandbox.write_touchstone(name, &file);
}

/// The bare lines come out: matched, as long as they are, with the loss of their length.
#[test]
fn bare_lines_come_out_of_their_pads() {
    let sandbox = station();
    let report = sandbox.json("station station.toml --out out");
    assert_eq!(report["pass"], true);
    assert_eq!(report["files"].as_array().unwrap().len(), 3);
    for (name, length_um) in
        [("bare_d1.s2p", 420.0), ("bare_d2.s2p", 430.0), ("bare_d3.s2p", 424.0)]
    {
        let line = sandbox.touchstone(&format!("out/{name}")).network;
        for (point, hz) in line.grid().as_hz().iter().enumerate() {
            let s = line.matrix(point);
            let at = |row, column| s.at(Port::from_index(row), Port::from_index(column));
            // The model of the demo: 0.9 dB per wavelength at 29 GHz, growing with the root.
            let angle = phase_constant(*hz) * length_um * 1e-6;
            let loss = 0.9 * angle / TAU * (29e9 / hz).sqrt() * LN_10 / 20.0;
            let want = Complex64::new(-loss, -angle).exp();
            // Six digits, and a condition number below two.
            assert!((at(1, 0) - want).norm() < 1e-5, "{name} {hz} {} {want}", at(1, 0));
            assert!(at(0, 0).norm() < 1e-5 && at(1, 1).norm() < 1e-5);
        }
    }
}

/// The demo's through is 25 um long; a probe moved by 4 um between its two measurements.
#[test]
fn checks_give_length_and_drift() {
    let report = station().json("station station.toml");
    let length_um = number(&report, "/thrus/0/length_um");
    // Six digits are 1e-6 of a transmission; a micrometre turns it by 1.3e-3 or more.
    assert!((length_um - 25.0).abs() < 1e-3, "{length_um}");
    assert!(number(&report, "/thrus/0/residual") < 1e-3);
    let drift_um = number(&report, "/drift/lengths_um/0");
    // The thru is compared behind its pads, which reflect up to 0.06 at 34 GHz: the line between them
    // seems longer or shorter by the square of that, 0.4 %.
    assert!((drift_um - 4.0).abs() < 0.004 * 4.0, "{drift_um}");
    // 4 um of this line at 34 GHz.
    let want_deg = -(phase_constant(34e9) * 4e-6).to_degrees();
    let phase_deg = number(&report, "/drift/max_phase_difference_deg");
    assert!((phase_deg / want_deg - 1.0).abs() < 0.004, "{phase_deg} {want_deg}");
}

#[test]
fn names_of_any_length_leave_the_tables_their_width() {
    let sandbox = station();
    let folder = "measured at the probe station/wafer 7/quadrant north east";
    for name in ["open", "short", "through", "through_after", "line_d1"] {
        sandbox.write(&format!("{folder}/{name}.s2p"), sandbox.bytes(&format!("{name}.s2p")));
    }
    let recipe = replaced(&sandbox.read("station.toml"), &[("0.02", "1e-6")]);
    sandbox.write(&format!("{folder}/station.toml"), recipe);
    let run = sandbox.run(&format!("station \"{folder}/station.toml\""));
    assert!(run.stdout.contains("FAIL"), "{}", run.stdout);
    assert_fits_80_columns(&run.stdout);
    assert!(!sandbox.path("bare_d1.s2p").exists());
}

#[test]
fn limits_decide() {
    let sandbox = station();
    let recipe = sandbox.read("station.toml");
    for change in [
        ("thru_residual = 0.02", "thru_residual = 1e-5"),
        ("drift_vector = 0.05", "drift_vector = 0.005"),
    ] {
        sandbox.write("strict.toml", replaced(&recipe, &[change]));
        let run = sandbox.run("station strict.toml");
        assert_eq!(run.status, 1, "{}", run.stderr);
        assert!(run.stdout.contains("FAIL"));
    }
}

/// The demo's station with a fourth file that cannot be read.
fn run_with_a_bad_file(sandbox: &Sandbox) -> Run {
    sandbox.write("line_d4.s2p", "# GHz S RI R 50\n24 0 0 0 0 0 0\n");
    sandbox.run("station station.toml --out out --format csv")
}

#[test]
fn one_bad_file_stops_no_other() {
    let sandbox = station();
    let run = run_with_a_bad_file(&sandbox);
    assert_eq!(run.status, 2);
    assert!(run.stderr.contains("line_d4.s2p"), "{}", run.stderr);
    let written = [
        "bare_d1.s2p",
        "bare_d2.s2p",
        "bare_d3.s2p",
        "report.html",
        "report.txt",
        "station.csv",
        "station.json",
    ];
    assert_eq!(sandbox.names("out"), written);
    assert_eq!(run.stdout.lines().filter(|line| line.contains(",done,")).count(), 3);
}

/// Nothing that exists is replaced, and no input ever.
#[test]
fn files_are_not_replaced() {
    let sandbox = station();
    sandbox.succeeds("station station.toml --out out");
    assert_eq!(sandbox.run("station station.toml --out out").status, 2);
    let onto = replaced(&sandbox.read("station.toml"), &[("bare_{die}", "line_{die}")]);
    sandbox.write("onto.toml", onto);
    let before = sandbox.bytes("line_d1.s2p");
    assert_eq!(sandbox.run("station onto.toml --out . --overwrite").status, 2);
    assert_eq!(sandbox.bytes("line_d1.s2p"), before);
}

/// A three-port behind another feed at each port comes back.
#[test]
fn unequal_feeds_come_off_branch_by_branch() {
    let sandbox = Sandbox::with_demo();
    let part = sandbox.touchstone("divider.s3p").network;
    let grid = part.grid().clone();
    let feed = |(length_um, loss): (f64, f64)| {
        let entries = grid.as_hz().iter().flat_map(|hz| {
            let angle = TAU * hz * length_um * 1e-6 * 2.6 / 3e8;
            let through = Complex64::from_polar(1.0 - loss, -angle);
            [Complex64::new(0.02, 0.01), through, through, Complex64::new(-0.03, 0.0)]
        });
        let (kind, references) = (ParameterKind::Scattering, vec![50.0.into()]);
        Network::new(kind, grid.clone(), 2, entries.collect(), references).unwrap()
    };
    let feeds = [(300.0, 0.02), (500.0, 0.04), (420.0, 0.03)].map(feed);
    let at = |block, index| Terminal { block, port: Port::from_index(index) };
    let wiring = Wiring {
        joins: (0..3).map(|port| vec![at(0, port), at(port + 1, 1)]).collect(),
        outside: (1..4).map(|block| at(block, 0)).collect(),
    };
    let measured = join(&[&[part], &feeds[..]].concat(), &wiring).unwrap();
    save(&sandbox, "m_x.s3p", &measured);
    for (at, feed) in feeds.iter().enumerate() {
        save(&sandbox, &format!("feed{at}_x.s2p"), feed);
    }
    sandbox.write(
        "station.toml",
        r#"
files = "m_{die}.s3p"
output = "bare_{die}.s3p"
[remove]
access_lines = { "1" = "feed0_{die}.s2p", "2" = "feed1_{die}.s2p", "3" = "feed2_{die}.s2p" }
"#,
    );
    sandbox.succeeds("station station.toml --out out");
    // The largest entry is below 1, three solutions with condition numbers below ten.
    let difference = sandbox.difference("divider.s3p", "out/bare_x.s3p");
    assert!(difference < 1e-13, "{difference}");
}

/// Each probe of a three-port moved by its own length: the drift gives each.
#[test]
fn drift_is_given_for_each_probe() {
    let sandbox = Sandbox::with_demo();
    let part = sandbox.touchstone("divider.s3p").network;
    let moves_um = [5.0, -3.0, 8.0];
    let entries = part.entries().iter().enumerate().map(|(at, entry)| {
        let (point, place) = (at / 9, at % 9);
        let hz = part.grid().as_hz()[point];
        let length_m = 1e-6 * (moves_um[place / 3] + moves_um[place % 3]);
        entry * Complex64::cis(-phase_constant(hz) * length_m)
    });
    let moved =
        Network::new(part.kind(), part.grid().clone(), 3, entries.collect(), vec![50.0.into()])
            .unwrap();
    let drift = fourphase::measurement::drift(&part, &moved).unwrap();
    for (delay_s, um) in drift.delays_s.iter().zip(moves_um) {
        assert!((fourphase::measurement::length_um(*delay_s, 7.0) - um).abs() < 1e-6);
    }
}

fn refuses(text: &str, mention: &str) {
    let sandbox = station();
    sandbox.write("wrong.toml", text);
    sandbox.refuses("station wrong.toml", mention);
}

#[test]
fn names_that_give_no_files_are_refused() {
    let remove = "[remove]\nthru = \"t.s2p\"";
    for (files, mention) in [
        ("{a}_{b}.s2p", "wrong.toml:1:9"),
        ("{a}/b.s2p", "wrong.toml:1:9"),
        ("nothing_{a}.s2p", "no file has such a name"),
        ("gone/{a}.s2p", "gone"),
    ] {
        refuses(&format!("files = \"{files}\"\n{remove}"), mention);
    }
}

#[test]
fn standards_that_do_not_fit_are_refused() {
    refuses("files = \"line_{a}.s2p\"", "nothing to remove");
    for (remove, mention) in [
        ("open = \"open.s2p\"", "wrong.toml:3:8"),
        ("open = \"o\"\nshort = \"s\"\nthru = \"t\"", "wrong.toml:5:8"),
        ("open = \"o_{b}\"\nshort = \"s\"", "wrong.toml:3:8"),
        ("opn = \"t\"", "wrong.toml:3:1"),
    ] {
        refuses(&format!("files = \"line_{{a}}.s2p\"\n[remove]\n{remove}"), mention);
    }
}

/// What fits no file stops each of them, and the run still lists them.
#[test]
fn standards_that_fit_no_file_stop_each_of_them() {
    for (remove, mention) in [
        ("access_lines = { \"7\" = \"open.s2p\" }", "no port 7"),
        ("thru = \"gone.s2p\"", "gone.s2p"),
    ] {
        let sandbox = station();
        sandbox.write("wrong.toml", format!("files = \"line_{{a}}.s2p\"\n[remove]\n{remove}"));
        let run = sandbox.run("station wrong.toml");
        assert!(run.status == 2 && run.stderr.contains(mention), "{remove}: {}", run.stderr);
    }
}

#[test]
fn checks_that_lack_something_are_refused() {
    for (remove, check, mention) in [
        ("thru = \"t\"", "before = \"b\"", "both before and after"),
        ("thru = \"t\"", "drift_vector = 0.1", "wrong.toml:5:16"),
        ("open = \"o_{a}\"\nshort = \"s\"", "thru = \"t\"", "wrong.toml:6:8"),
    ] {
        refuses(
            &format!("files = \"line_{{a}}.s2p\"\n[remove]\n{remove}\n[check]\n{check}"),
            mention,
        );
    }
}
