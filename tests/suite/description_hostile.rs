//! No description or table makes a loader or a command panic, and every error names a line of it.

use crate::harness::{Sandbox, project};
use fourphase::description::{read_network, read_receiver};
use fourphase::downconverter::analyse_receiver;
use fourphase::touchstone::ReadOptions;
use proptest::prelude::*;
use std::sync::LazyLock;

pub(crate) static TREE: LazyLock<String> = LazyLock::new(|| {
    // A closed-form part in place of each file keeps a run short.
    std::fs::read_to_string(project("data-demo/tree.toml"))
        .unwrap()
        .replace(
            "file = \"coupler.s4p\"",
            "component = { kind = \"branch_line\", center_ghz = 29 }",
        )
        .replace("file = \"balun.s3p\"", "component = { kind = \"balun\" }")
        .replacen("reference_ohm", "grid = \"28GHz..30GHz:3\"\nreference_ohm", 1)
});

/// A small receiver of closed-form parts.
pub(crate) const RECEIVER: &str = r#"
lo_input = "hybrid.in"
rf_input = "divider.in"
joins = ["hybrid.b -- line.1"]
[frequency_plan]
lo_ghz = { from = 28, to = 30, points = 3 }
if_ghz = [0.5, 1]
rf_ghz = { from = 28.6, to = 32 }
wanted_sideband = "upper"
lo_multiplication = 4
lo_power_dbm = 10
[mixing]
lo_harmonic = 1
[[block]]
name = "hybrid"
component = { kind = "branch_line", center_ghz = 29 }
ports = ["in", "a", "b", "isolated"]
[[block]]
name = "line"
component = { kind = "line", impedance_ohm = 45, center_ghz = 29, angle_deg = 20 }
[[block]]
name = "divider"
component = { kind = "divider" }
ports = ["in", "a", "b"]
[[load]]
at = "hybrid.isolated"
ohm = 47
[[load]]
at = "hybrid.a"
ohm = [40, 5]
[[load]]
at = "line.2"
ohm = 50
[[load]]
at = "divider.a"
ohm = 50
[[load]]
at = "divider.b"
open = true
[[mixer]]
name = "i"
channel = "i"
lo = "hybrid.a"
rf = "divider.a"
gain = [1, 0.1]
[[mixer]]
name = "q"
channel = "q"
polarity = "-"
lo = "line.2"
rf = "divider.b"
[correction]
phase_deg = 1
[require]
image_rejection_db = 20
lo_power_dbm_min = 3
"#;

/// The same with an LO chain: stages before the LO input, and one behind it.
static CHAINED: LazyLock<String> = LazyLock::new(|| {
    let chain = r#"
[lo_chain]
input_power_dbm = 5
phase_noise = [[1e4, -110]]
tones = [{ multiple = 0.5, dbc = -40, phase_deg = 30 }]
[[lo_stage]]
name = "x2"
multiplier = { order = 2, knee_dbm = 4, saturated_dbm = 9, products_dbc = { "1" = -20, "3" = { dbc = -25, slope = 1 } } }
input_dbm = { min = 0, max = 9 }
[[lo_stage]]
name = "pad"
component = { kind = "attenuator", loss_db = 1 }
[[lo_stage]]
name = "amp"
amplifier = { gain_db = 12, saturated_dbm = 18, smoothness = 2, harmonics_dbc = { "2" = -30 }, am_pm_deg_per_db = 1 }
[[block]]
name = "x3"
multiplier = { order = 3, knee_dbm = 9, saturated_dbm = 12, products_dbc = { "1" = -20 } }
input_ohm = 40
[mixing]"#;
    RECEIVER
        .replace("lo_multiplication = 4\nlo_power_dbm = 10\n", "")
        .replace("lo_input = \"hybrid.in\"", "lo_input = \"x3.1\"")
        .replace("joins = [", "joins = [\"x3.2 -- hybrid.in\", ")
        .replace("[mixing]", chain)
        .replace("lo_power_dbm_min = 3", "lo_power_dbm_min = 3\nlo_tone_dbc_max = -20")
});

/// The same with switched mixers.
static SWITCHED: LazyLock<String> = LazyLock::new(|| {
    let mixing = r#"
[mixing]
lo_harmonic = 1
switch = { on_ohm = 8, off_ohm = 5e3, off_ff = 15, threshold_v = 0.1, slope_v = 0.1 }
lo_to_rf_ff = 4
lo_to_if_ff = 3
sidebands = 3
outside = "open"
temperature_k = 300
[if_load]
ohm = 100
ff = 150
"#;
    RECEIVER
        .replace("[mixing]\nlo_harmonic = 1\n", mixing)
        .replace("gain = [1, 0.1]", "switch = { on_ohm = 9, slope_v = 0 }\nlo_to_rf_ff = 5")
        .replace(
            "lo_power_dbm_min = 3",
            "conversion_loss_db_max = 12\nnoise_figure_db_max = 12\nlo_at_rf_port_dbm_max = -40",
        )
});

const PIECES: [&str; 22] = [
    "\n",
    "\"",
    "[[block]]\n",
    "[[load]]\n",
    "hybrid.in",
    " -- ",
    "é",
    "0",
    "-1",
    "1e999",
    "nan",
    "inf",
    "= [",
    "]",
    "component = { kind = \"lange\" }\n",
    "ohm = [0.0, 0.0]\n",
    "[[mixer]]\n",
    "hybrid.a",
    "line.2",
    "lower",
    "1000",
    "1e-9",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]
    #[test]
    fn mutated_descriptions_never_panic(
        changes in prop::collection::vec((any::<prop::sample::Index>(), 0..PIECES.len(), 0_usize..12), 1..4),
    ) {
        let text = mutated(&TREE, changes);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("mutated.toml");
        std::fs::write(&path, &text).unwrap();
        match read_network(&path, &ReadOptions::default(), None) {
            Ok(circuit) => {
                let _ = circuit.join();
            }
            Err(error) => {
                let lines = text.lines().count() + 1;
                prop_assert!(error.position().is_none_or(|position| position.line <= lines));
                let _ = error.diagnostic().render(true);
            }
        }
    }
}

