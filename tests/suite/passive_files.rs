//! Files that cannot be of the passive part that they are said to be: refused by every analysis, with
//! the likely mistake; small departures are warnings.

use crate::harness::{Sandbox, replaced, unfolded};
use fourphase::touchstone::{NumberFormat, WriteOptions, write};
use num_complex::Complex64;

/// Writes a demo file in another number format, and labels it with a third.
fn write_mislabelled(sandbox: &Sandbox, name: &str, written: NumberFormat, option_line: &str) {
    let file = sandbox.touchstone(name);
    let form = WriteOptions { number_format: written, ..WriteOptions::default() };
    let mut bytes = Vec::new();
    write(&mut bytes, &file, &form).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    let old = text.lines().find(|line| line.starts_with('#')).unwrap();
    sandbox.write(name, text.replace(old, option_line));
}

#[test]
fn a_divider_in_decibels_is_refused_wherever_it_is_used() {
    let sandbox = Sandbox::with_demo();
    write_mislabelled(&sandbox, "divider.s3p", NumberFormat::DecibelAngle, "# GHz S RI R 50");
    let likely = "likely numbers in dB and degrees, labelled RI instead of DB";
    for command in ["splitter divider.s3p --kind inphase", "downconverter receiver.toml"] {
        let told = unfolded(&sandbox.refused(command));
        assert!(told.contains("more power leaves the part than enters it"), "{told}");
        assert!(told.contains(likely), "{told}");
    }
    // At the block's file in the description.
    let told = sandbox.refused("downconverter receiver.toml");
    assert!(told.contains("receiver.toml:57:8"), "{told}");
}

#[test]
fn each_mislabelling_is_told() {
    for (written, option_line, likely) in [
        (NumberFormat::DecibelAngle, "# GHz S MA R 50", "labelled MA instead of DB"),
        (NumberFormat::MagnitudeAngle, "# GHz S RI R 50", "labelled RI instead of MA"),
    ] {
        let sandbox = Sandbox::with_demo();
        write_mislabelled(&sandbox, "coupler.s4p", written, option_line);
        sandbox.refuses("splitter coupler.s4p", likely);
    }
}

#[test]
fn a_part_with_gain_is_taken_where_that_is_said() {
    let sandbox = Sandbox::with_demo();
    sandbox.write_changed("lead_i.s2p", "lead_i.s2p", |row, column, entry| {
        if row == column { entry } else { entry * 2.0 }
    });
    sandbox.refuses("downconverter receiver.toml", "add active = true");
    let told = sandbox.run("downconverter receiver.toml --accept-active");
    assert!(told.status != 2 && told.stderr.contains("gain of"), "{}", told.stderr);
    let block = "file = \"lead_i.s2p\"\n";
    let active =
        replaced(&sandbox.read("receiver.toml"), &[(block, &format!("{block}active = true\n"))]);
    sandbox.write("active.toml", active);
    let told = sandbox.run("downconverter active.toml");
    assert!(told.status != 2 && !told.stderr.contains("gain"), "{}", told.stderr);
}

#[test]
fn small_departures_are_warnings_in_every_document() {
    let sandbox = Sandbox::with_demo();
    // 0.2 dB of gain from a matched, almost lossless coupler; one direction alone of another.
    sandbox.write_changed("lead_q.s2p", "lead_q.s2p", |row, column, entry| match (row, column) {
        (1, 0) => entry * 0.9,
        _ => entry,
    });
    let run = sandbox.run("downconverter receiver.toml --format json");
    assert!(run.stderr.contains("not reciprocal: S(2,1) and S(1,2)"), "{}", run.stderr);
    let warnings = run.json()["warnings"].to_string();
    assert!(warnings.contains("not reciprocal"), "{warnings}");

    sandbox.write_changed("coupler.s4p", "slow.s4p", |_, _, entry| entry.conj());
    let run = sandbox.run("splitter slow.s4p");
    let told = unfolded(&run.stderr);
    assert!(told.contains("but that of a passive part is positive"), "{told}");
}

#[test]
fn a_load_that_gives_power_is_refused() {
    let sandbox = Sandbox::with_demo();
    sandbox.write_changed("gate.s1p", "gate.s1p", |_, _, _| Complex64::new(0.0, 1.5));
    sandbox.refuses("downconverter receiver.toml", "load at balun_i.plus: gain of 3.52 dB");
    sandbox.refuses("splitter coupler.s4p --load 4=gate.s1p", "gate.s1p: gain of 3.52 dB");
}

#[test]
fn a_wrong_unit_of_frequency_is_told() {
    let sandbox = Sandbox::with_demo();
    let text = sandbox.read("balun.s3p").replace("# GHz", "# MHz");
    sandbox.write("balun.s3p", text);
    sandbox.refuses("downconverter receiver.toml", "check the unit in its option line");
}

#[test]
fn inspect_judges_files_where_that_is_asked_for() {
    let sandbox = Sandbox::with_demo();
    sandbox.write_changed("coupler.s4p", "active.s4p", |_, _, entry| entry * 2.0);
    assert_eq!(sandbox.run("inspect coupler.s4p --strict").status, 0);
    assert_eq!(sandbox.run("inspect active.s4p").status, 0);
    assert_eq!(sandbox.run("inspect coupler.s4p active.s4p --strict").status, 1);
}

