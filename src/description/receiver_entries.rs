//! What a description of a receiver may say beyond blocks, joins and loads.

use super::component_entry::ComponentEntry;
use super::network_entries::{BlockEntry, ComplexValue, LoadEntry};
use serde::Deserialize;
use std::path::PathBuf;
use toml::Spanned;

/// A receiver: RECEIVER.toml.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ReceiverDescription {
    /// What it is.
    pub(super) title: Option<String>,
    /// Where LO power enters.
    pub(super) lo_input: Spanned<String>,
    /// Where RF power enters.
    pub(super) rf_input: Spanned<String>,
    /// Impedance of the LO source; 50 ohms when absent.
    pub(super) lo_source_ohm: Option<Spanned<ComplexValue>>,
    /// Impedance of the RF source; 50 ohms when absent.
    pub(super) rf_source_ohm: Option<Spanned<ComplexValue>>,
    /// How I and Q are put together.
    #[serde(default)]
    pub(super) combine: CombineName,
    /// LO, IF, sideband, multiplication and power.
    pub(super) frequency_plan: FrequencyPlanEntry,
    /// How the elements mix.
    #[serde(default)]
    pub(super) mixing: MixingEntry,
    /// The parts.
    #[serde(default, rename = "block")]
    pub(super) blocks: Vec<BlockEntry>,
    /// `a.x -- b.y`: what meets.
    #[serde(default)]
    pub(super) joins: Vec<Spanned<String>>,
    /// What closes ports.
    #[serde(default, rename = "load")]
    pub(super) loads: Vec<LoadEntry>,
    /// The mixing elements.
    #[serde(default, rename = "mixer")]
    pub(super) mixers: Vec<MixerEntry>,
    /// What lies between the elements and the outputs.
    pub(super) if_path: Option<IfPathEntry>,
    /// What puts I and Q together in hardware.
    pub(super) if_hybrid: Option<IfHybridEntry>,
    /// What Q is multiplied by before I and Q are put together.
    #[serde(default)]
    pub(super) correction: CorrectionEntry,
    /// The circles of reflection over which the rejection is sought.
    #[serde(default)]
    pub(super) load_ring: LoadRingEntry,
    /// What must hold.
    #[serde(default)]
    pub(super) require: RequireEntry,
}

/// How I and Q are put together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
pub(super) enum CombineName {
    /// Whichever rejects the image at the centre of the LO grid.
    #[default]
    #[serde(rename = "auto")]
    Auto,
    /// I + jQ.
    #[serde(rename = "i+jq")]
    IPlusJq,
    /// I - jQ.
    #[serde(rename = "i-jq")]
    IMinusJq,
}

/// The frequencies of a receiver.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FrequencyPlanEntry {
    /// LO at the mixers.
    pub(super) lo_ghz: Spanned<Sweep>,
    /// IF.
    pub(super) if_ghz: Spanned<Sweep>,
    /// Which side of the LO is wanted.
    pub(super) wanted_sideband: SidebandName,
    /// LO at the mixers over LO input; 1 when absent.
    pub(super) lo_multiplication: Option<Spanned<u32>>,
    /// How much of the multiplication comes after the split into branches; 1 when absent.
    pub(super) lo_multiplication_after_split: Option<Spanned<u32>>,
    /// Available from the source at `lo_input`.
    pub(super) lo_power_dbm: Option<Spanned<f64>>,
}

/// Frequencies: a number, a list, or so many points from one to another.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number, a list, or { from = .., to = .., points = .. }")]
pub(super) enum Sweep {
    /// One.
    One(f64),
    /// Several.
    List(Vec<f64>),
    /// Equidistant, both ends included.
    Range(SweepRange),
}

/// Equidistant points.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SweepRange {
    /// The first.
    pub(super) from: f64,
    /// The last.
    pub(super) to: f64,
    /// How many.
    pub(super) points: usize,
}

/// Which side of the LO is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum SidebandName {
    /// RF = LO + IF.
    Upper,
    /// RF = LO - IF.
    Lower,
}

/// How the elements mix.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MixingEntry {
    /// Conversion gain ~ |LO|^a; 1 when absent.
    pub(super) lo_amplitude_exponent: Option<Spanned<f64>>,
    /// RF = n LO +/- IF; 1 when absent.
    pub(super) lo_harmonic: Option<Spanned<u32>>,
}

/// A mixing element.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MixerEntry {
    /// Its name.
    pub(super) name: Spanned<String>,
    /// The output it feeds.
    pub(super) channel: ChannelName,
    /// Whether its output is added or subtracted; added when absent.
    #[serde(default)]
    pub(super) polarity: PolarityName,
    /// Where its LO voltage is.
    pub(super) lo: Spanned<String>,
    /// Where its RF voltage is.
    pub(super) rf: Spanned<String>,
    /// Its own relative conversion gain; 1 when absent.
    pub(super) gain: Option<Spanned<ComplexValue>>,
}

/// The output that an element feeds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum ChannelName {
    /// In phase.
    I,
    /// In quadrature.
    Q,
}

/// Whether an element's output is added or subtracted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
pub(super) enum PolarityName {
    /// Added.
    #[default]
    #[serde(rename = "+")]
    Plus,
    /// Subtracted.
    #[serde(rename = "-")]
    Minus,
}

/// Two-ports from the elements to the outputs.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct IfPathEntry {
    /// That of I.
    pub(super) i: Option<Spanned<PathBuf>>,
    /// That of Q.
    pub(super) q: Option<Spanned<PathBuf>>,
}

/// A hybrid that puts I and Q together.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct IfHybridEntry {
    /// Its Touchstone file.
    pub(super) file: Option<Spanned<PathBuf>>,
    /// Or what it is.
    pub(super) component: Option<Spanned<ComponentEntry>>,
    /// The port that I enters.
    pub(super) i: Spanned<usize>,
    /// The port that Q enters.
    pub(super) q: Spanned<usize>,
    /// The port that the wanted sideband leaves by, or several to choose from.
    pub(super) output: Spanned<PortChoice>,
}

/// A port, or several to choose from.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a port number or a list of them")]
pub(super) enum PortChoice {
    /// This one.
    One(usize),
    /// Whichever rejects the image at the centre of the LO grid.
    AnyOf(Vec<usize>),
}

/// What Q is multiplied by, and the steps in which trims come.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CorrectionEntry {
    /// Gain of Q.
    pub(super) amplitude_db: Option<Spanned<f64>>,
    /// Phase of Q.
    pub(super) phase_deg: Option<Spanned<f64>>,
    /// Step of a trim's gain; 0.1 dB when absent.
    pub(super) amplitude_step_db: Option<Spanned<f64>>,
    /// Step of a trim's phase; 0.5 degrees when absent.
    pub(super) phase_step_deg: Option<Spanned<f64>>,
}

/// Magnitudes of reflection; those of the loads themselves when absent.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LoadRingEntry {
    /// At the elements' LO ports.
    pub(super) mixer_reflection: Option<Spanned<f64>>,
    /// At the other loads of the LO side, the isolated ports.
    pub(super) isolated_reflection: Option<Spanned<f64>>,
}

/// What must hold over the whole plan.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RequireEntry {
    /// At least.
    pub(super) image_rejection_db: Option<Spanned<f64>>,
    /// At most, either way.
    pub(super) amplitude_imbalance_db: Option<Spanned<f64>>,
    /// At most, either way.
    pub(super) quadrature_error_deg: Option<Spanned<f64>>,
    /// At least, at every element.
    pub(super) lo_power_dbm_min: Option<Spanned<f64>>,
}
