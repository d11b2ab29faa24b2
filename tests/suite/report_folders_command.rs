//! Where outputs go: reports in folders of their own, nothing outside them, never over an input, and
//! nothing stale beside new results.

use crate::harness::{Run, Sandbox, project, replaced};
use crate::wafer_lot::{RECIPE, contents, sandbox_with_dies};

fn station() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/station");
    sandbox
}

/// The demo's station with another name for what it writes.
fn station_with_output(output: &str) -> Sandbox {
    let sandbox = station();
    let recipe = sandbox.read("station.toml");
    sandbox.write("work/station.toml", replaced(&recipe, &[("bare_{die}.s2p", output)]));
    for name in sandbox.names(".").iter().filter(|name| name.ends_with(".s2p")) {
        sandbox.write(&format!("work/{name}"), sandbox.bytes(name));
    }
    sandbox
}

#[test]
fn outputs_of_a_station_stay_in_their_folder() {
    for output in ["../../evil_{die}.s2p", "/tmp/evil_{die}.s2p", "a/../../{die}.s2p", "..", "a/"] {
        let sandbox = station_with_output(output);
        sandbox.refuses("station work/station.toml --out out --overwrite", "station.toml:");
        sandbox.refuses("station work/station.toml", "in the folder of the results or below");
    }
    let sandbox = station_with_output("deep/er/{die}.s2p");
    sandbox.succeeds("station work/station.toml --out out");
    assert_eq!(sandbox.names("out/deep/er"), ["d1.s2p", "d2.s2p", "d3.s2p"]);
    #[cfg(unix)]
    {
        std::fs::create_dir(sandbox.path("linked")).unwrap();
        std::os::unix::fs::symlink(sandbox.path("work"), sandbox.path("linked/deep")).unwrap();
        let before = sandbox.names("work");
        sandbox.refuses("station work/station.toml --out linked --overwrite", "outside the folder");
        assert_eq!(sandbox.names("work"), before);
    }
}

/// What differs from file to file is part of a path, and may be dots.
#[test]
fn a_name_made_of_dots_does_not_leave_the_folder() {
    let sandbox = station_with_output(".{die}/bare.s2p");
    sandbox.write("work/line_..s2p", sandbox.bytes("line_d1.s2p"));
    sandbox.refuses("station work/station.toml --out out", "in the folder of the results or below");
}

#[test]
fn an_input_is_not_replaced_however_it_is_spelled() {
    let sandbox = Sandbox::with_demo();
    let before = sandbox.bytes("coupler.s4p");
    std::fs::hard_link(sandbox.path("coupler.s4p"), sandbox.path("second.s4p")).unwrap();
    for output in ["nodir/../coupler.s4p", "./coupler.s4p", "second.s4p"] {
        sandbox.refuses(&format!("convert coupler.s4p {output} --overwrite"), "is an input");
        assert_eq!(sandbox.bytes("coupler.s4p"), before);
    }
    assert!(!sandbox.path("nodir").exists());
    std::fs::hard_link(sandbox.path("coupler.s4p"), sandbox.path("plot.png")).unwrap();
    sandbox.refuses("splitter coupler.s4p --plot a/../plot.png --overwrite", "is an input");
}

/// Far more files than a process may have open.
#[cfg(unix)]
#[test]
fn the_number_of_outputs_is_not_that_of_open_files() {
    let sandbox = station();
    let (line, count) = (sandbox.read("line_d1.s2p"), 120);
    let short: Vec<&str> = line.lines().collect();
    for at in 0..count {
        sandbox.write(&format!("line_e{at}.s2p"), short.join("\n"));
    }
    let script = "ulimit -n 40; exec \"$0\" station station.toml --out out --quiet";
    let mut bash = std::process::Command::new("bash");
    bash.args(["-c", script, env!("CARGO_BIN_EXE_fourphase")]).current_dir(sandbox.folder());
    let run = Run::of(&mut bash);
    assert_eq!(run.status, 0, "{}", run.stderr);
    assert_eq!(sandbox.names("out").len(), count + 3 + 4);
}

/// Names that are no text cannot be part of another name: they are said and count as failed.
#[cfg(target_os = "linux")]
#[test]
fn a_name_that_is_no_text_is_said() {
    use std::os::unix::ffi::OsStrExt as _;
    let sandbox = station();
    let name = std::ffi::OsStr::from_bytes(b"line_\xff.s2p");
    std::fs::copy(sandbox.path("line_d1.s2p"), sandbox.folder().join(name)).unwrap();
    let run = sandbox.run("station station.toml --out out");
    assert_eq!(run.status, 2, "{}", run.stderr);
    assert!(run.stderr.contains("is not UTF-8"), "{}", run.stderr);
    assert_eq!(sandbox.names("out").len(), 7);
}

#[test]
fn nothing_stale_stands_beside_a_new_report() {
    let sandbox = Sandbox::with_demo();
    let uncertainty = "--uncertainty magnitude_db=0.03,phase_deg=0.3";
    let splitter = "splitter coupler.s4p --quiet --out out";
    assert!(sandbox.run(&format!("{splitter} {uncertainty}")).status < 2);
    assert!(sandbox.path("out/coverage.png").exists());
    sandbox.write("out/notes.txt", "mine");
    sandbox.refuses(splitter, "--overwrite");
    assert!(sandbox.run(&format!("{splitter} --overwrite")).status < 2);
    let names = sandbox.names("out");
    assert!(names.contains(&"notes.txt".to_owned()), "{names:?}");
    assert!(!names.iter().any(|name| name.starts_with("uncertainty") || name == "coverage.png"));
    // Another command's report takes its place as well.
    sandbox.refuses("inspect coupler.s4p --out out", "report.json exists");
    sandbox.succeeds("inspect coupler.s4p --quiet --out out --overwrite");
    assert_eq!(sandbox.names("out"), ["files.csv", "notes.txt", "report.json", "report.txt"]);
}

