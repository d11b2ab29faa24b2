//! Bands and harmonics of a receiver: arithmetic on frequency ranges.
//!
//! Upper sideband: RF = LO + IF, image = LO - IF; lower: the reverse. The LO at the mixers is N
//! times the LO input, with N times its phase error and 20 log10 N dB more phase noise.

use super::error::PlanError;
use crate::units::{MAX_GHZ, ShownFrequency, db_from_amplitude, shown_band};
use std::fmt;

/// The wanted sideband.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sideband {
    /// RF = LO + IF.
    Upper,
    /// RF = LO - IF.
    Lower,
}

impl Sideband {
    /// The other sideband.
    pub fn opposite(self) -> Self {
        match self {
            Self::Upper => Self::Lower,
            Self::Lower => Self::Upper,
        }
    }
}

impl fmt::Display for Sideband {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Upper => "upper",
            Self::Lower => "lower",
        })
    }
}

/// A range of frequencies, Hz: low and high.
pub type Band = (f64, f64);

/// The settings of a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanSettings {
    /// The RF band, Hz.
    pub rf_hz: Band,
    /// The IF band, Hz.
    pub if_hz: Band,
    /// N: ratio of the LO at the mixers to the LO input.
    pub multiplication: u32,
}

/// The band into which a harmonic falls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Victim {
    /// The wanted RF band.
    Rf,
    /// The image band.
    Image,
    /// The IF band.
    If,
}

impl fmt::Display for Victim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Rf => "RF",
            Self::Image => "image",
            Self::If => "IF",
        })
    }
}

/// A harmonic of the LO input that falls into a band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HarmonicHit {
    /// Order of the harmonic; order N is the LO.
    pub harmonic: u32,
    /// The band it falls into.
    pub victim: Victim,
    /// The part of that band that the harmonic covers, Hz.
    pub overlap_hz: Band,
    /// The range of LO inputs for which it is in the band, Hz.
    pub lo_input_hz: Band,
}

/// The plan for one choice of sideband.
#[derive(Clone, Debug, PartialEq)]
pub struct SidebandPlan {
    /// The wanted sideband.
    pub sideband: Sideband,
    /// The RF band, Hz.
    pub rf_hz: Band,
    /// All LOs that convert a part of the RF band into the IF band, Hz.
    pub lo_hz: Band,
    /// The range of these LOs at the LO input, Hz.
    pub lo_input_hz: Band,
    /// The image band, Hz.
    pub image_hz: Band,
    /// Harmonics of the LO input in RF, image and IF bands: at most [`MOST_HARMONICS`] entries.
    pub harmonics: Vec<HarmonicHit>,
    /// The maximum harmonic that was examined, if higher ones may reach the bands too.
    pub harmonics_cut_after: Option<u32>,
}

/// A frequency plan.
#[derive(Clone, Debug, PartialEq)]
pub struct FrequencyPlan {
    /// The settings of the plan.
    pub settings: PlanSettings,
    /// Phase noise of the LO relative to that of its input, dB.
    pub phase_noise_rise_db: f64,
    /// The upper, then the lower sideband. A sideband that would need an LO at or below zero is
    /// omitted.
    pub sidebands: Vec<SidebandPlan>,
    /// Notes for the user about the IF relative to the LO.
    pub notes: Vec<String>,
}

/// Maximum number of entries in a list of harmonics. An LO input near 0 Hz has an unlimited number
/// of harmonics in every band.
pub const MOST_HARMONICS: usize = 1000;
/// Maximum harmonic that is examined, above the maximum multiplication times mixing harmonic.
const MAX_HARMONIC: u32 = 2_000_000;
/// The bands that a harmonic may reach: RF, image and IF.
const VICTIMS: usize = 3;

/// Maximum multiplication or harmonic; LO chains stay far below it.
const MAX_FACTOR: u32 = 1000;

/// Checks that a multiplication or harmonic is within its range.
pub(super) fn check_factor(name: &'static str, found: u32) -> Result<(), PlanError> {
    if (1..=MAX_FACTOR).contains(&found) { Ok(()) } else { Err(PlanError::Factor { name, found }) }
}

/// Checks that a frequency is not in the wrong unit.
pub(super) fn check_unit(what: &'static str, found_hz: f64) -> Result<(), PlanError> {
    if found_hz > MAX_GHZ * 1e9 { Err(PlanError::BeyondRange { what, found_hz }) } else { Ok(()) }
}

/// Refuses a band without an order, and one that is meant in another unit.
pub(super) fn check_band(what: &'static str, (low_hz, high_hz): Band) -> Result<(), PlanError> {
    if low_hz > 0.0 && low_hz <= high_hz && high_hz.is_finite() {
        check_unit(what, high_hz)
    } else {
        Err(PlanError::Band { what, low_hz, high_hz })
    }
}

