//! `wafer` and `demo-wafer`: dies judged as their files are alone, the map, and odd lists.

use crate::harness::{Sandbox, assert_fits_80_columns, number, project, replaced, unfolded};
use crate::wafer_lot::{RECIPE, Row, cell, contents, rows, run_recipe, sandbox_with_dies, summary};
use nalgebra::{DMatrix, DVector};
use serde_json::Value;
use std::collections::HashMap;
use std::fmt::Write as _;

/// The splitter of the demo's recipe on one file, without requirements.
fn splitter(file: &str) -> String {
    format!(
        "splitter \"{file}\" --kind quadrature --input 1 --outputs 2,3 --isolated 4 \
         --band 27GHz..31GHz"
    )
}

/// Fails unless a die's numbers are those of a report on its files alone. Both come from the same
/// solution, one through a journal with all digits; sums may be in another order.
fn assert_like_alone(row: &Row, summary: &Value, columns: &[(&str, &str)]) {
    for (column, key) in columns {
        let (here, alone) = (cell(row, column), number(&summary[key], ""));
        assert!((here - alone).abs() <= 1e-9 * alone.abs(), "{column} {here} {alone}");
    }
}

#[test]
fn the_demo_wafer_is_what_its_command_makes() {
    let sandbox = Sandbox::new();
    sandbox.succeeds("demo-wafer made");
    let kept = |name: &str| std::fs::read(project("data-demo/wafer").join(name)).unwrap();
    for name in ["dies.csv", "recipe.toml"] {
        assert!(sandbox.bytes(&format!("made/{name}")) == kept(name), "{name}");
    }
    let made = contents(&sandbox, "made/dies");
    let count = std::fs::read_dir(project("data-demo/wafer/dies")).unwrap().count();
    assert_eq!(made.len(), count);
    for (name, bytes) in &made {
        assert!(*bytes == kept(&format!("dies/{name}")), "{name}");
    }
    // It is part of every clone, so it stays small.
    let size: usize = made.iter().map(|(_, bytes)| bytes.len()).sum();
    assert!(size < 2_000_000, "{size}");
}

/// The demo's wafer, analysed into a folder `out`.
fn demo_wafer() -> Sandbox {
    let sandbox = Sandbox::new();
    let recipe = project("data-demo/wafer/recipe.toml");
    let run = run_recipe(&sandbox, &format!("\"{}\"", recipe.display()), "out");
    assert_eq!(run.status, 1, "{}", run.stderr);
    assert_fits_80_columns(&run.stdout);
    sandbox
}

#[test]
fn dies_are_counted_and_retests_listed() {
    let sandbox = demo_wafer();
    let summary = summary(&sandbox, "out");
    // 65 dies and a retest: four on the rim, one file broken, one missing, one outlier.
    for (name, want) in [
        ("rows", 66),
        ("superseded", 1),
        ("edge_excluded", 4),
        ("incomplete", 1),
        ("error", 1),
        ("tested", 59),
        ("outliers", 1),
    ] {
        assert_eq!(summary["counts"][name], want, "{name}");
    }
    assert_eq!(summary["retests"][0]["measurements"][0]["status"], "fail");
    assert_eq!(summary["retests"][0]["measurements"][1]["counted"], true);
    let rows = rows(&sandbox, "out");
    assert_eq!(rows.len(), 66);
    let last = &rows[65];
    assert_eq!(last["touchdown_note"], "cleaned the probe");
    assert_eq!((last["measurement"].as_str(), last["counted"].as_str()), ("2", "true"));
    assert_eq!(rows[12]["counted"], "false");
    // What could not be measured is part of no yield.
    for row in rows.iter().filter(|row| ["error", "incomplete"].contains(&&*row["status"])) {
        assert_eq!(row["counted"], "false", "{row:?}");
    }
    assert_eq!(rows.iter().filter(|row| row["counted"] == "true").count(), 59);
}

