//! `start`: what it writes runs, and what it guesses from files is right.

use crate::harness::{Sandbox, number, project, replaced, unfolded};

/// The demo's files of parts alone, in the folder `parts`.
fn parts_of_the_demo() -> Sandbox {
    let sandbox = Sandbox::new();
    for entry in std::fs::read_dir(project("data-demo")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        if name.ends_with('p') && path.is_file() {
            sandbox.write(&format!("parts/{name}"), std::fs::read(&path).unwrap());
        }
    }
    sandbox
}

#[test]
fn examples_without_files_run() {
    let sandbox = Sandbox::with_demo();
    let before = sandbox.read("receiver.toml");
    sandbox.refuses("start receiver", "start replaces nothing");
    assert_eq!(sandbox.read("receiver.toml"), before);
    for name in ["receiver.toml", "uncertainty.toml"] {
        std::fs::remove_file(sandbox.path(name)).unwrap();
    }
    for (start, run) in [
        ("receiver", "downconverter receiver.toml"),
        ("network", "join network.toml --output joined.ts"),
        ("uncertainty", "splitter coupler.s4p --uncertainty uncertainty.toml"),
    ] {
        sandbox.succeeds(&format!("start {start}"));
        let run = sandbox.run(run);
        assert!(run.status < 2, "{start}: {}", run.stderr);
    }
    for subject in ["recipe", "station", "rebuild"] {
        let said = sandbox.succeeds(&format!("start {subject}"));
        assert!(said.contains("files that are not there"), "{said}");
    }
}

/// The demo's own description with the grid and the RF load that a start guesses, for comparison.
#[test]
fn a_receiver_is_made_from_its_files() {
    let sandbox = parts_of_the_demo();
    let said = unfolded(&sandbox.succeeds("start receiver parts"));
    for guess in [
        "coupler.s4p is the quadrature coupler of the LO path (quadrature, from its data: input 1, \
         outputs 2 and 3, isolated 4)",
        "balun.s3p is the balun in I, balun_q.s3p that in Q",
        "lead_i.s2p is the interconnect behind the LO coupler in I, lead_q.s2p that in Q",
        "divider.s3p is the RF divider",
        "isolation_resistor.s1p is the load of the isolated port",
        "gate.s1p is the LO load of each mixer",
    ] {
        assert!(said.contains(guess), "no '{guess}' in {said}");
    }
    let report = sandbox.json("downconverter parts/receiver.toml");
    assert_eq!(report["verdict"]["requirements"][0]["name"], "image_rejection_db");
    // The same parts, joined by hand without the demo's two RF lines, at one LO.
    let own = std::fs::read_to_string(project("data-demo/receiver.toml")).unwrap();
    let mut own: String =
        own.replace("rf_line_i.2", "divider.out_i").replace("rf_line_q.2", "divider.out_q");
    own = own.replace(
        "    \"divider.out_i -- rf_line_i.1\",\n    \"divider.out_q -- rf_line_q.1\",\n",
        "",
    );
    let lines = own.find("[[block]]\nname = \"rf_line_i\"").unwrap();
    own.replace_range(lines..own.find("# What the ports end in").unwrap(), "");
    own = own.replace(
        "rc = { resistance_ohm = 44, capacitance_ff = 12, arrangement = \"parallel\" }",
        "ohm = 50.0",
    );
    own = own
        .replace("{ from = 27.0, to = 31.0, points = 41 }", "{ from = 25, to = 33, points = 21 }");
    own = own.replace("[0.5, 1.0, 1.5]", "[0.5, 1.0]");
    sandbox.write("parts/own.toml", own);
    let own = sandbox.json("downconverter parts/own.toml");
    let worst = "/summary/worst_image_rejection_db";
    assert!(
        (number(&report, worst) - number(&own, worst)).abs() < 1e-9,
        "{} {}",
        number(&report, worst),
        number(&own, worst)
    );
}

/// Roles are found in the data, whatever the order of the ports.
#[test]
fn the_order_of_ports_does_not_matter() {
    let sandbox = parts_of_the_demo();
    sandbox.succeeds("start receiver parts");
    let worst = |folder: &str| {
        let report = sandbox.json(&format!("downconverter {folder}/receiver.toml"));
        number(&report, "/summary/worst_image_rejection_db")
    };
    let expected_db = worst("parts");
    for name in sandbox.names("parts") {
        if name.ends_with("1p") || name.ends_with("2p") {
            sandbox.write(&format!("turned/{name}"), sandbox.bytes(&format!("parts/{name}")));
        }
    }
    for (name, order) in [
        ("balun.s3p", "2,1,3"),
        ("balun_q.s3p", "2,1,3"),
        ("divider.s3p", "2,3,1"),
        ("coupler.s4p", "1,2,3,4"),
    ] {
        sandbox.succeeds(&format!("convert parts/{name} turned/{name} --ports {order}"));
    }
    sandbox.succeeds("start receiver turned");
    // Files are written with all digits; only the order of sums differs.
    assert!((worst("turned") - expected_db).abs() < 1e-6, "{} {expected_db}", worst("turned"));
}

