//! What must hold for any network, on generated ones.

use crate::nodal::{GROUND, NodalCircuit};
use fourphase::component::{
    Arrangement, BranchLine, CoupledLineCoupler, Elements, Line, branch_line, coupled_line_coupler,
    line, series_element,
};
use fourphase::network::{
    Chain, ChainForm, FrequencyGrid, Load, Network, NetworkError, ParameterKind, Port, Terminal,
    ThruSplit, WaveDefinition, Wiring, assess, chain, change_reference, close_ports, convert,
    from_chain, join, nearest_passive, on_common_grid, onto_grid, port_voltages, remove_thru,
    select_ports, to_chain,
};
use num_complex::Complex64;
use proptest::prelude::*;

fn grid() -> FrequencyGrid {
    FrequencyGrid::from_hz(vec![29e9]).unwrap()
}

fn complex(limit: f64) -> impl Strategy<Value = Complex64> {
    (-limit..limit, -limit..limit).prop_map(|(re, im)| Complex64::new(re, im))
}

/// References with a positive real part, some far from 50 ohm.
fn reference() -> impl Strategy<Value = Complex64> {
    (1.0..300.0_f64, -120.0..120.0_f64).prop_map(|(re, im)| Complex64::new(re, im))
}

fn waves() -> impl Strategy<Value = WaveDefinition> {
    prop_oneof![
        Just(WaveDefinition::Kurokawa),
        Just(WaveDefinition::MarksWilliams),
        Just(WaveDefinition::LineImpedance)
    ]
}

prop_compose! {
    /// Passive (limit below 1/√n) or active (above) networks in any references.
    fn network(ports: std::ops::Range<usize>, limit: f64)(ports in ports)(
        entries in prop::collection::vec(complex(limit), ports * ports),
        references in prop::collection::vec(reference(), ports),
        waves in waves(),
        ports in Just(ports),
    ) -> Network {
        Network::new(ParameterKind::Scattering, grid(), ports, entries, references).unwrap().with_wave_definition(waves)
    }
}

/// What rounding may do: the inverse conversion multiplies errors by the sizes on the way.
fn close(one: &Network, other: &Network, growth: f64) -> bool {
    let largest = one.entries().iter().map(|entry| entry.norm()).fold(1.0, f64::max);
    one.entries()
        .iter()
        .zip(other.entries())
        .all(|(a, b)| (a - b).norm() <= 1e-13 * growth * largest)
}

fn size(network: &Network) -> f64 {
    network.entries().iter().map(|entry| entry.norm()).fold(0.0, f64::max)
}

