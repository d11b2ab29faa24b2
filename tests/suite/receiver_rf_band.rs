//! A plan limited to the RF band that is wanted: `rf_ghz`.

use crate::harness::{Sandbox, number, replaced, unfolded};
use crate::receiver_cases::{Simple, demo, solve, solve_in};
use crate::wafer_lot::{cell, rows, run_recipe, sandbox_with_dies};
use fourphase::downconverter::PlanPoint;
use serde_json::Value;

const IFS: &str = "if_ghz = [0.5, 1.0, 1.5]";

/// A description with an RF band.
fn limited(text: &str, band: &str) -> String {
    let [from, to] = [band, band].map(|band| band.split_once(" to ").unwrap());
    let (from, to) = (from.0, to.1);
    replaced(
        text,
        &[(
            "wanted_sideband",
            &format!("rf_ghz = {{ from = {from}, to = {to} }}\nwanted_sideband"),
        )],
    )
}

/// The entries of a list whose LO and IF are those of another list, in its order.
fn at_points_of<'v>(all: &'v Value, others: &Value) -> Vec<&'v Value> {
    let same = |one: &Value, other: &Value| {
        ["lo_hz", "if_hz"].iter().all(|key| one.get(*key) == other.get(*key))
    };
    let all = all.as_array().unwrap();
    let others = others.as_array().unwrap();
    others.iter().map(|own| all.iter().find(|one| same(one, own)).unwrap()).collect()
}

/// Fails unless two documents have the same numbers within rounding; those of the named keys apart.
fn assert_same(one: &Value, other: &Value, apart: &[&str]) {
    match (one, other) {
        (Value::Number(one), Value::Number(other)) => {
            let (one, other) = (one.as_f64().unwrap(), other.as_f64().unwrap());
            // The same sums on another grid: some digits of double precision.
            assert!((one - other).abs() <= 1e-8 * one.abs().max(1.0), "{one} {other}");
        }
        (Value::Array(one), Value::Array(other)) => {
            assert_eq!(one.len(), other.len());
            one.iter().zip(other).for_each(|(one, other)| assert_same(one, other, apart));
        }
        (Value::Object(one), Value::Object(other)) => {
            for (key, value) in one.iter().filter(|(key, _)| !apart.contains(&key.as_str())) {
                assert_same(value, &other[key], apart);
            }
        }
        _ => assert_eq!(one, other),
    }
}

/// Every quantity at the points that remain is that of the whole plan: balance, corrections per point
/// and LO path, and the budget where the worst point remains.
#[test]
fn points_within_the_band_are_those_of_the_whole_plan() {
    let sandbox = Sandbox::with_demo();
    let whole = sandbox.json("downconverter receiver.toml");
    // LO 27.0 .. 31.0 GHz in steps of 0.1 GHz with IF 0.5, 1.0 and 1.5 GHz: 9 + 4 points are below 28.4
    // GHz and 5 + 10 above 31.5 GHz; the worst is at 32.5 GHz.
    for (band, left_out, has_worst) in [("28.4 to 33", 13, true), ("28.4 to 31.5", 28, false)] {
        sandbox.write("limited.toml", limited(&demo(), band));
        let part = sandbox.json("downconverter limited.toml");
        assert_eq!(part["points"].as_array().unwrap().len(), 123 - left_out);
        assert_eq!(part["settings"]["points_outside_rf_band"], left_out);
        for list in ["/points", "/correction/per_lo_and_if", "/correction/per_lo_and_if_quantised"]
        {
            let (all, own) = (whole.pointer(list).unwrap(), part.pointer(list).unwrap());
            for (one, other) in at_points_of(all, own).into_iter().zip(own.as_array().unwrap()) {
                assert_same(one, other, &[]);
            }
        }
        for own in part["lo"].as_array().unwrap() {
            let all = whole["lo"].as_array().unwrap();
            let one = all.iter().find(|one| one["lo_hz"] == own["lo_hz"]).unwrap();
            // RF phases are those at an LO's first IF, which may be another one; phase errors are
            // against the centre of the plan's LOs.
            let apart =
                ["rf_if_hz", "rf_phase_deg", "rf_magnitude", "lo_phase_deg", "lo_phase_error_deg"];
            assert_same(one, own, &apart);
        }
        assert!((number(&part, "/lo/0/rf_if_hz") - 1.5e9).abs() < 1.0);
        if has_worst {
            assert_same(&whole["budget"], &part["budget"], &["worst_image_rejection_if_ideal_db"]);
        }
    }
}

