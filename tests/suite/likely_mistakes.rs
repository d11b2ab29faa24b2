//! Ordinary mistakes that have an answer which looks plausible: refused, or told with the likely mistake.

use crate::harness::{Sandbox, replaced, unfolded};

const LO: &str = "lo_ghz = { from = 27.0, to = 31.0, points = 41 }";
const IF: &str = "if_ghz = [0.5, 1.0, 1.5]";

/// The demo receiver with pieces of its description replaced.
fn changed(changes: &[(&str, &str)]) -> Sandbox {
    let sandbox = Sandbox::with_demo();
    let text = replaced(&sandbox.read("receiver.toml"), changes);
    sandbox.write("receiver.toml", text);
    sandbox
}

#[test]
fn values_of_a_receiver_in_another_unit_are_refused() {
    for (from, to, says) in [
        (
            LO,
            "lo_ghz = { from = 6.75, to = 7.75, points = 41 }",
            "lo_ghz is the LO at the mixers, after its multiplication by 4",
        ),
        (IF, "if_ghz = [500, 1000]", "if 500 MHz is meant, write 0.5"),
        (IF, "if_ghz = [5, 10]", "if 10 MHz is meant, write 0.01"),
        ("capacitance_ff = 12", "capacitance_ff = 12e-15", "if 1.2e-14 F is meant, write 12"),
        (
            "component = { kind = \"line\", impedance_ohm = 50, center_ghz = 29, angle_deg = 40, loss_db = 0.1 }",
            "component = { kind = \"microstrip\", width_um = 70e-6, length_um = 900 }",
            "if 7e-5 m is meant, write 70",
        ),
        ("[correction]", "[correction]\namplitude_db = 100", "must be from -60 to 60"),
        ("[correction]", "[correction]\nphase_deg = 400", "must be from -360 to 360"),
        (
            "[require]",
            "[load_reflection_sweep]\nmixer_reflection = 40\n[require]",
            "a return loss of 10 dB is 0.316",
        ),
        ("[mixing]", "[mixing]\njoins = [\"a.b -- c.d\"]", "move joins above the first table"),
        ("image_rejection_db = 25.0", "image_rejection_db = 310", "must be from 0 to 200"),
        ("quadrature_error_deg = 5.0", "quadrature_error_deg = 95", "must be from 0 to 90"),
        ("lo_power_dbm_min = 5.0", "lo_power_dbm_min = 5000", "must be from -200 to 60"),
        ("[require]", "[require]\nspurious_band_ghz = [27500, 31000]", "is beyond 2000 GHz"),
    ] {
        changed(&[(from, to)]).refuses("downconverter receiver.toml", says);
    }
}

#[test]
fn values_of_a_receiver_that_are_likely_mistakes_are_told() {
    let gain = "polarity = \"-\"\ngain = ";
    for (from, to, says) in [
        (LO, "lo_ghz = [27, 31]", "16:10: lo_ghz = [27, 31] is two frequencies"),
        (
            "center_ghz = 29,",
            "center_ghz = 29000,",
            "center_ghz = 29000 is far from 25.5 to 32.5 GHz",
        ),
        ("capacitance_ff = 12", "capacitance_ff = 0.012", "if 0.012 pF is meant, write 12"),
        ("resistance_ohm = 44", "resistance_ohm = 0.044", "if 0.044 kohm is meant, write 44"),
        ("impedance_ohm = 50", "impedance_ohm = 0.05", "if 0.05 kohm is meant, write 50"),
        ("rf_input", "lo_source_ohm = 0.05\nrf_input", "if 0.05 kohm is meant, write 50"),
        ("rf_input", "reference_ohm = 0.05\nrf_input", "if 0.05 kohm is meant, write 50"),
        ("polarity = \"-\"", &format!("{gain}[-6, 0]"), "turns its output by 180 deg"),
        ("polarity = \"-\"", &format!("{gain}[0.5, 180]"), "more than 10 dB from another mixer's"),
        ("[correction]", "[correction]\namplitude_db = 20", "more than any receiver needs"),
        ("angle_deg = 40", "angle_deg = 1.5708", "if 1.5708 rad is meant, write 90"),
        (
            "kind = \"line\", impedance_ohm = 50, center_ghz = 29, angle_deg = 40, loss_db = 0.1",
            "kind = \"microstrip\", width_um = 70, length_um = 900, loss_tangent = 2",
            "if 2 % is meant, write 0.02",
        ),
    ] {
        let run = changed(&[(from, to)]).run("downconverter receiver.toml");
        assert!(unfolded(&run.stderr).contains(says), "{to}: {}", run.stderr);
    }
}

