//! `join`: networks from their description.

use crate::harness::{Sandbox, replaced, unfolded};

const TREE: &str = r#"
ports = ["hybrid.in", "balun.plus", "balun.minus"]
reference_ohm = [50.0, 75.0, 75.0]
joins = ["hybrid.through -- lead.1", "lead.2 -- balun.in"]

[[block]]
name = "hybrid"
file = "coupler.s4p"
ports = ["in", "through", "coupled", "isolated"]

[[block]]
name = "balun"
file = "balun.s3p"
ports = ["in", "plus", "minus"]

[[block]]
name = "lead"
component = { kind = "line", impedance_ohm = 52, center_ghz = 29, angle_deg = 30, loss_db = 0.1 }

[[load]]
at = "hybrid.coupled"
ohm = [45.0, 5.0]

[[load]]
at = "hybrid.isolated"
rc = { resistance_ohm = 50, capacitance_ff = 8, arrangement = "parallel" }
"#;

/// Two lines of no length, one after the other, with a load across the joint.
const LOADED_JOINT: &str = r#"
grid = "29GHz..30GHz:2"
ports = ["a.1", "b.2"]
joins = ["a.2 -- b.1"]
block = [
    { name = "a", component = { kind = "zero_length_line" } },
    { name = "b", component = { kind = "zero_length_line" } },
]
load = [{ at = "a.2", ohm = 25.0 }]
"#;

/// A lossless part whose ends are joined.
const RING: &str = r#"grid = "29GHz..30GHz:2"
ports = ["a.1", "a.2"]
joins = [
    "b.1 -- b.2",
]
block = [
    { name = "a", component = { kind = "zero_length_line" } },
    { name = "b", component = { kind = "zero_length_line" } },
]
"#;

/// The line of the description that holds a text, from 1.
fn line_of(needle: &str) -> usize {
    TREE.lines().position(|line| line.contains(needle)).unwrap() + 1
}

#[test]
fn parts_and_their_files_give_the_same() {
    let sandbox = Sandbox::with_demo();
    sandbox.write("parts.toml", TREE);
    sandbox.succeeds("join parts.toml --output parts.s3p");
    assert_eq!(sandbox.touchstone("parts.s3p").port_references_ohm, [50.0, 75.0, 75.0]);
    sandbox.succeeds(
        "component line impedance_ohm=52 center_ghz=29 angle_deg=30 loss_db=0.1 \
         --grid 24GHz..34GHz:101 --output lead.s2p",
    );
    sandbox.succeeds(
        "component termination resistance_ohm=50 capacitance_ff=8 arrangement=parallel \
         --grid 24GHz..34GHz:101 --output rc.s1p",
    );
    let files: String = TREE
        .lines()
        .map(|line| match line {
            line if line.starts_with("component = ") => "file = \"lead.s2p\"\n".to_owned(),
            line if line.starts_with("rc = ") => "file = \"rc.s1p\"\n".to_owned(),
            line => format!("{line}\n"),
        })
        .collect();
    sandbox.write("files.toml", files);
    sandbox.succeeds("join files.toml --output files.s3p");
    assert!(sandbox.difference("parts.s3p", "files.s3p") < 1e-12);
}

/// TOML takes what stands below a block for a key of the block.
#[test]
fn joins_may_stand_below_a_block() {
    let sandbox = Sandbox::with_demo();
    sandbox.write("above.toml", TREE);
    let joins = TREE.lines().find(|line| line.starts_with("joins")).unwrap();
    let below = replaced(TREE, &[(joins, ""), ("[[load]]", &format!("{joins}\n\n[[load]]"))]);
    sandbox.write("below.toml", below);
    sandbox.succeeds("join above.toml --output above.s3p");
    sandbox.succeeds("join below.toml --output below.s3p --grid 27GHz..31GHz:41");
    assert_eq!(sandbox.touchstone("below.s3p").network.grid().len(), 41);
    assert!(sandbox.difference("above.s3p", "below.s3p") < 1e-12);
}

#[test]
fn a_load_at_a_joined_port_is_in_parallel() {
    let sandbox = Sandbox::new();
    sandbox.write("shunt.toml", LOADED_JOINT);
    let run = sandbox.run("join shunt.toml --output shunt.s2p");
    assert!(run.stderr.contains("in parallel"), "{}", run.stderr);
    // 25 ohm across 50: S21 = 2 / (2 + 50/25), by hand.
    let got = sandbox.touchstone("shunt.s2p").network.entries()[2];
    assert!((got - 0.5).norm() < 1e-12, "{got}");
}

