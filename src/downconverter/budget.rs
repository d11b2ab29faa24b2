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
use super::iq_balance::{IqOutputs, PlanPoint, ReceiverBalance};
use super::joined_path::PathPart;
use super::receiver::{Group, Receiver};
use super::receiver_setup::PartKind;
use super::signal_path::{LoRf, ReceiverPath};
use super::solution::{
    Evaluation, Solved, SolvedPath, Voltages, iq_outputs, outputs_at, power_ratios,
    rejection_of_ratio_db,
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
    /// The worst rejection if it were ideal, dB: over the whole plan, or over the points of
    /// [`Budget::compared`]; `None` where this is not defined.
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
    /// LO and IF of the points over which parts are compared, Hz: with switched mixers some points of the
    /// plan. `None` for the whole plan.
    pub compared: Option<Vec<(f64, f64)>>,
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
    /// Further points, each by itself.
    others: Vec<Comparison<'a>>,
    at_worst: Comparison<'a>,
    /// The channel error with everything ideal.
    base: Complex64,
    /// The point of worst rejection.
    worst: usize,
}

/// A solved receiver, and the combination of I and Q that was chosen for it.
pub(super) struct BudgetReceiver<'a> {
    pub(super) receiver: &'a Receiver,
    pub(super) solved: &'a Solved,
}

/// The settings with something ideal.
type IfIdeal = for<'c> fn(&Comparison<'c>) -> Evaluation<'c>;

/// I and Q at a point without something that acts through several parts.
type Without = fn(&Receiver, Voltages<'_>, usize) -> Result<Option<IqOutputs>>;

/// The wanted over the image power at every point of a comparison with something ideal.
type Ratios<'c> = dyn Fn(&Comparison<'_>) -> Result<Vec<f64>> + 'c;

