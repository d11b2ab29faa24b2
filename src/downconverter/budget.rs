//! The part that degrades the balance most: the channel error with one part real and all others
//! ideal, and the rejection with one part ideal.
//!
//! In: both paths of a receiver with their real and their ideal parts.
//! Out: one row per contributor, in nepers and radians of channel error at the point of worst
//! rejection. The rows add up to the receiver's channel error: the difference between the total and
//! the sum of the contributors is a row of its own, the interaction (reflections between parts).

use super::compared_path::{ComparedPath, Subset};
use super::error::Result;
use super::ideal_part::{PartRole, roles};
use super::iq_balance::{PlanPoint, ReceiverBalance};
use super::joined_path::PathPart;
use super::receiver::{Group, Receiver};
use super::receiver_setup::PartKind;
use super::signal_path::{LoRf, ReceiverPath};
use super::solution::{
    Evaluation, Solved, SolvedPath, Voltages, iq_outputs, power_ratios, rejection_of_ratio_db,
};
use super::switched_mechanisms::{with_equal_amplitudes, without_coupling};
use super::switching::SwitchedMixer;
use crate::network::{Port, Terminal};
use crate::splitter::image_rejection_of_error_db;
use num_complex::Complex64;
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};
use std::fmt;

/// A contributor to the channel error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Contributor {
    /// A single block, by its name.
    Block(String),
    /// The blocks of a pair, by its name: their difference, and their common mismatch.
    Pair(String),
    /// All loads, and the sources where they do not match.
    Loads,
    /// The loads at these ports, as `BLOCK.PORT`; equal loads of mixers share a row.
    LoadsAt(Vec<String>),
    /// A source that does not match.
    Source(ReceiverPath),
    /// Gains of the mixers that differ.
    MixerGains,
    /// Switched elements that differ from their mean.
    Switches,
    /// LO amplitudes that differ from mixer to mixer, and with them the parts of a period for which
    /// the switches are on.
    LoAmplitudes,
    /// I and Q that load one another through the RF network while their elements switch.
    IqCoupling,
    /// IF paths or the IF hybrid.
    IfParts,
    /// The correction that is applied.
    Correction,
    /// The error with everything ideal, such as lengths that differ by design.
    Arrangement,
    /// Reflections between parts: the total minus the sum of all other rows.
    Interaction,
}

impl fmt::Display for Contributor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Block(name) | Self::Pair(name) => name,
            Self::LoadsAt(ports) => {
                return match &**ports {
                    [] => f.write_str("loads"),
                    [only] => write!(f, "load {only}"),
                    [first, others @ ..] => write!(f, "loads {first} and {} more", others.len()),
                };
            }
            Self::Source(path) => return write!(f, "{path} source"),
            Self::Loads => "loads",
            Self::MixerGains => "mixer gains",
            Self::Switches => "switches",
            Self::LoAmplitudes => "unequal LO amplitudes",
            Self::IqCoupling => "I-Q coupling",
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
    /// The rejection at this point if it were ideal, dB; `None` where this is not defined.
    pub if_ideal_db: Option<f64>,
    /// The worst rejection over the whole plan if it were ideal, dB; `None` where this is not
    /// defined.
    pub plan_if_ideal_db: Option<f64>,
    /// For a pair, whether its blocks have the same data, so that their contribution is their
    /// common mismatch.
    pub has_equal_members: Option<bool>,
}

impl BudgetRow {
    /// Whether every figure has a number. Only a rejection may be infinite.
    fn is_known(&self) -> bool {
        let rejections_db = [Some(self.alone_db), self.if_ideal_db, self.plan_if_ideal_db];
        self.error.is_finite() && !rejections_db.into_iter().flatten().any(f64::is_nan)
    }
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
    /// The input port of the signal.
    pub input: String,
    /// The output ports towards mixers.
    pub outputs: Vec<String>,
    /// The nominal phase of each output relative to the first, degrees.
    pub nominal_deg: Vec<f64>,
}

