//! Sources of uncertainty from repeats, covariances and tables, and descriptions that are refused.

use crate::harness::{Sandbox, number};
use fourphase::network::Port;
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};
use serde_json::Value;
use std::fmt::Write as _;

/// The demo's coupler measured five times, `again0.s4p` to `again4.s4p`. Each connection errs alike
/// over the sweep, each entry by itself, by 0.4 % in either part.
fn sandbox_with_repeats() -> Sandbox {
    let sandbox = Sandbox::with_demo();
    let mut random = ChaCha8Rng::seed_from_u64(3);
    for at in 0..5 {
        let errors: [[Complex64; 4]; 4] = std::array::from_fn(|_| {
            std::array::from_fn(|_| {
                let [x, y]: [f64; 2] = std::array::from_fn(|_| StandardNormal.sample(&mut random));
                Complex64::new(0.004 * x, 0.004 * y)
            })
        });
        sandbox.write_changed("coupler.s4p", &format!("again{at}.s4p"), |row, column, entry| {
            entry * errors[row][column].exp()
        });
    }
    sandbox
}

/// The uncertainty is the scatter over the root of five, and the mean is what is judged.
#[test]
fn repeats_bring_their_own_uncertainty() {
    let sandbox = sandbox_with_repeats();
    sandbox.write(
        "u.toml",
        r#"
trials = 100
[[source]]
repeats = ["again0.s4p", "again1.s4p", "again2.s4p", "again3.s4p", "again4.s4p"]
"#,
    );
    let imbalance = |report: &Value| number(report, "/points/50/amplitude_imbalance_db");
    let imbalances = [0, 1, 2, 3, 4].map(|at| {
        imbalance(&sandbox.json(&format!("splitter again{at}.s4p --input 1 --outputs 2,3")))
    });
    let report = sandbox.json("splitter again0.s4p --uncertainty u.toml");
    let mean = imbalances.iter().sum::<f64>() / 5.0;
    let variance = imbalances.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 4.0;
    // The mean of entries and of decibels differ in second order of errors of 0.4 %, which is
    // 8.7 dB times 0.004^2; four times that.
    let found = imbalance(&report);
    assert!((found - mean).abs() < 4.0 * 8.7 * 0.004_f64.powi(2), "{found} {mean}");
    let u = number(&report, "/uncertainty/points/50/u_amplitude_imbalance_db");
    // Logarithms and differences agree to the size of the errors.
    assert!((u - (variance / 5.0).sqrt()).abs() < 0.004 * u, "{u} {variance}");
}

#[test]
fn two_repeats_give_a_warning() {
    let sandbox = sandbox_with_repeats();
    let source = "trials = 100\nsource = [{ repeats = [\"again0.s4p\", \"again1.s4p\"] }]\n";
    sandbox.write("two.toml", source);
    let run = sandbox.run("splitter again0.s4p --uncertainty two.toml");
    assert_eq!(run.status, 0, "{}", run.stderr);
    assert!(run.stderr.contains("the standard deviation of 2 repeats"), "{}", run.stderr);
}

/// In a receiver the mean takes the place of the hybrid's file.
#[test]
fn repeats_count_in_a_receiver() {
    let sandbox = sandbox_with_repeats();
    sandbox.write(
        "r.toml",
        r#"
trials = 100
[[source]]
blocks = ["hybrid"]
repeats = ["again0.s4p", "again1.s4p", "again2.s4p", "again3.s4p", "again4.s4p"]
"#,
    );
    let report = sandbox.json("downconverter receiver.toml --uncertainty r.toml");
    let contributions = report["uncertainty"]["contributions"].as_array().unwrap();
    assert_eq!((contributions.len(), &contributions[0]["part"]), (1, &Value::from("hybrid")));
}