/// The chain of two, one after the other, with `side` ports on each side of both.
fn multiplied(first: &Chain, second: &Chain, form: ChainForm, side: usize) -> Chain {
    let (n, one, other) = (2 * side, first.entries(), second.entries());
    let entry = |at: usize| (0..n).map(|k| one[at / n * n + k] * other[k * n + at % n]).sum();
    Chain::new(form, side, grid(), (0..n * n).map(entry).collect()).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn every_conversion_and_back(network in prop_oneof![network(1..5, 0.3), network(1..5, 3.0)]) {
        for kind in [ParameterKind::Impedance, ParameterKind::Admittance, ParameterKind::HybridH, ParameterKind::HybridG] {
            if kind.is_two_port_only() && network.ports() != 2 {
                continue;
            }
            // Near a matrix that does not exist, digits are lost in proportion to its size.
            let Ok(there) = convert(&network, kind) else { continue };
            let scale = if kind == ParameterKind::Admittance { 300.0 } else { 1.0 };
            let growth = 1e3 * (1.0 + scale * size(&there));
            let back = convert(&there, ParameterKind::Scattering).unwrap();
            prop_assert!(close(&network, &back, growth), "{kind}");
        }
    }

    #[test]
    fn renormalisation_and_back(
        network in network(1..5, 0.4),
        references in prop::collection::vec(reference(), 5),
        waves in waves(),
    ) {
        let to = references[..network.ports()].to_vec();
        let Ok(there) = change_reference(&network, to, waves) else { return Ok(()) };
        let back = change_reference(&there, network.references_ohm(0).to_vec(), network.wave_definition()).unwrap();
        prop_assert!(close(&network, &back, 1e4 * (1.0 + size(&there)).powi(2)));
        // And by way of Z, which knows no references.
        if let (Ok(z), Ok(other)) = (convert(&network, ParameterKind::Impedance), convert(&there, ParameterKind::Impedance)) {
            prop_assert!(close(&z, &other, 1e4 * (1.0 + size(&z))));
        }
    }

    #[test]
    fn chains_multiply_as_networks_join(one in network(2..3, 0.4), other in network(2..3, 0.4)) {
        for form in [ChainForm::Voltage, ChainForm::WaveCascade] {
            // For waves the meeting ports must share a real reference.
            let real = |network: &Network| change_reference(network, vec![50.0.into()], WaveDefinition::Kurokawa);
            let (Ok(one), Ok(other)) = (real(&one), real(&other)) else { return Ok(()) };
            let (Ok(a), Ok(b)) = (to_chain(&one, form), to_chain(&other, form)) else { return Ok(()) };
            let product = multiplied(&a, &b, form, 1);
            let Ok(by_chain) = from_chain(&product, vec![50.0.into()], WaveDefinition::Kurokawa) else { return Ok(()) };
            let at = |block, number| Terminal { block, port: Port::from_number(number).unwrap() };
            let wiring = Wiring { joins: vec![vec![at(0, 2), at(1, 1)]], outside: vec![at(0, 1), at(1, 2)] };
            let joined = join(&[one, other], &wiring).unwrap();
            let largest = a.entries().iter().chain(b.entries()).map(|entry| entry.norm()).fold(1.0, f64::max);
            prop_assert!(close(&joined, &by_chain, 1e3 * largest.powi(2)));
        }
    }

    #[test]
    fn four_ports_cascade_as_their_chains_multiply(one in network(4..5, 0.3), other in network(4..5, 0.3)) {
        let real = |network: &Network| change_reference(network, vec![50.0.into()], WaveDefinition::Kurokawa);
        let (Ok(one), Ok(other)) = (real(&one), real(&other)) else { return Ok(()) };
        let (Ok(a), Ok(b)) = (to_chain(&one, ChainForm::Voltage), to_chain(&other, ChainForm::Voltage)) else { return Ok(()) };
        let product = multiplied(&a, &b, ChainForm::Voltage, 2);
        let Ok(by_chain) = from_chain(&product, vec![50.0.into()], WaveDefinition::Kurokawa) else { return Ok(()) };
        let joined = chain(&one, &other).unwrap();
        let largest = a.entries().iter().chain(b.entries()).map(|entry| entry.norm()).fold(1.0, f64::max);
        prop_assert!(close(&joined, &by_chain, 1e3 * largest.powi(2)));
    }

    #[test]
    fn pair_by_pair_equals_one_system(
        blocks in prop::collection::vec(network(3..5, 0.25), 4),
        seed in any::<prop::sample::Index>(),
    ) {
        // A ring of blocks with whatever ports are left outside, in an order drawn at random.
        let at = |block: usize, number: usize| Terminal { block, port: Port::from_number(number).unwrap() };
        let mut joins: Vec<Vec<Terminal>> = (0..4).map(|block| vec![at(block, 1), at((block + 1) % 4, 2)]).collect();
        joins.rotate_left(seed.index(4));
        let outside: Vec<Terminal> =
            blocks.iter().enumerate().flat_map(|(block, n)| (3..=n.ports()).map(move |number| at(block, number))).collect();
        let wiring = Wiring { joins, outside };
        let by_pairs = join(&blocks, &wiring).unwrap();
        // Voltages at the outside ports: (1 + S) √R for a unit wave into the driven one.
        let voltages = port_voltages(&blocks, &wiring, &wiring.outside, 0).unwrap();
        for (row, of_terminal) in voltages.into_iter().enumerate() {
            let root = by_pairs.references_ohm(0)[row].re.sqrt();
            for (column, voltage) in of_terminal.into_iter().enumerate() {
                let s = by_pairs.entries()[row * wiring.outside.len() + column];
                let unit = if row == column { 1.0 } else { 0.0 };
                prop_assert!((voltage / root - s - unit).norm() < 1e-12, "{voltage}");
            }
        }
    }

    #[test]
    fn joined_lines_equal_nodal_analysis(
        impedances in prop::collection::vec(20.0..120.0_f64, 6),
        angles in prop::collection::vec(5.0..300.0_f64, 6),
        losses in prop::collection::vec(0.0..1.5_f64, 6),
        load_ohm in 5.0..200.0_f64,
    ) {
        // Two loops that share a corner, a three-way junction and a load: 0-1-2-0 and 2-3-4, 2-4.
        let ends = [(0, 1), (1, 2), (2, 0), (2, 3), (3, 4), (2, 4)];
        let lines: Vec<Line> = (0..6)
            .map(|at| Line { loss_db: losses[at], ..Line::ideal(impedances[at], 29e9, angles[at]) })
            .collect();
        let mut blocks: Vec<Network> = lines.iter().map(|model| line(&grid(), model).unwrap()).collect();
        let reflection = (load_ohm - 50.0) / (load_ohm + 50.0);
        blocks.push(Network::new(ParameterKind::Scattering, grid(), 1, vec![reflection.into()], vec![50.0.into()]).unwrap());
        let mut nodes: Vec<Vec<Terminal>> = vec![Vec::new(); 5];
        for (block, (from, to)) in ends.into_iter().enumerate() {
            nodes[from].push(Terminal { block, port: Port::from_index(0) });
            nodes[to].push(Terminal { block, port: Port::from_index(1) });
        }
        nodes[3].push(Terminal { block: 6, port: Port::from_index(0) });
        let outside = vec![nodes[0][0], nodes[1][0], nodes[4][0]];
        let got = join(&blocks, &Wiring { joins: nodes, outside });
        // A loop of lossless lines may ring; both would say so.
        let Ok(got) = got else { return Ok(()) };
        let mut circuit = NodalCircuit::new(5);
        for (model, (from, to)) in lines.iter().zip(ends) {
            circuit.line(from, to, crate::nodal::Line { impedance_ohm: model.impedance_ohm, exponent: model.exponent(29e9).unwrap() });
        }
        circuit.branch(3, GROUND, Complex64::from(1.0 / load_ohm));
        let want = circuit.scattering(&[(0, 50.0), (1, 50.0), (4, 50.0)]);
        for (got, want) in got.entries().iter().zip(want) {
            // The admittances of lines near half a wave are large; that is where digits go.
            prop_assert!((got - want).norm() < 1e-7, "{got} {want}");
        }
    }

    #[test]
    fn the_nearest_passive_network_is_passive(network in network(1..5, 1.5)) {
        let Ok((passive, change)) = nearest_passive(&network) else { return Ok(()) };
        prop_assert!(assess(&passive).unwrap().max_singular_value.value <= 1.0 + 1e-9);
        let was_passive = assess(&network).unwrap().max_singular_value.value <= 1.0;
        prop_assert_eq!(change > 1e-12, !was_passive);
    }
}

