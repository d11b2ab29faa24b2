//! What each part of a receiver is for, told from where it stands, and its ideal.
//!
//! The signal enters a part by the port nearest to the input and leaves by those that lead to
//! elements. A part's ideal is matched, with its own mean loss and phase and perfectly balanced
//! outputs; that of parts that form a pair has the mean of all of them. A four-port keeps the
//! structure that sends what its outputs reflect to the isolated port:
//! S(b, in) = e^{jφ} S(a, in), S(a, iso) = -e^{-jφ} S(a, in), S(b, iso) = S(a, in).

use super::error::ReceiverError;
use super::receiver::{PartKind, Receiver, Way};
use super::side::{Endings, OPEN, Side};
use crate::network::{Network, ParameterKind, Port, Terminal};
use crate::splitter::SplitterKind;
use crate::units::wrap_deg;
use num_complex::Complex64;
use std::collections::VecDeque;

/// What a part does on one way.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PartRole {
    /// Where the signal enters; ports from 0.
    pub(super) input: usize,
    /// Where it leaves towards elements.
    pub(super) outputs: Vec<usize>,
    /// Phase of each output against the first that the part is made for, degrees.
    pub(super) nominal_deg: Vec<f64>,
    /// The kind; `None` for parts with no outputs or more than two.
    pub(super) kind: Option<PartKind>,
}

/// The roles of a side's parts, in its order. What does not fit a description is told in
/// `warnings`.
pub(super) fn roles(
    receiver: &Receiver,
    side: &Side,
    warnings: &mut Vec<String>,
) -> Vec<Option<PartRole>> {
    let entries = entries(receiver, side);
    let middle = receiver.input(side.way()).grid.len() / 2;
    side.parts
        .iter()
        .zip(&side.blocks)
        .map(|(&part, block)| {
            let input = *entries.get(part)?.as_ref()?;
            let outputs: Vec<usize> = (0..block.ports())
                .filter(|&port| port != input)
                .filter(|&port| {
                    let from = Terminal { block: part, port: Port::from_index(port) };
                    leads_to_element(receiver, side.way(), from)
                })
                .collect();
            Some(role(receiver, part, block, middle, input, outputs, warnings))
        })
        .collect()
}

/// By which port the signal first enters each part.
fn entries(receiver: &Receiver, side: &Side) -> Vec<Option<usize>> {
    let mut entered: Vec<Option<usize>> = vec![None; receiver.parts.len()];
    let mut open = VecDeque::from([receiver.input(side.way()).at]);
    while let Some(terminal) = open.pop_front() {
        for reached in node_of(receiver, terminal) {
            if entered[reached.block].is_some() {
                continue;
            }
            entered[reached.block] = Some(reached.port.index());
            open.extend(other_ports(receiver, reached));
        }
    }
    entered
}

/// The ports that meet at one.
fn node_of(receiver: &Receiver, terminal: Terminal) -> Vec<Terminal> {
    let node = receiver.joins.iter().find(|node| node.contains(&terminal));
    node.cloned().unwrap_or_else(|| vec![terminal])
}

/// The other ports of a port's part.
fn other_ports(receiver: &Receiver, of: Terminal) -> impl Iterator<Item = Terminal> {
    (0..receiver.parts[of.block].ports.len())
        .map(move |port| Terminal { block: of.block, port: Port::from_index(port) })
        .filter(move |port| *port != of)
}

/// Whether elements can be reached from a port without going back through its part.
fn leads_to_element(receiver: &Receiver, way: Way, from: Terminal) -> bool {
    let mut seen = vec![false; receiver.parts.len()];
    seen[from.block] = true;
    let mut open = vec![from];
    while let Some(terminal) = open.pop() {
        let node = node_of(receiver, terminal);
        if receiver.mixers.iter().any(|mixer| node.contains(&mixer.terminal(way))) {
            return true;
        }
        for reached in node {
            if !std::mem::replace(&mut seen[reached.block], true) {
                open.extend(other_ports(receiver, reached));
            }
        }
    }
    false
}

