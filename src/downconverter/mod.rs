//! The receiver: its frequencies, its LO and RF paths, its balance and image rejection.
//!
//! A [`ReceiverSetup`] of plain values becomes a checked [`Receiver`]; [`analyse_receiver`] solves it
//! over its [`ReceiverPlan`] and gives a [`DownconverterResult`].
//!
//! | file | subject |
//! |---|---|
//! | `frequency_plan` | bands of LO and image, harmonics of the LO input |
//! | `stage_leakage` | what leaks through the stages of an LO chain, and where it lands |
//! | `signal_path` | LO path and RF path, and one value for each |
//! | `mixer_agreement` | whether mixers and the splitters before them work together |
//! | `lo_if_plan` | the frequencies at which a receiver is solved |
//! | `receiver_setup`, `receiver`, `receiver_lo`, `receiver_places` | what makes a receiver; the checked receiver, its LO, its places |
//! | `if_output` | IF paths, and the combination of I and Q |
//! | `joined_path`, `gathered_path` | a path joined and terminated: voltages at the mixers; with parts that change |
//! | `iq_balance` | I and Q from those voltages, and the rejection |
//! | `solution` | the same over a whole plan |
//! | `switching/` | mixers as switches: conversion, noise, LO leakage |
//! | `switching_setup`, `switched_nodes` | a receiver's switches: settings, nodes, data at any frequency |
//! | `sideband_store`, `sideband_path`, `switched_outputs` | their sidebands, the RF path on them; I and Q |
//! | `sideband_convergence` | how many sidebands they need |
//! | `used_network` | the network of a part at all frequencies at which it acts |
//! | `switched_mechanisms` | I and Q without what acts through several parts |
//! | `switched_figures`, `switched_result`, `switched_warnings` | conversion loss and noise figure; their results over a plan, and what to check |
//! | `drive` | LO and RF at each mixer: phase, magnitude, power |
//! | `path_noise` | loss and noise of the RF paths |
//! | `signal_trace` | the input port of the signal in each part |
//! | `compared_path` | a path with any of its parts, loads and sources ideal |
//! | `ideal_part`, `budget` | the role and the ideal of each part; the error budget |
//! | `allocation` | the error that each part may have |
//! | `q_correction` | a correction of Q as it is set, and the point where it acts |
//! | `correction_weight`, `iq_correction` | complex weights on Q; the best one, continuous or quantised |
//! | `correction_plan` | corrections of a plan: one for all, per LO, per LO and IF |
//! | `reflection_sweep`, `swept_path` | load reflections of all phases |
//! | `plan_figures` | figures of a result over its whole plan |
//! | `receiver_compliance` | worst values against the limits, and the LOs that pass |
//! | `analysis` | the whole analysis |
//! | `spurious_response` | RF that tones beside the LO bring in |
//! | `lo_chain` | stages as plain physics: levels, tones, phase noise, window of input power |
//! | `lo_drive_setup`, `lo_side` | what drives the LO network; its pieces and chain in a receiver |
//! | `lo_pieces`, `driven_path` | the LO network in pieces between stages; driven by them |
//! | `plan_chain`, `mixer_tones` | tones up to the LO input, and through the network to the mixers |
//! | `part_model` | what a part is made from, at any frequency |
//! | `lo_chain_analysis`, `lo_chain_result` | the whole analysis of the chain, and what it gives |
//! | `variation`, `die_receiver` | a receiver with other networks at some places; the same on many
//! dies |

mod allocation;
mod analysis;
mod budget;
mod compared_path;
mod correction_plan;
mod correction_weight;
mod die_receiver;
mod drive;
mod driven_path;
mod error;
mod frequency_plan;
mod gathered_path;
mod ideal_part;
mod if_output;
mod iq_balance;
mod iq_correction;
mod joined_path;
mod lo_chain;
mod lo_chain_analysis;
mod lo_chain_result;
mod lo_drive_setup;
mod lo_if_plan;
mod lo_pieces;
mod lo_side;
mod mixer_agreement;
mod mixer_tones;
mod part_model;
mod path_noise;
mod placed_splitters;
mod plan_chain;
mod plan_figures;
mod q_correction;
mod receiver;
mod receiver_compliance;
mod receiver_lo;
mod receiver_places;
mod receiver_setup;
mod reflection_sweep;
mod sideband_convergence;
mod sideband_path;
mod sideband_store;
mod signal_path;
mod signal_trace;
mod solution;
mod spurious_response;
mod stage_leakage;
mod swept_path;
mod switched_figures;
mod switched_mechanisms;
mod switched_nodes;
mod switched_outputs;
mod switched_result;
mod switched_warnings;
mod switching;
mod switching_setup;
mod used_network;
mod variation;

