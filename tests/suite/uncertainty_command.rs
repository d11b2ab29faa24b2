//! Uncertainty through the commands: against the same receiver solved with files that are off, the
//! linear law against trials, decisions, and what is said when a description is wrong.

use crate::harness::{Bench, status, text};
use fourphase::network::{Network, Port};
use fourphase::touchstone::{ReadOptions, TouchstoneFile, WriteOptions, read, write};
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};
use serde_json::Value;
use std::f64::consts::LN_10;

/// A file with every entry changed.
fn changed(
    bench: &Bench,
    from: &str,
    to: &str,
    mut change: impl FnMut(usize, usize, Complex64) -> Complex64,
) {
    let file = read(&bench.path(from), &ReadOptions::default()).unwrap();
    let network = &file.network;
    let ports = network.ports();
    let entries = network
        .entries()
        .iter()
        .enumerate()
        .map(|(at, entry)| change(at / ports % ports, at % ports, *entry))
        .collect();
    let references = network.references_ohm(0).to_vec();
    let network = Network::new(network.kind(), network.grid().clone(), ports, entries, references);
    let file = TouchstoneFile { network: network.unwrap(), ..file };
    let mut bytes = Vec::new();
    write(&mut bytes, &file, &WriteOptions::default()).unwrap();
    std::fs::write(bench.path(to), bytes).unwrap();
}

fn channel_error(report: &Value) -> (f64, f64) {
    let worst = report["points"].as_array().unwrap().last().unwrap();
    let error = &worst["channel_error"];
    (error["amplitude_db"].as_f64().unwrap(), error["phase_deg"].as_f64().unwrap())
}

/// What one source contributes, against the receiver solved anew with each entry of the file off by one
/// standard uncertainty, by hand.
#[test]
fn contributions_are_those_of_files_that_are_off() {
    let bench = Bench::with_demo();
    let (u_db, u_deg) = (0.05, 0.4_f64);
    bench.write(
        "u.toml",
        &format!(
            "trials = 100\n[[source]]\nfiles = [\"coupler.s4p\"]\ntransmission = {{ magnitude_db = {u_db} }}\n\
             [[source]]\nfiles = [\"coupler.s4p\"]\nreflection = {{ phase_deg = {u_deg} }}\n"
        ),
    );
    let known = bench.json(&["downconverter", "receiver.toml", "--uncertainty", "u.toml"]);
    let own = channel_error(&bench.json(&["downconverter", "receiver.toml"]));
    let description = bench.read("receiver.toml").replace("\"coupler.s4p\"", "\"off.s4p\"");
    bench.write("off.toml", &description);
    let off = |row: usize, column: usize, factor: Complex64| {
        changed(&bench, "coupler.s4p", "off.s4p", |r, c, entry| {
            if (r, c) == (row, column) { entry * factor } else { entry }
        });
        let there = channel_error(&bench.json(&["downconverter", "off.toml"]));
        (there.0 - own.0, there.1 - own.1)
    };
    let mut sums = [[0.0_f64; 2]; 2];
    for row in 0..4 {
        for column in 0..4 {
            let (at, factor) = if row == column {
                (1, Complex64::cis(u_deg.to_radians()))
            } else {
                (0, Complex64::from(10_f64.powf(u_db / 20.0)))
            };
            let (amplitude, phase) = off(row, column, factor);
            sums[at][0] += amplitude * amplitude;
            sums[at][1] += phase * phase;
        }
    }
    let contributions = known["uncertainty"]["contributions"].as_array().unwrap();
    assert_eq!(contributions.len(), 2);
    for (name, sums) in ["source 1", "source 2"].iter().zip(sums) {
        let one = contributions.iter().find(|one| one["source"] == *name).unwrap();
        assert_eq!(one["part"], "hybrid");
        for (key, sum) in [("u_amplitude_db", sums[0]), ("u_phase_deg", sums[1])] {
            let (got, want) = (one[key].as_f64().unwrap(), sum.sqrt());
            // One-sided differences of 0.05 dB and files of a few more digits than the demo's.
            assert!((got - want).abs() < 0.01 * want, "{name} {key} {got} {want}");
        }
    }
    let shares: f64 = contributions.iter().map(|one| one["share"].as_f64().unwrap()).sum();
    assert!((shares - 1.0).abs() < 1e-9);
}

