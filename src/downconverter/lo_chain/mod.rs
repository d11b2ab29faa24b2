//! Stages of an LO chain as plain physics: levels, tones, phase noise, and the window of input power.
//!
//! All tones of a chain are at multiples of one frequency. One of them is the carrier; the others are
//! small against it and pass each stage by the sideband rule. Nothing here knows a receiver.
//!
//! | file | subject |
//! |---|---|
//! | `stage_law` | amplifier and multiplier: output level, slope, lines at other orders |
//! | `tone_set` | a carrier with its tones, and how a stage changes them |
//! | `phase_noise` | source phase noise and floors carried to the end |
//! | `power_window` | the input powers that keep limits |

mod phase_noise;
mod power_window;
mod stage_law;
mod tone_set;

pub use phase_noise::{NoiseStage, phase_noise_dbc_hz};
pub use power_window::{PowerWindow, power_window};
pub use stage_law::{
    ActiveStage, AmplifierSettings, MultiplierSettings, OperatingPoint, StageLine,
};
pub use tone_set::{Carrier, Filtered, Multiplied, ToneSet, sidebands};