#[test]
fn parts_that_are_missing_are_ideal() {
    let sandbox = parts_of_the_demo();
    for name in ["balun.s3p", "coupler.s4p"] {
        sandbox.write(&format!("some/{name}"), sandbox.bytes(&format!("parts/{name}")));
    }
    let said = unfolded(&sandbox.succeeds("start receiver some"));
    assert!(said.contains("no file is an RF divider: an ideal one is used"), "{said}");
    assert!(sandbox.run("downconverter some/receiver.toml").status < 2);
    sandbox.succeeds("start network some");
    sandbox.succeeds("join some/network.toml --output tree.s4p");
    sandbox.write("none/notes.txt", "");
    sandbox.refuses("start receiver none", "expected Touchstone files");
    sandbox.refuses("start receiver absent", "cannot read the folder");
    sandbox.refuses("start recipe absent", "cannot read the folder");
}

#[test]
fn a_lot_is_listed_from_the_names_of_its_files() {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/wafer");
    for entry in std::fs::read_dir(project("data-demo/wafer/dies")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        sandbox.write(&format!("lot/dies/{name}"), std::fs::read(&path).unwrap());
    }
    let said = unfolded(&sandbox.succeeds("start recipe lot"));
    assert!(said.contains("die_x, from 'x': -4 to 4"), "{said}");
    assert!(said.contains("die_y, from 'y': -4 to 4"), "{said}");
    let list = sandbox.read("lot/dies.csv");
    let own = sandbox.read("dies.csv");
    let mut compared = 0;
    for line in list.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let same = own.lines().find(|own| own.contains(&format!(",{},", fields[4])));
        // The demo's retest has a name of its own.
        if let Some(same) = same {
            let same: Vec<&str> = same.split(',').collect();
            assert_eq!(fields[1..4], same[1..4], "{line}");
            compared += 1;
        }
    }
    assert!(compared > 50, "{compared}");
    let run = sandbox.run("wafer lot/recipe.toml --out report --format json");
    assert!(run.status < 2, "{}", run.stderr);
    assert!(number(&run.json(), "/counts/tested") > 50.0);
}

#[test]
fn stations_and_sets_are_made_from_their_files() {
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/station");
    std::fs::remove_file(sandbox.path("station.toml")).unwrap();
    // Open and short are told by their data, whatever their names.
    std::fs::rename(sandbox.path("open.s2p"), sandbox.path("a.s2p")).unwrap();
    std::fs::rename(sandbox.path("short.s2p"), sandbox.path("b.s2p")).unwrap();
    let said = unfolded(&sandbox.succeeds("start station ."));
    assert!(said.contains("a.s2p is the open, from its data"), "{said}");
    assert!(said.contains("b.s2p is the short, from its data"), "{said}");
    assert!(said.contains("the parts are line_d{die}.s2p: 3 files"), "{said}");
    sandbox.succeeds("station station.toml --out bare");
    assert_eq!(sandbox.names("bare").iter().filter(|name| name.ends_with(".s2p")).count(), 3);
    let sandbox = Sandbox::new();
    sandbox.add("data-demo/rebuild");
    std::fs::remove_file(sandbox.path("set.toml")).unwrap();
    let said = unfolded(&sandbox.succeeds("start rebuild ."));
    assert!(said.contains("the part has 4 ports"), "{said}");
    sandbox.succeeds("rebuild set.toml --output rebuilt.s4p");
    std::fs::remove_file(sandbox.path("p34.s2p")).unwrap();
    std::fs::remove_file(sandbox.path("set.toml")).unwrap();
    let said = unfolded(&sandbox.succeeds("start rebuild ."));
    assert!(said.contains("no file measures the pairs 3-4"), "{said}");
}

/// Beside a receiver's description the dies take the place of its block, and an uncertainty is for it.
#[test]
fn a_lot_beside_a_receiver_is_one_of_receivers() {
    let sandbox = parts_of_the_demo();
    sandbox.succeeds("start receiver parts");
    // The dies were measured over a narrower band than the parts.
    let narrower = [("from = 25, to = 33", "from = 27, to = 31")];
    sandbox.write("parts/receiver.toml", replaced(&sandbox.read("parts/receiver.toml"), &narrower));
    for entry in std::fs::read_dir(project("data-demo/wafer/dies")).unwrap().take(12) {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        sandbox.write(&format!("parts/dies/{name}"), std::fs::read(&path).unwrap());
    }
    let said = unfolded(&sandbox.succeeds("start recipe parts"));
    assert!(
        said.contains("each file takes the place of block 'hybrid' of receiver.toml"),
        "{said}"
    );
    let run = sandbox.run("wafer parts/recipe.toml --out out");
    assert!(run.status < 2, "{}", run.stderr);
    assert!(sandbox.read("out/dies.csv").lines().next().unwrap().contains("worst_at_lo_hz"));
    let run = sandbox.run("start uncertainty parts");
    let next =
        "next: fourphase downconverter parts/receiver.toml --uncertainty parts/uncertainty.toml";
    assert!(unfolded(&run.stderr).contains(next), "{}", run.stderr);
}
