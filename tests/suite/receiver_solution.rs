//! Whole receivers, from their description to their image rejection, against independent values,
//! closed forms and symmetries.

use crate::check_values::{cases, check, complex, list, matrix, topic};
use fourphase::description::read_receiver;
use fourphase::downconverter::{
    Contributor, DownconverterResult, Receiver, TrimCover, analyse_receiver, plan_points,
};
use fourphase::touchstone::ReadOptions;
use fourphase::units::{amplitude_from_db, db_from_amplitude, power_from_db, wrap_deg};
use num_complex::Complex64;
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;

fn demo() -> String {
    std::fs::read_to_string(demo_folder().join("receiver.toml")).unwrap()
}

fn demo_folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo")
}

/// Loads and solves a description that stands in a folder.
fn solve_in(folder: &Path, text: &str) -> (Receiver, DownconverterResult) {
    let path = folder.join("under-test.toml");
    std::fs::write(&path, text).unwrap();
    let loaded = read_receiver(&path, &ReadOptions::default())
        .unwrap_or_else(|error| panic!("{}", error.diagnostic().render(false)));
    let result = analyse_receiver(&loaded.receiver).unwrap();
    (loaded.receiver, result)
}

fn solve(text: &str) -> (Receiver, DownconverterResult) {
    let folder = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(demo_folder()).unwrap() {
        let path = entry.unwrap().path();
        if path.is_file() {
            std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
        }
    }
    solve_in(folder.path(), text)
}

/// A receiver of closed-form parts: hybrid, one element per channel, divider.
struct Simple {
    hybrid: &'static str,
    mixer_ohm: [Complex64; 2],
    isolated_ohm: Complex64,
    lo_lines_deg: [f64; 2],
    rf_lines_deg: [f64; 2],
    sideband: &'static str,
    channels: [&'static str; 2],
    extra: &'static str,
}

impl Default for Simple {
    fn default() -> Self {
        Self {
            hybrid: "{ kind = \"quadrature_hybrid\" }",
            mixer_ohm: [50.0.into(); 2],
            isolated_ohm: 50.0.into(),
            lo_lines_deg: [30.0; 2],
            rf_lines_deg: [20.0; 2],
            sideband: "upper",
            channels: ["i", "q"],
            extra: "",
        }
    }
}

impl Simple {
    fn text(&self) -> String {
        let mut text = format!(
            "lo_input = \"hybrid.in\"\nrf_input = \"divider.in\"\n{}\n\
             joins = [\"hybrid.a -- lo_i.1\", \"hybrid.b -- lo_q.1\", \"divider.i -- rf_i.1\", \"divider.q -- rf_q.1\"]\n\
             [frequency_plan]\nlo_ghz = {{ from = 28, to = 30, points = 5 }}\nif_ghz = [0.5, 1]\n\
             wanted_sideband = \"{}\"\nlo_power_dbm = 10\n\
             [[block]]\nname = \"hybrid\"\ncomponent = {}\nports = [\"in\", \"a\", \"b\", \"isolated\"]\n\
             [[block]]\nname = \"divider\"\ncomponent = {{ kind = \"divider\" }}\nports = [\"in\", \"i\", \"q\"]\n",
            self.extra, self.sideband, self.hybrid
        );
        for (way, angles_deg) in [("lo", self.lo_lines_deg), ("rf", self.rf_lines_deg)] {
            for (channel, angle_deg) in ["i", "q"].iter().zip(angles_deg) {
                let _ = write!(
                    text,
                    "[[block]]\nname = \"{way}_{channel}\"\npair = \"{way} lines\"\n\
                     component = {{ kind = \"line\", impedance_ohm = 50, center_ghz = 29, angle_deg = {angle_deg:?} }}\n"
                );
            }
        }
        let ohm = |z: Complex64| format!("[{:?}, {:?}]", z.re, z.im);
        for (at, load) in [
            ("hybrid.isolated", self.isolated_ohm),
            ("lo_i.2", self.mixer_ohm[0]),
            ("lo_q.2", self.mixer_ohm[1]),
            ("rf_i.2", 50.0.into()),
            ("rf_q.2", 50.0.into()),
        ] {
            let _ = write!(text, "[[load]]\nat = \"{at}\"\nohm = {}\n", ohm(load));
        }
        for (branch, channel) in ["i", "q"].iter().zip(self.channels) {
            let _ = write!(
                text,
                "[[mixer]]\nname = \"{branch}\"\nchannel = \"{channel}\"\nlo = \"lo_{branch}.2\"\nrf = \"rf_{branch}.2\"\n"
            );
        }
        text
    }

