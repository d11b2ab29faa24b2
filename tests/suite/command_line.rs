//! The command line as scripts and people meet it.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn fourphase(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fourphase"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn status(output: &Output) -> i32 {
    output.status.code().expect("no signal ended it")
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", text(&output.stderr)))
}

const COUPLER: &str = "data-demo/coupler.s4p";

fn files_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> = std::fs::read_dir(folder)
        .map(|entries| {
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
        })
        .unwrap_or_default();
    names.sort();
    names
}

/// Runs a command that must refuse: status 2, nothing on standard output, nothing written.
fn refused(arguments: &[&str]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let mut all = arguments.to_vec();
    if arguments[0] != "tolerance" {
        all.extend(["--out", out.to_str().unwrap()]);
    }
    let output = fourphase(&all);
    let error = text(&output.stderr);
    assert_eq!(status(&output), 2, "{arguments:?}: {error}");
    assert!(output.stdout.is_empty(), "{arguments:?}");
    assert!(!out.exists(), "{arguments:?} wrote {:?}", files_in(&out));
    assert!(error.starts_with("error: "), "{error}");
    error
}

fn written(folder: &tempfile::TempDir, name: &str, content: &str) -> PathBuf {
    let path = folder.path().join(name);
    std::fs::write(&path, content).unwrap();
    path
}

#[test]
fn splitter_writes_its_report() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report");
    let out_text = out.to_str().unwrap();
    let arguments = [
        "splitter",
        COUPLER,
        "--kind",
        "quadrature",
        "--input",
        "1",
        "--outputs",
        "2,3",
        "--isolated",
        "4",
        "--band",
        "27GHz..31GHz",
        "--require-image-rejection-db",
        "28",
        "--out",
        out_text,
        "--format",
        "json",
    ];
    let output = fourphase(&arguments);
    assert_eq!(status(&output), 0, "{}", text(&output.stderr));
    let names = [
        "contours.png",
        "image-rejection.png",
        "imbalance.png",
        "losses.png",
        "points.csv",
        "report.json",
    ];
    assert_eq!(files_in(&out), names);
    assert_eq!(std::fs::read(out.join("report.json")).unwrap(), output.stdout);
    for name in names.iter().filter(|name| name.ends_with(".png")) {
        let bytes = std::fs::read(out.join(name)).unwrap();
        assert!(bytes.starts_with(b"\x89PNG"), "{name}");
    }
    let report = json(&output);
    assert_eq!(report["kind"], "quadrature");
    assert_eq!(report["outputs"], serde_json::json!([2, 3]));
    assert_eq!(report["summary"]["band_hz"], serde_json::json!([27e9, 31e9]));
    assert_eq!(report["points"].as_array().unwrap().len(), 41);
    let keys: Vec<_> = report["points"][0].as_object().unwrap().keys().cloned().collect();
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
        assert!(keys.iter().any(|known| known == key), "{key} is missing");
    }
    let requirement = &report["verdict"]["requirements"][0];
    assert_eq!(requirement["name"], "image_rejection_db");
    assert_eq!(requirement["pass"], true);
    let worst = report["summary"]["worst_image_rejection_db"].as_f64().unwrap();
    assert_eq!(requirement["worst"].as_f64().unwrap().to_bits(), worst.to_bits());
    assert!((requirement["margin"].as_f64().unwrap() - (worst - 28.0)).abs() < 1e-12);

    // A second run finds its files and replaces them only when told to.
    let again = fourphase(&arguments);
    assert_eq!(status(&again), 2);
    assert!(text(&again.stderr).contains("--overwrite"), "{}", text(&again.stderr));
    let mut forced = arguments.to_vec();
    forced.push("--overwrite");
    assert_eq!(status(&fourphase(&forced)), 0);
}

