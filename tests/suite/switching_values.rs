//! Switched mixers against values computed independently: check values 15 and closed forms.

use crate::check_values::{cases, check, list, matrix, topic};
use crate::switching_cases::{SwitchingCase, check_list, peak_of, switch_of, whole};
use fourphase::downconverter::{BeyondSidebands, Channel, OutputWeights, Sideband};
use num_complex::Complex64;
use serde_json::Value;

/// The cases that give sidebands and matrices.
fn solved_cases(topic: &Value) -> Vec<&Value> {
    let all = topic["cases"].as_array().unwrap().iter();
    let found: Vec<&Value> = all.filter(|case| !case["inputs"]["elements"].is_null()).collect();
    assert!(found.len() > 30, "{}", found.len());
    found
}

fn db(ratio: f64) -> f64 {
    10.0 * ratio.log10()
}

#[test]
fn fourier_coefficients_of_the_conductance() {
    let topic = topic("15_switching.json");
    for case in cases(&topic, "coefficients-") {
        let (switch, peak) = (switch_of(&case["inputs"]), peak_of(&case["inputs"]));
        let got = switch.coefficients(peak, 24);
        check_list(case, "G_k", &got[..9], &case["expected"]["g_siemens_k0_to_8"]);
        let last = Value::Array(vec![case["expected"]["g_siemens_k24"].clone()]);
        check_list(case, "G_24", &got[24..], &last);
        if let Some(part) = case["expected"]["on_part_of_period"].as_f64() {
            check(case, "on part", switch.on_part(peak), part);
        }
    }
}

/// The expected values are of the truncated admittance form: signs, indices and factors.
#[test]
fn conversion_in_the_admittance_form() {
    let topic = topic("15_switching.json");
    for case in solved_cases(&topic) {
        let mut own = SwitchingCase::of(case);
        own.solve(own.sidebands(), BeyondSidebands::Shorted);
        check_conversion(case, &mut own, &case["expected"]);
    }
}

fn check_conversion(case: &Value, own: &mut SwitchingCase, expected: &Value) {
    let nodes = own.if_nodes.len();
    let volts = |own: &SwitchingCase, sideband| -> Vec<Complex64> {
        (0..nodes).map(|node| own.solver.if_voltage(node, sideband)).collect()
    };
    let (upper, lower) = (volts(own, Sideband::Upper), volts(own, Sideband::Lower));
    if !expected["v_if_upper"].is_null() {
        check_list(case, "v_if_upper", &upper, &expected["v_if_upper"]);
        check_list(case, "v_if_lower", &lower, &expected["v_if_lower"]);
    }
    let weights = own.weights();
    let z = |volts: &[Complex64]| -> Complex64 {
        volts.iter().zip(&weights).map(|(v, weight)| v * weight).sum()
    };
    let (wanted, sideband) = match case["inputs"]["wanted_sideband"].as_str().unwrap() {
        "upper" => ((&upper, &lower), Sideband::Upper),
        _ => ((&lower, &upper), Sideband::Lower),
    };
    if let Some(rejection_db) = expected["image_rejection_db"].as_f64() {
        let got_db = db(z(wanted.0).norm_sqr() / z(wanted.1).norm_sqr());
        check(case, "image rejection", got_db, rejection_db);
    }
    for (name, channel) in [("i", Some(Channel::I)), ("q", Some(Channel::Q)), ("both", None)] {
        if let Some(loss_db) = expected["conversion_loss_db"][name].as_f64() {
            check(case, "loss", -db(own.if_power_w(wanted.0, channel)), loss_db);
        }
    }
    let shares = own.solver.noise(OutputWeights::same(&weights), sideband).unwrap();
    let figure_db = db(shares.factor());
    check(case, "noise figure", figure_db, expected["noise_figure_db"].as_f64().unwrap());
    let listed = &expected["noise_over_wanted_source"];
    for (name, share) in [
        ("source_image", shares.source_image),
        ("source_other", shares.source_other),
        ("rf_network", shares.rf_network),
        ("elements", shares.elements),
    ] {
        if let Some(want) = listed[name].as_f64() {
            check(case, name, share, want);
        }
    }
}

#[test]
fn lo_leakage_and_offsets_in_the_admittance_form() {
    let topic = topic("15_switching.json");
    let mut compared = 0;
    for case in solved_cases(&topic) {
        let expected = &case["expected"];
        let Some(level_dbm) = expected["lo_at_rf_port_dbm"].as_f64() else { continue };
        let mut own = SwitchingCase::of(case);
        let got = own.leakage(own.sidebands(), BeyondSidebands::Shorted);
        check(case, "LO at the RF port", db(1e3 * got.rf_port_w), level_dbm);
        for (name, offset_v) in [("i", got.offset_i_v), ("q", got.offset_q_v)] {
            let want = expected["dc_offset_v"][name].as_f64();
            assert_eq!(offset_v.is_some(), want.is_some(), "{} {name}", case["id"]);
            if let (Some(got), Some(want)) = (offset_v, want) {
                check(case, "offset", got, want);
            }
        }
        compared += 1;
    }
    assert!(compared > 10, "{compared}");
}

