//! A receiver ready to be solved: its parts at the frequencies of the plan, and what meets what.

use super::iq_balance::{Channel, Mixing};
use super::{Combination, Sideband};
use crate::network::{FrequencyGrid, Network, Terminal};
use crate::requirement::Limits;
use crate::splitter::SplitterKind;
use num_complex::Complex64;

/// The two ways into a receiver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// From the LO source.
    Lo,
    /// From the RF port.
    Rf,
}

impl Way {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Lo, Self::Rf];

    pub(crate) fn index(self) -> usize {
        match self {
            Self::Lo => 0,
            Self::Rf => 1,
        }
    }
}

/// A network at the frequencies of each way on which it lies.
#[derive(Clone, Debug, Default)]
pub struct OnWays(pub(crate) [Option<Network>; 2]);

impl OnWays {
    /// At the frequencies of one way; `None` where that way does not reach it.
    #[must_use]
    pub fn of(&self, way: Way) -> Option<&Network> {
        self.0[way.index()].as_ref()
    }
}

/// What a part is made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartKind {
    /// Two outputs.
    Splitter(SplitterKind),
    /// One output.
    Line,
}

/// A part of a receiver.
#[derive(Clone, Debug)]
pub struct ReceiverPart {
    /// Its name.
    pub name: String,
    /// Names of its ports.
    pub ports: Vec<String>,
    /// What it is made for, where the description says so.
    pub kind: Option<PartKind>,
    /// The phase between two outputs that it is made for, where the description says so.
    pub nominal_deg: Option<f64>,
    /// Parts with the same word here stand in corresponding places of the I and Q branch.
    pub pair: Option<String>,
    /// Its network.
    pub network: OnWays,
}

/// What closes a port.
#[derive(Clone, Debug)]
pub struct ReceiverLoad {
    /// Which port.
    pub at: Terminal,
    /// The one-port.
    pub network: OnWays,
}

/// A mixing element.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixer {
    /// Its name.
    pub name: String,
    /// The output it feeds.
    pub channel: Channel,
    /// Whether its output is subtracted.
    pub is_subtracted: bool,
    /// Where its LO voltage is.
    pub lo: Terminal,
    /// Where its RF voltage is.
    pub rf: Terminal,
    /// Its own relative conversion gain.
    pub gain: Complex64,
}

impl Mixer {
    pub(super) fn terminal(&self, way: Way) -> Terminal {
        match way {
            Way::Lo => self.lo,
            Way::Rf => self.rf,
        }
    }
}

/// Where power enters.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerInput {
    /// The port.
    pub at: Terminal,
    /// Impedance of the source.
    pub source_ohm: Complex64,
    /// The frequencies at which this way is solved.
    pub grid: FrequencyGrid,
}

/// The frequencies of a receiver.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceiverPlan {
    /// LO at the mixers, Hz, ascending.
    pub lo_hz: Vec<f64>,
    /// IF, Hz, ascending.
    pub if_hz: Vec<f64>,
    /// Which side of the LO is wanted.
    pub wanted: Sideband,
    /// LO at the mixers over LO input.
    pub lo_multiplication: u32,
    /// How much of it comes after the split: the LO parts work at LO over this.
    pub lo_multiplication_after_split: u32,
    /// n in RF = n LO ± IF.
    pub lo_harmonic: u32,
    /// Available from the LO source, dBm.
    pub lo_power_dbm: Option<f64>,
    /// For each LO, and for each IF within: the points of the RF grid of the upper and the lower
    /// sideband.
    pub(crate) rf_points: Vec<[usize; 2]>,
}

impl ReceiverPlan {
    /// LO input at a point, Hz.
    #[must_use]
    pub fn lo_input_hz(&self, lo_hz: f64) -> f64 {
        lo_hz / f64::from(self.lo_multiplication)
    }

    /// The middle of the LO grid.
    #[must_use]
    pub fn centre(&self) -> usize {
        let middle_hz = 0.5 * (self.lo_hz[0] + self.lo_hz[self.lo_hz.len() - 1]);
        let distance = |at: &usize| (self.lo_hz[*at] - middle_hz).abs();
        (0..self.lo_hz.len())
            .min_by(|one, other| distance(one).total_cmp(&distance(other)))
            .unwrap_or(0)
    }

