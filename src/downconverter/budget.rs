//! Which part spoils the balance: the channel error with one part real and all others ideal, and
//! the rejection with that part alone ideal.
//!
//! What the single contributions do not add up to is the interaction, reflections between parts.

use super::error::ReceiverError;
use super::ideal_part::{PartRole, groups, ideal_endings, ideals, roles};
use super::iq_balance::ReceiverBalance;
use super::receiver::{OutputChoice, PartKind, Receiver, Way};
use super::side::{Endings, Side};
use super::solution::{Evaluation, Voltages, balances};
use crate::network::Network;
use crate::splitter::image_rejection_of_error_db;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use std::fmt;

/// What contributes to the channel error.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Contributor {
    /// A block or a pair of them.
    Block(String),
    /// All loads, and the sources where they do not match.
    Loads,
    /// Gains of the elements that differ.
    MixerGains,
    /// IF paths or the IF hybrid.
    IfParts,
    /// The correction that is applied.
    Correction,
    /// What is left with everything ideal, such as lengths that differ by design.
    Arrangement,
    /// Reflections between parts: what the others do not add up to.
    Interaction,
}

impl fmt::Display for Contributor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Block(name) => name,
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
    /// Whose it is.
    pub contributor: Contributor,
    /// What it contributes to the channel error: nepers and radians.
    pub error: Complex64,
    /// The rejection if it were the only imperfection, dB.
    pub alone_db: f64,
    /// The rejection at this point if it were ideal, dB; `None` where that has no meaning.
    pub if_ideal_db: Option<f64>,
    /// The same as the worst over the whole plan.
    pub plan_if_ideal_db: Option<f64>,
}

/// What a block was taken for.
#[derive(Clone, Debug, PartialEq)]
pub struct PartTaken {
    /// The block.
    pub name: String,
    /// On which way.
    pub way: Way,
    /// Its kind; `None` for terminations and for parts with more than two outputs.
    pub kind: Option<PartKind>,
    /// Where the signal enters.
    pub input: String,
    /// Where it leaves towards the elements.
    pub outputs: Vec<String>,
    /// The phase of each output against the first, degrees.
    pub nominal_deg: Vec<f64>,
}

/// The budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// The receiver's channel error at the point of worst rejection.
    pub total: Complex64,
    /// Sorted by what mending would gain; the interaction, which nothing mends by itself, last.
    pub rows: Vec<BudgetRow>,
    /// What every block was taken for.
    pub taken: Vec<PartTaken>,
}

impl Budget {
    /// Whether more than half of the error is there with every block ideal: blocks in one branch only,
    /// or different by design.
    #[must_use]
    pub fn is_arrangement(&self) -> bool {
        self.rows.iter().any(|row| {
            row.contributor == Contributor::Arrangement
                && row.error.norm() > 0.5 * self.total.norm()
        })
    }
}

/// One way with its real and its ideal parts.
struct Bench<'a> {
    receiver: &'a Receiver,
    side: &'a Side,
    reduced: &'a Network,
    ideal_blocks: Vec<Network>,
    real_endings: Endings,
    ideal_endings: Endings,
    roles: Vec<Option<PartRole>>,
    real: Vec<Complex64>,
    ideal: Vec<Complex64>,
}

impl<'a> Bench<'a> {
    fn new(
        receiver: &'a Receiver,
        side: &'a Side,
        reduced: &'a Network,
        real: Vec<Complex64>,
        warnings: &mut Vec<String>,
    ) -> Result<Self, ReceiverError> {
        let roles = roles(receiver, side, warnings);
        let ideal_blocks = ideals(receiver, side, &roles)?;
        let ideal_endings = ideal_endings(receiver, side, &roles, reduced);
        let mut made = Self {
            receiver,
            side,
            reduced,
            ideal_blocks,
            real_endings: side.endings(receiver),
            ideal_endings,
            roles,
            real,
            ideal: Vec::new(),
        };
        made.ideal = made.voltages(|_| false, false)?;
        Ok(made)
    }

