//! The keys of UNCERTAINTY.toml.

use crate::measurement::OverFrequency;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct UncertaintyEntries {
    /// Default: 95 %.
    pub(super) coverage_percent: Option<Spanned<f64>>,
    pub(super) seed: Option<u64>,
    /// Default: the number needed for the stability.
    pub(super) trials: Option<Spanned<usize>>,
    pub(super) stability_db: Option<Spanned<f64>>,
    #[serde(default)]
    pub(super) decision: DecisionEntry,
    #[serde(default, rename = "source")]
    pub(super) sources: Vec<Spanned<SourceEntry>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DecisionEntry {
    /// Default: 95 %.
    pub(super) conformity_percent: Option<Spanned<f64>>,
    #[serde(default)]
    pub(super) guard_band: BTreeMap<Spanned<String>, Spanned<f64>>,
}

/// A source of uncertainty. It applies to every file unless blocks or files are named.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SourceEntry {
    /// Default: `source` and its number.
    pub(super) name: Option<String>,
    pub(super) blocks: Option<Vec<Spanned<String>>>,
    pub(super) files: Option<Vec<Spanned<PathBuf>>>,
    /// Loads of a receiver by their ports, as in `at`.
    pub(super) loads: Option<Vec<Spanned<String>>>,
    /// Standard uncertainties of parameters of closed-form blocks and loads, in their own units.
    #[serde(default)]
    pub(super) parameters: BTreeMap<Spanned<String>, Spanned<f64>>,
    /// Standard uncertainties of these parameters in percent of their values.
    #[serde(default)]
    pub(super) parameters_percent: BTreeMap<Spanned<String>, Spanned<f64>>,
    pub(super) over_frequency: Option<Spanned<OverFrequencyName>>,
    /// Whether all its files and blocks share its errors, as with one calibration.
    #[serde(default)]
    pub(super) shared: bool,
    #[serde(default)]
    pub(super) reciprocal: bool,
    pub(super) transmission: Option<AmountEntry>,
    pub(super) reflection: Option<AmountEntry>,
    pub(super) port: Option<PortEntry>,
    pub(super) placement: Option<PlacementEntry>,
    pub(super) table: Option<Spanned<PathBuf>>,
    pub(super) repeats: Option<Spanned<Vec<PathBuf>>>,
    pub(super) covariance: Option<Spanned<PathBuf>>,
}

#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum OverFrequencyName {
    #[default]
    Correlated,
    Independent,
}

impl From<OverFrequencyName> for OverFrequency {
    fn from(name: OverFrequencyName) -> Self {
        match name {
            OverFrequencyName::Correlated => Self::Correlated,
            OverFrequencyName::Independent => Self::Independent,
        }
    }
}

/// Standard uncertainties of an entry; default: 0.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AmountEntry {
    pub(super) magnitude_db: Option<Spanned<f64>>,
    pub(super) magnitude: Option<Spanned<f64>>,
    pub(super) phase_deg: Option<Spanned<f64>>,
}

/// Standard uncertainties of a pass through a port; default: 0.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PortEntry {
    pub(super) magnitude_db: Option<Spanned<f64>>,
    pub(super) phase_deg: Option<Spanned<f64>>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PlacementEntry {
    pub(super) um: Spanned<f64>,
    pub(super) effective_permittivity: Spanned<f64>,
}
