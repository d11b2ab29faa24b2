//! `convert` and `compare`.

use crate::harness::Sandbox;
use num_complex::Complex64;

#[test]
fn conversions_there_and_back_change_nothing() {
    let sandbox = Sandbox::with_demo();
    for (there, back) in [
        ("--parameter z", "--parameter s"),
        ("--parameter y --touchstone 2.0", "--parameter s"),
        ("--reference-ohm 75,40,40,60", "--reference-ohm 50"),
        ("--number-format db --frequency-unit MHz", "--number-format ri"),
        ("--ports 4,3,2,1", "--ports 4,3,2,1"),
        ("--pairs 2,3", "--single-ended"),
        ("--touchstone 2.1", "--touchstone 1"),
    ] {
        sandbox.succeeds(&format!("convert coupler.s4p there.s4p {there} --overwrite"));
        sandbox.succeeds(&format!("convert there.s4p back.s4p {back} --overwrite"));
        let difference = sandbox.difference("coupler.s4p", "back.s4p");
        assert!(difference < 1e-11, "{there}: {difference}");
        // Where the ports change, comments about them say so.
        let comments = sandbox.touchstone("there.s4p").comments;
        let before = sandbox.touchstone("coupler.s4p").comments;
        assert_eq!(comments.len(), before.len(), "{there}");
        for (comment, before) in comments.iter().zip(&before) {
            let text = comment.text.trim_start_matches(" before ports were changed:");
            assert_eq!(text, before.text, "{there}");
        }
    }
}

#[test]
fn pairs_become_mixed_modes() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p mixed.s4p --pairs 2,3");
    let mixed = sandbox.touchstone("mixed.s4p").network;
    let modes: Vec<_> = mixed.modes().unwrap().iter().map(ToString::to_string).collect();
    assert_eq!(modes, ["S1", "S4", "D2,3", "C2,3"]);
    // One number cannot be the reference of both modes of a pair.
    sandbox.refuses("convert mixed.s4p x.s4p --reference-ohm 75", "mixed-mode");
}

#[test]
fn a_finer_grid_keeps_the_measured_points() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p fine.s4p --grid 27GHz..31GHz:401");
    let (coarse, fine) =
        (sandbox.touchstone("coupler.s4p").network, sandbox.touchstone("fine.s4p").network);
    assert_eq!(fine.grid().len(), 401);
    let at = |hz: f64| fine.grid().as_hz().iter().position(|f| (f - hz).abs() < 1.0).unwrap();
    let measured = coarse.matrix(coarse.grid().nearest(28e9));
    assert_eq!(fine.matrix(at(28e9)).as_slice(), measured.as_slice());
    sandbox.succeeds("convert coupler.s4p band.s4p --band 27GHz..31GHz");
    assert_eq!(sandbox.touchstone("band.s4p").network.grid().len(), 41);
}

#[test]
fn ports_are_selected_in_order() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p two.s2p --ports 1,3");
    let (four, two) =
        (sandbox.touchstone("coupler.s4p").network, sandbox.touchstone("two.s2p").network);
    // S31 of four ports is entry 8 of a row-major matrix, S21 of two ports entry 2.
    assert_eq!((two.ports(), two.entries()[2]), (2, four.entries()[8]));
}

#[test]
fn impossible_conversions_are_refused() {
    let sandbox = Sandbox::with_demo();
    for (arguments, mention) in [
        ("x.s4p --grid 20GHz..31GHz:11", "20 GHz is outside the data"),
        ("x.s4p --grid 27GHz..31GHz:1", "2 to 100000 points"),
        ("x.s4p --band 27.05..27.08GHz", "have no point from"),
        ("x.s4p --ports 1,5", "port 5 does not exist"),
        ("x.s3p", "a name for 3 ports"),
        ("x.s4p --parameter h", "H parameters need a 2-port"),
        ("x.s4p --reference-ohm 40+10j", "complex"),
        ("x.s4p --wave-definition marks-williams", "--file-reference-ohm"),
        ("coupler.s4p --overwrite", "is an input"),
    ] {
        sandbox.refuses(&format!("convert coupler.s4p {arguments}"), mention);
    }
    sandbox.write("series.s2p", "# GHz S RI R 50\n1 0.5 0 0.5 0 0.5 0 0.5 0\n");
    sandbox.refuses("convert series.s2p z.s2p --parameter z", "has no Z matrix at 1 GHz");
}