/// A correction of each die brings every rejection above its limit; imbalance and phase error of the
/// couplers themselves stay as they are.
#[test]
fn changes_are_judged_by_all_limits() {
    let sandbox = demo_wafer();
    let summary = summary(&sandbox, "out");
    let answer = |name: &str, judged: &str| {
        let all = summary["what_if"].as_array().unwrap();
        let own = all.iter().find(|answer| answer["name"] == name).unwrap();
        usize::try_from(own[judged]["passed"].as_u64().unwrap()).unwrap()
    };
    let rows = rows(&sandbox, "out");
    let counted: Vec<&Row> = rows.iter().filter(|row| row["counted"] == "true").collect();
    let holds = |row: &&&Row| {
        cell(row, "worst_amplitude_imbalance_db").abs() <= 0.6
            && cell(row, "worst_phase_error_deg").abs() <= 2.5
    };
    let holding = counted.iter().filter(holds).count();
    assert_eq!(answer("trim_per_die", "yield_by_rejection_alone"), counted.len());
    assert_eq!(answer("trim_per_die", "yield_by_all_limits"), holding);
    assert!(holding < counted.len());
    let passing = counted.iter().filter(|row| row["status"] == "pass").count();
    assert_eq!(answer("as_measured", "yield_by_all_limits"), passing);
}

/// The least-squares fit of level, x, y and squared radius (in radii of the wafer) to the mean
/// imbalance of dies that are not outliers: the radial coefficient and its standard error, dB.
fn radial_fit(rows: &[Row]) -> (f64, f64) {
    let counted: Vec<&Row> = rows
        .iter()
        .filter(|row| ["pass", "fail"].contains(&&*row["status"]) && row["outlier"] == "false")
        .filter(|row| row["counted"] == "true" && row["edge_excluded"] == "false")
        .collect();
    let terms = |row: &Row| {
        let (x, y) = (cell(row, "x_mm") / 75.0, cell(row, "y_mm") / 75.0);
        [1.0, x, y, x * x + y * y]
    };
    let design = DMatrix::from_fn(counted.len(), 4, |at, term| terms(counted[at])[term]);
    let values = DVector::from_iterator(
        counted.len(),
        counted.iter().map(|row| cell(row, "mean_amplitude_imbalance_db")),
    );
    let inverse = design.tr_mul(&design).try_inverse().unwrap();
    let fit = &inverse * design.tr_mul(&values);
    let scatter = (values - &design * &fit).norm_squared() / (design.nrows() - 4) as f64;
    (fit[3], (scatter * inverse[(3, 3)]).sqrt())
}

/// The coupling falls by 0.42 dB towards the rim (`component/spread_coupler.rs`), and with voltage coupling
/// C the power that is missing at one output appears at the other: the imbalance falls by 0.42 dB
/// times 1 + C^2 / (1 - C^2), with C of -2.85 dB. The dies' own deviations leave it uncertain.
#[test]
fn the_radial_trend_is_that_of_the_process() {
    let sandbox = demo_wafer();
    let summary = summary(&sandbox, "out");
    let trend = &summary["wafers"][0]["space"]["amplitude"]["trend"];
    let radial_db = number(trend, "/radial_db");
    let (want_db, error_db) = radial_fit(&rows(&sandbox, "out"));
    assert!((radial_db - want_db).abs() < 1e-12, "{radial_db} {want_db}");
    let power = 10_f64.powf(-0.285);
    let truth_db = -0.42 * (1.0 + power / (1.0 - power));
    assert!((radial_db - truth_db).abs() < error_db, "{radial_db} {truth_db} {error_db}");
}

