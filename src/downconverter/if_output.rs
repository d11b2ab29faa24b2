//! The stage after the mixers: the IF paths of I and Q, and their combination by numbers or by a
//! hybrid.

use super::error::{ReceiverError, Result};
use super::iq_balance::Combination;
use super::q_correction::QCorrection;
use super::receiver_setup::{IfPart, IfRole, OutputChoice, OutputStage};
use crate::network::{Network, NetworkError, ParameterKind, Port};
use num_complex::Complex64;

impl IfPart {
    /// Whether its network has the ports that its role needs.
    pub(super) fn fits(&self) -> bool {
        let ports = self.network.ports();
        match self.role {
            IfRole::PathI | IfRole::PathQ => ports == 2,
            IfRole::Hybrid { i, q } => i.index() < ports && q.index() < ports,
        }
    }
}

impl OutputChoice {
    /// The same combination at each of `ifs` IFs.
    #[must_use]
    pub fn of_combination(name: &str, combination: Combination, ifs: usize) -> Self {
        Self {
            name: name.to_owned(),
            transfers: vec![combination; ifs],
            ideal_transfers: vec![combination; ifs],
            hybrid_output: None,
        }
    }

    /// The +j or -j with which Q is combined by numbers; `None` for an IF hybrid.
    #[must_use]
    pub fn numeric_turn(&self) -> Option<Complex64> {
        let ideal = self.ideal_transfers.first()?;
        let is_turn = ideal.i == Complex64::ONE && [Complex64::I, -Complex64::I].contains(&ideal.q);
        is_turn.then_some(ideal.q)
    }

    /// A port of an IF hybrid, given as scattering parameters at the IFs; `None` if there is no
    /// transmission from I or from Q.
    ///
    /// The ideal hybrid has the transmission from I, and from Q the same rotated by 90 degrees, in
    /// the direction of the hybrid itself at the middle IF.
    #[must_use]
    pub fn of_hybrid(hybrid: &Network, i: Port, q: Port, output: Port) -> Option<Self> {
        let transfer = |point| {
            let matrix = hybrid.matrix(point);
            Combination { i: matrix.at(output, i), q: matrix.at(output, q) }
        };
        let transfers: Vec<Combination> = (0..hybrid.grid().len()).map(transfer).collect();
        if transfers.iter().any(|at| at.i.norm() * at.q.norm() == 0.0) {
            return None;
        }
        let middle = transfers[transfers.len() / 2];
        let turn = if (middle.q / middle.i).im < 0.0 { -Complex64::I } else { Complex64::I };
        let ideal = |at: &Combination| Combination { i: at.i, q: at.i * turn };
        Some(Self {
            name: format!("IF hybrid port {}", output.number()),
            hybrid_output: Some(output),
            ideal_transfers: transfers.iter().map(ideal).collect(),
            transfers,
        })
    }
}

impl OutputStage {
    /// The output behind these parts, with a correction of Q. The transfers of the choices become what
    /// the parts make them.
    #[must_use]
    pub fn of_parts(
        choices: Vec<OutputChoice>,
        parts: Vec<IfPart>,
        correction: QCorrection,
    ) -> Self {
        let mut stage = Self { choices, correction, parts };
        stage.combine();
        stage
    }

    /// Whether there is an IF path or an IF hybrid.
    #[must_use]
    pub fn has_if_parts(&self) -> bool {
        !self.parts.is_empty()
    }

    /// Makes the transfers of all choices what the parts make them.
    pub(super) fn combine(&mut self) {
        if self.parts.is_empty() {
            return;
        }
        for at in 0..self.choices.len() {
            let own = |part: usize| &self.parts[part].network;
            self.choices[at].transfers = self.transfers(&self.choices[at], own);
        }
    }