/// Uncertainty at the points that remain: the linear one is that of the whole plan, whose trials and
/// wider search for the worst have no part in it.
#[test]
fn uncertainty_within_the_band_is_that_of_the_whole_plan() {
    let sandbox = Sandbox::with_demo();
    sandbox.write(
        "few.toml",
        r#"
trials = 100
[[source]]
blocks = ["hybrid"]
over_frequency = "independent"
transmission = { magnitude_db = 0.05, phase_deg = 0.3 }
[[source]]
files = ["divider.s3p"]
port = { phase_deg = 0.5 }
"#,
    );
    let demo = replaced(&demo(), &[("points = 41", "points = 9")]);
    sandbox.write("receiver.toml", &demo);
    sandbox.write("limited.toml", limited(&demo, "28.4 to 33"));
    let of = |name: &str| sandbox.json(&format!("downconverter {name} --uncertainty few.toml"));
    let (whole, part) = (of("receiver.toml"), of("limited.toml"));
    let (all, own) = (&whole["uncertainty"]["points"], &part["uncertainty"]["points"]);
    for (one, other) in at_points_of(all, own).into_iter().zip(own.as_array().unwrap()) {
        for key in
            ["u_amplitude_imbalance_db", "u_quadrature_error_deg", "channel_error_covariance"]
        {
            assert_same(&one[key], &other[key], &[]);
        }
    }
    let (all, own) = (&whole["uncertainty"]["budget"], &part["uncertainty"]["budget"]);
    assert_same(all, own, &[]);
}

/// Files need no frequency of a point that is left out: neither at the RF of either sideband, nor at an
/// LO without a point. A cut file is refused for the whole plan.
#[test]
fn files_need_not_cover_points_outside_the_band() {
    let sandbox = Sandbox::with_demo();
    // Of RF 28 to 30 GHz: LO 27 to 29.5 GHz, the image from LO 27 with IF 1.5 GHz on.
    for (file, band) in [("divider.s3p", "25.4GHz..30.1GHz"), ("coupler.s4p", "26.9GHz..29.6GHz")] {
        sandbox.succeeds(&format!("convert {file} cut.{} --band {band}", &file[file.len() - 3..]));
        std::fs::rename(
            sandbox.path(&format!("cut.{}", &file[file.len() - 3..])),
            sandbox.path(file),
        )
        .unwrap();
    }
    sandbox.write("limited.toml", limited(&demo(), "28.0 to 30.0"));
    sandbox.refuses("downconverter receiver.toml", "the plan needs");
    let part = sandbox.json("downconverter limited.toml");
    assert_eq!(part["summary"]["lo_band_hz"], serde_json::json!([27e9, 29.5e9]));
    assert_eq!(part["frequency_plan"]["rf_hz"], serde_json::json!([28e9, 30e9]));
    // Pictures are drawn too.
    sandbox.run("downconverter limited.toml --out out");
    assert!(sandbox.names("out").contains(&"image-rejection-map.png".to_owned()));
}

/// The verdict is that of the points that remain, also with uncertainty.
#[test]
fn the_verdict_depends_on_the_points_that_remain() {
    let (_, whole) = solve(&demo());
    // The worst point is at 32.5 GHz.
    let (_, part) = solve(&limited(&demo(), "27.5 to 30.0"));
    let worst = |points: &[PlanPoint]| {
        points.iter().map(|p| p.balance.image_rejection_db).fold(f64::INFINITY, f64::min)
    };
    let (low, high) = (worst(&whole.points), worst(&part.points));
    assert!(part.points.iter().all(|point| point.lo_hz + point.if_hz <= 30e9));
    assert!(high > low + 0.5, "{low} {high}");
    let require = format!("image_rejection_db = {:?}", 0.5 * (low + high));
    let demo = replaced(&demo(), &[("image_rejection_db = 25.0", &require)]);
    assert!(!solve(&demo).1.compliance.passes());
    assert!(solve(&limited(&demo, "27.5 to 30.0")).1.compliance.passes());
}

