//! N-ports rebuilt from measurements of some of their ports: independent values, and random networks
//! whose measurements are solved by closing the other ports.

use crate::check_values::{cases, check_matrix, list, matrix, topic};
use fourphase::measurement::{
    CovarianceOrigin, MeasurementError, PartialMeasurement, RebuildSettings, Rebuilt, rebuild,
};
use fourphase::network::{
    FrequencyGrid, Load, Network, ParameterKind, Port, close_ports, select_ports,
};
use nalgebra::DMatrix;
use num_complex::Complex64;
use proptest::prelude::{Strategy, any, prop, proptest};

fn port(index: usize) -> Port {
    Port::from_index(index)
}

fn network(grid: &FrequencyGrid, ports: usize, entries: Vec<Complex64>) -> Network {
    Network::new(ParameterKind::Scattering, grid.clone(), ports, entries, vec![50.0.into(); ports])
        .unwrap()
}

fn matrices(rebuilt: &Rebuilt) -> Vec<DMatrix<Complex64>> {
    let covariances = rebuilt.covariances.as_ref().unwrap();
    covariances.entries.points().map(|(_, matrix)| matrix.clone()).collect()
}

fn one_frequency() -> FrequencyGrid {
    FrequencyGrid::from_hz(vec![29e9]).unwrap()
}

fn settings(ports: usize, is_reciprocal: bool) -> RebuildSettings {
    RebuildSettings { ports, reference_ohm: 50.0, is_reciprocal, symmetries: Vec::new() }
}

fn plainly(
    ports: usize,
    set: &[PartialMeasurement],
    is_reciprocal: bool,
) -> Result<Rebuilt, MeasurementError> {
    rebuild(&settings(ports, is_reciprocal), set)
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
                standard_uncertainty: None,
            })
            .collect();
        let rebuilt = plainly(ends.len(), &measurements, false).unwrap();
        // Taking ends for matched averages what is measured directly: ours is the best fit, theirs the
        // largest error of a single measurement.
        let ports = ends.len();
        let truth = matrix(&case["expected"]["s"]);
        let (mut sums, mut counts) =
            (vec![Complex64::ZERO; ports * ports], vec![0.0; ports * ports]);
        let mut single = 0.0_f64;
        for measurement in &measurements {
            let measured = measurement.network.matrix(0);
            for (row, to) in measurement.ports.iter().enumerate() {
                for (column, from) in measurement.ports.iter().enumerate() {
                    let value = measured.at(port(row), port(column));
                    let place = to.index() * ports + from.index();
                    single = single.max((value - truth[place]).norm());
                    sums[place] += value;
                    counts[place] += 1.0;
                }
            }
        }
        let averaged = (0..sums.len()).map(|at| (sums[at] / counts[at] - truth[at]).norm());
        let averaged = averaged.fold(0.0, f64::max);
        assert!((rebuilt.if_terminations_ignored - averaged).abs() < 1e-9);
        if let Some(cost) = case["expected"]["largest_error_if_terminations_ignored"].as_f64() {
            assert!((single - cost).abs() < 1e-9, "{single} {cost}");
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
        standard_uncertainty: None,
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
        let rebuilt = plainly(ports, &set, false).unwrap();
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
        let rebuilt = plainly(4, &set, true).unwrap();
        assert!(worst(&rebuilt.network, &whole) < 1e-10, "{}", worst(&rebuilt.network, &whole));
    }
}

/// Two outputs that may change places: each is measured once, with the input.
#[test]
fn symmetry_fills_what_is_not_measured() {
    let (r1, t, r2, i) = (
        Complex64::new(0.1, 0.05),
        Complex64::new(0.2, -0.64),
        Complex64::new(-0.12, 0.1),
        Complex64::new(0.05, 0.03),
    );
    let whole = network(&one_frequency(), 3, vec![r1, t, t, t, r2, i, t, i, r2]);
    let ends = [0.2, -0.3, 0.25].map(Complex64::from);
    let set = [measured(&whole, &[0, 1], &ends), measured(&whole, &[1, 2], &ends)];
    let mut known = settings(3, true);
    assert!(matches!(rebuild(&known, &set), Err(MeasurementError::Missing { .. })));
    known.symmetries = vec![vec![port(0), port(2), port(1)]];
    let rebuilt = rebuild(&known, &set).unwrap();
    assert!(worst(&rebuilt.network, &whole) < 1e-12);
    known.symmetries = vec![vec![port(0), port(2), port(2)]];
    assert_eq!(rebuild(&known, &set).unwrap_err(), MeasurementError::Symmetry { ports: 3 });
}

