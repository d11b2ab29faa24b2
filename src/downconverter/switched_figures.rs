//! Conversion loss and noise figure of switched mixers at a point that is solved.

use super::iq_balance::{Channel, Combination};
use super::q_correction::QCorrection;
use super::receiver::Receiver;
use super::sideband_store::SidebandStore;
use super::switched_outputs::SwitchedPlan;
use super::switching::{IF_LOAD_REFERENCE_OHM, OutputWeights};
use crate::units::db_from_power;
use num_complex::Complex64;

/// Conversion loss from the available RF power to the power in the IF loads, dB; `None` where the
/// loads have no resistance, or the channel does not exist.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ConversionLoss {
    /// Of I alone.
    pub i_db: Option<f64>,
    /// Of Q alone.
    pub q_db: Option<f64>,
    /// Of both together.
    pub both_db: Option<f64>,
}

/// The single-sideband noise figure of the combined output, dB; `None` without an output.
pub(super) fn noise_figure_db(
    receiver: &Receiver,
    solved: &mut SwitchedPlan<'_>,
    combination: &Combination,
    correction: &QCorrection,
) -> Option<f64> {
    let turns = receiver.mixing().lo_harmonic();
    let SwitchedPlan { solver, weights, .. } = solved;
    weights.fill(solver.mixer(), combination, correction, turns);
    let weights =
        OutputWeights { above: &weights.above, below: &weights.below, at_if: &weights.at_if };
    let shares = solver.noise(weights, receiver.plan().wanted())?;
    Some(db_from_power(shares.factor())).filter(|db| db.is_finite())
}

/// The conversion loss in the wanted sideband.
pub(super) fn conversion_loss(
    receiver: &Receiver,
    store: &SidebandStore,
    solved: &SwitchedPlan<'_>,
    if_hz: f64,
) -> ConversionLoss {
    let reflection = store.if_load_at(if_hz);
    let through = (1.0 + reflection).norm_sqr() * IF_LOAD_REFERENCE_OHM;
    let taken = 1.0 - reflection.norm_sqr();
    // Rounding is no resistance.
    let siemens = if through > 0.0 && taken > 1e-12 { taken / through } else { 0.0 };
    let differential = solved.solver.mixer().settings().differential_ohm;
    let wanted = receiver.plan().wanted();
    let mut power_w = [0.0, 0.0];
    let mut across = [Complex64::ZERO; 2];
    for (at, node) in solved.solver.mixer().if_nodes().iter().enumerate() {
        let volts = solved.solver.if_voltage(at, wanted);
        let own = usize::from(node.channel == Channel::Q);
        power_w[own] += siemens * volts.norm_sqr();
        across[own] += if node.is_subtracted { -volts } else { volts };
    }
    if let Some(ohm) = differential {
        for (power, across) in power_w.iter_mut().zip(across) {
            *power += across.norm_sqr() / ohm;
        }
    }
    let loss_db =
        |watt: f64| (watt > 0.0).then(|| -db_from_power(watt)).filter(|db| db.is_finite());
    ConversionLoss {
        i_db: loss_db(power_w[0]),
        q_db: loss_db(power_w[1]),
        both_db: loss_db(power_w[0] + power_w[1]),
    }
}