#[test]
fn a_splitter_is_the_same_on_a_wafer_and_alone() {
    let sandbox = demo_wafer();
    let rows = rows(&sandbox, "out");
    let tested = rows.iter().filter(|row| row["status"] == "pass" || row["status"] == "fail");
    for row in tested.step_by(9) {
        let file = project("data-demo/wafer").join(&row["hybrid"]);
        let alone = sandbox.json(&splitter(file.to_str().unwrap()));
        assert_like_alone(
            row,
            &alone["summary"],
            &[
                ("worst_image_rejection_db", "worst_image_rejection_db"),
                ("worst_at_lo_hz", "worst_image_rejection_at_hz"),
                ("worst_phase_error_deg", "worst_phase_error_deg"),
                ("worst_amplitude_imbalance_db", "worst_amplitude_imbalance_db"),
            ],
        );
    }
}

/// Two blocks differ between dies: the hybrid, and for some dies a balun with its pads on the other
/// side. What is ideal is asked for three blocks.
fn sandbox_with_receivers(require: &str) -> Sandbox {
    let sandbox = sandbox_with_dies(20, "--no-faults");
    sandbox.add("data-demo");
    let list = sandbox.read("demo/dies.csv");
    let mut changed = String::new();
    for (at, line) in list.lines().enumerate() {
        let balun = match at {
            0 => "balun_q",
            at if at % 2 == 0 => "../balun.s3p",
            _ => "../balun_q.s3p",
        };
        writeln!(changed, "{line},{balun}").unwrap();
    }
    sandbox.write("demo/dies.csv", &changed);
    let recipe = format!(
        r#"manifest = "dies.csv"
{require}
[what_if]
ideal = ["hybrid", "baluns", "divider"]
[analysis]
receiver = "../receiver.toml"
"#
    );
    sandbox.write("demo/receiver-recipe.toml", recipe);
    sandbox
}

/// The report on the receiver with a die's files written into its description.
fn receiver_alone(sandbox: &Sandbox, row: &Row) -> Value {
    let hybrid = format!("\"demo/{}\"", row["hybrid"]);
    let balun = format!("\"{}\"", row["balun_q"].trim_start_matches("../"));
    let files = [("\"coupler.s4p\"", &*hybrid), ("\"balun_q.s3p\"", &*balun)];
    sandbox.write("alone.toml", replaced(&sandbox.read("receiver.toml"), &files));
    sandbox.json("downconverter alone.toml")
}

/// What is solved once for all dies changes nothing.
#[test]
fn a_receiver_is_the_same_on_a_wafer_and_alone() {
    for (require, has_power) in [("", true), ("[require]\nimage_rejection_db = 30\n", false)] {
        let sandbox = sandbox_with_receivers(require);
        run_recipe(&sandbox, "demo/receiver-recipe.toml", "out");
        for row in rows(&sandbox, "out").iter().step_by(5) {
            let alone = receiver_alone(&sandbox, row);
            assert_like_alone(
                row,
                &alone["summary"],
                &[
                    ("worst_image_rejection_db", "worst_image_rejection_db"),
                    ("worst_at_lo_hz", "worst_at_lo_hz"),
                    ("worst_at_if_hz", "worst_at_if_hz"),
                    ("worst_phase_error_deg", "worst_quadrature_error_deg"),
                    ("worst_amplitude_imbalance_db", "worst_amplitude_imbalance_db"),
                ],
            );
            if has_power {
                let power = [("min_lo_power_dbm", "min_lo_power_dbm")];
                assert_like_alone(row, &alone["summary"], &power);
            } else {
                assert_eq!(row["min_lo_power_dbm"], "");
            }
        }
    }
}