/// The covariance of the nine entries at one frequency, as `rebuild` wrote it.
fn covariance_at(table: &str, hz: f64) -> [[Complex64; 9]; 9] {
    let mut entries = [[Complex64::ZERO; 9]; 9];
    for line in table.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let number = |at: usize| fields[at].parse::<f64>().unwrap();
        if (number(0) - hz).abs() < 1.0 {
            let port = |at: usize| fields[at].parse::<usize>().unwrap() - 1;
            let (a, b) = (3 * port(1) + port(2), 3 * port(3) + port(4));
            entries[a][b] = Complex64::new(number(5), number(6));
            entries[b][a] = entries[a][b].conj();
        }
    }
    entries
}

/// A covariance that `rebuild` writes, into the imbalance of the rebuilt part.
#[test]
fn covariances_of_rebuild_pass_on() {
    let sandbox = Sandbox::with_demo();
    let mut set = "ports = 3\nreciprocal = true\n".to_owned();
    for (ports, end) in [("1,2", 3), ("1,3", 2), ("2,3", 1)] {
        sandbox.succeeds(&format!("convert divider.s3p without{end}.s2p --ports {ports}"));
        let _ = write!(
            set,
            r#"
[[termination]]
port = {end}
ohm = 50
[[measurement]]
file = "without{end}.s2p"
ports = [{ports}]
standard_uncertainty = 0.002
"#
        );
    }
    sandbox.write("set.toml", &set);
    let report = sandbox.json("rebuild set.toml --output whole.s3p --covariance covariance.csv");
    assert_eq!(report["uncertainty_source"], "measurements");
    sandbox.write("u.toml", "trials = 100\nsource = [{ covariance = \"covariance.csv\" }]\n");
    let report = sandbox.json("splitter whole.s3p --uncertainty u.toml");
    let hz = number(&report, "/points/0/frequency_hz");
    let entries = covariance_at(&sandbox.read("covariance.csv"), hz);
    let whole = sandbox.touchstone("whole.s3p").network;
    let at = |row: usize| whole.matrix(0).at(Port::from_index(row), Port::from_index(0));
    let (a, b) = (at(1), at(2));
    // ln b - ln a, errors alike in all directions: the same variance in either part.
    let variance = entries[3][3].re / a.norm_sqr() + entries[6][6].re / b.norm_sqr()
        - 2.0 * (entries[6][3] / (b * a.conj())).re;
    let u_deg = number(&report, "/uncertainty/points/0/u_phase_error_deg");
    let want_deg = variance.sqrt().to_degrees();
    assert!((u_deg - want_deg).abs() < 1e-5 * want_deg, "{u_deg} {want_deg}");
}

/// Fails unless the demo with this uncertainty, which may use files of the sandbox, is refused.
fn refuses(sandbox: &Sandbox, text: &str, mention: &str) {
    sandbox.write("wrong.toml", text);
    sandbox.refuses("downconverter receiver.toml --uncertainty wrong.toml", mention);
}

#[test]
fn wrong_keys_and_values_are_refused() {
    let sandbox = Sandbox::with_demo();
    for (text, mention) in [
        ("", "needs a [[source]]"),
        ("[[source]]\nport = { phase_dg = 1 }", "wrong.toml:2:10"),
        ("[[source]]\ntransmission = { phase_deg = -1 }", "wrong.toml:2:30"),
        ("coverage_percent = 20\n[[source]]\nport = { phase_deg = 1 }", "from 50 to 99.9"),
        (
            "[decision.guard_band]\nrejection = 1\n[[source]]\nport = { phase_deg = 1 }",
            "wrong.toml:2:1",
        ),
        ("[[source]]\nname = \"a\"", "needs one of: transmission"),
        ("[[source]]\nport = { phase_deg = 0 }", "no uncertainty above 0"),
    ] {
        refuses(&sandbox, text, mention);
    }
}

