//! Whether the mixers of a receiver work together as their places say: those of a channel add, and Q is
//! in quadrature to I.
//!
//! In:  a solved receiver.
//! Out: warnings that name mixers and splitters which contradict one another: a wrong polarity, a mixer
//!      that is missing, the file of another kind of splitter.

use super::iq_balance::{Channel, Element, IqOutputs};
use super::joined_path::JoinedPath;
use super::placed_splitters::{PlacedSplitter, placed_splitters};
use super::receiver::Receiver;
use super::signal_path::{LoRf, ReceiverPath};
use super::signal_trace::{SignalTrace, mixers_reached};
use crate::network::{Network, Port, Terminal};
use crate::splitter::SplitterKind;
use crate::units::wrap_deg;
use num_complex::Complex64;

/// Mixers of a channel further apart than this do not add: less than half of the second helps.
const WIDEST_APART_DEG: f64 = 60.0;
/// Q further than this from a quarter turn leaves less than 8 dB of rejection.
const FARTHEST_FROM_QUADRATURE_DEG: f64 = 45.0;
/// A splitter this near to half a turn is no divider.
const NEAR_HALF_TURN_DEG: f64 = 35.0;

/// A splitter of a path with the mixers behind each of its outputs.
struct SplitMixers {
    path: ReceiverPath,
    name: String,
    outputs: [Vec<usize>; 2],
    difference_deg: f64,
    kind_is_given: bool,
    ports: usize,
    /// The waves at its outputs for one at its input, in the middle of the sweep.
    waves: [Complex64; 2],
}

/// Warnings of mixers and splitters that contradict one another. `elements` are those of the mixers at
/// the centre of the plan, and `q_leads_i_deg` is the phase of Q against I there.
pub(super) fn agreement_warnings(
    receiver: &Receiver,
    paths: LoRf<&JoinedPath>,
    elements: &[Element],
    q_leads_i_deg: f64,
) -> Vec<String> {
    let splits = splits_of(receiver, paths);
    let mut warnings: Vec<String> = missing_mixer(receiver).into_iter().collect();
    let opposing = opposing_in_channels(receiver, elements, &splits);
    let is_opposing = !opposing.is_empty();
    warnings.extend(opposing);
    let off_deg = (q_leads_i_deg.abs() - 90.0).abs();
    if off_deg > FARTHEST_FROM_QUADRATURE_DEG && !is_opposing {
        warnings.push(format!(
            "Q leads I by {q_leads_i_deg:.0} deg at the centre of the plan, where 90 or -90 deg is \
             expected: {}check the files of the splitters",
            between_channels(receiver, &splits)
        ));
    }
    if !is_opposing {
        warnings.extend(inverted_channel(receiver, &splits));
    }
    warnings.extend(splits.iter().filter_map(|split| split.half_turn(receiver)));
    for path in paths.iter() {
        warnings.extend(idle_outputs(receiver, path));
    }
    warnings
}

/// Warnings of mixers of a channel whose outputs do not add.
pub(super) fn opposing_mixers(
    receiver: &Receiver,
    paths: LoRf<&JoinedPath>,
    elements: &[Element],
) -> Vec<String> {
    opposing_in_channels(receiver, elements, &splits_of(receiver, paths))
}

fn splits_of(receiver: &Receiver, paths: LoRf<&JoinedPath>) -> Vec<SplitMixers> {
    paths.iter().flat_map(|path| split_mixers(receiver, path)).collect()
}

fn opposing_in_channels(
    receiver: &Receiver,
    elements: &[Element],
    splits: &[SplitMixers],
) -> Vec<String> {
    let channels = [Channel::I, Channel::Q].into_iter();
    channels.filter_map(|channel| opposing_pair(receiver, channel, elements, splits)).collect()
}

/// One channel has fewer mixers than the other.
fn missing_mixer(receiver: &Receiver) -> Option<String> {
    let count = |channel: Channel| {
        receiver.mixers().iter().filter(|mixer| mixer.channel == channel).count()
    };
    let (i, q) = (count(Channel::I), count(Channel::Q));
    (i != q).then(|| {
        format!(
            "channel I has {i} and channel Q has {q} of the mixers: is one missing, or in the \
                 wrong channel?"
        )
    })
}