/// 0.05 dB and 0.4 deg are usual: 3 dB and 30 deg are limits in the place of uncertainties.
#[test]
fn uncertainties_of_no_measurement_are_told() {
    let sandbox = Sandbox::with_demo();
    for (amount, says) in [
        ("magnitude_db=3", "a standard uncertainty of 3.0000 dB"),
        ("phase_deg=30", "a standard uncertainty of 30.0000 deg"),
        ("magnitude_db=0.4,phase_deg=3", "a standard uncertainty of 0.4000 dB"),
        ("phase_deg=0.0052", "if 0.0052 rad is meant, write 0.30"),
        ("magnitude=0.4", "a standard uncertainty of 0.4000 in magnitude"),
    ] {
        let run = sandbox.run(&format!("splitter coupler.s4p --uncertainty {amount}"));
        assert!(unfolded(&run.stderr).contains(says), "{amount}: {}", run.stderr);
    }
    let far = sandbox.refused("downconverter receiver.toml --uncertainty magnitude_db=28");
    assert!(far.contains("magnitude_db must be from 0 to 12, found 28"), "{far}");
    let usual = sandbox.run("splitter coupler.s4p --uncertainty magnitude_db=0.05,phase_deg=0.4");
    assert_eq!(usual.stderr, "");
    let source = "[[source]]\ntransmission = { magnitude_db = 0.05, phase_deg = 40 }\n";
    sandbox.write("large.toml", source);
    let run = sandbox.run("splitter coupler.s4p --uncertainty large.toml");
    let says = "large.toml:2:51: a standard uncertainty of 40.0000 deg";
    assert!(unfolded(&run.stderr).contains(says), "{}", run.stderr);
}

#[test]
fn a_limit_of_differences_is_linear() {
    let sandbox = Sandbox::with_demo();
    let run = "compare coupler.s4p coupler.s4p --require-vector";
    assert!(sandbox.refused(&format!("{run} 40")).contains("if -40 dB is meant, write 1.000e-2"));
    assert!(sandbox.refused(&format!("{run} -40")).contains("if -40 dB is meant, write 1.000e-2"));
    sandbox.succeeds(&format!("{run} 0.01"));
}

#[test]
fn joins_without_a_block_are_refused_as_such() {
    let sandbox = Sandbox::new();
    sandbox.write("empty.toml", "ports = [\"a.1\"]\njoins = [\"a.1 -- b.2\"]\n");
    sandbox.refuses("join empty.toml --output x.s1p", "needs a [[block]], found none");
}

#[test]
fn what_is_meant_has_no_remark() {
    for (from, to) in [
        (LO, "lo_ghz = [27, 29, 31]"),
        (LO, "lo_ghz = 29"),
        (IF, "if_ghz = [0.5, 1.5]"),
        ("polarity = \"-\"", "polarity = \"-\"\ngain = [0.9, 0.05]"),
        ("[correction]", "[correction]\nphase_deg = -1"),
        ("center_ghz = 29,", "center_ghz = 28,"),
        ("capacitance_ff = 12", "capacitance_ff = 0"),
        ("angle_deg = 40", "angle_deg = 1.55"),
    ] {
        let run = changed(&[(from, to)]).run("downconverter receiver.toml");
        assert_eq!(run.stderr, "", "{to}");
    }
}

#[test]
fn parts_and_mixers_that_contradict_one_another_are_told() {
    let q_minus = "[[mixer]]\nname = \"q_minus\"\nchannel = \"q\"\npolarity = \"-\"\n\
                   lo = \"balun_q.minus\"\nrf = \"rf_line_q.2\"\n";
    for (from, to, says) in [
        ("divider.s3p", "balun.s3p", "block 'divider' gives I and Q signals that are"),
        (
            "balun_q.s3p",
            "divider.s3p",
            "mixers 'q_plus' and 'q_minus' of channel Q work against each other",
        ),
        (
            "polarity = \"-\"",
            "polarity = \"+\"",
            "mixers 'i_plus' and 'i_minus' of channel I work against each other",
        ),
        (q_minus, "", "channel I has 2 and channel Q has 1 of the mixers"),
        ("coupler.s4p", "tree.s4p", "Q leads I by"),
        ("combine = \"auto\"", "combine = \"i-jq\"", "are I and Q exchanged"),
    ] {
        let sandbox = Sandbox::with_demo();
        // An in-phase divider with a port that gets nothing, where a quadrature coupler is expected.
        let made = "component hybrid_180 --grid 24GHz..34GHz:101 --output difference.s4p";
        sandbox.succeeds(made);
        sandbox.succeeds("convert difference.s4p tree.s4p --ports 4,2,3,1");
        sandbox.write("receiver.toml", replaced(&sandbox.read("receiver.toml"), &[(from, to)]));
        let run = sandbox.run("downconverter receiver.toml");
        assert!(unfolded(&run.stderr).contains(says), "{to}: {}", run.stderr);
    }
    let run = Sandbox::with_demo().run("downconverter receiver.toml");
    assert_eq!(run.stderr, "");
}

