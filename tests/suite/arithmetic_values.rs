//! LO-chain and decibel arithmetic.
//!
//! Source: `tests/check-values/14_arithmetic.json`, where each case names its own.

use crate::check_values::{cases, check, topic};
use fourphase::downconverter::{PlanSettings, frequency_plan};
use fourphase::splitter::image_rejection_db;
use fourphase::units::{db_from_amplitude, db_from_power, power_from_db};

#[test]
fn multiplication() {
    let topic = topic("14_arithmetic.json");
    for case in cases(&topic, "multiply-") {
        let n = u32::try_from(case["inputs"]["n"].as_u64().unwrap()).unwrap();
        let plan = frequency_plan(&PlanSettings {
            rf_hz: (27e9, 31e9),
            if_hz: (0.5e9, 1.5e9),
            multiplication: n,
        });
        check(
            case,
            "rise",
            plan.unwrap().phase_noise_rise_db,
            case["expected"]["rise_db"].as_f64().unwrap(),
        );
    }
    for case in cases(&topic, "drive-") {
        let inputs = &case["inputs"];
        let number = |name: &str| inputs[name].as_f64().unwrap();
        // An RF band that needs just these LOs at an IF of 1 GHz.
        let settings = PlanSettings {
            rf_hz: (1e9 * (number("lo_low_ghz") + 1.0), 1e9 * (number("lo_high_ghz") + 1.0)),
            if_hz: (1e9, 1e9),
            multiplication: u32::try_from(inputs["n"].as_u64().unwrap()).unwrap(),
        };
        let plan = frequency_plan(&settings).unwrap();
        let (low, high) = plan.sidebands[0].lo_input_hz;
        check(case, "low", low / 1e9, case["expected"]["drive_low_ghz"].as_f64().unwrap());
        check(case, "high", high / 1e9, case["expected"]["drive_high_ghz"].as_f64().unwrap());
    }
}

#[test]
fn decibels_and_errors_after_multiplication() {
    let topic = topic("14_arithmetic.json");
    for case in cases(&topic, "db-") {
        let ratio = case["inputs"]["ratio"].as_f64().unwrap();
        check(case, "power", db_from_power(ratio), case["expected"]["power_db"].as_f64().unwrap());
        check(
            case,
            "amplitude",
            db_from_amplitude(ratio),
            case["expected"]["amplitude_db"].as_f64().unwrap(),
        );
        assert!((power_from_db(db_from_power(ratio)) / ratio - 1.0).abs() < 1e-12);
    }
    // A split made before an N-fold multiplier is off by N times its error after it.
    for case in cases(&topic, "quad-after-") {
        let inputs = &case["inputs"];
        let after =
            inputs["n"].as_f64().unwrap() * inputs["phase_error_before_deg"].as_f64().unwrap();
        let got = image_rejection_db(inputs["gain_db"].as_f64().unwrap(), after);
        check(case, "rejection", got, case["expected"]["irr_db"].as_f64().unwrap());
    }
}
