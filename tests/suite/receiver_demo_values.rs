//! The demo receiver against an independent nodal analysis, and against sampled tones.
//!
//! Source: `tests/check-values/receiver_demo.json`. Two double-precision solutions differ by
//! rounding, some 1e-12; what is given there with a printed number of digits is compared to the last
//! of them.

use crate::check_values::topic;
use crate::harness::replaced;
use crate::receiver_cases::{demo, solve, worst_db};
use fourphase::downconverter::{Channel, DownconverterResult, Receiver, plan_points};
use fourphase::units::{db_from_amplitude, db_from_neper, wrap_deg};
use num_complex::Complex64;
use serde_json::Value;
use std::f64::consts::TAU;

fn close(got: f64, want: &Value, tolerance: f64, what: &str) {
    let want = want.as_f64().unwrap();
    assert!((got - want).abs() < tolerance, "{what}: {got}, expected {want}");
}

#[test]
fn points_agree_with_a_nodal_analysis() {
    let want = topic("receiver_demo.json");
    let (receiver, result) = solve(&demo());
    assert_eq!(plan_points(&receiver).unwrap(), result.points);
    let points = want["points"].as_array().unwrap();
    assert_eq!(points.len(), result.points.len());
    for (want, got) in points.iter().zip(&result.points) {
        close(got.lo_hz, &want[0], 1.0, "LO");
        close(got.if_hz, &want[1], 1.0, "IF");
        let (wanted, image) = (got.balance.wanted(), got.balance.image());
        let got = [
            got.balance.image_rejection_db,
            wanted.amplitude_db,
            wanted.phase_deg,
            image.amplitude_db,
            image.phase_deg,
        ];
        for (at, got) in got.into_iter().enumerate() {
            close(got, &want[2 + at], 1e-10, "balance");
        }
    }
}

#[test]
fn mixer_voltages_agree_with_a_nodal_analysis() {
    let want = topic("receiver_demo.json");
    let (receiver, result) = solve(&demo());
    for want in want["lo"].as_array().unwrap() {
        let lo_hz = want["lo_hz"].as_f64().unwrap();
        let got = result.lo.iter().find(|point| (point.lo_hz - lo_hz).abs() < 1.0).unwrap();
        for (at, (got, mixer)) in got.mixers.iter().zip(receiver.mixers()).enumerate() {
            let want = &want["mixers"][at];
            assert_eq!(want["name"], mixer.name.as_str());
            close(got.lo_magnitude, &want["lo_magnitude"], 1e-10, "LO magnitude");
            close(got.rf_magnitude, &want["rf_magnitude"], 1e-10, "RF magnitude");
            close(
                got.lo_power_dbm.unwrap().value().unwrap(),
                &want["lo_power_dbm"],
                1e-10,
                "LO power",
            );
            close(wrap_deg(got.lo_phase_deg), &want["lo_phase_deg"], 1e-10, "LO phase");
            close(wrap_deg(got.rf_phase_deg), &want["rf_phase_deg"], 1e-10, "RF phase");
        }
    }
}

#[test]
fn budget_correction_and_noise_agree_with_a_nodal_analysis() {
    let want = topic("receiver_demo.json");
    let (receiver, result) = solve(&demo());
    for row in &result.budget.as_ref().unwrap().rows {
        let name = row.contributor.to_string();
        let want = &want["budget"][&name];
        close(db_from_neper(row.error.re), &want[0], 1e-5, &name);
        close(row.error.im.to_degrees(), &want[1], 1e-5, &name);
        close(row.alone_db, &want[2], 1e-4, &name);
        if let Some(if_ideal_db) = row.if_ideal_db {
            close(if_ideal_db, &want[3], 1e-4, &name);
        }
    }
    let centre = receiver.plan().centre();
    for path in &result.noise {
        let want = &want["noise_figure_db_at_29_ghz"][&path.mixer];
        if !want.is_null() {
            close(path.noise_figure_db[centre].unwrap(), want, 1e-6, "noise figure");
        }
    }
    let trim = &result.correction.single;
    close(trim.worst_db, &want["single_trim_worst_db"], 1e-6, "correction");
    for (ring, name) in result.load_reflection_sweeps.iter().zip(["mixers", "isolated"]) {
        // The search for the worst phase stops at a tenth of a degree; near a minimum that costs a
        // second-order amount.
        close(ring.worst_db, &want["rings_worst_db"][name], 1e-5, name);
    }
}

const SAMPLES: u32 = 4096;
const IF_PERIODS: f64 = 13.0;

