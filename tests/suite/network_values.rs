//! Joining, mixed modes, de-embedding, quality and noise against values of independent routes.
//!
//! Sources: `tests/check-values/05` to `09`, where each case names its own: tableau and
//! junction-matrix solutions, modal and orthogonal-matrix forms, Bosma's theorem against summed
//! resistor sources.

use crate::check_values::{
    cases, check, check_expected, check_matrix, complex, list, matrix, topic,
};
use fourphase::network::{
    ChainForm, Deembedded, FrequencyGrid, Network, NetworkError, NoisePath, PASSIVITY_TOLERANCE,
    ParameterKind, Port, Terminal, WaveDefinition, Wiring, assess, cascade_noise_factor,
    change_reference, compare, convert, from_chain, join, noise_correlation, noise_factor,
    port_voltages, remove_fixture, remove_fixtures, remove_open_short,
    single_sideband_noise_factor, to_chain, to_mixed_mode, to_single_ended,
};
use fourphase::units::{db_from_power, power_from_db};
use num_complex::Complex64;
use serde_json::Value;
use std::collections::HashMap;

fn network(entries: Vec<Complex64>, references: Vec<Complex64>) -> Network {
    let grid = FrequencyGrid::from_hz(vec![29e9]).unwrap();
    let ports = entries.len().isqrt();
    Network::new(ParameterKind::Scattering, grid, ports, entries, references).unwrap()
}

fn in_50_ohm(value: &Value) -> Network {
    network(matrix(value), vec![50.0.into()])
}

fn port(number: usize) -> Port {
    Port::from_number(number).unwrap()
}

/// Blocks and wiring of a case; the names of the blocks, in order.
fn wired(case: &Value) -> (Vec<Network>, Wiring, HashMap<String, usize>) {
    let inputs = &case["inputs"];
    let mut blocks = Vec::new();
    let mut index = HashMap::new();
    for (name, block) in inputs["blocks"].as_object().unwrap() {
        let waves = match block["wave_kind"].as_str().unwrap() {
            "power" => WaveDefinition::Kurokawa,
            "pseudo" => WaveDefinition::MarksWilliams,
            other => panic!("unknown waves {other}"),
        };
        index.insert(name.clone(), blocks.len());
        blocks.push(
            network(matrix(&block["s"]), list(&block["zref_ohm"])).with_wave_definition(waves),
        );
    }
    let terminal = |text: &str| {
        let (block, number) = text.split_once('.').unwrap();
        Terminal { block: index[block], port: port(number.parse().unwrap()) }
    };
    let nodes = inputs["joined_ports"].as_array().unwrap().iter();
    let joins = nodes
        .map(|node| {
            node.as_array().unwrap().iter().map(|at| terminal(at.as_str().unwrap())).collect()
        })
        .collect();
    let outside = inputs["external_ports"].as_array().unwrap().iter();
    let outside = outside.map(|at| terminal(at["port"].as_str().unwrap())).collect();
    (blocks, Wiring { joins, outside }, index)
}

#[test]
fn joined_networks() {
    let topic = topic("05_interconnection.json");
    for case in topic["cases"].as_array().unwrap() {
        let (blocks, wiring, index) = wired(case);
        let joined =
            join(&blocks, &wiring).unwrap_or_else(|error| panic!("{}: {error}", case["id"]));
        let wanted = case["inputs"]["external_ports"].as_array().unwrap().iter();
        let references = wanted.map(|at| complex(&at["zref_ohm"])).collect();
        let got = change_reference(&joined, references, WaveDefinition::Kurokawa).unwrap();
        check_matrix(case, "s_power", got.entries(), &case["expected"]["s_power"]);

        // The one system with pivoting agrees with the growth port by port.
        let Some(voltages) = case["expected"].get("node_voltage_per_unit_incident_wave_sqrtW")
        else {
            continue;
        };
        for (name, want) in voltages.as_object().unwrap() {
            let (block, number) = name.split_once('.').unwrap();
            let at = Terminal { block: index[block], port: port(number.parse().unwrap()) };
            let got = &port_voltages(&blocks, &wiring, &[at], 0).unwrap()[0];
            for (got, want) in got.iter().zip(list(want)) {
                check(case, name, got.re, want.re);
                check(case, name, got.im, want.im);
            }
        }
    }
}

