//! The error budget of a receiver: what it must not depend on, and receivers in which LO and RF share
//! a part.

use crate::harness::Sandbox;
use crate::receiver_cases::{Simple, demo, impedance, solve, solve_in, worst_db};
use fourphase::downconverter::{
    BudgetRow, Contributor, DownconverterResult, PartTaken, Receiver, ReceiverPath,
    analyse_receiver,
};
use fourphase::network::{Network, WaveDefinition, change_reference};
use fourphase::splitter::channel_error;
use num_complex::Complex64;

fn rows(result: &DownconverterResult) -> &[BudgetRow] {
    &result.budget.as_ref().unwrap().rows
}

/// The same rows with the same numbers, to 1e-9 of nepers, radians and decibels.
fn assert_same_budget(what: &str, one: &DownconverterResult, other: &DownconverterResult) {
    assert!((worst_db(one) - worst_db(other)).abs() < 1e-9, "{what}");
    assert_eq!(rows(one).len(), rows(other).len(), "{what}");
    for row in rows(one) {
        let same = rows(other).iter().find(|other| other.contributor == row.contributor);
        let same = same.unwrap_or_else(|| panic!("{what}: no row {}", row.contributor));
        let shown = format!("{what}: {row:?} {same:?}");
        assert!((row.error - same.error).norm() < 1e-9, "{shown}");
        for (own, other) in [
            (Some(row.alone_db), Some(same.alone_db)),
            (row.if_ideal_db, same.if_ideal_db),
            (row.plan_if_ideal_db, same.plan_if_ideal_db),
        ] {
            assert_eq!(own.is_some(), other.is_some(), "{shown}");
            // Rejections beyond 200 dB are rounding.
            let difference = own.unwrap_or(0.0).min(200.0) - other.unwrap_or(0.0).min(200.0);
            assert!(difference.abs() < 1e-9 * 10_f64.powf(own.unwrap_or(0.0).min(200.0) / 40.0));
        }
    }
    assert_eq!(
        one.fix_first().map(|row| &row.contributor),
        other.fix_first().map(|row| &row.contributor)
    );
}

/// Every network of a receiver in other references: those of `reference_ohm` for each port.
fn rewritten(receiver: &Receiver, reference_ohm: impl Fn(usize) -> Complex64) -> Receiver {
    let mut made = receiver.clone();
    for place in receiver.places() {
        for path in ReceiverPath::BOTH {
            let Some(network) = receiver.network_at(place, path) else { continue };
            let references = (0..network.ports()).map(&reference_ohm).collect();
            let changed: Network =
                change_reference(network, references, WaveDefinition::Kurokawa).unwrap();
            made.set_network_at(place, path, changed).unwrap();
        }
    }
    made
}

#[test]
fn a_budget_does_not_depend_on_the_references_of_the_files() {
    let (receiver, result) = solve(&demo());
    let all_75 = analyse_receiver(&rewritten(&receiver, |_| 75.0.into())).unwrap();
    assert_same_budget("75 ohm", &result, &all_75);
    #[expect(clippy::cast_precision_loss, reason = "a small port number")]
    let by_port = |port: usize| Complex64::new(35.0 + 12.0 * port as f64, 8.0 - 5.0 * port as f64);
    let complex = analyse_receiver(&rewritten(&receiver, by_port)).unwrap();
    assert_same_budget("complex references", &result, &complex);
}

#[test]
fn a_budget_does_not_depend_on_the_order_of_the_ports_in_a_join() {
    let (receiver, result) = solve(&demo());
    let rewritten = rewritten(&receiver, |_| 75.0.into());
    let turned: String = demo()
        .lines()
        .map(|line| match line.trim().trim_end_matches(',').trim_matches('"').split_once(" -- ") {
            Some((one, other)) if line.starts_with("    \"") => {
                format!("    \"{other} -- {one}\",\n")
            }
            _ => format!("{line}\n"),
        })
        .collect();
    assert_ne!(turned, format!("{}\n", demo().trim_end()));
    let (turned, straight) = solve(&turned);
    assert_same_budget("turned joins", &result, &straight);
    // The coupler alone in other references, as one file may be.
    let mut mixed = turned;
    let hybrid = mixed.block("hybrid").unwrap();
    let network = rewritten.network_at(hybrid, ReceiverPath::Lo).unwrap().clone();
    mixed.set_network_at(hybrid, ReceiverPath::Lo, network).unwrap();
    assert_same_budget("one in 75 ohm", &result, &analyse_receiver(&mixed).unwrap());
}