/// Where errors are small the linear law and the trials agree, for every kind of source.
#[test]
fn linear_and_trials_agree_where_both_hold() {
    let bench = Bench::with_demo();
    bench.write(
        "u.toml",
        "trials = 4000\n\
         [[source]]\nover_frequency = \"independent\"\n\
         transmission = { magnitude_db = 0.002, phase_deg = 0.02 }\nreflection = { magnitude = 0.0005 }\n\
         [[source]]\nreciprocal = true\ntransmission = { magnitude_db = 0.004 }\n\
         [[source]]\nplacement = { um = 1.0, effective_permittivity = 7.0 }\n\
         [[source]]\nport = { magnitude_db = 0.003 }\n",
    );
    let report = bench.json(&["downconverter", "receiver.toml", "--uncertainty", "u.toml"]);
    let points = report["points"].as_array().unwrap();
    let known = report["uncertainty"]["points"].as_array().unwrap();
    assert_eq!(points.len(), known.len());
    for (point, known) in points.iter().zip(known).step_by(7) {
        let error = &point["channel_error"];
        let error = Complex64::new(
            error["amplitude_db"].as_f64().unwrap() * LN_10 / 20.0,
            error["phase_deg"].as_f64().unwrap().to_radians(),
        );
        let derivative = -20.0 / LN_10 / error.sinh();
        let c = |row: usize, column: usize| {
            known["channel_error_covariance"][row][column].as_f64().unwrap()
        };
        let linear = (derivative.re.powi(2) * c(0, 0)
            - 2.0 * derivative.re * derivative.im * c(0, 1)
            + derivative.im.powi(2) * c(1, 1))
        .sqrt();
        let low = known["image_rejection_low_db"].as_f64().unwrap();
        let high = known["image_rejection_high_db"].as_f64().unwrap();
        // A 95 % interval is 3.92 standard uncertainties wide; its ends come from 4,000 trials, which
        // know the width to 3 %, and the sideband gain moves a little with the parts too.
        let trials = (high - low) / 3.92;
        assert!((trials / linear - 1.0).abs() < 0.1, "{trials} {linear}");
        let median = known["image_rejection_median_db"].as_f64().unwrap();
        let measured = point["image_rejection_db"].as_f64().unwrap();
        assert!((median - measured).abs() < 0.1 * linear + 0.01, "{median} {measured}");
    }
}

#[test]
fn threads_change_no_byte_and_seeds_do() {
    let bench = Bench::with_demo();
    let description = bench.read("uncertainty.toml");
    let with = |lines: &str| {
        bench.write("u.toml", &description.replace("seed = 1", lines));
        ["1", "3"].map(|threads| {
            let arguments = ["downconverter", "receiver.toml", "--uncertainty", "u.toml"];
            let more = ["--format", "json", "--threads", threads];
            let output = bench.run(&[&arguments[..], &more].concat());
            assert_eq!(status(&output), 1, "{}", text(&output.stderr));
            output.stdout
        })
    };
    let [one, three] = with("seed = 1\ntrials = 400");
    assert!(one == three);
    let [other, _] = with("seed = 2\ntrials = 400");
    let median = |bytes: &[u8]| {
        let report: Value = serde_json::from_slice(bytes).unwrap();
        report["uncertainty"]["summary"]["worst_image_rejection_db"]["median"].as_f64().unwrap()
    };
    assert!((median(&one) - median(&other)).abs() > 1e-6);
    assert!((median(&one) - median(&other)).abs() < 0.5);
}