#[test]
fn ranges_without_a_unit_are_refused_with_what_to_write() {
    let sandbox = Sandbox::with_demo();
    for (command, says) in [
        ("splitter coupler.s4p --band 27..31", "write 27GHz..31GHz"),
        ("convert coupler.s4p out.s4p --grid 24..34:11", "write 24GHz..34GHz:11"),
        ("plan --rf 27GHz..31GHz --if 500..1500", "write 500MHz..1500MHz"),
        ("plan --rf 27..31 --if 0.5GHz..1.5GHz", "write 27GHz..31GHz"),
    ] {
        let run = sandbox.run(command);
        assert_eq!(run.status, 2, "{command}");
        assert!(unfolded(&run.stderr).contains(says), "{command}: {}", run.stderr);
    }
    let tree = replaced(
        &sandbox.read("tree.toml"),
        &[("reference_ohm", "grid = \"24..34:11\"\nreference_ohm")],
    );
    sandbox.write("tree.toml", tree);
    sandbox.refuses("join tree.toml --output t.s3p", "write 24GHz..34GHz:11");
}

#[test]
fn a_file_with_the_name_of_another_number_of_ports_is_told() {
    let sandbox = Sandbox::with_demo();
    for (from, to, ports) in [
        ("coupler.s4p", "a.s3p", 4),
        ("coupler.s4p", "b.s2p", 4),
        ("balun.s3p", "c.s4p", 3),
        ("balun.s3p", "d.s2p", 3),
        ("lead_i.s2p", "e.s1p", 2),
        ("gate.s1p", "f.s2p", 1),
    ] {
        sandbox.write(to, sandbox.read(from));
        sandbox.refuses(&format!("inspect {to}"), &format!("name the file .s{ports}p"));
    }
}

#[test]
fn measurements_that_contradict_one_another_are_told_without_uncertainties() {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/rebuild");
    sandbox.write(
        "isolation_resistor.s1p",
        std::fs::read(crate::harness::project("data-demo/isolation_resistor.s1p")).unwrap(),
    );
    let plain = sandbox
        .read("set.toml")
        .replace("standard_uncertainty = 0.002\n", "")
        .replace("../isolation", "isolation");
    sandbox.write("set.toml", &plain);
    let run = sandbox.run("rebuild set.toml --output a.s4p");
    assert_eq!(run.stderr, "wrote a.s4p\n");
    sandbox.write("set.toml", replaced(&plain, &[("ports = [1, 4]", "ports = [4, 1]")]));
    let run = sandbox.run("rebuild set.toml --output b.s4p");
    let told = unfolded(&run.stderr);
    assert!(told.contains("the measurements contradict one another"), "{told}");
    assert!(told.contains("measurement 3 (ports 4, 1) disagrees most"), "{told}");
}

#[test]
fn limits_and_levels_beyond_sense_are_refused() {
    let sandbox = Sandbox::new();
    sandbox.refuses("tolerance --image-rejection-db 1000", "at most 200 dB");
    let text = sandbox.succeeds("component attenuator loss_db=1e5");
    assert!(text.contains("series_ohm") && !text.contains("NaN"), "{text}");
    sandbox.add("data-demo/station");
    let station =
        replaced(&sandbox.read("station.toml"), &[("thru_residual = ", "thru_residual = 2 # ")]);
    sandbox.write("station.toml", station);
    sandbox.refuses("station station.toml", "2 % is 0.02, and -40 dB is 0.01");
}

#[test]
fn a_pitch_in_another_unit_is_refused() {
    for (pitch, says) in [
        ("[15e-3, 14e-3]", "if 0.015 m is meant, write 15"),
        ("[15000, 14000]", "if 15000 um is meant, write 15"),
    ] {
        let sandbox = Sandbox::with_demo();
        sandbox.add("data-demo/wafer");
        let recipe = replaced(
            &sandbox.read("recipe.toml"),
            &[("die_pitch_mm = [15, 14]", &format!("die_pitch_mm = {pitch}"))],
        );
        sandbox.write("recipe.toml", recipe);
        sandbox.refuses("wafer recipe.toml --out out", says);
    }
}

#[test]
fn a_wafer_without_a_die_that_can_be_judged_has_no_pictures() {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/wafer");
    let run = sandbox.run("wafer recipe.toml --out out");
    assert_eq!(run.status, 2);
    assert!(unfolded(&run.stderr).contains("no die could be judged"), "{}", run.stderr);
    assert!(!run.stderr.contains("of the few"), "{}", run.stderr);
    assert_eq!(sandbox.names("out"), ["dies.csv", "report.html", "report.txt", "summary.json"]);
}

