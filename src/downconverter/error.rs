//! Errors of a receiver or its plan.

use super::signal_path::ReceiverPath;
use crate::component::ComponentError;
use crate::network::NetworkError;
use crate::requirement::{Quantity, UndefinedFigure};
use crate::units::{MAX_GHZ, ShownFrequency, shown_band, shown_complex};
use num_complex::Complex64;

/// A result that may fail because of a receiver.
pub(super) type Result<T, E = ReceiverError> = std::result::Result<T, E>;

/// The reason for which there is no frequency plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the messages say what each variant means")]
pub enum PlanError {
    #[error(
        "the {what} band must have positive frequencies, the lower one first, found {} to {}",
        ShownFrequency(*low_hz),
        ShownFrequency(*high_hz)
    )]
    Band { what: &'static str, low_hz: f64, high_hz: f64 },
    #[error(
        "the {what} of {} is beyond {MAX_GHZ:e} GHz; check the unit of its frequencies",
        ShownFrequency(*found_hz)
    )]
    BeyondRange { what: &'static str, found_hz: f64 },
    #[error("{name} must be a whole number from 1 to 1000, found {found}")]
    Factor { name: &'static str, found: u32 },
    #[error("the plan needs at least one {what}, found none")]
    NoFrequencies { what: &'static str },
    #[error(
        "the {what}s must be positive frequencies in ascending order, found {} in place {}",
        ShownFrequency(*found_hz),
        index + 1
    )]
    NotAscending { what: &'static str, index: usize, found_hz: f64 },
    #[error(
        "a multiplication by {after} after the split must divide the multiplication by {multiplication}"
    )]
    AfterSplit { multiplication: u32, after: u32 },
    #[error("lo_power_dbm must be from -200 to 200, found {found_dbm}")]
    LoPower { found_dbm: f64 },
    #[error(
        "an IF of {} leaves no lower sideband at an LO of {}",
        ShownFrequency(*if_hz),
        ShownFrequency(*lo_hz)
    )]
    NoLowerSideband { lo_hz: f64, if_hz: f64 },
    #[error(
        "the RF band of {} leaves no point of the plan: the wanted RF of its points is {}, and the one \
         nearest to the band is {}, at LO {} and IF {}; correct the band, LO or IF",
        shown_band(*band),
        shown_band((*first_hz, *last_hz)),
        ShownFrequency(*nearest_hz),
        ShownFrequency(*lo_hz),
        ShownFrequency(*if_hz)
    )]
    NoPointInRfBand {
        band: (f64, f64),
        first_hz: f64,
        last_hz: f64,
        nearest_hz: f64,
        lo_hz: f64,
        if_hz: f64,
    },
    #[error(
        "an RF band that ends at {} is more than a hundred times beyond the wanted RF of the plan, {}; \
         check the unit of its frequencies",
        ShownFrequency(*found_hz),
        shown_band((*first_hz, *last_hz))
    )]
    RfUnit { found_hz: f64, first_hz: f64, last_hz: f64 },
    #[error(transparent)]
    Grid(#[from] NetworkError),
}