/// With a resistance matrix beyond the last sideband, at K = 4: the check values list such stations with
/// the matrix that they take.
#[test]
fn conversion_with_a_given_resistance_beyond_the_sidebands() {
    let topic = topic("15_switching.json");
    let mut compared = 0;
    for case in solved_cases(&topic) {
        let stations = case["truncated"].as_array().unwrap().iter();
        let Some(station) = stations.clone().find(|own| !own["beyond_ohm"].is_null()) else {
            continue;
        };
        let rows = station["beyond_ohm"].as_array().unwrap().iter();
        let entries = rows.flat_map(|row| row.as_array().unwrap());
        let ohm: Vec<f64> = entries.map(|entry| entry.as_f64().unwrap()).collect();
        let mut own = SwitchingCase::of(case);
        own.solve(whole(&station["sidebands"]), BeyondSidebands::Given(&ohm));
        // The case's tolerance is that of numbers printed with 13 digits; its R has 13 too.
        check_conversion(case, &mut own, station);
        compared += 1;
    }
    assert!(compared >= 11, "{compared}");
}

/// Whether the RF network and the IF load are the same at every frequency that a case lists, so that there
/// is one resistance in which the nodes end.
fn is_alike_at_all_sidebands(case: &Value) -> bool {
    let lists = ["rf_network", "if_load"].map(|name| &case["inputs"][name]["points"]);
    let mut tables = lists.iter().filter_map(|points| points.as_array());
    tables.all(|points| {
        let entries = |point: &Value| -> Vec<Complex64> { matrix(&point["s"]) };
        let first = entries(&points[0]);
        points.iter().all(|point| {
            // They are listed with 12 digits.
            first.iter().zip(entries(point)).all(|(one, other)| (one - other).norm() < 1e-11)
        })
    })
}

/// The resistance that the solver finds itself is the listed one wherever nodes see the same at every
/// sideband. What nodes see at the end of a line differs from frequency to frequency; the check values
/// then list a wave impedance, which no S-parameters tell. Any matrix has the same limit: with four
/// sidebands the own one leaves less of it than the admittance form does.
#[test]
fn conversion_with_the_own_resistance_beyond_the_sidebands() {
    let topic = topic("15_switching.json");
    let (mut stations, mut limits) = (0, 0);
    for case in solved_cases(&topic) {
        let all = case["truncated"].as_array().unwrap().iter();
        let Some(station) = all.clone().find(|own| !own["beyond_ohm"].is_null()) else {
            continue;
        };
        let sidebands = whole(&station["sidebands"]);
        if is_alike_at_all_sidebands(case) {
            let mut own = SwitchingCase::of(case);
            own.solve(sidebands, BeyondSidebands::Resistance);
            check_conversion(case, &mut own, station);
            stations += 1;
            continue;
        }
        let id = &case["id"];
        let tolerance_db = case["limit_tolerance"]["db"].as_f64().unwrap();
        let with = off_limit_db(case, sidebands, BeyondSidebands::Resistance);
        let without = off_limit_db(case, sidebands, BeyondSidebands::Shorted);
        assert!(with < without && with < tolerance_db, "{id}: {with} {without}");
        let more = off_limit_db(case, sidebands + 1, BeyondSidebands::Resistance);
        assert!(more < tolerance_db, "{id}: {more}");
        limits += 1;
    }
    assert!(stations >= 9 && limits >= 2, "{stations} {limits}");
}

/// How far the conversion loss of both channels is from its limit.
fn off_limit_db(case: &Value, sidebands: usize, beyond: BeyondSidebands<'_>) -> f64 {
    let limit_db = case["limit"]["conversion_loss_db"]["both"].as_f64().unwrap();
    let mut own = SwitchingCase::of(case);
    own.solve(sidebands, beyond);
    let sideband = match case["inputs"]["wanted_sideband"].as_str().unwrap() {
        "upper" => Sideband::Upper,
        _ => Sideband::Lower,
    };
    let nodes = 0..own.if_nodes.len();
    let volts: Vec<Complex64> = nodes.map(|node| own.solver.if_voltage(node, sideband)).collect();
    (-db(own.if_power_w(&volts, None)) - limit_db).abs()
}

/// Where every node sees a resistance the form is exact from K = 1 on: one hard series switch loses
/// pi^2 between equal resistances (A. A. M. Saleh 1971, from memory; derived in the check values).
#[test]
fn resistive_circuits_are_exact_with_one_sideband() {
    let topic = topic("15_switching.json");
    for (id, channel) in [("series-hard", Channel::I), ("closed-series-iq", Channel::I)] {
        let case = cases(&topic, id)[0];
        let mut own = SwitchingCase::of(case);
        own.solve(1, BeyondSidebands::Resistance);
        let volts: Vec<Complex64> = (0..own.if_nodes.len())
            .map(|node| own.solver.if_voltage(node, Sideband::Upper))
            .collect();
        let got_db = -db(own.if_power_w(&volts, Some(channel)));
        let want_db = case["limit"]["conversion_loss_db"]["i"].as_f64().unwrap();
        assert!((got_db - want_db).abs() < 1e-9, "{id}: {got_db} {want_db}");
    }
    let want = list(&cases(&topic, "series-hard")[0]["limit"]["v_if_upper"]);
    assert_eq!(want.len(), 1);
}