/// Writes a demo file in dB and degrees under an option line that says MA.
fn mislabel(sandbox: &Sandbox, name: &str) {
    sandbox.succeeds(&format!("convert {name} db-{name} --number-format db"));
    sandbox.write(name, sandbox.read(&format!("db-{name}")).replace(" DB ", " MA "));
}

#[test]
fn a_mislabelled_file_is_refused_where_networks_are_made_of_it() {
    let likely = "numbers in dB and degrees, labelled MA instead of DB";
    let sandbox = Sandbox::with_demo();
    mislabel(&sandbox, "coupler.s4p");
    sandbox.refuses("join tree.toml --output t.s3p", likely);
    mislabel(&sandbox, "lead_q.s2p");
    let run = sandbox.run("deembed lead_i.s2p --left lead_q.s2p --output d.s2p");
    assert!(run.status == 2 && unfolded(&run.stderr).contains(likely), "{}", run.stderr);
    let run = sandbox.run("compare coupler.s4p db-coupler.s4p");
    assert!(unfolded(&run.stderr).contains(likely), "{}", run.stderr);
}

#[test]
fn further_values_that_are_likely_mistakes_are_told() {
    let sandbox = Sandbox::with_demo();
    let grid = "--grid 24GHz..34GHz:11 --output";
    for (command, says) in [
        ("splitter coupler.s4p --nominal-deg 1.5708", "far from the nominal 1.5708 deg"),
        ("compare coupler.s4p coupler.s4p", "both files hold the same numbers"),
        (&format!("component wilkinson center_ghz=29000 {grid} a.s3p"), "center_ghz is in GHz"),
        (&format!("component branch_line center_ghz=2.9 {grid} b.s4p"), "far from 24 to 34 GHz"),
    ] {
        let run = sandbox.run(command);
        assert!(unfolded(&run.stderr).contains(says), "{command}: {}", run.stderr);
    }
    for (command, says) in [
        (
            "component microstrip width_um=70 length_um=900 conductivity_ms_per_m=41e6",
            "S/m is meant, write 41",
        ),
        (
            "component branch_line center_ghz=29 --substrate height_um=100e-6",
            "if 1e-4 m is meant, write 100",
        ),
    ] {
        sandbox.refuses(command, says);
    }
    let run = changed(&[("file = \"isolation_resistor.s1p\"", "ohm = 50000")])
        .run("downconverter receiver.toml");
    assert!(unfolded(&run.stderr).contains("an open is open = true"), "{}", run.stderr);
}

/// `R 5` for `R 50`: a splitter alone is judged as before, so the impedance has to be told.
#[test]
fn an_unusual_reference_impedance_is_told() {
    let sandbox = Sandbox::with_demo();
    let text = replaced(&sandbox.read("coupler.s4p"), &[("# GHz S RI R 50", "# GHz S RI R 5")]);
    sandbox.write("five.s4p", text);
    let run = sandbox.run("splitter five.s4p");
    let says = "the reference impedance is 5 ohm, where 50 ohm is usual: check the option line";
    assert!(unfolded(&run.stderr).contains(says), "{}", run.stderr);
}

/// Limits that decide nothing, and limits that are exchanged.
#[test]
fn limits_that_never_decide_are_told() {
    let sandbox = Sandbox::with_demo();
    let told =
        |limits: &str| unfolded(&sandbox.run(&format!("splitter coupler.s4p {limits}")).stderr);
    let weak = told("--require-image-rejection-db 0.0016");
    assert!(weak.contains("at least 0.0016 dB is met by nearly every part"), "{weak}");
    let exchanged = told("--require-image-rejection-db 31 --require-phase-error-deg 31");
    assert!(exchanged.contains("31 dB of image rejection allow 3.23 deg alone"), "{exchanged}");
    assert_eq!(told("--require-image-rejection-db 25 --require-amplitude-imbalance-db 1"), "");
    let changed = changed(&[("quadrature_error_deg = 5.0", "quadrature_error_deg = 25")]);
    let run = changed.run("downconverter receiver.toml");
    assert!(unfolded(&run.stderr).contains("25 dB of image rejection allow 6.44 deg alone"));
}

