//! Which part degrades the balance: the channel error with one part real and all others ideal, and
//! the rejection with that part alone ideal.
//!
//! In:  both paths of a receiver with their real and their ideal parts.
//! Out: one row a contributor, in nepers and radians of channel error at the point of worst
//!      rejection. The rows add up to the receiver's channel error: what the contributors do not add
//!      up to is a row of its own, the interaction (reflections between parts).

use super::error::ReceiverError;
use super::ideal_part::{PartRole, ideal_terminations, ideals, roles};
use super::joined_path::{JoinedPath, Terminations};
use super::receiver::{Group, Receiver};
use super::receiver_setup::PartKind;
use super::signal_path::{LoRf, ReceiverPath};
use super::solution::{Evaluation, Voltages, balances};
use crate::network::Network;
use crate::splitter::image_rejection_of_error_db;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::fmt;

/// What contributes to the channel error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Contributor {
    /// A single block, by its name.
    Block(String),
    /// The blocks of a pair, by its name: the difference between them.
    Pair(String),
    /// All loads, and the sources where they do not match.
    Loads,
    /// Gains of the mixers that differ.
    MixerGains,
    /// IF paths or the IF hybrid.
    IfParts,
    /// The correction that is applied.
    Correction,
    /// What remains with everything ideal, such as lengths that differ by design.
    Arrangement,
    /// Reflections between parts: what the others do not add up to.
    Interaction,
}

impl fmt::Display for Contributor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Block(name) | Self::Pair(name) => name,
            Self::Loads => "loads",
            Self::MixerGains => "mixer gains",
            Self::IfParts => "IF parts",
            Self::Correction => "correction",
            Self::Arrangement => "arrangement",
            Self::Interaction => "interaction",
        })
    }
}

/// A row of the budget, at the point of worst rejection.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetRow {
    /// The contributor.
    pub contributor: Contributor,
    /// Its contribution to the channel error: nepers and radians.
    pub error: Complex64,
    /// The rejection if it were the only imperfection, dB.
    pub alone_db: f64,
    /// The rejection at this point if it were ideal, dB; `None` where that has no meaning.
    pub if_ideal_db: Option<f64>,
    /// The worst rejection over the whole plan if it were ideal, dB; `None` likewise.
    pub plan_if_ideal_db: Option<f64>,
}

/// The role of a block on one path, as given or inferred.
#[derive(Clone, Debug, PartialEq)]
pub struct PartTaken {
    /// The block.
    pub name: String,
    /// The path.
    pub path: ReceiverPath,
    /// Its kind; `None` for terminations and for parts with more than two outputs.
    pub kind: Option<PartKind>,
    /// The port by which the signal enters.
    pub input: String,
    /// The ports by which it leaves towards mixers.
    pub outputs: Vec<String>,
    /// The phase of each output against the first that the block is made for, degrees.
    pub nominal_deg: Vec<f64>,
}

/// The error budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// The receiver's channel error at the point of worst rejection.
    pub total: Complex64,
    /// The one with most to gain first; arrangement and interaction, which no part alone changes,
    /// last.
    pub rows: Vec<BudgetRow>,
    /// The role of every block.
    pub taken: Vec<PartTaken>,
}

impl Budget {
    /// Whether more than half of the error remains with every block ideal: because of blocks in one
    /// branch only, or different by design.
    #[must_use]
    pub fn is_arrangement(&self) -> bool {
        self.rows.iter().any(|row| {
            row.contributor == Contributor::Arrangement
                && row.error.norm() > 0.5 * self.total.norm()
        })
    }
}

/// One path with its real and its ideal parts and terminations.
struct ComparedPath<'a> {
    receiver: &'a Receiver,
    path: &'a JoinedPath,
    reduced: &'a Network,
    ideal_blocks: Vec<Network>,
    real_terminations: Terminations,
    ideal_terminations: Terminations,
    roles: Vec<PartRole>,
    /// Voltages at the mixers with everything real.
    real: &'a [Complex64],
}

impl<'a> ComparedPath<'a> {
    fn new(
        receiver: &'a Receiver,
        case: &BudgetCase<'a>,
        signal_path: ReceiverPath,
        warnings: &mut Vec<String>,
    ) -> Result<Self, ReceiverError> {
        let (path, reduced) = (*case.paths.get(signal_path), *case.reduced.get(signal_path));
        let roles = roles(receiver, path, warnings);
        Ok(Self {
            receiver,
            path,
            reduced,
            ideal_blocks: ideals(receiver, path, &roles)?,
            real_terminations: path.terminations(receiver),
            ideal_terminations: ideal_terminations(receiver, path, &roles, reduced),
            roles,
            real: *case.voltages.get(signal_path),
        })
    }

