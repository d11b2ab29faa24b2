//! What contradicts itself in a receiver that can be solved: sentences for the user, none of which stops
//! the work.

use crate::downconverter::{Channel, Mixer, Receiver};
use crate::network::{Network, ParameterKind, WaveDefinition, change_reference, convert};
use crate::units::{counted, shown_band, shown_complex};
use num_complex::Complex64;

/// The remarks on a receiver as a whole.
pub(super) fn contradictions(receiver: &Receiver) -> Vec<String> {
    let all = [
        band_beyond_plan(receiver),
        band_at_if(receiver),
        unlike_load(receiver),
        uneven_rf_ports(receiver),
        unlike_reference(receiver),
    ];
    all.into_iter().flatten().chain(unlike_pairs(receiver)).collect()
}

/// A part of the wanted RF band for which the plan has no LO and IF.
fn band_beyond_plan(receiver: &Receiver) -> Option<String> {
    let plan = receiver.plan();
    let band = plan.settings().rf_hz?;
    let rf_hz: Vec<f64> = (plan.lo_hz().iter())
        .flat_map(|&lo_hz| plan.if_hz().iter().map(move |&if_hz| (lo_hz, if_hz)))
        .map(|(lo_hz, if_hz)| plan.rf_hz(lo_hz, if_hz, plan.wanted()))
        .collect();
    let low_hz = rf_hz.iter().copied().fold(f64::INFINITY, f64::min);
    let high_hz = rf_hz.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (wanted_low_hz, wanted_high_hz) = band;
    // A hundredth of the band is a matter of steps.
    let slack_hz = 0.01 * (wanted_high_hz - wanted_low_hz);
    (wanted_low_hz < low_hz - slack_hz || wanted_high_hz > high_hz + slack_hz).then(|| {
        format!(
            "rf_ghz is {}, but LO and IF of the plan reach {} only: the rest of the band is not judged",
            shown_band(band),
            shown_band((low_hz, high_hz))
        )
    })
}

/// A band of spurious responses at IF, though responses are at RF.
fn band_at_if(receiver: &Receiver) -> Option<String> {
    let (_, high_hz) = receiver.spurious_band_hz()?;
    let plan = receiver.plan();
    let highest_if_hz = plan.if_hz().last()?;
    let lowest_lo_hz = plan.lo_hz().first()?;
    (high_hz <= 2.0 * highest_if_hz && high_hz < 0.5 * lowest_lo_hz).then(|| {
        "spurious_band_ghz is the RF at which responses are searched for, and this band is at the IF"
            .to_owned()
    })
}

/// One of the loads at the mixers' LO ports that is far from the others, which are alike.
fn unlike_load(receiver: &Receiver) -> Option<String> {
    /// Gates of one design are alike within some hundredths (ours).
    const ALIKE: f64 = 0.05;
    const FAR: f64 = 0.2;
    let at_mixers = receiver.mixers().iter().filter_map(|mixer| {
        let load = receiver.loads().iter().find(|load| load.at == mixer.ports.lo)?;
        Some((mixer, middle_reflection(load.networks.lo.as_ref()?)?))
    });
    let found: Vec<(&Mixer, Complex64)> = at_mixers.collect();
    let is_far = |at: usize| {
        let others = || found.iter().enumerate().filter(move |(other, _)| *other != at);
        let first = others().next().map(|(_, own)| own.1)?;
        let are_alike = others().all(|(_, own)| (own.1 - first).norm() < ALIKE);
        (are_alike && (found[at].1 - first).norm() > FAR).then_some(found[at].0)
    };
    let odd = (0..found.len()).filter(|_| found.len() >= 3).find_map(is_far)?;
    Some(format!(
        "the load at the LO port of mixer '{}' differs from those of the other mixers, which are alike: \
         check its file",
        odd.name
    ))
}

/// The usual reference impedance, in which reflections are compared.
const REFERENCE_OHM: f64 = 50.0;

fn middle_reflection(load: &Network) -> Option<Complex64> {
    // Files may differ in their reference impedance.
    let scattering = convert(load, ParameterKind::Scattering).ok()?;
    let reference = vec![REFERENCE_OHM.into()];
    let scattering = change_reference(&scattering, reference, WaveDefinition::Kurokawa).ok()?;
    scattering.entries().get(scattering.entries().len() / 2).copied()
}

/// Mixers of one channel at more RF ports than those of the other.
fn uneven_rf_ports(receiver: &Receiver) -> Option<String> {
    let ports = |channel: Channel| {
        let own = receiver.mixers().iter().filter(|mixer| mixer.channel == channel);
        let mut ports: Vec<_> = own.map(|mixer| mixer.ports.rf).collect();
        let mixers = ports.len();
        ports.sort_unstable();
        ports.dedup();
        (mixers, ports.len())
    };
    let ((i_mixers, i), (q_mixers, q)) = (ports(Channel::I), ports(Channel::Q));
    (i_mixers == q_mixers && i != q).then(|| {
        format!(
            "the mixers of channel I use {} and those of channel Q {}: check the key rf of each mixer",
            counted(i, "RF port"),
            counted(q, "RF port")
        )
    })
}

/// Pairs of blocks that have different numbers of ports.
fn unlike_pairs(receiver: &Receiver) -> Vec<String> {
    let mut remarks = Vec::new();
    for (at, part) in receiver.parts().iter().enumerate() {
        let Some(pair) = &part.pair else { continue };
        let first = receiver.parts()[..at].iter().find(|other| other.pair.as_ref() == Some(pair));
        let Some(first) = first.filter(|first| first.ports.len() != part.ports.len()) else {
            continue;
        };
        remarks.push(format!(
            "pair '{pair}' joins block '{}' of {} ports with block '{}' of {}: give corresponding blocks \
             the same word",
            first.name,
            first.ports.len(),
            part.name,
            part.ports.len()
        ));
    }
    remarks
}

/// One block whose data have another reference impedance than those of all others.
fn unlike_reference(receiver: &Receiver) -> Option<String> {
    /// Fewer blocks show no rule.
    const FEWEST: usize = 4;
    let parts = receiver.parts().iter().filter_map(|part| {
        let network = part.networks.lo.as_ref().or(part.networks.rf.as_ref())?;
        Some((&part.name, network.references_ohm(0).first().copied()?))
    });
    let parts: Vec<(&String, Complex64)> = parts.collect();
    let is_odd = |at: usize| {
        let mut others = parts.iter().enumerate().filter(|(other, _)| *other != at);
        let (_, first) = others.next()?;
        let are_alike = others.all(|(_, own)| own.1 == first.1);
        (are_alike && parts[at].1 != first.1).then_some((parts[at], first.1))
    };
    let ((name, own), usual) =
        (0..parts.len()).filter(|_| parts.len() >= FEWEST).find_map(is_odd)?;
    Some(format!(
        "block '{name}' is in {} ohm, all others in {}: check the option line of its file",
        shown_complex(own),
        shown_complex(usual)
    ))
}
