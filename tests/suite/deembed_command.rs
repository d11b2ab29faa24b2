//! `deembed`: what was put on comes off.

use crate::harness::Sandbox;

/// The description of two-ports one after the other, by their files.
fn chain(files: &[&str]) -> String {
    let last = files.len() - 1;
    let joins: Vec<_> = (0..last).map(|at| format!("\"p{at}.2 -- p{}.1\"", at + 1)).collect();
    let mut text = format!("ports = [\"p0.1\", \"p{last}.2\"]\njoins = [{}]\n", joins.join(", "));
    for (at, file) in files.iter().enumerate() {
        text += &format!("[[block]]\nname = \"p{at}\"\nfile = \"{file}\"\n");
    }
    text
}

#[test]
fn what_was_put_on_comes_off() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds(
        "component line impedance_ohm=60 center_ghz=29 angle_deg=100 loss_db=0.4 \
         --grid 24GHz..34GHz:101 --output half.s2p",
    );
    sandbox.succeeds("convert coupler.s4p device.s2p --ports 1,2");
    sandbox.write("measured.toml", chain(&["half.s2p", "device.s2p", "half.s2p"]));
    sandbox.write("thru.toml", chain(&["half.s2p", "half.s2p"]));
    sandbox.succeeds("join measured.toml --output measured.s2p");
    sandbox.succeeds("join thru.toml --output thru.s2p");
    for standards in ["--left half.s2p --right half.s2p", "--thru thru.s2p"] {
        let shown = sandbox
            .succeeds(&format!("deembed measured.s2p --output left.s2p {standards} --overwrite"));
        assert!(shown.contains("condition number") && shown.contains("singular value"), "{shown}");
        assert!(sandbox.difference("device.s2p", "left.s2p") < 1e-10, "{standards}");
    }
}

#[test]
fn standards_that_do_not_fit_are_refused() {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds("convert coupler.s4p device.s2p --ports 1,2");
    for (standards, mention) in [
        ("", "nothing to remove"),
        ("--open device.s2p", "--short"),
        ("--left balun.s3p", "expected 2 ports, found 3"),
    ] {
        sandbox.refuses(&format!("deembed device.s2p --output x.s2p {standards}"), mention);
    }
}
