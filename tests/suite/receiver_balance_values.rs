//! Image rejection of receivers, and its correction, against independent values.
//!
//! Sources: `tests/check-values/10_frequency_plan_irr.json` (phasors, and sampled waveforms with a
//! Fourier transform, which agree to 5e-12) and `11_correction_residual.json` (closed form, exact
//! disk intersection and direct search).

use crate::check_values::{cases, check, complex, list, matrix, topic};
use fourphase::downconverter::{
    Channel, Combination, CorrectionPoint, Element, IqOutputs, IqPair, Mixing, Sideband,
    favourable_combination, least_squares_weight, minimax_weight, receiver_balance,
    worst_rejection_db,
};
use fourphase::units::db_from_power;
use num_complex::Complex64;
use serde_json::Value;

/// Two elements, or two balanced pairs.
fn elements(upper: &[Complex64], lower: &[Complex64], lo: &[Complex64]) -> Vec<Element> {
    let half = lo.len() / 2;
    (0..lo.len())
        .map(|at| Element {
            channel: if at < half { Channel::I } else { Channel::Q },
            is_subtracted: half == 2 && at % 2 == 1,
            gain: Complex64::ONE,
            lo: lo[at],
            rf_upper: upper[at],
            rf_lower: lower[at],
        })
        .collect()
}

fn mixing(case: &Value) -> Mixing {
    Mixing::new(case["inputs"]["lo_exponent"].as_f64().unwrap(), 1).unwrap()
}

fn check_complex(case: &Value, name: &str, got: Complex64) {
    let want = complex(&case["expected"][name]);
    check(case, name, got.re, want.re);
    check(case, name, got.im, want.im);
}

#[test]
fn given_transfers() {
    let topic = topic("10_frequency_plan_irr.json");
    for case in cases(&topic, "direct-") {
        let inputs = &case["inputs"];
        let (upper, lower) = (list(&inputs["h_upper"]), list(&inputs["h_lower"]));
        let outputs = IqOutputs::of(&elements(&upper, &lower, &list(&inputs["lo"])), &mixing(case));
        for (name, got) in [
            ("i_upper", outputs.upper.i),
            ("q_upper", outputs.upper.q),
            ("i_lower", outputs.lower.i),
            ("q_lower", outputs.lower.q),
        ] {
            if case["expected"].get(name).is_some() {
                check_complex(case, name, got);
            }
        }
        let weight = |name: &str, default: Complex64| {
            inputs.get(name).filter(|value| value.is_array()).map_or(default, complex)
        };
        let sign = inputs["combine_sign"].as_f64().unwrap_or(1.0);
        let combination = Combination {
            i: weight("t_i", Complex64::ONE),
            q: weight("t_q", Complex64::new(0.0, sign)),
        };
        let (over, under) = (combination.apply(outputs.upper), combination.apply(outputs.lower));
        check_complex(case, "out_upper", over);
        check_complex(case, "out_lower", under);
        let balance = receiver_balance(&outputs, &combination, Sideband::Upper);
        check(
            case,
            "ratio",
            balance.image_rejection_db,
            case["expected"]["upper_over_lower_db"].as_f64().unwrap(),
        );
        // The ratios of Q to I and the common gain make up the same rejection.
        let (wanted, image) = (balance.wanted_error.exp(), balance.channel_error.exp());
        let gain = (combination.i * outputs.upper.i).norm_sqr()
            / (combination.i * outputs.lower.i).norm_sqr();
        let by_ratios = db_from_power(((1.0 + wanted) / (1.0 - image)).norm_sqr() * gain);
        assert!((by_ratios - balance.image_rejection_db).abs() < 1e-6, "{}", case["id"]);
    }
}

#[test]
fn whole_networks_at_both_sidebands() {
    let topic = topic("10_frequency_plan_irr.json");
    for case in cases(&topic, "plan-") {
        let expected = &case["expected"];
        let (upper, lower) =
            (list(&expected["rf_transfers_upper"]), list(&expected["rf_transfers_lower"]));
        let outputs = IqOutputs::of(
            &elements(&upper, &lower, &list(&expected["lo_transfers"])),
            &mixing(case),
        );
        for (name, combination) in [
            ("upper_over_lower_db_sign_plus", Combination::I_PLUS_JQ),
            ("upper_over_lower_db_sign_minus", Combination::I_MINUS_JQ),
        ] {
            let got = receiver_balance(&outputs, &combination, Sideband::Upper).image_rejection_db;
            match expected[name].as_f64() {
                Some(want) => check(case, name, got, want),
                // Unbounded in exact arithmetic; rounding leaves some 300 dB.
                None => assert!(got.abs() > 250.0, "{} {name}: {got}", case["id"]),
            }
        }
        for (name, wanted) in
            [("irr_upper_wanted_db", Sideband::Upper), ("irr_lower_wanted_db", Sideband::Lower)]
        {
            let combination = Combination::BOTH
                [favourable_combination(&outputs, wanted, &Combination::BOTH).unwrap()];
            let got = receiver_balance(&outputs, &combination, wanted).image_rejection_db;
            match expected[name].as_f64() {
                Some(want) => check(case, name, got, want),
                None => assert!(got > 250.0, "{} {name}: {got}", case["id"]),
            }
        }
    }
}

