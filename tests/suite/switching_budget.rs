//! The budget of receivers with switched mixers: what its rows promise, against the receiver of check
//! values 15 solved with the ideal values typed in.

use crate::check_values::{cases, matrix, topic};
use crate::harness::{Sandbox, number};
use crate::switching_cases::{SwitchingCase, peak_of, switch_of, whole};
use fourphase::downconverter::{BeyondSidebands, Channel, Sideband};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use serde_json::Value;
use std::f64::consts::TAU;

const SIDEBANDS: [Sideband; 2] = [Sideband::Upper, Sideband::Lower];

/// The report on a receiver with the sidebands of its case.
fn report(topic: &Value, case: &Value) -> Value {
    let same = topic["cases"].as_array().unwrap().iter();
    let receiver = same.clone().find(|own| own["same_receiver_as"] == case["id"]).unwrap();
    let sandbox = Sandbox::new();
    let sidebands = format!("[mixing]\nsidebands = {}", whole(&case["inputs"]["sidebands"]));
    let text = receiver["inputs"]["receiver_toml"].as_str().unwrap();
    assert!(text.contains("[mixing]\nswitch"), "{text}");
    sandbox.write("receiver.toml", text.replace("[mixing]", &sidebands));
    for (name, content) in receiver["inputs"]["files"].as_object().unwrap() {
        sandbox.write(name, content.as_str().unwrap());
    }
    sandbox.json("downconverter receiver.toml")
}

/// Volts at the IF nodes in each sideband.
fn volts(case: &Value) -> [Vec<Complex64>; 2] {
    let mut own = SwitchingCase::of(case);
    own.solve(own.sidebands(), BeyondSidebands::Resistance);
    SIDEBANDS.map(|sideband| {
        (0..own.if_nodes.len()).map(|node| own.solver.if_voltage(node, sideband)).collect()
    })
}

fn rejection_db(case: &Value, volts: &[Vec<Complex64>; 2]) -> f64 {
    let weights = SwitchingCase::of(case).weights();
    let power = |volts: &Vec<Complex64>| {
        volts.iter().zip(&weights).map(|(v, weight)| v * weight).sum::<Complex64>().norm_sqr()
    };
    let ratio_db = 10.0 * (power(&volts[0]) / power(&volts[1])).log10();
    if case["inputs"]["wanted_sideband"] == "upper" { ratio_db } else { -ratio_db }
}

fn elements_mut(case: &mut Value) -> &mut Vec<Value> {
    case["inputs"]["elements"].as_array_mut().unwrap()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    values.iter().sum::<f64>() / values.len() as f64
}

/// The promised rejection of a row, where there is one.
fn promised_db(rows: &Value, block: &str) -> Option<f64> {
    let row = rows.as_array().unwrap().iter().find(|row| row["block"] == block)?;
    Some(number(row, "/image_rejection_if_ideal_db"))
}

/// Both are the same solution, from files with 13 digits and more.
const TOLERANCE_DB: f64 = 1e-6;

/// Compares a row of all receivers that have it with the receiver in which something is ideal.
fn compare(list: &str, block: &str, ids: &[&str], ideal: impl Fn(&Value) -> [Vec<Complex64>; 2]) {
    let topic = topic("15_switching.json");
    for id in ids {
        let cases = topic["cases"].as_array().unwrap();
        let case = cases.iter().find(|case| case["id"] == *id).unwrap();
        let report = report(&topic, case);
        let point = &report["points"][0];
        let (own_db, solved_db) =
            (number(point, "/image_rejection_db"), rejection_db(case, &volts(case)));
        assert!((own_db - solved_db).abs() < TOLERANCE_DB, "{id}: {own_db} {solved_db}");
        let promised_db = promised_db(&report[list], block).unwrap();
        let got_db = rejection_db(case, &ideal(case));
        assert!((promised_db - got_db).abs() < TOLERANCE_DB, "{id}: {promised_db} {got_db}");
        assert!((promised_db - own_db).abs() > 1e-5, "{id}: the row changes nothing");
    }
}

/// Every element with the mean conductances and the mean threshold.
#[test]
fn equal_switches_keep_the_promise_of_their_row() {
    compare("budget", "switches", &["iq-unequal-elements"], |case| {
        let mut ideal = case.clone();
        let elements = elements_mut(&mut ideal);
        let mean_of = |key: &str| {
            mean(elements.iter().map(|own| own["switch"][key].as_f64().unwrap_or(f64::INFINITY)))
        };
        let conductance =
            |key: &str| mean(elements.iter().map(|own| 1.0 / own["switch"][key].as_f64().unwrap()));
        let (on_s, off_s, threshold_v) =
            (conductance("on_ohm"), conductance("off_ohm"), mean_of("threshold_v"));
        for own in elements {
            own["switch"]["on_ohm"] = (1.0 / on_s).into();
            own["switch"]["off_ohm"] = (1.0 / off_s).into();
            own["switch"]["threshold_v"] = threshold_v.into();
        }
        volts(&ideal)
    });
}

/// The mean LO amplitude at every element, and with it one duty.
#[test]
fn equal_amplitudes_keep_the_promise_of_their_row() {
    let ids = ["iq-star", "four-phase-errors", "iq-lines"];
    compare("budget_mechanisms", "unequal LO amplitudes", &ids, |case| {
        let mut ideal = case.clone();
        let elements = elements_mut(&mut ideal);
        let peak_v = mean(elements.iter().map(|own| own["lo_peak_v"].as_f64().unwrap()));
        for own in elements {
            own["lo_peak_v"] = peak_v.into();
        }
        volts(&ideal)
    });
}

