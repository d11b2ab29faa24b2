//! I and Q over a whole plan, from the voltages at the elements.

use super::error::ReceiverError;
use super::iq_balance::{
    Channel, Combination, Element, IqOutputs, IqPair, ReceiverBalance, receiver_balance,
};
use super::receiver::{OutputChoice, Receiver};
use super::{CorrectionPoint, Sideband};
use num_complex::Complex64;

/// Volts at the elements per square root of a watt, frequency after frequency, for both ways.
#[derive(Clone, Debug)]
pub(super) struct Voltages {
    pub(super) lo: Vec<Complex64>,
    pub(super) rf: Vec<Complex64>,
}

/// What is ideal in an evaluation beside the voltages.
#[derive(Clone, Copy, Debug)]
pub(super) struct Evaluation<'a> {
    pub(super) choice: &'a OutputChoice,
    pub(super) correction: Complex64,
    pub(super) has_real_gains: bool,
}

/// I and Q at every point: for each LO, for each IF.
pub(super) fn iq_outputs(
    receiver: &Receiver,
    voltages: &Voltages,
    has_real_gains: bool,
) -> Vec<IqOutputs> {
    iq_outputs_of(receiver, &voltages.lo, &voltages.rf, has_real_gains)
}

/// The same from the voltages of each way.
pub(super) fn iq_outputs_of(
    receiver: &Receiver,
    lo_voltages: &[Complex64],
    rf_voltages: &[Complex64],
    has_real_gains: bool,
) -> Vec<IqOutputs> {
    let plan = &receiver.plan;
    let mixers = receiver.mixers.len();
    let mut outputs = Vec::with_capacity(plan.lo_hz.len() * plan.if_hz.len());
    let mut elements: Vec<Element> = Vec::with_capacity(mixers);
    for lo in 0..plan.lo_hz.len() {
        for intermediate in 0..plan.if_hz.len() {
            let upper = plan.rf_point(lo, intermediate, Sideband::Upper);
            let lower = plan.rf_point(lo, intermediate, Sideband::Lower);
            elements.clear();
            elements.extend(receiver.mixers.iter().enumerate().map(|(at, mixer)| Element {
                channel: mixer.channel,
                is_subtracted: mixer.is_subtracted,
                gain: if has_real_gains { mixer.gain } else { Complex64::ONE },
                lo: lo_voltages[lo * mixers + at],
                rf_upper: rf_voltages[upper * mixers + at],
                rf_lower: rf_voltages[lower * mixers + at],
            }));
            outputs.push(IqOutputs::of(&elements, &receiver.mixing));
        }
    }
    outputs
}

/// What combines I and Q at one IF.
pub(super) fn combination(evaluation: &Evaluation<'_>, intermediate: usize) -> Combination {
    let transfer = evaluation.choice.transfers[intermediate];
    Combination { i: transfer.i, q: transfer.q * evaluation.correction }
}

/// The balance at every point.
pub(super) fn balances(
    receiver: &Receiver,
    voltages: &Voltages,
    evaluation: &Evaluation<'_>,
) -> Vec<ReceiverBalance> {
    let ifs = receiver.plan.if_hz.len();
    iq_outputs(receiver, voltages, evaluation.has_real_gains)
        .iter()
        .enumerate()
        .map(|(at, outputs)| {
            receiver_balance(outputs, &combination(evaluation, at % ifs), receiver.plan.wanted)
        })
        .collect()
}

/// I and Q as they reach the output, for the question what a weight on Q can do.
pub(super) fn correction_points(
    receiver: &Receiver,
    outputs: &[IqOutputs],
    evaluation: &Evaluation<'_>,
) -> Vec<CorrectionPoint> {
    let ifs = receiver.plan.if_hz.len();
    let wanted = receiver.plan.wanted;
    outputs
        .iter()
        .enumerate()
        .map(|(at, outputs)| {
            let combination = combination(evaluation, at % ifs);
            let (wanted, image) =
                (outputs.of_sideband(wanted), outputs.of_sideband(wanted.opposite()));
            CorrectionPoint {
                wanted_i: combination.i * wanted.i,
                wanted_q: combination.q * wanted.q,
                image_i: combination.i * image.i,
                image_q: combination.q * image.q,
            }
        })
        .collect()
}

/// A channel that gives nothing has no balance.
pub(super) fn check_channels(
    receiver: &Receiver,
    outputs: &[IqOutputs],
) -> Result<(), ReceiverError> {
    let ifs = receiver.plan.if_hz.len();
    let largest = outputs
        .iter()
        .flat_map(|outputs| [outputs.upper, outputs.lower])
        .flat_map(|pair| [pair.i.norm(), pair.q.norm()])
        .fold(0.0, f64::max);
    // Sixteen digits below the strongest output is rounding.
    let is_silent = |value: Complex64| value.norm() <= 1e-14 * largest || !value.is_finite();
    for (at, outputs) in outputs.iter().enumerate() {
        let pairs: [IqPair; 2] = [outputs.upper, outputs.lower];
        for (name, is_it) in [
            (Channel::I, pairs.iter().any(|pair| is_silent(pair.i))),
            (Channel::Q, pairs.iter().any(|pair| is_silent(pair.q))),
        ] {
            if is_it {
                return Err(ReceiverError::SilentChannel {
                    channel: if name == Channel::I { "i" } else { "q" },
                    lo_hz: receiver.plan.lo_hz[at / ifs],
                    if_hz: receiver.plan.if_hz[at % ifs],
                });
            }
        }
    }
    Ok(())
}