/// A sign that changes no figure: rejection and yield are those of the other sideband.
#[test]
fn an_inverted_channel_is_told_unless_the_combination_is_given() {
    let exchange = [
        (
            "name = \"q_plus\"\nchannel = \"q\"\npolarity = \"+\"",
            "name = \"q_plus\"\nchannel = \"q\"\npolarity = \"-\"",
        ),
        (
            "name = \"q_minus\"\nchannel = \"q\"\npolarity = \"-\"",
            "name = \"q_minus\"\nchannel = \"q\"\npolarity = \"+\"",
        ),
    ];
    let ports = [(
        "file = \"balun_q.s3p\"\nports = [\"in\", \"plus\", \"minus\"]",
        "file = \"balun_q.s3p\"\nports = [\"in\", \"minus\", \"plus\"]",
    )];
    let says = "channel Q is inverted against channel I on the LO path, by blocks 'balun_i' and \
                'balun_q'";
    for changes in [&exchange[..], &ports] {
        let run = changed(changes).run("downconverter receiver.toml");
        assert!(unfolded(&run.stderr).contains(says), "{}", run.stderr);
        let stated = ("combine = \"auto\"", "combine = \"i-jq\"");
        let run = changed(&[changes, &[stated]].concat()).run("downconverter receiver.toml");
        assert_eq!(run.stderr, "");
    }
    // Both exchanges cancel.
    let run = changed(&[&exchange[..], &ports].concat()).run("downconverter receiver.toml");
    assert_eq!(run.stderr, "");
}

#[test]
fn mixers_that_cancel_are_named_with_the_parts_before_them() {
    let split = |block: &str, kind: &str| {
        format!(
            "name = \"{block}\"\ncomponent = {{ kind = \"{kind}\" }}\nports = [\"in\", \"plus\", \"minus\"]"
        )
    };
    let from = |block: &str, file: &str| {
        format!("name = \"{block}\"\nfile = \"{file}\"\nports = [\"in\", \"plus\", \"minus\"]")
    };
    let (i, q) = (from("balun_i", "balun.s3p"), from("balun_q", "balun_q.s3p"));
    let (to_i, to_q) = (split("balun_i", "divider"), split("balun_q", "divider"));
    changed(&[(&i, &to_i), (&q, &to_q)]).refuses(
        "downconverter receiver.toml",
        "mixers 'i_plus' and 'i_minus' of channel I work against each other",
    );
}

/// |S|^2 in place of |S|: rejection is that of twice the imbalance.
#[test]
fn power_ratios_in_place_of_magnitudes_are_told() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p ma.s4p --number-format ma");
    let squared = |line: &str| {
        if line.starts_with(['!', '#']) {
            return line.to_owned();
        }
        let numbers: Vec<&str> = line.split_whitespace().collect();
        // A row with a frequency has one number more.
        let first = numbers.len() % 2;
        let square = |(at, text): (usize, &&str)| match (at >= first, (at - first.min(at)) % 2) {
            (true, 0) => (text.parse::<f64>().unwrap().powi(2)).to_string(),
            _ => (*text).to_owned(),
        };
        numbers.iter().enumerate().map(square).collect::<Vec<_>>().join(" ")
    };
    let lines: Vec<String> = sandbox.read("ma.s4p").lines().map(squared).collect();
    sandbox.write("coupler.s4p", lines.join("\n") + "\n");
    for command in ["splitter coupler.s4p", "downconverter receiver.toml", "inspect coupler.s4p"] {
        let run = sandbox.run(command);
        let said = unfolded(&format!("{} {}", run.stderr, run.stdout));
        assert!(said.contains("are they power ratios |S|^2"), "{command}: {said}");
    }
    let usual = sandbox.run("splitter ma.s4p");
    assert_eq!(usual.stderr, "");
}

#[test]
fn exchanged_die_numbers_are_told_by_the_names_of_the_files() {
    let sandbox = Sandbox::with_demo();
    sandbox.add("data-demo/wafer");
    let list = replaced(&sandbox.read("dies.csv"), &[("die_x,die_y", "die_y,die_x")]);
    sandbox.write("dies.csv", list);
    let run = sandbox.run("wafer recipe.toml --out out");
    let says = "as line 2 has dies/w01_x-2_y4.s4p at die_x 4, die_y -2: are the columns die_x and \
                die_y exchanged?";
    assert!(unfolded(&run.stderr).contains(says), "{}", run.stderr);
}

#[test]
fn levels_and_placements_in_another_unit_are_told() {
    let power = ("lo_power_dbm = 17.0", "lo_power_dbm = 0.01");
    let run = changed(&[power]).run("downconverter receiver.toml");
    assert!(unfolded(&run.stderr).contains("if 0.01 W is meant, write 10.0"), "{}", run.stderr);
    let sandbox = Sandbox::with_demo();
    let source = "[[source]]\nplacement = { effective_permittivity = 7, um = 0.005 }\n";
    sandbox.write("probe.toml", source);
    let run = sandbox.run("splitter coupler.s4p --uncertainty probe.toml");
    assert!(unfolded(&run.stderr).contains("if 0.005 mm is meant, write 5"), "{}", run.stderr);
}