    /// With these parts real, and the loads real or not.
    fn voltages(
        &self,
        is_real: impl Fn(usize) -> bool,
        has_real_loads: bool,
    ) -> Result<Vec<Complex64>, ReceiverError> {
        let blocks: Vec<Network> = self
            .side
            .parts
            .iter()
            .enumerate()
            .map(|(place, &part)| {
                if is_real(part) {
                    self.side.blocks[place].clone()
                } else {
                    self.ideal_blocks[place].clone()
                }
            })
            .collect();
        let reduced = self.side.reduce(self.receiver, &blocks)?;
        let endings = if has_real_loads { &self.real_endings } else { &self.ideal_endings };
        self.side.voltages(self.receiver, &reduced, endings)
    }

    fn has(&self, parts: &[usize]) -> bool {
        parts.iter().any(|part| self.side.parts.contains(part))
    }

    /// Only these parts real.
    fn alone(&self, parts: &[usize]) -> Result<Vec<Complex64>, ReceiverError> {
        if self.has(parts) {
            self.voltages(|part| parts.contains(&part), false)
        } else {
            Ok(self.ideal.clone())
        }
    }

    /// Only these parts ideal.
    fn mended(&self, parts: &[usize]) -> Result<Vec<Complex64>, ReceiverError> {
        if self.has(parts) {
            self.voltages(|part| !parts.contains(&part), true)
        } else {
            Ok(self.real.clone())
        }
    }

    fn taken(&self) -> impl Iterator<Item = PartTaken> {
        self.side.parts.iter().zip(&self.roles).filter_map(|(&part, role)| {
            let (part, role) = (&self.receiver.parts[part], role.as_ref()?);
            Some(PartTaken {
                name: part.name.clone(),
                way: self.side.way(),
                kind: role.kind,
                input: part.ports[role.input].clone(),
                outputs: role.outputs.iter().map(|&port| part.ports[port].clone()).collect(),
                nominal_deg: role.nominal_deg.clone(),
            })
        })
    }
}