fn role(
    receiver: &Receiver,
    part: usize,
    block: &Network,
    middle: usize,
    input: usize,
    outputs: Vec<usize>,
    warnings: &mut Vec<String>,
) -> PartRole {
    let given = &receiver.parts[part];
    let from_first_deg = |output: usize| {
        let at =
            |port: usize| block.matrix(middle).at(Port::from_index(port), Port::from_index(input));
        (at(output) / at(outputs[0])).arg().to_degrees()
    };
    let quarter_deg = |angle_deg: f64| wrap_deg(90.0 * (wrap_deg(angle_deg) / 90.0).round());
    let mut misfit = |kind: &str| {
        warnings.push(format!(
            "block '{}' is called {kind}, but its signal leaves by {} port{} towards elements; \
             this is left aside",
            given.name,
            outputs.len(),
            if outputs.len() == 1 { "" } else { "s" },
        ));
    };
    if given.nominal_deg.is_some() && outputs.len() != 2 {
        misfit("a part with a nominal phase");
    }
    let (kind, nominal_deg) = match outputs.as_slice() {
        [] => (None, Vec::new()),
        [_] => {
            if let Some(PartKind::Splitter(kind)) = given.kind {
                misfit(&kind.to_string());
            }
            (Some(PartKind::Line), vec![0.0])
        }
        [_, second] => {
            if given.kind == Some(PartKind::Line) {
                misfit("a line");
            }
            let measured_deg = from_first_deg(*second);
            let kind = match given.kind {
                Some(PartKind::Splitter(kind)) => kind,
                _ => match quarter_deg(measured_deg).abs() {
                    angle if angle < 45.0 => SplitterKind::Inphase,
                    angle if angle < 135.0 => SplitterKind::Quadrature,
                    _ => SplitterKind::Antiphase,
                },
            };
            let nominal_deg = given.nominal_deg.unwrap_or(kind.nominal_deg(measured_deg));
            (Some(PartKind::Splitter(kind)), vec![0.0, nominal_deg])
        }
        several => (None, several.iter().map(|&at| quarter_deg(from_first_deg(at))).collect()),
    };
    PartRole { input, outputs, nominal_deg, kind }
}

/// Parts that share a row of the budget.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Group {
    pub(super) name: String,
    pub(super) parts: Vec<usize>,
}

/// Single parts and pairs, in the order of the description.
pub(super) fn groups(receiver: &Receiver) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (at, part) in receiver.parts.iter().enumerate() {
        let name = part.pair.clone().unwrap_or_else(|| part.name.clone());
        match groups.iter_mut().find(|group| part.pair.is_some() && group.name == name) {
            Some(group) => group.parts.push(at),
            None => groups.push(Group { name, parts: vec![at] }),
        }
    }
    groups
}

/// The ideal of every part of a side, in its order.
pub(super) fn ideals(
    receiver: &Receiver,
    side: &Side,
    roles: &[Option<PartRole>],
) -> Result<Vec<Network>, ReceiverError> {
    let groups = groups(receiver);
    side.parts
        .iter()
        .enumerate()
        .map(|(place, part)| {
            let members: Vec<usize> = groups
                .iter()
                .find(|group| group.parts.contains(part))
                .map(|group| {
                    let places = (0..side.parts.len())
                        .filter(|&other| group.parts.contains(&side.parts[other]));
                    places.collect()
                })
                .unwrap_or_default();
            ideal(receiver, side, roles, place, &members)
        })
        .collect()
}

