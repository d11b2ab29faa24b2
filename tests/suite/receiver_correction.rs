//! Continuous and quantised corrections of Q against an exhaustive search and a limit case.

use crate::harness::Sandbox;
use crate::receiver_cases::{Simple, demo, solve, solve_in};
use fourphase::downconverter::{
    CorrectionChannels, CorrectionPoint, CorrectionSetting, CorrectionSteps, DownconverterResult,
    IqCorrection, worst_rejection_db,
};
use num_complex::Complex64;

/// A sweep whose image error wanders, with unequal gains of the sidebands.
fn points() -> Vec<CorrectionPoint> {
    (0..41)
        .map(|at| {
            let x = f64::from(at) / 40.0;
            let error = Complex64::new(0.03 + 0.07 * x, 0.05 - 0.06 * x * x).exp();
            CorrectionPoint {
                wanted_i: Complex64::from(1.0 + 0.1 * x),
                wanted_q: error.conj(),
                image_i: Complex64::ONE,
                image_q: -error,
            }
        })
        .collect()
}

#[test]
fn no_step_anywhere_beats_the_one_found() {
    let points = points();
    let continuous = IqCorrection::best(&points);
    assert!(continuous.worst_db > 25.0, "{continuous:?}");
    for (amplitude_db, phase_deg) in
        [(0.5, 0.1), (0.4, 0.1), (0.1, 0.1), (1.0, 0.01), (0.1, 2.0), (3.0, 7.0)]
    {
        let steps = CorrectionSteps::new(amplitude_db, phase_deg).unwrap();
        let found = IqCorrection::best_quantised(&points, steps);
        let mut best = f64::NEG_INFINITY;
        for gain in -30..=30 {
            for phase in -1000..=1000 {
                let trim = IqCorrection {
                    amplitude_db: f64::from(gain) * amplitude_db,
                    phase_deg: f64::from(phase) * phase_deg,
                    worst_db: 0.0,
                };
                if trim.phase_deg.abs() <= 20.0 {
                    best = best.max(worst_rejection_db(&points, trim.weight()));
                }
            }
        }
        assert!(found.worst_db >= best - 1e-12, "{steps:?}: {found:?}, {best}");
        assert!(found.worst_db <= continuous.worst_db + 1e-9);
    }
}

/// The number of such steps is beyond 2^53, where a number plus 1 is the same number.
#[test]
fn steps_below_rounding_end() {
    let error = Complex64::new(0.06, 0.02).exp();
    let point = CorrectionPoint {
        wanted_i: Complex64::ONE,
        wanted_q: error,
        image_i: Complex64::ONE,
        image_q: -error,
    };
    for step in [1e-17, 1e-30, 1e-300] {
        let steps = CorrectionSteps::new(step, step).unwrap();
        let found = IqCorrection::best_quantised(&[point], steps);
        assert!(found.worst_db > 25.0, "{step}: {found:?}");
    }
}

#[test]
fn a_correction_that_cancels_the_signal_is_not_taken() {
    // I and Q alike in both sidebands: what cancels the image cancels all.
    let alike = [CorrectionPoint {
        wanted_i: Complex64::ONE,
        wanted_q: Complex64::I,
        image_i: Complex64::ONE,
        image_q: Complex64::I,
    }];
    let trim = IqCorrection::best(&alike);
    assert!(trim.worst_db.abs() < 1e-9 && trim.weight() == Complex64::ONE, "{trim:?}");
}

/// The demo with a correction, typed as a report gives it.
fn with_correction(acts_on: &str, setting: Option<&CorrectionSetting>) -> String {
    let typed = setting.map_or_else(String::new, |own| {
        format!("amplitude_db = {:?}\nphase_deg = {:?}\n", own.amplitude_db, own.phase_deg)
    });
    let header = format!("[correction]\nacts_on = \"{acts_on}\"\n{typed}");
    demo().replace("[correction]\n", &header)
}

/// Rejection, amplitude imbalance and quadrature error, each the worst over the plan.
fn worst(result: &DownconverterResult) -> [f64; 3] {
    let summary = &result.summary;
    [
        summary.worst.balance.image_rejection_db,
        summary.worst_amplitude_imbalance.balance.wanted().amplitude_db,
        summary.worst_quadrature_error.balance.wanted().phase_deg,
    ]
}