#[test]
fn a_requirement_that_does_not_hold_gives_status_one_and_its_bands() {
    let output = fourphase(&[
        "splitter",
        COUPLER,
        "--band",
        "25GHz..33GHz",
        "--require-image-rejection-db",
        "30",
        "--format",
        "json",
    ]);
    assert_eq!(status(&output), 1);
    let report = json(&output);
    assert_eq!(report["verdict"]["pass"], false);
    let bands = report["verdict"]["bands_that_pass_hz"].as_array().unwrap();
    assert_eq!(bands.len(), 1, "{bands:?}");
    let (low, high) = (bands[0][0].as_f64().unwrap(), bands[0][1].as_f64().unwrap());
    assert_eq!(low.to_bits(), 25e9_f64.to_bits());
    // The end lies between the two points around the limit, where a straight line through their
    // rejections puts it to a hundredth of the step.
    let points = report["points"].as_array().unwrap();
    let at = |point: &Value| {
        (point["frequency_hz"].as_f64().unwrap(), point["image_rejection_db"].as_f64().unwrap())
    };
    let pair = points
        .windows(2)
        .map(|pair| (at(&pair[0]), at(&pair[1])))
        .find(|(a, b)| a.1 >= 30.0 && b.1 < 30.0);
    let ((f0, r0), (f1, r1)) = pair.unwrap();
    let straight = f0 + (f1 - f0) * (r0 - 30.0) / (r0 - r1);
    assert!((high - straight).abs() < 0.01 * (f1 - f0), "{high} {straight}");
}

#[test]
fn band_ends_between_points_are_interpolated_and_said() {
    let output =
        fourphase(&["splitter", COUPLER, "--band", "27.04GHz..30.96GHz", "--format", "json"]);
    assert_eq!(status(&output), 0);
    let report = json(&output);
    assert_eq!(
        report["points"][0]["frequency_hz"].as_f64().unwrap().to_bits(),
        27.04e9_f64.to_bits()
    );
    assert!(text(&output.stderr).contains("interpolated"), "{}", text(&output.stderr));
    // The demo file's neighbours at 27.0 and 27.1 GHz enclose the value.
    let whole = json(&fourphase(&["splitter", COUPLER, "--format", "json"]));
    let value = |report: &Value, hz: f64| {
        let points = report["points"].as_array().unwrap();
        points.iter().find(|p| (p["frequency_hz"].as_f64().unwrap() - hz).abs() < 1.0).unwrap()["amplitude_imbalance_db"]
            .as_f64()
            .unwrap()
    };
    let between = value(&report, 27.04e9);
    let straight = 0.6 * value(&whole, 27e9) + 0.4 * value(&whole, 27.1e9);
    assert!((between - straight).abs() < 1e-4, "{between} {straight}");
}

#[test]
fn a_balun_has_common_mode_rejection_in_place_of_image_rejection() {
    let output = fourphase(&["splitter", "data-demo/balun.s3p", "--format", "json"]);
    let report = json(&output);
    assert_eq!(report["kind"], "antiphase");
    assert!(report["points"][0].get("common_mode_rejection_db").is_some());
    assert!(report["points"][0].get("image_rejection_db").is_none());
    let error = refused(&["splitter", "data-demo/balun.s3p", "--require-image-rejection-db", "20"]);
    assert!(error.contains("--require-common-mode-rejection-db"), "{error}");
}

#[test]
fn a_load_is_solved_and_not_ignored() {
    let report = |load: &str| {
        let output = fourphase(&["splitter", COUPLER, "--load", load, "--format", "json"]);
        assert_eq!(status(&output), 0, "{}", text(&output.stderr));
        json(&output)
    };
    let folder = tempfile::tempdir().unwrap();
    // 75 ohm as a file on a coarser grid, in another unit and format.
    let file = written(&folder, "load 75.s1p", "# MHz Z RI R 1\n20000 75 0\n35000 75 0\n");
    let (matched, by_number) = (report("4=50"), report("4=75"));
    let by_file = report(&format!("4={}", file.display()));
    let error = |report: &Value| report["points"][50]["amplitude_imbalance_db"].as_f64().unwrap();
    assert!((error(&matched) - error(&by_number)).abs() > 1e-6);
    assert!((error(&by_number) - error(&by_file)).abs() < 1e-12);
    assert_eq!(by_number["points"][0]["return_loss_db"][3], Value::Null);
    let plain = json(&fourphase(&["splitter", COUPLER, "--format", "json"]));
    assert!((error(&matched) - error(&plain)).abs() < 1e-12);
}