#[test]
fn verdicts_are_pass_fail_or_undecided() {
    let bench = Bench::with_demo();
    let run = |limit: &str, more: &[&str]| {
        let arguments = [
            "splitter",
            "coupler.s4p",
            "--band",
            "27GHz..31GHz",
            "--require-image-rejection-db",
            limit,
        ];
        let output = bench.run(&[&arguments[..], more, &["--format", "json"]].concat());
        let report: Value = serde_json::from_slice(&output.stdout).unwrap();
        (status(&output), report)
    };
    let list = ["--uncertainty", "magnitude_db=0.03,phase_deg=0.3"];
    for (limit, word, expected) in [("25", "pass", 0), ("28.1", "undecided", 1), ("32", "fail", 1)]
    {
        let (status, report) = run(limit, &list);
        assert_eq!(status, expected, "{limit}");
        assert_eq!(report["verdict"]["decision"], word);
        assert_eq!(report["verdict"]["pass"], word == "pass");
        assert_eq!(report["verdict"]["requirements"][0]["decision"], word);
        let probability = report["verdict"]["requirements"][0]["probability"].as_f64().unwrap();
        assert_eq!(probability > 0.95, word == "pass");
        assert_eq!(probability < 0.05, word == "fail");
    }
    // Measured it passes all the same, and without an uncertainty that is the verdict.
    let (status, report) = run("28.1", &[]);
    assert_eq!((status, &report["verdict"]["pass"]), (0, &Value::Bool(true)));
    assert!(report["verdict"].get("decision").is_none() && report.get("uncertainty").is_none());
    // 28.17 dB against 28 with a guard band of 0.1 or 0.5 dB, whatever the probability.
    for (width, word) in [("0.1", "pass"), ("0.5", "undecided")] {
        bench.write(
            "guard.toml",
            &format!(
                "trials = 500\n[decision.guard_band]\nimage_rejection_db = {width}\n[[source]]\n\
                 transmission = {{ magnitude_db = 0.2 }}\n"
            ),
        );
        let (_, report) = run("28", &["--uncertainty", "guard.toml"]);
        assert_eq!(report["verdict"]["decision"], word, "{width}");
        assert_eq!(report["verdict"]["requirements"][0]["rule"], "guard_band");
    }
}

/// 0.1 dB and 1 degree of each of two transmissions are 0.141 dB and 1.41 degrees of their ratio.
#[test]
fn entries_add_up_in_the_pair() {
    let bench = Bench::with_demo();
    let report =
        bench.json(&["splitter", "coupler.s4p", "--uncertainty", "magnitude_db=0.1,phase_deg=1"]);
    for point in report["uncertainty"]["points"].as_array().unwrap() {
        let of = |key: &str| point[key].as_f64().unwrap();
        assert!((of("u_amplitude_imbalance_db") - 0.1 * 2_f64.sqrt()).abs() < 1e-6);
        assert!((of("u_phase_error_deg") - 2_f64.sqrt()).abs() < 1e-6);
        assert!(of("image_rejection_low_db") < of("image_rejection_median_db"));
    }
    // An error of the input port is common to both outputs.
    bench.write("u.toml", "trials = 100\n[[source]]\nport = { phase_deg = 1.0 }\n");
    let report = bench.json(&["splitter", "coupler.s4p", "--uncertainty", "u.toml"]);
    let point = &report["uncertainty"]["points"][0];
    assert!((point["u_phase_error_deg"].as_f64().unwrap() - 2_f64.sqrt()).abs() < 1e-6);
    // The demo's balun, as a common-mode rejection.
    let report = bench.json(&["splitter", "balun.s3p", "--uncertainty", "magnitude_db=0.1"]);
    assert!(report["uncertainty"]["points"][0]["common_mode_rejection_low_db"].is_number());
}

/// A load that is known only so well counts: against the load's file off by one standard uncertainty.
#[test]
fn loads_of_a_splitter_count() {
    let bench = Bench::with_demo();
    let run = |load: &str, more: &[&str]| {
        let load = format!("4={load}");
        let arguments = ["splitter", "coupler.s4p", "--load", &load, "--band", "29GHz..30GHz"];
        bench.json(&[&arguments[..], more].concat())
    };
    bench.write(
        "u.toml",
        "trials = 200\n[[source]]\nfiles = [\"isolation_resistor.s1p\"]\nreflection = { magnitude = 0.02 }\n",
    );
    let known = run("isolation_resistor.s1p", &["--uncertainty", "u.toml"]);
    let own = run("isolation_resistor.s1p", &[]);
    let (mut amplitude, mut phase) = (0.0, 0.0);
    for direction in [Complex64::ONE, Complex64::I] {
        changed(&bench, "isolation_resistor.s1p", "off.s1p", |_, _, entry| {
            entry + 0.02 * direction * entry / entry.norm()
        });
        let off = run("off.s1p", &[]);
        let of = |report: &Value, key: &str| report["points"][0][key].as_f64().unwrap();
        amplitude +=
            (of(&off, "amplitude_imbalance_db") - of(&own, "amplitude_imbalance_db")).powi(2);
        phase += (of(&off, "phase_error_deg") - of(&own, "phase_error_deg")).powi(2);
    }
    let point = &known["uncertainty"]["points"][0];
    for (key, want) in [
        ("u_amplitude_imbalance_db", f64::sqrt(amplitude)),
        ("u_phase_error_deg", f64::sqrt(phase)),
    ] {
        let got = point[key].as_f64().unwrap();
        assert!(want > 1e-3 && (got - want).abs() < 0.02 * want, "{key} {got} {want}");
    }
}