/// Q is upside down where the baluns of both channels are alike: a sign that only the choice of the
/// combination shows. A description that states the combination has no choice to make.
fn inverted_channel(receiver: &Receiver, splits: &[SplitMixers]) -> Option<String> {
    /// Baluns of one receiver are alike within some tens of degrees.
    const NEAR_INVERSION_DEG: f64 = 120.0;
    if receiver.output().choices.len() < 2 {
        return None;
    }
    let balun = |path: ReceiverPath, channel: Channel| {
        let mut own = splits.iter().filter(|split| {
            split.path == path && split.is_balun() && split.channel(receiver) == Some(channel)
        });
        // With several the sum of their signs is not that of one.
        own.next().filter(|_| own.next().is_none())
    };
    let inverting = ReceiverPath::BOTH.into_iter().filter_map(|path| {
        let is_even = path == ReceiverPath::Lo && receiver.mixing().lo_harmonic() % 2 == 0;
        let (i, q) = (balun(path, Channel::I)?, balun(path, Channel::Q)?);
        let apart_deg = (q.differential(receiver)? / i.differential(receiver)?).arg().to_degrees();
        (apart_deg.abs() > NEAR_INVERSION_DEG && !is_even).then_some((path, i, q))
    });
    let inverting: Vec<_> = inverting.collect();
    // Two inversions cancel.
    let [(path, i, q)] = inverting.as_slice() else { return None };
    Some(format!(
        "channel Q is inverted against channel I on the {path} path, by blocks '{}' and '{}' with the \
         polarity of their mixers, which exchanges the sidebands: check the polarity and the order of \
         the ports; combine = \"i+jq\" or \"i-jq\" states what is meant",
        i.name, q.name
    ))
}

/// Three-ports of which one output leads to mixers and the other to loads alone.
fn idle_outputs(receiver: &Receiver, path: &JoinedPath) -> Vec<String> {
    let trace = SignalTrace::new(receiver, path);
    let idle = path.parts.iter().filter_map(|own| {
        let part = &receiver.parts()[own.part];
        let input = trace.entry(own.part).port;
        let outputs = (0..part.ports.len()).map(Port::from_index).filter(|port| *port != input);
        let is_used = |port: &Port| {
            let from = Terminal { block: own.part, port: *port };
            !mixers_reached(receiver, path.path(), &trace, from).is_empty()
        };
        let (used, idle): (Vec<Port>, Vec<Port>) = outputs.partition(is_used);
        let ([used], [idle]) = (used.as_slice(), idle.as_slice()) else { return None };
        Some(format!(
            "block '{}': mixers stand behind its port {} and none behind its port {} on the {} path: is \
             one missing, or at the wrong port?",
            part.name,
            part.ports[used.index()],
            part.ports[idle.index()],
            path.path()
        ))
    });
    idle.collect()
}

/// Two mixers of a channel whose outputs do not add.
fn opposing_pair(
    receiver: &Receiver,
    channel: Channel,
    elements: &[Element],
    splits: &[SplitMixers],
) -> Option<String> {
    let output = |element: &Element| {
        let outputs = IqOutputs::of(std::slice::from_ref(element), receiver.mixing());
        if channel == Channel::I { outputs.upper.i } else { outputs.upper.q }
    };
    let own: Vec<(usize, Complex64)> = elements
        .iter()
        .enumerate()
        .filter(|(_, element)| element.channel == channel)
        .map(|(at, element)| (at, output(element)))
        .collect();
    let (first, rest) = own.split_first()?;
    let apart_deg = |other: &(usize, Complex64)| wrap_deg((other.1 / first.1).arg().to_degrees());
    let worst =
        rest.iter().max_by(|one, other| apart_deg(one).abs().total_cmp(&apart_deg(other).abs()))?;
    let worst_deg = apart_deg(worst).abs();
    if worst_deg <= WIDEST_APART_DEG {
        return None;
    }
    let name = |at: usize| &receiver.mixers()[at].name;
    let between: Vec<String> = splits
        .iter()
        .filter(|split| split.separates(first.0, worst.0))
        .map(|split| {
            format!("block '{}' ({} path, {} deg)", split.name, split.path, split.shown_deg())
        })
        .collect();
    let between = match between.as_slice() {
        [] => String::new(),
        list => format!("; between them stands {}", list.join(" and ")),
    };
    Some(format!(
        "mixers '{}' and '{}' of channel {} work against each other: their outputs are {worst_deg:.0} \
         deg apart at the centre of the plan{between}: check their polarity and channel, and whether \
         the block's file is that of a balun or of a divider",
        name(first.0),
        name(worst.0),
        channel.name().to_uppercase(),
    ))
}

