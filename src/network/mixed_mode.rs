//! Conversion between mixed-mode and single-ended networks.
//!
//! For the pair (p, n): v_D = v_p - v_n, i_D = (i_p - i_n)/2, v_C = (v_p + v_n)/2,
//! i_C = i_p + i_n; waves a_D = (a_p - a_n)/√2 and a_C = (a_p + a_n)/√2, the same for b.
//! References: 2R for the differential, R/2 for the common mode, R being that of both ports.
//! Source: D. E. Bockelman, W. R. Eisenstadt, IEEE Trans. MTT 43 (1995) 1530-1539.

use super::{Network, NetworkError, ParameterKind, Port, PortMode};
use num_complex::Complex64;
use std::f64::consts::FRAC_1_SQRT_2;

/// Converts a mixed-mode S, Z or Y network to its single-ended ports, in the order of their
/// numbers.
///
/// A single-ended network is returned unchanged.
///
/// # Errors
/// [`NetworkError::TwoPortsOnly`] for H and G, which have no mixed-mode form here.
pub fn to_single_ended(network: &Network) -> Result<Network, NetworkError> {
    let Some(modes) = network.modes() else { return Ok(network.clone()) };
    let kind = network.kind();
    if kind.is_two_port_only() {
        return Err(NetworkError::TwoPortsOnly { kind, ports: network.ports() });
    }
    let ports = network.ports();
    // M_single = L M_mixed R. Each single-ended quantity is a sum over at most two modes, so L has
    // at most two entries in a row and R at most two in a column.
    let (mut left, mut right) = (vec![0.0; ports * ports], vec![0.0; ports * ports]);
    for (mode_index, mode) in modes.iter().enumerate() {
        for (port, row, column) in mode_terms(*mode, kind) {
            left[port * ports + mode_index] = row;
            right[mode_index * ports + port] = column;
        }
    }
    let entries = between(network, &left, &right);
    let sets = network.stored_references().chunks_exact(ports);
    let references_ohm = sets
        .flat_map(|set| {
            let mut single = vec![Complex64::ZERO; ports];
            for (mode, &reference_ohm) in modes.iter().zip(set) {
                match *mode {
                    PortMode::Single(port) => single[port.index()] = reference_ohm,
                    PortMode::Differential(plus, minus) => {
                        single[plus.index()] = reference_ohm / 2.0;
                        single[minus.index()] = reference_ohm / 2.0;
                    }
                    PortMode::Common(..) => {}
                }
            }
            single
        })
        .collect();
    Ok(Network::new(kind, network.grid().clone(), ports, entries, references_ohm)?
        .with_wave_definition(network.wave_definition()))
}

