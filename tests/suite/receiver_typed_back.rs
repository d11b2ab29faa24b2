//! What a report on a receiver gives to be typed into its description comes out with the sign with
//! which it goes in. Corrections are in `receiver_correction`.

use crate::harness::{Sandbox, number};
use crate::receiver_cases::{demo, pair, solve, worst_db};
use fourphase::downconverter::SweptPorts;
use num_complex::Complex64;
use std::fmt::Write as _;

/// Channel Q's mixers with this gain.
fn with_gain(text: &str, gain: Complex64) -> String {
    ["q_plus", "q_minus"].iter().fold(text.to_owned(), |text, name| {
        let name = format!("name = \"{name}\"\n");
        text.replace(&name, &format!("{name}gain = {}\n", pair(gain)))
    })
}

/// The gain of Q's mixers that tones tell explains the tones, for either wanted sideband.
#[test]
fn a_gain_told_by_tones_explains_them() {
    let truth = Complex64::from_polar(1.03, -0.025);
    for sideband in ["upper", "lower"] {
        let sandbox = Sandbox::with_demo();
        let text = demo()
            .replace("sideband = \"upper\"", &format!("sideband = \"{sideband}\""))
            .replace("{ from = 27.0, to = 31.0, points = 41 }", "[27.5, 28, 29, 30, 31]");
        sandbox.write("truth.toml", with_gain(&text, truth));
        let mut tones = "lo_ghz,if_ghz,wanted_dbm,image_dbm,u_wanted_db,u_image_db\n".to_owned();
        for point in sandbox.json("downconverter truth.toml")["points"].as_array().unwrap() {
            let (lo, intermediate) = (number(point, "/lo_hz") / 1e9, number(point, "/if_hz") / 1e9);
            let image = -20.0 - number(point, "/image_rejection_db");
            let _ = writeln!(tones, "{lo},{intermediate},-20,{image},0.06,0.08");
        }
        sandbox.write("tones.csv", tones);
        sandbox.write("under-test.toml", &text);
        let report = sandbox.json("downconverter under-test.toml --measured tones.csv");
        let mixers = &report["measured"]["mixer_error"];
        let gain = Complex64::new(number(mixers, "/gain/0"), number(mixers, "/gain/1"));
        assert!((gain - truth).norm() < 1e-6, "{sideband}: {gain}");
        sandbox.write("typed.toml", with_gain(&text, gain));
        let report = sandbox.json("downconverter typed.toml --measured tones.csv");
        let points = report["measured"]["points"].as_array().unwrap();
        assert_eq!(report["measured"]["agreeing"].as_u64().unwrap(), points.len() as u64);
        assert!(points.iter().all(|point| number(point, "/normalised_error").abs() < 1e-3));
    }
}

/// The loads at the worst angle of a reflection sweep give its worst rejection, whatever the
/// receiver's reference impedance.
#[test]
fn loads_of_the_worst_angle_give_the_worst_rejection() {
    for text in [demo(), format!("reference_ohm = 60\n{}", demo())] {
        let (_, result) = solve(&text);
        for sweep in &result.load_reflection_sweeps {
            let count = if sweep.ports == SweptPorts::Mixers { 4 } else { 1 };
            assert_eq!(sweep.worst_loads_ohm.len(), count);
            let typed = sweep.worst_loads_ohm.iter().fold(text.clone(), |text, (at, ohm)| {
                let (before, after) = text.split_once(&format!("at = \"{at}\"\n")).unwrap();
                let (_, after) = after.split_once('\n').unwrap();
                format!("{before}at = \"{at}\"\nohm = {}\n{after}", pair(*ohm))
            });
            let (_, typed) = solve(&typed);
            let (got, want) = (worst_db(&typed), sweep.worst_db);
            assert!((got - want).abs() < 1e-9, "{:?}: {got} {want}", sweep.ports);
        }
    }
}

/// The roles that a budget tells, typed as kinds and nominal phases, change nothing.
#[test]
fn roles_typed_back_change_nothing() {
    let (_, result) = solve(&demo());
    let budget = result.budget.as_ref().unwrap();
    let typed = budget.taken.iter().fold(demo(), |text, taken| {
        let Some(nominal_deg) = taken.nominal_deg.get(1) else { return text };
        let name = format!("name = \"{}\"\n", taken.name);
        text.replace(&name, &format!("{name}nominal_deg = {nominal_deg:?}\n"))
    });
    assert_ne!(typed, demo());
    let (_, again) = solve(&typed);
    assert_eq!(again.budget.as_ref(), Some(budget));
    assert!((worst_db(&again) - worst_db(&result)).abs() < 1e-12);
}
