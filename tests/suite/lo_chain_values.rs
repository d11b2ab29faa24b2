//! Stages of the LO chain against values computed independently (topic 16): the sideband rule, stage
//! laws, tones behind stages and chains, phase noise, the window of input power, spurious responses.

use crate::check_values::{cases, check, check_expected, complex, topic};
use fourphase::downconverter::{
    ActiveStage, AmplifierSettings, Carrier, Channel, Combination, Element, IqOutputs, Mixing,
    MultiplierSettings, NoiseStage, PowerWindow, Sideband, StageLine, ToneSet, phase_noise_dbc_hz,
    power_window, receiver_balance, sidebands, spurious_outputs,
};
use num_complex::Complex64;
use serde_json::Value;
use std::collections::BTreeMap;
use std::convert::Infallible;

fn lo_chain() -> Value {
    topic("16_lo_chain.json")
}

fn tone(value: &Value) -> (i64, Complex64) {
    let number = |key: &str| value[key].as_f64().unwrap();
    let amplitude = 10_f64.powf(number("dbc") / 20.0);
    let phase = number("phase_deg").to_radians();
    (value["multiple"].as_i64().unwrap(), Complex64::from_polar(amplitude, phase))
}

fn lines(table: &Value) -> Vec<StageLine> {
    let Some(table) = table.as_object() else { return Vec::new() };
    let line = |(order, given): (&String, &Value)| StageLine {
        order: order.parse().unwrap(),
        dbc: given.as_f64().unwrap_or_else(|| given["dbc"].as_f64().unwrap()),
        phase_deg: given["phase_deg"].as_f64().unwrap_or(0.0),
        slope: given["slope"].as_f64(),
    };
    table.iter().map(line).collect()
}

/// The amplifier or multiplier of a case; `None` for a two-port.
fn stage(given: &Value) -> Option<ActiveStage> {
    let number = |table: &Value, key: &str| table[key].as_f64().unwrap();
    if let Some(own) = given.get("amplifier") {
        let made = ActiveStage::amplifier(AmplifierSettings {
            gain_db: number(own, "gain_db"),
            saturated_dbm: number(own, "saturated_dbm"),
            smoothness: number(own, "smoothness"),
            harmonics: lines(&own["harmonics_dbc"]),
            am_pm_deg_per_db: 0.0,
            floor_dbc_hz: own["floor_dbc_hz"].as_f64(),
        });
        return Some(made.unwrap());
    }
    let own = given.get("multiplier")?;
    let made = ActiveStage::multiplier(MultiplierSettings {
        order: own["order"].as_u64().unwrap().try_into().unwrap(),
        knee_dbm: number(own, "knee_dbm"),
        saturated_dbm: number(own, "saturated_dbm"),
        products: lines(&own["products_dbc"]),
        floor_dbc_hz: own["floor_dbc_hz"].as_f64(),
    });
    Some(made.unwrap())
}

/// A complex number of the case is the same, part by part.
fn check_complex(case: &Value, what: &str, got: Complex64, want: &Value) {
    let want = complex(want);
    check(case, &format!("{what}, real"), got.re, want.re);
    check(case, &format!("{what}, imaginary"), got.im, want.im);
}

/// Tones that are expected are there, and no others above -150 dBc, where the cases end.
fn check_tones(case: &Value, got: &ToneSet) {
    let want = case["expected"]["relative"].as_object().unwrap();
    for (multiple, value) in want {
        let found = got.at(multiple.parse().unwrap());
        check_complex(case, &format!("tone {multiple}"), found, value);
        let dbc = case["expected"]["dbc"][multiple].as_f64().unwrap();
        check(case, &format!("dbc of {multiple}"), 20.0 * found.norm().log10(), dbc);
    }
    for (multiple, value) in got.tones() {
        let is_expected = want.contains_key(&multiple.to_string());
        assert!(
            is_expected || value.norm() < 10_f64.powf(-150.0 / 20.0),
            "{}: tone {multiple} {value}",
            case["id"]
        );
    }
}

#[test]
fn the_sideband_rule_is_that_of_the_cases() {
    let topic = lo_chain();
    for case in cases(&topic, "rule-") {
        let number = |key: &str| case["inputs"][key].as_f64().unwrap();
        let given = case["inputs"]["relative"].as_object().unwrap().iter();
        let relative: BTreeMap<i64, Complex64> =
            given.map(|(offset, value)| (offset.parse().unwrap(), complex(value))).collect();
        let got = sidebands(number("order"), number("slope").into(), &relative);
        for (offset, want) in case["expected"]["relative"].as_object().unwrap() {
            let found = got.get(&offset.parse().unwrap()).copied().unwrap_or_default();
            check_complex(case, offset, found, want);
        }
    }
}