/// What is ideal is matched to the receiver's references, which the description can change.
#[test]
fn the_receivers_references_decide_what_is_ideal() {
    let (_, result) = solve(&demo());
    let (_, other) = solve(&format!("reference_ohm = 75\n{}", demo()));
    assert!((worst_db(&result) - worst_db(&other)).abs() < 1e-9);
    assert!((rows(&result)[0].error - rows(&other)[0].error).norm() > 1e-3);
    let ports = ["balun_i.plus", "balun_i.minus", "balun_q.plus", "balun_q.minus"];
    let at = |port: &str| format!("[[reference]]\nat = \"{port}\"\nohm = 75\n");
    let (_, gates) = solve(&format!("{}{}", demo(), ports.map(at).concat()));
    assert!((worst_db(&result) - worst_db(&gates)).abs() < 1e-9);
    assert!(rows(&gates).iter().zip(rows(&result)).any(|(one, own)| one.error != own.error));
}

/// Two rat-race mixers: the LO enters by the difference port, the RF by the sum port, and each
/// diode takes both at one node.
fn rat_races(hybrid: &str, race_q: &str) -> String {
    format!(
        r#"
lo_input = "hybrid.in"
rf_input = "divider.in"
joins = [
    "hybrid.a -- race_i.lo",
    "hybrid.b -- race_q.lo",
    "divider.i -- race_i.rf",
    "divider.q -- race_q.rf",
]
[frequency_plan]
lo_ghz = {{ from = 28, to = 30, points = 3 }}
if_ghz = [0.5]
wanted_sideband = "upper"
[[block]]
name = "hybrid"
component = {hybrid}
ports = ["in", "a", "b", "isolated"]
[[block]]
name = "divider"
component = {{ kind = "wilkinson", center_ghz = 29 }}
ports = ["in", "i", "q"]
[[block]]
name = "race_i"
component = {{ kind = "rat_race", center_ghz = 29 }}
ports = ["rf", "one", "two", "lo"]
pair = "rat races"
[[block]]
name = "race_q"
component = {race_q}
ports = ["rf", "one", "two", "lo"]
pair = "rat races"
{}{}
"#,
        ["hybrid.isolated", "race_i.one", "race_i.two", "race_q.one", "race_q.two"]
            .map(|port| format!("[[load]]\nat = \"{port}\"\nohm = 50\n"))
            .concat(),
        [("i", "one", "+"), ("i", "two", "-"), ("q", "one", "+"), ("q", "two", "-")]
            .map(|(channel, port, polarity)| {
                format!(
                    "[[mixer]]\nname = \"{channel}_{port}\"\nchannel = \"{channel}\"\n\
                     polarity = \"{polarity}\"\nlo = \"race_{channel}.{port}\"\n\
                     rf = \"race_{channel}.{port}\"\n"
                )
            })
            .concat()
    )
}

#[test]
fn lo_and_rf_may_share_a_part() {
    let hybrid =
        r#"{ kind = "quadrature_hybrid", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }"#;
    let race = r#"{ kind = "rat_race", center_ghz = 29 }"#;
    let (_, result) = solve_in(&Sandbox::new(), &rat_races(hybrid, race));
    let budget = result.budget.as_ref().unwrap();
    for path in [ReceiverPath::Lo, ReceiverPath::Rf] {
        let own = |taken: &&PartTaken| taken.path == path && taken.name == "race_i";
        let race = budget.taken.iter().find(own).unwrap();
        assert_eq!(race.input, if path == ReceiverPath::Lo { "lo" } else { "rf" });
        assert_eq!(race.outputs, ["one", "two"]);
        let nominal_deg = if path == ReceiverPath::Lo { 180.0 } else { 0.0 };
        assert!((race.nominal_deg[1].abs() - nominal_deg).abs() < 1e-9);
    }
    // Leakage to the other input is no output, so that the other splitter absorbs.
    let leads = |taken: &&PartTaken| !taken.outputs.is_empty();
    let parts: Vec<&str> =
        budget.taken.iter().filter(leads).map(|taken| taken.name.as_str()).collect();
    assert_eq!(parts, ["hybrid", "race_i", "race_q", "divider", "race_i", "race_q"]);
    let row = result.fix_first().unwrap();
    assert_eq!(row.contributor, Contributor::Block("hybrid".to_owned()));
    let expected = channel_error(0.5, 3.0);
    assert!((row.error.norm() - expected.norm()).abs() < 1e-9, "{row:?}");
    assert!(row.plan_if_ideal_db.unwrap() > worst_db(&result) + 6.0, "{row:?}");
}

