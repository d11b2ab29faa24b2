//! `splitter`: reports, verdicts, loads, references, and what is refused.

use crate::harness::{Run, Sandbox, assert_fits_80_columns, number, unfolded};
use serde_json::{Value, json};

/// The command without its requirements and output.
const COUPLER: &str = "splitter coupler.s4p --kind quadrature --input 1 --outputs 2,3 --isolated 4";

fn report_in_a_folder(sandbox: &Sandbox, more: &str) -> Run {
    sandbox.run(&format!(
        "{COUPLER} --band 27GHz..31GHz --require-image-rejection-db 28 --format json \
         --out report {more}"
    ))
}

#[test]
fn a_report_is_written() {
    let sandbox = Sandbox::with_demo();
    let run = report_in_a_folder(&sandbox, "");
    assert_eq!(run.status, 0, "{}", run.stderr);
    let names = sandbox.names("report");
    assert_eq!(
        names,
        [
            "contours.png",
            "image-rejection.png",
            "imbalance.png",
            "losses.png",
            "points.csv",
            "report.html",
            "report.json",
            "report.txt"
        ]
    );
    assert_eq!(sandbox.read("report/report.json"), run.stdout);
    for name in names.iter().filter(|name| name.ends_with(".png")) {
        assert!(sandbox.bytes(&format!("report/{name}")).starts_with(b"\x89PNG"), "{name}");
    }
}

#[test]
fn a_report_is_replaced_only_on_request() {
    let sandbox = Sandbox::with_demo();
    assert_eq!(report_in_a_folder(&sandbox, "").status, 0);
    let again = report_in_a_folder(&sandbox, "");
    assert_eq!(again.status, 2);
    assert!(again.stderr.contains("--overwrite"), "{}", again.stderr);
    assert_eq!(report_in_a_folder(&sandbox, "--overwrite").status, 0);
}

#[test]
fn a_report_has_its_keys_and_its_verdict() {
    let report = report_in_a_folder(&Sandbox::with_demo(), "").json();
    assert_eq!(report["kind"], "quadrature");
    assert_eq!(report["outputs"], json!([2, 3]));
    assert_eq!(report["summary"]["band_hz"], json!([27e9, 31e9]));
    assert_eq!(report["points"].as_array().unwrap().len(), 41);
    let point = report["points"][0].as_object().unwrap();
    for key in [
        "frequency_hz",
        "amplitude_imbalance_db",
        "phase_difference_deg",
        "phase_error_deg",
        "image_rejection_db",
        "loss_a_db",
        "loss_b_db",
        "excess_loss_db",
        "isolation_db",
        "return_loss_db",
    ] {
        assert!(point.contains_key(key), "{key} is missing");
    }
    let requirement = &report["verdict"]["requirements"][0];
    assert_eq!(requirement["name"], "image_rejection_db");
    assert_eq!(requirement["pass"], true);
    let worst = number(&report, "/summary/worst_image_rejection_db");
    assert_eq!(number(requirement, "/worst").to_bits(), worst.to_bits());
    // One subtraction, done once more here.
    assert_eq!(number(requirement, "/margin").to_bits(), (worst - 28.0).to_bits());
}

#[test]
fn a_requirement_that_does_not_hold_gives_status_one_and_its_bands() {
    let sandbox = Sandbox::with_demo();
    let run = sandbox.run(
        "splitter coupler.s4p --band 25GHz..33GHz --require-image-rejection-db 30 --format json",
    );
    assert_eq!(run.status, 1);
    let report = run.json();
    assert_eq!(report["verdict"]["pass"], false);
    let bands = report["verdict"]["bands_that_pass_hz"].as_array().unwrap();
    assert_eq!(bands.len(), 1, "{bands:?}");
    let (low, high) = (number(&bands[0], "/0"), number(&bands[0], "/1"));
    assert_eq!(low.to_bits(), 25e9_f64.to_bits());
    // The end lies between the two points around the limit, where a straight line through their
    // rejections puts it to a hundredth of the step.
    let points = report["points"].as_array().unwrap();
    let at = |point: &Value| (number(point, "/frequency_hz"), number(point, "/image_rejection_db"));
    let pair = points
        .windows(2)
        .map(|pair| (at(&pair[0]), at(&pair[1])))
        .find(|(a, b)| a.1 >= 30.0 && b.1 < 30.0);
    let ((f0, r0), (f1, r1)) = pair.unwrap();
    let straight = f0 + (f1 - f0) * (r0 - 30.0) / (r0 - r1);
    assert!((high - straight).abs() < 0.01 * (f1 - f0), "{high} {straight}");
}