/// Dies in a receiver with switched mixers: judged by its levels, which are those of the receiver alone.
#[test]
fn levels_of_switched_mixers_are_judged_die_by_die() {
    let limits = "[require]\nconversion_loss_db_max = 20\nnoise_figure_db_max = 20\n\
                  lo_at_rf_port_dbm_max = -50.0\n";
    let sandbox = sandbox_with_receivers(limits);
    let switches = replaced(
        &sandbox.read("receiver-switches.toml"),
        &[
            ("lo_ghz = { from = 27.0, to = 31.0, points = 41 }", "lo_ghz = [28.0, 30.0]"),
            ("if_ghz = [0.5, 1.0, 1.5]", "if_ghz = [0.5, 1.0]"),
            ("[mixing]", "[mixing]\nsidebands = 6"),
        ],
    );
    sandbox.write("receiver.toml", switches);
    run_recipe(&sandbox, "demo/receiver-recipe.toml", "loose");
    let mut losses_db: Vec<f64> =
        rows(&sandbox, "loose").iter().map(|row| cell(row, "max_conversion_loss_db")).collect();
    losses_db.sort_by(f64::total_cmp);
    // Between two dies, so that about half of them pass.
    let limit_db = 0.5 * (losses_db[9] + losses_db[10]);
    let recipe = replaced(
        &sandbox.read("demo/receiver-recipe.toml"),
        &[("conversion_loss_db_max = 20", &format!("conversion_loss_db_max = {limit_db}"))],
    );
    sandbox.write("demo/receiver-recipe.toml", recipe);
    let run = run_recipe(&sandbox, "demo/receiver-recipe.toml", "out");
    let rows = rows(&sandbox, "out");
    for row in &rows {
        let kept = [
            ("max_conversion_loss_db", limit_db),
            ("max_noise_figure_db", 20.0),
            ("max_lo_at_rf_port_dbm", -50.0),
        ]
        .iter()
        .all(|(column, limit)| cell(row, column) <= *limit);
        assert_eq!(row["status"], if kept { "pass" } else { "fail" }, "{row:?}");
    }
    assert!(rows.iter().any(|row| row["status"] == "pass"), "{}", run.stdout);
    assert!(rows.iter().any(|row| row["status"] == "fail"), "{}", run.stdout);
    for row in rows.iter().step_by(9) {
        let alone = receiver_alone(&sandbox, row);
        for (column, list, pointer) in [
            ("max_conversion_loss_db", "points", "/conversion_loss_db/both"),
            ("max_noise_figure_db", "points", "/noise_figure_db"),
            ("max_lo_at_rf_port_dbm", "lo", "/lo_at_rf_port_dbm"),
        ] {
            let values = alone[list].as_array().unwrap().iter().map(|own| number(own, pointer));
            let (here, there) = (cell(row, column), values.fold(f64::NEG_INFINITY, f64::max));
            assert!((here - there).abs() < 1e-9, "{column} {here} {there}");
        }
    }
}

/// Ideal blocks of a die: as the budget of the receiver alone has them, worst over the plan.
#[test]
fn an_ideal_block_is_the_same_on_a_wafer_and_alone() {
    let sandbox = sandbox_with_receivers("");
    let first: Vec<String> =
        sandbox.read("demo/dies.csv").lines().take(2).map(str::to_owned).collect();
    sandbox.write("demo/dies.csv", first.join("\n") + "\n");
    run_recipe(&sandbox, "demo/receiver-recipe.toml", "out");
    let alone = receiver_alone(&sandbox, &rows(&sandbox, "out")[0]);
    let answers = summary(&sandbox, "out")["what_if"].as_array().unwrap().clone();
    for block in ["hybrid", "baluns", "divider"] {
        let row = alone["budget"].as_array().unwrap().iter().find(|row| row["block"] == block);
        let alone_db = number(row.unwrap(), "/worst_image_rejection_if_ideal_db");
        let name = format!("ideal_{block}");
        let answer = answers.iter().find(|answer| answer["name"] == *name).unwrap();
        let here_db = number(answer, "/worst_image_rejection_db/min");
        assert!((here_db - alone_db).abs() < 1e-9, "{block} {here_db} {alone_db}");
    }
}

const SOURCE: &str = r#"
[[source]]
transmission = { magnitude_db = 0.02, phase_deg = 0.2 }
[[source]]
over_frequency = "independent"
transmission = { magnitude_db = 0.01, phase_deg = 0.1 }
"#;