/// The budget; `None` if the receiver with ideal parts has no balance for comparison. `points` are
/// those of the plan, `worst` is the index of the one with the worst rejection. `others` are the same
/// receiver at other points, where `own` is not at all of the plan.
pub(super) fn budget(
    own: &BudgetReceiver<'_>,
    points: &[PlanPoint],
    worst: usize,
    others: &[BudgetReceiver<'_>],
    warnings: &mut Vec<String>,
) -> Result<Option<Budget>> {
    let made = budget_of(own, points, worst, (BudgetParts::All, others), warnings)?;
    Ok(made.map(|budget| {
        let compared = std::iter::once(own).chain(others).flat_map(|own| {
            own.receiver.plan().points().iter().map(|point| (point.lo_hz, point.if_hz))
        });
        let is_whole = own.receiver.switching().is_none();
        Budget { compared: (!is_whole).then(|| compared.collect()), ..budget }
    }))
}

/// The rows of the budget of a receiver at one point, and nothing else; `None` as for the budget.
pub(crate) fn budget_rows(receiver: &Receiver) -> Result<Option<Vec<BudgetRow>>> {
    let solved = Solved::new(receiver)?;
    let points = solved.points(receiver)?;
    let own = BudgetReceiver { receiver, solved: &solved };
    let made = budget_of(&own, &points, 0, (BudgetParts::Rows, &[]), &mut Vec::new())?;
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
    BudgetReceiver { receiver, solved }: &BudgetReceiver<'_>,
    points: &[PlanPoint],
    worst: usize,
    (parts, others): (BudgetParts, &[BudgetReceiver<'_>]),
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
    let others = others.iter().map(|own| plan.at(own.receiver, &own.solved.paths));
    let others = others.collect::<Result<Vec<_>>>()?;
    let compared = BudgetCases { plan, others, at_worst, base, worst };
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
        compared: None,
        interactions: Vec::new(),
        taken: compared.plan.taken(),
    };
    if parts == BudgetParts::All {
        let loads: Vec<_> = load_groups(receiver).into_iter().chain(sources(receiver)).collect();
        budget.loads = loads.par_iter().map(row).collect::<Result<Vec<_>>>()?;
        budget.loads.sort_by(|one, other| order(other).total_cmp(&order(one)));
        budget.mechanisms = compared.mechanisms()?;
        budget.interactions = interactions(&compared, &subsets, interaction)?;
    }
    Ok(Some(budget))
}

/// Rows that cannot be ideal come after all others.
fn order(row: &BudgetRow) -> f64 {
    row.if_ideal_db.unwrap_or(f64::NEG_INFINITY)
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

    /// A row from the balance with the contributor alone real, and the ratios with it alone ideal.
    fn row(
        &self,
        contributor: Contributor,
        alone: ReceiverBalance,
        all_but: Option<&Ratios<'_>>,
    ) -> Result<BudgetRow> {
        let mut row = BudgetRow {
            has_equal_members: self.plan.has_equal_members(&contributor),
            ..remainder_row(contributor, wrapped(alone.channel_error - self.base))
        };
        row.alone_db = alone.image_rejection_db;
        if let Some(all_but) = all_but {
            (row.if_ideal_db, row.plan_if_ideal_db) = self.if_ideal_db(all_but)?;
        }
        Ok(row)
    }

    /// The rejection at the worst point, and the worst at all points that are compared.
    fn if_ideal_db(&self, ratios: &Ratios<'_>) -> Result<(Option<f64>, Option<f64>)> {
        let own = ratios(&self.plan)?;
        let others = self.others.iter().map(ratios).collect::<Result<Vec<_>>>()?;
        // A minimum ignores what is not a number; this one must not.
        let smaller = |one: f64, other: f64| {
            if one.is_nan() || other.is_nan() { f64::NAN } else { one.min(other) }
        };
        let least = own.iter().chain(others.iter().flatten()).copied().reduce(smaller);
        let at_worst = own.get(self.worst).copied();
        Ok((at_worst.map(rejection_of_ratio_db), least.map(rejection_of_ratio_db)))
    }

    fn subset_row(&self, contributor: Contributor, subset: &Subset) -> Result<BudgetRow> {
        let all_but = |own: &Comparison<'_>| {
            let all_but = LoRf::try_of_each(|path| own.paths.get(path).all_but(subset))?;
            power_ratios(own.receiver, Voltages::of(&all_but), &own.real)
        };
        self.row(contributor, self.alone(subset)?, Some(&all_but))
    }

    /// What acts through several parts of a receiver with switched mixers: each row compares the receiver
    /// with the same without it.
    fn mechanisms(&self) -> Result<Vec<BudgetRow>> {
        let own = &self.at_worst;
        let total = own.balance(own.real_voltages(), &own.real)?.channel_error;
        let mut rows = Vec::new();
        let all: [(Contributor, Without); 2] = [
            (Contributor::LoAmplitudes, with_equal_amplitudes),
            (Contributor::IqCoupling, without_coupling),
        ];
        for (contributor, without) in all {
            let Some(outputs) = without(own.receiver, own.real_voltages(), 0)? else { continue };
            let error = own.real.balance(own.receiver, 0, &outputs).channel_error;
            let ratios = |own: &Comparison<'_>| {
                let outputs = match without(own.receiver, own.real_voltages(), 0)? {
                    Some(outputs) => outputs,
                    None => outputs_at(own.receiver, own.real_voltages(), 0)?,
                };
                Ok(vec![own.real.power_ratio(own.receiver, 0, &outputs)])
            };
            let (if_ideal_db, plan_if_ideal_db) = self.if_ideal_db(&ratios)?;
            let row = remainder_row(contributor, wrapped(total - error));
            let row = BudgetRow { if_ideal_db, plan_if_ideal_db, ..row };
            if row.is_known() {
                rows.push(row);
            }
        }
        rows.sort_by(|one, other| order(other).total_cmp(&order(one)));
        Ok(rows)
    }

    /// Rows of the mixers' gains, the IF parts and the correction.
    fn other_rows(&self) -> Result<Vec<BudgetRow>> {
        let own = &self.at_worst;
        let (receiver, real) = (self.plan.receiver, self.plan.real);
        let row = |contributor, alone: Evaluation<'_>, all_but: Option<IfIdeal>| {
            let alone = own.balance(own.ideal_voltages()?, &alone)?;
            let Some(all_but) = all_but else { return self.row(contributor, alone, None) };
            let ratios = |own: &Comparison<'_>| {
                power_ratios(own.receiver, own.real_voltages(), &all_but(own))
            };
            self.row(contributor, alone, Some(&ratios))
        };
        let equal_gains: IfIdeal = |own| Evaluation { has_real_gains: false, ..own.real };
        let ideal_if: IfIdeal = |own| Evaluation { transfers: own.ideal.transfers, ..own.real };
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
            rows.push(row(Contributor::Switches, alone, Some(equal_gains))?);
        }
        if receiver.mixers().iter().any(|mixer| mixer.gain != Complex64::ONE) {
            let alone = Evaluation { has_real_gains: true, ..own.ideal };
            rows.push(row(Contributor::MixerGains, alone, Some(equal_gains))?);
        }
        if receiver.output().has_if_parts() {
            let alone = Evaluation { transfers: own.real.transfers, ..own.ideal };
            rows.push(row(Contributor::IfParts, alone, Some(ideal_if))?);
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
