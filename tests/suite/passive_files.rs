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
    assert!(run.stderr.contains("but that of a passive part is positive"), "{}", run.stderr);
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

#[test]
fn angles_that_are_no_degrees_are_told() {
    let sandbox = Sandbox::with_demo();
    // Real and imaginary parts of a line, labelled as magnitude and angle, show no gain.
    write_mislabelled(&sandbox, "lead_i.s2p", NumberFormat::RealImaginary, "# GHz S MA R 50");
    let run = sandbox.run("downconverter receiver.toml");
    assert!(unfolded(&run.stderr).contains("(RI labelled MA or DB) or radians?"), "{}", run.stderr);
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