/// Makes a plan.
///
/// # Errors
/// [`PlanError`].
///
/// # Examples
/// ```
/// use fourphase::downconverter::{PlanSettings, frequency_plan};
///
/// let plan = frequency_plan(&PlanSettings { rf_hz: (27e9, 31e9), if_hz: (0.5e9, 1.5e9), multiplication: 4 })?;
/// assert_eq!(plan.sidebands[0].lo_hz, (25.5e9, 30.5e9));
/// assert_eq!(plan.sidebands[0].lo_input_hz, (6.375e9, 7.625e9));
/// # Ok::<(), fourphase::downconverter::PlanError>(())
/// ```
pub fn frequency_plan(settings: &PlanSettings) -> Result<FrequencyPlan, PlanError> {
    for (what, (low, high)) in [("RF", settings.rf_hz), ("IF", settings.if_hz)] {
        check_band(what, (low, high))?;
    }
    check_factor("multiplication", settings.multiplication)?;
    let plans =
        [Sideband::Upper, Sideband::Lower].map(|sideband| sideband_plan(settings, sideband));
    let notes = plans.iter().filter_map(|plan| note(plan, settings.if_hz)).collect();
    Ok(FrequencyPlan {
        settings: *settings,
        phase_noise_rise_db: phase_noise_rise_db(settings.multiplication),
        sidebands: plans.into_iter().filter(|plan| plan.lo_hz.0 > 0.0).collect(),
        notes,
    })
}

/// What is unusual about the LO of a sideband.
fn note(plan: &SidebandPlan, if_hz: Band) -> Option<String> {
    let sideband = plan.sideband;
    if plan.lo_hz.0 <= 0.0 {
        return Some(format!(
            "the {sideband} sideband is omitted: with an IF up to {} its LO would be at 0 Hz or below",
            ShownFrequency(if_hz.1)
        ));
    }
    (if_hz.1 > plan.lo_hz.0).then(|| {
        format!(
            "for the {sideband} sideband the IF, {}, is above the minimum LO, {}; check that IF \
             and RF are not exchanged",
            shown_band(if_hz),
            ShownFrequency(plan.lo_hz.0)
        )
    })
}

fn sideband_plan(settings: &PlanSettings, sideband: Sideband) -> SidebandPlan {
    let ((rf_low, rf_high), (if_low, if_high)) = (settings.rf_hz, settings.if_hz);
    let (lo_hz, image_hz) = match sideband {
        Sideband::Upper => {
            ((rf_low - if_high, rf_high - if_low), (rf_low - 2.0 * if_high, rf_high - 2.0 * if_low))
        }
        Sideband::Lower => {
            ((rf_low + if_low, rf_high + if_high), (rf_low + 2.0 * if_low, rf_high + 2.0 * if_high))
        }
    };
    // A negative frequency is received as the positive one: LO and image then add up to the IF.
    let image_hz = match image_hz {
        (low, high) if low >= 0.0 => (low, high),
        (low, high) if high > 0.0 => (0.0, high.max(-low)),
        (low, high) => (-high, -low),
    };
    with_harmonics(sideband, [settings.rf_hz, lo_hz, image_hz], settings)
}

/// The bands that a receiver's checked plan sweeps, Hz.
pub(super) struct SweptBands {
    pub(super) lo_hz: Band,
    pub(super) if_hz: Band,
    /// n LO + IF.
    pub(super) upper_hz: Band,
    /// n LO - IF.
    pub(super) lower_hz: Band,
}

/// The plan of a receiver, for both sidebands.
pub(super) fn plan_of_bands(
    bands: &SweptBands,
    multiplication: u32,
    wanted: Sideband,
) -> FrequencyPlan {
    let &SweptBands { lo_hz, if_hz, upper_hz, lower_hz } = bands;
    let rf_hz = match wanted {
        Sideband::Upper => upper_hz,
        Sideband::Lower => lower_hz,
    };
    let settings = PlanSettings { rf_hz, if_hz, multiplication };
    FrequencyPlan {
        settings,
        phase_noise_rise_db: phase_noise_rise_db(multiplication),
        sidebands: vec![
            with_harmonics(Sideband::Upper, [upper_hz, lo_hz, lower_hz], &settings),
            with_harmonics(Sideband::Lower, [lower_hz, lo_hz, upper_hz], &settings),
        ],
        notes: Vec::new(),
    }
}

/// Phase noise of an LO relative to that of its input, dB: 20 log10 of the multiplication.
fn phase_noise_rise_db(multiplication: u32) -> f64 {
    db_from_amplitude(f64::from(multiplication))
}

/// The bands of one sideband, and the harmonics of the LO input in them.
fn with_harmonics(
    sideband: Sideband,
    [rf_hz, lo_hz, image_hz]: [Band; 3],
    settings: &PlanSettings,
) -> SidebandPlan {
    let times = f64::from(settings.multiplication);
    let lo_input_hz = (lo_hz.0 / times, lo_hz.1 / times);
    let highest = rf_hz.1.max(image_hz.1);
    let mut harmonics = Vec::new();
    let mut harmonics_cut_after = None;
    for harmonic in 1..=MAX_HARMONIC {
        let number = f64::from(harmonic);
        let swept = (number * lo_input_hz.0, number * lo_input_hz.1);
        if lo_input_hz.0 <= 0.0 || swept.0 > highest {
            break;
        }
        if harmonic == MAX_HARMONIC || harmonics.len() + VICTIMS > MOST_HARMONICS {
            harmonics_cut_after = Some(harmonic - 1);
            break;
        }
        for (victim, band) in
            [(Victim::Rf, rf_hz), (Victim::Image, image_hz), (Victim::If, settings.if_hz)]
        {
            let overlap_hz = (swept.0.max(band.0), swept.1.min(band.1));
            if overlap_hz.0 <= overlap_hz.1 {
                let lo_input_hz = (overlap_hz.0 / number, overlap_hz.1 / number);
                harmonics.push(HarmonicHit { harmonic, victim, overlap_hz, lo_input_hz });
            }
        }
    }
    SidebandPlan { sideband, rf_hz, lo_hz, lo_input_hz, image_hz, harmonics, harmonics_cut_after }
}
