//! The role of each part of a receiver, inferred from its place, and its ideal network.
//!
//! In:  a path of a receiver with the networks of its parts.
//! Out: the role of each part (input, outputs towards the mixers, kind), its ideal network, and
//!      ideal terminations.
//!
//! The signal enters a part at the port that it reaches with the least loss and leaves it at the
//! ports that lead to mixers; where LO and RF share a part, the port of the other input is neither.
//! The ideal of a part is matched to the receiver's reference impedances, with the part's own mean
//! loss and phase at every frequency and perfectly balanced outputs; the ideal of parts in a pair has
//! the mean of all of them. A four-port keeps the structure that conducts reflections from its outputs to the
//! isolated port: S(b, in) = e^{jφ} S(a, in), S(a, iso) = -e^{-jφ} S(a, in), S(b, iso) = S(a, in).

use super::error::Result;
use super::joined_path::{JoinedPath, OPEN, PathPart, Terminations};
use super::receiver::Receiver;
use super::receiver_setup::PartKind;
use super::signal_trace::{SignalTrace, mixers_reached};
use crate::network::{Load, Network, ParameterKind, Port, Terminal};
use crate::splitter::SplitterKind;
use crate::units::wrap_deg;
use num_complex::Complex64;

/// Half way to the next quarter turn: a splitter this far off is another kind.
const FAR_FROM_NOMINAL_DEG: f64 = 45.0;

/// The role of a part on one path.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PartRole {
    /// The input port of the signal.
    pub(super) input: Port,
    /// The output ports towards mixers.
    pub(super) outputs: Vec<RoleOutput>,
    /// The kind; `None` for parts with no outputs or more than two.
    pub(super) kind: Option<PartKind>,
    /// Whether it has an ideal; false if the signal arrives at two ports with similar strength, as
    /// in a ring of lines.
    pub(super) has_ideal: bool,
}

/// An output port of a part towards mixers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RoleOutput {
    pub(super) port: Port,
    /// Its nominal phase relative to the first output, degrees.
    pub(super) nominal_deg: f64,
}

/// The roles of a path's parts, in its order. A description that contradicts the wiring is ignored
/// with a warning; a part without an ideal has a warning too.
pub(super) fn roles(
    receiver: &Receiver,
    path: &JoinedPath,
    warnings: &mut Vec<String>,
) -> Vec<PartRole> {
    let trace = SignalTrace::new(receiver, path);
    let mut role_of = |own: &PathPart| {
        let entry = trace.entry(own.part);
        let outputs: Vec<Port> = (0..path.blocks[own.block].ports())
            .map(Port::from_index)
            .filter(|&port| port != entry.port)
            .filter(|&port| {
                let from = Terminal { block: own.part, port };
                !mixers_reached(receiver, path.path(), &trace, from).is_empty()
            })
            .collect();
        let role = role(receiver, path, own, entry.port, &outputs, warnings);
        match entry.also {
            Some(also) if !outputs.is_empty() => {
                let part = &receiver.parts()[own.part];
                let name = |port: Port| &part.ports[port.index()];
                warnings.push(format!(
                    "block '{}' has no ideal on the {} path: its signal arrives by port {} and by                      port {} alike; the budget leaves it as it is",
                    part.name,
                    path.path(),
                    name(entry.port),
                    name(also),
                ));
                PartRole { has_ideal: false, ..role }
            }
            _ => role,
        }
    };
    path.parts.iter().map(&mut role_of).collect()
}

fn role(
    receiver: &Receiver,
    path: &JoinedPath,
    own: &PathPart,
    entry: Port,
    outputs: &[Port],
    warnings: &mut Vec<String>,
) -> PartRole {
    let given = &receiver.parts()[own.part];
    let block = &path.blocks[own.block];
    let middle = block.matrix(path.middle());
    let phase_deg = |first: Port, port: Port| {
        (middle.at(port, entry) / middle.at(first, entry)).arg().to_degrees()
    };
    let quarter_deg = |angle_deg: f64| wrap_deg(90.0 * (wrap_deg(angle_deg) / 90.0).round());
    let mut contradicted = |kind: &str| {
        warnings.push(format!(
            "block '{}' has kind {kind}, but its signal leaves by {} port{} towards mixers; \
             this is not used",
            given.name,
            outputs.len(),
            if outputs.len() == 1 { "" } else { "s" },
        ));
    };
    if given.nominal_deg.is_some() && outputs.len() != 2 {
        contradicted("a part with a nominal phase");
    }
    let output = |port: Port, nominal_deg: f64| RoleOutput { port, nominal_deg };
    let (kind, outputs) = match outputs {
        [] => (None, Vec::new()),
        [only] => {
            if let Some(PartKind::Splitter(kind)) = given.kind {
                contradicted(&kind.to_string());
            }
            (Some(PartKind::Line), vec![output(*only, 0.0)])
        }
        [first, second] => {
            if given.kind == Some(PartKind::Line) {
                contradicted("a line");
            }
            let measured_deg = phase_deg(*first, *second);
            let kind = match given.kind {
                Some(PartKind::Splitter(kind)) => kind,
                _ => match quarter_deg(measured_deg).abs() {
                    angle if angle < 45.0 => SplitterKind::Inphase,
                    angle if angle < 135.0 => SplitterKind::Quadrature,
                    _ => SplitterKind::Antiphase,
                },
            };
            if let Some(nominal_deg) = given.nominal_deg
                && wrap_deg(measured_deg - nominal_deg).abs() > FAR_FROM_NOMINAL_DEG
            {
                warnings.push(format!(
                    "block '{}': the outputs differ by {measured_deg:.0} deg, far from the nominal \
                     {nominal_deg} deg: check nominal_deg and the order of the outputs",
                    given.name
                ));
            }
            // Inferred from the data if the description does not give it.
            let nominal_deg = given.nominal_deg.unwrap_or(kind.nominal_deg(measured_deg));
            let outputs = vec![output(*first, 0.0), output(*second, nominal_deg)];
            (Some(PartKind::Splitter(kind)), outputs)
        }
        [first, ..] => {
            let nominal = |port: &Port| output(*port, quarter_deg(phase_deg(*first, *port)));
            (None, outputs.iter().map(nominal).collect())
        }
    };
    PartRole { input: entry, outputs, kind, has_ideal: true }
}