#[test]
fn a_file_of_another_kind_is_named_as_such() {
    let sandbox = Sandbox::with_demo();
    sandbox.add("data-demo/wafer");
    let description = "a file named .toml is a description";
    for command in ["splitter receiver.toml", "inspect receiver.toml", "convert recipe.toml x.s2p"]
    {
        sandbox.refuses(command, description);
    }
    sandbox.refuses("downconverter coupler.s4p", "this is a Touchstone file, where");
    let recipe = replaced(&sandbox.read("recipe.toml"), &[("\"hybrid\"", "\"coupler\"")]);
    sandbox.write("recipe.toml", recipe);
    sandbox.refuses(
        "wafer recipe.toml --out out",
        "the blocks are coupler; the list has the columns hybrid, touchdown_note",
    );
}

#[test]
fn slips_of_tables_and_frequencies_have_their_remedy() {
    let mixer = "[[mixer]]\nname = \"q_plus\"";
    changed(&[(mixer, &mixer.replace("[[mixer]]", "[mixer]"))])
        .refuses("downconverter receiver.toml", "double brackets each time: [[mixer]]");
    changed(&[(LO, "lo_ghz = [0.5, 1.0, 1.5]"), (IF, "if_ghz = [27, 29, 31]")])
        .refuses("downconverter receiver.toml", "are lo_ghz and if_ghz exchanged?");
}

/// What a table states is judged as what a key states: radians, decibels and linear magnitudes.
#[test]
fn amounts_of_a_table_that_no_measurement_has_are_told() {
    let sandbox = Sandbox::with_demo();
    sandbox.write("u.toml", "[[source]]\ntable = \"u.csv\"\n");
    for (heading, row, says) in [
        ("transmission_phase_deg", "0.0052", "if 0.0052 rad is meant, write 0.30"),
        ("reflection_magnitude", "40", "a standard uncertainty of 40.0000 in magnitude"),
        ("transmission_magnitude_db", "4", "a standard uncertainty of 4.0000 dB"),
        (
            "transmission_magnitude_db,transmission_phase_deg",
            "0.3,0.04",
            "0.3 dB and 0.04 deg are not alike",
        ),
    ] {
        sandbox.write("u.csv", format!("frequency_ghz,{heading}\n20,{row}\n40,{row}\n"));
        let run = sandbox.run("splitter coupler.s4p --uncertainty u.toml");
        assert!(unfolded(&run.stderr).contains(says), "{heading}: {}", run.stderr);
    }
    sandbox.write("u.csv", "frequency_ghz,transmission_magnitude_db\n20,0.05\n40,0.06\n");
    assert_eq!(sandbox.run("splitter coupler.s4p --uncertainty u.toml").stderr, "");
}

/// Copies of one file have no scatter: an uncertainty of zero with limits at any value.
#[test]
fn copies_are_no_repeats() {
    let sandbox = Sandbox::with_demo();
    sandbox.write("copy.s4p", sandbox.read("coupler.s4p"));
    sandbox.write("u.toml", "[[source]]\nrepeats = [\"coupler.s4p\", \"copy.s4p\"]\n");
    sandbox.refuses("splitter coupler.s4p --uncertainty u.toml", "hold the same numbers");
}

#[test]
fn rows_that_contradict_the_names_of_their_files_are_told() {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/wafer");
    let list = sandbox.read("dies.csv");
    // A sign that is lost, and a slip of one number.
    for (from, to, says) in [
        ("K1,W01,-2,4,", "K1,W01,2,4,", "line 2 has dies/w01_x-2_y4.s4p at die_x 2, die_y 4"),
        ("K1,W01,0,4,", "K1,W01,0,3,", "line 4 has dies/w01_x0_y4.s4p at die_x 0, die_y 3"),
    ] {
        sandbox.write("dies.csv", replaced(&list, &[(from, to)]));
        let run = sandbox.run("wafer recipe.toml --out out --overwrite");
        assert!(unfolded(&run.stderr).contains(says), "{to}: {}", run.stderr);
    }
    // Names with marks that separate, and names that say nothing.
    for (from, to) in [("w01_x-2_y4", "w01_x_-2_y_4"), ("dies/w01_x-2_y4", "dies/part-17")] {
        sandbox.write("dies.csv", replaced(&list, &[(from, to)]));
        let run = sandbox.run("wafer recipe.toml --out out --overwrite");
        assert!(!run.stderr.contains("other die numbers"), "{to}: {}", run.stderr);
    }
}

