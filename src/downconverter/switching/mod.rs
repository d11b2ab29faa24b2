//! Mixing elements as switches: conductances that the LO varies, with everything that they load.
//!
//! A [`SwitchedMixer`] says which elements join which nodes, [`SidebandData`] what stands around them at
//! every sideband f_IF + k f_LO; a [`ConversionSolver`] gives conversion, impedances, noise, LO leakage
//! and offsets of one point after the other.
//!
//! | file | subject |
//! |---|---|
//! | `switch` | the conductance of one element over a period of the LO |
//! | `conductance_waveform` | those of all elements together |
//! | `switched_mixer` | elements, nodes, and what stands around them |
//! | `fixed_sideband` | what the elements meet at one sideband |
//! | `beyond_resistance` | in what the nodes end beyond the sidebands that are kept |
//! | `sideband_conversion` | the linear time-varying solution |
//! | `conversion_noise` | noise of the combined output |
//! | `lo_leakage` | LO out of the RF port, DC offsets |

mod beyond_resistance;
mod conductance_waveform;
mod conversion_noise;
mod fixed_sideband;
mod lo_leakage;
mod sideband_conversion;
mod switch;
mod switched_mixer;

pub use conversion_noise::{NoiseShares, OutputWeights};
pub use lo_leakage::LoLeakage;
pub use sideband_conversion::{BeyondSidebands, ConversionSolver, RfResponse};
pub use switch::{Switch, SwitchSettings};
pub use switched_mixer::{
    IF_LOAD_REFERENCE_OHM, IfNode, SidebandData, SwitchedElement, SwitchedMixer,
    SwitchedMixerSettings,
};
