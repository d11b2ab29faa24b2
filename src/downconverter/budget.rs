//! Which part degrades the balance: the channel error with one part real and all others ideal, and
//! the rejection with that part alone ideal.
//!
//! In:  both paths of a receiver with their real and their ideal parts.
//! Out: one row a contributor, in nepers and radians of channel error at the point of worst
//!      rejection. The rows add up to the receiver's channel error: what the contributors do not add
//!      up to is a row of its own, the interaction (reflections between parts).

use super::error::Result;
use super::ideal_part::{PartRole, ideal_terminations, ideals, roles};
use super::iq_balance::PlanPoint;
use super::joined_path::{PathPart, Terminations};
use super::receiver::{Group, Receiver};
use super::receiver_setup::PartKind;
use super::signal_path::{LoRf, ReceiverPath};
use super::solution::{Evaluation, Solved, SolvedPath, Voltages, balances};
use crate::network::{Network, Port};
use crate::splitter::image_rejection_of_error_db;
use num_complex::Complex64;
use std::borrow::Cow;
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
    pub fn is_arrangement(&self) -> bool {
        self.rows.iter().any(|row| {
            row.contributor == Contributor::Arrangement
                && row.error.norm() > 0.5 * self.total.norm()
        })
    }
}

/// One path with its ideal parts and terminations beside its real ones.
struct ComparedPath<'a> {
    receiver: &'a Receiver,
    real: &'a SolvedPath,
    roles: Vec<PartRole>,
    ideal_blocks: Vec<Network>,
    ideal_terminations: Terminations,
    /// Voltages at the mixers with everything ideal.
    ideal: Vec<Complex64>,
}

impl<'a> ComparedPath<'a> {
    fn new(
        receiver: &'a Receiver,
        real: &'a SolvedPath,
        warnings: &mut Vec<String>,
    ) -> Result<Self> {
        let roles = roles(receiver, &real.path, warnings);
        let ideal_blocks = ideals(receiver, &real.path, &roles)?;
        let ideal_terminations = ideal_terminations(receiver, &real.path, &roles, &real.reduced);
        let ideal = Vec::new();
        let made = Self { receiver, real, roles, ideal_blocks, ideal_terminations, ideal };
        Ok(Self { ideal: made.voltages(|_| false, &made.ideal_terminations)?, ..made })
    }

    /// Voltages with these parts real.
    fn voltages(
        &self,
        is_real: impl Fn(usize) -> bool,
        terminations: &Terminations,
    ) -> Result<Vec<Complex64>> {
        let path = &self.real.path;
        let both = path.parts.iter().zip(&self.ideal_blocks);
        let block = |(own, ideal): (&PathPart, &Network)| {
            if is_real(own.part) { path.blocks[own.block].clone() } else { ideal.clone() }
        };
        let reduced = path.reduce(self.receiver, &both.map(block).collect::<Vec<_>>())?;
        path.voltages(self.receiver, &reduced, terminations)
    }

    fn has(&self, group: &Group) -> bool {
        group.parts.iter().any(|&part| self.real.path.part(part).is_some())
    }

    /// Voltages with only this group real.
    fn alone(&self, group: &Group) -> Result<Cow<'_, [Complex64]>> {
        if !self.has(group) {
            return Ok(Cow::Borrowed(&self.ideal));
        }
        let is_real = |part| group.parts.contains(&part);
        Ok(Cow::Owned(self.voltages(is_real, &self.ideal_terminations)?))
    }

    /// Voltages with only this group ideal.
    fn all_but(&self, group: &Group) -> Result<Cow<'_, [Complex64]>> {
        if !self.has(group) {
            return Ok(Cow::Borrowed(&self.real.voltages));
        }
        let is_real = |part| !group.parts.contains(&part);
        Ok(Cow::Owned(self.voltages(is_real, &self.real.terminations)?))
    }

    fn taken(&self) -> impl Iterator<Item = PartTaken> {
        self.real.path.parts.iter().zip(&self.roles).map(|(own, role)| {
            let part = &self.receiver.parts()[own.part];
            let name = |port: Port| part.ports[port.index()].clone();
            PartTaken {
                name: part.name.clone(),
                path: self.real.path.path(),
                kind: role.kind,
                input: name(role.input),
                outputs: role.outputs.iter().map(|own| name(own.port)).collect(),
                nominal_deg: role.outputs.iter().map(|own| own.nominal_deg).collect(),
            }
        })
    }
}

/// Rejections and channel errors against those of the ideal receiver.
struct Comparison<'a> {
    receiver: &'a Receiver,
    paths: LoRf<ComparedPath<'a>>,
    real: Evaluation<'a>,
    ideal: Evaluation<'a>,
    /// The channel error with everything ideal.
    base: Complex64,
    /// The point of worst rejection.
    worst: usize,
}

/// Voltages, and what evaluates them.
type Case<'c> = (Voltages<'c>, Evaluation<'c>);