/// Hard switches in a network of resistances have no memory: at every instant the voltages are those of
/// resistances, and the phasor at the IF is a mean over a period of constants times e^(±j w t). Peak LO
/// voltages are given; those of the case itself where `None`.
fn rejection_in_time_db(case: &Value, peak_v: Option<f64>) -> f64 {
    let inputs = &case["inputs"];
    let s = matrix(&inputs["rf_network"]["points"][0]["s"]);
    let s = DMatrix::from_fn(3, 3, |row, column| s[3 * row + column].re);
    let (one, reference_ohm) = (DMatrix::<f64>::identity(3, 3), 50.0);
    let siemens = (&one + &s).try_inverse().unwrap() * (&one - &s) / reference_ohm;
    let (source_ohm, load_ohm) = (50.0, inputs["if_load"]["ohm"].as_f64().unwrap());
    let elements = inputs["elements"].as_array().unwrap();
    // For each element the angle of its LO, and the half angle for which it is on.
    let on: Vec<(f64, f64)> = elements
        .iter()
        .map(|own| {
            let peak_v = peak_v.unwrap_or_else(|| own["lo_peak_v"].as_f64().unwrap());
            let half = (own["switch"]["threshold_v"].as_f64().unwrap() / peak_v).acos();
            (own["lo_phase_deg"].as_f64().unwrap().to_radians(), half)
        })
        .collect();
    let mut ends: Vec<f64> = on
        .iter()
        .flat_map(|(phase, half)| [half - phase, -half - phase])
        .map(|angle| angle.rem_euclid(TAU))
        .chain([0.0, TAU])
        .collect();
    ends.sort_by(f64::total_cmp);
    // Volts at the IF nodes of I and Q, above the LO; below it they are the conjugates.
    let mut volts = [Complex64::new(0.0, 0.0); 2];
    for interval in ends.windows(2) {
        let middle = 0.5 * (interval[0] + interval[1]);
        let element_ohm = |at: usize| {
            let (phase, half) = on[at];
            let is_on = (middle + phase).cos() > half.cos();
            let key = if is_on { "on_ohm" } else { "off_ohm" };
            elements[at]["switch"][key].as_f64().unwrap()
        };
        let mut system = siemens.clone();
        system[(0, 0)] += 1.0 / source_ohm;
        for at in 0..2 {
            system[(1 + at, 1 + at)] += 1.0 / (element_ohm(at) + load_ohm);
        }
        let emf_v = 2.0 * source_ohm.sqrt();
        let nodes = system.lu().solve(&DVector::from_vec(vec![emf_v / source_ohm, 0.0, 0.0]));
        let nodes = nodes.unwrap();
        let [from, to] = [interval[0], interval[1]].map(|angle| Complex64::from_polar(1.0, angle));
        let mean = (to - from) / Complex64::new(0.0, TAU);
        for (at, volts) in volts.iter_mut().enumerate() {
            *volts += mean * nodes[1 + at] * load_ohm / (element_ohm(at) + load_ohm);
        }
    }
    let z = |[i, q]: [Complex64; 2]| (i + Complex64::I * q).norm_sqr();
    10.0 * (z(volts) / z(volts.map(|own| own.conj()))).log10()
}

/// The row of a receiver whose solution in time is exact, as is that of the receiver itself.
#[test]
fn equal_amplitudes_of_a_resistive_receiver_are_those_in_time() {
    let topic = topic("15_switching.json");
    let case = cases(&topic, "iq-star")[0];
    let report = report(&topic, case);
    let own_db = number(&report["points"][0], "/image_rejection_db");
    let want_db = rejection_in_time_db(case, None);
    assert!((own_db - want_db).abs() < TOLERANCE_DB, "{own_db} {want_db}");
    let elements = case["inputs"]["elements"].as_array().unwrap();
    let peak_v = mean(elements.iter().map(|own| own["lo_peak_v"].as_f64().unwrap()));
    let ideal_db = rejection_in_time_db(case, Some(peak_v));
    let promised_db = promised_db(&report["budget_mechanisms"], "unequal LO amplitudes").unwrap();
    assert!((promised_db - ideal_db).abs() < TOLERANCE_DB, "{promised_db} {ideal_db}");
    // A hundred tolerances: an effect that is missing would be seen.
    assert!((promised_db - own_db).abs() > 100.0 * TOLERANCE_DB, "{promised_db} {own_db}");
}

/// Each channel with the other one's elements as resistances of their mean conductances.
#[test]
fn channels_apart_keep_the_promise_of_their_row() {
    let ids = ["iq-star", "half-duty-crosstalk", "four-phase-errors", "iq-lines"];
    compare("budget_mechanisms", "I-Q coupling", &ids, |case| {
        let of_channel = |name: &str| {
            let mut one = case.clone();
            for own in elements_mut(&mut one) {
                if own["channel"] != *name {
                    let mean_s = switch_of(&own["switch"]).coefficients(peak_of(own), 0)[0].re;
                    own["switch"]["on_ohm"] = (1.0 / mean_s).into();
                    own["switch"]["off_ohm"] = (1.0 / mean_s).into();
                }
            }
            volts(&one)
        };
        let (i, q) = (of_channel("i"), of_channel("q"));
        let nodes = SwitchingCase::of(case).if_nodes;
        [0, 1].map(|sideband| {
            let both = nodes.iter().zip(i[sideband].iter().zip(&q[sideband]));
            both.map(|(node, (i, q))| if node.channel == Channel::I { *i } else { *q }).collect()
        })
    });
}
