//! A figure without a number is never judged: an LO load that reflects more than it receives, and
//! levels beyond double precision.

use crate::harness::{Run, Sandbox, replaced};
use crate::wafer_lot::{RECIPE, rows, run_recipe, sandbox_with_dies};

/// The demo with one gate that reflects 1.002 at these points of its file; point 50 is 29 GHz.
fn with_active_gate(sandbox: &Sandbox, is_active: impl Fn(usize) -> bool) {
    let mut point = 0;
    sandbox.write_changed("gate.s1p", "active.s1p", |_, _, entry| {
        point += 1;
        if is_active(point - 1) { entry / entry.norm() * 1.002 } else { entry }
    });
    let gate = "at = \"balun_i.plus\"\nfile = \"gate.s1p\"";
    let active = "at = \"balun_i.plus\"\nfile = \"active.s1p\"";
    sandbox.write("active.toml", replaced(&sandbox.read("receiver.toml"), &[(gate, active)]));
}

fn names_the_cause(run: &Run) {
    assert_eq!(run.status, 2, "{}", run.stdout);
    let message = run.stderr.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in ["the LO power has no value at", "of mixer 'i_plus'", "reflect more than they"] {
        assert!(message.contains(part), "no '{part}' in {message}");
    }
}

#[test]
fn an_lo_load_that_gives_power_has_no_verdict_on_the_lo_power() {
    let sandbox = Sandbox::with_demo();
    for one_point in [true, false] {
        with_active_gate(&sandbox, |at| !one_point || at == 50);
        names_the_cause(&sandbox.run("downconverter active.toml --out report"));
        assert!(sandbox.names("report").is_empty());
    }
}

#[test]
fn without_a_limit_the_power_is_left_out_with_its_cause() {
    let sandbox = Sandbox::with_demo();
    with_active_gate(&sandbox, |at| at == 50);
    let text = replaced(&sandbox.read("active.toml"), &[("lo_power_dbm_min = 5.0\n", "")]);
    sandbox.write("active.toml", text);
    let run = sandbox.run("downconverter active.toml --out report --format json");
    // The gate reflects, so the rejection fails.
    assert_eq!(run.status, 1, "{}", run.stderr);
    let undefined = run.stdout.matches("\"lo_power_undefined\"").count();
    assert!(undefined > 0 && run.stdout.matches("\"lo_power_dbm\": null").count() == undefined);
    assert!(run.stderr.contains("no LO power at mixer 'i_plus'"), "{}", run.stderr);
    let text = sandbox.run("downconverter active.toml").stdout;
    for shown in [&text, &sandbox.read("report/lo.csv"), &sandbox.read("report/points.csv")] {
        assert!(!shown.contains("NaN") && !shown.contains("inf"), "{shown}");
    }
}

#[test]
fn a_die_with_vanishing_signals_is_an_error_of_its_own() {
    let sandbox = sandbox_with_dies(3, "");
    sandbox.write("demo/recipe.toml", RECIPE);
    let before = rows_of(&sandbox);
    let die = before[1]["hybrid"].clone();
    let marker = 0.987_654_321;
    sandbox.write_changed(&format!("demo/{die}"), &format!("demo/{die}"), |row, column, entry| {
        if (row, column) == (1, 0) { marker.into() } else { entry }
    });
    let marked = sandbox.read(&format!("demo/{die}"));
    for level in ["1e-200", "1e-320", "1e155"] {
        sandbox.write(&format!("demo/{die}"), marked.replace("0.987654321", level));
        let after = rows_of(&sandbox);
        assert_eq!(after[1]["status"], "error", "{level}: {:?}", after[1]);
        for at in [0, 2] {
            assert_eq!(after[at]["status"], before[at]["status"]);
        }
    }
}

fn rows_of(sandbox: &Sandbox) -> Vec<crate::wafer_lot::Row> {
    run_recipe(sandbox, "demo/recipe.toml", "out");
    rows(sandbox, "out")
}
