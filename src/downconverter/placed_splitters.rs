//! Checks whether the splitters of a receiver are connected in agreement with their data.

use super::error::{ReceiverError, Result};
use super::ideal_part::{PartRole, roles};
use super::joined_path::JoinedPath;
use super::receiver::Receiver;
use super::receiver_setup::PartKind;
use super::signal_path::ReceiverPath;
use crate::network::{Network, Port};
use crate::splitter::{PortOrderFinding, PortRoles, SplitterKind, port_order_finding};

/// The roles of a part's ports from its place in the receiver, if it is a splitter.
#[derive(Clone, Debug)]
pub(super) struct PlacedSplitter {
    part: usize,
    ports: PortRoles,
    /// Its kind, if the description gives it.
    kind: Option<SplitterKind>,
}

impl PlacedSplitter {
    fn of(receiver: &Receiver, part: usize, ports: usize, role: &PartRole) -> Option<Self> {
        let [a, b] = role.outputs.as_slice() else { return None };
        let outputs = [a.port, b.port];
        let mut others = (0..ports)
            .map(Port::from_index)
            .filter(|port| *port != role.input && !outputs.contains(port));
        let isolated = others.next();
        let kind = match receiver.parts()[part].kind {
            Some(PartKind::Splitter(kind)) => Some(kind),
            _ => None,
        };
        Some(Self { part, ports: PortRoles { input: role.input, outputs, isolated }, kind })
    }

    /// The index of its block in the receiver.
    pub(super) fn part(&self) -> usize {
        self.part
    }

    /// Where the signal enters it.
    pub(super) fn input(&self) -> Port {
        self.ports.input
    }

    /// Its outputs towards mixers.
    pub(super) fn outputs(&self) -> [Port; 2] {
        self.ports.outputs
    }

    /// Its kind, where the description gives it.
    pub(super) fn kind(&self) -> Option<SplitterKind> {
        self.kind
    }

    /// What the data of a network in its place say against its connections.
    pub(super) fn finding(&self, network: &Network) -> Option<PortOrderFinding> {
        port_order_finding(network, self.kind, &self.ports)
    }

    /// The finding as a sentence, with the order of port names that agrees with the data.
    pub(super) fn text(&self, receiver: &Receiver, found: &PortOrderFinding) -> String {
        let part = &receiver.parts()[self.part];
        let name = |port: Port| part.ports[port.index()].clone();
        let text = format!("block '{}': {}", part.name, found.text(name));
        let Some(likely) = &found.likely else { return text };
        // Each port gets the name that now belongs to its likely role.
        let mut names = part.ports.clone();
        let [a, b] = likely.outputs;
        let [own_a, own_b] = self.ports.outputs;
        for (port, own) in [(likely.input, self.ports.input), (a, own_a), (b, own_b)] {
            names[port.index()] = name(own);
        }
        if let (Some(port), Some(own)) = (likely.isolated, self.ports.isolated) {
            names[port.index()] = name(own);
        }
        let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
        format!("{text}, as ports = [{}]", quoted.join(", "))
    }
}

/// The splitters of a path by their places, each with its network there.
pub(super) fn placed_splitters<'p>(
    receiver: &Receiver,
    path: &'p JoinedPath,
) -> Vec<(PlacedSplitter, &'p Network)> {
    // Warnings about roles are given once, by the budget.
    let roles = roles(receiver, path, &mut Vec::new());
    let placed = path.parts.iter().zip(&roles).filter_map(|(own, role)| {
        let network = &path.blocks[own.block];
        Some((PlacedSplitter::of(receiver, own.part, network.ports(), role)?, network))
    });
    placed.collect()
}

/// Warnings of splitters whose connections contradict their data.
///
/// # Errors
/// [`ReceiverError::PortOrder`] where the result would be meaningless.
pub(super) fn check_port_orders(receiver: &Receiver, path: &JoinedPath) -> Result<Vec<String>> {
    let mut warnings = Vec::new();
    for (splitter, network) in placed_splitters(receiver, path) {
        let Some(found) = splitter.finding(network) else { continue };
        let text = splitter.text(receiver, &found);
        if found.is_meaningless && found.likely.is_some() {
            return Err(ReceiverError::PortOrder { text });
        }
        warnings.push(text);
    }
    Ok(warnings)
}

/// The splitters of both paths, for networks that are put at their places later.
pub(super) fn splitters_of(receiver: &Receiver) -> Result<Vec<(ReceiverPath, PlacedSplitter)>> {
    let mut all = Vec::new();
    for which in ReceiverPath::BOTH {
        let path = JoinedPath::new(receiver, which)?;
        let placed = placed_splitters(receiver, &path).into_iter();
        all.extend(placed.map(|(splitter, _)| (which, splitter)));
    }
    Ok(all)
}
