//! What drives the LO network: plain values of the source, of the stages before the network, and of
//! the stages inside it.

use super::lo_chain::ActiveStage;
use super::part_model::PartModel;

/// A source and the stages from it to the LO input.
#[derive(Clone, Debug)]
pub struct LoChainSetup {
    /// The source.
    pub source: LoSource,
    /// In the order of the signal.
    pub stages: Vec<LoStage>,
}

/// The source of an LO chain.
#[derive(Clone, Debug, PartialEq)]
pub struct LoSource {
    /// The power available from it, dBm, -200 to 200.
    pub power_dbm: f64,
    /// What else it gives.
    pub tones: Vec<SourceTone>,
    /// Its phase noise: offset in Hz, above 0 and ascending, and dBc/Hz.
    pub phase_noise: Vec<(f64, f64)>,
}

/// A tone of a source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SourceTone {
    /// Its frequency over that of the source: above 0, other than 1, a whole number of parts of 1 to
    /// 1/12.
    pub multiple: f64,
    /// Its level against the source's carrier, dB.
    pub dbc: f64,
    /// Its phase against the source's carrier, degrees.
    pub phase_deg: f64,
}

/// A stage before the LO network.
#[derive(Clone, Debug)]
pub struct LoStage {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: LoStageKind,
    /// The drive that it needs and bears.
    pub drive: DriveLimits,
}

/// What a stage before the LO network is.
#[derive(Clone, Debug)]
pub enum LoStageKind {
    /// An amplifier or a multiplier.
    Active(ActiveStage),
    /// A two-port, from its first port to its second; neighbouring two-ports are cascaded.
    TwoPort(PartModel),
}

impl LoStageKind {
    /// What it multiplies the carrier by.
    pub(super) fn order(&self) -> u32 {
        match self {
            Self::Active(stage) => stage.order(),
            Self::TwoPort(_) => 1,
        }
    }
}

/// The drive that a stage needs and bears, dBm at its input.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DriveLimits {
    /// The lowest that it needs.
    pub min_dbm: Option<f64>,
    /// The highest that it bears.
    pub max_dbm: Option<f64>,
}

impl DriveLimits {
    /// How far a drive is inside both limits, dB: negative outside; `None` without a limit.
    #[must_use]
    pub fn margin_db(&self, drive_dbm: f64) -> Option<f64> {
        let above = self.min_dbm.map(|min_dbm| drive_dbm - min_dbm);
        let below = self.max_dbm.map(|max_dbm| max_dbm - drive_dbm);
        above.into_iter().chain(below).reduce(f64::min)
    }
}

/// An amplifier or multiplier inside the LO network: a block of two ports, unilateral.
#[derive(Clone, Debug, PartialEq)]
pub struct StagePart {
    /// Its law.
    pub law: ActiveStage,
    /// The resistance of its input, ohm; above 0.
    pub input_ohm: f64,
    /// The resistance of its output, ohm; above 0.
    pub output_ohm: f64,
    /// The drive that it needs and bears.
    pub drive: DriveLimits,
}
