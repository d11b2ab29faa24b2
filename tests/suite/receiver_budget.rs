//! The error budget of a receiver: what it must not depend on, and receivers in which LO and RF share
//! a part.

use crate::harness::Sandbox;
use crate::receiver_cases::{Simple, demo, solve, solve_in, worst_db};
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
        assert_eq!(race.nominal_deg[1].abs(), nominal_deg);
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