/// What a budget is made of beside the receiver.
pub(super) struct BudgetCase<'a> {
    pub(super) sides: [&'a Side; 2],
    pub(super) reduced: [&'a Network; 2],
    pub(super) voltages: &'a Voltages,
    pub(super) choice: &'a OutputChoice,
    pub(super) ideal_choice: &'a OutputChoice,
    /// The channel error at the point of worst rejection.
    pub(super) total: Complex64,
    /// The point of worst rejection.
    pub(super) worst: usize,
}

/// The budget; `None` where the receiver with ideal parts has no balance to compare with.
pub(super) fn budget(
    receiver: &Receiver,
    case: &BudgetCase<'_>,
    warnings: &mut Vec<String>,
) -> Result<Option<Budget>, ReceiverError> {
    let (real_lo, real_rf) = (case.voltages.lo.clone(), case.voltages.rf.clone());
    let lo = Bench::new(receiver, case.sides[0], case.reduced[0], real_lo, warnings)?;
    let rf = Bench::new(receiver, case.sides[1], case.reduced[1], real_rf, warnings)?;
    let ideal = Voltages { lo: lo.ideal.clone(), rf: rf.ideal.clone() };

    let all_real = Evaluation {
        choice: case.choice,
        correction: receiver.output.correction,
        has_real_gains: true,
    };
    let all_ideal =
        Evaluation { choice: case.ideal_choice, correction: Complex64::ONE, has_real_gains: false };
    let at_ideal = |voltages: &Voltages, evaluation: &Evaluation<'_>| {
        balances(receiver, voltages, evaluation)[case.worst]
    };
    let base = at_ideal(&ideal, &all_ideal).channel_error;
    let total = case.total;
    if !base.is_finite() {
        warnings.push(
            "no error budget: with every block ideal one of the channels gives nothing".to_owned(),
        );
        return Ok(None);
    }
    let if_mended = |voltages: &Voltages, evaluation: &Evaluation<'_>| {
        let mended = balances(receiver, voltages, evaluation);
        let worst_db =
            mended.iter().map(|balance| balance.image_rejection_db).fold(f64::INFINITY, f64::min);
        (mended[case.worst].image_rejection_db, worst_db)
    };
    let row = |contributor, alone: ReceiverBalance, mended: Option<(f64, f64)>| BudgetRow {
        contributor,
        error: wrapped(alone.channel_error - base),
        alone_db: alone.image_rejection_db,
        if_ideal_db: mended.map(|(here_db, _)| here_db),
        plan_if_ideal_db: mended.map(|(_, plan_db)| plan_db),
    };

    let mut rows = Vec::new();
    for group in groups(receiver) {
        if !lo.has(&group.parts) && !rf.has(&group.parts) {
            continue;
        }
        let alone = Voltages { lo: lo.alone(&group.parts)?, rf: rf.alone(&group.parts)? };
        let mended = Voltages { lo: lo.mended(&group.parts)?, rf: rf.mended(&group.parts)? };
        rows.push(row(
            Contributor::Block(group.name),
            at_ideal(&alone, &all_ideal),
            Some(if_mended(&mended, &all_real)),
        ));
    }
    if !receiver.loads.is_empty() {
        let alone =
            Voltages { lo: lo.voltages(|_| false, true)?, rf: rf.voltages(|_| false, true)? };
        let mended = Voltages {
            lo: lo.side.voltages(receiver, lo.reduced, &lo.ideal_endings)?,
            rf: rf.side.voltages(receiver, rf.reduced, &rf.ideal_endings)?,
        };
        rows.push(row(
            Contributor::Loads,
            at_ideal(&alone, &all_ideal),
            Some(if_mended(&mended, &all_real)),
        ));
    }
    if receiver.mixers.iter().any(|mixer| mixer.gain != Complex64::ONE) {
        let alone = Evaluation { has_real_gains: true, ..all_ideal };
        let mended = Evaluation { has_real_gains: false, ..all_real };
        rows.push(row(
            Contributor::MixerGains,
            at_ideal(&ideal, &alone),
            Some(if_mended(case.voltages, &mended)),
        ));
    }
    if receiver.output.has_if_parts {
        let alone = Evaluation { choice: case.choice, ..all_ideal };
        let mended = Evaluation { choice: case.ideal_choice, ..all_real };
        rows.push(row(
            Contributor::IfParts,
            at_ideal(&ideal, &alone),
            Some(if_mended(case.voltages, &mended)),
        ));
    }
    if receiver.output.correction != Complex64::ONE {
        let alone = Evaluation { correction: receiver.output.correction, ..all_ideal };
        rows.push(row(Contributor::Correction, at_ideal(&ideal, &alone), None));
    }
    let gain = |row: &BudgetRow| row.if_ideal_db.unwrap_or(f64::NEG_INFINITY);
    rows.sort_by(|one, other| gain(other).total_cmp(&gain(one)));
    // Lengths that differ by design, and the like: what is left with every block ideal.
    if base.norm() > 1e-9 {
        rows.push(rest_row(Contributor::Arrangement, base));
    }
    let sum: Complex64 = rows.iter().map(|row| row.error).sum();
    rows.push(rest_row(Contributor::Interaction, wrapped(total - sum)));
    Ok(Some(Budget { total, rows, taken: lo.taken().chain(rf.taken()).collect() }))
}

fn rest_row(contributor: Contributor, error: Complex64) -> BudgetRow {
    BudgetRow {
        contributor,
        error,
        alone_db: image_rejection_of_error_db(error),
        if_ideal_db: None,
        plan_if_ideal_db: None,
    }
}

/// With its phase in (-π, π].
fn wrapped(error: Complex64) -> Complex64 {
    let turned = error.im.rem_euclid(TAU);
    Complex64::new(error.re, if turned > PI { turned - TAU } else { turned })
}