#[test]
fn left_out_ports_end_in_their_references() {
    let hybrid =
        branch_line(&grid(), &BranchLine { impedance_ohm: 45.0, center_hz: 29e9, loss_db: 0.1 })
            .unwrap();
    let port = |number| Port::from_number(number).unwrap();
    let kept = select_ports(&hybrid, &[port(3), port(1)]).unwrap();
    assert_eq!(kept.entries()[1], hybrid.matrix(0).at(port(3), port(1)));
    // Of Z too: the ports left out are closed, not cut.
    let z = convert(&hybrid, ParameterKind::Impedance).unwrap();
    let z_kept =
        convert(&select_ports(&z, &[port(3), port(1)]).unwrap(), ParameterKind::Scattering)
            .unwrap();
    for (one, other) in kept.entries().iter().zip(z_kept.entries()) {
        assert!((one - other).norm() < 1e-12);
    }
    let closed =
        close_ports(&hybrid, &[2, 4].map(|number| (port(number), Load::Impedance(50.0.into()))))
            .unwrap();
    assert!((closed.matrix(0).at(port(3), port(1)) - kept.entries()[1]).norm() < 1e-15);
    assert!(matches!(
        select_ports(&hybrid, &[port(1), port(1)]),
        Err(NetworkError::PortTwice { .. })
    ));
}