/// The complex amplitude of the IF in each channel: real tones multiplied sample by sample and a bin
/// of a discrete Fourier transform. The RF is above the LO's harmonic (1.0) or below (-1.0); whole
/// periods are in the record, the products far from its ends.
fn sampled_if(
    receiver: &Receiver,
    solution: &DownconverterResult,
    harmonic: i32,
    direction: f64,
) -> [Complex64; 2] {
    let lo_periods = 180.0 / f64::from(harmonic);
    let rf_periods = 180.0 + direction * IF_PERIODS;
    let mut bins = [Complex64::ZERO; 2];
    for sample in 0..SAMPLES {
        let turn = TAU * f64::from(sample) / f64::from(SAMPLES);
        let tone = |magnitude: f64, phase_deg: f64, periods: f64| {
            magnitude * (periods * turn + phase_deg.to_radians()).cos()
        };
        for (mixer, drive) in receiver.mixers().iter().zip(&solution.lo[0].mixers) {
            let lo = tone(drive.lo_magnitude, drive.lo_phase_deg, lo_periods);
            let rf = tone(drive.rf_magnitude, drive.rf_phase_deg, rf_periods);
            let sign = if mixer.is_subtracted { -1.0 } else { 1.0 };
            let channel = usize::from(mixer.channel == Channel::Q);
            bins[channel] += sign * lo.powi(harmonic) * rf * Complex64::cis(-IF_PERIODS * turn);
        }
    }
    bins
}

/// I and Q of both sidebands, put together as the report says, against the report's rejection.
#[test]
fn sampled_tones_give_the_same_rejection() {
    for (lo_ghz, if_ghz, harmonic) in
        [(27.0, 0.5, 1), (28.4, 1.5, 1), (31.0, 1.0, 1), (27.0, 0.75, 2)]
    {
        let solved = |sideband: &str| {
            let text = replaced(
                &demo(),
                &[
                    (
                        "{ from = 27.0, to = 31.0, points = 41 }",
                        &*format!("{:?}", lo_ghz / f64::from(harmonic)),
                    ),
                    ("[0.5, 1.0, 1.5]", &*format!("{if_ghz:?}")),
                    ("\"upper\"", &*format!("\"{sideband}\"")),
                    (
                        "lo_amplitude_exponent = 1.0",
                        &*format!("lo_amplitude_exponent = {harmonic}.0\nlo_harmonic = {harmonic}"),
                    ),
                ],
            );
            solve(&if harmonic == 2 { second_harmonic(&text) } else { text })
        };
        let (receiver, upper) = solved("upper");
        let (_, lower) = solved("lower");
        let sign = if upper.combination == "I + jQ" { 1.0 } else { -1.0 };
        let output = |solution: &DownconverterResult, direction: f64| {
            let [i, q] = sampled_if(&receiver, solution, harmonic, direction);
            i + Complex64::new(0.0, sign) * q
        };
        let got = db_from_amplitude(output(&upper, 1.0).norm() / output(&lower, -1.0).norm());
        let want = worst_db(&upper);
        assert!((got - want).abs() < 1e-6, "LO {lo_ghz}, IF {if_ghz}: {got} {want}");
        assert!(want > 15.0, "{want}");
    }
}

/// The demo with closed-form LO parts for half the frequency, where its files end: a 45 degree split,
/// which counts twice, and baluns of 90 degrees, which are in antiphase at the second harmonic.
fn second_harmonic(text: &str) -> String {
    let hybrid = r#"component = { kind = "divider", phase_error_deg = 46, imbalance_db = 0.2, loss_db = 0.5 }
nominal_deg = 45"#;
    let line_i =
        r#"component = { kind = "line", impedance_ohm = 50, center_ghz = 14, angle_deg = 40 }"#;
    let line_q =
        r#"component = { kind = "line", impedance_ohm = 50, center_ghz = 14, angle_deg = 41 }"#;
    let balun_i = r#"component = { kind = "divider", phase_error_deg = 90 }
nominal_deg = 90"#;
    let balun_q = r#"component = { kind = "divider", phase_error_deg = 91, loss_db = 0.1 }
nominal_deg = 90"#;
    let isolated = r#"[[load]]
at = "hybrid.isolated"
file = "isolation_resistor.s1p"
"#;
    let text = replaced(
        text,
        &[
            (r#"file = "coupler.s4p""#, hybrid),
            (r#", "coupled", "isolated"]"#, r#", "coupled"]"#),
            (isolated, ""),
            (r#"file = "lead_i.s2p""#, line_i),
            (r#"file = "lead_q.s2p""#, line_q),
            (r#"file = "balun.s3p""#, balun_i),
            (r#"file = "balun_q.s3p""#, balun_q),
        ],
    );
    text.replace(r#"file = "gate.s1p""#, "ohm = [45.0, -12.0]")
}