/// Thirty dies judged with an uncertainty against limits in the middle of them, into `out`.
fn judged_dies() -> Sandbox {
    let sandbox = sandbox_with_dies(30, "--no-faults");
    sandbox.write("demo/u.toml", SOURCE);
    let recipe = sandbox.read("demo/recipe.toml");
    let limits = "[require]\nimage_rejection_db = 33.0\namplitude_imbalance_db = 0.35\n";
    let recipe =
        format!("uncertainty = \"u.toml\"\n{}{limits}", recipe.split("[require]").next().unwrap());
    sandbox.write("demo/judged.toml", recipe);
    let run = run_recipe(&sandbox, "demo/judged.toml", "out");
    assert_eq!(run.status, 1, "{}", run.stderr);
    assert!(run.stdout.contains("are undecided"), "{}", run.stdout);
    sandbox
}

#[test]
fn decisions_are_counted() {
    let sandbox = judged_dies();
    let rows = rows(&sandbox, "out");
    let judged: Vec<&Row> = rows.iter().filter(|row| row["edge_excluded"] == "false").collect();
    let mut seen: HashMap<&str, u64> = HashMap::new();
    for row in &judged {
        *seen.entry(&row["decision"]).or_insert(0) += 1;
    }
    assert!(seen["pass"] > 0 && seen["undecided"] > 2 && seen["fail"] > 0, "{seen:?}");
    let known = &summary(&sandbox, "out")["counts"]["within_uncertainty"];
    assert_eq!(known["undecided"].as_u64().unwrap(), seen["undecided"]);
    let expected: f64 = judged.iter().map(|row| cell(row, "probability")).sum();
    assert!((number(known, "/expected_pass") - expected).abs() < 1e-9);
}

/// A die's probability of conformity is that of its files alone, of all limits over the whole band: both
/// come from thousands of draws, which know a probability to 0.01. The decision is the same.
#[test]
fn dies_are_decided_as_their_files_are_alone() {
    let sandbox = judged_dies();
    sandbox.write("trials.toml", format!("trials = 4000\n{SOURCE}"));
    for row in rows(&sandbox, "out").iter().step_by(3) {
        let file = format!("demo/{}", row["hybrid"]);
        let alone = sandbox.json(&format!(
            "{} --uncertainty trials.toml --require-image-rejection-db 33 \
             --require-amplitude-imbalance-db 0.35",
            splitter(&file)
        ));
        let want = number(&alone, "/uncertainty/probability");
        let here = cell(row, "probability");
        assert!((here - want).abs() < 0.03, "{file} {here} {want}");
        assert_eq!(alone["verdict"]["decision"], *row["decision"], "{file}");
    }
}

/// The same of a receiver, with noise that errs independently over frequency.
#[test]
fn a_receiver_is_decided_on_a_wafer_as_alone() {
    let sandbox = sandbox_with_dies(2, "--no-faults");
    sandbox.add("data-demo");
    let description = sandbox.read("uncertainty.toml");
    sandbox.write(
        "demo/judged.toml",
        r#"
manifest = "dies.csv"
uncertainty = "../uncertainty.toml"
analysis = { receiver = "../receiver.toml" }
require = { image_rejection_db = 31 }
"#,
    );
    run_recipe(&sandbox, "demo/judged.toml", "out");
    let row = rows(&sandbox, "out").swap_remove(0);
    // The die's own file in the place of the demo's.
    let file = ("\"coupler.s4p\"", &*format!("\"demo/{}\"", row["hybrid"]));
    let limit = ("image_rejection_db = 25.0", "image_rejection_db = 31.0");
    sandbox.write("alone.toml", replaced(&sandbox.read("receiver.toml"), &[file, limit]));
    let trials = ("seed = 1", "trials = 4000");
    sandbox.write("alone-u.toml", replaced(&description, &[file, trials]));
    let alone = sandbox.json("downconverter alone.toml --uncertainty alone-u.toml");
    let want = number(&alone, "/uncertainty/probability");
    let here = cell(&row, "probability");
    assert!((0.1..0.9).contains(&want), "{want}");
    assert!((here - want).abs() < 0.03, "{here} {want}");
}