/// Who does what the advice says gets a decision.
#[test]
fn advice_decides() {
    let bench = Bench::with_demo();
    let run = |size: f64| {
        bench.write(
            "u.toml",
            &format!(
                "trials = 3000\n[[source]]\ntransmission = {{ magnitude_db = {}, phase_deg = {} }}\n\
                 [[source]]\nover_frequency = \"independent\"\nreflection = {{ magnitude = {} }}\n",
                0.02 * size,
                0.2 * size,
                0.005 * size
            ),
        );
        let report = bench.json(&["downconverter", "receiver.toml", "--uncertainty", "u.toml"]);
        let probability = report["verdict"]["requirements"][0]["probability"].as_f64().unwrap();
        (probability, report["uncertainty"]["advice"].clone())
    };
    let (probability, advice) = run(1.0);
    assert!((0.05..0.95).contains(&probability));
    let size = advice["all_must_shrink_to"].as_f64().unwrap();
    assert!(size > 0.0 && size < 1.0);
    // 95 % to within what 3,000 trials and the estimate of the plan's worst point know.
    let (probability, _) = run(size);
    assert!(probability > 0.93, "{size} {probability}");
    assert!(run(0.9 * size).0 > 0.95);
}

/// A perfect part: what is said of it is the same for its one point and for its band.
#[test]
fn a_perfect_part_is_known_from_below() {
    let bench = Bench::new();
    let made = bench.run(&[
        "component",
        "quadrature_hybrid",
        "--grid",
        "28GHz..30GHz:2",
        "--output",
        "perfect.s4p",
    ]);
    assert_eq!(status(&made), 0, "{}", text(&made.stderr));
    let report = bench.json(&[
        "splitter",
        "perfect.s4p",
        "--uncertainty",
        "magnitude_db=0.03,phase_deg=0.3",
    ]);
    let known = &report["uncertainty"];
    assert_eq!(known["may_be_perfect"], true);
    assert!(known["summary"]["worst_image_rejection_db"]["high"].is_null());
    let point = &known["points"][0];
    assert!(point["image_rejection_high_db"].is_null());
    let low = point["image_rejection_low_db"].as_f64().unwrap();
    let worst = known["summary"]["worst_image_rejection_db"]["low"].as_f64().unwrap();
    // Both points err alike, so the worst of them is one of them.
    assert!(
        (low - worst).abs() < 0.2 && low < point["image_rejection_median_db"].as_f64().unwrap()
    );
}