/// Bands of LO that pass, and shades of the picture, do not reach over LOs without a point.
#[test]
fn bands_of_lo_end_where_lo_is_left_out() {
    let text = Simple { extra: "", ..Simple::default() }.text();
    let changes = [
        ("lo_ghz = { from = 28, to = 30, points = 5 }", "lo_ghz = [22, 22.5, 23, 25, 28, 28.5]"),
        ("if_ghz = [0.5, 1]", "if_ghz = [0.5, 3, 6]\nrf_ghz = { from = 28, to = 29 }"),
        ("[[block]]", "[require]\nimage_rejection_db = 3\n[[block]]"),
    ];
    let (receiver, result) = solve_in(&Sandbox::new(), &replaced(&text, &changes));
    let plan = receiver.plan();
    assert_eq!(plan.lo_hz(), [22e9, 22.5e9, 23e9, 25e9, 28e9, 28.5e9]);
    let gap = replaced(
        &text,
        &[
            (changes[0].0, changes[0].1),
            (changes[1].0, "if_ghz = [0.5, 6]\nrf_ghz = { from = 28, to = 29 }"),
            changes[2],
        ],
    );
    let (receiver, gapped) = solve_in(&Sandbox::new(), &gap);
    assert_eq!(receiver.plan().lo_runs(), [0..3, 3..5]);
    assert_eq!(receiver.plan().points_of_lo(3), 3..4);
    assert_eq!((receiver.plan().point_of(3, 0), receiver.plan().point_of(3, 1)), (Some(3), None));
    assert_eq!(result.compliance.bands_that_pass_hz, [(22e9, 28.5e9)]);
    assert_eq!(gapped.compliance.bands_that_pass_hz, [(22e9, 23e9), (28e9, 28.5e9)]);
    assert_eq!((gapped.correction.per_lo.len(), gapped.points.len()), (5, 5));
}

/// A wafer judges the same points as the receiver alone, and accepts the same files.
#[test]
fn dies_are_judged_within_the_band() {
    let sandbox = sandbox_with_dies(6, "--no-faults");
    sandbox.add("data-demo");
    sandbox.write("receiver.toml", limited(&demo(), "28.0 to 30.0"));
    sandbox.write(
        "demo/receiver-recipe.toml",
        r#"
manifest = "dies.csv"
uncertainty = "../few.toml"
analysis = { receiver = "../receiver.toml" }
what_if = { correction = true }
"#,
    );
    let few =
        replaced(&sandbox.read("uncertainty.toml"), &[("seed = 1", "seed = 1\ntrials = 200")]);
    sandbox.write("few.toml", few);
    // The dies of this wafer have files from 27 GHz on: they are cut to the LOs of the band.
    for row in std::fs::read_dir(sandbox.path("demo/dies")).unwrap() {
        let name = format!("demo/dies/{}", row.unwrap().file_name().into_string().unwrap());
        sandbox.succeeds(&format!("convert {name} cut.s4p --band 26.9GHz..29.6GHz"));
        std::fs::rename(sandbox.path("cut.s4p"), sandbox.path(&name)).unwrap();
    }
    run_recipe(&sandbox, "demo/receiver-recipe.toml", "out");
    for row in rows(&sandbox, "out").iter().step_by(3) {
        let file = ("\"coupler.s4p\"", &*format!("\"demo/{}\"", row["hybrid"]));
        sandbox.write("alone.toml", replaced(&sandbox.read("receiver.toml"), &[file]));
        let alone = sandbox.json("downconverter alone.toml");
        let worst_db = number(&alone, "/summary/worst_image_rejection_db");
        assert!((cell(row, "worst_image_rejection_db") - worst_db).abs() < 1e-9);
        let rf_hz = cell(row, "worst_at_lo_hz") + cell(row, "worst_at_if_hz");
        assert!((28e9..=30e9).contains(&rf_hz), "{rf_hz}");
    }
}

#[test]
fn wrong_bands_are_refused_at_their_line() {
    let sandbox = Sandbox::with_demo();
    let nearest = "the one nearest to the band is 32.5 GHz, at LO 31 GHz and IF 1.5 GHz";
    for (band, says) in [
        ("{ from = 40, to = 45 }", "the RF band of 40 to 45 GHz leaves no point of the plan"),
        ("{ from = 40, to = 45 }", nearest),
        ("{ from = 28.52, to = 28.58 }", "leaves no point of the plan"),
        ("{ from = 27500, to = 31000 }", "check the unit of its frequencies"),
        ("{ from = 28, to = 31000 }", "check the unit of its frequencies"),
        ("{ from = 0.0275, to = 0.031 }", "check the unit of its frequencies"),
        ("{ from = 27.5e9, to = 31e9 }", "rf_ghz is in GHz"),
        ("{ from = 31, to = 28 }", "the lower one first"),
        ("{ from = 0, to = 28 }", "above 0 GHz"),
        ("{ from = nan, to = 28 }", "above 0 GHz"),
        ("{ from = 28, to = 31, points = 3 }", "unknown key 'points'"),
        ("[28, 29.5, 31]", "expected a list of two values"),
        ("[40, 45]", "the RF band of 40 to 45 GHz leaves no point of the plan"),
    ] {
        let text = replaced(&demo(), &[(IFS, &format!("{IFS}\nrf_ghz = {band}"))]);
        sandbox.write("wrong.toml", text);
        let error = sandbox.refused("downconverter wrong.toml");
        assert!(unfolded(&error).contains(says), "{band}: no '{says}' in:\n{error}");
        assert!(error.contains(&format!("rf_ghz = {band}")), "{band}: {error}");
    }
}