#[test]
fn band_ends_between_points_are_interpolated_and_reported() {
    let sandbox = Sandbox::with_demo();
    let run = sandbox.run("splitter coupler.s4p --band 27.04GHz..30.96GHz --format json");
    assert_eq!(run.status, 0);
    let report = run.json();
    assert_eq!(number(&report, "/points/0/frequency_hz").to_bits(), 27.04e9_f64.to_bits());
    assert!(run.stderr.contains("interpolated"), "{}", run.stderr);
    // The demo file's neighbours at 27.0 and 27.1 GHz enclose the value.
    let whole = sandbox.json("splitter coupler.s4p");
    let value = |report: &Value, hz: f64| {
        let points = report["points"].as_array().unwrap();
        let point = points.iter().find(|p| (number(p, "/frequency_hz") - hz).abs() < 1.0).unwrap();
        number(point, "/amplitude_imbalance_db")
    };
    let between = value(&report, 27.04e9);
    let straight = 0.6 * value(&whole, 27e9) + 0.4 * value(&whole, 27.1e9);
    // A curve leaves the straight line by 0.6 * 0.4 / 2 of the second difference of its points,
    // which is 2.5e-4 dB here.
    assert!((between - straight).abs() < 3.1e-5, "{between} {straight}");
}

#[test]
fn a_balun_has_common_mode_rejection_in_place_of_image_rejection() {
    let sandbox = Sandbox::with_demo();
    let report = sandbox.json("splitter balun.s3p");
    assert_eq!(report["kind"], "antiphase");
    assert!(report["points"][0].get("common_mode_rejection_db").is_some());
    assert!(report["points"][0].get("image_rejection_db").is_none());
    sandbox.refuses(
        "splitter balun.s3p --require-image-rejection-db 20",
        "--require-common-mode-rejection-db",
    );
}

#[test]
fn a_load_is_solved_and_not_ignored() {
    let sandbox = Sandbox::with_demo();
    let report = |load: &str| sandbox.json(&format!("splitter coupler.s4p --load \"4={load}\""));
    // 75 ohm as a file on a coarser grid, in another unit and format.
    sandbox.write("load 75.s1p", "# MHz Z RI R 1\n20000 75 0\n35000 75 0\n");
    let (matched, by_number, by_file) = (report("50"), report("75"), report("load 75.s1p"));
    let imbalance = |report: &Value| number(report, "/points/50/amplitude_imbalance_db");
    assert!((imbalance(&matched) - imbalance(&by_number)).abs() > 1e-6);
    assert!((imbalance(&by_number) - imbalance(&by_file)).abs() < 1e-12);
    assert_eq!(by_number["points"][0]["return_loss_db"][3], Value::Null);
    let plain = sandbox.json("splitter coupler.s4p");
    assert!((imbalance(&matched) - imbalance(&plain)).abs() < 1e-12);
}

#[test]
fn other_references_change_what_is_seen() {
    let sandbox = Sandbox::with_demo();
    let return_loss = |reference: &str| {
        let report = sandbox.json(&format!("splitter balun.s3p --reference-ohm {reference}"));
        number(&report, "/points/50/return_loss_db/1")
    };
    assert!((return_loss("50") - return_loss("50,50,50")).abs() < 1e-12);
    assert!((return_loss("50") - return_loss("50,100,100")).abs() > 0.1);
    sandbox.refuses(
        "splitter balun.s3p --reference-ohm 50,75",
        "expected 1 or 3 reference impedances, found 2",
    );
    sandbox.refuses("splitter balun.s3p --reference-ohm 0", "positive real part");
}