/// The largest error of interpolating a part from a coarse grid over 24 to 34 GHz.
fn interpolation_error(points: usize, build: impl Fn(&FrequencyGrid) -> Network) -> f64 {
    let coarse = FrequencyGrid::linear(24e9, 34e9, points).unwrap();
    let fine = FrequencyGrid::linear(24e9, 34e9, 1001).unwrap();
    let got = onto_grid(&build(&coarse), &fine).unwrap().network;
    got.entries()
        .iter()
        .zip(build(&fine).entries())
        .map(|(got, want)| (got - want).norm())
        .fold(0.0, f64::max)
}

#[test]
fn interpolation_errors_on_coarse_grids() {
    // A matched line of two waves: 60 degrees from point to point on 11 points, and exact.
    let long = |grid: &FrequencyGrid| line(grid, &Line::ideal(50.0, 29e9, 720.0)).unwrap();
    assert!(interpolation_error(13, long) < 1e-12);
    // A mismatched line with skin-effect loss, a quarter-wave coupler, a series resonance of Q 5.
    let mismatched = |grid: &FrequencyGrid| {
        line(grid, &Line { loss_db: 1.0, ..Line::ideal(75.0, 29e9, 360.0) }).unwrap()
    };
    let coupler = |grid: &FrequencyGrid| {
        let coupler = CoupledLineCoupler {
            coupling_db: 3.0,
            impedance_ohm: 50.0,
            center_hz: 29e9,
            loss_db: 0.3,
            odd_mode_velocity_excess_percent: 8.0,
        };
        coupled_line_coupler(grid, &coupler).unwrap()
    };
    let resonator = |grid: &FrequencyGrid| {
        let (omega, reactance) = (std::f64::consts::TAU * 29e9, 250.0);
        let elements = Elements {
            resistance_ohm: Some(1.0),
            inductance_h: Some(reactance / omega),
            capacitance_f: Some(1.0 / (omega * reactance)),
        };
        series_element(grid, &elements, Arrangement::Series).unwrap()
    };
    for (name, errors, limit) in [
        ("line", [11, 21].map(|points| interpolation_error(points, mismatched)), 3e-4),
        ("coupler", [11, 21].map(|points| interpolation_error(points, coupler)), 7e-6),
        ("resonator", [11, 21].map(|points| interpolation_error(points, resonator)), 6e-4),
    ] {
        println!("{name}: {:.1e} on 11 points, {:.1e} on 21", errors[0], errors[1]);
        assert!(errors[0] < limit, "{name}: {errors:?}");
        // Third order, at the very least second: half the step, a quarter of the error.
        assert!(errors[1] < 0.27 * errors[0], "{name}: {errors:?}");
    }
}