/// Writes a demo file with the pair of numbers of each entry made by `pair`, under an option line.
fn write_pairs(
    sandbox: &Sandbox,
    name: &str,
    option_line: &str,
    pair: fn(Complex64) -> (f64, f64),
) {
    let file = sandbox.touchstone(name);
    let network = &file.network;
    let mut text = format!("{option_line}\n");
    for (point, hz) in network.grid().as_hz().iter().enumerate() {
        text += &(hz / 1e9).to_string();
        for row in network.matrix(point).rows() {
            for &entry in row {
                let (first, second) = pair(entry);
                text += &format!(" {first:.6} {second:.6}");
            }
            // A two-port's rows stand in one line.
            if network.ports() != 2 {
                text += "\n";
            }
        }
        text += "\n";
    }
    sandbox.write(name, text);
}

fn parts(entry: Complex64) -> (f64, f64) {
    (entry.re, entry.im)
}

fn db(entry: Complex64) -> f64 {
    20.0 * entry.norm().log10()
}

#[test]
fn a_mistake_in_the_option_line_is_an_error_wherever_the_file_is_used() {
    type Pair = fn(Complex64) -> (f64, f64);
    let radians: Pair = |entry| (entry.norm(), entry.arg());
    let losses: Pair = |entry| (-db(entry), entry.arg().to_degrees());
    let cases: [(&str, &str, Pair, &str); 11] = [
        ("lead_i.s2p", "# GHz S MA R 50", parts, "labelled MA instead of RI"),
        ("coupler.s4p", "# GHz S MA R 50", parts, "labelled MA instead of RI"),
        ("gate.s1p", "# GHz S MA R 50", parts, "labelled MA instead of RI"),
        ("gate.s1p", "# GHz S DB R 50", parts, "labelled DB instead of RI"),
        ("gate.s1p", "# GHz S MA R 50", radians, "angles in radians"),
        ("lead_i.s2p", "# GHz S MA R 50", radians, "angles in radians"),
        ("coupler.s4p", "# GHz S MA R 50", radians, "angles in radians"),
        (
            "gate.s1p",
            "# GHz S DB R 50",
            |entry| (entry.norm(), entry.arg().to_degrees()),
            "labelled DB instead of MA",
        ),
        ("lead_i.s2p", "# GHz S DB R 50", losses, "losses as positive numbers"),
        ("lead_i.s2p", "# GHz Z RI R 50", parts, "S-parameters, labelled Z instead of S"),
        ("balun.s3p", "# GHz Y RI R 50", parts, "S-parameters, labelled Y instead of S"),
    ];
    for (name, option_line, pair, likely) in cases {
        let sandbox = Sandbox::with_demo();
        write_pairs(&sandbox, name, option_line, pair);
        sandbox.refuses("downconverter receiver.toml", likely);
        let run = sandbox.run(&format!("inspect {name} --strict"));
        assert_eq!(run.status, 1, "{name} {option_line}: {}", run.stdout);
        assert!(unfolded(&run.stdout).contains(likely), "{name} {option_line}: {}", run.stdout);
        let told = sandbox.run("downconverter receiver.toml --accept-active");
        assert!(!told.stderr.contains(likely), "{}", told.stderr);
    }
}

#[test]
fn small_angles_of_an_electrically_small_part_are_a_warning() {
    let sandbox = Sandbox::new();
    // A capacitor of 5 fF to ground at the end of a probe, as magnitude and angle.
    let made = "component open_end capacitance_ff=5 --grid 0.5GHz..5GHz:31 --output ri.s1p";
    sandbox.succeeds(made);
    sandbox.succeeds("convert ri.s1p open.s1p --number-format ma");
    let told = sandbox.succeeds("inspect open.s1p --strict");
    assert!(unfolded(&told).contains("or radians?"), "{told}");
}

#[test]
fn a_sweep_appended_to_another_is_told() {
    let sandbox = Sandbox::with_demo();
    let rows = |name: &str| -> String {
        let text = sandbox.read(name);
        let is_row = |line: &&str| !line.starts_with(['!', '#']);
        text.lines().filter(is_row).map(|line| format!("{line}\n")).collect()
    };
    let both = format!("{}{}", sandbox.read("lead_i.s2p"), rows("lead_q.s2p"));
    sandbox.write("lead_i.s2p", both);
    let run = sandbox.run("downconverter receiver.toml");
    assert!(unfolded(&run.stderr).contains("is another sweep appended?"), "{}", run.stderr);
}

#[test]
fn a_pair_of_one_block_is_told() {
    let sandbox = Sandbox::with_demo();
    let text = sandbox.read("receiver.toml").replacen("pair = \"leads\"", "pair = \"lead\"", 1);
    sandbox.write("receiver.toml", text);
    let run = sandbox.run("downconverter receiver.toml");
    assert!(run.stderr.contains("pair 'lead' has one block"), "{}", run.stderr);
}