#[test]
fn the_order_of_blocks_and_joins_does_not_matter() {
    let topic = topic("05_interconnection.json");
    for case in cases(&topic, "random-").into_iter().chain(cases(&topic, "loop-")) {
        let (blocks, wiring, _) = wired(case);
        let want = join(&blocks, &wiring).unwrap();
        let count = blocks.len();
        // Blocks and joins turned round, and the ends of each join exchanged.
        let turned: Vec<Network> = blocks.iter().rev().cloned().collect();
        let place = |at: &Terminal| Terminal { block: count - 1 - at.block, port: at.port };
        let joins =
            wiring.joins.iter().rev().map(|node| node.iter().rev().map(place).collect()).collect();
        let outside = wiring.outside.iter().map(place).collect();
        let got = join(&turned, &Wiring { joins, outside }).unwrap();
        // The ends of a join decide whose reference a node takes; that must not show either.
        let got = change_reference(&got, want.references_ohm(0).to_vec(), WaveDefinition::Kurokawa)
            .unwrap();
        for (got, want) in got.entries().iter().zip(want.entries()) {
            assert!((got - want).norm() < 1e-12, "{}: {got} {want}", case["id"]);
        }
    }
}

#[test]
fn a_lossless_loop_is_reported_with_its_join() {
    let through = || network([0.0, 1.0, 1.0, 0.0].map(Complex64::from).to_vec(), vec![50.0.into()]);
    let pad = network([0.0, 0.5, 0.5, 0.0].map(Complex64::from).to_vec(), vec![50.0.into()]);
    let at = |block, number| Terminal { block, port: port(number) };
    // A pad between the outside ports, and a through joined to itself.
    let wiring =
        Wiring { joins: vec![vec![at(1, 1), at(1, 2)]], outside: vec![at(0, 1), at(0, 2)] };
    let refused = join(&[pad, through()], &wiring).unwrap_err();
    assert_eq!(refused, NetworkError::SingularLoop { join: 0, frequency_hz: 29e9 });
}

#[test]
fn wrong_wiring_is_refused_by_port() {
    let block = || network(vec![Complex64::ZERO; 4], vec![50.0.into()]);
    let at = |block, number| Terminal { block, port: port(number) };
    let try_join = |joins: Vec<Vec<Terminal>>, outside: Vec<Terminal>| {
        join(&[block(), block()], &Wiring { joins, outside }).unwrap_err()
    };
    assert_eq!(
        try_join(vec![vec![at(0, 2), at(1, 1)], vec![at(0, 2), at(1, 2)]], vec![at(0, 1)]),
        NetworkError::JoinedTwice { terminal: at(0, 2) }
    );
    assert_eq!(
        try_join(vec![vec![at(0, 2), at(1, 1)]], vec![at(0, 1)]),
        NetworkError::UnconnectedPort { terminal: at(1, 2) }
    );
    assert_eq!(
        try_join(vec![vec![at(0, 2), at(1, 3)]], vec![at(0, 1)]),
        NetworkError::NoSuchPort { port: port(3), ports: 2 }
    );
}