/// A setting typed into the description gives what the report promised, in every requirement, and the
/// advice does not change by being followed: in every domain, for either wanted sideband.
#[test]
fn a_correction_typed_back_gives_what_was_promised() {
    for (acts_on, sideband) in [
        ("if_phase", "upper"),
        ("lo_phase", "upper"),
        ("lo_phase", "lower"),
        ("digital", "upper"),
        ("digital", "lower"),
    ] {
        let adapted = |text: String| {
            text.replace("sideband = \"upper\"", &format!("sideband = \"{sideband}\""))
                .replace("from = 27.0", "from = 27.5")
        };
        let what = format!("{acts_on} {sideband}");
        let (_, before) = solve(&adapted(with_correction(acts_on, None)));
        let plan = &before.correction;
        for advice in [&plan.single, &plan.single_quantised] {
            let (_, after) = solve(&adapted(with_correction(acts_on, Some(advice))));
            let promised = [
                advice.worst_db,
                advice.worst_amplitude_imbalance_db,
                advice.worst_quadrature_error_deg,
            ];
            for (got, want) in worst(&after).into_iter().zip(promised) {
                assert!((got - want).abs() < 1e-9, "{what}: {got} {want}");
            }
            assert!((after.correction.single.worst_db - plan.single.worst_db).abs() < 1e-9);
            assert!((after.correction.present_db - advice.worst_db).abs() < 1e-9, "{what}");
            let again = &after.correction.single_quantised;
            assert_eq!(again, &plan.single_quantised, "{what}: quantised on the same grid");
        }
    }
}

/// The LO's phase turned where it counts twice: half the angle, on a grid of its own.
#[test]
fn a_correction_of_the_lo_counts_as_often_as_its_phase() {
    let hybrid =
        r#"{ kind = "quadrature_hybrid", imbalance_db = 0.4, phase_error_deg = 3, loss_db = 0.3 }"#;
    let text = |correction: &str| {
        let simple = Simple { hybrid, ..Simple::default() }.text();
        // The phase of the hybrid counts three times, which keeps the quadrature.
        let plan = "lo_multiplication_after_split = 3\nlo_multiplication = 3\nwanted_sideband";
        let simple = simple.replacen("wanted_sideband", plan, 1);
        format!("{simple}\n[correction]\nacts_on = \"lo_phase\"\n{correction}")
    };
    let (_, before) = solve_in(&Sandbox::new(), &text(""));
    let advice = before.correction.single;
    // The error is the same at all points and one of the LO path: nothing of it is left.
    assert!(advice.phase_deg.abs() < 3.1 && advice.phase_deg.abs() > 2.9, "{advice:?}");
    assert!(advice.worst_quadrature_error_deg.abs() < 1e-6, "{advice:?}");
    let typed =
        format!("amplitude_db = {:?}\nphase_deg = {:?}", advice.amplitude_db, advice.phase_deg);
    let (_, after) = solve_in(&Sandbox::new(), &text(&typed));
    assert!(worst(&after)[0] > 150.0 && worst(&after)[2].abs() < 1e-6, "{:?}", worst(&after));
}

/// A quadrature error of the LO path: a turn at IF doubles it in the wanted sideband, a turn of the LO
/// or real numbers on I and Q cancel it in both.
#[test]
fn only_a_turn_of_the_lo_or_real_numbers_serve_both_sidebands() {
    let hybrid = r#"{ kind = "quadrature_hybrid", phase_error_deg = 3, loss_db = 0.3 }"#;
    for (acts_on, left_deg) in [("if_phase", 6.0), ("lo_phase", 0.0), ("digital", 0.0)] {
        let simple = Simple { hybrid, ..Simple::default() }.text();
        let text = format!("{simple}\n[correction]\nacts_on = \"{acts_on}\"\n");
        let (_, result) = solve_in(&Sandbox::new(), &text);
        let single = result.correction.single;
        assert!(single.worst_db > 150.0, "{acts_on}: {single:?}");
        let got_deg = single.worst_quadrature_error_deg.abs();
        assert!((got_deg - left_deg).abs() < 1e-6, "{acts_on}: {got_deg}");
        assert!(single.worst_amplitude_imbalance_db.abs() < 1e-6, "{acts_on}: {single:?}");
    }
}

/// IF channels: one correction per LO does not hold what one per LO and channel holds.
#[test]
fn if_channels_are_counted() {
    let needed = |db: f64| {
        let text = demo()
            .replace("image_rejection_db = 25.0", &format!("image_rejection_db = {db:?}"))
            .replace("if_ghz = [0.5, 1.0, 1.5]", "if_ghz = { from = 0.5, to = 1.5, points = 11 }");
        match solve(&text).1.correction.channels.unwrap() {
            CorrectionChannels::Holds(channels) => {
                assert!(channels.iter().all(|channel| channel.worst_db >= db));
                channels.len()
            }
            CorrectionChannels::Impossible { .. } => usize::MAX,
        }
    };
    let counts = [25.0, 90.0, 100.0, 150.0].map(needed);
    assert_eq!((counts[0], counts[3]), (1, 11));
    assert!(counts[1] <= counts[2] && counts[2] > 1, "{counts:?}");
}