#[test]
fn stages_have_the_output_and_the_slope_of_the_cases() {
    let topic = lo_chain();
    for case in cases(&topic, "law-") {
        let input_dbm = case["inputs"]["input_dbm"].as_f64().unwrap();
        let point = stage(&case["inputs"]["stage"]).unwrap().at(input_dbm);
        check_expected(case, "output_dbm", point.output_dbm);
        check_expected(case, "gain_db", point.output_dbm - input_dbm);
        check_expected(case, "slope", point.slope);
    }
}

#[test]
fn a_stage_changes_tones_as_in_the_cases() {
    let topic = lo_chain();
    for case in cases(&topic, "stage-") {
        let inputs = &case["inputs"];
        let carrier = Carrier {
            multiple: inputs["carrier_multiple"].as_i64().unwrap(),
            level_dbm: inputs["carrier_dbm"].as_f64().unwrap(),
            phase: inputs["carrier_phase_deg"].as_f64().unwrap().to_radians(),
        };
        let before = ToneSet::new(carrier, inputs["tones"].as_array().unwrap().iter().map(tone));
        // The phases of tones are given against the carrier.
        let behind = before.through(&stage(&inputs["stage"]).unwrap());
        assert_eq!(behind.tones.carrier().multiple, case["expected"]["carrier_multiple"]);
        check_expected(case, "carrier_dbm", behind.tones.carrier().level_dbm);
        check_expected(case, "slope", behind.point.slope);
        check_tones(case, &behind.tones);
    }
}

#[test]
fn chains_have_the_levels_and_tones_of_the_cases() {
    let topic = lo_chain();
    for case in cases(&topic, "chain-") {
        let inputs = &case["inputs"];
        let level_dbm = inputs["input_power_dbm"].as_f64().unwrap();
        let carrier = Carrier { multiple: 1, level_dbm, phase: 0.0 };
        let mut tones = ToneSet::new(carrier, inputs["tones"].as_array().unwrap().iter().map(tone));
        let expected = |key: &str, at: usize| case["expected"][key][at].as_f64().unwrap();
        for (at, given) in inputs["stages"].as_array().unwrap().iter().enumerate() {
            let before_dbm = tones.carrier().level_dbm;
            let slope = if let Some(stage) = stage(given) {
                let behind = tones.through(&stage);
                tones = behind.tones;
                behind.point.slope
            } else {
                let own = |multiple: i64| Some(complex(given["s21"].get(multiple.to_string())?));
                let at_carrier = own(tones.carrier().multiple).unwrap();
                tones = tones.filtered(at_carrier, own).tones;
                1.0
            };
            let output_dbm = tones.carrier().level_dbm;
            check(case, "carrier_dbm", output_dbm, expected("carrier_dbm", at));
            check(case, "gain_db", output_dbm - before_dbm, expected("gain_db", at));
            check(case, "slope", slope, expected("slope", at));
        }
        assert_eq!(tones.carrier().multiple, case["expected"]["carrier_multiple"]);
        check_tones(case, &tones);
    }
}

#[test]
fn phase_noise_rises_and_floors_add_as_in_the_cases() {
    let topic = lo_chain();
    for case in cases(&topic, "noise-") {
        let rows = |value: &Value| -> Vec<(f64, f64)> {
            let row = |row: &Value| (row[0].as_f64().unwrap(), row[1].as_f64().unwrap());
            value.as_array().unwrap().iter().map(row).collect()
        };
        let stages = case["inputs"]["stages"].as_array().unwrap().iter().map(|given| {
            let stage = stage(given).unwrap();
            NoiseStage { order: stage.order(), floor_dbc_hz: stage.floor_dbc_hz() }
        });
        let got =
            phase_noise_dbc_hz(&rows(&case["inputs"]["phase_noise"]), &stages.collect::<Vec<_>>());
        for (got, want) in got.iter().zip(rows(&case["expected"]["phase_noise"])) {
            check(case, "offset", got.0, want.0);
            check(case, "phase noise", got.1, want.1);
        }
    }
}

/// The drive of every stage, then the output, for a source power, dBm.
fn drives_dbm(stages: &[Value], source_dbm: f64) -> Vec<f64> {
    let mut levels = vec![source_dbm];
    let mut multiple = 1;
    for given in stages {
        let before_dbm = *levels.last().unwrap();
        levels.push(match stage(given) {
            Some(stage) => {
                multiple *= stage.order();
                stage.at(before_dbm).output_dbm
            }
            None => {
                let own = complex(&given["s21"][multiple.to_string()]);
                before_dbm + 20.0 * own.norm().log10()
            }
        });
    }
    levels
}

