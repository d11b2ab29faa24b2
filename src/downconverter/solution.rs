//! I and Q over a whole plan, from the voltages at the mixers.

use super::correction_weight::CorrectionPoint;
use super::error::ReceiverError;
use super::frequency_plan::Sideband;
use super::iq_balance::{
    Channel, Combination, Element, IqOutputs, IqPair, ReceiverBalance, receiver_balance,
};
use super::receiver::Receiver;
use super::signal_path::LoRf;
use num_complex::Complex64;

/// Volts at the mixers per square root of a watt, frequency after frequency, of both paths.
pub(super) type Voltages<'v> = LoRf<&'v [Complex64]>;

/// What is real and what is ideal in an evaluation, beside the voltages.
#[derive(Clone, Copy, Debug)]
pub(super) struct Evaluation<'a> {
    /// What I and Q are multiplied by at each IF, without the correction.
    pub(super) transfers: &'a [Combination],
    pub(super) correction: Complex64,
    pub(super) has_real_gains: bool,
}

impl<'a> Evaluation<'a> {
    /// Everything real, with one of the receiver's ways to combine I and Q.
    pub(super) fn real(receiver: &'a Receiver, choice: usize) -> Self {
        let output = receiver.output();
        Self {
            transfers: &output.choices[choice].transfers,
            correction: output.correction,
            has_real_gains: true,
        }
    }

    /// Everything ideal, with the same way to combine I and Q.
    pub(super) fn ideal(receiver: &'a Receiver, choice: usize) -> Self {
        Self {
            transfers: &receiver.output().choices[choice].ideal_transfers,
            correction: Complex64::ONE,
            has_real_gains: false,
        }
    }

    /// The combination at one IF, with the correction.
    fn combination(&self, intermediate: usize) -> Combination {
        let transfer = self.transfers[intermediate];
        Combination { i: transfer.i, q: transfer.q * self.correction }
    }

    /// The balance at a point of the plan.
    pub(super) fn balance(
        &self,
        receiver: &Receiver,
        point: usize,
        outputs: &IqOutputs,
    ) -> ReceiverBalance {
        let plan = receiver.plan();
        let combination = self.combination(point % plan.if_hz().len());
        receiver_balance(outputs, &combination, plan.wanted())
    }
}

/// I and Q at every point: for each LO, for each IF.
pub(super) fn iq_outputs(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    has_real_gains: bool,
) -> Vec<IqOutputs> {
    let plan = receiver.plan();
    let mixers = receiver.mixers().len();
    let mut outputs = Vec::with_capacity(plan.lo_hz().len() * plan.if_hz().len());
    let mut elements: Vec<Element> = Vec::with_capacity(mixers);
    for lo in 0..plan.lo_hz().len() {
        for intermediate in 0..plan.if_hz().len() {
            let upper = plan.rf_point(lo, intermediate, Sideband::Upper);
            let lower = plan.rf_point(lo, intermediate, Sideband::Lower);
            elements.clear();
            elements.extend(receiver.mixers().iter().enumerate().map(|(at, mixer)| Element {
                channel: mixer.channel,
                is_subtracted: mixer.is_subtracted,
                gain: if has_real_gains { mixer.gain } else { Complex64::ONE },
                lo: voltages.lo[lo * mixers + at],
                rf_upper: voltages.rf[upper * mixers + at],
                rf_lower: voltages.rf[lower * mixers + at],
            }));
            outputs.push(IqOutputs::of(&elements, receiver.mixing()));
        }
    }
    outputs
}

/// The balance at every point.
pub(super) fn balances(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    evaluation: &Evaluation<'_>,
) -> Vec<ReceiverBalance> {
    let outputs = iq_outputs(receiver, voltages, evaluation.has_real_gains);
    let points = outputs.iter().enumerate();
    points.map(|(point, outputs)| evaluation.balance(receiver, point, outputs)).collect()
}

/// I and Q as they reach the output: what a correction of Q works on.
pub(super) fn correction_points(
    receiver: &Receiver,
    outputs: &[IqOutputs],
    evaluation: &Evaluation<'_>,
) -> Vec<CorrectionPoint> {
    let ifs = receiver.plan().if_hz().len();
    let wanted = receiver.plan().wanted();
    outputs
        .iter()
        .enumerate()
        .map(|(point, outputs)| {
            let combination = evaluation.combination(point % ifs);
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

/// Refuses a channel that gives nothing at some point: it has no balance there.
pub(super) fn check_channels(
    receiver: &Receiver,
    outputs: &[IqOutputs],
) -> Result<(), ReceiverError> {
    let largest = outputs
        .iter()
        .flat_map(|outputs| [outputs.upper, outputs.lower])
        .flat_map(|pair| [pair.i.norm(), pair.q.norm()])
        .fold(0.0, f64::max);
    // Fourteen digits below the strongest output is rounding.
    let is_silent = |value: Complex64| value.norm() <= 1e-14 * largest || !value.is_finite();
    let plan = receiver.plan();
    let ifs = plan.if_hz().len();
    for (point, outputs) in outputs.iter().enumerate() {
        let has_silence = |output: fn(&IqPair) -> Complex64| {
            is_silent(output(&outputs.upper)) || is_silent(output(&outputs.lower))
        };
        let silent = if has_silence(|pair| pair.i) {
            Channel::I
        } else if has_silence(|pair| pair.q) {
            Channel::Q
        } else {
            continue;
        };
        return Err(ReceiverError::SilentChannel {
            channel: silent.name(),
            lo_hz: plan.lo_hz()[point / ifs],
            if_hz: plan.if_hz()[point % ifs],
        });
    }
    Ok(())
}