#[test]
fn other_references_change_what_is_seen() {
    let report = |reference: &str| {
        json(&fourphase(&[
            "splitter",
            "data-demo/balun.s3p",
            "--reference-ohm",
            reference,
            "--format",
            "json",
        ]))
    };
    let return_loss = |report: &Value| report["points"][50]["return_loss_db"][1].as_f64().unwrap();
    assert!((return_loss(&report("50")) - return_loss(&report("50,50,50"))).abs() < 1e-12);
    assert!((return_loss(&report("50")) - return_loss(&report("50,100,100"))).abs() > 0.1);
    let error = refused(&["splitter", "data-demo/balun.s3p", "--reference-ohm", "50,75"]);
    assert!(error.contains("3 (one per port), got 2"), "{error}");
    let error = refused(&["splitter", "data-demo/balun.s3p", "--reference-ohm", "0"]);
    assert!(error.contains("positive real part"), "{error}");
}

#[test]
fn bad_input_is_refused_clearly_and_nothing_is_written() {
    for (arguments, mention) in [
        (vec!["splitter", COUPLER, "--input", "5"], "port 5 does not exist"),
        (vec!["splitter", COUPLER, "--input", "0"], "a port number, from 1"),
        (vec!["splitter", COUPLER, "--input", "2", "--outputs", "2,3"], "port 2 cannot be both"),
        (vec!["splitter", COUPLER, "--outputs", "3,3"], "port 3 cannot be both"),
        (vec!["splitter", COUPLER, "--outputs", "2,3,4"], "--outputs takes two ports"),
        (vec!["splitter", COUPLER, "--band", "20GHz..31GHz"], "not inside the data"),
        (vec!["splitter", COUPLER, "--band", "31GHz..27GHz"], "LO below HI"),
        (vec!["splitter", COUPLER, "--outputs", "2,3", "--load", "3=50"], "closed by a load"),
        (vec!["splitter", COUPLER, "--load", "4=-5"], "cannot be negative"),
        (vec!["splitter", COUPLER, "--load", "4=absent.s1p"], "nor a file that exists"),
        (vec!["splitter", COUPLER, "--load", "4=50", "--load", "4=75"], "named twice"),
        (vec!["splitter", "absent.s4p"], "cannot read the file"),
        (vec!["splitter", "Cargo.toml"], "[Version] must come first"),
        (vec!["inspect", "absent.s2p", "--strict"], "cannot read the file"),
        (vec!["tolerance", "--image-rejection-db", "0"], "positive"),
        (vec!["tolerance"], "--image-rejection-db"),
    ] {
        if arguments[0] == "inspect" {
            // inspect goes on with what it can; here that is nothing.
            let output = fourphase(&arguments);
            assert_eq!(status(&output), 2);
            assert!(text(&output.stderr).contains(mention));
            continue;
        }
        let error = refused(&arguments);
        assert!(error.contains(mention), "{arguments:?}: {error}");
    }
}