#[test]
fn sources_of_other_parts_are_refused() {
    let sandbox = Sandbox::with_demo();
    for (text, mention) in [
        ("[[source]]\nblocks = [\"hybrd\"]\nport = { phase_deg = 1 }", "wrong.toml:2:11"),
        ("[[source]]\nfiles = [\"other.s4p\"]\nport = { phase_deg = 1 }", "wrong.toml:2:10"),
        ("[[source]]\nrepeats = [\"coupler.s4p\"]", "two or more files"),
        ("[[source]]\nrepeats = [\"coupler.s4p\", \"gone.s4p\"]", "gone.s4p"),
        ("[[source]]\nblocks = [\"hybrid\"]\nrepeats = [\"balun.s3p\", \"balun_q.s3p\"]", "ports"),
        (
            "[[source]]\nblocks = [\"lead_i\"]\nover_frequency = \"correlated\"\n\
             repeats = [\"lead_i.s2p\", \"lead_q.s2p\"]",
            "wrong.toml:3:18",
        ),
    ] {
        refuses(&sandbox, text, mention);
    }
    // Two blocks of one file cannot err apart and together.
    let twins = sandbox.read("receiver.toml").replace("balun_q.s3p", "balun.s3p");
    sandbox.write("receiver.toml", twins);
    let sources = r#"
[[source]]
blocks = ["balun_i"]
port = { phase_deg = 1 }
[[source]]
files = ["balun.s3p"]
port = { phase_deg = 1 }
"#;
    refuses(&sandbox, sources, "the same data");
}

#[test]
fn wrong_tables_are_refused() {
    let sandbox = Sandbox::with_demo();
    sandbox.write("short.csv", "frequency_ghz,transmission_phase_deg\n28,1\n30,2\n");
    sandbox.write("odd.csv", "frequency_ghz,transmission_phase_deg\n24,1\n34,x\n");
    for (table, mention) in [
        ("short.csv", "short.csv:2:1"),
        ("odd.csv", "odd.csv:3:4"),
        ("gone.csv", "gone.csv"),
        ("gone.csv", "wrong.toml:2:9"),
    ] {
        refuses(&sandbox, &format!("[[source]]\ntable = \"{table}\""), mention);
    }
}

/// A table of the ten pairs of entries of a two-port at one frequency, without correlation.
fn covariance_table(variance: &str, hz: &str) -> String {
    let mut table = "frequency_hz,row_a,column_a,row_b,column_b,re,im\n".to_owned();
    let entries = ["1,1", "1,2", "2,1", "2,2"];
    for (at, a) in entries.iter().enumerate() {
        for b in &entries[at..] {
            let value = if a == b { variance } else { "0" };
            let _ = writeln!(table, "{hz},{a},{b},{value},0");
        }
    }
    table
}

#[test]
fn what_is_no_covariance_is_refused() {
    let sandbox = Sandbox::with_demo();
    let source = "[[source]]\nblocks = [\"lead_i\"]\ncovariance = \"c.csv\"";
    let whole = covariance_table("1e-6", "29e9");
    let cut: Vec<&str> = whole.lines().take(8).collect();
    for (table, mention) in [
        (covariance_table("-1e-6", "29e9"), "c.csv:11:1"),
        (cut.join("\n"), "2 ports need 10 rows"),
        (whole.clone(), "expected data at 27 GHz"),
    ] {
        sandbox.write("c.csv", table);
        refuses(&sandbox, source, mention);
    }
}

#[test]
fn wrong_uncertainties_of_a_splitter_are_refused() {
    let sandbox = Sandbox::with_demo();
    let source = "[[source]]\nfiles = [\"couplr.s4p\"]\ntransmission = { phase_deg = 1 }";
    sandbox.write("u.toml", source);
    for (uncertainty, mention) in [
        ("u.toml", "u.toml:2:10"),
        ("magnitude=x", "magnitude must be from 0 to 90, found x"),
        ("size=1", "expected a file"),
        ("gone.toml", "gone.toml"),
    ] {
        sandbox.refuses(&format!("splitter coupler.s4p --uncertainty {uncertainty}"), mention);
    }
}