#[test]
fn a_wrong_uncertainty_is_refused() {
    let sandbox = judged_dies();
    sandbox.write("demo/u.toml", "[[source]]\nrepeats = [\"a.s4p\", \"b.s4p\"]\n");
    sandbox.refused("wafer demo/judged.toml --out no");
    sandbox.write("demo/u.toml", "[[source]]\nfiles = [\"a.s4p\"]\nport = { phase_deg = 1 }\n");
    sandbox.refuses("wafer demo/judged.toml --out no", "u.toml:2:10");
}

#[test]
fn odd_names_and_formulas_come_out_harmless() {
    let sandbox = sandbox_with_dies(6, "--no-faults");
    let die = contents(&sandbox, "demo/dies").swap_remove(0).1;
    sandbox.write("messwerte Ω/die files/kälte 1.s4p", die);
    let list = r#"lot,wafer,die_x,die_y,hybrid,note,=cmd
=2+3,W/../1,0,0,die files/kälte 1.s4p,@SUM(A1),x
Los ä,W 2,-1,0,die files/kälte 1.s4p,"=""a""",
"#;
    sandbox.write("messwerte Ω/dies.csv", list);
    sandbox.write("messwerte Ω/rezept.toml", RECIPE);
    run_recipe(&sandbox, "\"messwerte Ω/rezept.toml\"", "aus gabe");
    let table = sandbox.read("aus gabe/dies.csv");
    for harmless in ["'=2+3", "'@SUM(A1)", "'=cmd", "\"'=\"\"a\"\"\""] {
        assert!(table.contains(harmless), "{table}");
    }
    let names = sandbox.names("aus gabe");
    for name in ["wafer-map-Los ä-W 2.png", "wafer-map-_2_3-W_.._1.png"] {
        assert!(names.iter().any(|found| found == name), "{names:?}");
    }
}