/// Five measurements of one coupler: the uncertainty is their scatter over the root of five, and the
/// mean is what is judged.
#[test]
fn repeats_tell_their_own_uncertainty() {
    let bench = Bench::with_demo();
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let mut imbalances = Vec::new();
    for at in 0..5 {
        // Each connection errs alike over the sweep, in every entry by itself.
        let mut errors = [[Complex64::ZERO; 4]; 4];
        for error in errors.iter_mut().flatten() {
            let (x, y): (f64, f64) =
                (StandardNormal.sample(&mut random), StandardNormal.sample(&mut random));
            *error = Complex64::new(0.004 * x, 0.004 * y);
        }
        let name = format!("again{at}.s4p");
        changed(&bench, "coupler.s4p", &name, |row, column, entry| {
            entry * errors[row][column].exp()
        });
        let report = bench.json(&["splitter", &name, "--input", "1", "--outputs", "2,3"]);
        imbalances.push(report["points"][50]["amplitude_imbalance_db"].as_f64().unwrap());
    }
    bench.write(
        "u.toml",
        "trials = 20000\n[[source]]\nrepeats = [\"again0.s4p\", \"again1.s4p\", \"again2.s4p\", \"again3.s4p\", \"again4.s4p\"]\n",
    );
    let report = bench.json(&["splitter", "again0.s4p", "--uncertainty", "u.toml"]);
    let mean = imbalances.iter().sum::<f64>() / 5.0;
    let variance = imbalances.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 4.0;
    let found = report["points"][50]["amplitude_imbalance_db"].as_f64().unwrap();
    assert!((found - mean).abs() < 1e-3, "{found} {mean}");
    let known = &report["uncertainty"]["points"][50];
    let u = known["u_amplitude_imbalance_db"].as_f64().unwrap();
    // Errors of 0.4 %: so far their logarithms are not their differences.
    assert!((u - (variance / 5.0).sqrt()).abs() < 4e-3 * u, "{u} {variance}");
    // Student's distribution with four degrees of freedom is wider: a 95 % interval of 2.776 instead
    // of 1.960 standard uncertainties (tables of the t distribution).
    let output = bench.run(&["splitter", "again0.s4p", "--uncertainty", "u.toml"]);
    assert_eq!(status(&output), 0);
    bench.write(
        "two.toml",
        "trials = 100\n[[source]]\nrepeats = [\"again0.s4p\", \"again1.s4p\"]\n",
    );
    let output = bench.run(&["splitter", "again0.s4p", "--uncertainty", "two.toml"]);
    assert!(text(&output.stderr).contains("2 repeats tell little"));
    // In a receiver too, where the hybrid's file is replaced by the mean.
    bench.write(
        "r.toml",
        "trials = 100\n[[source]]\nblocks = [\"hybrid\"]\nrepeats = [\"again0.s4p\", \"again1.s4p\", \"again2.s4p\", \"again3.s4p\", \"again4.s4p\"]\n",
    );
    let report = bench.json(&["downconverter", "receiver.toml", "--uncertainty", "r.toml"]);
    let contributions = report["uncertainty"]["contributions"].as_array().unwrap();
    assert_eq!((contributions.len(), &contributions[0]["part"]), (1, &Value::from("hybrid")));
}

/// A covariance that `rebuild` writes, into the imbalance of the rebuilt part.
#[test]
fn covariances_of_rebuild_pass_on() {
    let bench = Bench::with_demo();
    let mut set = "ports = 3\nreciprocal = true\n".to_owned();
    for (pair, end) in [("1,2", 3), ("1,3", 2), ("2,3", 1)] {
        let name = format!("p{}.s2p", pair.replace(',', ""));
        let output = bench.run(&["convert", "divider.s3p", &name, "--ports", pair]);
        assert_eq!(status(&output), 0, "{}", text(&output.stderr));
        set += &format!("[[termination]]\nport = {end}\nohm = 50\n");
        set += &format!(
            "[[measurement]]\nfile = \"{name}\"\nports = [{pair}]\nstandard_uncertainty = 0.002\n"
        );
    }
    bench.write("set.toml", &set);
    let arguments =
        ["rebuild", "set.toml", "--output", "whole.s3p", "--covariance", "covariance.csv"];
    let report = bench.json(&arguments);
    assert_eq!(report["uncertainty_from"], "measurements");
    bench.write("u.toml", "trials = 100\n[[source]]\ncovariance = \"covariance.csv\"\n");
    let report = bench.json(&["splitter", "whole.s3p", "--uncertainty", "u.toml"]);
    // The covariance of the first frequency by hand.
    let first = report["points"][0]["frequency_hz"].as_f64().unwrap();
    let mut entries = [[Complex64::ZERO; 9]; 9];
    for line in bench.read("covariance.csv").lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let number = |at: usize| fields[at].parse::<f64>().unwrap();
        if (number(0) - first).abs() < 1.0 {
            let port = |at: usize| fields[at].parse::<usize>().unwrap() - 1;
            let (a, b) = (3 * port(1) + port(2), 3 * port(3) + port(4));
            entries[a][b] = Complex64::new(number(5), number(6));
            entries[b][a] = entries[a][b].conj();
        }
    }
    let whole = read(&bench.path("whole.s3p"), &ReadOptions::default()).unwrap().network;
    let at = |row: usize| whole.matrix(0).at(Port::from_index(row), Port::from_index(0));
    let (a, b) = (at(1), at(2));
    // ln b - ln a, errors alike in all directions: the same variance in either part.
    let variance = entries[3][3].re / a.norm_sqr() + entries[6][6].re / b.norm_sqr()
        - 2.0 * (entries[6][3] / (b * a.conj())).re;
    let u = report["uncertainty"]["points"][0]["u_phase_error_deg"].as_f64().unwrap();
    assert!((u - variance.sqrt().to_degrees()).abs() < 1e-5 * u, "{u} {variance}");
}

