//! Image rejection against exact values and published tables.
//!
//! Sources: `tests/check-values/01_irr_imbalance.json`, where each case names its own; among them
//! the points printed by M. A. Richards, "Fundamentals of Radar Signal Processing", and in Philips
//! application note AN2003 (1999).

use crate::check_values::{cases, check, complex, topic};
use fourphase::splitter::{
    allowed_amplitude_imbalance_db, allowed_phase_error_deg, image_rejection_db,
    image_rejection_of_error_db,
};

#[test]
fn exact_formula() {
    let topic = topic("01_irr_imbalance.json");
    for case in cases(&topic, "irr-") {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let got = image_rejection_db(
            inputs["gain_db"].as_f64().unwrap(),
            inputs["phase_deg"].as_f64().unwrap(),
        );
        if expected["infinite"] == true {
            assert!(got.is_infinite() && got > 0.0, "{}", case["id"]);
        } else if expected["zero"] == true {
            // Half a turn in doubles misses the exact one by 1e-16, its square is what is left.
            assert!(got < -300.0, "{}", case["id"]);
        } else {
            check(case, "irr_db", got, expected["irr_db"].as_f64().unwrap());
        }
    }
}

#[test]
fn inverse_limits() {
    let topic = topic("01_irr_imbalance.json");
    for case in cases(&topic, "limit-") {
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let target_db = inputs["irr_target_db"].as_f64().unwrap();
        let phase = allowed_phase_error_deg(target_db, inputs["gain_db"].as_f64().unwrap());
        match expected["phase_limit_deg"].as_f64() {
            None => assert_eq!(phase, None, "{}", case["id"]),
            Some(want) => check(case, "phase limit", phase.unwrap(), want),
        }
        let want = expected["gain_limit_db_at_zero_phase"].as_f64().unwrap();
        check(case, "gain limit", allowed_amplitude_imbalance_db(target_db, 0.0).unwrap(), want);
    }
}

#[test]
fn complex_arm_ratio() {
    let topic = topic("01_irr_imbalance.json");
    for case in cases(&topic, "vec-") {
        let error = complex(&case["inputs"]["rho"]).ln();
        check(
            case,
            "irr_db",
            image_rejection_of_error_db(error),
            case["expected"]["irr_db"].as_f64().unwrap(),
        );
    }
}

#[test]
fn published_tables_that_follow_the_exact_formula() {
    let topic = topic("01_irr_imbalance.json");
    let mut compared = 0;
    for point in topic["published_points"].as_array().unwrap() {
        let number = |name: &str| point[name].as_f64();
        let (Some(gain_db), Some(phase_deg), Some(exact_db)) =
            (number("gain_db"), number("phase_deg"), number("exact_irr_db"))
        else {
            continue;
        };
        let got = image_rejection_db(gain_db, phase_deg);
        assert!((got - exact_db).abs() < 1e-9, "{point}");
        // The tables that are known to be wrong say so; the others hold to their last digit.
        if point["agrees_within_last_printed_digit_of_exact"] == true {
            let printed = point["published_irr_db"].to_string();
            let digits = printed
                .split_once('.')
                .map_or(0, |(_, decimals)| decimals.trim_end_matches('0').len());
            let last_digit = 10_f64.powi(-i32::try_from(digits).unwrap());
            assert!((got - number("published_irr_db").unwrap()).abs() <= last_digit, "{point}");
            compared += 1;
        }
    }
    assert!(compared >= 5, "only {compared} published points were compared");
}

#[test]
fn rules_of_thumb() {
    // Worked points of the exact formula, computed by hand with a pocket calculator.
    for (imbalance_db, phase_deg, want_db) in [
        (0.1, 1.0, 39.61),
        (0.3, 2.0, 32.20),
        (0.5, 3.0, 28.20),
        (1.0, 5.0, 22.83),
        (2.0, 10.0, 16.82),
    ] {
        let got = image_rejection_db(imbalance_db, phase_deg);
        assert!((got - want_db).abs() <= 0.005, "{got} {want_db}");
    }
    // Philips AN2003 (1999), as printed: 35 dB needs 2.0 degrees.
    assert!((allowed_phase_error_deg(35.0, 0.0).unwrap() - 2.0).abs() <= 0.05);
}