/// A difference between the two rings is theirs, and both ideal they leave none.
#[test]
fn unequal_rings_are_a_pair_of_the_budget() {
    let hybrid = r#"{ kind = "quadrature_hybrid" }"#;
    let race = r#"{ kind = "rat_race", center_ghz = 29.4, loss_db = 0.2 }"#;
    let (_, result) = solve_in(&Sandbox::new(), &rat_races(hybrid, race));
    let row = result.fix_first().unwrap();
    assert_eq!(row.contributor, Contributor::Pair("rat races".to_owned()));
    assert!(row.plan_if_ideal_db.unwrap() > 200.0, "{row:?}");
    // The rest is reflection between the rings and the divider.
    let total = result.budget.as_ref().unwrap().total;
    assert!((row.error - total).norm() < 0.2 * total.norm(), "{row:?} {total}");
}

/// In a ring of lines the signal arrives at each line from both sides: none has an ideal.
#[test]
fn what_has_no_ideal_is_said() {
    let ring = r#"
joins = [
    "arm_1.1 -- branch_1.1", "arm_1.2 -- branch_2.1", "arm_2.1 -- branch_1.2",
    "arm_2.2 -- branch_2.2", "divider.i -- rf_i.1", "divider.q -- rf_q.1",
]"#;
    let simple = Simple::default().text();
    let joins_end = simple.find("[frequency_plan]").unwrap();
    let line = |name: &str, ohm: f64| {
        format!(
            "[[block]]\nname = \"{name}\"\nports = [\"1\", \"2\"]\ncomponent = \
             {{ kind = \"line\", impedance_ohm = {ohm}, center_ghz = 29, angle_deg = 90 }}\n"
        )
    };
    let lines = [("arm_1", 35.355), ("arm_2", 35.355), ("branch_1", 50.0), ("branch_2", 50.0)];
    let blocks = simple[joins_end..]
        .replace("\"hybrid.isolated\"", "\"arm_2.1\"")
        .replace("\"lo_i.2\"", "\"arm_1.2\"")
        .replace("\"lo_q.2\"", "\"arm_2.2\"");
    let (before, after) = blocks.split_once("[[block]]\nname = \"hybrid\"").unwrap();
    let (_, after) = after.split_once("[[block]]").unwrap();
    let (divider, after) = after.split_once("[[block]]\nname = \"lo_i\"").unwrap();
    let (_, rf_lines) = after.split_once("[[block]]\nname = \"rf_i\"").unwrap();
    let text = format!(
        "lo_input = \"arm_1.1\"\nrf_input = \"divider.in\"\n{ring}\n{before}{}[[block]]{divider}\
         [[block]]\nname = \"rf_i\"{rf_lines}",
        lines.map(|(name, ohm)| line(name, ohm)).concat()
    );
    let (_, result) = solve_in(&Sandbox::new(), &text);
    assert!(result.warnings.iter().any(|warning| warning.contains("has no ideal on the LO path")));
}

/// The row of the loads is split by load. A mixer's load does harm only with an isolated port that
/// does not absorb, so either alone ideal is enough; equal loads of mixers share a row.
#[test]
fn the_loads_are_split() {
    let mixer_ohm = [impedance(Complex64::new(0.3, 0.0)); 2];
    let isolated_ohm = impedance(Complex64::new(0.1, 0.0));
    let (_, result) = Simple { mixer_ohm, isolated_ohm, ..Simple::default() }.solved();
    let budget = result.budget.as_ref().unwrap();
    let at = |ports: &[&str]| {
        let ports = ports.iter().map(|port| (*port).to_owned()).collect();
        let own = Contributor::LoadsAt(ports);
        budget.loads.iter().find(|row| row.contributor == own).unwrap()
    };
    assert_eq!(budget.loads.len(), 3);
    for row in [at(&["hybrid.isolated"]), at(&["lo_i.2", "lo_q.2"])] {
        assert!(row.error.norm() < 1e-12, "{row:?}");
        assert!(row.if_ideal_db.unwrap() > 250.0, "{row:?}");
    }
    let rf = at(&["rf_i.2", "rf_q.2"]);
    assert!((rf.if_ideal_db.unwrap() - worst_db(&result)).abs() < 1e-9, "{rf:?}");
    assert_eq!(result.fix_first().unwrap().contributor, Contributor::Loads);
    assert_ne!(result.fix_first_load().unwrap().contributor, rf.contributor);
    // A source that does not match has a row.
    let extra = "lo_source_ohm = [40, 5]";
    let (_, result) = Simple { mixer_ohm, isolated_ohm, extra, ..Simple::default() }.solved();
    let budget = result.budget.unwrap();
    let source = Contributor::Source(ReceiverPath::Lo);
    assert!(budget.loads.iter().any(|row| row.contributor == source));
}