    /// Voltages with these parts real, and the loads real or ideal.
    fn voltages(
        &self,
        is_real: impl Fn(usize) -> bool,
        terminations: &Terminations,
    ) -> Result<Vec<Complex64>, ReceiverError> {
        let blocks: Vec<Network> = self
            .path
            .parts
            .iter()
            .zip(&self.ideal_blocks)
            .map(
                |(own, ideal)| if is_real(own.part) { &self.path.blocks[own.block] } else { ideal },
            )
            .cloned()
            .collect();
        let reduced = self.path.reduce(self.receiver, &blocks)?;
        self.path.voltages(self.receiver, &reduced, terminations)
    }

    /// Voltages with everything ideal.
    fn ideal(&self) -> Result<Vec<Complex64>, ReceiverError> {
        self.voltages(|_| false, &self.ideal_terminations)
    }

    /// Voltages with real loads and everything else ideal.
    fn loads_alone(&self) -> Result<Vec<Complex64>, ReceiverError> {
        self.voltages(|_| false, &self.real_terminations)
    }

    /// Voltages with ideal loads and everything else real.
    fn loads_ideal(&self) -> Result<Vec<Complex64>, ReceiverError> {
        self.path.voltages(self.receiver, self.reduced, &self.ideal_terminations)
    }

    fn has(&self, group: &Group) -> bool {
        group.parts.iter().any(|&part| self.path.part(part).is_some())
    }

    /// Voltages with only these parts real; `None` where none is on this path.
    fn alone(&self, group: &Group) -> Result<Option<Vec<Complex64>>, ReceiverError> {
        let is_real = |part| group.parts.contains(&part);
        self.has(group).then(|| self.voltages(is_real, &self.ideal_terminations)).transpose()
    }

    /// Voltages with only these parts ideal; `None` where none is on this path.
    fn all_but(&self, group: &Group) -> Result<Option<Vec<Complex64>>, ReceiverError> {
        let is_real = |part| !group.parts.contains(&part);
        self.has(group).then(|| self.voltages(is_real, &self.real_terminations)).transpose()
    }

    fn taken(&self) -> impl Iterator<Item = PartTaken> {
        self.path.parts.iter().zip(&self.roles).map(|(own, role)| {
            let part = &self.receiver.parts()[own.part];
            let outputs = role.outputs.iter();
            PartTaken {
                name: part.name.clone(),
                path: self.path.path(),
                kind: role.kind,
                input: part.ports[role.input.index()].clone(),
                outputs: outputs.clone().map(|own| part.ports[own.port.index()].clone()).collect(),
                nominal_deg: outputs.map(|own| own.nominal_deg).collect(),
            }
        })
    }
}

/// What a budget is made of beside the receiver.
pub(super) struct BudgetCase<'a> {
    pub(super) paths: LoRf<&'a JoinedPath>,
    pub(super) reduced: LoRf<&'a Network>,
    pub(super) voltages: Voltages<'a>,
    /// The way to combine I and Q.
    pub(super) choice: usize,
    /// The channel error at the point of worst rejection.
    pub(super) total: Complex64,
    /// The point of worst rejection.
    pub(super) worst: usize,
}

/// Rejections and channel errors against those of the ideal receiver.
struct Comparison<'a> {
    receiver: &'a Receiver,
    real: Evaluation<'a>,
    ideal: Evaluation<'a>,
    /// The channel error with everything ideal.
    base: Complex64,
    worst: usize,
}

impl Comparison<'_> {
    /// A row from voltages and evaluation with the contributor alone real, and with it alone ideal.
    fn row(
        &self,
        contributor: Contributor,
        alone: (Voltages<'_>, &Evaluation<'_>),
        all_but: Option<(Voltages<'_>, &Evaluation<'_>)>,
    ) -> BudgetRow {
        let alone = balances(self.receiver, alone.0, alone.1)[self.worst];
        let if_ideal_db: Option<Vec<f64>> = all_but.map(|(voltages, evaluation)| {
            let all = balances(self.receiver, voltages, evaluation);
            all.iter().map(|balance| balance.image_rejection_db).collect()
        });
        let worst_of = |all: &Vec<f64>| all.iter().copied().fold(f64::INFINITY, f64::min);
        BudgetRow {
            contributor,
            error: wrapped(alone.channel_error - self.base),
            alone_db: alone.image_rejection_db,
            if_ideal_db: if_ideal_db.as_ref().map(|all| all[self.worst]),
            plan_if_ideal_db: if_ideal_db.as_ref().map(worst_of),
        }
    }
}

