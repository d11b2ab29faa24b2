//! What is known of an LO chain: levels and tones stage by stage, tones at the mixers, spurious
//! responses, phase noise, and the input powers that keep all limits.

use super::frequency_plan::Sideband;
use super::lo_chain::PowerWindow;
use super::lo_drive_setup::DriveLimits;
use crate::units::db_from_amplitude;
use num_complex::Complex64;

/// The LO chain of a receiver over its plan.
#[derive(Clone, Debug, PartialEq)]
pub struct LoChainResult {
    /// The power available from the source, dBm.
    pub source_dbm: f64,
    /// The stages in the order of the signal: those before the LO input, then those inside the network.
    pub stages: Vec<StageResult>,
    /// Tones beside the LO at the mixers: LO after LO, multiples ascending.
    pub tones_at_mixers: Vec<MixerTone>,
    /// RF that these tones bring to the IF: LO after LO, IF after IF, multiples ascending, of each the
    /// lower sideband first; none for switched mixers, of which they are not computed.
    pub spurious_responses: Vec<SpuriousResponse>,
    /// How many lines of tones lie, with their RF, outside the data of the RF path.
    pub responses_outside_data: usize,
    /// Tones that could not be followed.
    pub left_out: Vec<LeftOutTone>,
    /// Phase noise at the mixers, that of the noisiest: offset in Hz and dBc/Hz; `None` where that of
    /// the source is not given.
    pub phase_noise_at_mixers: Option<Vec<(f64, f64)>>,
    /// The source powers that keep the limits on LO power and the drive of every stage.
    pub input_window: PowerWindow,
    /// The LO power at the weakest and the strongest mixer over source power, where mixers have loads.
    pub power_curve: Vec<PowerPoint>,
    /// The stages that are driven outside their limits.
    pub outside_drive: Vec<OutsideDrive>,
}

/// A stage over the LOs of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct StageResult {
    /// Its name.
    pub name: String,
    /// Whether it is inside the LO network, after the LO input.
    pub is_inside: bool,
    /// What it multiplies the carrier by; `None` for a two-port.
    pub order: Option<u32>,
    /// Its saturated output power, dBm; `None` for a two-port.
    pub saturated_dbm: Option<f64>,
    /// The drive that it needs and bears.
    pub drive_limits: DriveLimits,
    /// For each LO.
    pub points: Vec<StagePoint>,
    /// Tones at its output against the carrier there: LO after LO, multiples ascending.
    pub tones: Vec<StageTone>,
}

/// A stage at one LO.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StagePoint {
    /// The carrier at the output, Hz.
    pub carrier_hz: f64,
    /// Available at the input, dBm.
    pub drive_dbm: f64,
    /// Available at the output, dBm.
    pub carrier_dbm: f64,
    /// dB per dB; 1 for a two-port.
    pub slope: f64,
}

impl StagePoint {
    /// Output over input, dB.
    #[must_use]
    pub fn gain_db(&self) -> f64 {
        self.carrier_dbm - self.drive_dbm
    }
}

impl StageResult {
    /// The smallest distance of the drive from its limits over the plan, dB: negative outside.
    #[must_use]
    pub fn drive_margin_db(&self) -> Option<f64> {
        let margins =
            self.points.iter().filter_map(|point| self.drive_limits.margin_db(point.drive_dbm));
        margins.reduce(f64::min)
    }
}

/// A tone at the output of a stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageTone {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// Its frequency over that of the source.
    pub multiple: f64,
    /// Against the carrier at the same place, dB.
    pub dbc: f64,
}

/// A tone beside the LO at the mixers.
#[derive(Clone, Debug, PartialEq)]
pub struct MixerTone {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// Its frequency over that of the source.
    pub multiple: f64,
    /// Hz.
    pub frequency_hz: f64,
    /// The voltage at each mixer over that of the LO, dB.
    pub dbc_by_mixer: Vec<f64>,
    /// The available wave at the LO input over that of the carrier there, dB; `None` for a tone that a
    /// stage inside the network makes.
    pub dbc_at_lo_input: Option<f64>,
}

impl MixerTone {
    /// At the mixer where it is strongest, dB.
    #[must_use]
    pub fn dbc(&self) -> f64 {
        self.dbc_by_mixer.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }
}

/// RF that a tone beside the LO brings to the IF.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpuriousResponse {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// The line beside the LO that does it: its frequency over that of the source.
    pub multiple: f64,
    /// On which side of the line the RF is.
    pub sideband: Sideband,
    /// RF, Hz.
    pub rf_hz: f64,
    /// The combined output over that of the wanted RF at the same available power.
    pub relative: Complex64,
    /// Whether the RF is within the RF band of the plan, without one within its wanted RF.
    pub is_in_rf_band: bool,
    /// Whether the RF is within the band in which spurious responses are limited.
    pub is_judged: bool,
}

impl SpuriousResponse {
    /// Against the wanted response, dB.
    #[must_use]
    pub fn relative_db(&self) -> f64 {
        db_from_amplitude(self.relative.norm())
    }
}

/// A tone that could not be followed.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOutTone {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// The two-port stage without data there, or from where the network without data is driven:
    /// `lo_input` or a stage.
    pub place: String,
    /// Its frequency over that of the source.
    pub multiple: f64,
}

/// A stage that is driven outside its limits.
#[derive(Clone, Debug, PartialEq)]
pub struct OutsideDrive {
    /// The stage.
    pub stage: String,
    /// How it is driven, in words.
    pub text: String,
}

/// LO power at the mixers for one source power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerPoint {
    /// Source power, dBm.
    pub source_dbm: f64,
    /// At the weakest mixer over all LOs, dBm.
    pub weakest_dbm: f64,
    /// At the strongest mixer over all LOs, dBm.
    pub strongest_dbm: f64,
}

impl LoChainResult {
    /// The strongest tone at a mixer, over all LOs.
    #[must_use]
    pub fn strongest_tone(&self) -> Option<&MixerTone> {
        self.tones_at_mixers.iter().max_by(|one, other| one.dbc().total_cmp(&other.dbc()))
    }

    /// The strongest of the spurious responses that are limited.
    #[must_use]
    pub fn worst_response(&self) -> Option<&SpuriousResponse> {
        let judged = self.spurious_responses.iter().filter(|response| response.is_judged);
        judged.max_by(|one, other| one.relative.norm().total_cmp(&other.relative.norm()))
    }
}
