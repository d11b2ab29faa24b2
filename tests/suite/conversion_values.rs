//! Conversions and renormalisation against values computed with 40 digits from the definitions.
//!
//! Sources: `tests/check-values/03_conversions.json` and `04_renormalisation.json`; definitions by
//! K. Kurokawa, IEEE Trans. MTT 13 (1965) 194-202 (power waves), and by R. B. Marks and
//! D. F. Williams, J. Res. NIST 97 (1992) 533-562 (pseudo-waves).

use crate::check_values::{cases, check, check_matrix, list, matrix, topic};
use fourphase::network::{
    FrequencyGrid, Network, NetworkError, ParameterKind, RECIPROCITY_TOLERANCE, WaveDefinition,
    assess, change_reference, convert,
};
use num_complex::Complex64;
use serde_json::Value;

fn network(kind: ParameterKind, entries: Vec<Complex64>, references: Vec<Complex64>) -> Network {
    let grid = FrequencyGrid::from_hz(vec![29e9]).unwrap();
    let ports = entries.len().isqrt();
    Network::new(kind, grid, ports, entries, references).unwrap()
}

fn scattering(network: &Network, waves: WaveDefinition) -> Vec<Complex64> {
    let moved = change_reference(network, network.references_ohm(0).to_vec(), waves).unwrap();
    convert(&moved, ParameterKind::Scattering).unwrap().entries().to_vec()
}

#[test]
fn from_impedance_to_every_other_parameter() {
    let topic = topic("03_conversions.json");
    let mut seen = 0;
    for case in topic["cases"].as_array().unwrap() {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let Some(z) = inputs.get("z_ohm") else { continue };
        let network = network(ParameterKind::Impedance, matrix(z), list(&inputs["zref_ohm"]));
        let kinds = [
            ("y_siemens", ParameterKind::Admittance),
            ("h", ParameterKind::HybridH),
            ("g", ParameterKind::HybridG),
        ];
        for (name, kind) in kinds {
            if let Some(want) = expected.get(name) {
                let got = convert(&network, kind).unwrap();
                check_matrix(case, name, got.entries(), want);
                // And back.
                let back = convert(&got, ParameterKind::Impedance).unwrap();
                check_matrix(case, "z_ohm again", back.entries(), z);
                seen += 1;
            }
        }
        for (name, waves) in
            [("s_power", WaveDefinition::Kurokawa), ("s_pseudo", WaveDefinition::MarksWilliams)]
        {
            if let Some(want) = expected.get(name) {
                check_matrix(case, name, &scattering(&network, waves), want);
                seen += 1;
            }
        }
    }
    assert!(seen > 50, "only {seen} comparisons");
}

#[test]
fn from_scattering_to_impedance_and_admittance() {
    let topic = topic("03_conversions.json");
    for case in cases(&topic, "from-s-") {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let waves = match inputs["wave_kind"].as_str().unwrap() {
            "power" => WaveDefinition::Kurokawa,
            "pseudo" => WaveDefinition::MarksWilliams,
            other => panic!("unknown waves {other}"),
        };
        let s = network(ParameterKind::Scattering, matrix(&inputs["s"]), list(&inputs["zref_ohm"]))
            .with_wave_definition(waves);
        for (name, kind) in
            [("z_ohm", ParameterKind::Impedance), ("y_siemens", ParameterKind::Admittance)]
        {
            check_matrix(case, name, convert(&s, kind).unwrap().entries(), &expected[name]);
        }
    }
}

