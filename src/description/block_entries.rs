//! The keys of blocks and loads, which networks and receivers share.
//!
//! Everything that an error may be about carries its place in the file.

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
    /// An amplifier likewise.
    amplifier: Option<Spanned<AmplifierEntry>>,
    /// The input resistance of such a stage; 50 ohms when absent.
    input_ohm: Option<Spanned<f64>>,
    /// Its output resistance; 50 ohms when absent.
    output_ohm: Option<Spanned<f64>>,
    /// The drive that it needs and bears.
    input_dbm: Option<DriveEntry>,
    /// Names of the ports 1, 2, ..; the numbers themselves when absent.
    pub(super) ports: Option<Spanned<Vec<Spanned<String>>>>,
    /// What the block is made for, in a receiver; inferred from its data when absent.
    pub(super) kind: Option<PartKindName>,
    /// The nominal phase between two outputs, degrees, where it is not that of the kind.
    pub(super) nominal_deg: Option<Spanned<f64>>,
    /// Whether the block may have gain; a file with gain is refused otherwise.
    #[serde(default)]
    pub(super) active: bool,
    /// Blocks with the same word here are in corresponding places of the I and Q branches.
    pub(super) pair: Option<String>,
    /// TOML takes `joins` that are written below a block for keys of the block; they count for the
    /// whole description all the same.
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
    /// `series` or `parallel`; in series when absent.
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