/// What stands between I and Q, for a sentence.
fn between_channels(receiver: &Receiver, splits: &[SplitMixers]) -> String {
    let list: Vec<String> = splits
        .iter()
        .filter(|split| split.separates_channels(receiver))
        .map(|split| format!("block '{}' gives {} deg", split.name, split.shown_deg()))
        .collect();
    if list.is_empty() { String::new() } else { format!("{}; ", list.join(", ")) }
}

impl SplitMixers {
    /// The phase of the second output in whole degrees, zero without a sign.
    fn shown_deg(&self) -> f64 {
        self.difference_deg.round() + 0.0
    }

    /// Whether two mixers are behind different outputs.
    fn separates(&self, one: usize, other: usize) -> bool {
        let [a, b] = &self.outputs;
        let is_split = |first: usize, second: usize| {
            a.contains(&first) && !b.contains(&first) && b.contains(&second) && !a.contains(&second)
        };
        is_split(one, other) || is_split(other, one)
    }

    /// Whether one output leads to I and the other to Q alone.
    fn separates_channels(&self, receiver: &Receiver) -> bool {
        let [a, b] = &self.outputs;
        let both = (channel_of(receiver, a), channel_of(receiver, b));
        matches!(both, (Some(one), Some(other)) if one != other)
    }

    /// The channel to which both outputs lead.
    fn channel(&self, receiver: &Receiver) -> Option<Channel> {
        let [a, b] = &self.outputs;
        channel_of(receiver, a).filter(|own| channel_of(receiver, b) == Some(*own))
    }

    /// Whether its outputs are about half a turn apart.
    fn is_balun(&self) -> bool {
        180.0 - self.difference_deg.abs() < NEAR_HALF_TURN_DEG
    }

    /// The sum of its outputs with the signs of the mixers behind them.
    fn differential(&self, receiver: &Receiver) -> Option<Complex64> {
        let signed = |at: usize| {
            let mixer = &receiver.mixers()[*self.outputs[at].first()?];
            let wave = self.waves[at] * mixer.gain;
            Some(if mixer.is_subtracted { -wave } else { wave })
        };
        Some(signed(0)? + signed(1)?)
    }

    /// A balun where I and Q are divided.
    fn half_turn(&self, receiver: &Receiver) -> Option<String> {
        let is_told = self.ports == 3 && !self.kind_is_given && self.is_balun();
        (is_told && self.separates_channels(receiver)).then(|| {
            format!(
                "block '{}' gives I and Q signals that are {:.0} deg apart on the {} path: a divider \
                 gives 0 deg; is its file that of a balun? kind = \"{}\" says that it is meant",
                self.name,
                self.difference_deg,
                self.path,
                SplitterKind::Antiphase.name()
            )
        })
    }
}

fn split_mixers(receiver: &Receiver, path: &JoinedPath) -> Vec<SplitMixers> {
    let trace = SignalTrace::new(receiver, path);
    let reached = |part: usize, port: Port| {
        mixers_reached(receiver, path.path(), &trace, Terminal { block: part, port })
    };
    let split = |(splitter, network): (PlacedSplitter, &Network)| {
        let part = splitter.part();
        let [a, b] = splitter.outputs();
        let middle = network.matrix(network.grid().len() / 2);
        let waves = [a, b].map(|output| middle.at(output, splitter.input()));
        SplitMixers {
            path: path.path(),
            name: receiver.parts()[part].name.clone(),
            outputs: [reached(part, a), reached(part, b)],
            difference_deg: wrap_deg((waves[1] * waves[0].conj()).arg().to_degrees()),
            waves,
            kind_is_given: splitter.kind().is_some(),
            ports: network.ports(),
        }
    };
    placed_splitters(receiver, path).into_iter().map(split).collect()
}

/// The channel of all these mixers.
fn channel_of(receiver: &Receiver, mixers: &[usize]) -> Option<Channel> {
    let mut channels = mixers.iter().map(|&at| receiver.mixers()[at].channel);
    let first = channels.next()?;
    channels.all(|own| own == first).then_some(first)
}