#[test]
fn what_is_wrong_is_said_where_it_stands() {
    let bench = Bench::with_demo();
    let receiver = |text: &str, says: &str| {
        bench.write("wrong.toml", text);
        bench.refuses(&["downconverter", "receiver.toml", "--uncertainty", "wrong.toml"], says);
    };
    receiver("", "no [[source]]");
    receiver("[[source]]\nblocks = [\"hybrd\"]\nport = { phase_deg = 1 }", "wrong.toml:2:11");
    receiver("[[source]]\nfiles = [\"other.s4p\"]\nport = { phase_deg = 1 }", "wrong.toml:2:10");
    receiver("[[source]]\nport = { phase_dg = 1 }", "wrong.toml:2:10");
    receiver("[[source]]\ntransmission = { phase_deg = -1 }", "wrong.toml:2:30");
    receiver("coverage_percent = 20\n[[source]]\nport = { phase_deg = 1 }", "from 50 to 99.9");
    receiver(
        "[decision.guard_band]\nrejection = 1\n[[source]]\nport = { phase_deg = 1 }",
        "wrong.toml:2:1",
    );
    receiver("[[source]]\nname = \"a\"", "needs one of these");
    // Two blocks of one file cannot err apart and together.
    let twins = bench.read("receiver.toml").replace("balun_q.s3p", "balun.s3p");
    let demo = bench.read("receiver.toml");
    bench.write("receiver.toml", &twins);
    receiver(
        "[[source]]\nblocks = [\"balun_i\"]\nport = { phase_deg = 1 }\n[[source]]\nfiles = [\"balun.s3p\"]\nport = { phase_deg = 1 }",
        "the same data",
    );
    bench.write("receiver.toml", &demo);
    receiver("[[source]]\nrepeats = [\"coupler.s4p\"]", "two files or more");
    receiver("[[source]]\nrepeats = [\"coupler.s4p\", \"gone.s4p\"]", "gone.s4p");
    receiver(
        "[[source]]\nblocks = [\"hybrid\"]\nrepeats = [\"balun.s3p\", \"balun.s3p\"]",
        "ports",
    );
    bench.write("short.csv", "frequency_ghz,transmission_phase_deg\n28,1\n30,2\n");
    receiver("[[source]]\ntable = \"short.csv\"", "short.csv:2:1");
    bench.write("odd.csv", "frequency_ghz,transmission_phase_deg\n24,1\n34,x\n");
    receiver("[[source]]\ntable = \"odd.csv\"", "odd.csv:3:4");
    receiver("[[source]]\ntable = \"gone.csv\"", "gone.csv");
    receiver("[[source]]\ntable = \"gone.csv\"", "wrong.toml:2:9");
    receiver("[[source]]\nport = { phase_deg = 0 }", "says nothing");
    receiver(
        "[[source]]\nblocks = [\"lead_i\"]\nover_frequency = \"correlated\"\nrepeats = [\"lead_i.s2p\", \"lead_q.s2p\"]",
        "wrong.toml:3:18",
    );
    // What is no covariance.
    let rows = |variance: &str, hz: &str| {
        let mut text = "frequency_hz,row_a,column_a,row_b,column_b,re,im\n".to_owned();
        for (a, b) in [
            ("1,1", "1,1"),
            ("1,1", "1,2"),
            ("1,1", "2,1"),
            ("1,1", "2,2"),
            ("1,2", "1,2"),
            ("1,2", "2,1"),
            ("1,2", "2,2"),
            ("2,1", "2,1"),
            ("2,1", "2,2"),
            ("2,2", "2,2"),
        ] {
            text += &format!("{hz},{a},{b},{},0\n", if a == b { variance } else { "0" });
        }
        text
    };
    let covariance = "[[source]]\nblocks = [\"lead_i\"]\ncovariance = \"c.csv\"";
    bench.write("c.csv", &rows("-1e-6", "29e9"));
    receiver(covariance, "c.csv:11:1");
    bench.write("c.csv", &rows("1e-6", "29e9").lines().take(8).collect::<Vec<_>>().join("\n"));
    receiver(covariance, "10 rows are needed");
    bench.write("c.csv", &rows("1e-6", "29e9"));
    receiver(covariance, "27 GHz is needed");
    bench.write("u.toml", "[[source]]\nfiles = [\"couplr.s4p\"]\ntransmission = { phase_deg = 1 }");
    bench.refuses(&["splitter", "coupler.s4p", "--uncertainty", "u.toml"], "u.toml:2:10");
    bench.refuses(
        &["splitter", "coupler.s4p", "--uncertainty", "magnitude=x"],
        "magnitude is a number",
    );
    bench.refuses(&["splitter", "coupler.s4p", "--uncertainty", "size=1"], "expected a file");
    bench.refuses(&["splitter", "coupler.s4p", "--uncertainty", "gone.toml"], "gone.toml");
}