/// A phase error that both baluns have in common, as from one calibration, cancels out of Q over I; each
/// with its own adds up.
#[test]
fn files_can_share_the_error_of_a_calibration() {
    let sandbox = Sandbox::with_demo();
    let total_deg = |shared: &str| {
        sandbox.write(
            "u.toml",
            format!(
                r#"
trials = 100
[[source]]
name = "calibration"
files = ["balun.s3p", "balun_q.s3p"]
{shared}
transmission = {{ phase_deg = 1.0 }}
"#
            ),
        );
        let report = sandbox.json("downconverter receiver.toml --uncertainty u.toml");
        let own = report["uncertainty"]["contributions"].as_array().unwrap().clone();
        let squares: f64 = own.iter().map(|one| number(one, "/u_phase_deg").powi(2)).sum();
        (
            own.len(),
            squares.sqrt(),
            number(&report, "/uncertainty/summary/worst_quadrature_error_deg/standard_uncertainty"),
        )
    };
    let (parts, own_deg, own_trials_deg) = total_deg("");
    let (shared_parts, shared_deg, shared_trials_deg) = total_deg("shared = true");
    assert_eq!((parts, shared_parts), (2, 1));
    assert!(shared_deg < 0.2 * own_deg, "{shared_deg} {own_deg}");
    assert!(shared_trials_deg < 0.3 * own_trials_deg, "{shared_trials_deg} {own_trials_deg}");
    sandbox.write(
        "u.toml",
        "[[source]]\nfiles = [\"balun.s3p\"]\nrepeats = [\"balun.s3p\", \"balun_q.s3p\"]\nshared = true\n",
    );
    sandbox.refuses("downconverter receiver.toml --uncertainty u.toml", "u.toml:1:1");
}

/// A capacitance of 10 % in a load and an angle of 2 degrees of a line, against receivers described with
/// the values one standard uncertainty up and down.
#[test]
fn parameters_of_closed_forms_count() {
    let sandbox = Sandbox::with_demo();
    sandbox.write(
        "u.toml",
        r#"
trials = 100
[[source]]
name = "capacitance"
loads = ["rf_line_q.2"]
parameters_percent = { capacitance_ff = 10.0 }
[[source]]
name = "angle"
blocks = ["rf_line_q"]
parameters = { angle_deg = 2.0 }
"#,
    );
    let report = sandbox.json("downconverter receiver.toml --uncertainty u.toml");
    let known = report["uncertainty"]["contributions"].as_array().unwrap();
    let description = sandbox.read("receiver.toml");
    let worst = |from: &str, to: &str| {
        // The last of equal texts is that of Q.
        let at = description.rfind(from).unwrap();
        let changed = [&description[..at], to, &description[at + from.len()..]].concat();
        sandbox.write("off.toml", changed);
        let off = sandbox.json("downconverter off.toml");
        let points = off["points"].as_array().unwrap().clone();
        let is_worst = |point: &&Value| {
            point["lo_hz"] == report["summary"]["worst_at_lo_hz"]
                && point["if_hz"] == report["summary"]["worst_at_if_hz"]
        };
        let point = points.iter().find(is_worst).unwrap().clone();
        [number(&point, "/channel_error/amplitude_db"), number(&point, "/channel_error/phase_deg")]
    };
    for (name, from, plus, minus) in [
        ("capacitance", "capacitance_ff = 12", "capacitance_ff = 13.2", "capacitance_ff = 10.8"),
        ("angle", "angle_deg = 41", "angle_deg = 43", "angle_deg = 39"),
    ] {
        let (plus, minus) = (worst(from, plus), worst(from, minus));
        let one = known.iter().find(|one| one["source"] == name).unwrap();
        for (at, key) in ["/u_amplitude_db", "/u_phase_deg"].iter().enumerate() {
            let (got, want) = (number(one, key), 0.5 * (plus[at] - minus[at]).abs());
            // The entries are taken as linear in the parameter: the angle's square over 6 is missing.
            assert!((got - want).abs() < 2e-3 * want + 1e-5, "{name} {key}: {got} {want}");
        }
    }
    sandbox
        .write("u.toml", "[[source]]\nloads = [\"rf_line_q.2\"]\nparameters = { angle_deg = 2 }\n");
    sandbox.refuses(
        "downconverter receiver.toml --uncertainty u.toml",
        "resistance_ohm, capacitance_ff",
    );
}
