//! What acts through several parts of a receiver with switched mixers: I and Q without it.
//!
//! In:  LO voltages and the RF network.
//! Out: I and Q at one point with equal LO amplitudes at all mixers, and with channels that do not load
//!      one another while they switch. Neither depends on the reference impedances of files: amplitudes
//!      are voltages, and a channel that does not switch is its mean conductances.

use super::error::Result;
use super::iq_balance::{Channel, IqOutputs};
use super::receiver::Receiver;
use super::switched_outputs::{SwitchedPlan, SwitchedVoltages};
use super::switching::{
    ConversionSolver, Switch, SwitchSettings, SwitchedMixer, SwitchedMixerSettings,
};
use num_complex::Complex64;

/// Amplitudes that differ by less, relatively, are equal.
const EQUAL_AMPLITUDES: f64 = 1e-9;
/// The highest resistance of a switch, ohm.
const OPEN_OHM: f64 = 1e9;

/// I and Q with the mean LO amplitude at every mixer, phases as they are; `None` where amplitudes are
/// equal, and for multipliers.
pub(super) fn with_equal_amplitudes(
    receiver: &Receiver,
    voltages: SwitchedVoltages<'_>,
    at: usize,
) -> Result<Option<IqOutputs>> {
    if receiver.switching().is_none() {
        return Ok(None);
    }
    let point = &receiver.plan().points()[at];
    let mixers = receiver.mixers().len();
    let own = &voltages.lo[point.lo * mixers..(point.lo + 1) * mixers];
    #[expect(clippy::cast_precision_loss, reason = "a receiver has few mixers")]
    let mean = own.iter().map(|volts| volts.norm()).sum::<f64>() / mixers as f64;
    let is_equal = |volts: &Complex64| (volts.norm() - mean).abs() <= EQUAL_AMPLITUDES * mean;
    if own.iter().all(is_equal) {
        return Ok(None);
    }
    let mut lo = voltages.lo.to_vec();
    for volts in &mut lo[point.lo * mixers..(point.lo + 1) * mixers] {
        let amplitude = volts.norm();
        *volts = if amplitude > 0.0 { *volts * (mean / amplitude) } else { mean.into() };
    }
    let store = receiver.known_sidebands()?;
    let equal = SwitchedVoltages { lo: &lo, rf: voltages.rf };
    let mut solved = SwitchedPlan::new(receiver, store, equal, false)?;
    solved.solve(point)?;
    Ok(Some(solved.outputs()))
}

/// I and Q, each with the elements of the other channel held at their mean conductances; `None` for
/// multipliers.
pub(super) fn without_coupling(
    receiver: &Receiver,
    voltages: SwitchedVoltages<'_>,
    at: usize,
) -> Result<Option<IqOutputs>> {
    let Some(mixer) = receiver.switched_mixer() else { return Ok(None) };
    let point = &receiver.plan().points()[at];
    let store = receiver.known_sidebands()?;
    let mut solved = SwitchedPlan::new(receiver, store, voltages, false)?;
    solved.set_lo(point.lo);
    let peaks_v = solved.peaks_v().to_vec();
    let mut outputs = IqOutputs::default();
    for channel in [Channel::I, Channel::Q] {
        solved.solver = ConversionSolver::new(with_one_channel(mixer, channel, &peaks_v)?);
        solved.solve(point)?;
        let own = solved.outputs();
        let pairs = [(&mut outputs.upper, own.upper), (&mut outputs.lower, own.lower)];
        for (into, own) in pairs {
            match channel {
                Channel::I => into.i = own.i,
                Channel::Q => into.q = own.q,
            }
        }
    }
    Ok(Some(outputs))
}

/// The mixers with only the elements of one channel switching.
fn with_one_channel(
    mixer: &SwitchedMixer,
    channel: Channel,
    peaks_v: &[Complex64],
) -> Result<SwitchedMixer> {
    let mut elements = mixer.elements().to_vec();
    for (element, peak_v) in elements.iter_mut().zip(peaks_v) {
        if mixer.if_nodes()[element.if_node].channel == channel {
            continue;
        }
        let own = *element.switch.settings();
        let mean_s = element.switch.coefficients(*peak_v, 0)[0].re;
        let ohm = (1.0 / mean_s).min(OPEN_OHM);
        element.switch = Switch::new(SwitchSettings { on_ohm: ohm, off_ohm: ohm, ..own })?;
    }
    SwitchedMixer::new(SwitchedMixerSettings { elements, ..mixer.settings().clone() })
}