/// A receiver that is the demo but for the mixers' gains, measured with tones: they agree where the mixers
/// are as described, and the fit finds their error where they are not.
#[test]
fn measured_tones_tell_the_error_of_the_mixers() {
    let bench = Bench::with_demo();
    let (amplitude_db, phase_deg) = (0.3, -1.5_f64);
    let gain = Complex64::from_polar(10_f64.powf(amplitude_db / 20.0), phase_deg.to_radians());
    let mut truth = bench.read("receiver.toml");
    for name in ["q_plus", "q_minus"] {
        truth = truth.replace(
            &format!("name = \"{name}\"\n"),
            &format!("name = \"{name}\"\ngain = [{}, {}]\n", gain.re, gain.im),
        );
    }
    bench.write("truth.toml", &truth);
    let table = |receiver: &str, noise: f64| {
        let report = bench.json(&["downconverter", receiver]);
        let mut random = ChaCha8Rng::seed_from_u64(11);
        let mut table = "lo_ghz,if_ghz,wanted_dbm,image_dbm,u_wanted_db,u_image_db\n".to_owned();
        for point in report["points"].as_array().unwrap().iter().step_by(4) {
            let of = |key: &str| point[key].as_f64().unwrap();
            let error: f64 = StandardNormal.sample(&mut random);
            let image = -20.0 - of("image_rejection_db") + noise * error;
            table +=
                &format!("{},{},-20,{image},0.06,0.08\n", of("lo_hz") / 1e9, of("if_hz") / 1e9);
        }
        table
    };
    // Two standard uncertainties of 0.06 and 0.08 dB make one of 0.1 dB.
    bench.write("agrees.csv", &table("receiver.toml", 0.1));
    let report = bench.json(&["downconverter", "receiver.toml", "--measured", "agrees.csv"]);
    let measured = &report["measured"];
    let points = measured["points"].as_array().unwrap();
    assert_eq!(points.len(), 31);
    // With an expanded uncertainty of two standard ones 95 % agree; three of 31 may not.
    assert!(measured["agreeing"].as_u64().unwrap() >= 28, "{measured}");
    let first = &points[0];
    let of = |key: &str| first[key].as_f64().unwrap();
    let want = (of("measured_image_rejection_db") - of("predicted_image_rejection_db")) / 0.2;
    assert!((of("normalised_error") - want).abs() < 1e-9);
    assert!((of("u_measured_db") - 0.1).abs() < 1e-12);

    bench.write("differs.csv", &table("truth.toml", 0.0));
    let report = bench.json(&["downconverter", "receiver.toml", "--measured", "differs.csv"]);
    let mixers = &report["measured"]["mixer_error"];
    let of = |key: &str| mixers[key].as_f64().unwrap();
    assert!(report["measured"]["agreeing"].as_u64().unwrap() < 10);
    // The gain counts conjugate in the image sideband.
    assert!((of("amplitude_db") - amplitude_db).abs() < 1e-3, "{mixers}");
    assert!((of("phase_deg").abs() - phase_deg.abs()).abs() < 1e-2, "{mixers}");
    assert!(of("rms_in_standard_uncertainties") < 0.01 && of("rms_without") > 3.0, "{mixers}");
    // The bounds of every point hold the error that was put in.
    let size = Complex64::new(amplitude_db * LN_10 / 20.0, phase_deg.to_radians()).norm();
    let size_db = size * 20.0 / LN_10;
    for point in report["measured"]["points"].as_array().unwrap() {
        let of = |key: &str| point[key].as_f64().unwrap();
        assert!(of("added_error_least_db") <= size_db + 1e-3, "{point} {size_db}");
        assert!(of("added_error_most_db") >= size_db - 1e-3, "{point} {size_db}");
    }
    // With an uncertainty, pictures and text.
    bench.write("u.toml", "trials = 300\n[[source]]\ntransmission = { magnitude_db = 0.05 }\n");
    let arguments = ["downconverter", "receiver.toml", "--measured", "differs.csv"];
    let more = ["--uncertainty", "u.toml", "--out", "out"];
    let output = bench.run(&[arguments, more].concat());
    assert!(text(&output.stdout).contains("explains it best"), "{}", text(&output.stdout));
    assert!(text(&output.stdout).lines().all(|line| line.chars().count() <= 80));
    for name in ["measured.csv", "measured.png", "coverage.png", "uncertainty.csv"] {
        assert!(bench.path("out").join(name).exists(), "{name}");
    }
    bench.write(
        "odd.csv",
        "lo_ghz,if_ghz,wanted_dbm,image_dbm,u_wanted_db,u_image_db\n27.33,1,0,-30,0.1,0.1\n",
    );
    bench.refuses(&["downconverter", "receiver.toml", "--measured", "odd.csv"], "odd.csv:2:1");
    bench.write(
        "odd.csv",
        "lo_ghz,if_ghz,wanted_dbm,image_dbm,u_wanted_db,u_image_db\n27,1,0,-30,0,0.1\n",
    );
    bench.refuses(&["downconverter", "receiver.toml", "--measured", "odd.csv"], "odd.csv:2:12");
}