#[test]
fn mixed_modes_and_back() {
    let topic = topic("06_mixed_mode.json");
    for case in topic["cases"].as_array().unwrap() {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        if let Some(want) = expected.get("s_mixed_order_single1_diff2_comm2") {
            let single = in_50_ohm(&inputs["s"]);
            let mixed = to_mixed_mode(&single, &[(port(2), port(3))]).unwrap();
            check_matrix(case, "mixed", mixed.entries(), want);
            assert_eq!(mixed.references_ohm(0), [50.0, 100.0, 25.0].map(Complex64::from));
            check_matrix(
                case,
                "and back",
                to_single_ended(&mixed).unwrap().entries(),
                &inputs["s"],
            );
        }
        if let Some(want) = expected.get("s_mixed_order_d1_d2_c1_c2") {
            let number = |value: &Value| port(usize::try_from(value.as_u64().unwrap()).unwrap());
            let given = inputs["pairs_plus_minus"].as_array().unwrap().iter();
            let pairs: Vec<_> = given.map(|pair| (number(&pair[0]), number(&pair[1]))).collect();
            let single = in_50_ohm(&inputs["s"]);
            let mixed = to_mixed_mode(&single, &pairs).unwrap();
            check_matrix(case, "mixed", mixed.entries(), want);
            // Z takes another way to the same ports.
            let Ok(z) = convert(&single, ParameterKind::Impedance) else { continue };
            let z_mixed = to_mixed_mode(&z, &pairs).unwrap();
            let s_mixed = convert(&z_mixed, ParameterKind::Scattering).unwrap();
            for (one, other) in s_mixed.entries().iter().zip(mixed.entries()) {
                assert!((one - other).norm() < 1e-9, "{}", case["id"]);
            }
            let y = convert(&single, ParameterKind::Admittance).unwrap();
            let y_mixed = to_mixed_mode(&y, &pairs).unwrap();
            check_matrix(
                case,
                "and back",
                to_single_ended(&y_mixed)
                    .map(|y| convert(&y, ParameterKind::Scattering).unwrap())
                    .unwrap()
                    .entries(),
                &inputs["s"],
            );
        }
        if let Some(z_diff) = inputs.get("z_diff_ohm").and_then(Value::as_f64) {
            let half = Complex64::from(0.5 * z_diff);
            let single = in_50_ohm(&inputs["s_single_ended"]);
            let moved =
                change_reference(&single, vec![50.0.into(), half, half], WaveDefinition::Kurokawa)
                    .unwrap();
            let mixed = to_mixed_mode(&moved, &[(port(2), port(3))]).unwrap();
            for (name, row, column) in [("s_ss", 1, 1), ("s_ds", 2, 1), ("s_dd", 2, 2)] {
                let got = mixed.matrix(0).at(port(row), port(column));
                check(case, name, got.re, expected[name][0].as_f64().unwrap());
                check(case, name, got.im, expected[name][1].as_f64().unwrap());
            }
        }
    }
}

#[test]
fn fixtures_come_off() {
    let topic = topic("07_deembedding.json");
    for case in cases(&topic, "boxes-") {
        let inputs = &case["inputs"];
        let [measured, left, right] =
            ["s_measured", "s_left", "s_right"].map(|name| in_50_ohm(&inputs[name]));
        let removed = remove_fixtures(&measured, Some(&left), Some(&right)).unwrap();
        check_matrix(case, "s_device", removed.network.entries(), &case["expected"]["s_device"]);
        // Put on again by joining, the measurement returns.
        let at = |block, number| Terminal { block, port: port(number) };
        let wiring = Wiring {
            joins: vec![vec![at(0, 2), at(1, 1)], vec![at(1, 2), at(2, 1)]],
            outside: vec![at(0, 1), at(2, 2)],
        };
        let again = join(&[left, removed.network, right], &wiring).unwrap();
        check_matrix(case, "measured again", again.entries(), &inputs["s_measured"]);
    }
    for case in cases(&topic, "nport-boxes-") {
        let boxes: Vec<Network> =
            case["inputs"]["s_boxes"].as_array().unwrap().iter().map(in_50_ohm).collect();
        let side =
            |number| (0..boxes.len()).map(move |block| Terminal { block, port: port(number) });
        let outside = side(1).chain(side(2)).collect();
        let fixture = join(&boxes, &Wiring { joins: vec![], outside }).unwrap();
        let removed = remove_fixture(&in_50_ohm(&case["inputs"]["s_measured"]), &fixture).unwrap();
        check_matrix(case, "s_device", removed.network.entries(), &case["expected"]["s_device"]);
    }
    for case in cases(&topic, "open-short-") {
        let inputs = &case["inputs"];
        let [measured, open, short] =
            ["s_measured", "s_open", "s_short"].map(|name| in_50_ohm(&inputs[name]));
        let removed = remove_open_short(&measured, &open, &short).unwrap();
        check_matrix(case, "s_device", removed.network.entries(), &case["expected"]["s_device"]);
        let y = convert(&removed.network, ParameterKind::Admittance).unwrap();
        check_matrix(case, "y_device", y.entries(), &case["expected"]["y_device_siemens"]);
    }
}