/// The error budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// The receiver's channel error at the point of worst rejection.
    pub total: Complex64,
    /// The contributor with the largest improvement first; arrangement and interaction, which no
    /// single part changes, last.
    pub rows: Vec<BudgetRow>,
    /// The loads and sources one by one. They do not add up to the row of the loads: the
    /// contribution of a mixer's load is what an isolated port does not absorb.
    pub loads: Vec<BudgetRow>,
    /// What acts through several parts at once, of switched mixers: its error is the total minus that
    /// without it, so that it is part of rows of the parts. Empty for multipliers.
    pub mechanisms: Vec<BudgetRow>,
    /// The interaction per pair of contributors, in descending order.
    pub interactions: Vec<Interaction>,
    /// The role of every block.
    pub taken: Vec<PartTaken>,
}

impl Budget {
    /// Whether more than half of the error remains with every block ideal, because of blocks in one
    /// branch only, or different by design.
    pub fn is_arrangement(&self) -> bool {
        self.rows.iter().any(|row| {
            row.contributor == Contributor::Arrangement
                && row.error.norm() > 0.5 * self.total.norm()
        })
    }
}

/// Two contributors that change each other's contribution, for example by reflections between them.
#[derive(Clone, Debug, PartialEq)]
pub struct Interaction {
    /// The two contributors; `None` for the interaction of three or more.
    pub between: Option<[Contributor; 2]>,
    /// The channel error with both real minus the sum with each alone: nepers and radians.
    pub error: Complex64,
}

/// A receiver with its ideal one: over the plan or at one point of it.
struct Comparison<'a> {
    receiver: &'a Receiver,
    paths: LoRf<ComparedPath<'a>>,
    real: Evaluation<'a>,
    ideal: Evaluation<'a>,
}

/// Rejections over the plan, and channel errors at the point of worst rejection relative to that of the
/// ideal receiver. The receiver at that point alone is solved much faster than over the plan.
struct BudgetCases<'a> {
    plan: Comparison<'a>,
    at_worst: Comparison<'a>,
    /// The channel error with everything ideal.
    base: Complex64,
    /// The point of worst rejection.
    worst: usize,
}

/// Voltages, with the settings of their evaluation.
type Case<'c> = (Voltages<'c>, Evaluation<'c>);

/// The budget; `None` if the receiver with ideal parts has no balance for comparison. `points` are
/// those of the plan, `worst` is the index of the one with the worst rejection.
pub(super) fn budget(
    receiver: &Receiver,
    solved: &Solved,
    points: &[PlanPoint],
    worst: usize,
    warnings: &mut Vec<String>,
) -> Result<Option<Budget>> {
    budget_of(receiver, solved, points, worst, BudgetParts::All, warnings)
}

/// The rows of the budget of a receiver at one point, and nothing else; `None` as for the budget.
pub(crate) fn budget_rows(receiver: &Receiver) -> Result<Option<Vec<BudgetRow>>> {
    let solved = Solved::new(receiver)?;
    let points = solved.points(receiver)?;
    let made = budget_of(receiver, &solved, &points, 0, BudgetParts::Rows, &mut Vec::new())?;
    Ok(made.map(|budget| budget.rows))
}

/// What of a budget is computed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum BudgetParts {
    /// Everything.
    All,
    /// The rows alone.
    Rows,
}