    fn solved(&self) -> (Receiver, DownconverterResult) {
        solve_in(tempfile::tempdir().unwrap().path(), &self.text())
    }
}

fn impedance(reflection: Complex64) -> Complex64 {
    50.0 * (1.0 + reflection) / (1.0 - reflection)
}

fn worst_db(result: &DownconverterResult) -> f64 {
    result.summary.worst.balance.image_rejection_db
}

#[test]
fn an_ideal_receiver_gives_no_image_for_either_sideband() {
    for sideband in ["upper", "lower"] {
        let (_, result) = Simple { sideband, ..Simple::default() }.solved();
        assert!(worst_db(&result) > 250.0, "{sideband}: {}", worst_db(&result));
        let budget = result.budget.unwrap();
        assert!(budget.total.norm() < 1e-12);
        for row in &budget.rows {
            assert!(row.error.norm() < 1e-12, "{}: {}", row.contributor, row.error);
        }
    }
}

#[test]
fn swapping_i_and_q_swaps_the_sideband() {
    let error =
        "{ kind = \"quadrature_hybrid\", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }";
    let (_, straight) = Simple { hybrid: error, ..Simple::default() }.solved();
    let (_, swapped) = Simple { hybrid: error, channels: ["q", "i"], ..Simple::default() }.solved();
    let (_, lower) = Simple { hybrid: error, sideband: "lower", ..Simple::default() }.solved();
    assert_ne!(straight.combination, swapped.combination);
    assert_ne!(straight.combination, lower.combination);
    for other in [&swapped, &lower] {
        assert!((worst_db(&straight) - worst_db(other)).abs() < 1e-9);
    }
    // The exact formula at 0.5 dB and 3 degrees, THEORY 5.
    assert!((worst_db(&straight) - 28.20).abs() < 0.005);
    // Forced the wrong way round, the wanted sideband is the weak one, and that is said.
    let wrong = Simple { hybrid: error, extra: "combine = \"i+jq\"", ..Simple::default() };
    let (_, wrong) = wrong.solved();
    let right = Simple { hybrid: error, extra: "combine = \"i-jq\"", ..Simple::default() };
    let (_, right) = right.solved();
    let (good, bad) = if worst_db(&right) > 0.0 { (right, wrong) } else { (wrong, right) };
    assert!((worst_db(&good) + worst_db(&bad)).abs() < 1e-9);
    assert!(bad.warnings.iter().any(|warning| warning.contains("not the stronger one")));
    assert!(good.warnings.is_empty());
    assert_eq!(good.summary.reversed_points, 0);
}

#[test]
fn the_same_line_in_both_channels_changes_nothing() {
    let hybrid =
        "{ kind = \"quadrature_hybrid\", imbalance_db = 0.4, phase_error_deg = 2, loss_db = 0.3 }";
    let (_, short) = Simple { hybrid, ..Simple::default() }.solved();
    for (lo_lines_deg, rf_lines_deg) in [([333.0; 2], [20.0; 2]), ([30.0; 2], [700.0; 2])] {
        let long = Simple { hybrid, lo_lines_deg, rf_lines_deg, ..Simple::default() };
        let (_, long) = long.solved();
        for (one, other) in short.points.iter().zip(&long.points) {
            let gap = one.balance.channel_error - other.balance.channel_error;
            assert!(gap.norm() < 1e-12, "{gap}");
        }
    }
}

/// THEORY 6: an ideal hybrid with two equal mixer loads and a matched source rejects by the return
/// losses of mixers and isolated port added up, whatever the angles. Derived by ourselves, exact.
#[test]
fn return_losses_of_mixers_and_isolated_port_add_up() {
    for (mixer_db, isolated_db, angle) in [(10.0, 20.0, 0.3), (6.0, 14.0, 2.0), (3.0, 30.0, -1.4)] {
        let mixer = Complex64::from_polar(amplitude_from_db(-mixer_db), 0.7);
        let isolated = Complex64::from_polar(amplitude_from_db(-isolated_db), angle);
        let receiver = Simple {
            mixer_ohm: [impedance(mixer); 2],
            isolated_ohm: impedance(isolated),
            ..Simple::default()
        };
        let (_, result) = receiver.solved();
        for point in &result.points {
            let got = point.balance.image_rejection_db;
            assert!((got - mixer_db - isolated_db).abs() < 1e-9, "{got}");
        }
        // So the ring around either is a circle of constant rejection.
        for ring in &result.load_rings {
            assert!((ring.worst_db - mixer_db - isolated_db).abs() < 1e-9, "{ring:?}");
            assert!((ring.best_db - mixer_db - isolated_db).abs() < 1e-9, "{ring:?}");
        }
        // And the loads alone are all there is to the budget.
        let budget = result.budget.unwrap();
        let loads = budget.rows.iter().find(|row| row.contributor == Contributor::Loads).unwrap();
        assert!((loads.error - budget.total).norm() < 1e-12);
        assert!(loads.if_ideal_db.unwrap() > 250.0);
    }
}

/// THEORY 6: an error common to both baluns cancels out of the rejection and shows as common mode.
#[test]
fn a_balun_error_common_to_both_cancels() {
    let same = demo().replace("balun_q.s3p", "balun.s3p").replace("lead_q.s2p", "lead_i.s2p");
    let (_, result) = solve(&same);
    for name in ["baluns", "leads"] {
        let row = result.budget.as_ref().unwrap().rows.iter();
        let row =
            row.clone().find(|row| row.contributor == Contributor::Block(name.to_owned())).unwrap();
        assert!(row.error.norm() < 1e-12, "{name}: {}", row.error);
    }
    for point in &result.lo {
        for pair in &point.pairs {
            assert!(pair.common_mode_rejection_db > 20.0 && pair.common_mode_rejection_db < 80.0);
        }
    }
}

#[test]
fn no_power_is_made() {
    for text in [demo(), demo().replace("lo_power_dbm = 17.0", "lo_power_dbm = 0.0")] {
        let (receiver, result) = solve(&text);
        let available = power_from_db(receiver.plan.lo_power_dbm.unwrap());
        for point in &result.lo {
            let taken: f64 =
                point.mixers.iter().map(|drive| power_from_db(drive.lo_power_dbm.unwrap())).sum();
            assert!(taken < available && taken > 0.3 * available, "{taken} of {available}");
        }
        for path in &result.noise {
            for (loss, figure) in path.loss_db.iter().zip(&path.noise_figure_db) {
                let (loss, figure) = (loss.unwrap(), figure.unwrap());
                // Half the power goes the other way; a load takes no more than is available.
                assert!(figure > 3.0 && loss >= figure - 1e-12, "{loss} {figure}");
            }
        }
    }
}

#[test]
fn lossless_parts_deliver_all_that_is_available() {
    let (_, result) = Simple::default().solved();
    for point in &result.lo {
        let taken: f64 =
            point.mixers.iter().map(|drive| power_from_db(drive.lo_power_dbm.unwrap())).sum();
        assert!((taken - power_from_db(10.0)).abs() < 1e-9, "{taken} mW of 10");
        // An available watt into 50 ohms, halved: 5 volts.
        assert!((point.mixers[0].lo_magnitude - 5.0).abs() < 1e-12);
    }
    // A matched lossless halving: 3.01 dB.
    let half_db = -fourphase::units::db_from_power(0.5);
    for path in &result.noise {
        assert!((path.loss_db[0].unwrap() - half_db).abs() < 1e-12);
        assert!((path.noise_figure_db[0].unwrap() - half_db).abs() < 1e-12);
    }
}

/// `tests/check-values/10_frequency_plan_irr.json`, the whole networks: transfers by an independent
/// tableau solution, rejection by phasors and by sampled waveforms with a Fourier transform.
#[test]
fn whole_networks_at_both_sidebands() {
    let topic = topic("10_frequency_plan_irr.json");
    for case in cases(&topic, "plan-") {
        let folder = tempfile::tempdir().unwrap();
        let (inputs, expected) = (&case["inputs"], &case["expected"]);
        let lo = inputs["f_lo_ghz"].as_f64().unwrap();
        let intermediate = inputs["f_if_ghz"].as_f64().unwrap();
        let s_parameters = |rows: &[(f64, Vec<Complex64>)]| {
            let mut text = "# GHz S RI R 50\n".to_owned();
            for (ghz, values) in rows {
                let _ = write!(text, "{ghz:?}");
                let ports = values.len().isqrt();
                for row in values.chunks(ports) {
                    for value in row {
                        let _ = write!(text, " {:?} {:?}", value.re, value.im);
                    }
                    text.push('\n');
                }
            }
            text
        };
        // The quadrature hybrid, four ports, is on the LO side or on the RF side.
        let name = |way: &str, entries: usize| format!("{way}.s{}p", entries.isqrt());
        let lo_entries = matrix(&inputs["s_lo_at_flo"]);
        let (below, above) = (matrix(&inputs["s_rf_at_lower"]), matrix(&inputs["s_rf_at_upper"]));
        let names = [name("lo", lo_entries.len()), name("rf", above.len())];
        let rf_rows = [(lo - intermediate, below), (lo + intermediate, above)];
        std::fs::write(folder.path().join(&names[0]), s_parameters(&[(lo, lo_entries)])).unwrap();
        std::fs::write(folder.path().join(&names[1]), s_parameters(&rf_rows)).unwrap();
        for (sideband, key, transfers) in [
            ("upper", "irr_upper_wanted_db", "rf_transfers_upper"),
            ("lower", "irr_lower_wanted_db", "rf_transfers_lower"),
        ] {
            let text = plan_case(inputs, &names, sideband);
            let (_, result) = solve_in(folder.path(), &text);
            let got = worst_db(&result);
            match expected[key].as_f64() {
                Some(want) => check(case, key, got, want),
                None => assert!(got > 250.0, "{} {key}: {got}", case["id"]),
            }
            // The values are waves into the mixers, ours are voltages: V = (1 + Γ) a √50 ohm.
            let wave = |magnitude: f64, phase_deg: f64, reflection: Complex64| {
                Complex64::from_polar(magnitude / 50.0_f64.sqrt(), phase_deg.to_radians())
                    / (1.0 + reflection)
            };
            let (lo_want, rf_want) = (list(&expected["lo_transfers"]), list(&expected[transfers]));
            let reflections = |way: &str| list(&inputs[format!("{way}_mixer_reflection")]);
            let (lo_loads, rf_loads) = (reflections("lo"), reflections("rf"));
            for (at, drive) in result.lo[0].mixers.iter().enumerate() {
                let got = wave(drive.lo_magnitude, drive.lo_phase_deg, lo_loads[at]);
                assert!((got - lo_want[at]).norm() < 1e-9, "{} {got}", case["id"]);
                let got = wave(drive.rf_magnitude, drive.rf_phase_deg, rf_loads[at]);
                assert!((got - rf_want[at]).norm() < 1e-9, "{} {got}", case["id"]);
            }
        }
    }
}

fn plan_case(inputs: &Value, names: &[String; 2], sideband: &str) -> String {
    let ghz = |name: &str| inputs[name].as_f64().unwrap();
    let (lo, intermediate) = (ghz("f_lo_ghz"), ghz("f_if_ghz"));
    let mut text = format!(
        "lo_input = \"lo.1\"\nrf_input = \"rf.1\"\n\
         joins = [\"lo.2 -- lo_i.1\", \"lo.3 -- lo_q.1\", \"rf.2 -- rf_i.1\", \"rf.3 -- rf_q.1\"]\n\
         [frequency_plan]\nlo_ghz = {lo:?}\nif_ghz = {intermediate:?}\nwanted_sideband = \"{sideband}\"\n\
         [mixing]\nlo_amplitude_exponent = {:?}\n\
         [[block]]\nname = \"lo\"\nfile = \"{}\"\n[[block]]\nname = \"rf\"\nfile = \"{}\"\n",
        ghz("lo_exponent"),
        names[0],
        names[1]
    );
    for way in ["lo", "rf"] {
        let angles = &inputs[format!("{way}_line_theta_rad_at_f0")];
        let reflections = list(&inputs[format!("{way}_mixer_reflection")]);
        for (at, channel) in ["i", "q"].iter().enumerate() {
            let z = impedance(reflections[at]);
            let _ = write!(
                text,
                "[[block]]\nname = \"{way}_{channel}\"\ncomponent = {{ kind = \"line\", impedance_ohm = 50, \
                 center_ghz = {:?}, angle_deg = {:?} }}\n[[load]]\nat = \"{way}_{channel}.2\"\nohm = [{:?}, {:?}]\n",
                inputs["f0_ghz"].as_f64().unwrap(),
                angles[at].as_f64().unwrap().to_degrees(),
                z.re,
                z.im
            );
        }
    }
    let z = impedance(complex(&inputs["isolated_port_reflection_port4"]));
    for (way, name) in ["lo", "rf"].iter().zip(names).filter(|(_, name)| name.ends_with(".s4p")) {
        assert!(name.starts_with(way));
        let _ = write!(text, "[[load]]\nat = \"{way}.4\"\nohm = [{:?}, {:?}]\n", z.re, z.im);
    }
    let exponent = inputs["lo_exponent"].as_f64().unwrap();
    for (at, channel) in ["i", "q"].iter().enumerate() {
        // The values mix the waves into the mixers, not the voltages there; the gain undoes 1 + Γ.
        let factor = |way: &str| 1.0 + list(&inputs[format!("{way}_mixer_reflection")])[at];
        let (lo, rf) = (factor("lo"), factor("rf"));
        let gain = 1.0 / (rf * lo.conj() * lo.norm().powf(exponent - 1.0));
        let _ = write!(
            text,
            "[[mixer]]\nname = \"{channel}\"\ngain = [{:?}, {:?}]\nchannel = \"{channel}\"\nlo = \"lo_{channel}.2\"\nrf = \"rf_{channel}.2\"\n",
            gain.re, gain.im
        );
    }
    text
}

/// Real tones multiplied sample by sample, the products of each channel summed, and the IF bin of
/// a discrete Fourier transform put together as the report says, against the report's rejection.
#[test]
fn sampled_tones_give_the_same_rejection() {
    const SAMPLES: u32 = 4096;
    for (lo_ghz, if_ghz, harmonic) in
        [(27.0, 0.5, 1), (28.4, 1.5, 1), (31.0, 1.0, 1), (27.0, 0.75, 2)]
    {
        let plan = |sideband: &str| {
            let (exponent, lo) = (f64::from(harmonic), lo_ghz / f64::from(harmonic));
            let text = demo()
                .replace("{ from = 27.0, to = 31.0, points = 41 }", &format!("{lo:?}"))
                .replace("[0.5, 1.0, 1.5]", &format!("{if_ghz:?}"))
                .replace("\"upper\"", &format!("\"{sideband}\""))
                .replace(
                    "lo_amplitude_exponent = 1.0",
                    &format!("lo_amplitude_exponent = {exponent:?}\nlo_harmonic = {harmonic}"),
                );
            // At the second harmonic the LO parts would be out of their band: closed-form ones.
            solve(&if harmonic == 2 { second_harmonic(&text) } else { text })
        };
        let (receiver, upper) = plan("upper");
        let (_, lower) = plan("lower");
        let sign = if upper.combination == "I + jQ" { 1.0 } else { -1.0 };
        // Whole periods in the record, the products far from its ends.
        let (lo_periods, if_periods) = (180.0 / f64::from(harmonic), 13.0);
        let mut output = [Complex64::ZERO; 2];
        for (side, (solution, direction)) in [(&upper, 1.0), (&lower, -1.0)].into_iter().enumerate()
        {
            let mut bins = [Complex64::ZERO; 2];
            for sample in 0..SAMPLES {
                let turn = std::f64::consts::TAU * f64::from(sample) / f64::from(SAMPLES);
                let tone = |magnitude: f64, phase_deg: f64, periods: f64| {
                    magnitude * (periods * turn + phase_deg.to_radians()).cos()
                };
                for (mixer, drive) in receiver.mixers.iter().zip(&solution.lo[0].mixers) {
                    let lo = tone(drive.lo_magnitude, drive.lo_phase_deg, lo_periods);
                    let rf_periods = f64::from(harmonic) * lo_periods + direction * if_periods;
                    let rf = tone(drive.rf_magnitude, drive.rf_phase_deg, rf_periods);
                    let product =
                        lo.powi(harmonic) * rf * if mixer.is_subtracted { -1.0 } else { 1.0 };
                    let channel =
                        usize::from(mixer.channel == fourphase::downconverter::Channel::Q);
                    bins[channel] += product * Complex64::cis(-if_periods * turn);
                }
            }
            output[side] = bins[0] + Complex64::new(0.0, sign) * bins[1];
        }
        let got = db_from_amplitude(output[0].norm() / output[1].norm());
        let want = worst_db(&upper);
        assert!((got - want).abs() < 1e-6, "LO {lo_ghz}, IF {if_ghz}: {got} {want}");
        assert!(want > 15.0, "{want}");
    }
}

/// The demo with LO parts for half the frequency: a 45 degree split, which counts twice.
fn second_harmonic(text: &str) -> String {
    text.replace("file = \"coupler.s4p\"", "component = { kind = \"divider\", phase_error_deg = 46, imbalance_db = 0.2, loss_db = 0.5 }\nnominal_deg = 45")
        .replace("ports = [\"in\", \"through\", \"coupled\", \"isolated\"]", "ports = [\"in\", \"through\", \"coupled\"]")
        .replace("[[load]]\nat = \"hybrid.isolated\"\nfile = \"isolation_resistor.s1p\"\n", "")
        .replace("file = \"gate.s1p\"", "ohm = [45.0, -12.0]")
        .replace("file = \"lead_i.s2p\"", "component = { kind = \"line\", impedance_ohm = 50, center_ghz = 14, angle_deg = 40 }")
        .replace("file = \"lead_q.s2p\"", "component = { kind = \"line\", impedance_ohm = 50, center_ghz = 14, angle_deg = 41 }")
        // Antiphase at the second harmonic is a quarter turn of the LO.
        .replace("file = \"balun.s3p\"", "component = { kind = \"divider\", phase_error_deg = 90 }\nnominal_deg = 90")
        .replace("file = \"balun_q.s3p\"", "component = { kind = \"divider\", phase_error_deg = 91, loss_db = 0.1 }\nnominal_deg = 90")
}

#[test]
fn multiplication_after_the_split_counts_the_phase_so_often() {
    // A split of 22.5 degrees and times four after it makes quadrature.
    let split = "{ kind = \"divider\", phase_error_deg = 23, imbalance_db = 0.1 }";
    let text = Simple { hybrid: split, ..Simple::default() }
        .text()
        .replace(
            "lo_power_dbm",
            "lo_multiplication = 8\nlo_multiplication_after_split = 4\nlo_power_dbm",
        )
        .replace(
            "ports = [\"in\", \"a\", \"b\", \"isolated\"]",
            "ports = [\"in\", \"a\", \"b\"]\nnominal_deg = 22.5",
        )
        .replace("[[load]]\nat = \"hybrid.isolated\"\nohm = [50.0, 0.0]\n", "");
    let (receiver, result) = solve_in(tempfile::tempdir().unwrap().path(), &text);
    assert!((result.lo[0].lo_input_hz - 3.5e9).abs() < 1.0);
    assert!((receiver.inputs[0].grid.first_hz() - 7e9).abs() < 1.0);
    for point in &result.points {
        // Half a degree counts four times; the amplitude does not.
        let (amplitude_db, phase_deg) = point.balance.image();
        assert!((amplitude_db.abs() - 0.1).abs() < 1e-9, "{amplitude_db}");
        assert!((phase_deg.abs() - 2.0).abs() < 1e-9, "{phase_deg}");
    }
    let budget = result.budget.unwrap();
    assert_eq!(budget.rows[0].contributor, Contributor::Block("hybrid".to_owned()));
    assert!((budget.rows[0].error.im.abs().to_degrees() - 2.0).abs() < 1e-9);
}

#[test]
fn quadrature_may_lie_in_the_rf_path() {
    // In-phase LO, a hybrid at the RF input: it is read at both sidebands.
    let error =
        "{ kind = \"quadrature_hybrid\", imbalance_db = 0.3, phase_error_deg = 2, loss_db = 0.3 }";
    let text = Simple { hybrid: error, ..Simple::default() }
        .text()
        .replace("lo_input = \"hybrid.in\"", "lo_input = \"divider.in\"")
        .replace("rf_input = \"divider.in\"", "rf_input = \"hybrid.in\"")
        .replace("hybrid.a -- lo_i.1\", \"hybrid.b -- lo_q.1\", \"divider.i -- rf_i.1\", \"divider.q -- rf_q.1", "divider.i -- lo_i.1\", \"divider.q -- lo_q.1\", \"hybrid.a -- rf_i.1\", \"hybrid.b -- rf_q.1");
    let (_, result) = solve_in(tempfile::tempdir().unwrap().path(), &text);
    assert!((worst_db(&result) - 32.20).abs() < 0.005, "{}", worst_db(&result));
}

#[test]
fn quadrature_may_lie_in_the_if_path() {
    // In-phase LO and RF would reject nothing in one element each; the hybrid at IF needs LO in
    // quadrature as well, and keeps one sideband at one port, the other at the other.
    let text = |output: &str| {
        let mut text = Simple::default().text();
        let _ = write!(
            text,
            "[if_hybrid]\ncomponent = {{ kind = \"quadrature_hybrid\", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }}\n\
             i = 1\nq = 4\noutput = {output}\n"
        );
        text
    };
    let folder = tempfile::tempdir().unwrap();
    let (_, chosen) = solve_in(folder.path(), &text("[2, 3]"));
    assert!(chosen.is_chosen);
    let (_, two) = solve_in(folder.path(), &text("2"));
    let (_, three) = solve_in(folder.path(), &text("3"));
    let best = worst_db(&two).max(worst_db(&three));
    assert!((worst_db(&chosen) - best).abs() < 1e-12);
    assert!((best - 28.20).abs() < 0.1, "{best}");
    assert!(worst_db(&two).min(worst_db(&three)) < 0.0);
    let budget = chosen.budget.unwrap();
    assert_eq!(budget.rows[0].contributor, Contributor::IfParts);
}

#[test]
fn a_budget_adds_up_and_names_what_to_fix() {
    let (_, result) = solve(&demo());
    let budget = result.budget.as_ref().unwrap();
    let sum: Complex64 = budget.rows.iter().map(|row| row.error).sum();
    assert!((sum - budget.total).norm() < 1e-12);
    let first = result.fix_first().unwrap();
    assert_eq!(first.contributor, Contributor::Block("hybrid".to_owned()));
    assert!(budget.rows.windows(2).all(|pair| {
        pair[0].if_ideal_db.unwrap_or(f64::NEG_INFINITY)
            >= pair[1].if_ideal_db.unwrap_or(f64::NEG_INFINITY)
    }));
    // The pair's row says what happens when the description itself is mended: the same balun and
    // lead on both sides are not quite its "mean of the two", but nearly.
    let same = demo().replace("balun_q.s3p", "balun.s3p");
    let (_, mended) = solve(&same);
    let row = budget
        .rows
        .iter()
        .find(|row| row.contributor == Contributor::Block("baluns".to_owned()))
        .unwrap();
    let (got, said) = (worst_db(&mended), row.plan_if_ideal_db.unwrap());
    assert!((got - said).abs() < 0.3, "{got} {said}");
}

#[test]
fn a_load_beside_the_way_is_no_isolated_port() {
    // 100 ohms across one output of an ideal hybrid: what that does to I alone is known, and the
    // ring of isolated ports turns only the one at the isolated port.
    let text = Simple { isolated_ohm: 40.0.into(), ..Simple::default() }.text()
        + "[[load]]\nat = \"hybrid.a\"\nohm = 100\n";
    let (_, result) = solve_in(tempfile::tempdir().unwrap().path(), &text);
    let isolated = &result.load_rings[1];
    assert!((isolated.reflection - 1.0 / 9.0).abs() < 1e-9, "{isolated:?}");
    assert!(isolated.worst_db <= worst_db(&result) && worst_db(&result) <= isolated.best_db + 1e-9);
}

#[test]
fn nothing_wanted_is_no_perfect_rejection() {
    // The other output of an ideal IF hybrid: only the image comes through.
    let text = Simple::default().text()
        + "[if_hybrid]\ncomponent = { kind = \"quadrature_hybrid\" }\ni = 1\nq = 4\noutput = 3\n";
    let folder = tempfile::tempdir().unwrap();
    let (_, one) = solve_in(folder.path(), &text);
    let (_, other) = solve_in(folder.path(), &text.replace("output = 3", "output = 2"));
    let (bad, good) = if worst_db(&one) < 0.0 { (one, other) } else { (other, one) };
    assert!(worst_db(&good) > 250.0 && worst_db(&bad) < -250.0 && worst_db(&bad).is_finite());
    assert_eq!(bad.summary.reversed_points, bad.points.len());
}

/// THEORY 5: |ε| <= 2 atan(10^(-R/20)) keeps R dB at whatever angle.
#[test]
fn shares_add_up_to_what_the_requirement_allows() {
    for required_db in [15.0, 25.0, 40.0] {
        let text = demo()
            .replace("image_rejection_db = 25.0", &format!("image_rejection_db = {required_db:?}"));
        let (_, result) = solve(&text);
        let allocation = result.allocation.unwrap();
        let sum: f64 = allocation.shares.iter().map(|share| share.allowed).sum();
        assert!((sum - allocation.allowed_total).abs() < 1e-12);
        for (share, row) in allocation.shares.iter().zip(&result.budget.unwrap().rows) {
            assert!((share.present - row.error.norm()).abs() < 1e-15);
            assert!((share.allowed - share.present * allocation.factor).abs() < 1e-15);
        }
        // At the worst angle, the imaginary one, just the requirement is left.
        let phase_deg = allocation.allowed_total.to_degrees();
        let left_db = fourphase::splitter::image_rejection_db(0.0, phase_deg);
        assert!((left_db - required_db).abs() < 1e-9, "{left_db}");
    }
}

/// For an ideal hybrid the sum of the return losses is the loads' rejection; so what the allocation
/// asks for, put in place of the present loads, gives the loads just their share.
#[test]
fn the_return_losses_asked_for_give_the_loads_their_share() {
    let solved = |isolated_db: f64| {
        let reflection = |db: f64, angle: f64| Complex64::from_polar(amplitude_from_db(-db), angle);
        let simple = Simple {
            mixer_ohm: [impedance(reflection(12.0, 0.4)); 2],
            isolated_ohm: impedance(reflection(isolated_db, -1.1)),
            lo_lines_deg: [30.0, 30.0],
            ..Simple::default()
        };
        let text = simple.text() + "[require]\nimage_rejection_db = 40\n";
        solve_in(tempfile::tempdir().unwrap().path(), &text).1
    };
    let losses = solved(16.0).allocation.unwrap().return_losses.unwrap();
    assert!((losses.mixers_db - 12.0).abs() < 1e-9 && (losses.isolated_db - 16.0).abs() < 1e-9);
    let mended = solved(losses.isolated_needed_db);
    // The share allows for the worst angle of the error; the closed form is exact in the product
    // of the reflections, so they part in second order of an error of 0.02.
    assert!((worst_db(&mended) - 40.0).abs() < 0.01, "{}", worst_db(&mended));
}

#[test]
fn a_kind_that_does_not_fit_is_said() {
    let text =
        demo().replace("file = \"lead_i.s2p\"", "file = \"lead_i.s2p\"\nkind = \"antiphase\"");
    let (_, result) = solve(&text);
    assert!(result.warnings.iter().any(|warning| warning.contains("'lead_i' is called antiphase")));
    let text = demo().replace("file = \"lead_i.s2p\"", "file = \"lead_i.s2p\"\nnominal_deg = 45.0");
    let (_, result) = solve(&text);
    assert!(result.warnings.iter().any(|warning| warning.contains("nominal phase")));
    assert!(solve(&demo()).1.warnings.is_empty());
}

#[test]
fn a_budget_without_rows_or_none_can_be_drawn() {
    let (_, mut result) = Simple::default().solved();
    if let Some(budget) = &mut result.budget {
        budget.rows.clear();
    }
    assert!(fourphase::plot::receiver_budget(&result).is_ok());
    result.budget = None;
    assert!(fourphase::plot::receiver_budget(&result).is_ok());
}

#[test]
fn one_error_alone_is_all_of_the_budget() {
    // A matched part with a known error in a matched receiver contributes just that.
    let hybrid =
        "{ kind = \"quadrature_hybrid\", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }";
    let (_, result) = Simple { hybrid, ..Simple::default() }.solved();
    let budget = result.budget.unwrap();
    let row = &budget.rows[0];
    assert_eq!(row.contributor, Contributor::Block("hybrid".to_owned()));
    assert!((fourphase::units::db_from_neper(row.error.re).abs() - 0.5).abs() < 1e-9);
    assert!((row.error.im.to_degrees().abs() - 3.0).abs() < 1e-9);
    assert!(row.if_ideal_db.unwrap() > 250.0);
    // Lines of unequal length: 3 degrees at 29 GHz, in proportion elsewhere.
    let lines = Simple { lo_lines_deg: [30.0, 33.0], ..Simple::default() };
    let (_, result) = lines.solved();
    let worst = result.summary.worst;
    let row = &result.budget.unwrap().rows[0];
    assert_eq!(row.contributor, Contributor::Block("lo lines".to_owned()));
    let want = 3.0 * worst.lo_hz / 29e9;
    assert!((row.error.im.to_degrees().abs() - want).abs() < 1e-9);
    let corrected = &result.correction;
    assert!(corrected.per_lo_db() > 150.0, "{}", corrected.per_lo_db());
    // One trim for all leaves half of the spread over 28 to 30 GHz, to second order.
    let half_spread = (3.0_f64 / 29.0).to_radians();
    // The trim turns the wanted sideband the other way: 2 cos 3 deg is left of 2.
    let kept = 3.0_f64.to_radians().cos();
    let (got, want) = (corrected.single.worst_db, -db_from_amplitude(half_spread / 2.0 / kept));
    assert!((got - want).abs() < 1e-3, "{got} {want}");
}

#[test]
fn the_correction_in_the_description_is_applied_to_q() {
    let (_, before) = solve(&demo());
    let trim = before.correction.single;
    let with = demo().replace(
        "amplitude_step_db",
        &format!(
            "amplitude_db = {:?}\nphase_deg = {:?}\namplitude_step_db",
            trim.amplitude_db, trim.phase_deg
        ),
    );
    let (_, after) = solve(&with);
    assert!((worst_db(&after) - trim.worst_db).abs() < 1e-9);
    assert!(after.correction.single.amplitude_db.abs() < 1e-3);
    let row = after.budget.as_ref().unwrap().rows.iter();
    assert!(row.clone().any(|row| row.contributor == Contributor::Correction));
    // In steps no trim is better than the free one, and the free one is found.
    let plan = &before.correction;
    assert!(plan.single_in_steps.worst_db <= plan.single.worst_db + 1e-9);
    assert!(plan.per_lo_in_steps_db() <= plan.per_lo_db() + 1e-9);
    assert!(plan.per_lo_db() >= plan.single.worst_db);
}

#[test]
fn trims_cover_the_band_as_often_as_needed() {
    let with = |db: f64| {
        demo().replace("image_rejection_db = 25.0", &format!("image_rejection_db = {db:?}"))
    };
    let needed = |db: f64| match solve(&with(db)).1.correction.cover.unwrap() {
        TrimCover::Holds(segments) => {
            assert!(segments.iter().all(|segment| segment.trim.worst_db >= db));
            // The segments follow one another without gaps.
            for pair in segments.windows(2) {
                assert!((pair[1].lo_hz.0 - pair[0].lo_hz.1 - 0.1e9).abs() < 1.0);
            }
            segments.len()
        }
        TrimCover::Impossible { .. } => usize::MAX,
    };
    let counts = [25.0, 34.0, 40.0, 50.0, 90.0].map(needed);
    assert_eq!((counts[0], counts[1]), (1, 1));
    assert!(counts[2] > 1 && counts[3] > counts[2] && counts[3] < 41, "{counts:?}");
    assert_eq!(counts[4], usize::MAX);
}

#[test]
fn phases_are_unwrapped_and_near_their_ideals() {
    let (_, result) = solve(&demo());
    for pair in result.lo.windows(2) {
        for (one, other) in pair[0].mixers.iter().zip(&pair[1].mixers) {
            assert!((other.lo_phase_deg - one.lo_phase_deg).abs() < 20.0);
            assert!(other.lo_phase_deg < one.lo_phase_deg, "phase falls with frequency");
        }
    }
    for point in &result.lo {
        let errors: f64 = point.mixers.iter().map(|drive| drive.lo_phase_error_deg).sum();
        assert!(errors.abs() < 1e-9);
        assert!(point.mixers.iter().all(|drive| drive.lo_phase_error_deg.abs() < 3.0));
        let first = &point.mixers[0];
        for drive in &point.mixers {
            let quarter = wrap_deg(drive.lo_phase_deg - first.lo_phase_deg) / 90.0;
            assert!((quarter - quarter.round()).abs() < 0.1);
        }
    }
}

#[test]
fn gains_and_sources_count() {
    // A gain of one element shows as the error it is.
    let text =
        Simple::default().text().replace("lo = \"lo_q.2\"", "gain = [1.1, 0.0]\nlo = \"lo_q.2\"");
    let (_, result) = solve_in(tempfile::tempdir().unwrap().path(), &text);
    let (amplitude_db, _) = result.points[0].balance.image();
    assert!((amplitude_db - db_from_amplitude(1.1)).abs() < 1e-9);
    let budget = result.budget.unwrap();
    assert_eq!(budget.rows[0].contributor, Contributor::MixerGains);
    // A source of another impedance delivers less into a matched tree: (1 - |Γ|²).
    let text = Simple { extra: "lo_source_ohm = [30.0, 20.0]", ..Simple::default() }.text();
    let (_, result) = solve_in(tempfile::tempdir().unwrap().path(), &text);
    let z = Complex64::new(30.0, 20.0);
    let reflection = (z - 50.0) / (z + 50.0);
    let taken: f64 =
        result.lo[0].mixers.iter().map(|m| power_from_db(m.lo_power_dbm.unwrap())).sum();
    assert!((taken - 10.0 * (1.0 - reflection.norm_sqr())).abs() < 1e-9, "{taken}");
}

/// `tests/check-values/receiver_demo.json`: every point of the demo by an independent nodal analysis.
/// Two double-precision solutions differ by rounding, some 1e-12; the budget is given to its last
/// printed digit.
#[test]
fn the_demo_agrees_with_a_nodal_analysis() {
    let want = topic("receiver_demo.json");
    let (receiver, result) = solve(&demo());
    assert_eq!(plan_points(&receiver).unwrap(), result.points);
    let points = want["points"].as_array().unwrap();
    assert_eq!(points.len(), result.points.len());
    for (want, got) in points.iter().zip(&result.points) {
        let want: Vec<f64> = want.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        let (wanted, image) = (got.balance.wanted(), got.balance.image());
        assert!((got.lo_hz - want[0]).abs() < 1.0 && (got.if_hz - want[1]).abs() < 1.0);
        let got = [got.balance.image_rejection_db, wanted.0, wanted.1, image.0, image.1];
        for (got, want) in got.iter().zip(&want[2..]) {
            assert!((got - want).abs() < 1e-10, "{got} {want}");
        }
    }
    for want in want["lo"].as_array().unwrap() {
        let lo_hz = want["lo_hz"].as_f64().unwrap();
        let got = result.lo.iter().find(|point| (point.lo_hz - lo_hz).abs() < 1.0).unwrap();
        for ((want, got), mixer) in
            want["mixers"].as_array().unwrap().iter().zip(&got.mixers).zip(&receiver.mixers)
        {
            assert_eq!(want["name"], mixer.name.as_str());
            for (key, got) in [
                ("lo_magnitude", got.lo_magnitude),
                ("rf_magnitude", got.rf_magnitude),
                ("lo_power_dbm", got.lo_power_dbm.unwrap()),
                ("lo_phase_deg", wrap_deg(got.lo_phase_deg)),
                ("rf_phase_deg", wrap_deg(got.rf_phase_deg)),
            ] {
                let want = want[key].as_f64().unwrap();
                assert!((got - want).abs() < 1e-10, "{key} {got} {want}");
            }
        }
    }
    for row in &result.budget.as_ref().unwrap().rows {
        let want = &want["budget"][row.contributor.to_string()];
        let number = |at: usize| want[at].as_f64().unwrap();
        let got = [fourphase::units::db_from_neper(row.error.re), row.error.im.to_degrees()];
        assert!((got[0] - number(0)).abs() < 1e-5 && (got[1] - number(1)).abs() < 1e-5, "{got:?}");
        assert!((row.alone_db - number(2)).abs() < 1e-4, "{}", row.contributor);
        if let Some(if_ideal_db) = row.if_ideal_db {
            assert!((if_ideal_db - number(3)).abs() < 1e-4, "{}", row.contributor);
        }
    }
    let centre = receiver.plan.centre();
    for path in &result.noise {
        if let Some(want) = want["noise_figure_db_at_29_ghz"][&path.mixer].as_f64() {
            assert!((path.noise_figure_db[centre].unwrap() - want).abs() < 1e-6);
        }
    }
    let trim_db = want["single_trim_worst_db"].as_f64().unwrap();
    assert!((result.correction.single.worst_db - trim_db).abs() < 1e-6);
    for (ring, name) in result.load_rings.iter().zip(["mixers", "isolated"]) {
        let want = want["rings_worst_db"][name].as_f64().unwrap();
        // The program's search stops at a tenth of a degree around the worst.
        assert!((ring.worst_db - want).abs() < 1e-5, "{} {want}", ring.worst_db);
    }
}