#[test]
fn bad_files_are_refused_with_their_line() {
    let folder = tempfile::tempdir().unwrap();
    let case = |name: &str, content: &str, mention: &[&str]| {
        let path = written(&folder, name, content);
        let error = refused(&[
            "splitter",
            path.to_str().unwrap(),
            "--kind",
            "inphase",
            "--input",
            "1",
            "--outputs",
            "2,3",
        ]);
        for mention in mention {
            assert!(error.contains(mention), "{name}: {error}");
        }
        for line in error.lines().filter(|line| !line.contains("-->")) {
            assert!(line.chars().count() <= 80, "{name}: {line}");
        }
    };
    let set =
        |frequency: &str| format!("{frequency} 0 0 .5 0 .5 0\n .5 0 0 0 0 0\n .5 0 0 0 0 0\n");
    // The name says four ports, the content has three.
    case(
        "three.s4p",
        &format!("# GHz S RI R 50\n{}{}", set("1"), set("2")),
        &["three.s4p:2:1", "expected 9", "found 7"],
    );
    // Nothing comes out of port 3.
    let silent = "# GHz S RI R 50\n1 0 0 .7 0 0 0\n .7 0 0 0 0 0\n 0 0 0 0 0 0\n";
    case("silent.s3p", silent, &["output 3 carries no signal", "1 GHz"]);
    let mixed = "[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 3\n[Number of Frequencies] 1\n\
                 [Mixed-Mode Order] S1 D2,3 C2,3\n[Network Data]\n1 0 0 .7 0 0 0 .7 0 0 0 0 0 0 0 0 0 0 0\n[End]\n";
    case("mixed.s3p", mixed, &["mixed-mode", "single-ended"]);
    case("two.s2p", "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n", &["at least 3 ports"]);
    case(
        "word.s3p",
        "# GHz S RI R 50\n1 0 0 .5 0 o.5 0\n",
        &["word.s3p:2:12", "'o.5' is not a number", "^^^"],
    );
    case("escape\u{1b}[31m.s3p", "# GHz S RI R 50\n1 \u{1b}[2J\n", &["0x1B", "\\u{1b}[31m"]);
}

#[test]
fn inspect_goes_on_past_a_bad_file() {
    let folder = tempfile::tempdir().unwrap();
    written(&folder, "a good.s1p", "# GHz S RI R 50\n1 0.1 0\n2 0.1 0.1\n");
    written(&folder, "bad.s1p", "# GHz S RI R 50\n1 0.1\n");
    written(&folder, "no option.s1p", "1 0.5 0\n");
    let folder_text = folder.path().to_str().unwrap();
    let output = fourphase(&["inspect", folder_text, "--format", "json"]);
    assert_eq!(status(&output), 2);
    let report = json(&output);
    let entries = report.as_array().unwrap();
    assert_eq!(entries.len(), 3);
    assert_eq!(entries[0]["ports"], 1);
    assert_eq!(entries[0]["reference_ohm"], serde_json::json!([[50.0, 0.0]]));
    assert_eq!(entries[0]["frequency_hz"]["count"], 2);
    assert_eq!(entries[0]["quality"]["passive"], true);
    assert_eq!(entries[1]["line"], 2);
    assert!(entries[1]["error"].as_str().unwrap().contains("expected 3 numbers"));
    // The option line given stands in where one is missing, and that is said.
    let helped = json(&fourphase(&[
        "inspect",
        folder_text,
        "--format",
        "json",
        "--option-line",
        "GHz S MA R 75",
    ]));
    assert_eq!(helped[2]["reference_ohm"], serde_json::json!([[75.0, 0.0]]));
    assert_eq!(helped[2]["warnings"][0]["code"], "option_line_supplied");
}

#[test]
fn inspect_gives_the_numbers_in_the_files_own_parameter() {
    let folder = tempfile::tempdir().unwrap();
    let path = written(&folder, "z.s1p", "# GHz Z RI R 50\n1 2 -1\n");
    let path = path.to_str().unwrap();
    let report = json(&fourphase(&["inspect", path, "--data", "--format", "json"]));
    assert_eq!(report[0]["data"][0]["matrix"], serde_json::json!([[[100.0, -50.0]]]));
    let table = text(&fourphase(&["inspect", path, "--data", "--format", "csv"]).stdout);
    assert!(table.ends_with(",Z,1000000000,100,-50\n"), "{table}");
}

#[test]
fn strict_reading_makes_deviations_errors() {
    let folder = tempfile::tempdir().unwrap();
    let path = written(&folder, "d.s1p", "# GHz S RI R 50\n1 1.0D-1 0\n");
    let path = path.to_str().unwrap();
    assert_eq!(status(&fourphase(&["inspect", path])), 0);
    let strict = fourphase(&["inspect", path, "--strict"]);
    assert_eq!(status(&strict), 2);
    assert!(text(&strict.stderr).contains("exponent"), "{}", text(&strict.stderr));
}