/// Errors of known size put on many sets: they come out as large as the covariance says, and as
/// correlated; and without being told so, the residual finds their size.
#[test]
fn covariances_are_those_of_many_noisy_sets() {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    // Sums of twelve uniform numbers: normal enough for variances, which is all that counts here.
    let mut normal = || {
        (0..12)
            .map(|_| {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                (state >> 11) as f64 / (1_u64 << 53) as f64
            })
            .sum::<f64>()
            - 6.0
    };
    let entries: Vec<Complex64> =
        (0..9).map(|at| Complex64::from_polar(0.3 + 0.03 * at as f64, at as f64)).collect();
    let whole = network(&one_frequency(), 3, entries);
    let ends = [Complex64::new(0.3, 0.1), Complex64::new(-0.2, 0.2), Complex64::new(0.1, -0.3)];
    // The first pair measured four times as well as the others, or all alike.
    for sizes in [[0.0005, 0.002, 0.002], [0.002; 3]] {
        let (trials, mut squares) = (4000, vec![Complex64::ZERO; 81]);
        let (mut predicted, mut told) = (Vec::new(), 0.0);
        for _ in 0..trials {
            let mut set = [[0, 1], [1, 2], [0, 2]].map(|pair| measured(&whole, &pair, &ends));
            for (measurement, size) in set.iter_mut().zip(sizes) {
                let noisy = measurement.network.entries().iter();
                let noisy = noisy.map(|value| value + size * Complex64::new(normal(), normal()));
                measurement.network = network(&one_frequency(), 2, noisy.collect());
                measurement.standard_uncertainty = Some(size);
            }
            let rebuilt = plainly(3, &set, false).unwrap();
            let found = rebuilt.network.entries().iter();
            let errors: Vec<Complex64> =
                found.zip(whole.entries()).map(|(found, truth)| found - truth).collect();
            for (place, square) in squares.iter_mut().enumerate() {
                *square += 0.5 * errors[place / 9] * errors[place % 9].conj() / f64::from(trials);
            }
            predicted = matrices(&rebuilt);
            set.iter_mut().for_each(|measurement| measurement.standard_uncertainty = None);
            let untold = plainly(3, &set, false).unwrap();
            let origin = CovarianceOrigin::Residuals { degrees_of_freedom: 6 };
            assert_eq!(untold.covariances.as_ref().unwrap().origin, origin);
            told += matrices(&untold)[0][(0, 0)].re / f64::from(trials);
        }
        // 8,000 real numbers to a variance: it is known to 1.6 %, so four times that is chance.
        let scale = predicted[0].diagonal().map(|value| value.re).max();
        for (place, square) in squares.iter().enumerate() {
            let want = predicted[0][(place / 9, place % 9)];
            assert!((square - want).norm() < 0.064 * scale, "{place} {square} {want}");
        }
        // From six numbers a variance is known to 58 %, from 4,000 times six to 0.9 %.
        let is_uniform = sizes[0] >= sizes[1];
        let ratio = told / predicted[0][(0, 0)].re;
        assert!(!is_uniform || (ratio - 1.0).abs() < 0.036, "{ratio}");
    }
}

#[test]
fn what_cannot_be_rebuilt_is_said() {
    let whole = network(&one_frequency(), 3, vec![Complex64::new(0.1, 0.2); 9]);
    let ends = [Complex64::ZERO; 3];
    let set = [measured(&whole, &[0, 1], &ends), measured(&whole, &[1, 2], &ends)];
    let missing = plainly(3, &set, true).unwrap_err();
    assert_eq!(missing, MeasurementError::Missing { row: port(0), column: port(2) });
    let mut twice = measured(&whole, &[0, 1], &ends);
    twice.ports[1] = port(0);
    assert!(matches!(
        plainly(3, &[twice], true),
        Err(MeasurementError::Ports { measurement: 1, .. })
    ));
    let mut short = measured(&whole, &[0, 1], &ends);
    short.terminations.pop();
    assert!(matches!(plainly(3, &[short], true), Err(MeasurementError::Terminations { .. })));
    assert!(plainly(3, &[], true).is_err());
}

/// All pairs of 64 ports: 8,064 equations for 2,080 entries at each frequency, minutes of work each.
#[test]
fn hours_of_work_are_refused_before_they_begin() {
    let grid = FrequencyGrid::linear(28e9, 30e9, 40).unwrap();
    let pair = network(&grid, 2, vec![Complex64::from(0.1); 4 * 40]);
    let pairs = (0..64).flat_map(|one| (one + 1..64).map(move |other| [one, other]));
    let measurements: Vec<PartialMeasurement> = pairs
        .map(|ports| PartialMeasurement {
            network: pair.clone(),
            ports: ports.map(port).to_vec(),
            terminations: vec![vec![Complex64::ZERO; 40]; 64],
            standard_uncertainty: None,
        })
        .collect();
    let start = std::time::Instant::now();
    let refused = rebuild(&settings(64, true), &measurements).unwrap_err();
    assert!(
        matches!(refused, MeasurementError::TooMuchWork { ports: 64, points: 40, most: 5 }),
        "{refused}"
    );
    assert!(start.elapsed() < std::time::Duration::from_secs(10), "{:?}", start.elapsed());
}