#[test]
fn windows_of_input_power_are_those_of_the_cases() {
    let topic = lo_chain();
    for case in cases(&topic, "window-") {
        let inputs = &case["inputs"];
        let stages = inputs["stages"].as_array().unwrap();
        let limit = |key: &str, default: f64| inputs[key].as_f64().unwrap_or(default);
        let transfer_db = limit("transfer_to_weakest_mixer_db", 0.0);
        let bound = |key: &str, at: usize| stages[at]["input_dbm"][key].as_f64();
        let reaches = |source_dbm: f64| {
            let drives = drives_dbm(stages, source_dbm);
            let is_driven =
                (0..stages.len()).all(|at| bound("min", at).is_none_or(|min| drives[at] >= min));
            let power_dbm = drives[stages.len()] + transfer_db;
            Ok::<_, Infallible>(is_driven && power_dbm >= limit("lo_power_dbm_min", -1e3))
        };
        let bears = |source_dbm: f64| {
            let drives = drives_dbm(stages, source_dbm);
            let is_borne =
                (0..stages.len()).all(|at| bound("max", at).is_none_or(|max| drives[at] <= max));
            let power_dbm = drives[stages.len()] + transfer_db;
            Ok(is_borne && power_dbm <= limit("lo_power_dbm_max", 1e3))
        };
        let want = &case["expected"]["input_window_dbm"];
        match power_window(reaches, bears).unwrap() {
            PowerWindow::Empty => assert!(want.is_null(), "{}", case["id"]),
            PowerWindow::Open { low_dbm, high_dbm } => {
                check(case, "lowest", low_dbm.unwrap(), want[0].as_f64().unwrap());
                assert_eq!(high_dbm.is_none(), want[1].is_null());
                if let Some(high_dbm) = high_dbm {
                    check(case, "highest", high_dbm, want[1].as_f64().unwrap());
                }
            }
        }
    }
}

#[test]
fn spurious_responses_are_those_of_the_cases() {
    let topic = lo_chain();
    for case in cases(&topic, "spurious-") {
        let inputs = &case["inputs"];
        let whole = |key: &str| u32::try_from(inputs[key].as_u64().unwrap()).unwrap();
        let (multiple, harmonic) = (whole("lo_multiple"), whole("lo_harmonic"));
        let exponent = inputs["lo_amplitude_exponent"].as_f64().unwrap();
        let mixing = Mixing::new(exponent, harmonic).unwrap();
        let centre = i64::from(harmonic * multiple);
        let mixers = inputs["mixers"].as_array().unwrap();
        // Every element with the RF voltages about a line, and the lines that its tones make.
        let elements = |line: i64| -> Vec<Element> {
            let element = |mixer: &Value| {
                let name = mixer["name"].as_str().unwrap();
                let rf = |side: &str| complex(&inputs["rf_voltage"][side][line.to_string()][name]);
                Element {
                    channel: if mixer["channel"] == "i" { Channel::I } else { Channel::Q },
                    is_subtracted: mixer["polarity"] == "-",
                    gain: mixer.get("gain").map_or(Complex64::ONE, complex),
                    lo: complex(&inputs["lo_voltage"][name][multiple.to_string()]),
                    rf_upper: rf("upper"),
                    rf_lower: rf("lower"),
                }
            };
            mixers.iter().map(element).collect()
        };
        let lines: Vec<BTreeMap<i64, Complex64>> = mixers
            .iter()
            .map(|mixer| {
                let voltages = inputs["lo_voltage"][mixer["name"].as_str().unwrap()].as_object();
                let carrier = complex(&voltages.unwrap()[&multiple.to_string()]);
                let tones = voltages.unwrap().iter().map(|(own, value)| {
                    (own.parse::<i64>().unwrap() - i64::from(multiple), complex(value) / carrier)
                });
                let tones = tones.filter(|(offset, _)| *offset != 0).collect();
                sidebands(f64::from(harmonic), exponent.into(), &tones)
            })
            .collect();
        let sign = inputs["combine_sign"].as_i64().unwrap();
        let combination = if sign > 0 { Combination::I_PLUS_JQ } else { Combination::I_MINUS_JQ };
        let is_upper = inputs["wanted_sideband"] == "upper";
        let wanted = if is_upper { Sideband::Upper } else { Sideband::Lower };
        let plain = IqOutputs::of(&elements(centre), &mixing);
        let balance = receiver_balance(&plain, &combination, wanted);
        check_expected(case, "image_rejection_db", balance.image_rejection_db);
        let z_wanted = combination.apply(plain.of_sideband(wanted));
        for (name, want) in case["expected"]["relative"].as_object().unwrap() {
            let (line, side) = name.split_once(' ').unwrap();
            let line: i64 = line.parse().unwrap();
            let own: Vec<Complex64> = lines.iter().map(|own| own[&(line - centre)]).collect();
            let outputs = spurious_outputs(&elements(line), &own, &mixing);
            let side = if side == "upper" { Sideband::Upper } else { Sideband::Lower };
            let got = combination.apply(outputs.of_sideband(side)) / z_wanted;
            check_complex(case, name, got, want);
        }
    }
}