fn budget_of(
    receiver: &Receiver,
    solved: &Solved,
    points: &[PlanPoint],
    worst: usize,
    parts: BudgetParts,
    warnings: &mut Vec<String>,
) -> Result<Option<Budget>> {
    let total = points[worst].balance.channel_error;
    let paths = LoRf::try_of_each(|path| {
        let real = solved.paths.get(path);
        let roles = roles(receiver, &real.path, warnings);
        ComparedPath::new(receiver, real, roles)
    })?;
    let plan = Comparison {
        receiver,
        paths,
        real: Evaluation::real(receiver, solved.chosen),
        ideal: Evaluation::ideal(receiver, solved.chosen),
    };
    let one = receiver.at(worst, solved.chosen)?;
    let one_solved = SolvedPath::both(&one)?;
    let at_worst = plan.at(&one, &one_solved)?;
    let base = at_worst.balance(at_worst.ideal_voltages()?, &at_worst.ideal)?.channel_error;
    if !base.is_finite() {
        warnings.push(
            "no error budget: with every block ideal one of the channels has no output".to_owned(),
        );
        return Ok(None);
    }
    let compared = BudgetCases { plan, at_worst, base, worst };
    let subsets = compared.plan.subsets();
    let row = |(own, subset): &(Contributor, Subset)| compared.subset_row(own.clone(), subset);
    let mut rows = subsets.par_iter().map(row).collect::<Result<Vec<_>>>()?;
    rows.extend(compared.other_rows()?);
    rows.retain(|row| {
        let is_known = row.is_known();
        if !is_known {
            warnings.push(format!(
                "the budget has no row for {}: with it alone real or ideal a channel has no output",
                row.contributor
            ));
        }
        is_known
    });
    rows.sort_by(|one, other| order(other).total_cmp(&order(one)));
    // The error with every block ideal, for example from lengths that differ by design.
    if base.norm() > 1e-9 {
        rows.push(remainder_row(Contributor::Arrangement, base));
    }
    let sum: Complex64 = rows.iter().map(|row| row.error).sum();
    let interaction = wrapped(total - sum);
    rows.push(remainder_row(Contributor::Interaction, interaction));
    let mut budget = Budget {
        total,
        rows,
        loads: Vec::new(),
        mechanisms: Vec::new(),
        interactions: Vec::new(),
        taken: compared.plan.taken(),
    };
    if parts == BudgetParts::All {
        let loads: Vec<_> = load_groups(receiver).into_iter().chain(sources(receiver)).collect();
        budget.loads = loads.par_iter().map(row).collect::<Result<Vec<_>>>()?;
        budget.loads.sort_by(|one, other| order(other).total_cmp(&order(one)));
        budget.mechanisms = mechanisms(&compared.at_worst, total)?;
        budget.interactions = interactions(&compared, &subsets, interaction)?;
    }
    Ok(Some(budget))
}

/// Rows that cannot be ideal come after all others.
fn order(row: &BudgetRow) -> f64 {
    row.if_ideal_db.unwrap_or(f64::NEG_INFINITY)
}

/// What acts through several parts of a receiver with switched mixers, at a point: each row compares
/// the receiver with the same without it.
fn mechanisms(at_worst: &Comparison<'_>, total: Complex64) -> Result<Vec<BudgetRow>> {
    let (receiver, voltages) = (at_worst.receiver, at_worst.real_voltages());
    let mut rows = Vec::new();
    for (contributor, outputs) in [
        (Contributor::LoAmplitudes, with_equal_amplitudes(receiver, voltages, 0)?),
        (Contributor::IqCoupling, without_coupling(receiver, voltages, 0)?),
    ] {
        let Some(outputs) = outputs else { continue };
        let without = at_worst.real.balance(receiver, 0, &outputs);
        let row = BudgetRow {
            if_ideal_db: Some(without.image_rejection_db),
            plan_if_ideal_db: Some(without.image_rejection_db),
            ..remainder_row(contributor, wrapped(total - without.channel_error))
        };
        if row.is_known() {
            rows.push(row);
        }
    }
    rows.sort_by(|one, other| order(other).total_cmp(&order(one)));
    Ok(rows)
}