/// Reflections between parts: the pairs and what takes three add up to the interaction.
#[test]
fn the_interaction_is_made_of_pairs() {
    let (_, result) = solve(&demo());
    let budget = result.budget.as_ref().unwrap();
    let row = rows(&result).last().unwrap();
    assert_eq!(row.contributor, Contributor::Interaction);
    let sum: Complex64 = budget.interactions.iter().map(|own| own.error).sum();
    assert!((sum - row.error).norm() < 1e-12, "{sum} {row:?}");
    for pair in budget.interactions.windows(2) {
        assert!(pair[0].error.norm() >= pair[1].error.norm());
    }
    // With the gates matched the hybrid meets no reflection any more.
    let with_loads = |result: &DownconverterResult| {
        let own = [Contributor::Block("hybrid".to_owned()), Contributor::Loads];
        let all = &result.budget.as_ref().unwrap().interactions;
        let found = all.iter().find(|pair| pair.between.as_ref() == Some(&own));
        found.map_or(0.0, |pair| pair.error.norm())
    };
    let (_, matched) = solve(&demo().replace("file = \"gate.s1p\"", "ohm = 50"));
    assert!(with_loads(&result) > 2.0 * with_loads(&matched));
}

/// What gains less than is reported is not to be fixed, and equal blocks do not differ.
#[test]
fn fixing_must_help() {
    let text = |imbalance_db: f64| {
        let hybrid = format!(
            "{{ kind = \"quadrature_hybrid\", imbalance_db = {imbalance_db}, loss_db = 0.3 }}"
        );
        let simple = Simple { lo_lines_deg: [30.0, 33.0], ..Simple::default() }.text();
        simple
            .replace("pair = \"lo lines\"\n", "")
            .replace("{ kind = \"quadrature_hybrid\" }", &hybrid)
    };
    let (_, result) = solve_in(&Sandbox::new(), &text(0.03));
    let first = &rows(&result)[0];
    let gain_db = first.if_ideal_db.unwrap() - worst_db(&result);
    assert!(gain_db > 0.001 && gain_db < 0.1, "{first:?}");
    assert_eq!(result.fix_first(), None);
    let (_, result) = solve_in(&Sandbox::new(), &text(0.5));
    assert_eq!(result.fix_first().unwrap().contributor, Contributor::Block("hybrid".to_owned()));

    let equal = demo().replace("balun_q.s3p", "balun.s3p");
    let (_, result) = solve(&equal);
    let pair = |name: &str| {
        let own = Contributor::Pair(name.to_owned());
        rows(&result).iter().find(|row| row.contributor == own).unwrap()
    };
    assert_eq!(pair("baluns").has_equal_members, Some(true));
    assert_eq!(pair("leads").has_equal_members, Some(false));
    assert_eq!(rows(&result).last().unwrap().has_equal_members, None);
}

/// As the manual states: with the upper sideband wanted a phase of Q's LO counts with its own sign in
/// the budget, one of Q's RF path or gain reversed; with the lower one the other way round.
#[test]
fn phases_of_the_budget_have_the_signs_stated() {
    for (sideband, sign) in [("upper", 1.0), ("lower", -1.0)] {
        // Longer lines turn Q back, by 2 degrees at 29 GHz.
        let phase_deg = |simple: Simple, gain: &str| {
            let text =
                simple.text().replace("rf = \"rf_q.2\"", &format!("rf = \"rf_q.2\"\n{gain}"));
            let (_, result) = solve_in(&Sandbox::new(), &text);
            result.budget.unwrap().total.im.to_degrees()
        };
        let simple = || Simple { sideband, ..Simple::default() };
        let lo = phase_deg(Simple { lo_lines_deg: [30.0, 28.0], ..simple() }, "");
        let rf = phase_deg(Simple { rf_lines_deg: [20.0, 18.0], ..simple() }, "");
        let gain = phase_deg(simple(), "gain = [0.99939, 0.0349]");
        for (phase_deg, want_deg) in [(lo, sign * 2.0), (rf, -sign * 2.0), (gain, -sign * 2.0)] {
            assert!((phase_deg - want_deg).abs() < 0.2, "{sideband}: {phase_deg} {want_deg}");
        }
    }
}