#[test]
fn maps_of_wafers_that_are_gone_are_removed() {
    let sandbox = sandbox_with_dies(2, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    sandbox.write("demo/small.toml", RECIPE);
    assert!(sandbox.run("wafer demo/small.toml --out out").status < 2);
    assert!(sandbox.path("out/wafer-map-K1-W01.png").exists());
    sandbox.write("demo/dies.csv", list.replace("W01", "W77"));
    assert!(sandbox.run("wafer demo/small.toml --out out --overwrite").status < 2);
    assert!(!sandbox.path("out/wafer-map-K1-W01.png").exists());
    assert!(sandbox.path("out/wafer-map-K1-W77.png").exists());
}

#[test]
fn a_finished_run_is_resumed_at_once() {
    let sandbox = sandbox_with_dies(2, "--no-faults");
    sandbox.write("demo/small.toml", RECIPE);
    assert!(sandbox.run("wafer demo/small.toml --out out").status < 2);
    let before = contents(&sandbox, "out");
    let run = sandbox.run("wafer demo/small.toml --out out --resume");
    assert_eq!(run.status, 0, "{}", run.stderr);
    assert!(run.stderr.contains("this run is finished"), "{}", run.stderr);
    assert_eq!(contents(&sandbox, "out"), before);
    // Other inputs are another run.
    let list = sandbox.read("demo/dies.csv");
    sandbox.write("demo/dies.csv", list.replace("W01", "W02"));
    sandbox.refuses("wafer demo/small.toml --out out --resume", "--overwrite");
    assert_eq!(contents(&sandbox, "out"), before);
}

/// Names of 60 characters of three bytes each, which no file's name could hold.
#[test]
fn long_names_of_lots_and_wafers_have_maps() {
    let sandbox = sandbox_with_dies(1, "--no-faults");
    let list = sandbox.read("demo/dies.csv");
    let long = "長".repeat(60);
    sandbox.write("demo/dies.csv", list.replace("K1,W01", &format!("{long},{long}")));
    sandbox.write("demo/small.toml", RECIPE);
    let run = sandbox.run("wafer demo/small.toml --out out");
    assert!(run.status < 2, "{}", run.stderr);
    assert!(sandbox.names("out").iter().any(|name| name.starts_with("wafer-map-長")));
}

/// Found before anything is measured: no journal is begun.
#[test]
fn outputs_that_are_inputs_are_refused_before_measuring() {
    let sandbox = sandbox_with_dies(2, "--no-faults");
    let before = sandbox.names("demo").len();
    sandbox.refuses("wafer demo/recipe.toml --out demo --overwrite", "is an input of this run");
    // A die's own file, and a file that is nobody's input.
    let list = sandbox.read("demo/dies.csv");
    let file = list.lines().nth(1).unwrap().split(',').nth(4).unwrap().to_owned();
    sandbox.write("demo/yield.png", sandbox.bytes(&format!("demo/{file}")));
    let recipe = sandbox.read("demo/recipe.toml").replace("dies.csv", "list.csv");
    sandbox.write("demo/recipe.toml", recipe);
    sandbox.write("demo/list.csv", list.replace(&file, "yield.png"));
    std::fs::remove_file(sandbox.path("demo/dies.csv")).unwrap();
    sandbox.refuses("wafer demo/recipe.toml --out demo --overwrite", "yield.png is an input");
    sandbox.write("demo/list.csv", list);
    let own = "in the folder of the run's description";
    sandbox.refuses("wafer demo/recipe.toml --out demo --overwrite", own);
    assert_eq!(sandbox.names("demo").len(), before + 1);
}

/// A folder with a report holds what was printed, whatever the form of the standard output was.
#[test]
fn a_report_holds_the_printed_text() {
    let sandbox = Sandbox::with_demo();
    for folder in ["station", "wafer", "wafer/dies"] {
        for entry in std::fs::read_dir(project(&format!("data-demo/{folder}"))).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                let name = path.file_name().unwrap().to_str().unwrap();
                sandbox.write(&format!("{folder}/{name}"), std::fs::read(&path).unwrap());
            }
        }
    }
    for (at, command) in [
        "inspect coupler.s4p gate.s1p",
        "splitter coupler.s4p --band 28GHz..30GHz --require-image-rejection-db 30",
        "downconverter receiver.toml --measured tones.csv",
        "compare balun.s3p balun_q.s3p",
        "station station/station.toml",
        "wafer wafer/recipe.toml",
    ]
    .into_iter()
    .enumerate()
    {
        let printed = sandbox.run(&format!("{command} --out text{at}"));
        assert!(printed.status < 2, "{command}: {}", printed.stderr);
        assert_eq!(sandbox.read(&format!("text{at}/report.txt")), printed.stdout, "{command}");
        let quiet = sandbox.run(&format!("{command} --format json --quiet --out json{at}"));
        assert!(quiet.status < 2, "{command}: {}", quiet.stderr);
        assert_eq!(sandbox.read(&format!("json{at}/report.txt")), printed.stdout, "{command}");
    }
}