impl Comparison<'_> {
    /// The same parts and roles at one point of the plan.
    fn at<'b>(&self, one: &'b Receiver, solved: &'b LoRf<SolvedPath>) -> Result<Comparison<'b>> {
        let paths = LoRf::try_of_each(|path| {
            ComparedPath::new(one, solved.get(path), self.paths.get(path).roles.clone())
        })?;
        let (real, ideal) = (Evaluation::real(one, 0), Evaluation::ideal(one, 0));
        Ok(Comparison { receiver: one, paths, real, ideal })
    }

    fn real_voltages(&self) -> Voltages<'_> {
        let LoRf { lo, rf } = &self.paths;
        Voltages { lo: &lo.real.voltages, rf: &rf.real.voltages }
    }

    fn ideal_voltages(&self) -> Result<Voltages<'_>> {
        LoRf::try_of_each(|path| self.paths.get(path).ideal_voltages())
    }

    /// The balance at the first point.
    fn balance(
        &self,
        voltages: Voltages<'_>,
        evaluation: &Evaluation<'_>,
    ) -> Result<ReceiverBalance> {
        let outputs = iq_outputs(self.receiver, voltages, evaluation.has_real_gains)?;
        Ok(evaluation.balance(self.receiver, 0, &outputs[0]))
    }

    /// The single blocks and pairs on a path, then the loads with the sources.
    fn subsets(&self) -> Vec<(Contributor, Subset)> {
        let mut subsets = Vec::new();
        for group in self.receiver.groups() {
            let name = group.name.clone();
            let contributor =
                if group.is_pair { Contributor::Pair(name) } else { Contributor::Block(name) };
            let subset = Subset { parts: group.parts.clone(), ..Subset::default() };
            if self.paths.iter().any(|path| path.has(&subset)) {
                subsets.push((contributor, subset));
            }
        }
        if !self.receiver.loads().is_empty() {
            let loads = (0..self.receiver.loads().len()).collect();
            let all = Subset { loads, sources: ReceiverPath::BOTH.to_vec(), ..Subset::default() };
            subsets.push((Contributor::Loads, all));
        }
        subsets
    }

    /// For a pair, whether its blocks have the same data, so that they do not differ.
    fn has_equal_members(&self, contributor: &Contributor) -> Option<bool> {
        let Contributor::Pair(name) = contributor else { return None };
        let is_own = |group: &&Group| group.is_pair && group.name == *name;
        let group = self.receiver.groups().iter().find(is_own)?;
        let switching = self.receiver.switching();
        let networks = |&part: &usize| {
            let at_sidebands = switching.map(|own| &own.parts[part]);
            (&self.receiver.parts()[part].networks, at_sidebands)
        };
        let (first, others) = group.parts.split_first()?;
        let law = |part: &usize| self.receiver.stage(*part);
        let is_equal = |part: &usize| networks(part) == networks(first) && law(part) == law(first);
        Some(others.iter().all(is_equal))
    }

    /// The role of every block on every path.
    fn taken(&self) -> Vec<PartTaken> {
        let of_path = |compared: &ComparedPath<'_>| {
            let path = &compared.real.path;
            let of_part = |(own, role): (&PathPart, &PartRole)| {
                let part = &self.receiver.parts()[own.part];
                let name = |port: Port| part.ports[port.index()].clone();
                PartTaken {
                    name: part.name.clone(),
                    path: path.path(),
                    kind: role.kind,
                    input: name(role.input),
                    outputs: role.outputs.iter().map(|own| name(own.port)).collect(),
                    nominal_deg: role.outputs.iter().map(|own| own.nominal_deg).collect(),
                }
            };
            path.parts.iter().zip(&compared.roles).map(of_part).collect::<Vec<_>>()
        };
        self.paths.iter().flat_map(of_path).collect()
    }
}