/// The ideal of every part of a path, in its order.
pub(super) fn ideals(
    receiver: &Receiver,
    path: &JoinedPath,
    roles: &[PartRole],
) -> Result<Vec<Network>> {
    let ideal_of = |(own, role): (&PathPart, &PartRole)| {
        let group = receiver.group_of(own.part);
        let members: Vec<(&Network, &PartRole)> = path
            .parts
            .iter()
            .zip(roles)
            .filter(|(other, _)| group.parts.contains(&other.part))
            .map(|(other, role)| (&path.blocks[other.block], role))
            .collect();
        let block = &path.blocks[own.block];
        if !role.has_ideal {
            return Ok(block.clone());
        }
        let is_beside = is_beside_the_path(receiver, own.part);
        let is_known = |point| {
            let hz = block.grid().as_hz()[point];
            let mut here = group.parts.iter().filter(|part| path.part(**part).is_some());
            here.all(|&part| receiver.reaches(part, path.path(), hz))
        };
        ideal(block, role, &members, is_beside, is_known)
    };
    path.parts.iter().zip(roles).map(ideal_of).collect()
}

/// The ideal of a block with the mean transfer of the `members` of its group. A block stays as it is
/// where its data or those of its group do not reach.
fn ideal(
    block: &Network,
    role: &PartRole,
    members: &[(&Network, &PartRole)],
    is_beside: bool,
    is_known: impl Fn(usize) -> bool,
) -> Result<Network> {
    let ports = block.ports();
    let mut entries = vec![Complex64::ZERO; block.grid().len() * ports * ports];
    let input = role.input.index();
    for (point, matrix) in entries.chunks_exact_mut(ports * ports).enumerate() {
        if !is_known(point) {
            matrix.copy_from_slice(block.matrix(point).as_slice());
            continue;
        }
        if role.outputs.is_empty() {
            // A termination absorbs; the ideal of a part beside the signal path is its absence.
            if is_beside {
                (0..ports).for_each(|port| matrix[port * ports + port] = Complex64::ONE);
            }
            continue;
        }
        let mut both_ways = |one: usize, other: usize, transfer: Complex64| {
            matrix[one * ports + other] = transfer;
            matrix[other * ports + one] = transfer;
        };
        let mean = mean_transfer(members, point);
        for output in &role.outputs {
            both_ways(output.port.index(), input, mean * turn(output.nominal_deg));
        }
        let is_output = |port: usize| role.outputs.iter().any(|own| own.port.index() == port);
        let mut others = (0..ports).filter(|&port| port != input && !is_output(port));
        if let ([a, b], Some(isolated), None) = (&*role.outputs, others.next(), others.next()) {
            both_ways(a.port.index(), isolated, -turn(-b.nominal_deg) * mean);
            both_ways(b.port.index(), isolated, mean);
        }
    }
    let references = block.references_ohm(0).to_vec();
    Ok(Network::new(ParameterKind::Scattering, block.grid().clone(), ports, entries, references)?)
}

/// The geometric mean of the transfers to all outputs of all members, each without its nominal
/// phase.
fn mean_transfer(members: &[(&Network, &PartRole)], point: usize) -> Complex64 {
    let transfers: Vec<Complex64> = members
        .iter()
        .flat_map(|(block, role)| {
            let matrix = block.matrix(point);
            role.outputs
                .iter()
                .map(move |output| matrix.at(output.port, role.input) * turn(-output.nominal_deg))
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

/// The factor e^{jφ}, exact at multiples of 90 degrees, so that an ideal part is exactly balanced.
fn turn(angle_deg: f64) -> Complex64 {
    match wrap_deg(angle_deg) {
        0.0 => Complex64::ONE,
        90.0 => Complex64::I,
        -90.0 => -Complex64::I,
        180.0 => -Complex64::ONE,
        other => Complex64::from_polar(1.0, other.to_radians()),
    }
}

/// Whether a part is connected to a node from which the signal continues without it.
fn is_beside_the_path(receiver: &Receiver, part: usize) -> bool {
    receiver.joins().iter().any(|join| {
        join.terminals.len() > 2 && join.terminals.iter().any(|terminal| terminal.block == part)
    })
}

/// Ideal terminations: one matched load at each node, and an open where the signal continues to
/// another part.
pub(super) fn ideal_terminations(
    receiver: &Receiver,
    path: &JoinedPath,
    roles: &[PartRole],
    reduced: &Network,
) -> Terminations {
    let mut terminations: Vec<Load> = path.matched_terminations(receiver, reduced);
    let is_entered = |terminal: &Terminal| {
        path.parts.iter().zip(roles).any(|(own, role)| {
            own.part == terminal.block && role.input == terminal.port && !role.outputs.is_empty()
        })
    };
    let mut served: Vec<&[Terminal]> = Vec::new();
    for (at, load) in receiver.loads().iter().enumerate() {
        let Some(end) = path.load_port(at) else { continue };
        let node = receiver.node_of(&load.at);
        if node.iter().any(is_entered) || served.contains(&node) {
            terminations[end] = OPEN;
        }
        served.push(node);
    }
    terminations
}