#[test]
fn a_description_with_an_error_is_refused_at_its_line() {
    let sandbox = Sandbox::with_demo();
    let joins = "joins = ";
    let parts = "component = ";
    for (from, to, mention, line) in [
        ("balun.in\"]", "hybrid.through\"]", "hybrid.through is in two joins", joins),
        ("-- balun.in", "-- balum.in", "there is no block 'balum'", joins),
        ("lead.2", "lead.3", "block 'lead' has no port '3'", joins),
        ("lead.2 -- balun.in", "lead.2", "a join needs two or more ports", joins),
        ("hybrid.isolated", "hybrid.coupled", "hybrid.coupled has two loads", "hybrid.isolated"),
        ("name = \"lead\"", "name = \"balun\"", "duplicate block 'balun'", "\"lead\""),
        ("loss_db = 0.1", "lossdb = 0.1", "unknown parameter 'lossdb' of line", parts),
        ("= 52", "= -52", "impedance_ohm must be above 0, found -52", parts),
        (
            "ohm = [45.0, 5.0]",
            "ohm = 45.0\nopen = true",
            "needs exactly one of ohm, file",
            "hybrid.coupled\"",
        ),
        ("[50.0, 75.0, 75.0]", "[50.0, 75.0]", "found 2", "reference_ohm"),
        ("[50.0, 75.0, 75.0]", "0.0", "reference_ohm must be above 0, found 0", "reference_ohm"),
        ("joins = [", "join = [", "unknown key 'join'", joins),
    ] {
        sandbox.write("bad.toml", replaced(TREE, &[(from, to)]));
        let error = sandbox.refused("join bad.toml --output bad.s3p");
        assert!(unfolded(&error).contains(mention), "{mention}: {error}");
        assert!(error.contains(&format!("bad.toml:{}:", line_of(line))), "{mention}: {error}");
    }
}

#[test]
fn an_error_in_a_component_points_at_its_key_or_value() {
    let sandbox = Sandbox::with_demo();
    let component = TREE.lines().find(|line| line.starts_with("component")).unwrap();
    for (from, to, pointed_at) in [
        ("loss_db = 0.1", "lossdb = 0.1", "lossdb"),
        ("impedance_ohm = 52", "impedance_ohm = -52", "-52"),
        ("angle_deg = 30", "angle_deg = true", "true"),
        ("\"line\"", "\"through\"", "\"through\""),
        ("\"line\"", "3", "3,"),
        ("kind = \"line\", ", "", "{"),
        ("center_ghz = 29, ", "", "{"),
    ] {
        let wrong = component.replace(from, to);
        let place = (line_of("component"), wrong.find(pointed_at).unwrap() + 1);
        sandbox.write("bad.toml", replaced(TREE, &[(component, &wrong)]));
        let error = sandbox.refused("join bad.toml --output bad.s3p");
        assert!(error.contains(&format!("bad.toml:{}:{}", place.0, place.1)), "{wrong}: {error}");
    }
}

#[test]
fn a_description_that_does_not_fit_its_files_is_refused() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds(
        "component line impedance_ohm=50 center_ghz=29 angle_deg=30 \
         --grid 40GHz..50GHz:11 --output far.s2p",
    );
    sandbox.succeeds("convert balun.s3p mixed.s3p --pairs 2,3");
    let part = TREE.lines().find(|line| line.starts_with("component")).unwrap();
    for (from, to, mentions) in [
        (
            ", \"balun.minus\"]\nreference_ohm = [50.0, 75.0, 75.0]",
            "]",
            ["balun.minus is unconnected", "bad.toml"],
        ),
        (", \"minus\"]", "]", ["has 3 ports, found 2 names", "bad.toml"]),
        ("balun.s3p", "absent.s3p", ["cannot read the file", "absent.s3p"]),
        (part, "file = \"far.s2p\"", ["no common frequency", "'lead' starts"]),
        ("balun.s3p", "mixed.s3p", ["mixed-mode", "mixed.s3p"]),
    ] {
        sandbox.write("bad.toml", replaced(TREE, &[(from, to)]));
        let error = sandbox.refused("join bad.toml --output bad.s3p");
        for mention in mentions {
            assert!(unfolded(&error).contains(mention), "{mention}: {error}");
        }
    }
}

#[test]
fn a_singular_loop_is_shown_at_its_join() {
    let sandbox = Sandbox::new();
    sandbox.write("ring.toml", RING);
    let error = sandbox.refused("join ring.toml --output ring.s2p");
    assert!(error.contains("singular at 29 GHz") && error.contains("ring.toml:4:"), "{error}");
}

#[test]
fn what_is_left_out_is_reported() {
    let sandbox = Sandbox::new();
    let noise = "# GHz S RI R 50\n1 0 0 2 0 0.1 0 0 0\n2 0 0 2 0 0.1 0 0 0\n1 2 0.1 30 0.2\n";
    sandbox.write("noise.s2p", noise);
    sandbox.write("thru.s2p", "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n2 0 0 1 0 1 0 0 0\n");
    sandbox.write("half.s2p", "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n1.5 0 0 1 0 1 0 0 0\n");
    sandbox.write(
        "noise.toml",
        r#"
ports = ["a.1", "a.2"]
block = [{ name = "a", file = "noise.s2p" }]
"#,
    );
    sandbox.write(
        "overlap.toml",
        r#"
ports = ["a.1", "b.2"]
joins = ["a.2 -- b.1"]
block = [{ name = "a", file = "thru.s2p" }, { name = "b", file = "half.s2p" }]
"#,
    );
    for (arguments, note) in [
        ("join noise.toml --output a.s2p", "noise data are not used"),
        ("deembed noise.s2p --left thru.s2p --output b.s2p", "noise data"),
        ("join overlap.toml --output c.s2p", "the common band 1 to 1.5 GHz is used"),
    ] {
        let run = sandbox.run(arguments);
        assert!(run.status == 0 && run.stderr.contains(note), "{arguments}: {}", run.stderr);
    }
    sandbox.refuses("deembed noise.s2p --left thru.s2p --split pad --output x.s2p", "--thru");
}