#[test]
fn networks_meet_on_the_grid_they_share() {
    let part = |first: f64, last: f64, points: usize| {
        line(&FrequencyGrid::linear(first, last, points).unwrap(), &Line::ideal(50.0, 29e9, 90.0))
            .unwrap()
    };
    let common =
        on_common_grid(&[part(20e9, 30e9, 11), part(25.5e9, 40e9, 30), part(10e9, 50e9, 3)])
            .unwrap();
    let hz = common[0].network.grid().as_hz();
    assert_eq!((hz[0], hz[hz.len() - 1]), (25.5e9, 30e9));
    assert!(common.iter().all(|part| part.network.grid() == common[0].network.grid()));
    let apart = on_common_grid(&[part(10e9, 20e9, 3), part(21e9, 30e9, 3)]).unwrap_err();
    assert!(matches!(apart, NetworkError::NoCommonBand { .. }));
}

#[test]
fn half_of_a_through_comes_off() {
    let grid = FrequencyGrid::linear(1e9, 40e9, 118).unwrap();
    let device =
        branch_line(&grid, &BranchLine { impedance_ohm: 60.0, center_hz: 29e9, loss_db: 0.2 })
            .unwrap();
    let device = select_ports(&device, &[Port::from_index(0), Port::from_index(1)]).unwrap();
    let at = |block, number| Terminal { block, port: Port::from_number(number).unwrap() };
    let embed = |half: &Network, inner: Option<&Network>, turned: bool| {
        // The right half stands the other way round.
        let (near, far) = if turned { (2, 1) } else { (1, 2) };
        let mut blocks = vec![half.clone(), half.clone()];
        let mut wiring = Wiring { joins: vec![], outside: vec![at(0, 1), at(1, far)] };
        match inner {
            None => wiring.joins.push(vec![at(0, 2), at(1, near)]),
            Some(inner) => {
                blocks.push(inner.clone());
                wiring.joins = vec![vec![at(0, 2), at(2, 1)], vec![at(2, 2), at(1, near)]];
            }
        }
        join(&blocks, &wiring).unwrap()
    };
    // Lossy and mismatched lines, more than half a turn long in all.
    let lead = line(&grid, &Line { loss_db: 0.4, ..Line::ideal(62.0, 29e9, 130.0) }).unwrap();
    // A pad of 20 fF and a lead of 40 pH and 0.3 ohm.
    let pad = Elements { capacitance_f: Some(20e-15), ..Elements::default() };
    let wire =
        Elements { inductance_h: Some(40e-12), resistance_ohm: Some(0.3), ..Elements::default() };
    let pad = fourphase::component::shunt_element(&grid, &pad, Arrangement::Series).unwrap();
    let wire = series_element(&grid, &wire, Arrangement::Series).unwrap();
    let both = join(
        &[pad, wire],
        &Wiring { joins: vec![vec![at(0, 2), at(1, 1)]], outside: vec![at(0, 1), at(1, 2)] },
    )
    .unwrap();
    for (half, turned, split) in [(lead, false, ThruSplit::Line), (both, true, ThruSplit::Pad)] {
        let (through, measured) = (embed(&half, None, turned), embed(&half, Some(&device), turned));
        let removed = remove_thru(&measured, &through, split).unwrap();
        for (got, want) in removed.network.entries().iter().zip(device.entries()) {
            assert!((got - want).norm() < 1e-9, "{split:?}: {got} {want}");
        }
        assert!(removed.warnings.is_empty(), "{:?}", removed.warnings);
    }
}

#[test]
fn a_fixture_that_passes_little_is_warned_about() {
    let grid = FrequencyGrid::linear(28e9, 30e9, 5).unwrap();
    let pad = fourphase::component::attenuator(&grid, 45.0).unwrap();
    let measured = fourphase::component::attenuator(&grid, 93.0).unwrap();
    let removed = fourphase::network::remove_fixtures(&measured, Some(&pad), Some(&pad)).unwrap();
    assert!((removed.network.entries()[1].norm() - 10_f64.powf(-3.0 / 20.0)).abs() < 1e-9);
    let uneven = fourphase::network::remove_fixtures(&measured, Some(&pad), None).unwrap();
    assert!(
        uneven.warnings.iter().any(|warning| warning.contains("ill-conditioned")),
        "{:?}",
        uneven.warnings
    );
}