/// A correction of a die or of a wafer, typed into the receiver with that die's coupler, gives what
/// the answer on the wafer counted on, whatever correction the receiver had.
#[test]
fn corrections_of_dies_typed_back_give_what_was_promised() {
    let sandbox = Sandbox::with_demo();
    sandbox.write(
        "recipe.toml",
        "manifest = \"list.csv\"\n[analysis]\nreceiver = \"receiver.toml\"\n[require]\n\
         image_rejection_db = 25\n[what_if]\ncorrection = true\n",
    );
    sandbox.write("list.csv", "lot,wafer,die_x,die_y,hybrid\nL,W,0,0,coupler.s4p\n");
    for acts_on in ["if_phase", "lo_phase", "digital"] {
        let receiver = |amplitude_db: f64, phase_deg: f64| {
            with_correction(acts_on, None).replace("points = 41", "points = 5").replace(
                "amplitude_step_db",
                &format!(
                    "amplitude_db = {amplitude_db:?}\nphase_deg = {phase_deg:?}\namplitude_step_db"
                ),
            )
        };
        sandbox.write("receiver.toml", receiver(0.3, -1.5));
        let run = sandbox.run("wafer recipe.toml --out out --overwrite");
        assert!(run.status < 2, "{}", run.stderr);
        let csv = sandbox.read("out/corrections.csv");
        let typed = |line: &str| {
            let cells: Vec<&str> = line.split(',').collect();
            assert_eq!(cells[5], acts_on);
            let numbers = [6, 7].map(|at: usize| cells[at].parse::<f64>().unwrap());
            let (_, result) = solve_in(&sandbox, &receiver(numbers[0], numbers[1]));
            worst(&result)[0]
        };
        let summary: serde_json::Value =
            serde_json::from_str(&sandbox.read("out/summary.json")).unwrap();
        let promised = |name: &str| {
            let all = summary["what_if"].as_array().unwrap();
            let own = all.iter().find(|answer| answer["name"] == name).unwrap();
            own["worst_image_rejection_db"]["median"].as_f64().unwrap()
        };
        for (start, name) in [("L,W,,,,", "trim_per_wafer"), ("L,W,0,0,", "trim_per_die")] {
            let line = csv.lines().find(|line| line.starts_with(start)).unwrap();
            let (got, want) = (typed(line), promised(name));
            // Points are kept in single precision, rejections on a wafer to 0.01 dB.
            assert!((got - want).abs() < 0.02, "{acts_on} {name}: {got} {want}");
        }
        assert_eq!(summary["corrections"]["dies"].as_array().unwrap().len(), 1);
        // A limit beside the imbalance that the typed correction leaves decides the yield by all limits.
        let line = csv.lines().find(|line| line.starts_with("L,W,0,0,")).unwrap();
        let cells: Vec<&str> = line.split(',').collect();
        let numbers = [6, 7].map(|at: usize| cells[at].parse::<f64>().unwrap());
        let (_, result) = solve_in(&sandbox, &receiver(numbers[0], numbers[1]));
        let left = worst(&result).map(f64::abs);
        sandbox.write("receiver.toml", receiver(0.3, -1.5));
        for (amplitude, phase, passing) in [(1.02, 1.02, 1), (0.98, 1.02, 0), (1.02, 0.98, 0)] {
            let limits = format!(
                "amplitude_imbalance_db = {}\nquadrature_error_deg = {}\n[what_if]",
                amplitude * left[1],
                phase * left[2]
            );
            let recipe = sandbox.read("recipe.toml").replace("[what_if]", &limits);
            sandbox.write("limited.toml", recipe);
            sandbox.run("wafer limited.toml --out limited --overwrite");
            let summary: serde_json::Value =
                serde_json::from_str(&sandbox.read("limited/summary.json")).unwrap();
            let all = summary["what_if"].as_array().unwrap();
            let own = all.iter().find(|answer| answer["name"] == "trim_per_die").unwrap();
            assert_eq!(own["yield_by_all_limits"]["passed"], passing, "{acts_on} {amplitude}");
            assert_eq!(own["yield_by_rejection_alone"]["passed"], 1, "{acts_on}");
        }
    }
}