/// The result of the de-embedding by its meaning: pads and leads put on by joining come off, also
/// where the short is ideal and has no Y.
#[test]
fn ideal_short_is_a_standard() {
    let s = |value: f64| network(vec![value.into()], vec![50.0.into()]);
    // Admittances in units of 1/50 S: a pad of 0.4 beside the device of 2, no leads.
    let reflection = |y: f64| (1.0 - y) / (1.0 + y);
    let removed = remove_open_short(&s(reflection(2.4)), &s(reflection(0.4)), &s(-1.0)).unwrap();
    assert!((removed.network.entries()[0].re - reflection(2.0)).abs() < 1e-14);
    // Nor do a device or an open that equal the short tell anything.
    for (device, open, short) in [(-0.7, 0.6, -0.7), (0.1, -0.7, -0.7)] {
        let refused = remove_open_short(&s(device), &s(open), &s(short)).unwrap_err();
        assert!(matches!(refused, NetworkError::NoInverse { .. }), "{refused}");
    }
    let refused = remove_open_short(&s(0.2), &s(-1.0), &s(-1.0)).unwrap_err();
    assert!(refused.to_string().starts_with("the open standard:"), "{refused}");
}

#[test]
fn deembedding_and_comparison_need_like_ports() {
    let entries: Vec<Complex64> =
        (0..16).map(|at| Complex64::new(0.01, 0.02 * f64::from(at))).collect();
    let single = network(entries, vec![50.0.into()]);
    let mixed = to_mixed_mode(&single, &[(port(2), port(3))]).unwrap();
    let refused = |removed: Result<_, NetworkError>| removed.map(|_: Deembedded| ()).unwrap_err();
    assert_eq!(refused(remove_open_short(&mixed, &single, &single)), NetworkError::MixedMode);
    assert_eq!(refused(remove_open_short(&single, &mixed, &single)), NetworkError::MixedMode);
    let side = |block: usize| (1..=4).map(move |number| Terminal { block, port: port(number) });
    let wiring = Wiring { joins: vec![], outside: side(0).chain(side(1)).collect() };
    let fixture = join(&[single.clone(), single.clone()], &wiring).unwrap();
    assert_eq!(refused(remove_fixture(&mixed, &fixture)), NetworkError::MixedMode);
    let mixed_fixture = to_mixed_mode(&fixture, &[(port(1), port(2))]).unwrap();
    assert_eq!(refused(remove_fixture(&single, &mixed_fixture)), NetworkError::MixedMode);
    assert_eq!(compare(&single, &mixed).unwrap_err(), NetworkError::UnequalModes);
}

#[test]
fn chain_matrices_and_back() {
    let topic = topic("03_conversions.json");
    let mut seen = 0;
    for case in topic["cases"].as_array().unwrap() {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let (Some(z), Some(abcd)) = (inputs.get("z_ohm"), expected.get("abcd")) else { continue };
        let grid = FrequencyGrid::from_hz(vec![29e9]).unwrap();
        let references = list(&inputs["zref_ohm"]);
        let impedance =
            Network::new(ParameterKind::Impedance, grid, 2, matrix(z), references.clone()).unwrap();
        let chain = to_chain(&impedance, ChainForm::Voltage).unwrap();
        check_matrix(case, "abcd", chain.entries(), abcd);
        let back = from_chain(&chain, references.clone(), WaveDefinition::Kurokawa).unwrap();
        check_matrix(
            case,
            "z again",
            convert(&back, ParameterKind::Impedance).unwrap().entries(),
            z,
        );
        for (name, waves) in [
            ("t_b1a1_a2b2_power", WaveDefinition::Kurokawa),
            ("t_b1a1_a2b2_pseudo", WaveDefinition::MarksWilliams),
        ] {
            let Some(want) = expected.get(name) else { continue };
            let moved = change_reference(&impedance, references.clone(), waves).unwrap();
            let chain = to_chain(&moved, ChainForm::WaveCascade).unwrap();
            check_matrix(case, name, chain.entries(), want);
            let back = from_chain(&chain, references.clone(), waves).unwrap();
            check_matrix(
                case,
                "z again",
                convert(&back, ParameterKind::Impedance).unwrap().entries(),
                z,
            );
            seen += 1;
        }
    }
    assert!(seen > 10, "only {seen} comparisons");
}