fn ideal(
    receiver: &Receiver,
    side: &Side,
    roles: &[Option<PartRole>],
    place: usize,
    members: &[usize],
) -> Result<Network, ReceiverError> {
    let block = &side.blocks[place];
    let ports = block.ports();
    let mut entries = vec![Complex64::ZERO; block.grid().len() * ports * ports];
    let role = roles[place].as_ref().filter(|role| !role.outputs.is_empty());
    for (point, matrix) in entries.chunks_exact_mut(ports * ports).enumerate() {
        let Some(role) = role else {
            // A termination absorbs; what stands beside the signal's way is best absent.
            if is_beside(receiver, side, place) {
                (0..ports).for_each(|port| matrix[port * ports + port] = Complex64::ONE);
            }
            continue;
        };
        let mean = mean_transfer(side, roles, members, point);
        for (&output, nominal_deg) in role.outputs.iter().zip(&role.nominal_deg) {
            let transfer = mean * turn(*nominal_deg);
            matrix[output * ports + role.input] = transfer;
            matrix[role.input * ports + output] = transfer;
        }
        let isolated: Vec<usize> = (0..ports)
            .filter(|&port| port != role.input && !role.outputs.contains(&port))
            .collect();
        if let ([a, b], [isolated]) = (role.outputs.as_slice(), isolated.as_slice()) {
            let into_a = -turn(-role.nominal_deg[1]) * mean;
            for (output, transfer) in [(*a, into_a), (*b, mean)] {
                matrix[output * ports + isolated] = transfer;
                matrix[isolated * ports + output] = transfer;
            }
        }
    }
    let references = block.references_ohm(0).to_vec();
    Ok(Network::new(ParameterKind::Scattering, block.grid().clone(), ports, entries, references)?)
}

/// The geometric mean of the transfers to all outputs of all members, each turned back by its
/// nominal phase.
fn mean_transfer(
    side: &Side,
    roles: &[Option<PartRole>],
    members: &[usize],
    point: usize,
) -> Complex64 {
    let transfers: Vec<Complex64> = members
        .iter()
        .filter_map(|&member| roles[member].as_ref().map(|role| (member, role)))
        .flat_map(|(member, role)| {
            let matrix = side.blocks[member].matrix(point);
            role.outputs.iter().zip(&role.nominal_deg).map(move |(&output, &nominal_deg)| {
                let transfer = matrix.at(Port::from_index(output), Port::from_index(role.input));
                transfer * turn(-nominal_deg)
            })
        })
        .collect();
    let Some(&first) = transfers.first() else { return Complex64::ZERO };
    if transfers.iter().any(|transfer| transfer.norm() == 0.0) {
        return Complex64::ZERO;
    }
    #[expect(clippy::cast_precision_loss, reason = "a receiver has few outputs")]
    let count = transfers.len() as f64;
    let logarithms: Complex64 = transfers.iter().map(|transfer| (transfer / first).ln()).sum();
    first * (logarithms / count).exp()
}

/// e^{jφ}, exactly at quarter turns, so that an ideal part is exactly balanced.
fn turn(angle_deg: f64) -> Complex64 {
    match wrap_deg(angle_deg) {
        0.0 => Complex64::ONE,
        90.0 => Complex64::I,
        -90.0 => -Complex64::I,
        180.0 => -Complex64::ONE,
        other => Complex64::from_polar(1.0, other.to_radians()),
    }
}

/// Whether a part hangs on a node where the signal goes on without it.
fn is_beside(receiver: &Receiver, side: &Side, place: usize) -> bool {
    let part = side.parts[place];
    receiver
        .joins
        .iter()
        .any(|node| node.len() > 2 && node.iter().any(|terminal| terminal.block == part))
}

/// The ends with ideal loads: one matched load at each node, and nothing where the signal goes on
/// to another part.
pub(super) fn ideal_endings(
    receiver: &Receiver,
    side: &Side,
    roles: &[Option<PartRole>],
    reduced: &Network,
) -> Endings {
    let mut endings = side.matched_endings(receiver, reduced);
    let mut served: Vec<Vec<Terminal>> = Vec::new();
    for load in &receiver.loads {
        let Some(end) = side.end_at(load.at) else { continue };
        let node = node_of(receiver, load.at);
        let goes_on = node.iter().any(|terminal| {
            let role = side
                .parts
                .iter()
                .position(|&part| part == terminal.block)
                .and_then(|place| roles[place].as_ref());
            role.is_some_and(|role| role.input == terminal.port.index() && !role.outputs.is_empty())
        });
        if goes_on || served.contains(&node) {
            endings[end] = OPEN;
        }
        served.push(node);
    }
    endings
}