/// The budget; `None` where the receiver with ideal parts has no balance to compare with.
pub(super) fn budget(
    receiver: &Receiver,
    case: &BudgetCase<'_>,
    warnings: &mut Vec<String>,
) -> Result<Option<Budget>, ReceiverError> {
    let paths = LoRf::try_of_each(|path| ComparedPath::new(receiver, case, path, warnings))?;
    let ideal_lo = paths.lo.ideal()?;
    let ideal_rf = paths.rf.ideal()?;
    let ideal_voltages = Voltages { lo: &ideal_lo, rf: &ideal_rf };
    let ideal = Evaluation::ideal(receiver, case.choice);
    let compared = Comparison {
        receiver,
        real: Evaluation::real(receiver, case.choice),
        ideal,
        base: balances(receiver, ideal_voltages, &ideal)[case.worst].channel_error,
        worst: case.worst,
    };
    if !compared.base.is_finite() {
        warnings.push(
            "no error budget: with every block ideal one of the channels gives nothing".to_owned(),
        );
        return Ok(None);
    }
    let mut rows = block_rows(&compared, &paths, ideal_voltages)?;
    rows.extend(other_rows(&compared, ideal_voltages, case.voltages));
    // Rows that cannot be ideal come after all others.
    let order = |row: &BudgetRow| row.if_ideal_db.unwrap_or(f64::NEG_INFINITY);
    rows.sort_by(|one, other| order(other).total_cmp(&order(one)));
    // Lengths that differ by design, and the like: what remains with every block ideal.
    if compared.base.norm() > 1e-9 {
        rows.push(remainder_row(Contributor::Arrangement, compared.base));
    }
    let sum: Complex64 = rows.iter().map(|row| row.error).sum();
    rows.push(remainder_row(Contributor::Interaction, wrapped(case.total - sum)));
    let taken = paths.lo.taken().chain(paths.rf.taken()).collect();
    Ok(Some(Budget { total: case.total, rows, taken }))
}

/// Rows of the blocks and pairs, and of the loads.
fn block_rows(
    compared: &Comparison<'_>,
    paths: &LoRf<ComparedPath<'_>>,
    ideal: Voltages<'_>,
) -> Result<Vec<BudgetRow>, ReceiverError> {
    let receiver = compared.receiver;
    let (lo, rf) = (&paths.lo, &paths.rf);
    let mut rows = Vec::new();
    for group in receiver.groups() {
        if !lo.has(group) && !rf.has(group) {
            continue;
        }
        let (alone_lo, alone_rf) = (lo.alone(group)?, rf.alone(group)?);
        let (but_lo, but_rf) = (lo.all_but(group)?, rf.all_but(group)?);
        // A path without these parts stays as it is.
        let alone = Voltages {
            lo: alone_lo.as_deref().unwrap_or(ideal.lo),
            rf: alone_rf.as_deref().unwrap_or(ideal.rf),
        };
        let all_but = Voltages {
            lo: but_lo.as_deref().unwrap_or(lo.real),
            rf: but_rf.as_deref().unwrap_or(rf.real),
        };
        let name = group.name.clone();
        rows.push(compared.row(
            if group.is_pair { Contributor::Pair(name) } else { Contributor::Block(name) },
            (alone, &compared.ideal),
            Some((all_but, &compared.real)),
        ));
    }
    if !receiver.loads().is_empty() {
        let (alone_lo, alone_rf) = (lo.loads_alone()?, rf.loads_alone()?);
        let (but_lo, but_rf) = (lo.loads_ideal()?, rf.loads_ideal()?);
        rows.push(compared.row(
            Contributor::Loads,
            (Voltages { lo: &alone_lo, rf: &alone_rf }, &compared.ideal),
            Some((Voltages { lo: &but_lo, rf: &but_rf }, &compared.real)),
        ));
    }
    Ok(rows)
}

/// Rows of the mixers' gains, the IF parts and the correction.
fn other_rows(
    compared: &Comparison<'_>,
    ideal_voltages: Voltages<'_>,
    voltages: Voltages<'_>,
) -> Vec<BudgetRow> {
    let (receiver, real, ideal) = (compared.receiver, compared.real, compared.ideal);
    let mut rows = Vec::new();
    let mut push = |contributor, alone: Evaluation<'_>, all_but: Option<Evaluation<'_>>| {
        let all_but = all_but.as_ref().map(|evaluation| (voltages, evaluation));
        rows.push(compared.row(contributor, (ideal_voltages, &alone), all_but));
    };
    if receiver.mixers().iter().any(|mixer| mixer.gain != Complex64::ONE) {
        let alone = Evaluation { has_real_gains: true, ..ideal };
        let all_but = Evaluation { has_real_gains: false, ..real };
        push(Contributor::MixerGains, alone, Some(all_but));
    }
    if receiver.output().has_if_parts {
        let alone = Evaluation { transfers: real.transfers, ..ideal };
        let all_but = Evaluation { transfers: ideal.transfers, ..real };
        push(Contributor::IfParts, alone, Some(all_but));
    }
    if receiver.output().correction != Complex64::ONE {
        push(Contributor::Correction, Evaluation { correction: real.correction, ..ideal }, None);
    }
    rows
}

fn remainder_row(contributor: Contributor, error: Complex64) -> BudgetRow {
    let alone_db = image_rejection_of_error_db(error);
    BudgetRow { contributor, error, alone_db, if_ideal_db: None, plan_if_ideal_db: None }
}

/// With its phase in (-π, π].
fn wrapped(error: Complex64) -> Complex64 {
    let turned = error.im.rem_euclid(TAU);
    Complex64::new(error.re, if turned > PI { turned - TAU } else { turned })
}