fn mutated(text: &str, changes: Vec<(prop::sample::Index, usize, usize)>) -> String {
    let mut text = text.to_owned();
    for (at, piece, cut) in changes {
        let mut from = at.index(text.len());
        while !text.is_char_boundary(from) {
            from -= 1;
        }
        let mut to = (from + cut).min(text.len());
        while !text.is_char_boundary(to) {
            to += 1;
        }
        text.replace_range(from..to, PIECES[piece]);
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]
    #[test]
    fn mutated_receivers_never_panic(
        kind in 0_usize..3,
        changes in prop::collection::vec((any::<prop::sample::Index>(), 0..PIECES.len(), 0_usize..12), 1..4),
    ) {
        let text = mutated([RECEIVER, &CHAINED, &SWITCHED][kind], changes);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("mutated.toml");
        std::fs::write(&path, &text).unwrap();
        match read_receiver(&path, &ReadOptions::default()) {
            Ok(loaded) => {
                if let Ok(result) = analyse_receiver(&loaded.receiver) {
                    let plan = loaded.receiver.plan();
                    prop_assert_eq!(result.points.len(), plan.points().len());
                    let left_out = plan.points_left_out();
                    let all = plan.settings().lo_hz.len() * plan.settings().if_hz.len();
                    prop_assert_eq!(result.points.len() + left_out, all);
                    prop_assert!(result.points.iter().all(|point| !point.balance.image_rejection_db.is_nan()));
                    let _ = fourphase::report::receiver_text(&loaded.receiver, &result, None);
                }
            }
            Err(error) => {
                let _ = error.diagnostic().render(true);
            }
        }
    }
}

#[test]
fn the_receiver_itself_solves() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("receiver.toml");
    std::fs::write(&path, RECEIVER).unwrap();
    let loaded = read_receiver(&path, &ReadOptions::default()).unwrap();
    // Of three LOs with two IFs the lowest RF is outside the band.
    assert_eq!(analyse_receiver(&loaded.receiver).unwrap().points.len(), 5);
    std::fs::write(&path, &*SWITCHED).unwrap();
    let switched = read_receiver(&path, &ReadOptions::default()).unwrap();
    assert_eq!(analyse_receiver(&switched.receiver).unwrap().switching.unwrap().sidebands, 3);
    std::fs::write(&path, &*CHAINED).unwrap();
    let chained = read_receiver(&path, &ReadOptions::default()).unwrap();
    assert_eq!(analyse_receiver(&chained.receiver).unwrap().lo_chain.unwrap().stages.len(), 4);
}

#[test]
fn the_tree_itself_joins() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tree.toml");
    std::fs::write(&path, &*TREE).unwrap();
    let joined = read_network(&path, &ReadOptions::default(), None).unwrap().join().unwrap();
    assert_eq!((joined.ports(), joined.grid().len()), (3, 3));
}

/// Values that may stand in the place of a word or a number.
const ODD: [&str; 12] =
    ["", "0", "-1", "1e999", "nan", "1e-300", "89", "\"x\"", "[]", "{}", "\u{0}", "é"];

/// A text with a word or number replaced by an odd value, or a piece cut out. The numbers choose the
/// word, the value, and how much is cut (nothing but the word for none).
fn spoiled(text: &str, word: usize, odd: usize, cut: Option<usize>) -> String {
    let words: Vec<(usize, &str)> = text
        .split(|c: char| !(c.is_alphanumeric() || c == '.' || c == '_'))
        .filter(|word| !word.is_empty())
        .map(|word| (word.as_ptr() as usize - text.as_ptr() as usize, word))
        .collect();
    let (at, word) = words[word % words.len()];
    let mut end = (at + cut.unwrap_or(word.len())).min(text.len());
    while !text.is_char_boundary(end) {
        end += 1;
    }
    [&text[..at], ODD[odd % ODD.len()], &text[end..]].concat()
}

/// Descriptions and tables with pieces missing, doubled or absurd: a result or an error.
#[test]
fn no_description_makes_a_command_panic() {
    let sandbox = Sandbox::with_demo();
    sandbox.add("data-demo/station");
    let uncertainty = sandbox.read("uncertainty.toml").replace("seed = 1", "trials = 100");
    sandbox.write("uncertainty.toml", &uncertainty);
    let splitter = "splitter coupler.s4p --uncertainty uncertainty.toml --band 28GHz..30GHz";
    let receiver = "downconverter receiver.toml --measured tones.csv";
    let mut state = 17_u64;
    let mut random = || {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap()
    };
    for round in 0..120 {
        let (name, command) = [
            ("uncertainty.toml", splitter),
            ("analyser.csv", splitter),
            ("tones.csv", receiver),
            ("station.toml", "station station.toml"),
        ][round % 4];
        let kept = sandbox.read(name);
        let cut = (round % 3 == 0).then(|| random() % 40);
        let text = spoiled(&kept, random(), random(), cut);
        sandbox.write(name, &text);
        // A panic has status 101.
        let run = sandbox.run(command);
        assert!(run.status < 3, "{name}: {text}\n{}", run.stderr);
        sandbox.write(name, kept);
    }
}
