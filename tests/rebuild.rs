//! N-ports rebuilt from measurements of some of their ports: independent values, and random networks
//! whose measurements are solved by closing the other ports.
#![allow(missing_docs, clippy::unwrap_used)]

mod values;

use fourphase::measurement::{PartialMeasurement, RebuildError, rebuild};
use fourphase::network::{
    FrequencyGrid, Load, Network, ParameterKind, Port, close_ports, select_ports,
};
use num_complex::Complex64;
use proptest::prelude::{Strategy, any, prop, proptest};
use values::{cases, check_matrix, list, matrix, topic};

fn port(index: usize) -> Port {
    Port::from_index(index)
}

fn network(grid: &FrequencyGrid, ports: usize, entries: Vec<Complex64>) -> Network {
    Network::new(ParameterKind::Scattering, grid.clone(), ports, entries, vec![50.0.into(); ports])
        .unwrap()
}

fn one_frequency() -> FrequencyGrid {
    FrequencyGrid::from_hz(vec![29e9]).unwrap()
}

/// `tests/check-values/13_reconstruction.json`: measurements by a tableau, all pairs of ports.
#[test]
fn independent_examples_come_back() {
    let topic = topic("13_reconstruction.json");
    for case in cases(&topic, "reconstruct") {
        let inputs = &case["inputs"];
        let ends = list(&inputs["z_terminations_ohm"]);
        let reflections: Vec<Vec<Complex64>> =
            ends.iter().map(|ohm| vec![(ohm - 50.0) / (ohm + 50.0)]).collect();
        let measurements: Vec<PartialMeasurement> = inputs["measurements"]
            .as_array()
            .unwrap()
            .iter()
            .map(|measured| PartialMeasurement {
                network: network(&one_frequency(), 2, matrix(&measured["s"])),
                ports: measured["ports"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|number| {
                        Port::from_number(number.as_u64().unwrap().try_into().unwrap()).unwrap()
                    })
                    .collect(),
                terminations: reflections.clone(),
            })
            .collect();
        let rebuilt = rebuild(ends.len(), 50.0, &measurements, false).unwrap();
        // What matched terminations would cost is theirs for the plain fill; ours is the best fit, which
        // spreads it over all measurements and so is no larger, and of the same size.
        if let Some(cost) = case["expected"]["largest_error_if_terminations_ignored"].as_f64() {
            let ours = rebuilt.if_terminations_ignored;
            assert!(ours <= 1.001 * cost && ours > 0.2 * cost, "{ours} {cost}");
        }
        check_matrix(case, "s", rebuilt.network.entries(), &case["expected"]["s"]);
        assert!(rebuilt.residual_largest < 1e-12, "{}", rebuilt.residual_largest);
        assert!(rebuilt.condition < 20.0);
        let given = list(&inputs["gamma_terminations"]);
        assert!(given.iter().zip(&reflections).all(|(one, other)| (one - other[0]).norm() < 1e-12));
    }
}

/// What a measurement of some ports gives, by closing the others in their loads.
fn measured(whole: &Network, ports: &[usize], ends: &[Complex64]) -> PartialMeasurement {
    let loads: Vec<(Port, Load)> = (0..whole.ports())
        .filter(|at| !ports.contains(at))
        .map(|at| (port(at), Load::Reflection(ends[at])))
        .collect();
    let closed = close_ports(whole, &loads).unwrap();
    let ports: Vec<Port> = ports.iter().map(|&at| port(at)).collect();
    let points = whole.grid().len();
    PartialMeasurement {
        network: select_ports(&closed, &ports).unwrap(),
        ports,
        terminations: ends.iter().map(|&end| vec![end; points]).collect(),
    }
}

fn numbers(count: usize, size: f64) -> impl Strategy<Value = Vec<Complex64>> {
    prop::collection::vec((-size..size, -size..size), count)
        .prop_map(|list| list.into_iter().map(|(re, im)| Complex64::new(re, im)).collect())
}

fn worst(one: &Network, other: &Network) -> f64 {
    one.entries().iter().zip(other.entries()).map(|(a, b)| (a - b).norm()).fold(0.0, f64::max)
}

proptest! {
    /// Every pair of ports once, each port with a bad termination of its own.
    #[test]
    fn all_pairs_give_the_matrix_back(
        entries in numbers(36, 0.3),
        ends in numbers(6, 0.3),
        ports in prop::sample::select(vec![3_usize, 4, 6]),
    ) {
        let whole = network(&one_frequency(), ports, entries[..ports * ports].to_vec());
        let pairs = (0..ports).flat_map(|i| (i + 1..ports).map(move |j| [i, j]));
        let set: Vec<PartialMeasurement> =
            pairs.map(|pair| measured(&whole, &pair, &ends[..ports])).collect();
        let rebuilt = rebuild(ports, 50.0, &set, false).unwrap();
        assert!(worst(&rebuilt.network, &whole) < 1e-10);
        assert!(rebuilt.repeated.iter().all(|repeated| repeated.count == ports - 1));
    }

    /// Terminations that differ between measurements, and one measurement that is left out where
    /// reciprocity tells nothing of it: three ports at a time.
    #[test]
    fn terminations_may_differ(
        entries in numbers(16, 0.3),
        ends in numbers(16, 0.3),
        is_turned in any::<bool>(),
    ) {
        let mut entries = entries;
        for row in 0..4 {
            for column in 0..row {
                entries[row * 4 + column] = entries[column * 4 + row];
            }
        }
        let whole = network(&one_frequency(), 4, entries);
        let sets: [&[usize]; 4] =
            if is_turned { [&[1, 0, 2], &[0, 3], &[3, 1], &[2, 3]] } else { [&[0, 1, 2], &[0, 3], &[1, 3], &[2, 3]] };
        let set: Vec<PartialMeasurement> = sets
            .iter()
            .zip(ends.chunks(4))
            .map(|(ports, ends)| measured(&whole, ports, ends))
            .collect();
        let rebuilt = rebuild(4, 50.0, &set, true).unwrap();
        assert!(worst(&rebuilt.network, &whole) < 1e-10, "{}", worst(&rebuilt.network, &whole));
    }
}