#[test]
fn quality_figures() {
    // The percentages of this topic are marked unconfirmed there and are not part of the product.
    let topic = topic("08_quality.json");
    for case in cases(&topic, "passivity-") {
        let expected = &case["expected"];
        let quality = assess(&in_50_ohm(&case["inputs"]["s"])).unwrap();
        let want = expected["largest_singular_value"].as_f64().unwrap();
        check(case, "singular value", quality.max_singular_value.value, want);
        assert_eq!(quality.passive_within(PASSIVITY_TOLERANCE), want <= 1.005, "{}", case["id"]);
        let error = quality.max_reciprocity_error.map_or(0.0, |worst| worst.value);
        check(case, "reciprocity", error, expected["largest_reciprocity_error"].as_f64().unwrap());
    }
    for case in cases(&topic, "lossless-hybrid") {
        let quality = assess(&in_50_ohm(&case["inputs"]["s"])).unwrap();
        assert!(
            (quality.max_singular_value.value - 1.0).abs() < 1e-12
                && quality.passive_within(PASSIVITY_TOLERANCE)
        );
    }
}

#[test]
fn noise_waves_of_passive_networks() {
    let topic = topic("09_noise.json");
    for case in cases(&topic, "bosma-") {
        let inputs = &case["inputs"];
        let Some(s) = inputs.get("s") else { continue };
        let references = match inputs.get("zref_ohm") {
            Some(Value::Array(list)) => {
                list.iter().map(|ohm| ohm.as_f64().unwrap().into()).collect()
            }
            _ => vec![50.0.into()],
        };
        let temperature_k = inputs["temperature_k"].as_f64().unwrap();
        let got = noise_correlation(&network(matrix(s), references), temperature_k).unwrap();
        let want = &case["expected"]["noise_wave_correlation_w_per_hz"];
        check_matrix(case, "correlation", &got, want);
    }
}

/// From port 1 to port 2, with the standard temperature at the output.
fn forward(source_reflection: Complex64, temperature_k: f64) -> NoisePath {
    let (input, output) = (port(1), port(2));
    NoisePath { input, output, source_reflection, temperature_k, termination_k: 290.0 }
}

#[test]
fn noise_factors_of_passive_networks() {
    let topic = topic("09_noise.json");
    for case in cases(&topic, "attenuator-") {
        let inputs = &case["inputs"];
        let through = Complex64::from(power_from_db(-0.5 * inputs["loss_db"].as_f64().unwrap()));
        let pad =
            network(vec![Complex64::ZERO, through, through, Complex64::ZERO], vec![50.0.into()]);
        let path = forward(Complex64::ZERO, inputs["temperature_k"].as_f64().unwrap());
        let factor = noise_factor(&pad, &path).unwrap()[0];
        check_expected(case, "noise_factor", factor);
        check_expected(case, "noise_figure_db", db_from_power(factor));
    }
    for case in cases(&topic, "mismatched-passive-") {
        let inputs = &case["inputs"];
        let temperature_k = inputs["temperature_k"].as_f64().unwrap();
        let path = forward(complex(&inputs["source_reflection"]), temperature_k);
        let factor = noise_factor(&in_50_ohm(&inputs["s"]), &path).unwrap()[0];
        check_expected(case, "noise_factor", factor);
    }
}

#[test]
fn noise_factors_of_cascades_and_single_sidebands() {
    let topic = topic("09_noise.json");
    for case in cases(&topic, "friis-") {
        let ratios = |name: &str| -> Vec<f64> {
            let values = case["inputs"][name].as_array().unwrap().iter();
            values.map(|value| power_from_db(value.as_f64().unwrap())).collect()
        };
        let gains = ratios("gain_db").into_iter().chain(std::iter::repeat(1.0));
        let stages: Vec<(f64, f64)> = ratios("noise_figure_db").into_iter().zip(gains).collect();
        check_expected(case, "noise_factor", cascade_noise_factor(&stages));
    }
    for case in cases(&topic, "ssb-") {
        let inputs = &case["inputs"];
        let double = power_from_db(inputs["dsb_noise_figure_db"].as_f64().unwrap());
        let rejection = power_from_db(inputs["irr_db"].as_f64().unwrap());
        check_expected(case, "f_ssb_all", single_sideband_noise_factor(double, rejection));
    }
}
