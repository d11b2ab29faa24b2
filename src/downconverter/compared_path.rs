//! A path of a receiver with any of its parts, loads and sources ideal.

use super::error::Result;
use super::ideal_part::{PartRole, ideal_terminations, ideals};
use super::joined_path::{PathPart, Terminations};
use super::receiver::Receiver;
use super::signal_path::ReceiverPath;
use super::solution::SolvedPath;
use crate::network::Network;
use num_complex::Complex64;
use std::borrow::Cow;
use std::sync::OnceLock;

/// Some parts, loads and sources of a receiver.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Subset {
    /// Indices of the parts.
    pub(super) parts: Vec<usize>,
    /// Indices of the loads.
    pub(super) loads: Vec<usize>,
    /// The inputs whose sources belong to the subset.
    pub(super) sources: Vec<ReceiverPath>,
}

impl Subset {
    /// The union of both.
    pub(super) fn with(&self, other: &Self) -> Self {
        Self {
            parts: [&*self.parts, &other.parts].concat(),
            loads: [&*self.loads, &other.loads].concat(),
            sources: [&*self.sources, &other.sources].concat(),
        }
    }
}

/// One path with its ideal and its real parts and terminations.
pub(super) struct ComparedPath<'a> {
    receiver: &'a Receiver,
    pub(super) real: &'a SolvedPath,
    pub(super) roles: Vec<PartRole>,
    ideal_blocks: Vec<Network>,
    ideal_terminations: Terminations,
    ideal: OnceLock<IdealSolution>,
}

/// The path with everything ideal.
struct IdealSolution {
    /// The network of the open ports.
    reduced: Network,
    /// Voltages at the mixers.
    voltages: Vec<Complex64>,
}

impl<'a> ComparedPath<'a> {
    pub(super) fn new(
        receiver: &'a Receiver,
        real: &'a SolvedPath,
        roles: Vec<PartRole>,
    ) -> Result<Self> {
        let path = &real.path;
        let ideal_blocks = ideals(receiver, path, &roles)?;
        let ideal_terminations = ideal_terminations(receiver, path, &roles, &real.reduced);
        let ideal = OnceLock::new();
        Ok(Self { receiver, real, roles, ideal_blocks, ideal_terminations, ideal })
    }

    /// The path with everything ideal, solved once.
    fn ideal(&self) -> Result<&IdealSolution> {
        if let Some(solved) = self.ideal.get() {
            return Ok(solved);
        }
        let path = &self.real.path;
        let reduced = path.reduce(self.receiver, &self.ideal_blocks)?;
        let ends = &self.ideal_terminations;
        let voltages = path.voltages_with(self.receiver, &reduced, ends, |_| true)?;
        Ok(self.ideal.get_or_init(|| IdealSolution { reduced, voltages }))
    }

    /// Voltages at the mixers with everything ideal.
    pub(super) fn ideal_voltages(&self) -> Result<&[Complex64]> {
        Ok(&self.ideal()?.voltages)
    }

    /// Voltages with only this subset real.
    pub(super) fn alone(&self, subset: &Subset) -> Result<Cow<'_, [Complex64]>> {
        if !self.has(subset) {
            return Ok(Cow::Borrowed(self.ideal_voltages()?));
        }
        let reduced = self.reduced(subset, |is_in| is_in, || Ok(&self.ideal()?.reduced))?;
        let terminations = self.mixed(subset, &self.ideal_terminations, &self.real.terminations);
        let is_ideal = |part: usize| !subset.parts.contains(&part);
        let path = &self.real.path;
        let voltages = path.voltages_with(self.receiver, &reduced, &terminations, is_ideal)?;
        Ok(Cow::Owned(voltages))
    }

    /// Voltages with only this subset ideal.
    pub(super) fn all_but(&self, subset: &Subset) -> Result<Cow<'_, [Complex64]>> {
        if !self.has(subset) {
            return Ok(Cow::Borrowed(&self.real.voltages));
        }
        let reduced = self.reduced(subset, |is_in| !is_in, || Ok(&self.real.reduced))?;
        let terminations = self.mixed(subset, &self.real.terminations, &self.ideal_terminations);
        let is_ideal = |part: usize| subset.parts.contains(&part);
        let path = &self.real.path;
        let voltages = path.voltages_with(self.receiver, &reduced, &terminations, is_ideal)?;
        Ok(Cow::Owned(voltages))
    }

    /// Whether the path contains anything of the subset.
    pub(super) fn has(&self, subset: &Subset) -> bool {
        self.has_part(subset) || !self.ends(subset).is_empty()
    }

    fn has_part(&self, subset: &Subset) -> bool {
        subset.parts.iter().any(|&part| self.real.path.part(part).is_some())
    }

    /// The open ports of the subset's loads and sources on this path.
    fn ends(&self, subset: &Subset) -> Vec<usize> {
        let path = &self.real.path;
        let loads = subset.loads.iter().filter_map(|&load| path.load_port(load));
        let sources =
            subset.sources.iter().filter_map(|&own| path.port_of(self.receiver.input(own).at));
        loads.chain(sources).collect()
    }

    /// The network of the open ports in which the parts with `is_real` are real, called with
    /// whether they are in the subset; `without` if no part is real.
    fn reduced<'n>(
        &self,
        subset: &Subset,
        is_real: impl Fn(bool) -> bool,
        without: impl FnOnce() -> Result<&'n Network>,
    ) -> Result<Cow<'n, Network>> {
        if !self.has_part(subset) {
            return Ok(Cow::Borrowed(without()?));
        }
        let path = &self.real.path;
        let both = path.parts.iter().zip(&self.ideal_blocks);
        let block = |(own, ideal): (&PathPart, &Network)| {
            let takes_real = is_real(subset.parts.contains(&own.part));
            if takes_real { path.blocks[own.block].clone() } else { ideal.clone() }
        };
        Ok(Cow::Owned(path.reduce(self.receiver, &both.map(block).collect::<Vec<_>>())?))
    }

    /// `most` with the terminations of the subset replaced by those of `own`.
    fn mixed(&self, subset: &Subset, most: &Terminations, own: &Terminations) -> Terminations {
        let mut terminations = most.clone();
        for end in self.ends(subset) {
            terminations[end] = own[end].clone();
        }
        terminations
    }
}