#[test]
fn parts_of_a_receiver_that_contradict_one_another_or_the_plan_are_told() {
    let plan = "wanted_sideband = \"upper\"";
    for (changes, says) in [
        (
            vec![(plan, "wanted_sideband = \"upper\"\nrf_ghz = [26, 33]")],
            "rf_ghz is 26 to 33 GHz, but LO and IF of the plan reach 27.5 to 32.5 GHz only",
        ),
        (
            vec![(LO, "lo_ghz = { from = 27.0, to = 31.0, points = 2 }")],
            "nothing between the two LOs is judged",
        ),
        (
            vec![(
                "at = \"balun_q.minus\"\nfile = \"gate.s1p\"",
                "at = \"balun_q.minus\"\nohm = 50",
            )],
            "the load at the LO port of mixer 'q_minus' differs from those of the other mixers",
        ),
        (
            vec![(
                "file = \"lead_q.s2p\"\nports = [\"in\", \"out\"]\npair = \"leads\"",
                "file = \"lead_q.s2p\"\nports = [\"in\", \"out\"]\npair = \"baluns\"",
            )],
            "pair 'baluns' joins block 'lead_q' of 2 ports with block 'balun_i' of 3",
        ),
        (
            vec![(
                "ports = [\"in\", \"through\", \"coupled\", \"isolated\"]",
                "ports = [\"in\", \"through\", \"coupled\", \"isolated\"]\nnominal_deg = -90",
            )],
            "block 'hybrid': the outputs differ by 88 deg, far from the nominal -90 deg",
        ),
        (
            vec![("[correction]", "[correction]\namplitude_db = 0.65\nphase_deg = 0.7")],
            "lowers the worst rejection from 25.3 to",
        ),
        (vec![("lo_power_dbm = 17.0", "lo_power_dbm = 50")], "if 50 mW is meant, write 17.0"),
        (
            vec![(
                "lo = \"balun_q.minus\"\nrf = \"rf_line_q.2\"",
                "lo = \"balun_q.minus\"\nrf = \"rf_line_q.1\"",
            )],
            "the mixers of channel I use 1 RF port and those of channel Q 2 RF ports",
        ),
        (
            vec![("lo_power_dbm_min = 5.0", "lo_power_dbm_min = 15\nlo_power_dbm_max = 5")],
            "no LO power is at least 15 dBm and at most 5 dBm",
        ),
    ] {
        let run = changed(&changes).run("downconverter receiver.toml");
        assert!(unfolded(&run.stderr).contains(says), "{says}: {}", run.stderr);
    }
}

#[test]
fn tones_that_are_no_levels_or_stand_twice_are_told() {
    let sandbox = Sandbox::with_demo();
    let table = sandbox.read("tones.csv");
    let heading = table.lines().find(|line| line.starts_with("lo_ghz")).unwrap().to_owned();
    let rows: Vec<&str> = table
        .lines()
        .filter(|line| line.starts_with(|first: char| first.is_ascii_digit()))
        .collect();
    let written = |rows: Vec<String>| format!("{heading}\n{}\n", rows.join("\n"));
    let run = |rows: Vec<String>| {
        sandbox.write("t.csv", written(rows));
        unfolded(&sandbox.run("downconverter receiver.toml --measured t.csv").stderr)
    };
    let plain: Vec<String> = rows.iter().map(|row| (*row).to_owned()).collect();
    assert_eq!(run(plain.clone()), "");
    let twice = [plain.clone(), plain.clone()].concat();
    assert!(run(twice).contains("of the measured tones are duplicates"));
    let mut signless = plain.clone();
    signless[0] = signless[0].replacen("-49.37", "49.37", 1);
    assert!(run(signless).contains("is a sign missing?"));
    let column = heading.split(',').position(|name| name == "image_dbm").unwrap();
    let wanted = heading.split(',').position(|name| name == "wanted_dbm").unwrap();
    // The image in dBc in the column of a level.
    let relative = |row: &String| {
        let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
        let [image, level] = [column, wanted].map(|at| cells[at].trim().parse::<f64>().unwrap());
        cells[column] = format!("{:.2}", image - level);
        cells.join(",")
    };
    assert!(
        run(plain.iter().map(relative).collect())
            .contains("are wanted_dbm and image_dbm both levels")
    );
}

#[test]
fn values_of_components_in_another_unit_are_told() {
    let sandbox = Sandbox::with_demo();
    let grid = "--grid 24GHz..34GHz:5 --output";
    for (component, says) in [
        ("bond inductance_ph=0.3", "if 0.3 nH is meant, write 300"),
        ("shunt_element capacitance_ff=0.05", "if 0.05 pF is meant, write 50"),
        ("microstrip width_um=0.07 length_um=900", "if 0.07 mm is meant, write 70"),
        (
            "microstrip width_um=70 length_um=900 relative_permittivity=129",
            "is a decimal point missing?",
        ),
    ] {
        let kind = component.split(' ').next().unwrap();
        let run = sandbox.run(&format!("component {component} {grid} {kind}.s2p"));
        assert!(unfolded(&run.stderr).contains(says), "{component}: {}", run.stderr);
    }
    let run = sandbox.run("tolerance --image-rejection-db 0.056");
    assert!(unfolded(&run.stderr).contains("is met by nearly every part"), "{}", run.stderr);
    let run = sandbox.run("splitter coupler.s4p --reference-ohm 5");
    assert!(unfolded(&run.stderr).contains("50 ohm is usual"), "{}", run.stderr);
}

