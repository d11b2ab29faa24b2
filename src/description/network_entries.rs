//! What a description of a network may say.
//!
//! Everything that an error may have to point at carries its place in the file.

use super::component_entry::ComponentEntry;
use num_complex::Complex64;
use serde::Deserialize;
use std::path::PathBuf;
use toml::Spanned;

/// A network to be joined: NETWORK.toml.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NetworkDescription {
    /// The outside ports, in order.
    pub ports: Vec<Spanned<String>>,
    /// References of the result: one for all or one per port; each port's own when absent.
    pub reference_ohm: Option<Spanned<OneOrMany>>,
    /// Frequencies, `24GHz..34GHz:101`; those common to the files when absent.
    pub grid: Option<Spanned<String>>,
    /// The parts.
    #[serde(default, rename = "block")]
    pub blocks: Vec<BlockEntry>,
    /// `a.x -- b.y`: what meets.
    #[serde(default)]
    pub joins: Vec<Spanned<String>>,
    /// What closes ports.
    #[serde(default, rename = "load")]
    pub loads: Vec<LoadEntry>,
}

/// A part, from a file or in closed form.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BlockEntry {
    /// Its name.
    pub name: Spanned<String>,
    /// Its Touchstone file, relative to the description.
    pub file: Option<Spanned<PathBuf>>,
    /// Or what it is.
    pub component: Option<Spanned<ComponentEntry>>,
    /// Names for ports 1, 2, ...; the numbers themselves when absent.
    pub ports: Option<Spanned<Vec<Spanned<String>>>>,
    /// What it is made for; in a receiver only, told from the data when absent.
    pub kind: Option<Spanned<KindName>>,
    /// The phase between two outputs that it is made for, degrees, where it is not the kind's.
    pub nominal_deg: Option<Spanned<f64>>,
    /// Blocks with the same word here stand in corresponding places of the I and Q branch.
    pub pair: Option<String>,
    /// TOML takes a `joins` that is written below a block for the block's own; it is meant for
    /// the network all the same.
    #[serde(default)]
    pub joins: Vec<Spanned<String>>,
}

/// What a block of a receiver is made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KindName {
    /// Two outputs 90 degrees apart.
    Quadrature,
    /// Two outputs 180 degrees apart.
    Antiphase,
    /// Two outputs in phase.
    Inphase,
    /// One output.
    Line,
}

/// What closes a port.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoadEntry {
    /// Which port.
    pub at: Spanned<String>,
    /// Ohms, or [re, im].
    pub ohm: Option<ComplexValue>,
    /// A one-port file, relative to the description.
    pub file: Option<Spanned<PathBuf>>,
    /// A resistor and a capacitor.
    pub rc: Option<ResistorCapacitor>,
    /// Nothing.
    #[serde(default)]
    pub open: bool,
    /// Ground.
    #[serde(default)]
    pub short: bool,
}

/// A resistor and a capacitor to ground.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResistorCapacitor {
    /// Ohms.
    pub resistance_ohm: Spanned<f64>,
    /// Femtofarad.
    pub capacitance_ff: Spanned<f64>,
    /// `series` or `parallel`; in series when absent.
    pub arrangement: Option<Spanned<String>>,
}

/// A number or [re, im].
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number or [re, im]")]
pub enum ComplexValue {
    /// A real one.
    Real(f64),
    /// A complex one.
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

/// One number, or a list of them.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number or a list of numbers")]
pub enum OneOrMany {
    /// One for all ports.
    One(f64),
    /// One per port.
    Many(Vec<f64>),
}

impl OneOrMany {
    /// As a list.
    #[must_use]
    pub fn to_vec(&self) -> Vec<f64> {
        match self {
            Self::One(value) => vec![*value],
            Self::Many(list) => list.clone(),
        }
    }
}