/// Converts pairs of ports of a single-ended S, Z or Y network to one differential and one common
/// port each. The differential port is the first port minus the second.
///
/// The rows are the ports that are in no pair, by number, then all differential ports, then all
/// common ones, in the order of the pairs.
///
/// # Errors
/// [`NetworkError::NoSuchPort`]; [`NetworkError::PortTwice`]; [`NetworkError::MixedMode`] if the
/// network is mixed-mode already; [`NetworkError::TwoPortsOnly`] for H and G;
/// [`NetworkError::UnequalPair`] if the ports of a pair have different reference impedances.
pub fn to_mixed_mode(network: &Network, pairs: &[(Port, Port)]) -> Result<Network, NetworkError> {
    let (kind, ports) = (network.kind(), network.ports());
    if network.modes().is_some() {
        return Err(NetworkError::MixedMode);
    }
    if kind.is_two_port_only() {
        return Err(NetworkError::TwoPortsOnly { kind, ports });
    }
    let mut paired = vec![false; ports];
    for port in pairs.iter().flat_map(|&(plus, minus)| [plus, minus]) {
        network.check_port(port)?;
        if std::mem::replace(&mut paired[port.index()], true) {
            return Err(NetworkError::PortTwice { port });
        }
    }
    for &(plus, minus) in pairs {
        for set in network.stored_references().chunks_exact(ports) {
            if set[plus.index()] != set[minus.index()] {
                return Err(NetworkError::UnequalPair { plus, minus });
            }
        }
    }
    let singles = (0..ports)
        .filter(|&port| !paired[port])
        .map(|port| PortMode::Single(Port::from_index(port)));
    let modes: Vec<PortMode> = singles
        .chain(pairs.iter().map(|&(plus, minus)| PortMode::Differential(plus, minus)))
        .chain(pairs.iter().map(|&(plus, minus)| PortMode::Common(plus, minus)))
        .collect();
    // The inverse of the conversion to single-ended ports. Its matrices have orthogonal columns, so
    // each inverse is the transpose with every row divided by its squared length.
    let (mut left, mut right) = (vec![0.0; ports * ports], vec![0.0; ports * ports]);
    for (mode_index, mode) in modes.iter().enumerate() {
        let terms = mode_terms(*mode, kind);
        let squares = |value: fn(&(usize, f64, f64)) -> f64| {
            terms.iter().map(|term| value(term).powi(2)).sum::<f64>()
        };
        let (row_length, column_length) = (squares(|term| term.1), squares(|term| term.2));
        for &(port, row, column) in &terms {
            left[mode_index * ports + port] = row / row_length;
            right[port * ports + mode_index] = column / column_length;
        }
    }
    let entries = between(network, &left, &right);
    let references_ohm = network
        .stored_references()
        .chunks_exact(ports)
        .flat_map(|set| {
            modes.iter().map(|mode| match *mode {
                PortMode::Single(port) => set[port.index()],
                PortMode::Differential(plus, _) => 2.0 * set[plus.index()],
                PortMode::Common(plus, _) => 0.5 * set[plus.index()],
            })
        })
        .collect();
    Network::new(kind, network.grid().clone(), ports, entries, references_ohm)?
        .with_wave_definition(network.wave_definition())
        .with_modes(modes)
}

/// L M R at every point.
fn between(network: &Network, left: &[f64], right: &[f64]) -> Vec<Complex64> {
    let ports = network.ports();
    let mut half = vec![Complex64::ZERO; ports * ports];
    let mut entries = Vec::with_capacity(network.entries().len());
    for matrix in network.entries().chunks_exact(ports * ports) {
        multiply(matrix, right, &mut half, ports);
        for row in left.chunks_exact(ports) {
            for column in 0..ports {
                entries.push(
                    row.iter()
                        .enumerate()
                        .map(|(k, factor)| half[k * ports + column] * factor)
                        .sum(),
                );
            }
        }
    }
    entries
}

/// (port, factor in L, factor in R) of the ports of a mode.
fn mode_terms(mode: PortMode, kind: ParameterKind) -> Vec<(usize, f64, f64)> {
    // Factors between single-ended and modal quantities, in both directions: waves, voltages,
    // currents. Z turns currents into voltages, Y voltages into currents.
    let (from_differential, to_differential, from_common, to_common) = match kind {
        ParameterKind::Impedance => (0.5, 0.5, 1.0, 1.0),
        ParameterKind::Admittance => (1.0, 1.0, 0.5, 0.5),
        _ => (FRAC_1_SQRT_2, FRAC_1_SQRT_2, FRAC_1_SQRT_2, FRAC_1_SQRT_2),
    };
    match mode {
        PortMode::Single(port) => vec![(port.index(), 1.0, 1.0)],
        PortMode::Differential(plus, minus) => vec![
            (plus.index(), from_differential, to_differential),
            (minus.index(), -from_differential, -to_differential),
        ],
        PortMode::Common(plus, minus) => {
            vec![(plus.index(), from_common, to_common), (minus.index(), from_common, to_common)]
        }
    }
}

fn multiply(left: &[Complex64], right: &[f64], product: &mut [Complex64], n: usize) {
    for (row, out) in left.chunks_exact(n).zip(product.chunks_exact_mut(n)) {
        for (column, entry) in out.iter_mut().enumerate() {
            *entry = row.iter().enumerate().map(|(k, value)| value * right[k * n + column]).sum();
        }
    }
}