/// Descriptions and tables with pieces missing, doubled or absurd: a result or an error, never a panic.
#[test]
fn nothing_in_a_description_makes_it_panic() {
    let bench = Bench::with_demo();
    let station = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/station");
    for entry in std::fs::read_dir(station).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, bench.path(path.file_name().unwrap().to_str().unwrap())).unwrap();
    }
    let mut state = 17_u64;
    let mut below = |count: usize| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from((state >> 33) % count.max(1) as u64).unwrap()
    };
    let uncertainty = bench.read("uncertainty.toml").replace("seed = 1", "trials = 100");
    let (table, tones) = (bench.read("analyser.csv"), bench.read("tones.csv"));
    let recipe = bench.read("station.toml");
    let odd = ["", "0", "-1", "1e999", "nan", "1e-300", "89", "\"x\"", "[]", "{}", "\u{0}", "é"];
    for round in 0..120 {
        let (which, text) = match round % 4 {
            0 => ("uncertainty.toml", &uncertainty),
            1 => ("analyser.csv", &table),
            2 => ("tones.csv", &tones),
            _ => ("station.toml", &recipe),
        };
        // A word or number in the place of another, or a piece cut out.
        let words: Vec<(usize, &str)> = text
            .split(|c: char| !(c.is_alphanumeric() || c == '.' || c == '_'))
            .filter(|word| !word.is_empty())
            .map(|word| (word.as_ptr() as usize - text.as_ptr() as usize, word))
            .collect();
        let (at, word) = words[below(words.len())];
        let put = odd[below(odd.len())];
        let end = if round % 3 == 0 { (at + below(40)).min(text.len()) } else { at + word.len() };
        let mut changed = text[..at].to_owned() + put;
        changed.push_str(text.get(end..).unwrap_or_default());
        bench.write("uncertainty.toml", &uncertainty);
        bench.write("analyser.csv", &table);
        bench.write(which, &changed);
        let arguments = match which {
            "station.toml" => vec!["station", "station.toml"],
            "tones.csv" => vec!["downconverter", "receiver.toml", "--measured", "tones.csv"],
            _ => vec![
                "splitter",
                "coupler.s4p",
                "--uncertainty",
                "uncertainty.toml",
                "--band",
                "28GHz..30GHz",
            ],
        };
        let output = bench.run(&arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.code().is_some_and(|code| code < 3), "{which}: {changed}\n{said}");
        assert!(!said.contains("panicked"), "{which}: {changed}\n{said}");
    }
}