#[test]
fn a_hybrid_in_the_if_path() {
    let topic = topic("10_frequency_plan_irr.json");
    for case in cases(&topic, "if-hybrid-") {
        let inputs = &case["inputs"];
        let (upper, lower) = (list(&inputs["h_upper"]), list(&inputs["h_lower"]));
        let outputs = IqOutputs::of(&elements(&upper, &lower, &list(&inputs["lo"])), &mixing(case));
        let s = matrix(&inputs["if_hybrid_s"]);
        // I enters port 1 and Q port 4; outputs are 2 and 3.
        for (port, row) in [(2, 1), (3, 2)] {
            let combination = Combination { i: s[4 * row], q: s[4 * row + 3] };
            check_complex(case, &format!("out_port{port}_upper"), combination.apply(outputs.upper));
            check_complex(case, &format!("out_port{port}_lower"), combination.apply(outputs.lower));
            let got = receiver_balance(&outputs, &combination, Sideband::Upper).image_rejection_db;
            let want =
                case["expected"][format!("port{port}_upper_over_lower_db")].as_f64().unwrap();
            check(case, &format!("port {port}"), got, want);
        }
    }
}

#[test]
fn corrections_and_what_they_leave() {
    let topic = topic("11_correction_residual.json");
    for case in topic["cases"].as_array().unwrap() {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let [wanted_i, wanted_q, image_i, image_q] =
            ["wanted_i", "wanted_q", "image_i", "image_q"].map(|name| list(&inputs[name]));
        let points: Vec<CorrectionPoint> = (0..wanted_i.len())
            .map(|at| CorrectionPoint {
                wanted_i: wanted_i[at],
                wanted_q: wanted_q[at],
                image_i: image_i[at],
                image_q: image_q[at],
            })
            .collect();
        let squares = least_squares_weight(&points).unwrap();
        check_complex(case, "weight_least_squares", squares);
        let worst = worst_rejection_db(&points, squares);
        check(
            case,
            "least squares",
            worst,
            expected["worst_irr_least_squares_db"].as_f64().unwrap(),
        );
        let minimax = minimax_weight(&points).unwrap();
        let got = worst_rejection_db(&points, minimax);
        let want = expected["worst_irr_minimax_db"].as_f64().unwrap();
        assert!((got - want).abs() < 1e-6, "{}: {got} {want}", case["id"]);
        assert!(got >= worst - 1e-9);
        for (point, want) in points.iter().zip(expected["weight_per_frequency"].as_array().unwrap())
        {
            let (got, want) = (point.cancelling_weight(), complex(want));
            check(case, "per frequency, real", got.re, want.re);
            check(case, "per frequency, imaginary", got.im, want.im);
        }
        for (point, want) in points.iter().zip(expected["irr_uncorrected_db"].as_array().unwrap()) {
            let pair = |i, q| IqPair { i, q };
            let outputs = IqOutputs {
                upper: pair(point.wanted_i, point.wanted_q),
                lower: pair(point.image_i, point.image_q),
            };
            let got = receiver_balance(&outputs, &Combination::I_PLUS_JQ, Sideband::Upper)
                .image_rejection_db;
            check(case, "uncorrected", got, want.as_f64().unwrap());
        }
    }
}

#[test]
fn minimax_over_many_points_is_beaten_by_no_neighbour() {
    // A long sweep whose error wanders: no small step in any direction does better.
    let points: Vec<CorrectionPoint> = (0..200)
        .map(|at| {
            let x = f64::from(at) / 199.0;
            let error = Complex64::new(
                0.03 * (5.0 * x).sin() + 0.01 * (23.0 * x).cos(),
                0.04 * (3.0 * x + 1.0).cos(),
            )
            .exp();
            CorrectionPoint {
                wanted_i: Complex64::ONE,
                wanted_q: -Complex64::I * error,
                image_i: Complex64::ONE,
                image_q: Complex64::I * error,
            }
        })
        .collect();
    let best = minimax_weight(&points).unwrap();
    let held = worst_rejection_db(&points, best);
    for step in 0..64 {
        let away =
            best + Complex64::from_polar(1e-4, f64::from(step) * std::f64::consts::TAU / 64.0);
        assert!(worst_rejection_db(&points, away) <= held + 1e-9);
    }
    assert!(held > worst_rejection_db(&points, least_squares_weight(&points).unwrap()));
}
