//! Numbers at the ends of what numbers are: work that ends, messages that end, finite results.

use crate::hostile_targets::{Outcome, TARGETS, World};
use fourphase::measurement::ChannelErrorDistribution;
use fourphase::touchstone::{ReadOptions, parse};
use std::path::Path;
use std::time::{Duration, Instant};

/// An input through a target; it must end soon, and give an error or figures that are numbers.
fn ends(world: &World, target: &str, name: &str, text: &str) -> Outcome {
    let target = TARGETS.iter().find(|one| one.name == target).unwrap();
    let start = Instant::now();
    let outcome = (target.run)(world, name, text.as_bytes());
    let taken = start.elapsed();
    assert!(taken < Duration::from_secs(10), "{taken:.1?} for {text}");
    if let Outcome::Done { shown, .. } = &outcome {
        assert!(!shown.contains("NaN"), "{shown}");
    }
    outcome
}

#[test]
fn rebuilding_ends_whatever_the_numbers() {
    let world = World::new();
    let target = TARGETS.iter().find(|one| one.name == "rebuild TOML").unwrap();
    let text = |name: &str| {
        let seeds = (target.seeds)();
        let (_, bytes) = seeds.iter().find(|(known, _)| known == name).unwrap();
        String::from_utf8(bytes.clone()).unwrap()
    };
    let set = text("set.toml");
    for value in ["1e308", "5e-324", "1e160", "1e-160"] {
        for (key, kept) in
            [("reference_ohm", "50.0"), ("ohm", "47.0"), ("standard_uncertainty", "0.002")]
        {
            let changed = set.replacen(&format!("{key} = {kept}"), &format!("{key} = {value}"), 1);
            assert_ne!(changed, set);
            ends(&world, "rebuild TOML", "set.toml", &changed);
            let all = set.replace(&format!("{key} = {kept}"), &format!("{key} = {value}"));
            ends(&world, "rebuild TOML", "set.toml", &all);
        }
        let pair = text("p12.s2p");
        let number = pair.split_whitespace().nth(7).unwrap().to_owned();
        ends(&world, "rebuild TOML", "p12.s2p", &pair.replacen(&number, value, 1));
    }
}

#[test]
fn vanishing_signals_are_no_signals() {
    let world = World::new();
    for level in ["1e-320", "1e-300", "1e-101"] {
        let text = format!("# GHz S RI R 50\n1 0 0 .7 0 .7 0\n{level} 0 0 0 .1 0\n0 .7 .1 0 0 0\n");
        let outcome = ends(&world, "S-parameters", "x.s3p", &text);
        assert!(matches!(outcome, Outcome::Done { passes: false, .. }), "{outcome:?}");
    }
}

#[test]
fn intervals_of_any_channel_error_are_found_soon() {
    let start = Instant::now();
    for imbalance_db in [0.0, 0.2, -20.0, 100.0, 6000.0] {
        for (u_db, u_deg) in [(0.0, 0.0), (0.01, 0.05), (5.0, 40.0), (1000.0, 90.0), (1e6, 1e6)] {
            let error =
                ChannelErrorDistribution::independent((imbalance_db, 10.0), (u_db, u_deg)).unwrap();
            let (low, high) = error.interval_db(0.95);
            let median = error.rejection_quantile_db(0.5);
            assert!(
                low <= median + 1e-6 && median <= high + 1e-6,
                "{error:?}: {low} {median} {high}"
            );
        }
    }
    // Less than a tenth of a second each without optimisation; it was up to 23 seconds.
    assert!(start.elapsed() < Duration::from_secs(10), "{:?}", start.elapsed());
}

#[test]
fn messages_are_short_whatever_the_file() {
    let long = "x".repeat(2_000_000);
    for text in [
        format!("[{long}] 2.0\n"),
        format!("[Version] {long}\n"),
        format!("[Version] 2.0\n# {long}\n"),
        format!("[Version] 2.0\n# GHz S RI R 50\n[{long}]\n"),
        format!("[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] {long}\n"),
        format!(
            "[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 2\n[Mixed-Mode Order] {long} S1\n"
        ),
        format!("# GHz S RI R {long}\n"),
        format!("# GHz S RI R 50\n{long} 0 0\n"),
        format!("# GHz S RI R 50\n-{} 0 0\n", "1".repeat(200_000)),
    ] {
        let error =
            parse(text.as_bytes(), Path::new("x.s1p"), &ReadOptions::default()).unwrap_err();
        let (message, shown) = (error.to_string(), error.diagnostic().render(false));
        assert!(message.len() < 600 && shown.len() < 2000, "{}", &shown[..2000.min(shown.len())]);
    }
    let world = World::new();
    for (target, name, text) in [
        ("rebuild TOML", "set.toml", format!("{long} = 1\n")),
        ("rebuild TOML", "set.toml", format!("ports = \"{long}\"\n")),
        ("tones CSV", "tones.csv", format!("lo_ghz,{long}\n1,2\n")),
        ("tones CSV", "tones.csv", format!("lo_ghz,if_ghz,wanted_dbm,image_dbm\n{long},1,1,1\n")),
    ] {
        let Outcome::Refused(message) = ends(&world, target, name, &text) else { panic!("{name}") };
        assert!(message.len() < 10_000, "{}", message.len());
    }
}