/// The budget; `None` where the receiver with ideal parts has no balance to compare with. `points`
/// are those of the plan, `worst` the one of worst rejection.
pub(super) fn budget(
    receiver: &Receiver,
    solved: &Solved,
    points: &[PlanPoint],
    worst: usize,
    warnings: &mut Vec<String>,
) -> Result<Option<Budget>> {
    let total = points[worst].balance.channel_error;
    let paths =
        LoRf::try_of_each(|path| ComparedPath::new(receiver, solved.paths.get(path), warnings))?;
    let real = Evaluation::real(receiver, solved.chosen);
    let ideal = Evaluation::ideal(receiver, solved.chosen);
    let ideal_voltages = Voltages { lo: &paths.lo.ideal, rf: &paths.rf.ideal };
    let base = balances(receiver, ideal_voltages, &ideal)[worst].channel_error;
    if !base.is_finite() {
        warnings.push(
            "no error budget: with every block ideal one of the channels gives nothing".to_owned(),
        );
        return Ok(None);
    }
    let compared = Comparison { receiver, paths, real, ideal, base, worst };
    let mut rows = compared.block_rows()?;
    rows.extend(compared.load_row()?);
    rows.extend(compared.other_rows());
    // Rows that cannot be ideal come after all others.
    let order = |row: &BudgetRow| row.if_ideal_db.unwrap_or(f64::NEG_INFINITY);
    rows.sort_by(|one, other| order(other).total_cmp(&order(one)));
    // Lengths that differ by design, and the like: what remains with every block ideal.
    if base.norm() > 1e-9 {
        rows.push(remainder_row(Contributor::Arrangement, base));
    }
    let sum: Complex64 = rows.iter().map(|row| row.error).sum();
    rows.push(remainder_row(Contributor::Interaction, wrapped(total - sum)));
    let taken = compared.paths.iter().flat_map(ComparedPath::taken).collect();
    Ok(Some(Budget { total, rows, taken }))
}

impl Comparison<'_> {
    fn real_voltages(&self) -> Voltages<'_> {
        let LoRf { lo, rf } = &self.paths;
        Voltages { lo: &lo.real.voltages, rf: &rf.real.voltages }
    }

    fn ideal_voltages(&self) -> Voltages<'_> {
        Voltages { lo: &self.paths.lo.ideal, rf: &self.paths.rf.ideal }
    }

    /// A row from the cases with the contributor alone real, and with it alone ideal.
    fn row(
        &self,
        contributor: Contributor,
        alone: Case<'_>,
        all_but: Option<Case<'_>>,
    ) -> BudgetRow {
        let of = |(voltages, evaluation): Case<'_>| balances(self.receiver, voltages, &evaluation);
        let alone = of(alone)[self.worst];
        let rejections_db: Option<Vec<f64>> =
            all_but.map(|case| of(case).iter().map(|balance| balance.image_rejection_db).collect());
        let worst_of = |all_db: &Vec<f64>| all_db.iter().copied().fold(f64::INFINITY, f64::min);
        BudgetRow {
            contributor,
            error: wrapped(alone.channel_error - self.base),
            alone_db: alone.image_rejection_db,
            if_ideal_db: rejections_db.as_ref().map(|all_db| all_db[self.worst]),
            plan_if_ideal_db: rejections_db.as_ref().map(worst_of),
        }
    }

    /// Rows of the single blocks and pairs.
    fn block_rows(&self) -> Result<Vec<BudgetRow>> {
        let mut rows = Vec::new();
        for group in self.receiver.groups() {
            if !self.paths.iter().any(|path| path.has(group)) {
                continue;
            }
            let alone = LoRf::try_of_each(|path| self.paths.get(path).alone(group))?;
            let all_but = LoRf::try_of_each(|path| self.paths.get(path).all_but(group))?;
            let name = group.name.clone();
            rows.push(self.row(
                if group.is_pair { Contributor::Pair(name) } else { Contributor::Block(name) },
                (Voltages::of(&alone), self.ideal),
                Some((Voltages::of(&all_but), self.real)),
            ));
        }
        Ok(rows)
    }

    /// The row of the loads, where there are some.
    fn load_row(&self) -> Result<Option<BudgetRow>> {
        if self.receiver.loads().is_empty() {
            return Ok(None);
        }
        let alone = LoRf::try_of_each(|path| {
            let own = self.paths.get(path);
            own.voltages(|_| false, &own.real.terminations)
        })?;
        let all_but = LoRf::try_of_each(|path| {
            let ComparedPath { receiver, real, ideal_terminations, .. } = self.paths.get(path);
            real.path.voltages(receiver, &real.reduced, ideal_terminations)
        })?;
        Ok(Some(self.row(
            Contributor::Loads,
            (Voltages::of(&alone), self.ideal),
            Some((Voltages::of(&all_but), self.real)),
        )))
    }

    /// Rows of the mixers' gains, the IF parts and the correction.
    fn other_rows(&self) -> Vec<BudgetRow> {
        let (receiver, real, ideal) = (self.receiver, self.real, self.ideal);
        let row = |contributor, alone: Evaluation<'_>, all_but: Option<Evaluation<'_>>| {
            let all_but = all_but.map(|evaluation| (self.real_voltages(), evaluation));
            self.row(contributor, (self.ideal_voltages(), alone), all_but)
        };
        let mut rows = Vec::new();
        if receiver.mixers().iter().any(|mixer| mixer.gain != Complex64::ONE) {
            let alone = Evaluation { has_real_gains: true, ..ideal };
            let all_but = Evaluation { has_real_gains: false, ..real };
            rows.push(row(Contributor::MixerGains, alone, Some(all_but)));
        }
        if receiver.output().has_if_parts {
            let alone = Evaluation { transfers: real.transfers, ..ideal };
            let all_but = Evaluation { transfers: ideal.transfers, ..real };
            rows.push(row(Contributor::IfParts, alone, Some(all_but)));
        }
        if !real.correction.is_none() {
            let alone = Evaluation { correction: real.correction, ..ideal };
            rows.push(row(Contributor::Correction, alone, None));
        }
        rows
    }
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