#[test]
fn networks_without_z_or_y_are_refused_by_name() {
    let topic = topic("03_conversions.json");
    let mut seen = 0;
    for case in topic["cases"].as_array().unwrap() {
        let expected = &case["expected"];
        let Some(exists) = expected.get("z_exists").and_then(Value::as_bool) else { continue };
        let s = network(
            ParameterKind::Scattering,
            matrix(&expected["s_power"]),
            list(&case["inputs"]["zref_ohm"]),
        );
        for (kind, exists) in [
            (ParameterKind::Impedance, exists),
            (ParameterKind::Admittance, expected["y_exists"].as_bool().unwrap()),
        ] {
            match convert(&s, kind) {
                Ok(_) => assert!(exists, "{}: {kind} should not exist", case["id"]),
                Err(error) => {
                    assert!(!exists, "{}: {error}", case["id"]);
                    assert_eq!(error, NetworkError::NoSuchMatrix { kind, frequency_hz: 29e9 });
                }
            }
            seen += 1;
        }
        // Pitfall: renormalisation must not need what does not exist.
        let pseudo =
            change_reference(&s, s.references_ohm(0).to_vec(), WaveDefinition::MarksWilliams)
                .unwrap();
        check_matrix(case, "s_pseudo", pseudo.entries(), &expected["s_pseudo"]);
    }
    assert!(seen >= 4, "only {seen} comparisons");
}

#[test]
fn other_references() {
    let topic = topic("04_renormalisation.json");
    for case in topic["cases"].as_array().unwrap() {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let s = |waves| {
            network(ParameterKind::Scattering, matrix(&inputs["s"]), list(&inputs["zref_old_ohm"]))
                .with_wave_definition(waves)
        };
        let new = || list(&inputs["zref_new_ohm"]);
        for (name, from, to) in [
            ("s_power_to_power", WaveDefinition::Kurokawa, WaveDefinition::Kurokawa),
            ("s_pseudo_to_pseudo", WaveDefinition::MarksWilliams, WaveDefinition::MarksWilliams),
            ("s_power_to_pseudo", WaveDefinition::Kurokawa, WaveDefinition::MarksWilliams),
        ] {
            let Some(want) = expected.get(name) else { continue };
            let got = change_reference(&s(from), new(), to).unwrap();
            check_matrix(case, name, got.entries(), want);
            let back = change_reference(&got, list(&inputs["zref_old_ohm"]), from).unwrap();
            check_matrix(case, "and back", back.entries(), &inputs["s"]);
        }
    }
}

#[test]
fn passivity_is_judged_in_power_waves() {
    // Pitfall: pseudo-waves of a passive part may have singular values above 1.
    let topic = topic("04_renormalisation.json");
    let mut above_one = 0;
    for case in topic["cases"].as_array().unwrap() {
        let Some(largest) =
            case["expected"].get("largest_singular_value_pseudo").and_then(Value::as_f64)
        else {
            continue;
        };
        let inputs = &case["inputs"];
        let given =
            network(ParameterKind::Scattering, matrix(&inputs["s"]), list(&inputs["zref_old_ohm"]));
        let passive = given.with_wave_definition(WaveDefinition::MarksWilliams);
        let before = assess(&passive).unwrap().max_singular_value.value;
        let pseudo = change_reference(
            &passive,
            list(&inputs["zref_new_ohm"]),
            WaveDefinition::MarksWilliams,
        )
        .unwrap();
        let svd =
            nalgebra::DMatrix::from_row_slice(pseudo.ports(), pseudo.ports(), pseudo.entries());
        check(case, "largest singular value", svd.singular_values()[0], largest);
        above_one += usize::from(largest > 1.0 && before <= 1.0);
        // Power neither appears nor vanishes: assessed as power waves it is passive as before.
        assert_eq!(
            assess(&pseudo).unwrap().max_singular_value.value > 1.0 + 1e-9,
            before > 1.0 + 1e-9
        );
    }
    assert!(above_one > 0, "no case shows the pitfall");
}

#[test]
fn a_reciprocal_network_is_symmetric_in_power_waves_only() {
    let topic = topic("03_conversions.json");
    for case in cases(&topic, "reciprocity-of-s") {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let z =
            network(ParameterKind::Impedance, matrix(&inputs["z_ohm"]), list(&inputs["zref_ohm"]));
        for (name, waves) in [
            ("s21_over_s12_power", WaveDefinition::Kurokawa),
            ("s21_over_s12_pseudo", WaveDefinition::MarksWilliams),
        ] {
            let s = scattering(&z, waves);
            let (got, want) = (s[2] / s[1], crate::check_values::complex(&expected[name]));
            check(case, name, got.re, want.re);
            check(case, name, got.im, want.im);
        }
        assert!(assess(&z).unwrap().reciprocal_within(RECIPROCITY_TOLERANCE));
    }
}