#[test]
fn complex_references_become_real_ones() {
    let sandbox = Sandbox::new();
    // 30+5j ohm seen from 40+10j: b/a in power waves is (Z - Z0*)/(Z + Z0).
    let (z, z0) = (Complex64::new(30.0, 5.0), Complex64::new(40.0, 10.0));
    for (waves, reflection) in
        [("kurokawa", (z - z0.conj()) / (z + z0)), ("marks-williams", (z - z0) / (z + z0))]
    {
        let content = format!("# GHz S RI R 50\n29 {} {}\n", reflection.re, reflection.im);
        sandbox.write("in.s1p", content);
        sandbox.succeeds(&format!(
            "convert in.s1p out.s1p --file-reference-ohm 40+10j --wave-definition {waves} \
             --reference-ohm 50 --parameter z --touchstone 2.0 --overwrite"
        ));
        let got = sandbox.touchstone("out.s1p").network.entries()[0];
        assert!((got - z).norm() < 1e-10, "{waves}: {got}");
    }
}

#[test]
fn mixed_mode_files_are_never_taken_for_single_ended_ones() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p mixed.s4p --pairs 2,3");
    for refused in [
        "convert mixed.s4p x.s4p --reference-ohm 75",
        "convert mixed.s4p x.s4p --file-reference-ohm 50",
        "convert mixed.s4p x.s4p --file-reference-ohm 60 --single-ended",
        "deembed mixed.s4p --open coupler.s4p --short coupler.s4p --output x.s4p",
        "deembed coupler.s4p --open mixed.s4p --short coupler.s4p --output x.s4p",
    ] {
        let error = sandbox.refused(refused);
        assert!(error.contains("mixed-mode") && error.contains("mixed.s4p"), "{error}");
    }
    sandbox.refuses("compare mixed.s4p coupler.s4p", "different modes");
    sandbox.succeeds("convert mixed.s4p back.s4p --single-ended --reference-ohm 75");
    sandbox.succeeds("convert back.s4p again.s4p --reference-ohm 50");
    assert!(sandbox.difference("coupler.s4p", "again.s4p") < 1e-12);
}

#[test]
fn what_is_left_out_is_reported() {
    let sandbox = Sandbox::with_demo();
    for (arguments, note) in [
        ("d.s4p --band 20..28GHz", "24 GHz to 28 GHz remains"),
        ("e.s4p --single-ended", "single-ended already"),
    ] {
        let run = sandbox.run(&format!("convert coupler.s4p {arguments}"));
        assert!(run.status == 0 && run.stderr.contains(note), "{arguments}: {}", run.stderr);
    }
}

#[test]
fn compare_is_a_check_and_a_picture() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p moved.s4p --reference-ohm 55");
    sandbox.succeeds("compare coupler.s4p moved.s4p --require-vector 1e-9 --out cmp");
    assert_eq!(
        sandbox.names("cmp"),
        ["entries.csv", "overlay.png", "report.html", "report.json", "report.txt"]
    );
    let run = sandbox.run("compare balun.s3p divider.s3p --require-vector 0.1");
    assert_eq!(run.status, 1);
    assert!(run.stdout.contains("FAIL"));
    sandbox.refuses("compare balun.s3p coupler.s4p", "expected 3 ports, found 4");
}

/// A comment about ports is not one of the ports that are left.
#[test]
fn comments_about_ports_are_marked_when_ports_change() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert divider.s3p kept.s3p");
    assert!(sandbox.read("kept.s3p").contains("! ports: 1 input, 2 and 3 outputs"));
    sandbox.succeeds("convert divider.s3p two.s2p --ports 2,3");
    let text = sandbox.read("two.s2p");
    assert!(
        text.contains("! before ports were changed: ports: 1 input, 2 and 3 outputs"),
        "{text}"
    );
}