#[test]
fn a_wrong_recipe_or_list_is_refused() {
    let sandbox = sandbox_with_dies(6, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    let header = list.lines().next().unwrap().to_owned() + "\n";
    for (recipe, list, mention) in [
        (RECIPE.replace("[2, 3]", "[2, 9]"), list.clone(), "port 9"),
        (RECIPE.replace("\"hybrid\"", "\"coupler\""), list.clone(), "blocks are coupler"),
        (RECIPE.to_owned(), list.replacen("K1,W01,-1", "K1,W01,one", 1), "dies.csv:3:8"),
        (RECIPE.to_owned(), header, "no die"),
        (RECIPE.replace("[require]", "[requires]"), list.clone(), "unknown key 'requires'"),
    ] {
        sandbox.write("demo/dies.csv", &list);
        sandbox.write("demo/own.toml", &recipe);
        let run = sandbox.run("wafer demo/own.toml --out out");
        assert_eq!(run.status, 2, "{mention}: {}", run.stderr);
        let printed = run.stderr + &run.stdout;
        assert!(unfolded(&printed).contains(mention), "{mention}: {printed}");
        assert!(printed.lines().all(|line| line.chars().count() <= 90), "{printed}");
        let _ = std::fs::remove_dir_all(sandbox.path("out"));
    }
}

/// A lot of good dies with one that is by far the worst at (3, 2): its colour is the darkest.
fn sandbox_with_one_bad_die() -> Sandbox {
    let sandbox = sandbox_with_dies(65, "");
    let list = sandbox.read("demo/dies.csv");
    let file = |line: usize| list.lines().nth(line).unwrap().split(',').nth(4).unwrap();
    let (outlier, good) = (file(32), file(34));
    let mut pattern = "lot,wafer,die_x,die_y,hybrid\n".to_owned();
    for (x, y) in (-2..=3).flat_map(|x| (-2..=2).map(move |y| (x, y))) {
        let file = if (x, y) == (3, 2) { outlier } else { good };
        writeln!(pattern, "L,W,{x},{y},{file}").unwrap();
    }
    sandbox.write("demo/dies.csv", &pattern);
    sandbox
}

/// The colour of the worst die must be where axes and notch put it: a die is 15 mm by 14 mm.
#[test]
fn the_map_is_the_right_way_up() {
    let sandbox = sandbox_with_one_bad_die();
    for (x_axis, y_axis, notch, want_mm) in [
        ("right", "up", "down", (45.0, 28.0)),
        ("left", "up", "left", (-45.0, 28.0)),
        ("right", "down", "up", (45.0, -28.0)),
        ("left", "down", "right", (-45.0, -28.0)),
        ("up", "right", "down", (28.0, 45.0)),
        ("up", "left", "up", (-28.0, 45.0)),
        ("down", "right", "left", (28.0, -45.0)),
        ("down", "left", "right", (-28.0, -45.0)),
    ] {
        let axes = format!(
            "centre_die = [0, 0]\nx_axis = \"{x_axis}\"\ny_axis = \"{y_axis}\"\nnotch = \"{notch}\""
        );
        sandbox.write("demo/own.toml", replaced(RECIPE, &[("centre_die = [0, 0]", &axes)]));
        let run = sandbox.run("wafer demo/own.toml --out out --overwrite --pictures svg");
        assert!(run.status < 2, "{}", run.stderr);
        let map = Map::read(&sandbox.read("out/wafer-map-L-W.svg"));
        let (x_mm, y_mm) = map.darkest_mm();
        // Corners of cells are whole pixels of some 0.2 mm.
        assert!((x_mm - want_mm.0).abs() < 0.3, "{x_mm} {want_mm:?}");
        assert!((y_mm - want_mm.1).abs() < 0.3, "{y_mm} {want_mm:?}");
    }
}

type Place = (f64, f64);

/// The large map of a wafer as its picture shows it.
struct Map {
    /// The middle of the darkest cell, pixels.
    darkest: Place,
    /// The corners of the box around the wafer's edge, pixels.
    edge: (Place, Place),
}

impl Map {
    fn read(svg: &str) -> Self {
        let number = |element: &str, name: &str| -> f64 {
            let (_, rest) = element.split_once(&format!(" {name}=\"")).unwrap();
            rest.split_once('"').unwrap().0.parse::<f64>().unwrap() / 10.0
        };
        let elements = || svg.split('<');
        // The first that has the darkest colour of the scale, and the first line of many points.
        let cell = elements().find(|e| e.starts_with("rect") && e.contains("#081D58")).unwrap();
        let darkest = (
            number(cell, "x") + 0.5 * number(cell, "width"),
            number(cell, "y") + 0.5 * number(cell, "height"),
        );
        let is_rim = |e: &&str| e.starts_with("polyline") && e.matches(',').count() > 300;
        let rim = elements().find(is_rim).unwrap().split_once("points=\"").unwrap().1;
        let mut edge = ((f64::MAX, f64::MAX), (0.0_f64, 0.0_f64));
        for pair in rim.split_once('"').unwrap().0.split_whitespace() {
            let (x, y) = pair.split_once(',').unwrap();
            let (x, y) = (x.parse::<f64>().unwrap() / 10.0, y.parse::<f64>().unwrap() / 10.0);
            edge.0 = (edge.0.0.min(x), edge.0.1.min(y));
            edge.1 = (edge.1.0.max(x), edge.1.1.max(y));
        }
        Self { darkest, edge }
    }

    /// The middle of the darkest colour from the wafer's centre, up and to the right.
    fn darkest_mm(&self) -> Place {
        let ((left, top), (right, bottom)) = self.edge;
        let scale = 150.0 / (right - left);
        (
            (self.darkest.0 - 0.5 * (left + right)) * scale,
            (0.5 * (top + bottom) - self.darkest.1) * scale,
        )
    }
}