pub use allocation::{Allocation, Allowance, ReturnLosses, WorstReturnLoss};
pub use analysis::{DownconverterResult, ReceiverSummary, analyse_receiver, plan_points};
pub(crate) use budget::budget_rows;
pub use budget::{Budget, BudgetRow, Contributor, Interaction, PartTaken};
pub use correction_plan::{
    CorrectionChannels, CorrectionCover, CorrectionPlan, CorrectionSegment, CorrectionSetting,
    IfChannel,
};
pub use correction_weight::{
    CorrectionPoint, least_squares_weight, minimax_weight, weight_against, worst_rejection_db,
};
pub use die_receiver::{DieReceiver, SolvedDie};
pub use drive::{LoPoint, MixerDrive, PairDrive};
pub use error::{PlanError, ReceiverError};
pub use frequency_plan::{
    Band, FrequencyPlan, HarmonicHit, MOST_HARMONICS, PlanSettings, Sideband, SidebandPlan, Victim,
    frequency_plan,
};
pub use iq_balance::{
    Channel, Combination, Element, Imbalance, IqOutputs, IqPair, Mixing, NOTHING_WANTED_DB,
    PlanPoint, ReceiverBalance, favourable_combination, receiver_balance,
};
pub use iq_correction::{CorrectionSteps, IqCorrection};
pub use lo_chain::{
    ActiveStage, AmplifierSettings, Carrier, Filtered, Multiplied, MultiplierSettings, NoiseStage,
    OperatingPoint, PowerWindow, StageLine, ToneSet, phase_noise_dbc_hz, power_window, sidebands,
};
pub use lo_chain_result::{
    LeftOutTone, LoChainResult, MixerTone, OutsideDrive, PowerPoint, SpuriousResponse, StagePoint,
    StageResult, StageTone,
};
pub use lo_drive_setup::{
    DriveLimits, LoChainSetup, LoSource, LoStage, LoStageKind, SourceTone, StagePart,
};
pub use lo_if_plan::{LoIfPoint, LoIfSettings, ReceiverPlan};
pub(crate) use lo_pieces::{LoPieces, PieceSearch, StageBlock};
pub(crate) use lo_side::stage_network;
pub use part_model::PartModel;
pub use path_noise::{NoisePathResult, single_sideband_rise_db};
pub use plan_figures::ImageNoiseRise;
pub use q_correction::{CorrectionDomain, QCorrection};
pub use receiver::{GroupIndex, NetworkPlace, Receiver};
pub use receiver_setup::{
    IfPart, IfRole, Join, Mixer, OutputChoice, OutputStage, PartKind, PowerInput,
    RECEIVER_QUANTITIES, ReceiverLoad, ReceiverPart, ReceiverSetup, ReferenceImpedances,
    ReflectionSweepSettings, SWITCHING_QUANTITIES,
};
pub(crate) use receiver_setup::{entry_ports, whole_path};
pub use reflection_sweep::{LoadReflectionSweep, ReflectionOrigin, SweptPorts};
pub use signal_path::{LoRf, OnGrids, ReceiverGrid, ReceiverPath};
pub use spurious_response::spurious_outputs;
pub use stage_leakage::{
    LeakageHit, LeakageVictim, StageLeakage, product_of_orders, stage_leakage,
};
pub use switched_figures::ConversionLoss;
pub use switched_result::{DrivePoint, SwitchedLevels, SwitchedLo, SwitchedPoint, SwitchingResult};
pub use switching::{
    BeyondSidebands, ConversionSolver, IF_LOAD_REFERENCE_OHM, IfNode, LoLeakage, NoiseShares,
    OutputWeights, RfResponse, SidebandData, Switch, SwitchSettings, SwitchedElement,
    SwitchedMixer, SwitchedMixerSettings,
};
pub use switching_setup::{
    ElementSetup, IfLoad, IfLoadToGround, MOST_SIDEBANDS, OutsideData, SidebandSource,
    SwitchingSetup,
};
pub(crate) use used_network::UsedNetwork;
pub use variation::{MinLoPower, PlanLevels};
pub(crate) use variation::{Variation, Varied};