    pub(super) fn rf_point(&self, lo: usize, intermediate: usize, sideband: Sideband) -> usize {
        let pair = self.rf_points[lo * self.if_hz.len() + intermediate];
        match sideband {
            Sideband::Upper => pair[0],
            Sideband::Lower => pair[1],
        }
    }
}

/// A way to put I and Q together.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputChoice {
    /// `I + jQ`, `I - jQ`, or the port of the IF hybrid.
    pub name: String,
    /// What I and Q are multiplied by at each IF, without the correction.
    pub transfers: Vec<Combination>,
}

/// What lies behind the elements.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputStage {
    /// The ways to put I and Q together; one is chosen for the whole plan.
    pub choices: Vec<OutputChoice>,
    /// The same without IF path and with an ideal hybrid.
    pub ideal_choices: Vec<OutputChoice>,
    /// What Q is multiplied by.
    pub correction: Complex64,
    /// Whether there is an IF path or hybrid.
    pub has_if_parts: bool,
    /// The IF path of Q over that of I at the first IF.
    pub path_ratio: Complex64,
}

/// The steps in which trims come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrimSteps {
    /// Gain, dB.
    pub amplitude_db: f64,
    /// Phase, degrees.
    pub phase_deg: f64,
}

/// Magnitudes of reflection over whose circles the rejection is sought; those of the loads at the
/// centre of the LO grid where absent.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RingSettings {
    /// At the elements' LO ports.
    pub mixer_reflection: Option<f64>,
    /// At the other loads of the LO side.
    pub isolated_reflection: Option<f64>,
}

/// A receiver ready to be solved.
#[derive(Clone, Debug)]
pub struct Receiver {
    /// What it is.
    pub title: String,
    /// The parts.
    pub parts: Vec<ReceiverPart>,
    /// The ports that meet.
    pub joins: Vec<Vec<Terminal>>,
    /// Each join as written.
    pub join_texts: Vec<String>,
    /// What closes ports.
    pub loads: Vec<ReceiverLoad>,
    /// The mixing elements.
    pub mixers: Vec<Mixer>,
    /// Where LO and RF power enter.
    pub inputs: [PowerInput; 2],
    /// The frequencies.
    pub plan: ReceiverPlan,
    /// How the elements mix; the harmonic counts the multiplication after the split too.
    pub mixing: Mixing,
    /// What lies behind the elements.
    pub output: OutputStage,
    /// The steps in which trims come.
    pub trim_steps: TrimSteps,
    /// Circles of reflection.
    pub ring: RingSettings,
    /// The limits that it must keep over the whole plan.
    pub limits: Limits,
}

impl Receiver {
    /// Where power of one way enters.
    #[must_use]
    pub fn input(&self, way: Way) -> &PowerInput {
        &self.inputs[way.index()]
    }

    /// `BLOCK.PORT`.
    #[must_use]
    pub fn port_name(&self, terminal: Terminal) -> String {
        let part = &self.parts[terminal.block];
        format!("{}.{}", part.name, part.ports[terminal.port.index()])
    }

    /// Whether any block has been given a network for this way.
    pub(super) fn parts_on(&self, way: Way) -> impl Iterator<Item = usize> {
        (0..self.parts.len()).filter(move |&part| self.parts[part].network.of(way).is_some())
    }
}

/// Which of so many parts a way reaches from its input.
pub(crate) fn reached(parts: usize, joins: &[Vec<Terminal>], input: Terminal) -> Vec<bool> {
    let mut is_reached = vec![false; parts];
    let mut open = vec![input.block];
    while let Some(part) = open.pop() {
        if std::mem::replace(&mut is_reached[part], true) {
            continue;
        }
        let touching = joins.iter().filter(|node| node.iter().any(|end| end.block == part));
        open.extend(touching.flatten().map(|end| end.block));
    }
    is_reached
}