    /// The transfers of a choice at each IF with the networks that `network` gives for the parts, by
    /// their numbers.
    pub(super) fn transfers<'n>(
        &self,
        choice: &OutputChoice,
        network: impl Fn(usize) -> &'n Network,
    ) -> Vec<Combination> {
        let [input, output] = [Port::from_index(0), Port::from_index(1)];
        let mut transfers = choice.ideal_transfers.clone();
        let mut paths = vec![Combination { i: Complex64::ONE, q: Complex64::ONE }; transfers.len()];
        for (at, part) in self.parts.iter().enumerate() {
            let entry = |point, to, from| network(at).matrix(point).at(to, from);
            match (part.role, choice.hybrid_output) {
                (IfRole::PathI, _) => {
                    paths
                        .iter_mut()
                        .enumerate()
                        .for_each(|(at, own)| own.i = entry(at, output, input));
                }
                (IfRole::PathQ, _) => {
                    paths
                        .iter_mut()
                        .enumerate()
                        .for_each(|(at, own)| own.q = entry(at, output, input));
                }
                (IfRole::Hybrid { i, q }, Some(port)) => {
                    let through = |at| Combination { i: entry(at, port, i), q: entry(at, port, q) };
                    transfers = (0..transfers.len()).map(through).collect();
                }
                (IfRole::Hybrid { .. }, None) => {}
            }
        }
        let pairs = transfers.iter().zip(&paths);
        pairs.map(|(own, path)| Combination { i: own.i * path.i, q: own.q * path.q }).collect()
    }

    /// The IF path of Q over that of I at an IF; 1 without IF paths.
    pub(super) fn path_ratio(&self, intermediate: usize) -> Complex64 {
        let [input, output] = [Port::from_index(0), Port::from_index(1)];
        let transmission = |role: IfRole| {
            let part = self.parts.iter().find(|part| part.role == role);
            part.map_or(Complex64::ONE, |own| own.network.matrix(intermediate).at(output, input))
        };
        transmission(IfRole::PathQ) / transmission(IfRole::PathI)
    }
}

/// Every IF part has the ports of its role, scattering parameters at the IFs of the plan, and a role of
/// its own.
pub(super) fn check_if_parts(output: &OutputStage, if_hz: &[f64]) -> Result<()> {
    let parts = &output.parts;
    for (at, part) in parts.iter().enumerate() {
        let what = || part.name.clone();
        let role = std::mem::discriminant(&part.role);
        if parts[..at].iter().any(|other| std::mem::discriminant(&other.role) == role) {
            return Err(ReceiverError::DuplicateName { name: what() });
        }
        if part.network.modes().is_some() {
            let source = NetworkError::MixedMode;
            return Err(ReceiverError::InNetwork { what: what(), source });
        }
        if !part.fits() {
            let found = part.network.ports();
            return Err(ReceiverError::PortCount { what: what(), expected: 2, found });
        }
        let is_scattering = part.network.kind() == ParameterKind::Scattering;
        if !is_scattering || part.network.grid().as_hz() != if_hz {
            return Err(ReceiverError::OtherIfFrequencies { what: what() });
        }
    }
    Ok(())
}

/// There is a combination, with a transfer other than 0 for every IF.
pub(super) fn check_output(output: &OutputStage, expected: usize) -> Result<()> {
    let check = |what: &str, found: Complex64| {
        if found.is_finite() && found.norm() > 0.0 {
            Ok(())
        } else {
            Err(ReceiverError::NoFactor { what: what.to_owned(), found })
        }
    };
    if output.has_if_parts() {
        let mut ratios = (0..expected).map(|intermediate| output.path_ratio(intermediate));
        ratios.try_for_each(|ratio| check("the ratio of the IF paths", ratio))?;
    }
    if output.choices.is_empty() {
        return Err(ReceiverError::Transfers { expected, found: 0 });
    }
    for choice in &output.choices {
        for transfers in [&choice.transfers, &choice.ideal_transfers] {
            if transfers.len() != expected {
                return Err(ReceiverError::Transfers { expected, found: transfers.len() });
            }
            for Combination { i, q } in transfers {
                check(&choice.name, *i)?;
                check(&choice.name, *q)?;
            }
        }
    }
    Ok(())
}
