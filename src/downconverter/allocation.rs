//! From the required rejection back to what each contributor may spoil.

use super::budget::{Budget, LOADS_ROW};
use super::error::ReceiverError;
use super::receiver::Receiver;
use super::side::Side;
use crate::network::Network;
use crate::splitter::image_rejection_of_error_db;
use crate::units::{amplitude_from_db, db_from_amplitude, db_from_neper};
use num_complex::Complex64;

/// What one contributor may spoil.
#[derive(Clone, Debug, PartialEq)]
pub struct Share {
    /// The row of the budget.
    pub name: String,
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
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReturnLosses {
    /// Return loss of the elements' LO loads plus that of the terminations, dB: for an ideal hybrid
    /// and equal elements their sum is the rejection.
    pub needed_sum_db: f64,
    /// The worst of the elements' loads over LO, dB.
    pub mixers_db: f64,
    /// The worst of the terminations over LO, dB.
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
    /// The magnitude of channel error that keeps it at whatever angle.
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
            Share { name: row.name.clone(), present, allowed }
        })
        .collect();
    #[expect(clippy::cast_precision_loss, reason = "a budget has few rows")]
    let equal_share = allowed_total / shares.len() as f64;
    let loads_share =
        shares.iter().find(|share| share.name == LOADS_ROW).map_or(0.0, |share| share.allowed);
    // Loads that spoil nothing at present get as much as anyone.
    let loads_share = if loads_share > 1e-9 { loads_share } else { equal_share };
    let return_losses = return_losses(receiver, lo, reduced, loads_share)?;
    Ok(Allocation { required_db, allowed_total, factor, shares, return_losses })
}

fn return_losses(
    receiver: &Receiver,
    lo: &Side,
    reduced: &Network,
    allowed: f64,
) -> Result<Option<ReturnLosses>, ReceiverError> {
    let points = reduced.grid().len();
    let reflections = lo.reflections(reduced, &lo.endings(receiver))?;
    let terminations = lo.terminations(receiver);
    let elements: Vec<usize> = receiver
        .loads
        .iter()
        .filter_map(|load| lo.end_at(load.at))
        .filter(|end| !terminations.contains(end))
        .collect();
    if terminations.is_empty() || elements.is_empty() {
        return Ok(None);
    }
    let worst_db = |ends: &[usize]| {
        let largest = ends
            .iter()
            .flat_map(|end| &reflections[end * points..(end + 1) * points])
            .map(|reflection| reflection.norm())
            .fold(0.0, f64::max);
        -db_from_amplitude(largest)
    };
    let (mixers_db, isolated_db) = (worst_db(&elements), worst_db(&terminations));
    let needed_sum_db = image_rejection_of_error_db(Complex64::from(allowed));
    Ok(Some(ReturnLosses {
        needed_sum_db,
        mixers_db,
        isolated_db,
        mixers_needed_db: (needed_sum_db - isolated_db).max(0.0),
        isolated_needed_db: (needed_sum_db - mixers_db).max(0.0),
    }))
}