#[test]
fn standards_that_are_no_thru_or_one_file_are_refused() {
    let sandbox = Sandbox::with_demo();
    sandbox.add("data-demo/station");
    sandbox.refuses("deembed through.s2p --thru open.s2p --output x.s2p", "--thru: ");
    let station = sandbox.read("station.toml");
    let drift = "[check]\nbefore = \"through.s2p\"\nafter = \"through.s2p\"\n";
    let start = station.find("[check]").unwrap();
    sandbox.write("same.toml", format!("{}{drift}", &station[..start]));
    sandbox.refuses("station same.toml", "before and after are one file");
}

#[test]
fn a_shifted_column_of_files_and_a_mirrored_axis_are_told() {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/wafer");
    let list = sandbox.read("dies.csv");
    let rows: Vec<Vec<String>> =
        list.lines().map(|row| row.split(',').map(str::to_owned).collect()).collect();
    let joined = |rows: &[Vec<String>]| {
        rows.iter().map(|row| row.join(",")).collect::<Vec<_>>().join("\n") + "\n"
    };
    let mut shifted = rows.clone();
    for row in 1..rows.len() - 1 {
        shifted[row][4] = rows[row + 1][4].clone();
    }
    let mut mirrored = rows.clone();
    for row in &mut mirrored[1..] {
        row[3] = (-row[3].parse::<i32>().unwrap()).to_string();
    }
    for changed in [shifted, mirrored] {
        sandbox.write("dies.csv", joined(&changed));
        let run = sandbox.run("wafer recipe.toml --out out --overwrite");
        let says = "is the column of files shifted, or a sign or axis wrong?";
        assert!(unfolded(&run.stderr).contains(says), "{}", run.stderr);
    }
    // Names that count from a corner are no contradiction.
    let mut from_corner = rows.clone();
    for row in &mut from_corner[1..] {
        for at in [2, 3] {
            row[at] = (row[at].parse::<i32>().unwrap() + 10).to_string();
        }
    }
    sandbox.write("dies.csv", joined(&from_corner));
    let run = sandbox.run("wafer recipe.toml --out out --overwrite");
    assert!(!run.stderr.contains("shifted"), "{}", run.stderr);
}

#[test]
fn further_units_and_copies_are_told() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p ma.s4p --number-format ma");
    sandbox.write("u.toml", "[[source]]\nrepeats = [\"coupler.s4p\", \"ma.s4p\"]\n");
    sandbox.refuses("splitter coupler.s4p --uncertainty u.toml", "hold the same numbers");
    let switches = sandbox.read("receiver-switches.toml");
    for (from, to, says) in [
        ("lo_to_rf_ff = 4.0", "lo_to_rf_ff = 0.004", "if 0.004 pF is meant, write 4"),
        ("off_ff = 15.0", "off_ff = 0.015", "if 0.015 pF is meant, write 15"),
    ] {
        sandbox.write("s.toml", replaced(&switches, &[(from, to)]));
        let run = sandbox.run("downconverter s.toml");
        assert!(unfolded(&run.stderr).contains(says), "{to}: {}", run.stderr);
    }
    let lead = sandbox.read("lead_q.s2p").replace("R 50", "R 75");
    sandbox.write("lead_q.s2p", lead);
    let run = sandbox.run("downconverter receiver.toml");
    let says = "block 'lead_q' is in 75 ohm, all others in 50: check the option line";
    assert!(unfolded(&run.stderr).contains(says), "{}", run.stderr);
    sandbox.add("data-demo/wafer");
    let recipe = replaced(
        &sandbox.read("recipe.toml"),
        &[("edge_exclusion_mm = 3", "edge_exclusion_mm = 0.003")],
    );
    sandbox.write("recipe.toml", recipe);
    sandbox.refuses("wafer recipe.toml --out out", "if 0.003 m is meant, write 3");
    sandbox.add("data-demo/station");
    sandbox.write("again.s2p", sandbox.read("through.s2p"));
    let station = sandbox.read("station.toml");
    let start = station.find("[check]").unwrap();
    let drift = "[check]\nbefore = \"through.s2p\"\nafter = \"again.s2p\"\n";
    sandbox.write("copy.toml", format!("{}{drift}", &station[..start]));
    let run = sandbox.run("station copy.toml");
    assert!(run.stderr.contains("the same numbers as the measurement before"), "{}", run.stderr);
}