#[test]
fn bad_arguments_are_refused_and_nothing_is_written() {
    let sandbox = Sandbox::with_demo();
    sandbox.write("other.toml", "[package]\n");
    for (arguments, mention) in [
        ("coupler.s4p --input 5", "port 5 does not exist"),
        ("coupler.s4p --input 0", "a port number, from 1"),
        ("coupler.s4p --input 2 --outputs 2,3", "port 2 cannot be both"),
        ("coupler.s4p --outputs 3,3", "port 3 cannot be both"),
        ("coupler.s4p --outputs 2,3,4", "--outputs takes two ports"),
        ("coupler.s4p --band 20GHz..31GHz", "not inside the data"),
        ("coupler.s4p --band 31GHz..27GHz", "LO below HI"),
        ("coupler.s4p --outputs 2,3 --load 3=50", "terminated by a load"),
        ("coupler.s4p --load 4=-5", "cannot be negative"),
        ("coupler.s4p --load 4=absent.s1p", "nor a file that exists"),
        ("coupler.s4p --load 4=50 --load 4=75", "port 4 is named twice"),
        ("absent.s4p", "cannot read the file"),
        ("other.toml", "[Version] must come first"),
    ] {
        sandbox.refuses(&format!("splitter {arguments} --out out"), mention);
    }
}

/// The arguments of a three-port, and parts of the error that a content must cause.
fn refuses_file(name: &str, content: &str, mentions: &[&str]) {
    let sandbox = Sandbox::new();
    sandbox.write(name, content);
    let error = sandbox
        .refused(&format!("splitter \"{name}\" --kind inphase --input 1 --outputs 2,3 --out out"));
    for mention in mentions {
        assert!(unfolded(&error).contains(mention), "{name}: {error}");
    }
}

#[test]
fn bad_files_are_refused_with_their_line() {
    // The name says four ports, the content has three.
    let set =
        |frequency: &str| format!("{frequency} 0 0 .5 0 .5 0\n .5 0 0 0 0 0\n .5 0 0 0 0 0\n");
    let three = format!("# GHz S RI R 50\n{}{}", set("1"), set("2"));
    refuses_file("three.s4p", &three, &["three.s4p:2:1", "expected 9", "found 7"]);
    // Nothing comes out of port 3.
    let silent = "# GHz S RI R 50\n1 0 0 .7 0 0 0\n .7 0 0 0 0 0\n 0 0 0 0 0 0\n";
    refuses_file("silent.s3p", silent, &["output 3 carries no signal", "1 GHz"]);
    let two = "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n";
    refuses_file("two.s2p", two, &["at least 3 ports"]);
    let word = "# GHz S RI R 50\n1 0 0 .5 0 o.5 0\n";
    refuses_file("word.s3p", word, &["word.s3p:2:12", "'o.5' is not a number", "^^^"]);
    let escape = "# GHz S RI R 50\n1 \u{1b}[2J\n";
    refuses_file("escape\u{1b}[31m.s3p", escape, &["0x1B", "\\u{1b}[31m"]);
}

#[test]
fn a_mixed_mode_file_is_refused() {
    let content = "\
[Version] 2.0
# GHz S RI R 50
[Number of Ports] 3
[Number of Frequencies] 1
[Mixed-Mode Order] S1 D2,3 C2,3
[Network Data]
1 0 0 .7 0 0 0 .7 0 0 0 0 0 0 0 0 0 0 0
[End]
";
    refuses_file("mixed.s3p", content, &["mixed-mode", "single-ended"]);
}

#[test]
fn tables_fit_eighty_columns_and_say_no_minus_zero() {
    let sandbox = Sandbox::with_demo();
    for file in ["coupler.s4p", "balun.s3p", "divider.s3p"] {
        let run = sandbox.run(&format!("splitter {file} --require-phase-error-deg 5 --quiet"));
        assert!(run.stderr.is_empty(), "{}", run.stderr);
        assert_fits_80_columns(&run.stdout);
        assert!(!run.stdout.contains("-0.00 ") && !run.stdout.contains("-0.000"), "{}", run.stdout);
    }
}

#[test]
fn an_input_is_never_overwritten() {
    let sandbox = Sandbox::with_demo();
    let before = sandbox.bytes("balun.s3p");
    sandbox.write("part.png", &before);
    let run = sandbox.run("splitter part.png --plot part.png --overwrite");
    assert!(run.status == 2 && run.stderr.contains("is an input"), "{}", run.stderr);
    assert_eq!(sandbox.bytes("part.png"), before);
}