#[test]
fn what_cannot_be_rebuilt_is_said() {
    let whole = network(&one_frequency(), 3, vec![Complex64::new(0.1, 0.2); 9]);
    let ends = [Complex64::ZERO; 3];
    let set = [measured(&whole, &[0, 1], &ends), measured(&whole, &[1, 2], &ends)];
    let missing = rebuild(3, 50.0, &set, true).unwrap_err();
    assert_eq!(missing, RebuildError::Missing { row: port(0), column: port(2) });
    let mut twice = measured(&whole, &[0, 1], &ends);
    twice.ports[1] = port(0);
    assert!(matches!(
        rebuild(3, 50.0, &[twice], true),
        Err(RebuildError::Ports { measurement: 1, .. })
    ));
    let mut short = measured(&whole, &[0, 1], &ends);
    short.terminations.pop();
    assert!(matches!(rebuild(3, 50.0, &[short], true), Err(RebuildError::Terminations { .. })));
    assert!(rebuild(3, 50.0, &[], true).is_err());
}

/// The command on files: the demo's coupler, two ports at a time, bad loads on the others.
#[test]
fn the_command_rebuilds_the_demo_coupler() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    let run = |arguments: &[&str]| {
        std::process::Command::new(env!("CARGO_BIN_EXE_fourphase"))
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .unwrap()
    };
    std::fs::copy(root.join("data-demo/coupler.s4p"), folder.path().join("whole.s4p")).unwrap();
    std::fs::copy(root.join("data-demo/gate.s1p"), folder.path().join("bad load.s1p")).unwrap();
    let mut set = "ports = 4\nreference_ohm = 50.0\n".to_owned();
    for (port, end) in
        [(1, "ohm = 45"), (2, "ohm = [51.0, 8.0]"), (3, "file = \"bad load.s1p\""), (4, "ohm = 60")]
    {
        set += &format!("[[termination]]\nport = {port}\n{end}\n");
    }
    let loads = ["45", "51+8j", "bad load.s1p", "60"];
    for i in 1..=4 {
        for j in i + 1..=4 {
            // A network with only two ports outside, the others loaded.
            let mut text = format!(
                "ports = [\"c.{i}\", \"c.{j}\"]\n[[block]]\nname = \"c\"\nfile = \"whole.s4p\"\n"
            );
            for (port, load) in (1..=4).zip(loads).filter(|(port, _)| ![i, j].contains(port)) {
                let load = match load {
                    "51+8j" => "ohm = [51, 8]".to_owned(),
                    file if file.ends_with("s1p") => format!("file = \"{file}\""),
                    ohm => format!("ohm = {ohm}"),
                };
                text += &format!("[[load]]\nat = \"c.{port}\"\n{load}\n");
            }
            std::fs::write(folder.path().join("pair.toml"), text).unwrap();
            let name = format!("p{i}{j}.s2p");
            let joined = run(&["join", "pair.toml", "--output", &name]);
            assert!(joined.status.success(), "{}", String::from_utf8_lossy(&joined.stderr));
            set += &format!("[[measurement]]\nfile = \"{name}\"\nports = [{i}, {j}]\n");
        }
    }
    std::fs::write(folder.path().join("set.toml"), &set).unwrap();
    let rebuilt = run(&["rebuild", "set.toml", "--output", "again.s4p", "--format", "json"]);
    assert!(rebuilt.status.success(), "{}", String::from_utf8_lossy(&rebuilt.stderr));
    let report: serde_json::Value = serde_json::from_slice(&rebuilt.stdout).unwrap();
    // The bad load reflects a third, and ignoring it would show.
    assert!(report["change_if_terminations_ignored"].as_f64().unwrap() > 0.05);
    assert!(report["residual_largest"].as_f64().unwrap() < 1e-12);
    let same = run(&["compare", "whole.s4p", "again.s4p", "--require-vector", "1e-10"]);
    assert!(same.status.success(), "{}", String::from_utf8_lossy(&same.stdout));
    let text = run(&["rebuild", "set.toml", "--output", "again.s4p", "--overwrite"]);
    assert!(String::from_utf8_lossy(&text.stdout).lines().all(|line| line.len() <= 80));

    for (from, to, says) in [
        ("port = 4", "port = 5", "set.toml:13:8"),
        ("ports = [3, 4]", "ports = [3, 3]", "port 3 stands twice"),
        ("ohm = 45", "ohm = -45", "resistance"),
        ("[[measurement]]\nfile = \"p34.s2p\"\nports = [3, 4]\n", "", "S3,4"),
        ("p34.s2p", "p43.s2p", "p43.s2p"),
    ] {
        assert!(set.contains(from), "{from}");
        std::fs::write(folder.path().join("wrong.toml"), set.replacen(from, to, 1)).unwrap();
        let output = run(&["rebuild", "wrong.toml", "--output", "no.s4p"]);
        let said = String::from_utf8_lossy(&output.stderr).replace("wrong.toml", "set.toml");
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(says), "{says}: {said}");
        assert!(!folder.path().join("no.s4p").exists());
    }
}