impl BudgetCases<'_> {
    /// The channel error at the worst point with only a subset real, minus that with all ideal.
    fn error_alone(&self, subset: &Subset) -> Result<Complex64> {
        Ok(wrapped(self.alone(subset)?.channel_error - self.base))
    }

    /// The balance at the worst point with only a subset real.
    fn alone(&self, subset: &Subset) -> Result<ReceiverBalance> {
        let own = &self.at_worst;
        let alone = LoRf::try_of_each(|path| own.paths.get(path).alone(subset))?;
        own.balance(Voltages::of(&alone), &own.ideal)
    }

    /// A row from the balance with the contributor alone real, and the case with it alone ideal.
    fn row(
        &self,
        contributor: Contributor,
        alone: ReceiverBalance,
        all_but: Option<Case<'_>>,
    ) -> Result<BudgetRow> {
        let ratios: Option<Vec<f64>> = match all_but {
            Some((voltages, evaluation)) => {
                Some(power_ratios(self.plan.receiver, voltages, &evaluation)?)
            }
            None => None,
        };
        let least = |ratios: &Vec<f64>| ratios.iter().copied().fold(f64::INFINITY, f64::min);
        let at_worst = ratios.as_ref().map(|ratios| ratios[self.worst]);
        Ok(BudgetRow {
            has_equal_members: self.plan.has_equal_members(&contributor),
            contributor,
            error: wrapped(alone.channel_error - self.base),
            alone_db: alone.image_rejection_db,
            if_ideal_db: at_worst.map(rejection_of_ratio_db),
            plan_if_ideal_db: ratios.as_ref().map(least).map(rejection_of_ratio_db),
        })
    }

    fn subset_row(&self, contributor: Contributor, subset: &Subset) -> Result<BudgetRow> {
        let plan = &self.plan;
        let all_but = LoRf::try_of_each(|path| plan.paths.get(path).all_but(subset))?;
        self.row(contributor, self.alone(subset)?, Some((Voltages::of(&all_but), plan.real)))
    }

    /// Rows of the mixers' gains, the IF parts and the correction.
    fn other_rows(&self) -> Result<Vec<BudgetRow>> {
        let (plan, own) = (&self.plan, &self.at_worst);
        let (receiver, real, ideal) = (plan.receiver, plan.real, plan.ideal);
        let row = |contributor, alone: Evaluation<'_>, all_but: Option<Evaluation<'_>>| {
            let all_but = all_but.map(|evaluation| (plan.real_voltages(), evaluation));
            self.row(contributor, own.balance(own.ideal_voltages()?, &alone)?, all_but)
        };
        let mut rows = Vec::new();
        let elements = receiver.switched_mixer().map_or(&[][..], SwitchedMixer::elements);
        let has_unequal_elements = elements.iter().any(|own| {
            let like_first = (own.switch, own.lo_to_rf_f, own.lo_to_if_f);
            elements.first().is_some_and(|first| {
                like_first != (first.switch, first.lo_to_rf_f, first.lo_to_if_f)
            })
        });
        if has_unequal_elements {
            let alone = Evaluation { has_real_gains: true, ..own.ideal };
            let all_but = Evaluation { has_real_gains: false, ..real };
            rows.push(row(Contributor::Switches, alone, Some(all_but))?);
        }
        if receiver.mixers().iter().any(|mixer| mixer.gain != Complex64::ONE) {
            let alone = Evaluation { has_real_gains: true, ..own.ideal };
            let all_but = Evaluation { has_real_gains: false, ..real };
            rows.push(row(Contributor::MixerGains, alone, Some(all_but))?);
        }
        if receiver.output().has_if_parts() {
            let alone = Evaluation { transfers: own.real.transfers, ..own.ideal };
            let all_but = Evaluation { transfers: ideal.transfers, ..real };
            rows.push(row(Contributor::IfParts, alone, Some(all_but))?);
        }
        if !real.correction.is_none() {
            let alone = Evaluation { correction: own.real.correction, ..own.ideal };
            rows.push(row(Contributor::Correction, alone, None)?);
        }
        Ok(rows)
    }
}

