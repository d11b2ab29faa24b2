//! Allocation: from the required rejection to the allowance of each contributor.

use super::budget::{Budget, Contributor};
use super::error::Result;
use super::receiver::Receiver;
use super::solution::SolvedPath;
use crate::units::{amplitude_from_db, db_from_amplitude, db_from_neper};

/// Contributions of loads below this are rounding.
const SMALLEST_LOADS: f64 = 1e-9;

/// The allowance of one contributor.
#[derive(Clone, Debug, PartialEq)]
pub struct Allowance {
    /// The contributor, a row of the budget.
    pub contributor: Contributor,
    /// The present magnitude of its channel error, nepers or radians.
    pub present: f64,
    /// The allowed magnitude, nepers or radians.
    pub allowed: f64,
}

impl Allowance {
    /// The allowed magnitude as an amplitude imbalance alone, dB.
    pub fn allowed_amplitude_db(&self) -> f64 {
        db_from_neper(self.allowed)
    }

    /// The allowed magnitude as a phase error alone, degrees.
    pub fn allowed_phase_deg(&self) -> f64 {
        self.allowed.to_degrees()
    }
}

/// A return loss that no other of the same loads is below.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstReturnLoss {
    /// The return loss, dB; infinite for matched loads.
    pub db: f64,
    /// LO at the mixers where it is, Hz; the first of equals.
    pub at_lo_hz: f64,
}

/// The return losses that the loads of the LO path need to keep their allowance.
///
/// Their contribution is the product of two reflections, that of the mixers' loads and that of the
/// isolated ports, and of the losses between them. It decreases by as many dB as the sum of the two
/// return losses increases.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReturnLosses {
    /// The worst of the mixers' loads over all LOs.
    pub worst_mixers: WorstReturnLoss,
    /// The worst of the isolated ports over all LOs.
    pub worst_isolated: WorstReturnLoss,
    /// The LO of worst rejection, Hz: the allowance of the loads and the figures below are those there.
    pub at_lo_hz: f64,
    /// The sum of the two return losses that is needed, dB.
    pub needed_sum_db: f64,
    /// The worst of the mixers' loads at that LO, dB.
    pub mixers_db: f64,
    /// The worst of the isolated ports at that LO, dB.
    pub isolated_db: f64,
    /// The return loss that the mixers' loads need with the present isolated ports, dB.
    pub mixers_needed_db: f64,
    /// The return loss that the isolated ports need with the present mixers' loads, dB.
    pub isolated_needed_db: f64,
}

/// The allocation of the required rejection to the contributors.
#[derive(Clone, Debug, PartialEq)]
pub struct Allocation {
    /// The required rejection, dB.
    pub required_db: f64,
    /// The magnitude of channel error, nepers or radians, that meets it at any angle if both
    /// sidebands have the same gain.
    pub allowed_total: f64,
    /// The factor by which every contribution is multiplied.
    pub factor: f64,
    /// One per row of the budget.
    pub allowances: Vec<Allowance>,
    /// The return losses needed; `None` without mixers' loads or without isolated ports.
    pub return_losses: Option<ReturnLosses>,
}

/// The allocation: every present contribution is multiplied by the same factor, with which the
/// requirement is met even if all contributions have the same angle.
pub(super) fn allocation(
    receiver: &Receiver,
    budget: &Budget,
    required_db: f64,
    lo: &SolvedPath,
    worst_lo: usize,
) -> Result<Allocation> {
    // |tanh(ε/2)|² has its maximum, for a given |ε|, where ε is imaginary.
    let allowed_total = 2.0 * amplitude_from_db(-required_db).atan();
    let sum: f64 = budget.rows.iter().map(|row| row.error.norm()).sum();
    let factor = if sum > 0.0 { allowed_total / sum } else { f64::INFINITY };
    let allowances: Vec<Allowance> = budget
        .rows
        .iter()
        .map(|row| {
            let present = row.error.norm();
            let allowed = if present > 0.0 { present * factor } else { 0.0 };
            Allowance { contributor: row.contributor.clone(), present, allowed }
        })
        .collect();
    let return_losses = match allowances.iter().find(|own| own.contributor == Contributor::Loads) {
        Some(loads) => return_losses(receiver, lo, worst_lo, loads)?,
        None => None,
    };
    Ok(Allocation { required_db, allowed_total, factor, allowances, return_losses })
}

fn return_losses(
    receiver: &Receiver,
    lo: &SolvedPath,
    worst_lo: usize,
    loads: &Allowance,
) -> Result<Option<ReturnLosses>> {
    let points = lo.reduced.grid().len();
    let reflections = lo.path.reflections(&lo.reduced, &lo.terminations)?;
    let isolated = lo.path.isolated_loads(receiver);
    let mixers = lo.path.mixer_loads(receiver);
    // Loads without a contribution need no allowance.
    if isolated.is_empty() || mixers.is_empty() || loads.present < SMALLEST_LOADS {
        return Ok(None);
    }
    let worst_db_at = |ends: &[usize], at: usize| {
        let largest =
            ends.iter().map(|end| reflections[end * points + at].norm()).fold(0.0, f64::max);
        -db_from_amplitude(largest)
    };
    let worst_db = |ends: &[usize]| worst_db_at(ends, worst_lo);
    let worst_of_all = |ends: &[usize]| {
        let mut worst = WorstReturnLoss { db: f64::INFINITY, at_lo_hz: receiver.plan().lo_hz()[0] };
        for (at, &at_lo_hz) in receiver.plan().lo_hz().iter().enumerate() {
            let db = worst_db_at(ends, at);
            if db < worst.db {
                worst = WorstReturnLoss { db, at_lo_hz };
            }
        }
        worst
    };
    let (mixers_db, isolated_db) = (worst_db(&mixers), worst_db(&isolated));
    let needed_sum_db = mixers_db + isolated_db + db_from_amplitude(loads.present / loads.allowed);
    Ok(Some(ReturnLosses {
        worst_mixers: worst_of_all(&mixers),
        worst_isolated: worst_of_all(&isolated),
        at_lo_hz: receiver.plan().lo_hz()[worst_lo],
        needed_sum_db,
        mixers_db,
        isolated_db,
        mixers_needed_db: (needed_sum_db - isolated_db).max(0.0),
        isolated_needed_db: (needed_sum_db - mixers_db).max(0.0),
    }))
}
