//! Networks beyond the range of magnitude: refused where they are built, with their place in the file.

use crate::harness::{Sandbox, unfolded};
use fourphase::network::{FrequencyGrid, Network, NetworkError, ParameterKind};
use fourphase::touchstone::{ReadOptions, parse};
use num_complex::Complex64;
use std::path::Path;

const FULL: &str = "# GHz S RI R 50\n1 0 0 1e308 1e308 1e308 1e308 1e308 -1e308\n";
const GOOD: &str = "# GHz S RI R 50\n1 0 0 .5 0 .5 0 0 0\n";

#[test]
fn the_range_is_that_of_the_parameter() {
    let one = |kind: ParameterKind, entry: f64, ohm: f64| {
        let grid = FrequencyGrid::from_hz(vec![1e9]).unwrap();
        Network::new(kind, grid, 1, vec![entry.into()], vec![ohm.into()])
    };
    for kind in [ParameterKind::Scattering, ParameterKind::Impedance, ParameterKind::Admittance] {
        let limit = kind.max_magnitude();
        assert!(one(kind, -limit, 50.0).is_ok());
        let refused = one(kind, limit * 1.001, 50.0).unwrap_err();
        assert!(matches!(refused, NetworkError::TooLarge { .. }), "{refused}");
    }
    for ohm in [1e-12, 1e12] {
        assert!(one(ParameterKind::Scattering, 0.5, ohm).is_ok());
    }
    for ohm in [5e-324, 1e-13, 1e13, 1e308] {
        let refused = one(ParameterKind::Scattering, 0.5, ohm).unwrap_err();
        assert!(matches!(refused, NetworkError::ReferenceRange { .. }), "{refused}");
    }
    let references = vec![Complex64::new(50.0, 1e13)];
    let grid = FrequencyGrid::from_hz(vec![1e9]).unwrap();
    let made = Network::new(ParameterKind::Scattering, grid, 1, vec![0.0.into()], references);
    assert!(made.is_err());
}

#[test]
fn the_reader_names_the_number() {
    for (text, column) in [
        ("# GHz S RI R 50\n1 0 0 .1 -1e10 .5 0 0 0\n", 10),
        ("# GHz S MA R 50\n1 0 0 1e10 20 .5 0 0 0\n", 7),
        ("# GHz S DB R 50\n1 0 0 .1 0 .5 0 240 0\n", 17),
    ] {
        let refused = parse(text.as_bytes(), Path::new("x.s2p"), &ReadOptions::default());
        let shown = refused.unwrap_err().diagnostic().render(false);
        assert!(shown.contains(&format!("x.s2p:2:{column}")), "{shown}");
        assert!(unfolded(&shown).contains("parts of S must be at most 1e9"), "{shown}");
    }
}

#[test]
fn one_such_file_does_not_silence_the_others() {
    let sandbox = Sandbox::new();
    sandbox.write("files/full.s2p", FULL);
    sandbox.write("files/good.s2p", GOOD);
    let run = sandbox.run("inspect files");
    assert_eq!(run.status, 2);
    assert!(run.stdout.contains("maximum singular value 0.50000"), "{}", run.stdout);
    assert!(run.stderr.contains("1 of 2 files could not be read"), "{}", run.stderr);
    sandbox.refuses("convert files/full.s2p out.s2p --make-passive", "must be at most 1e9");
}

/// The square of such a frequency is infinite, and the delay of a thru came from a quotient of two.
#[test]
fn the_delay_of_a_thru_exists_at_any_frequency() {
    use fourphase::measurement::thru_residual;
    use fourphase::network::{FrequencyGrid, Network, ParameterKind};
    for hz in [vec![2e9, 1e308], vec![0.0, 5e-324], vec![0.0]] {
        let points = hz.len();
        let grid = FrequencyGrid::from_hz(hz).unwrap();
        let through = num_complex::Complex64::from_polar(0.99, -0.1);
        let zero = num_complex::Complex64::ZERO;
        let entries = [zero, through, through, zero].repeat(points);
        let thru =
            Network::new(ParameterKind::Scattering, grid, 2, entries, vec![50.0.into()]).unwrap();
        let found = thru_residual(&thru).unwrap();
        assert!(found.delay_s.is_finite() && found.worst().is_finite(), "{found:?}");
    }
}
