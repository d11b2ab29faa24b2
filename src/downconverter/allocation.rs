//! From the required rejection back to what each contributor may spoil.

use super::budget::{Budget, Contributor};
use super::error::ReceiverError;
use super::receiver::Receiver;
use super::side::Side;
use crate::network::Network;
use crate::units::{amplitude_from_db, db_from_amplitude, db_from_neper};

/// Contributions of loads below this are rounding.
const SMALLEST_LOADS: f64 = 1e-9;

/// What one contributor may spoil.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// The row of the budget.
    pub contributor: Contributor,
    /// The magnitude of its channel error at present.
    pub present: f64,
    /// The magnitude that it may have.
    pub allowed: f64,
}

impl Share {
    /// The allowed magnitude spent on amplitude alone, dB.
    #[must_use]
    pub fn allowed_amplitude_db(&self) -> f64 {
        db_from_neper(self.allowed)
    }

    /// The allowed magnitude spent on phase alone, degrees.
    #[must_use]
    pub fn allowed_phase_deg(&self) -> f64 {
        self.allowed.to_degrees()
    }
}

/// What the loads of the LO side must do for their share.
///
/// What they spoil is the product of two reflections, that of the elements' loads and that of the
/// terminations, times what the parts between lose on the way; so it shrinks by as many dB as the
/// sum of the two return losses grows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReturnLosses {
    /// What the two return losses should add up to, dB.
    pub needed_sum_db: f64,
    /// The worst of the elements' loads at the LO of worst rejection, dB.
    pub mixers_db: f64,
    /// The worst of the terminations there, dB.
    pub isolated_db: f64,
    /// What the elements' loads need, the terminations being as they are, dB.
    pub mixers_needed_db: f64,
    /// What the terminations need, the elements' loads being as they are, dB.
    pub isolated_needed_db: f64,
}

/// Shares of the required rejection.
#[derive(Clone, Debug, PartialEq)]
pub struct Allocation {
    /// The rejection, dB.
    pub required_db: f64,
    /// The magnitude of channel error that keeps it at whatever angle, where both sidebands are
    /// received alike.
    pub allowed_total: f64,
    /// What every contribution is to be multiplied by.
    pub factor: f64,
    /// One per row of the budget.
    pub shares: Vec<Share>,
    /// What the loads need; `None` without elements' loads or without terminations.
    pub return_losses: Option<ReturnLosses>,
}

/// The shares: every present contribution multiplied by the same factor, so that even if all
/// pointed the same way the requirement would hold.
pub(super) fn allocation(
    receiver: &Receiver,
    budget: &Budget,
    required_db: f64,
    lo: &Side,
    reduced: &Network,
    worst_lo: usize,
) -> Result<Allocation, ReceiverError> {
    // |tanh(ε/2)|² is largest, for a given |ε|, where ε is imaginary.
    let allowed_total = 2.0 * amplitude_from_db(-required_db).atan();
    let sum: f64 = budget.rows.iter().map(|row| row.error.norm()).sum();
    let factor = if sum > 0.0 { allowed_total / sum } else { f64::INFINITY };
    let shares: Vec<Share> = budget
        .rows
        .iter()
        .map(|row| {
            let present = row.error.norm();
            let allowed = if present > 0.0 { present * factor } else { 0.0 };
            Share { contributor: row.contributor.clone(), present, allowed }
        })
        .collect();
    let return_losses = match shares.iter().find(|share| share.contributor == Contributor::Loads) {
        Some(loads) => return_losses(receiver, lo, reduced, worst_lo, loads)?,
        None => None,
    };
    Ok(Allocation { required_db, allowed_total, factor, shares, return_losses })
}

fn return_losses(
    receiver: &Receiver,
    lo: &Side,
    reduced: &Network,
    worst_lo: usize,
    loads: &Share,
) -> Result<Option<ReturnLosses>, ReceiverError> {
    let points = reduced.grid().len();
    let reflections = lo.reflections(reduced, &lo.endings(receiver))?;
    let terminations = lo.terminations(receiver);
    let elements = lo.element_loads(receiver);
    // Loads that spoil nothing have nothing to gain.
    if terminations.is_empty() || elements.is_empty() || loads.present < SMALLEST_LOADS {
        return Ok(None);
    }
    let worst_db = |ends: &[usize]| {
        let largest =
            ends.iter().map(|end| reflections[end * points + worst_lo].norm()).fold(0.0, f64::max);
        -db_from_amplitude(largest)
    };
    let (mixers_db, isolated_db) = (worst_db(&elements), worst_db(&terminations));
    let needed_sum_db = mixers_db + isolated_db + db_from_amplitude(loads.present / loads.allowed);
    Ok(Some(ReturnLosses {
        needed_sum_db,
        mixers_db,
        isolated_db,
        mixers_needed_db: (needed_sum_db - isolated_db).max(0.0),
        isolated_needed_db: (needed_sum_db - mixers_db).max(0.0),
    }))
}
