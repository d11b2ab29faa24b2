//! The keys of blocks and loads, common to networks and receivers.
//!
//! Every value that an error may refer to has its place in the file.

use super::component_entry::ComponentEntry;
use super::kind_names::PartKindName;
use super::lo_chain_entries::{AmplifierEntry, DriveEntry, MultiplierEntry, StageKeys};
use num_complex::Complex64;
use serde::Deserialize;
use std::path::PathBuf;
use toml::Spanned;

/// A block, from a file or in closed form.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BlockEntry {
    pub(super) name: Spanned<String>,
    /// A Touchstone file, relative to the description.
    pub(super) file: Option<Spanned<PathBuf>>,
    /// A closed-form component in place of a file.
    pub(super) component: Option<Spanned<ComponentEntry>>,
    /// A frequency multiplier in place of a file, inside the LO network of a receiver.
    multiplier: Option<Spanned<MultiplierEntry>>,
    /// An amplifier in place of a file, inside the LO network of a receiver.
    amplifier: Option<Spanned<AmplifierEntry>>,
    /// The input resistance of such a stage; default: 50 ohm.
    input_ohm: Option<Spanned<f64>>,
    /// The output resistance of such a stage; default: 50 ohm.
    output_ohm: Option<Spanned<f64>>,
    /// The range of input power within which such a stage works.
    input_dbm: Option<DriveEntry>,
    /// Names of the ports 1, 2, ..; default: the port numbers.
    pub(super) ports: Option<Spanned<Vec<Spanned<String>>>>,
    /// The kind of part in a receiver; default: inferred from its data.
    pub(super) kind: Option<PartKindName>,
    /// The nominal phase between two outputs, degrees; default: that of the kind.
    pub(super) nominal_deg: Option<Spanned<f64>>,
    /// Whether the block may have gain; a file with gain is an error otherwise.
    #[serde(default)]
    pub(super) active: bool,
    /// Blocks with the same word are in corresponding positions of the I and Q branches.
    pub(super) pair: Option<String>,
    /// In TOML, `joins` written below a block is a key of that block; it applies to the whole
    /// description nevertheless.
    #[serde(default)]
    pub(super) joins: Vec<Spanned<String>>,
}

impl BlockEntry {
    /// Its keys as a stage of the LO chain.
    pub(super) fn stage_keys(&self) -> StageKeys<'_> {
        StageKeys {
            multiplier: self.multiplier.as_ref(),
            amplifier: self.amplifier.as_ref(),
            input_ohm: self.input_ohm.as_ref(),
            output_ohm: self.output_ohm.as_ref(),
            input_dbm: self.input_dbm.as_ref(),
        }
    }
}

/// A termination of a port.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LoadEntry {
    /// `BLOCK.PORT`.
    pub(super) at: Spanned<String>,
    /// Ohms, or [re, im].
    pub(super) ohm: Option<Spanned<ComplexValue>>,
    /// A one-port file, relative to the description.
    pub(super) file: Option<Spanned<PathBuf>>,
    /// A resistor and a capacitor to ground.
    pub(super) rc: Option<ResistorCapacitor>,
    /// An ideal open.
    #[serde(default)]
    pub(super) open: bool,
    /// An ideal short.
    #[serde(default)]
    pub(super) short: bool,
}

/// A resistor and a capacitor to ground.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ResistorCapacitor {
    pub(super) resistance_ohm: Spanned<f64>,
    pub(super) capacitance_ff: Spanned<f64>,
    /// `series` or `parallel`; default: series.
    pub(super) arrangement: Option<Spanned<String>>,
}

/// A number or [re, im].
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number or [re, im]")]
pub(super) enum ComplexValue {
    Real(f64),
    Complex([f64; 2]),
}

impl From<ComplexValue> for Complex64 {
    fn from(value: ComplexValue) -> Self {
        match value {
            ComplexValue::Real(re) => re.into(),
            ComplexValue::Complex([re, im]) => Complex64::new(re, im),
        }
    }
}