#[test]
fn tolerance_answers_the_inverse_question() {
    let report = json(&fourphase(&[
        "tolerance",
        "--image-rejection-db",
        "30",
        "--amplitude-imbalance-db",
        "0.3",
        "--format",
        "json",
    ]));
    // 30 dB: 3.62 degrees or 0.550 dB alone (exact formula).
    assert!((report["phase_error_alone_deg"].as_f64().unwrap() - 3.622).abs() < 1e-3);
    assert!((report["amplitude_imbalance_alone_db"].as_f64().unwrap() - 0.550).abs() < 1e-3);
    let left = report["allowed_phase_error"][0]["phase_error_deg"].as_f64().unwrap();
    let back = fourphase::splitter::image_rejection_db(0.3, left);
    assert!((back - 30.0).abs() < 1e-9);
    let folder = tempfile::tempdir().unwrap();
    let plot = folder.path().join("chart.png");
    assert_eq!(
        status(&fourphase(&[
            "tolerance",
            "--image-rejection-db",
            "30",
            "--plot",
            plot.to_str().unwrap()
        ])),
        0
    );
    assert!(std::fs::read(plot).unwrap().starts_with(b"\x89PNG"));
}

#[test]
fn tables_fit_eighty_columns_and_say_no_minus_zero() {
    for file in [COUPLER, "data-demo/balun.s3p", "data-demo/divider.s3p"] {
        let output = fourphase(&["splitter", file, "--require-phase-error-deg", "5", "--quiet"]);
        assert!(output.stderr.is_empty(), "{}", text(&output.stderr));
        let report = text(&output.stdout);
        for line in report.lines() {
            assert!(line.chars().count() <= 80, "{line}");
            assert!(!line.contains("-0.00 ") && !line.contains("-0.000"), "{line}");
        }
    }
}

#[test]
fn an_input_is_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("part.png");
    std::fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/balun.s3p"), &path)
        .unwrap();
    let before = std::fs::read(&path).unwrap();
    let arguments =
        ["splitter", path.to_str().unwrap(), "--plot", path.to_str().unwrap(), "--overwrite"];
    let output = fourphase(&arguments);
    assert_eq!(status(&output), 2);
    assert!(text(&output.stderr).contains("is an input"), "{}", text(&output.stderr));
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
#[cfg(unix)]
fn a_closed_pipe_is_no_error() {
    let command = format!(
        "{} inspect --data data-demo/coupler.s4p data-demo/balun.s3p data-demo/divider.s3p | head -n 1",
        env!("CARGO_BIN_EXE_fourphase")
    );
    let script = format!("set -o pipefail 2>/dev/null; {command}");
    let output = Command::new("bash")
        .arg("-c")
        .arg(script)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert_eq!(status(&output), 0, "{}", text(&output.stderr));
    assert!(output.stderr.is_empty(), "{}", text(&output.stderr));
}

#[test]
fn plan_gives_bands_and_harmonics() {
    let arguments =
        ["plan", "--rf", "27GHz..31GHz", "--if", "0.5GHz..1.5GHz", "--multiplication", "4"];
    let report = json(&fourphase(&[&arguments[..], &["--format", "json"]].concat()));
    assert_eq!(report["sidebands"][0]["sideband"], "upper");
    assert_eq!(report["sidebands"][0]["lo_input_hz"], serde_json::json!([6.375e9, 7.625e9]));
    // 20 log10 4 (any text on multipliers): 12.04 dB.
    assert!((report["phase_noise_rise_db"].as_f64().unwrap() - 12.0412).abs() < 1e-4);
    let shown = text(&fourphase(&arguments).stdout);
    assert!(shown.lines().all(|line| line.chars().count() <= 80), "{shown}");
    assert!(shown.contains("4 (the LO)"), "{shown}");
    assert_eq!(
        status(&fourphase(&[
            "plan",
            "--rf",
            "27GHz..31GHz",
            "--if",
            "1GHz..2GHz",
            "--multiplication",
            "0"
        ])),
        2
    );
}