/// The loads one by one. Loads at mixers' ports with the same data share a row, because one of them
/// ideal alone would make them unequal.
fn load_groups(receiver: &Receiver) -> Vec<(Contributor, Subset)> {
    let serves = |at: Terminal| {
        ReceiverPath::BOTH.map(|path| {
            let node = receiver.node_of(&at);
            receiver.mixers().iter().any(|mixer| node.contains(mixer.ports.get(path)))
        })
    };
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (at, load) in receiver.loads().iter().enumerate() {
        let own = serves(load.at);
        let is_alike = |group: &&mut Vec<usize>| {
            let first = &receiver.loads()[group[0]];
            let sources = receiver.switching().map(|own| &own.loads);
            own != [false; 2]
                && serves(first.at) == own
                && first.networks == load.networks
                && sources.is_none_or(|all| all[group[0]] == all[at])
        };
        match groups.iter_mut().find(is_alike) {
            Some(group) => group.push(at),
            None => groups.push(vec![at]),
        }
    }
    let row = |loads: Vec<usize>| {
        let name = |&load: &usize| receiver.port_name(receiver.loads()[load].at);
        let ports = loads.iter().filter_map(name).collect();
        (Contributor::LoadsAt(ports), Subset { loads, ..Subset::default() })
    };
    groups.into_iter().map(row).collect()
}

/// The sources that do not match the reference impedance of their port.
fn sources(receiver: &Receiver) -> impl Iterator<Item = (Contributor, Subset)> {
    let is_matched = |path: &ReceiverPath| {
        let input = receiver.input(*path);
        input.source_ohm == Complex64::from(receiver.reference_ohm(input.at))
    };
    let mismatched = ReceiverPath::BOTH.into_iter().filter(move |path| !is_matched(path));
    mismatched.map(|path| {
        (Contributor::Source(path), Subset { sources: vec![path], ..Subset::default() })
    })
}

/// Contributions smaller than this are rounding, nepers or radians.
const SMALLEST_INTERACTION: f64 = 1e-9;

/// The interaction per pair of contributors at the worst point, in descending order, and that of
/// three or more together.
fn interactions(
    compared: &BudgetCases<'_>,
    subsets: &[(Contributor, Subset)],
    total: Complex64,
) -> Result<Vec<Interaction>> {
    if total.norm() < SMALLEST_INTERACTION {
        return Ok(Vec::new());
    }
    let alone = subsets.par_iter().map(|(_, subset)| compared.error_alone(subset));
    let alone = alone.collect::<Result<Vec<_>>>()?;
    let pairs: Vec<[usize; 2]> =
        (0..subsets.len()).flat_map(|at| (0..at).map(move |before| [before, at])).collect();
    let of_pair = |&[before, at]: &[usize; 2]| {
        let [(other, other_subset), (contributor, subset)] = [&subsets[before], &subsets[at]];
        let both = compared.error_alone(&subset.with(other_subset))?;
        let error = wrapped(both - alone[at] - alone[before]);
        Ok(Interaction { between: Some([other.clone(), contributor.clone()]), error })
    };
    let mut found = pairs.par_iter().map(of_pair).collect::<Result<Vec<_>>>()?;
    found.retain(|pair| pair.error.norm() >= SMALLEST_INTERACTION);
    let pairs: Complex64 = found.iter().map(|pair| pair.error).sum();
    found.push(Interaction { between: None, error: wrapped(total - pairs) });
    found.sort_by(|one, other| other.error.norm().total_cmp(&one.error.norm()));
    Ok(found)
}

fn remainder_row(contributor: Contributor, error: Complex64) -> BudgetRow {
    BudgetRow {
        contributor,
        error,
        alone_db: image_rejection_of_error_db(error),
        if_ideal_db: None,
        plan_if_ideal_db: None,
        has_equal_members: None,
    }
}

/// With its phase in (-π, π].
fn wrapped(error: Complex64) -> Complex64 {
    let turned = error.im.rem_euclid(TAU);
    Complex64::new(error.re, if turned > PI { turned - TAU } else { turned })
}