/// The reason for which a receiver cannot be made or solved. A `what` names a block, a load or a
/// value.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
#[expect(missing_docs, reason = "the messages say what each variant means")]
pub enum ReceiverError {
    #[error("{text}")]
    PortOrder { text: String },
    // Errors of solving a receiver.
    #[error("join \"{join}\" closes a loop that is singular at {}", ShownFrequency(*frequency_hz))]
    SingularJoin { join: String, frequency_hz: f64 },
    #[error(
        "channel {channel} gives nothing at LO {} and IF {}: {because}",
        ShownFrequency(*lo_hz),
        ShownFrequency(*if_hz)
    )]
    SilentChannel { channel: &'static str, lo_hz: f64, if_hz: f64, because: String },
    #[error(
        "the switched mixers have no solution at LO {} and IF {}: at {} a node floats or a lossless loop is singular; give every node a way to ground",
        ShownFrequency(*lo_hz),
        ShownFrequency(*if_hz),
        ShownFrequency(*frequency_hz)
    )]
    NoConversion { lo_hz: f64, if_hz: f64, frequency_hz: f64 },

    #[error(transparent)]
    Undefined(#[from] UndefinedFigure),
    #[error(
        "the balance of I and Q has no value at LO {} and IF {}: its voltages are beyond the range \
         of double precision; check the levels of the parts",
        ShownFrequency(*lo_hz),
        ShownFrequency(*if_hz)
    )]
    NoBalance { lo_hz: f64, if_hz: f64 },

    // Values.
    #[error("{what} must be {expected}, found {found}")]
    OutOfRange { what: &'static str, expected: &'static str, found: f64 },
    #[error("{what} must be a finite number other than 0, found {}", shown_complex(*found))]
    NoFactor { what: String, found: Complex64 },
    #[error(
        "the impedance of the {path} source must have a positive real part, found {} ohm",
        shown_complex(*found_ohm)
    )]
    Source { path: ReceiverPath, found_ohm: Complex64 },
    #[error(
        "the output needs a combination of I and Q with {expected} transfers, one for each IF, found {found}"
    )]
    Transfers { expected: usize, found: usize },
    #[error("a limit on the LO power at the mixers needs the power of the LO source, found none")]
    NoLoPower,
    // The LO chain.
    #[error("{what}: {source}")]
    InComponent { what: String, source: Box<ComponentError> },
    #[error(
        "LO stage '{stage}' covers {covers}, and its carrier is at {} for LO {}; use wider data",
        ShownFrequency(*frequency_hz),
        ShownFrequency(*lo_hz)
    )]
    CarrierOutside { stage: String, covers: String, frequency_hz: f64, lo_hz: f64 },
    #[error(
        "LO stage '{stage}' has no transmission at its carrier for LO {}",
        ShownFrequency(*lo_hz)
    )]
    NoCarrier { stage: String, lo_hz: f64 },
    #[error("a tone of the source is at the multiple {multiple}, which is the carrier itself")]
    ToneAtCarrier { multiple: f64 },
    #[error(
        "the stages multiply the LO by {found}, and lo_multiplication is {expected}: both must be the \
         same"
    )]
    ChainMultiplication { expected: u32, found: u32 },
    #[error(
        "mixer '{mixer}' gets the LO times {found}, and mixer '{other}' times {expected}: every mixer \
         must have the same multiplication"
    )]
    MixersDiffer { mixer: String, found: u32, other: String, expected: u32 },
    #[error(
        "stage '{stage}' gives the LO times {own} where another stage gives it times {found}: stages \
         that meet must have the same multiplication"
    )]
    StagesMeet { stage: String, own: u32, found: u32 },
    #[error(
        "the output of stage '{stage}' leads back to its input; stages must follow one another"
    )]
    StageLoop { stage: String },
    #[error("the LO does not reach the input, port 1, of stage '{stage}'")]
    StageUndriven { stage: String },
    #[error("stage '{stage}' must have two ports, its input and its output, found {found}")]
    StagePorts { stage: String, found: usize },
    #[error("{what} is a stage of the LO chain and has no data of its own to replace")]
    StageData { what: String },
    #[error("a limit on the {} needs the LO chain, found none", quantity.label())]
    NoLoChain { quantity: Quantity },
    #[error(
        "a limit on spurious responses needs mixers that are multipliers: those of switched mixers are \
         not computed; remove the limit"
    )]
    SwitchedResponses,
    #[error("lo_power_dbm is what the LO chain gives; the plan must leave it out")]
    TwoLoPowers,
    #[error("stages inside the LO network need the power of the LO source, found none")]
    NoStagePower,
    #[error("a receiver has no {}, and no limit on it", quantity.label())]
    NoSuchQuantity { quantity: Quantity },

    #[error("switched mixers need {expected} {what}, found {found}")]
    SwitchingCount { what: &'static str, expected: usize, found: usize },
    #[error("switched mixers need the power of the LO source, found none")]
    NoSwitchPower,
    #[error(
        "lo_harmonic {harmonic} needs as many sidebands on either side at least, found {sidebands}"
    )]
    TooFewSidebands { harmonic: usize, sidebands: usize },
    #[error("a switched mixer must not stand at the RF input itself; mixer '{mixer}' does")]
    MixerAtInput { mixer: String },
    #[error("{text}")]
    NoComponent { text: String },

    // Names, ports and joins.
    #[error("duplicate name '{name}'")]
    DuplicateName { name: String },
    #[error("the receiver has no {what}")]
    NoSuch { what: String },
    #[error("channel {channel} needs at least one mixer, found none")]
    EmptyChannel { channel: &'static str },
    #[error("join \"{join}\" needs at least two ports")]
    JoinTooSmall { join: String },
    #[error("port {port} must have {allowed}, found two")]
    PortTwice { port: String, allowed: &'static str },
    #[error("port {port} is unconnected: it needs a join, a load or a source")]
    Unconnected { port: String },
    #[error("the {path} port of mixer '{mixer}' cannot be reached from the {path} input")]
    Unreached { path: ReceiverPath, mixer: String },

    // Networks.
    #[error("{what} is on the {path} path and needs a network for it")]
    NoNetwork { what: String, path: ReceiverPath },
    #[error("the network of {what} must have the plan's frequencies of the {path} path")]
    OtherFrequencies { what: String, path: ReceiverPath },
    #[error("the network of {what} must have scattering parameters at the plan's IFs")]
    OtherIfFrequencies { what: String },
    #[error("the network of {what} must have {expected} ports, found {found}")]
    PortCount { what: String, expected: usize, found: usize },
    #[error("{what}: {source}")]
    InNetwork { what: String, source: NetworkError },
    #[error("a die must have {expected} networks, one for each place that changes, found {found}")]
    DieNetworks { expected: usize, found: usize },
    #[error(transparent)]
    Plan(#[from] PlanError),
    #[error(transparent)]
    Network(#[from] NetworkError),
}
